//! Rating files beside the frames: XMP sidecars that call the rejected ones rejected.
//!
//! Only rejected frames get one: a rating of 1 to 5 is the person's own word on a picture, and that it
//! was kept says nothing about how good it is.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::journal::{Kind, Name, from_hex, to_hex};
use super::moving::remove_ours;
use super::xmp::{self, REJECTED};
use super::{Change, Done, FrameFiles, Preview, Tell};
use crate::base::atomic::{self, Existing};
use crate::verdict::words::plural;

/// The largest rating file that is read: far above what any program writes.
const MOST_BYTES: u64 = 16 << 20;

const JOURNAL: Kind = Kind {
    file: ".nightloupe-ratings.jsonl",
    word: "ratings",
};

/// One rating file to write.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Rating {
    file: PathBuf,
    before: Option<Vec<u8>>,
    after: Vec<u8>,
}

/// What writing rating files will do. Made by [`Ratings::plan`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Ratings {
    writes: Vec<Rating>,
    /// Rating files that say so already.
    same: usize,
    /// Frames that get none, and why.
    left: Vec<String>,
    /// Used frames whose rating file calls them rejected; their number.
    contrary: usize,
    /// The folder they go into, where that is not beside the frames.
    elsewhere: Option<PathBuf>,
}

/// What is known of a rating file to undo its writing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Entry {
    file: Name,
    /// What it held; `None` when there was none.
    before: Option<Content>,
    /// BLAKE3 of what was written, so that a file which was changed since is known.
    after: String,
}

/// Bytes in JSON, as text where they are text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
enum Content {
    Text(String),
    Bytes { bytes: String },
}

impl Content {
    fn of(bytes: &[u8]) -> Self {
        std::str::from_utf8(bytes).map_or_else(
            |_| Self::Bytes {
                bytes: to_hex(bytes),
            },
            |text| Self::Text(text.to_owned()),
        )
    }

    fn bytes(&self) -> Option<Vec<u8>> {
        match self {
            Self::Text(text) => Some(text.clone().into_bytes()),
            Self::Bytes { bytes } => from_hex(bytes),
        }
    }
}

impl Ratings {
    /// Plans a rating of −1 for the rejected frames: in the sidecar they have, or else in a new one of
    /// the frame's name ending in `.xmp`. With `elsewhere`, for frames that cannot be written beside,
    /// all of them go into that folder, with what the present sidecar holds.
    #[must_use]
    pub fn plan(files: &[FrameFiles], elsewhere: Option<&Path>) -> Self {
        let mut plan = Self {
            elsewhere: elsewhere.map(Path::to_owned),
            ..Self::default()
        };
        let shared = shared_stems(files);
        let mut taken = BTreeSet::new();
        for frame in files {
            let sidecars = sidecars_of(frame, &shared);
            if frame.is_rejected() {
                for sidecar in sidecars {
                    plan.add(frame, &sidecar, &mut taken);
                }
            } else if frame.verdict.is_some() {
                let calls_rejected = |sidecar: &PathBuf| {
                    let rating = read(sidecar).ok().flatten();
                    let rating = rating.and_then(|packet| xmp::rating_of(&packet).ok()?);
                    rating.is_some_and(|rating| rating == REJECTED.to_string())
                };
                plan.contrary += usize::from(sidecars.iter().any(calls_rejected));
            }
        }
        plan
    }

    fn add(&mut self, frame: &FrameFiles, sidecar: &Path, taken: &mut BTreeSet<PathBuf>) {
        let file = match (&self.elsewhere, sidecar.file_name()) {
            (Some(folder), Some(name)) => folder.join(name),
            _ => sidecar.to_owned(),
        };
        if !taken.insert(file.clone()) {
            let why = "another frame of its name comes first";
            self.left.push(format!("{} gets none: {why}.", frame.name));
            return;
        }
        match rating_for(&file, sidecar) {
            Ok(Some(rating)) => self.writes.push(rating),
            Ok(None) => self.same += 1,
            Err(why) => self
                .left
                .push(format!("{} is left as it is: {why}.", file.display())),
        }
    }

    /// Whether every folder that a rating file goes into can be written, without changing it.
    #[must_use]
    pub fn can_be_written(&self) -> bool {
        let folders: BTreeSet<_> = self.writes.iter().filter_map(|r| r.file.parent()).collect();
        folders
            .into_iter()
            .all(|folder| tempfile::tempfile_in(folder).is_ok())
    }

