//! Handing over in folders on a disk: cut off at every step, refused, undone.

#![expect(
    clippy::disallowed_methods,
    reason = "what a test writes and removes is its own"
)]

use std::collections::BTreeMap;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use super::*;
use crate::verdict::Verdict;

/// A folder of frames: name, verdict (none: a dark frame), companions.
struct Night {
    folder: tempfile::TempDir,
    frames: Vec<FrameFiles>,
}

const FRAMES: [(&str, Option<Verdict>, &[&str]); 6] = [
    (
        "fell_1.dng",
        Some(Verdict::Reject),
        &["fell_1.JPG", "fell_1.xmp"],
    ),
    ("fell_2.dng", Some(Verdict::Keep), &["fell_2.JPG"]),
    ("fell_3.dng", Some(Verdict::Reject), &[]),
    ("fell_4.dng", None, &[]),
    ("fell_5.dng", Some(Verdict::Doubtful), &["fell_5.dng.xmp"]),
    ("fell_6.tif", Some(Verdict::Reject), &["fell_6.xmp"]),
];

const SIDECAR: &str = "\u{feff}<a:RDF xmlns:a=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\
                       <a:Description q:of='him' xmlns:q='urn:q'/></a:RDF>";

impl Night {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let put = |name: &str| {
            let path = folder.path().join(name);
            let text = if name.contains(".xmp") { SIDECAR } else { name };
            fs::write(&path, text).unwrap();
            let then = SystemTime::UNIX_EPOCH + Duration::from_hours(400_000);
            fs::File::options()
                .write(true)
                .open(&path)
                .unwrap()
                .set_modified(then)
                .unwrap();
            path
        };
        let frames = FRAMES
            .iter()
            .enumerate()
            .map(|(shot, (name, verdict, companions))| FrameFiles {
                shot,
                set: 0,
                name: (*name).to_owned(),
                path: put(name),
                companions: companions.iter().map(|name| put(name)).collect(),
                verdict: *verdict,
                is_readable: true,
            });
        let frames = frames.collect();
        Self { folder, frames }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Every file below the folder with its content and the time it was changed.
    fn files(&self) -> BTreeMap<PathBuf, (Vec<u8>, SystemTime)> {
        let mut found = BTreeMap::new();
        let mut folders = vec![self.path().to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    let changed = fs::metadata(&path).unwrap().modified().unwrap();
                    let name = path.strip_prefix(self.path()).unwrap().to_owned();
                    found.insert(name, (fs::read(&path).unwrap(), changed));
                }
            }
        }
        found
    }
}

fn quiet(_: Change) {}

