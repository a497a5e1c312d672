//! The table of rooms in DEVELOPERS.md, held.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Room, and the rooms it may use: the table in DEVELOPERS.md.
const ROOMS: &[(&str, &str)] = &[
    ("base", ""),
    ("sky", "base"),
    ("frame", "base"),
    ("measure", "base sky frame"),
    ("night", "base sky frame measure"),
    ("verdict", "base sky frame measure night"),
    ("advice", "base sky frame measure night verdict"),
    ("picture", "base frame"),
    ("result", "base frame sky night picture"),
    ("chart", "base sky frame measure night verdict"),
    (
        "export",
        "base frame measure night verdict advice picture chart",
    ),
    ("store", "base frame measure night verdict"),
    ("sim", "base frame"),
    (
        "engine",
        "base sky frame measure night verdict advice picture result chart export store sim",
    ),
    (
        "app",
        "base sky measure night verdict advice picture result chart export store engine frame",
    ),
    (
        "cli",
        "base sky frame measure night verdict advice picture result chart export store sim engine",
    ),
    (
        "ui",
        "base sky frame measure night verdict advice picture result chart engine app",
    ),
];

/// Crates that only one room may name.
const CRATES: &[(&str, &[&str])] = &[
    ("egui", &["ui"]),
    ("eframe", &["ui"]),
    ("egui_extras", &["ui"]),
    ("rusqlite", &["store"]),
    ("clap", &["cli"]),
    ("rawler", &["frame"]),
    ("fitsrs", &["frame"]),
    ("rfd", &["engine"]),
];

fn source_root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// The text without comments, and without what stands under `#[cfg(test)]` at the end of a file:
/// a room's own tests may look at other rooms.
fn code_of(path: &Path) -> String {
    let text = fs::read_to_string(path).unwrap();
    let body = text
        .split("#[cfg(test)]\nmod tests")
        .next()
        .unwrap_or_default();
    body.lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .collect::<Vec<_>>()
        .join("\n")
}

/// Rooms named as `crate::room` in `code`, also inside `use crate::{a::…, b::…}`.
fn rooms_named(code: &str) -> BTreeSet<String> {
    let mut named = BTreeSet::new();
    for part in code.split("crate::").skip(1) {
        if let Some(list) = part.strip_prefix('{') {
            let mut depth = 0_i32;
            let mut word = String::new();
            for c in list.chars() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    _ => {}
                }
                if depth == 0 && (c.is_alphanumeric() || c == '_') {
                    word.push(c);
                } else {
                    named.insert(std::mem::take(&mut word));
                }
            }
            named.insert(word);
        } else {
            named.insert(
                part.chars()
                    .take_while(|c| c.is_alphanumeric() || *c == '_')
                    .collect(),
            );
        }
    }
    let known: BTreeSet<&str> = ROOMS.iter().map(|(room, _)| *room).collect();
    named
        .into_iter()
        .filter(|name| known.contains(name.as_str()))
        .collect()
}

#[test]
fn each_room_uses_only_rooms_above_it() {
    let mut wrong = Vec::new();
    for (room, may_use) in ROOMS {
        let allowed: BTreeSet<&str> = may_use.split(' ').chain([*room]).collect();
        for path in rust_files(&source_root().join(room)) {
            for named in rooms_named(&code_of(&path)) {
                if !allowed.contains(named.as_str()) {
                    wrong.push(format!("{} uses {named}", path.display()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn every_folder_is_a_room_and_says_what_it_is_for() {
    let known: BTreeSet<&str> = ROOMS.iter().map(|(room, _)| *room).collect();
    for entry in fs::read_dir(source_root()).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            assert!(
                known.contains(name.as_str()),
                "{name} is not in the table of rooms"
            );
            let text = fs::read_to_string(path.join("mod.rs")).unwrap();
            assert!(
                text.starts_with("//! "),
                "{name}/mod.rs does not say what the room is for"
            );
        }
    }
}

#[test]
fn foreign_crates_stay_in_their_rooms() {
    let mut wrong = Vec::new();
    for path in rust_files(&source_root()) {
        let relative = path.strip_prefix(source_root()).unwrap().to_owned();
        // A room's tests may ask the foreign library itself.
        if relative
            .components()
            .any(|part| part.as_os_str() == "tests")
            || relative.to_string_lossy().ends_with("tests.rs")
        {
            continue;
        }
        let room = relative
            .components()
            .next()
            .unwrap()
            .as_os_str()
            .to_string_lossy()
            .into_owned();
        let code = code_of(&path);
        for (name, rooms) in CRATES {
            let names_it = code.match_indices(&format!("{name}::")).any(|(at, _)| {
                !code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == ':')
            });
            if names_it && !rooms.contains(&room.as_str()) {
                wrong.push(format!("{} names {name}", relative.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn a_file_is_one_idea() {
    // 400 lines is the aim; a table or a long test may pass it, nothing passes this.
    const MOST_LINES: usize = 600;
    let long: Vec<String> = rust_files(&source_root())
        .into_iter()
        .filter_map(|path| {
            let lines = fs::read_to_string(&path).unwrap().lines().count();
            (lines > MOST_LINES).then(|| format!("{} has {lines} lines", path.display()))
        })
        .collect();
    assert!(long.is_empty(), "{long:#?}");
}

#[test]
fn exceptions_to_lints_carry_a_reason() {
    for path in rust_files(&source_root()) {
        let text = fs::read_to_string(&path).unwrap();
        assert!(
            !text.contains("#[allow("),
            "{}: use #[expect(…, reason)]",
            path.display()
        );
        assert!(
            !text.contains("#[ignore"),
            "{}: no ignored tests",
            path.display()
        );
    }
}
