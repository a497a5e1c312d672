//! Rating files written by exiftool (ISO 16684-1), changed by us, and read again by exiftool: see
//! `rating_files/make.sh`.

use std::fs;
use std::path::PathBuf;

use nightloupe::export::handover::xmp::{REJECTED, with_rating};
use serde_json::{Map, Value};

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference/rating_files")
}

fn names() -> Vec<String> {
    let mut names: Vec<String> = (fs::read_dir(folder().join("before")).unwrap())
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert!(names.len() > 5);
    names
}

#[test]
fn what_we_write_is_what_exiftool_has_read() {
    let writes = std::env::var_os("NIGHTLOUPE_WRITE_REFERENCE").is_some();
    for name in names() {
        let before = fs::read(folder().join("before").join(&name)).unwrap();
        let after = with_rating(&before, REJECTED).unwrap();
        let file = folder().join("after").join(&name);
        if writes {
            fs::write(&file, &after).unwrap();
        }
        assert_eq!(fs::read(&file).unwrap(), after, "{name}");
    }
}

#[test]
fn exiftool_reads_the_rating_and_all_else_as_before() {
    let table = fs::read_to_string(folder().join("exiftool.json")).unwrap();
    let table: Vec<Map<String, Value>> = serde_json::from_str(&table).unwrap();
    let read = |when: &str, name: &str| {
        let file = format!("{when}/{name}");
        let found = table
            .iter()
            .find(|read| read["SourceFile"] == file.as_str());
        let mut read = found.unwrap_or_else(|| panic!("{file}")).clone();
        read.remove("SourceFile");
        read
    };
    for name in names() {
        let (mut before, mut after) = (read("before", &name), read("after", &name));
        assert_eq!(
            after.remove("XMP-xmp:Rating"),
            Some(REJECTED.into()),
            "{name}"
        );
        before.remove("XMP-xmp:Rating");
        assert_eq!(after, before, "{name}");
    }
}
