//! Handing over and taking back.

use std::collections::BTreeMap;
use std::time::{Duration, SystemTime};

use super::*;

/// Every file in a folder and below, with its content and the time it was changed.
fn all_of(folder: &Path) -> BTreeMap<PathBuf, (Vec<u8>, SystemTime)> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let changed = fs::metadata(&path).unwrap().modified().unwrap();
                let name = path.strip_prefix(folder).unwrap().to_owned();
                found.insert(name, (fs::read(&path).unwrap(), changed));
            }
        }
    }
    found
}

/// A night of which the first frame is damaged, and so rejected, with a JPEG and a rating file of its
/// name, and with a dark frame's worth of nothing.
fn night(user: &User) -> PathBuf {
    let words = "sample ridge --frames 5 --size 480x320 --format dng";
    let said = user.runs(&words.split(' ').collect::<Vec<_>>());
    assert_eq!(said.code, 0, "{}", said.err);
    let folder = user.path("ridge");
    let mut frames: Vec<PathBuf> = (fs::read_dir(&folder).unwrap())
        .map(|entry| entry.unwrap().path())
        .filter(|path| {
            path.extension()
                .is_some_and(|ending| ending.eq_ignore_ascii_case("dng"))
        })
        .collect();
    frames.sort();
    let first = frames.remove(0);
    fs::write(&first, "no frame at all").unwrap();
    fs::write(first.with_extension("jpg"), "its JPEG").unwrap();
    fs::write(
        first.with_extension("xmp"),
        "<r:RDF xmlns:r='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>\
         <r:Description xmlns:q='urn:q' q:of='mine'/></r:RDF>",
    )
    .unwrap();
    first
}

