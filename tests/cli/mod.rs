//! The command line, run as a user runs it.

mod handing_over;

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use tempfile::TempDir;

/// A user of their own: a home where nothing is kept yet, and no display.
struct User {
    home: TempDir,
}

struct Said {
    code: i32,
    out: String,
    err: String,
}

impl User {
    fn new() -> Self {
        Self {
            home: tempfile::tempdir().unwrap(),
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    fn runs(&self, words: &[&str]) -> Said {
        let mut command = Command::new(env!("CARGO_BIN_EXE_nightloupe"));
        command
            .args(words)
            .current_dir(self.home.path())
            .env("HOME", self.home.path())
            .env_remove("DISPLAY")
            .env_remove("WAYLAND_DISPLAY")
            .env_remove("WAYLAND_SOCKET")
            .env_remove("NIGHTLOUPE_LOG");
        for (variable, folder) in [
            ("XDG_DATA_HOME", "data"),
            ("XDG_CACHE_HOME", "cache"),
            ("XDG_CONFIG_HOME", "config"),
            ("XDG_STATE_HOME", "state"),
        ] {
            command.env(variable, self.path(folder));
        }
        let output = command.output().unwrap();
        Said {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// A small simulated night in the folder `name`.
    fn has_night(&self, name: &str, frames: usize) {
        let frames = frames.to_string();
        let said = self.runs(&["sample", name, "--frames", &frames, "--size", "480x320"]);
        assert_eq!(said.code, 0, "{}", said.err);
    }
}

/// The frames in a folder, in order.
fn frames_in(folder: &Path) -> Vec<PathBuf> {
    let mut frames: Vec<PathBuf> = (fs::read_dir(folder).unwrap())
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "JPG"))
        .collect();
    frames.sort();
    frames
}

/// The rows of a table by the name of their column.
fn rows(table: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    reader.deserialize().map(Result::unwrap).collect()
}

#[test]
fn wrong_usage_is_two_and_help_is_none() {
    let user = User::new();
    for words in [
        &["measure"][..],
        &["measure", "ridge", "--wat"],
        &["compare"],
        &["measure", "ridge", "--utc-offset", "1"],
        &["measure", "ridge", "--site", "47.25"],
        &["measure", "ridge", "--site", "12.5,247.25"],
        &["measure", "ridge", "--clock-add", "soon"],
        &["measure", "ridge", "--csv", "-", "--json", "-"],
        &["export", "ridge", "--to", "out"],
        &["sample", "made", "--scene", "dinner"],
        &["sample", "made", "--frames", "0"],
    ] {
        let said = user.runs(words);
        assert_eq!(said.code, 2, "{words:?}: {}", said.err);
        assert!(said.out.is_empty(), "{words:?}: {}", said.out);
        assert!(!said.err.is_empty(), "{words:?}");
    }
    let help = user.runs(&["--help"]);
    assert_eq!(help.code, 0);
    for command in [
        "measure", "advise", "compare", "export", "sample", "restore",
    ] {
        assert!(help.out.contains(command));
        let help = user.runs(&[command, "--help"]);
        assert!(help.out.contains("Examples:"), "{}", help.out);
    }
    assert!(user.runs(&["--version"]).out.starts_with("nightloupe "));
}

#[test]
fn nothing_to_do_names_the_path_and_what_to_do() {
    let user = User::new();
    fs::create_dir(user.path("empty")).unwrap();
    fs::create_dir(user.path("letters")).unwrap();
    fs::write(user.path("letters/dear.txt"), "Dear all").unwrap();
    for (folder, words) in [
        ("empty", "is empty. Open the folder the frames"),
        (
            "letters",
            "the one file there is of a kind that is not read",
        ),
        ("nowhere", "There is nothing at"),
    ] {
        for command in ["measure", "advise"] {
            let said = user.runs(&[command, folder]);
            assert_eq!(said.code, 2, "{folder}: {}", said.err);
            assert!(said.err.contains(words), "{folder}: {}", said.err);
            let path = user.path(folder).display().to_string();
            assert!(said.err.contains(&path), "{folder}: {}", said.err);
            assert!(said.out.is_empty());
        }
    }
}

#[cfg(unix)]
#[test]
fn a_forbidden_folder_is_said() {
    use std::os::unix::fs::PermissionsExt;
    let user = User::new();
    let folder = user.path("forbidden");
    fs::create_dir(&folder).unwrap();
    fs::set_permissions(&folder, fs::Permissions::from_mode(0o000)).unwrap();
    let said = user.runs(&["measure", "forbidden"]);
    assert_eq!(said.code, 2, "{}", said.err);
    // To root nothing is forbidden: then the folder is just empty.
    let words = if fs::read_dir(&folder).is_ok() {
        "is empty"
    } else {
        "No permission to read"
    };
    assert!(said.err.contains(words), "{}", said.err);
    fs::set_permissions(&folder, fs::Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn bad_frames_are_rows_with_their_error_and_the_rest_is_done() {
    let user = User::new();
    user.has_night("ridge", 6);
    let frames = frames_in(&user.path("ridge"));
    let whole = fs::read(&frames[1]).unwrap();
    fs::write(&frames[1], &whole[..whole.len() / 3]).unwrap();
    fs::write(&frames[2], "").unwrap();
    fs::write(&frames[4], "This is a letter, not a frame.").unwrap();

    let said = user.runs(&["measure", "ridge", "--csv", "-"]);
    assert_eq!(said.code, 1, "{}", said.err);
    let rows = rows(&said.out);
    assert_eq!(rows.len(), 6);
    let bad: Vec<_> = rows.iter().filter(|row| !row["error"].is_empty()).collect();
    assert_eq!(bad.len(), 3, "{}", said.out);
    for row in &bad {
        assert_eq!(row["verdict"], "reject");
        assert_eq!(row["reasons"], "unreadable");
        assert_eq!(row["star_count"], "");
        assert!(said.err.contains(&row["file"]), "{}", said.err);
    }
    for row in rows.iter().filter(|row| row["error"].is_empty()) {
        assert!(!row["sky_level_pct"].is_empty(), "{row:?}");
    }
}

#[test]
fn stdout_is_pure_csv_and_the_same_with_any_number_of_jobs() {
    let user = User::new();
    user.has_night("ridge", 8);
    let table = |jobs: &str| {
        let said = user.runs(&["measure", "ridge", "--fresh", "--jobs", jobs, "--csv", "-"]);
        assert_eq!(said.code, 0, "{}", said.err);
        assert!(said.err.contains("8 frames"), "the summary is on stderr");
        said.out
    };
    let one = table("1");
    assert_eq!(one.lines().count(), 9);
    assert!(one.starts_with("file,taken_at,"));
    assert_eq!(rows(&one).len(), 8);
    assert_eq!(table("2"), one);
    assert_eq!(table("3"), one);

    let kept = user.runs(&["measure", "ridge", "--csv", "-"]);
    assert_eq!(kept.out, one, "kept measurements say the same");
}

#[test]
fn tables_are_saved_and_replaced_whole() {
    let user = User::new();
    user.has_night("ridge", 3);
    fs::write(user.path("table.csv"), "older").unwrap();
    let words = [
        "measure",
        "ridge",
        "--csv",
        "table.csv",
        "--json",
        "table.json",
    ];
    let said = user.runs(&words);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.out.contains("3 frames"), "the summary is on stdout");
    let table = fs::read_to_string(user.path("table.csv")).unwrap();
    assert_eq!(rows(&table).len(), 3);
    let json = fs::read_to_string(user.path("table.json")).unwrap();
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["frames"].as_array().unwrap().len(), 3);

    let nowhere = user.runs(&["measure", "ridge", "--csv", "no/where.csv"]);
    assert_eq!(nowhere.code, 2);
    assert!(nowhere.err.contains("no folder no"), "{}", nowhere.err);

    let frame = frames_in(&user.path("ridge")).remove(0);
    let before = fs::read(&frame).unwrap();
    let slip = user.runs(&["measure", "ridge", "--csv", &frame.display().to_string()]);
    assert_eq!(slip.code, 2);
    assert_eq!(
        fs::read(&frame).unwrap(),
        before,
        "a frame is never replaced"
    );
}

#[test]
fn what_the_files_do_not_say_can_be_supplied() {
    let user = User::new();
    user.has_night("ridge", 2);
    let said = user.runs(&[
        "measure",
        "ridge",
        "--csv",
        "-",
        "--first",
        "1",
        "--focal-mm",
        "35",
        "--f-number",
        "1.4",
        "--pixel-um",
        "3.9",
        "--utc-offset",
        "-03:30",
    ]);
    assert_eq!(said.code, 0, "{}", said.err);
    let rows = rows(&said.out);
    assert_eq!(rows.len(), 1, "only the first");
    assert!(rows[0]["taken_at"].ends_with("-03:30"), "{:?}", rows[0]);
    let number = |column: &str| rows[0][column].parse::<f64>().unwrap();
    for (column, value) in [
        ("focal_length_mm", 35.0),
        ("f_number", 1.4),
        ("pixel_um", 3.9),
    ] {
        assert!((number(column) - value).abs() < 1e-9, "{column}");
    }
}

#[test]
fn a_place_tells_twilight_and_the_moon() {
    let user = User::new();
    user.has_night("ridge", 2);
    let json = |more: &[&str]| {
        let mut words = vec!["measure", "ridge", "--json", "-"];
        words.extend(more);
        let said = user.runs(&words);
        assert_eq!(said.code, 0, "{}", said.err);
        serde_json::from_str::<serde_json::Value>(&said.out).unwrap()
    };
    // The scene's own place, as its frames write it: 2025-10-18 at 54.5° N, 2.8° W.
    let own = json(&[]);
    assert_eq!(own["site"]["from"], "frames");
    assert!((own["site"]["latitude_deg"].as_f64().unwrap() - 54.5).abs() < 1e-6);
    let dark = own["sun_and_moon"]["past_astronomical_twilight"][0].clone();
    // astropy 8.0.2, get_body("sun") without refraction: −18° at 19:04:53 UTC there, and the Sun
    // sets (−0.833°) at 22:39:14 in the place that is given.
    assert!(
        dark["from"]
            .as_str()
            .unwrap()
            .starts_with("2025-10-18T19:04:"),
        "{dark}"
    );
    let given = json(&["--site", "-23.7,-68.2", "--clock-add", "-1:00:00"]);
    assert_eq!(given["site"]["from"], "given");
    let taken = |json: &serde_json::Value| json["frames"][0]["taken_at"].clone();
    assert_eq!(taken(&own), "2025-10-18T19:50:00+01:00");
    assert_eq!(taken(&given), "2025-10-18T18:50:00+01:00");
    let set = given["sun_and_moon"]["sun_set"][0]["from"].clone();
    assert!(
        set.as_str().unwrap().starts_with("2025-10-18T22:39:"),
        "{set}"
    );
}

#[test]
fn a_meters_reading_is_kept_for_the_camera_and_lens() {
    let user = User::new();
    let small = ["--frames", "3", "--size", "480x320", "--format", "dng"];
    for (name, seed) in [("ridge", "21"), ("another", "22")] {
        let said = user.runs(&[&["sample", name, "--seed", seed][..], &small].concat());
        assert_eq!(said.code, 0, "{}", said.err);
    }
    let brightness = |name: &str, more: &[&str]| -> f64 {
        let words = [&["measure", name, "--csv", "-"][..], more].concat();
        let said = user.runs(&words);
        assert_eq!(said.code, 0, "{}", said.err);
        let mut values: Vec<f64> = (rows(&said.out).iter())
            .map(|row| row["sky_mag_arcsec2"].parse().unwrap())
            .collect();
        values.sort_by(f64::total_cmp);
        values[1]
    };
    let (one, other) = (brightness("ridge", &[]), brightness("another", &[]));
    assert!((brightness("ridge", &["--meter", "21.4"]) - 21.4).abs() < 0.006);
    let moved = brightness("another", &[]) - other;
    assert!((moved - (21.4 - one)).abs() < 0.011, "{moved} {one}");
}

#[test]
fn the_word_on_linear_files_is_taken() {
    let user = User::new();
    fs::create_dir(user.path("flat")).unwrap();
    let grey = image::RgbImage::from_pixel(96, 64, image::Rgb([100; 3]));
    grey.save(user.path("flat/one.png")).unwrap();
    // 100 of 255 is 39.2 % of full scale, and 12.7 % of the light by IEC 61966-2-1.
    for (word, is_linear, level) in [("yes", "true", 39.2), ("no", "false", 12.7)] {
        let said = user.runs(&["measure", "flat", "--linear", word, "--csv", "-"]);
        let rows = rows(&said.out);
        assert_eq!(rows[0]["linear"], is_linear, "{}", said.err);
        let found: f64 = rows[0]["sky_level_pct"].parse().unwrap();
        assert!((found - level).abs() < 0.3, "{word}: {found}");
    }
}

#[test]
fn kept_measurements_are_used_unless_fresh_ones_are_asked_for() {
    let user = User::new();
    let words = "sample ridge --frames 2 --size 480x320 --format tiff";
    let said = user.runs(&words.split(' ').collect::<Vec<_>>());
    assert_eq!(said.code, 0, "{}", said.err);
    let table = |more: &[&str]| {
        let mut words = vec!["measure", "ridge", "--csv", "-"];
        words.extend(more);
        user.runs(&words).out
    };
    let before = table(&[]);
    // A change that a file's key does not tell: its size and both ends stay.
    let folder = fs::read_dir(user.path("ridge")).unwrap();
    let frame = (folder.map(|entry| entry.unwrap().path()))
        .find(|path| path.extension().is_some_and(|ending| ending != "json"))
        .unwrap();
    let mut bytes = fs::read(&frame).unwrap();
    let end = bytes.len() - 70_000;
    bytes[70_000..end].fill(99);
    fs::write(&frame, bytes).unwrap();
    assert_eq!(table(&[]), before);
    assert_ne!(table(&["--fresh"]), before);
}

#[test]
fn lists_are_written_once() {
    let user = User::new();
    user.has_night("ridge", 5);
    let first = frames_in(&user.path("ridge")).remove(0);
    fs::write(&first, "").unwrap();
    let words = ["export", "ridge", "--to", "out/lists", "--list"];
    let said = user.runs(&words);
    assert_eq!(said.code, 1, "one is unreadable: {}", said.err);
    assert!(said.out.is_empty());
    let list = |name: &str| fs::read_to_string(user.path("out/lists").join(name)).unwrap();
    let (kept, rejected) = (list("used.txt"), list("rejected.txt"));
    assert_eq!(kept.lines().count() + rejected.lines().count(), 5);
    let name = first.file_name().unwrap().to_string_lossy().into_owned();
    assert!(rejected.lines().any(|line| line == name), "{rejected}");

    let again = user.runs(&words);
    assert_eq!(
        again.code, 1,
        "the same lists are no trouble: {}",
        again.err
    );
    fs::write(user.path("out/lists/used.txt"), "mine").unwrap();
    let again = user.runs(&words);
    assert_eq!(again.code, 2);
    assert!(again.err.contains("other content"), "{}", again.err);
    assert_eq!(list("used.txt"), "mine");
    assert_eq!(list("rejected.txt"), rejected);
}

#[test]
fn advice_is_given() {
    let user = User::new();
    user.has_night("ridge", 5);
    let said = user.runs(&["advise", "ridge"]);
    assert_eq!(said.code, 0, "{}", said.err);
    for setting in ["Exposure", "ISO", "Interval"] {
        assert!(said.out.contains(setting), "{}", said.out);
    }
}

#[test]
fn settings_are_compared() {
    let user = User::new();
    let words = "sample ladder --scene iso-ladder --frames 10 --size 640x427 --format dng";
    let said = user.runs(&words.split(' ').collect::<Vec<_>>());
    assert_eq!(said.code, 0, "{}", said.err);
    let said = user.runs(&["compare", "ladder", "--purpose", "still", "--csv", "-"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let rows = rows(&said.out);
    let isos: Vec<&str> = rows.iter().map(|row| row["iso"].as_str()).collect();
    assert_eq!(isos, ["400", "800", "1600", "3200", "6400"], "{}", said.out);
    let number = |row: usize, column: &str| rows[row][column].parse::<f64>().unwrap();
    for row in &rows {
        assert_eq!(row["frames"], "2");
        assert_eq!(row["exposure_s"], "30");
    }
    // The same sky: twice the ISO, twice the level.
    for row in 0..4 {
        let ratio = number(row + 1, "sky_level_pct") / number(row, "sky_level_pct");
        assert!((ratio - 2.0).abs() < 0.1, "{}", said.out);
    }
    // Read noise adds 2 % at most under this sky: the same stars stand out alike at every ISO.
    for row in 0..5 {
        let ratio = number(row, "star_snr") / number(0, "star_snr");
        assert!((ratio - 1.0).abs() < 0.15, "{}", said.out);
    }
    assert!(
        number(4, "clipped_pct") > number(0, "clipped_pct"),
        "{}",
        said.out
    );
    assert!(said.err.contains("Use ISO"), "{}", said.err);

    let said = user.runs(&["compare", "ladder", "--csv", "settings.csv"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.out.contains("ISO 1600"), "{}", said.out);
    let saved = fs::read_to_string(user.path("settings.csv")).unwrap();
    assert_eq!(saved.lines().count(), 6);

    user.has_night("ridge", 3);
    let said = user.runs(&["compare", "ridge"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(
        said.out.contains("All frames have one setting"),
        "{}",
        said.out
    );
    assert_eq!(user.runs(&["compare", "nowhere"]).code, 2);
}

#[test]
fn a_sample_is_never_written_over_other_files() {
    let user = User::new();
    user.has_night("made", 2);
    let frames = frames_in(&user.path("made"));
    assert_eq!(frames.len(), 2);
    user.has_night("made", 2);
    let before = fs::read(&frames[0]).unwrap();
    let said = user.runs(&["sample", "made", "--frames", "3", "--size", "480x320"]);
    assert_eq!(said.code, 2, "{}", said.err);
    assert_eq!(fs::read(&frames[0]).unwrap(), before);
}

#[test]
fn without_a_display_it_says_so_and_measures() {
    let user = User::new();
    user.has_night("ridge", 2);
    let said = user.runs(&["ridge"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.err.contains("no display"), "{}", said.err);
    assert!(said.out.contains("2 frames"), "{}", said.out);
    let said = user.runs(&[]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("Name a folder"), "{}", said.err);
}

#[cfg(unix)]
#[test]
fn a_closed_pipe_is_a_quiet_end() {
    let user = User::new();
    user.has_night("ridge", 2);
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_nightloupe"))
        .args(["measure", "ridge", "--csv", "-"])
        .current_dir(user.home.path())
        .env("XDG_DATA_HOME", user.path("data"))
        .env("XDG_CACHE_HOME", user.path("cache"))
        .stdout(writer)
        .output()
        .unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{err}");
    assert!(!err.contains("panic") && !err.contains("pipe"), "{err}");
}