/// Runs `work` and cuts it off before change number `k`; whether it came to that.
fn cut_off<T>(k: usize, work: impl FnOnce(Tell<'_>) -> T) -> bool {
    let mut left = k;
    let mut tell = |_: Change| {
        if left == 0 {
            resume_unwind(Box::new("the power failed"));
        }
        left -= 1;
    };
    catch_unwind(AssertUnwindSafe(|| work(&mut tell))).is_err()
}

#[test]
fn rejected_frames_move_with_their_companions_and_come_back_as_they_were() {
    let night = Night::new();
    let before = night.files();
    let plan = Moves::plan(&night.frames);
    let preview = plan.preview();
    assert_eq!(
        preview.files,
        [
            "fell_1.dng",
            "fell_1.JPG",
            "fell_1.xmp",
            "fell_3.dng",
            "fell_6.tif",
            "fell_6.xmp"
        ]
    );
    assert!(
        preview
            .sentence
            .starts_with("Move 3 rejected frames, 6 files in all, into ")
    );
    assert_eq!(night.files(), before, "a plan changes nothing");
    let done = plan.carry_out(&mut quiet);
    assert!(
        done.sentence.starts_with("3 rejected frames moved into "),
        "{}",
        done.sentence
    );
    assert!(done.troubles.is_empty(), "{done:?}");
    assert_eq!(done.moved.len(), 6);
    for (from, to) in &done.moved {
        assert!(!from.exists());
        let name = from.strip_prefix(night.path()).unwrap();
        let (content, changed) = &before[name];
        assert_eq!(&fs::read(to).unwrap(), content);
        assert_eq!(fs::metadata(to).unwrap().modified().unwrap(), *changed);
    }
    assert!(
        night.path().join("fell_4.dng").exists(),
        "a dark frame stays"
    );
    // From the night's folder or from the subfolder itself.
    let done = restore(&night.path().join(ASIDE), &mut quiet).unwrap();
    assert_eq!((done.moved.len(), done.troubles.len()), (6, 0));
    assert_eq!(night.files(), before);
    assert!(!night.path().join(ASIDE).exists());
    let again = restore(night.path(), &mut quiet).unwrap_err();
    assert!(again.starts_with("No frames were set aside in "), "{again}");
}

#[test]
fn cut_off_at_any_step_all_come_back_and_can_be_moved_again() {
    let steps = (0..).take_while(|&k| {
        let night = Night::new();
        let before = night.files();
        let plan = Moves::plan(&night.frames);
        let was_cut = cut_off(k, |tell| plan.carry_out(tell));
        // Nothing is lost at that moment: every content is somewhere.
        let contents: Vec<Vec<u8>> = night
            .files()
            .into_values()
            .map(|(bytes, _)| bytes)
            .collect();
        assert!(
            before.values().all(|(bytes, _)| contents.contains(bytes)),
            "step {k}"
        );
        if night
            .path()
            .join(ASIDE)
            .join("nightloupe-journal.jsonl")
            .exists()
        {
            // Bringing back may be cut off as well.
            for j in 0..3 * k {
                cut_off(j, |tell| restore(night.path(), tell));
                let contents: Vec<Vec<u8>> = night
                    .files()
                    .into_values()
                    .map(|(bytes, _)| bytes)
                    .collect();
                assert!(
                    before.values().all(|(bytes, _)| contents.contains(bytes)),
                    "step {k}, {j}"
                );
                if !night.path().join(ASIDE).exists() {
                    break;
                }
            }
            let _ = restore(night.path(), &mut quiet);
        }
        assert_eq!(night.files(), before, "step {k}");
        was_cut
    });
    assert!(
        steps.count() > 12,
        "journal, folder, and two changes a file"
    );
}

#[test]
fn a_run_that_was_cut_off_is_resumed_by_the_next() {
    let whole = Night::new();
    Moves::plan(&whole.frames).carry_out(&mut quiet);
    let wanted: Vec<PathBuf> = whole.files().into_keys().collect();
    for k in 0..16 {
        let night = Night::new();
        let plan = Moves::plan(&night.frames);
        cut_off(k, |tell| plan.carry_out(tell));
        let done = plan.carry_out(&mut quiet);
        assert!(done.troubles.is_empty(), "step {k}: {done:?}");
        assert_eq!(
            night.files().into_keys().collect::<Vec<_>>(),
            wanted,
            "step {k}"
        );
    }
}

#[test]
fn nothing_is_overwritten_and_a_frame_stays_whole() {
    let night = Night::new();
    let aside = night.path().join(ASIDE);
    fs::create_dir(&aside).unwrap();
    fs::write(aside.join("fell_1.xmp"), "somebody's").unwrap();
    let done = Moves::plan(&night.frames).carry_out(&mut quiet);
    assert_eq!(done.troubles.len(), 1, "{done:?}");
    assert!(done.troubles[0].starts_with("fell_1.xmp stays: a file of its name"));
    assert!(
        night.path().join("fell_1.dng").exists(),
        "with all its files"
    );
    assert!(night.path().join("fell_1.JPG").exists());
    assert!(aside.join("fell_3.dng").exists(), "the rest is done");
    assert_eq!(fs::read(aside.join("fell_1.xmp")).unwrap(), b"somebody's");
    // And the other way: a new file where the old one was.
    fs::write(night.path().join("fell_3.dng"), "new").unwrap();
    let done = restore(night.path(), &mut quiet).unwrap();
    assert!(
        done.troubles
            .iter()
            .any(|t| t.starts_with("fell_3.dng stays in ")),
        "{done:?}"
    );
    assert_eq!(fs::read(night.path().join("fell_3.dng")).unwrap(), b"new");
    assert_eq!(fs::read(aside.join("fell_3.dng")).unwrap(), b"fell_3.dng");
    assert!(night.path().join("fell_6.tif").exists());
}

#[test]
fn one_set_aside_is_taken_back_without_the_one_before() {
    let mut night = Night::new();
    let first = Moves::plan(&night.frames);
    first.carry_out(&mut quiet);
    night.frames.retain(|frame| frame.path.exists());
    night.frames[0].verdict = Some(Verdict::Reject);
    let second = Moves::plan(&night.frames);
    second.carry_out(&mut quiet);
    assert!(!night.path().join("fell_2.dng").exists());
    let firsts = second.firsts();
    let done = restore_these(night.path(), &firsts[night.path()], &mut quiet).unwrap();
    assert_eq!(done.moved.len(), 2);
    assert!(night.path().join("fell_2.dng").exists());
    assert!(!night.path().join("fell_1.dng").exists());
    assert_eq!(restore(night.path(), &mut quiet).unwrap().moved.len(), 6);
}

#[test]
fn a_journal_cannot_reach_out_of_its_folder() {
    let night = Night::new();
    let aside = night.path().join(ASIDE);
    fs::create_dir(&aside).unwrap();
    let journal = aside.join("nightloupe-journal.jsonl");
    for name in ["../../x", "/etc/x", "..", "", "a/b", "."] {
        let head = r#"{"nightloupe":"set-aside","version":1}"#;
        fs::write(&journal, format!("{head}\n{{\"move\":[\"{name}\"]}}\n")).unwrap();
        let refused = restore(night.path(), &mut quiet).unwrap_err();
        assert!(refused.contains("is damaged at line 2"), "{refused}");
    }
    for other in [
        "",
        "{}",
        "\u{0}",
        "{\"nightloupe\":\"set-aside\",\"version\":2}",
    ] {
        fs::write(&journal, other).unwrap();
        let refused = restore(night.path(), &mut quiet).unwrap_err();
        assert!(
            refused.contains("is not one that this version reads"),
            "{refused}"
        );
    }
}

#[cfg(unix)]
#[test]
fn names_that_are_no_text_and_links_are_seen_to() {
    use std::os::unix::ffi::OsStrExt;
    let mut night = Night::new();
    let odd = night
        .path()
        .join(std::ffi::OsStr::from_bytes(b"caf\xe9.dng"));
    let link = night.path().join("fell_7.dng");
    fs::write(&odd, "odd").unwrap();
    std::os::unix::fs::symlink("fell_2.dng", &link).unwrap();
    for path in [&odd, &link] {
        night.frames.push(FrameFiles {
            path: path.clone(),
            companions: Vec::new(),
            ..night.frames[0].clone()
        });
    }
    let done = Moves::plan(&night.frames).carry_out(&mut quiet);
    assert!(!odd.exists() && fs::symlink_metadata(&link).is_ok());
    assert_eq!(done.troubles.len(), 1);
    assert!(
        done.troubles[0].contains("a link to a file elsewhere"),
        "{done:?}"
    );
    restore(night.path(), &mut quiet).unwrap();
    assert_eq!(fs::read(&odd).unwrap(), b"odd");
}

#[test]
fn rating_files_are_written_and_taken_back_exactly() {
    let night = Night::new();
    let before = night.files();
    let plan = Ratings::plan(&night.frames, None);
    let preview = plan.preview();
    assert_eq!(
        preview.sentence,
        "Write 1 new rating file and change the rating in 2 present rating files beside the \
         rejected frames: rating −1, rejected."
    );
    assert!(plan.can_be_written());
    assert_eq!(night.files(), before, "a plan changes nothing");
    let done = plan.carry_out(&mut quiet);
    assert_eq!(done.sentence, "3 rating files written.");
    let mut after = night.files();
    assert_eq!(
        after[Path::new("fell_3.xmp")].0,
        xmp::new_packet(xmp::REJECTED)
    );
    for name in ["fell_1.xmp", "fell_6.xmp"] {
        let text = String::from_utf8(after[Path::new(name)].0.clone()).unwrap();
        let added = " xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\" xmp:Rating=\"-1\"";
        assert_eq!(text.replace(added, ""), SIDECAR);
    }
    after.retain(|name, _| {
        !name.to_string_lossy().contains("xmp") && !name.starts_with(".nightloupe-ratings.jsonl")
    });
    assert!(
        after.iter().all(|(name, file)| before[name] == *file),
        "frames are untouched"
    );
    let again = Ratings::plan(&night.frames, None);
    assert!(again.preview().is_empty);
    // With the new sidecar a companion, as listing again finds it.
    assert_eq!(again.preview().notes, ["3 rating files say so already."]);
    let folders = plan.folders();
    let done = take_back_ratings(night.path(), Some(&folders[night.path()]), &mut quiet).unwrap();
    assert_eq!(done.sentence, "3 rating files taken back.");
    let contents = |files: BTreeMap<PathBuf, (Vec<u8>, SystemTime)>| -> BTreeMap<PathBuf, Vec<u8>> {
        files
            .into_iter()
            .map(|(name, (bytes, _))| (name, bytes))
            .collect()
    };
    assert_eq!(contents(night.files()), contents(before));
}

#[test]
fn ratings_cut_off_at_any_step_are_taken_back() {
    let steps = (0..).take_while(|&k| {
        let night = Night::new();
        let before: BTreeMap<_, _> = night
            .files()
            .into_iter()
            .map(|(n, (b, _))| (n, b))
            .collect();
        let plan = Ratings::plan(&night.frames, None);
        let was_cut = cut_off(k, |tell| plan.carry_out(tell));
        for j in 0..k {
            cut_off(j, |tell| take_back_ratings(night.path(), None, tell));
        }
        let _ = take_back_ratings(night.path(), None, &mut quiet);
        let after: BTreeMap<_, _> = night
            .files()
            .into_iter()
            .map(|(n, (b, _))| (n, b))
            .collect();
        assert_eq!(after, before, "step {k}");
        was_cut
    });
    assert_eq!(steps.count(), 4, "the journal and three files");
}

#[test]
fn a_rating_file_that_somebody_changed_is_left() {
    let night = Night::new();
    let plan = Ratings::plan(&night.frames, None);
    fs::write(night.path().join("fell_1.xmp"), "changed").unwrap();
    let done = plan.carry_out(&mut quiet);
    assert!(
        done.troubles[0].contains("another program changed it just now"),
        "{done:?}"
    );
    fs::write(night.path().join("fell_3.xmp"), "theirs").unwrap();
    let done = take_back_ratings(night.path(), None, &mut quiet).unwrap();
    assert_eq!(done.troubles.len(), 2, "{done:?}");
    assert_eq!(
        fs::read(night.path().join("fell_1.xmp")).unwrap(),
        b"changed"
    );
    assert_eq!(
        fs::read(night.path().join("fell_3.xmp")).unwrap(),
        b"theirs"
    );
    assert_eq!(
        fs::read_to_string(night.path().join("fell_6.xmp")).unwrap(),
        SIDECAR
    );
    // What is no rating file is not made one.
    let plan = Ratings::plan(&night.frames, None);
    assert!(
        plan.preview()
            .notes
            .iter()
            .any(|n| n.contains("it is no rating file")),
        "{plan:?}"
    );
}

#[test]
fn rating_files_elsewhere_carry_what_the_present_ones_say() {
    let night = Night::new();
    let before = night.files();
    let out = tempfile::tempdir().unwrap();
    let folder = out.path().join("ratings");
    let plan = Ratings::plan(&night.frames, Some(&folder));
    plan.carry_out(&mut quiet);
    assert_eq!(night.files(), before, "nothing beside the frames");
    let text = fs::read_to_string(folder.join("fell_1.xmp")).unwrap();
    assert!(
        text.contains("q:of='him'") && text.contains("Rating=\"-1\""),
        "{text}"
    );
    assert!(folder.join("fell_3.xmp").exists());
}

#[test]
fn a_kept_frame_called_rejected_is_said_and_left() {
    let mut night = Night::new();
    Ratings::plan(&night.frames, None).carry_out(&mut quiet);
    night.frames[0].verdict = Some(Verdict::Keep);
    let plan = Ratings::plan(&night.frames, None);
    let notes = plan.preview().notes;
    assert!(
        notes
            .iter()
            .any(|n| n.starts_with("1 frame that is used is called rejected")),
        "{notes:?}"
    );
}

#[test]
fn used_frames_are_numbered_without_holes_and_taken_back() {
    let night = Night::new();
    let before = night.files();
    let out = tempfile::tempdir().unwrap();
    let folder = out.path().join("frames");
    let plan = Links::plan(&night.frames, &folder);
    assert_eq!(
        plan.preview().files,
        [
            "frame_0001.dng from fell_2.dng",
            "frame_0002.dng from fell_5.dng"
        ]
    );
    let (done, made) = plan.carry_out(&mut quiet).unwrap();
    assert!(
        done.sentence.starts_with("2 frames numbered in "),
        "{}",
        done.sentence
    );
    assert_eq!(
        fs::read(folder.join("frame_0002.dng")).unwrap(),
        b"fell_5.dng"
    );
    let refused = plan.carry_out(&mut quiet).unwrap_err();
    assert!(refused.contains("is there already"), "{refused}");
    // One that was put in another's place is not ours to remove.
    fs::remove_file(folder.join("frame_0001.dng")).unwrap();
    fs::write(folder.join("frame_0001.dng"), "theirs").unwrap();
    let done = made.take_back(&mut quiet);
    assert_eq!(done.troubles.len(), 1, "{done:?}");
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 1);
    assert_eq!(night.files(), before);
}

