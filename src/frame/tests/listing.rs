//! Folders as people have them.

use std::fs;
use std::path::{Path, PathBuf};

use super::put;
use crate::frame::{Listing, list};

fn fill(folder: &Path, names: &[&str]) {
    for name in names {
        let path = folder.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        put(&path, b"x");
    }
}

fn names(listing: &Listing) -> Vec<&str> {
    listing
        .shots
        .iter()
        .map(|shot| shot.name.as_str())
        .collect()
}

#[test]
fn names_count_as_people_count() {
    let folder = tempfile::tempdir().unwrap();
    fill(
        folder.path(),
        &[
            "img10.jpg",
            "img9.jpg",
            "img1.JPG",
            "notes.txt",
            ".hidden.jpg",
        ],
    );
    fill(folder.path(), &["sub/img2.jpg"]);
    let listing = list(&[folder.path().to_owned()]).unwrap();
    assert_eq!(names(&listing), ["img1.JPG", "img9.jpg", "img10.jpg"]);
    assert_eq!(
        listing.passed_over, 1,
        "the text; what is hidden is not spoken of"
    );
    assert_eq!(listing.root, folder.path());
}

#[test]
fn raw_and_its_companions_are_one_shot() {
    let folder = tempfile::tempdir().unwrap();
    let files = [
        "a.nef",
        "a.JPG",
        "a.xmp",
        "b.nef",
        "b.nef.xmp",
        "c.jpg",
        "c.xmp",
        "lone.xmp",
    ];
    fill(folder.path(), &files);
    let listing = list(&[folder.path().to_owned()]).unwrap();
    assert_eq!(names(&listing), ["a.nef", "b.nef", "c.jpg"]);
    let companions = |i: usize| -> Vec<&Path> {
        let found = listing.shots[i].companions.iter();
        found
            .map(|path| path.strip_prefix(folder.path()).unwrap())
            .collect()
    };
    assert_eq!(companions(0), [Path::new("a.JPG"), Path::new("a.xmp")]);
    assert_eq!(companions(1), [Path::new("b.nef.xmp")]);
    assert_eq!(companions(2), [Path::new("c.xmp")]);
    assert_eq!(listing.passed_over, 1);
}

#[test]
fn what_cameras_write_beside_a_frame_belongs_to_it() {
    let folder = tempfile::tempdir().unwrap();
    fill(
        folder.path(),
        &["a.dng", "a.HEIC", "a.wav", "b.jpg", "b.thm", "lone.heic"],
    );
    let listing = list(&[folder.path().to_owned()]).unwrap();
    assert_eq!(names(&listing), ["a.dng", "b.jpg"]);
    let counts = listing.shots.iter().map(|shot| shot.companions.len());
    assert_eq!(counts.collect::<Vec<_>>(), [2, 1]);
    assert_eq!(listing.passed_over, 1, "a picture that is not read, alone");
}

#[test]
fn a_tiff_beside_its_jpeg_stays_a_frame_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &["a.tif", "a.jpg"]);
    assert_eq!(
        names(&list(&[folder.path().to_owned()]).unwrap()),
        ["a.jpg", "a.tif"]
    );
}

#[test]
fn files_and_folders_may_be_given_together_and_twice() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &["one/a.jpg", "two/b.jpg", "two/c.jpg"]);
    let given = ["two/c.jpg", "one", "one", "two/c.jpg"].map(|name| folder.path().join(name));
    let listing = list(&given).unwrap();
    assert_eq!(names(&listing), ["one/a.jpg", "two/c.jpg"]);
    assert_eq!(listing.root, folder.path());
}

#[test]
fn what_is_not_there_is_an_error_and_an_empty_folder_is_none() {
    let folder = tempfile::tempdir().unwrap();
    let missing = list(&[folder.path().join("none")]).unwrap_err();
    assert!(
        missing
            .to_string()
            .starts_with("there is nothing at this path"),
        "{missing}"
    );
    assert_eq!(list(&[folder.path().to_owned()]).unwrap().shots, []);
    assert_eq!(list(&[]).unwrap(), Listing::default());
}

#[cfg(unix)]
#[test]
fn linked_folders_and_pipes_are_left_out_and_linked_files_are_not() {
    use std::os::unix::fs::symlink;
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &["frames/a.jpg", "elsewhere/b.jpg"]);
    let frames = folder.path().join("frames");
    symlink(folder.path().join("elsewhere"), frames.join("linked.jpg")).unwrap();
    symlink(folder.path().join("elsewhere/b.jpg"), frames.join("b.jpg")).unwrap();
    symlink(folder.path().join("gone"), frames.join("broken.jpg")).unwrap();
    let pipe = frames.join("pipe.jpg");
    assert!(
        std::process::Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap()
            .success()
    );
    assert_eq!(names(&list(&[frames]).unwrap()), ["a.jpg", "b.jpg"]);
    assert!(list(&[pipe]).is_err());
}

#[cfg(unix)]
#[test]
fn a_name_that_is_no_text_still_opens() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let folder = tempfile::tempdir().unwrap();
    let odd = folder.path().join(OsStr::from_bytes(b"caf\xE9.jpg"));
    put(&odd, b"x");
    let listing = list(&[folder.path().to_owned()]).unwrap();
    assert_eq!(listing.shots[0].path, odd);
    assert!(listing.shots[0].name.starts_with("caf"));
}

#[test]
fn relative_paths_work() {
    let listing = list(&[PathBuf::from("src/frame")]).unwrap();
    assert_eq!(listing.shots, []);
    assert!(listing.passed_over > 10);
}