    /// What will be done.
    #[must_use]
    pub fn preview(&self) -> Preview {
        let is_new = |rating: &&Rating| rating.before.is_none();
        let new = self.writes.iter().filter(is_new).count();
        let changed = self.writes.len() - new;
        let parts: Vec<String> = [
            (new, "write", "new"),
            (changed, "change the rating in", "present"),
        ]
        .into_iter()
        .filter(|(count, ..)| *count > 0)
        .map(|(count, verb, which)| {
            format!(
                "{verb} {}",
                plural(
                    count,
                    &format!("{which} rating file"),
                    &format!("{which} rating files")
                )
            )
        })
        .collect();
        let place = (self.elsewhere.as_ref()).map_or_else(
            || "beside the rejected frames".to_owned(),
            |folder| format!("in {}", folder.display()),
        );
        let sentence = if parts.is_empty() {
            "No rating file to write.".to_owned()
        } else {
            format!(
                "{} {place}: rating −1, rejected.",
                capitalised(&parts.join(" and "))
            )
        };
        let files = self.writes.iter().map(|rating| match rating.before {
            None => format!("{} (new)", rating.file.display()),
            Some(_) => format!("{} (only its rating)", rating.file.display()),
        });
        Preview {
            sentence,
            files: files.collect(),
            notes: [self.left.clone(), self.notes()].concat(),
            is_empty: self.writes.is_empty(),
        }
    }

    fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if self.same > 0 {
            let files = plural(self.same, "rating file says", "rating files say");
            notes.push(format!("{files} so already."));
        }
        if self.contrary > 0 {
            let frames = plural(
                self.contrary,
                "frame that is used is",
                "frames that are used are",
            );
            notes.push(format!(
                "{frames} called rejected by a rating file, which is left as it is."
            ));
        }
        notes
    }

    /// Writes them. What cannot be written is told, and the rest is written.
    pub fn carry_out(&self, tell: Tell<'_>) -> Done {
        let mut done = Done {
            troubles: self.left.clone(),
            notes: self.notes(),
            ..Done::default()
        };
        let mut folders: BTreeMap<&Path, Vec<&Rating>> = BTreeMap::new();
        for rating in &self.writes {
            if let Some(folder) = rating.file.parent() {
                folders.entry(folder).or_default().push(rating);
            }
        }
        let mut written = 0;
        for (folder, ratings) in folders {
            if let Err(why) = prepare(folder, &ratings, tell) {
                done.troubles.push(why);
                continue;
            }
            for rating in ratings {
                match write(rating, tell) {
                    Ok(()) => written += 1,
                    Err(why) => {
                        let file = rating.file.display();
                        done.troubles
                            .push(format!("{file} is left as it is: {why}."));
                    }
                }
            }
        }
        let files = plural(written, "rating file", "rating files");
        done.sentence = format!("{files} written.");
        done
    }

    /// The folders that were written into, each with its rating files: for [`take_back_ratings`].
    #[must_use]
    pub fn folders(&self) -> BTreeMap<PathBuf, Vec<PathBuf>> {
        let mut folders: BTreeMap<PathBuf, Vec<PathBuf>> = BTreeMap::new();
        for rating in &self.writes {
            if let Some(folder) = rating.file.parent() {
                folders
                    .entry(folder.to_owned())
                    .or_default()
                    .push(rating.file.clone());
            }
        }
        folders
    }
}

fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}

/// Stems that more than one frame of a folder has: "a" of a.jpg beside a.tif.
fn shared_stems(files: &[FrameFiles]) -> BTreeSet<PathBuf> {
    let mut seen = BTreeSet::new();
    let stems = files.iter().map(|frame| frame.path.with_extension(""));
    stems.filter(|stem| !seen.insert(stem.clone())).collect()
}

/// The rating files a frame has, or the one it would get.
fn sidecars_of(frame: &FrameFiles, shared: &BTreeSet<PathBuf>) -> Vec<PathBuf> {
    let is_sidecar = |path: &&PathBuf| {
        path.extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("xmp"))
    };
    let there: Vec<PathBuf> = frame
        .companions
        .iter()
        .filter(is_sidecar)
        .cloned()
        .collect();
    if !there.is_empty() {
        return there;
    }
    if shared.contains(&frame.path.with_extension("")) {
        let mut name = frame
            .path
            .file_name()
            .map_or_else(OsString::new, OsString::from);
        name.push(".xmp");
        return vec![frame.path.with_file_name(name)];
    }
    vec![frame.path.with_extension("xmp")]
}

/// What to write to `file`, from what is there or in `sidecar`; `None` when it says so already.
fn rating_for(file: &Path, sidecar: &Path) -> Result<Option<Rating>, String> {
    let before = read(file)?;
    let from = if file == sidecar {
        before.clone()
    } else {
        read(sidecar)?
    };
    let after = match before.as_ref().or(from.as_ref()) {
        None => xmp::new_packet(REJECTED),
        Some(packet) => xmp::with_rating(packet, REJECTED).map_err(|why| why.to_string())?,
    };
    let is_new = before.as_ref() != Some(&after);
    Ok(is_new.then(|| Rating {
        file: file.to_owned(),
        before,
        after,
    }))
}