#[test]
fn links_cut_off_at_any_step_leave_no_folder_of_that_name() {
    let steps = (0..).take_while(|&k| {
        let night = Night::new();
        let out = tempfile::tempdir().unwrap();
        let folder = out.path().join("frames");
        let plan = Links::plan(&night.frames, &folder);
        let was_cut = cut_off(k, |tell| plan.carry_out(tell));
        if was_cut {
            assert!(!folder.exists(), "step {k}");
            plan.carry_out(&mut quiet).unwrap();
        }
        assert_eq!(
            fs::read_dir(out.path()).unwrap().count(),
            1,
            "nothing else is left"
        );
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 2);
        was_cut
    });
    assert_eq!(steps.count(), 4);
}

#[cfg(unix)]
#[test]
fn a_folder_that_cannot_be_written_is_said() {
    use std::os::unix::fs::PermissionsExt;
    let night = Night::new();
    let mode = |mode| fs::set_permissions(night.path(), fs::Permissions::from_mode(mode)).unwrap();
    mode(0o555);
    // To root nothing is forbidden.
    if fs::create_dir(night.path().join("probe")).is_err() {
        let done = Moves::plan(&night.frames).carry_out(&mut quiet);
        assert_eq!(done.sentence, "No frame was moved.");
        assert!(
            done.troubles[0].contains("cannot be written. Write lists"),
            "{done:?}"
        );
        assert!(!Ratings::plan(&night.frames, None).can_be_written());
    }
    mode(0o755);
}