#[test]
fn all_of_it_is_said_before_done_and_taken_back() {
    let user = User::new();
    let first = night(&user);
    let before = all_of(&user.path("ridge"));
    // For a single frame nothing but what cannot be read is rejected.
    let words = [
        "export",
        "ridge",
        "--to",
        "out",
        "--purpose",
        "still",
        "--list",
        "--links",
        "--sidecars",
        "--set-aside",
    ];
    let said = user.runs(&[&words[..], &["--only-say"]].concat());
    assert_eq!(said.code, 1, "one is unreadable: {}", said.err);
    for line in [
        "used.txt: 4 names.",
        "Number the 4 used frames in the new folder",
        "Change the rating in 1 present rating file beside the rejected frames",
        "Move 1 rejected frame, 3 files in all, into",
    ] {
        assert!(said.out.contains(line), "{line}: {}", said.out);
    }
    assert_eq!(all_of(&user.path("ridge")), before, "nothing is done");
    assert!(!user.path("out").exists());

    let said = user.runs(&words);
    assert_eq!(said.code, 1, "{}", said.err);
    assert!(said.out.is_empty(), "talk is on stderr: {}", said.out);
    assert!(
        said.err.contains("1 rejected frame moved into"),
        "{}",
        said.err
    );
    assert!(!first.exists());
    let links: Vec<PathBuf> = all_of(&user.path("out/frames")).into_keys().collect();
    assert_eq!(links.len(), 4);
    assert!(
        links[0].to_string_lossy().starts_with("frame_0001."),
        "{links:?}"
    );
    let aside = user.path("ridge/nightloupe-set-aside");
    let rating = fs::read_to_string(aside.join(first.with_extension("xmp").file_name().unwrap()));
    let rating = rating.unwrap();
    assert!(
        rating.contains("xmp:Rating=\"-1\"") && rating.contains("q:of='mine'"),
        "{rating}"
    );
    // What was moved is no part of the night any more, and nothing is left to do.
    let said = user.runs(&[
        "export",
        "ridge",
        "--to",
        "out2",
        "--purpose",
        "still",
        "--set-aside",
    ]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(
        said.err.contains("No rejected frame to move."),
        "{}",
        said.err
    );

    let said = user.runs(&["restore", "ridge"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.err.contains("1 frame brought back"), "{}", said.err);
    let said = user.runs(&["restore", "ridge", "--ratings"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let after = all_of(&user.path("ridge"));
    let contents =
        |files: &BTreeMap<PathBuf, (Vec<u8>, SystemTime)>| -> BTreeMap<PathBuf, Vec<u8>> {
            files
                .iter()
                .map(|(name, (bytes, _))| (name.clone(), bytes.clone()))
                .collect()
        };
    assert_eq!(contents(&after), contents(&before));
    // A rating file was written twice; frames were never written.
    for (name, (_, changed)) in &after {
        let is_rating = name.extension().is_some_and(|ending| ending == "xmp");
        assert!(
            is_rating || *changed == before[name].1,
            "{}",
            name.display()
        );
    }
    for folder in ["ridge", "out"] {
        let said = user.runs(&["restore", folder]);
        assert_eq!(said.code, 2, "{}", said.err);
        assert!(
            said.err.contains("No frames were set aside in"),
            "{}",
            said.err
        );
    }
}

#[test]
fn a_folder_of_links_is_never_added_to() {
    let user = User::new();
    night(&user);
    fs::create_dir_all(user.path("out/frames")).unwrap();
    let said = user.runs(&["export", "ridge", "--to", "out", "--links"]);
    assert_eq!(
        said.code, 2,
        "a folder that is there is not filled: {}",
        said.err
    );
}

/// Kills in all, more with `NIGHTLOUPE_KILLS`.
const KILLS: usize = 12;

#[test]
fn killed_at_any_moment_nothing_is_lost() {
    let kills = std::env::var("NIGHTLOUPE_KILLS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(KILLS);
    let user = User::new();
    night(&user);
    // Every frame rejected: forty that cannot be read, with a rating file each.
    let folder = user.path("many");
    fs::create_dir(&folder).unwrap();
    for n in 0..40 {
        fs::write(folder.join(format!("moor_{n}.dng")), format!("frame {n}")).unwrap();
        fs::write(folder.join(format!("moor_{n}.jpg")), format!("jpeg {n}")).unwrap();
    }
    let before = all_of(&folder);
    let moved = |name: &Path| folder.join("nightloupe-set-aside").join(name);
    let started = std::time::Instant::now();
    let words = ["export", "many", "--to", "out", "--sidecars", "--set-aside"];
    user.runs(&words);
    let whole = started.elapsed();
    user.runs(&["restore", "many"]);
    user.runs(&["restore", "many", "--ratings"]);
    assert_eq!(all_of(&folder), before);
    for kill in 0..kills {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_nightloupe"));
        command
            .args(words)
            .current_dir(user.home.path())
            .env("HOME", user.home.path());
        command
            .env("XDG_DATA_HOME", user.path("data"))
            .env("XDG_CACHE_HOME", user.path("cache"));
        let mut child = command.stderr(std::process::Stdio::null()).spawn().unwrap();
        // Over the whole of the run, and a little past its end.
        std::thread::sleep(Duration::from_secs_f64(
            whole.as_secs_f64() * 1.1 * (kill as f64 + 0.5) / kills as f64,
        ));
        child.kill().unwrap();
        child.wait().unwrap();
        for (name, (bytes, changed)) in &before {
            let (home, aside) = (folder.join(name), moved(name));
            let there = [home, aside]
                .into_iter()
                .find(|path| fs::metadata(path).is_ok_and(|meta| meta.len() == bytes.len() as u64));
            let there = there.unwrap_or_else(|| panic!("kill {kill}: {} is lost", name.display()));
            assert_eq!(&fs::read(&there).unwrap(), bytes);
            assert_eq!(fs::metadata(&there).unwrap().modified().unwrap(), *changed);
        }
        user.runs(&["restore", "many"]);
        user.runs(&["restore", "many", "--ratings"]);
        // A temporary file of a write that was cut off may be left; it is hidden, and no frame.
        let mut after = all_of(&folder);
        let is_cut_off = |name: &Path| {
            let name = name.file_name().unwrap_or_default();
            name.to_string_lossy().starts_with(".tmp")
        };
        after.retain(|name, _| !is_cut_off(name));
        assert!(after == before, "kill {kill}: {:?}", after.keys());
    }
}