/// A rating file's bytes; `None` when there is none.
fn read(path: &Path) -> Result<Option<Vec<u8>>, String> {
    match fs::symlink_metadata(path) {
        Err(fault) if fault.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(fault) => return Err(fault.to_string()),
        Ok(meta) if !meta.is_file() => return Err("it is no plain file".to_owned()),
        Ok(_) => {}
    }
    let mut bytes = Vec::new();
    let file = fs::File::open(path).map_err(|fault| fault.to_string())?;
    let read = file.take(MOST_BYTES + 1).read_to_end(&mut bytes);
    read.map_err(|fault| fault.to_string())?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err("it is larger than a rating file gets".to_owned());
    }
    Ok(Some(bytes))
}

fn hash(bytes: &[u8]) -> String {
    blake3::hash(bytes).to_hex().to_string()
}

/// Writes the journal: what the files held.
fn prepare(folder: &Path, ratings: &[&Rating], tell: Tell<'_>) -> Result<(), String> {
    if !folder.is_dir() {
        tell(Change::Folder);
        let made = fs::create_dir_all(folder);
        made.map_err(|fault| format!("{} could not be made: {fault}.", folder.display()))?;
    }
    let mut entries: Vec<Entry> = JOURNAL.read(folder)?;
    let new = ratings.iter().filter_map(|rating| {
        Some(Entry {
            file: Name::of(&rating.file)?,
            before: rating.before.as_deref().map(Content::of),
            after: hash(&rating.after),
        })
    });
    let new: Vec<Entry> = new.filter(|entry| !entries.contains(entry)).collect();
    entries.extend(new);
    (JOURNAL.write(folder, &entries, tell)).map_err(|fault| {
        let folder = folder.display();
        format!(
            "No rating file was written: {folder} cannot be written ({fault}). Name another folder \
             for them."
        )
    })
}

fn write(rating: &Rating, tell: Tell<'_>) -> Result<(), String> {
    if read(&rating.file)? != rating.before {
        return Err("another program changed it just now".to_owned());
    }
    tell(Change::File);
    let existing = match rating.before {
        Some(_) => Existing::Replace,
        None => Existing::Keep,
    };
    let written = atomic::write(&rating.file, existing, |out| out.write_all(&rating.after));
    written.map_err(|fault| fault.to_string())
}

/// Gives the rating files written into `folder` back what they held before, and removes those that
/// were new; `only` some of them, or all. A file that another program changed since is left, and said.
///
/// # Errors
/// A sentence, when there is no journal, or it cannot be read.
pub fn take_back_ratings(
    folder: &Path,
    only: Option<&[PathBuf]>,
    tell: Tell<'_>,
) -> Result<Done, String> {
    let entries: Vec<Entry> = JOURNAL.read(folder)?;
    if entries.is_empty() {
        return Err(format!(
            "No rating files were written in {}.",
            folder.display()
        ));
    }
    let mut done = Done::default();
    let (mut remaining, mut settled) = (Vec::new(), BTreeSet::new());
    let mut count = 0;
    // The last first: a file may have been written more than once.
    for entry in entries.into_iter().rev() {
        let file = folder.join(entry.file.os());
        // Of some, only the last writing is taken back.
        if only.is_some_and(|only| !only.contains(&file) || !settled.insert(file.clone())) {
            remaining.push(entry);
            continue;
        }
        match take_back(&file, &entry, tell) {
            Ok(was_written) => count += usize::from(was_written),
            Err(why) => {
                done.troubles
                    .push(format!("{} is left as it is: {why}.", file.display()));
                remaining.push(entry);
            }
        }
    }
    remaining.reverse();
    if let Err(fault) = JOURNAL.write(folder, &remaining, tell) {
        done.troubles.push(format!(
            "The journal in {} is left: {fault}.",
            folder.display()
        ));
    }
    let files = plural(count, "rating file", "rating files");
    done.sentence = format!("{files} taken back.");
    Ok(done)
}

/// Whether there was anything to take back.
fn take_back(file: &Path, entry: &Entry, tell: Tell<'_>) -> Result<bool, String> {
    let before = (entry.before.as_ref())
        .map(|content| content.bytes().ok_or("the journal is damaged"))
        .transpose()?;
    let now = read(file)?;
    if now == before {
        return Ok(false);
    }
    if now.is_none_or(|now| hash(&now) != entry.after) {
        return Err("it was changed or moved since".to_owned());
    }
    tell(Change::File);
    let done = match before {
        Some(before) => atomic::write(file, Existing::Replace, |out| out.write_all(&before)),
        None => remove_ours(file),
    };
    done.map_err(|fault| fault.to_string())?;
    Ok(true)
}
