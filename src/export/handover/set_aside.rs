//! Rejected frames moved into a subfolder of their own folder, and brought back.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::journal::{Kind, Name};
use super::moving::{self, Where};
use super::{Change, Done, FrameFiles, Preview, Tell};
use crate::base::atomic;
use crate::verdict::words::{frames, plural};

/// The subfolder that rejected frames are moved into.
pub const ASIDE: &str = "nightloupe-set-aside";

const JOURNAL: Kind = Kind {
    file: "nightloupe-journal.jsonl",
    word: "set-aside",
};

/// The files of one frame, as they are moved: all or none.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Entry {
    #[serde(rename = "move")]
    names: Vec<Name>,
}

/// What setting aside will move. Made by [`Moves::plan`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Moves {
    /// Frames to move, by folder.
    folders: BTreeMap<PathBuf, Vec<Entry>>,
    /// Frames that stay, and why.
    left: Vec<String>,
}

impl Moves {
    /// Plans to move the rejected frames with their companions. Dark, bias, flat and test frames are
    /// not judged and so are never among them.
    #[must_use]
    pub fn plan(files: &[FrameFiles]) -> Self {
        let mut plan = Self::default();
        let is_aside = |frame: &&FrameFiles| {
            let folder = frame.path.parent().and_then(Path::file_name);
            folder.is_some_and(|name| name == ASIDE)
        };
        let rejected = files.iter().filter(|frame| frame.is_rejected());
        for frame in rejected.filter(|frame| !is_aside(frame)) {
            match entry_of(frame) {
                Ok((folder, entry)) => plan.folders.entry(folder).or_default().push(entry),
                Err(why) => plan.left.push(format!("{} stays: {why}.", frame.name)),
            }
        }
        plan
    }

    fn entries(&self) -> impl Iterator<Item = (&PathBuf, &Entry)> {
        let of = |(folder, entries)| std::iter::repeat(folder).zip(entries);
        self.folders.iter().flat_map(of)
    }

    /// What will be done.
    #[must_use]
    pub fn preview(&self) -> Preview {
        let count = self.entries().count();
        let files: Vec<String> = (self.entries())
            .flat_map(|(_, entry)| entry.names.iter().map(Name::shown))
            .collect();
        let where_to: Vec<String> = (self.folders.keys())
            .map(|folder| folder.join(ASIDE).display().to_string())
            .collect();
        let sentence = match count {
            0 => "No rejected frame to move.".to_owned(),
            _ => format!(
                "Move {}, {} in all, into {}.",
                rejected(count),
                plural(files.len(), "file", "files"),
                where_to.join(" and ")
            ),
        };
        Preview {
            sentence,
            files,
            notes: self.left.clone(),
            is_empty: count == 0,
        }
    }

    /// Moves them. What cannot be moved stays with all its files, is told, and the rest is moved.
    pub fn carry_out(&self, tell: Tell<'_>) -> Done {
        let mut done = Done {
            troubles: self.left.clone(),
            ..Done::default()
        };
        let mut count = 0;
        for (folder, entries) in &self.folders {
            match prepare(folder, entries, tell) {
                Ok(()) => count += move_all(folder, entries, &mut done, tell),
                Err(why) => done.troubles.push(why),
            }
        }
        let folders: Vec<String> = (self.folders.keys())
            .map(|folder| folder.join(ASIDE).display().to_string())
            .collect();
        done.sentence = if count == 0 {
            "No frame was moved.".to_owned()
        } else {
            format!("{} moved into {}.", rejected(count), folders.join(" and "))
        };
        done
    }

    /// The frames that are moved, for [`restore_these`]: the first file of each, by folder.
    #[must_use]
    pub fn firsts(&self) -> BTreeMap<PathBuf, Vec<PathBuf>> {
        let first = |entry: &Entry| entry.names.first().map(|name| PathBuf::from(name.os()));
        let of = |(folder, entries): (&PathBuf, &Vec<Entry>)| {
            (folder.clone(), entries.iter().filter_map(first).collect())
        };
        self.folders.iter().map(of).collect()
    }
}

fn rejected(count: usize) -> String {
    plural(count, "rejected frame", "rejected frames")
}

fn entry_of(frame: &FrameFiles) -> Result<(PathBuf, Entry), &'static str> {
    let folder = frame.path.parent().ok_or("it lies in no folder")?;
    let is_link = |path: &Path| fs::symlink_metadata(path).is_ok_and(|meta| meta.is_symlink());
    if is_link(&frame.path) {
        return Err("it is a link to a file elsewhere");
    }
    let all = std::iter::once(&frame.path).chain(&frame.companions);
    let names: Option<Vec<Name>> = all.map(|path| Name::of(path)).collect();
    let names = names.ok_or("it has no name")?;
    Ok((folder.to_owned(), Entry { names }))
}

/// Makes the subfolder and writes the journal.
fn prepare(folder: &Path, entries: &[Entry], tell: Tell<'_>) -> Result<(), String> {
    let aside = folder.join(ASIDE);
    match fs::symlink_metadata(&aside) {
        Ok(meta) if meta.is_dir() => {}
        Ok(_) => {
            return Err(format!(
                "Nothing was moved: {} is there and is no folder.",
                aside.display()
            ));
        }
        Err(_) => {
            tell(Change::Folder);
            fs::create_dir(&aside).map_err(|fault| cannot_write(folder, &fault))?;
            // An entry in the journal is worth nothing in a folder that is lost with the power.
            atomic::sync_folder(folder).map_err(|fault| cannot_write(folder, &fault))?;
        }
    }
    let mut known: Vec<Entry> = JOURNAL.read(&aside)?;
    let new: Vec<Entry> = (entries.iter())
        .filter(|entry| !known.contains(entry))
        .cloned()
        .collect();
    known.extend(new);
    (JOURNAL.write(&aside, &known, tell)).map_err(|fault| cannot_write(&aside, &fault))
}

fn cannot_write(folder: &Path, fault: &io::Error) -> String {
    let folder = folder.display();
    match fault.kind() {
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => format!(
            "Nothing was moved: {folder} cannot be written. Write lists, or rating files into \
             another folder, instead."
        ),
        _ => format!("Nothing was moved: {folder} could not be written: {fault}."),
    }
}

/// Moves the files of each entry, or none of it; gives how many entries were moved.
fn move_all(folder: &Path, entries: &[Entry], done: &mut Done, tell: Tell<'_>) -> usize {
    let mut count = 0;
    for entry in entries {
        match move_entry(folder, entry, tell) {
            Ok(moved) => {
                done.moved.extend(moved);
                count += 1;
            }
            Err(why) => done.troubles.push(why),
        }
    }
    count
}

fn move_entry(
    folder: &Path,
    entry: &Entry,
    tell: Tell<'_>,
) -> Result<Vec<(PathBuf, PathBuf)>, String> {
    let mut moved: Vec<(PathBuf, PathBuf)> = Vec::new();
    for name in &entry.names {
        let (home, aside) = (folder.join(name.os()), folder.join(ASIDE).join(name.os()));
        let done = moving::settle(&home, &aside, tell).and_then(|state| match state {
            Where::Home => moving::move_file(&home, &aside, tell),
            // A run before this one was cut off here.
            Where::Aside => Ok(()),
            Where::Gone => Err(io::ErrorKind::NotFound.into()),
            Where::Both => Err(io::ErrorKind::AlreadyExists.into()),
        });
        if let Err(fault) = done {
            for (home, aside) in moved.iter().rev() {
                if let Err(fault) = moving::move_file(aside, home, tell) {
                    let aside = aside.display();
                    return Err(format!("{aside} could not be brought back: {fault}."));
                }
            }
            let why = match fault.kind() {
                io::ErrorKind::AlreadyExists => {
                    format!("a file of its name is in {ASIDE} already")
                }
                io::ErrorKind::NotFound => "it is not there any more".to_owned(),
                _ => fault.to_string(),
            };
            return Err(format!("{} stays: {why}.", name.shown()));
        }
        moved.push((home, aside));
    }
    Ok(moved)
}

/// Brings back all frames that were set aside from `folder` (or from the folder that `folder` is the
/// subfolder of), also after a run that was cut off. Safe to do again.
///
/// # Errors
/// A sentence, when there is no journal, or it cannot be read; then nothing was moved.
pub fn restore(folder: &Path, tell: Tell<'_>) -> Result<Done, String> {
    restore_where(folder, &|_| true, tell)
}

/// Brings back the frames of one set-aside: those whose first files are `firsts`.
///
/// # Errors
/// As [`restore`].
pub fn restore_these(folder: &Path, firsts: &[PathBuf], tell: Tell<'_>) -> Result<Done, String> {
    let wanted: BTreeSet<&Path> = firsts.iter().map(PathBuf::as_path).collect();
    let is_wanted = |entry: &Entry| {
        let first = entry.names.first();
        first.is_some_and(|name| wanted.contains(Path::new(name.os())))
    };
    restore_where(folder, &is_wanted, tell)
}

fn restore_where(
    folder: &Path,
    is_wanted: &dyn Fn(&Entry) -> bool,
    tell: Tell<'_>,
) -> Result<Done, String> {
    let home = home_of(folder)?;
    let aside = home.join(ASIDE);
    let entries: Vec<Entry> = JOURNAL.read(&aside)?;
    let mut done = Done::default();
    let mut remaining = Vec::new();
    let mut count = 0;
    for entry in entries {
        if !is_wanted(&entry) {
            remaining.push(entry);
            continue;
        }
        let before = (done.moved.len(), done.troubles.len());
        for name in &entry.names {
            bring_back(&home, name, &mut done, tell);
        }
        count += usize::from(done.moved.len() > before.0);
        if done.troubles.len() > before.1 {
            remaining.push(entry);
        }
    }
    let written = JOURNAL.write(&aside, &remaining, tell);
    if let Err(fault) = written {
        let fault = format!("The journal in {} is left: {fault}.", aside.display());
        done.troubles.push(fault);
    } else if remaining.is_empty() {
        tell(Change::Folder);
        // Whatever else somebody put there keeps the folder.
        if let Err(fault) = fs::remove_dir(&aside) {
            tracing::debug!(%fault, "the subfolder stays");
        }
    }
    done.sentence = format!("{} brought back into {}.", frames(count), home.display());
    Ok(done)
}

fn home_of(folder: &Path) -> Result<PathBuf, String> {
    if JOURNAL.path(&folder.join(ASIDE)).is_file() {
        return Ok(folder.to_owned());
    }
    let is_aside = folder.file_name().is_some_and(|name| name == ASIDE);
    match folder.parent() {
        Some(home) if is_aside && JOURNAL.path(folder).is_file() => Ok(home.to_owned()),
        _ => Err(format!(
            "No frames were set aside in {}: there is no {ASIDE} with a journal in it.",
            folder.display()
        )),
    }
}

fn bring_back(folder: &Path, name: &Name, done: &mut Done, tell: Tell<'_>) {
    let (home, aside) = (folder.join(name.os()), folder.join(ASIDE).join(name.os()));
    let moved = moving::settle(&home, &aside, tell).and_then(|state| match state {
        Where::Home => Ok(false),
        Where::Aside => moving::move_file(&aside, &home, tell).map(|()| true),
        Where::Gone => Err(io::ErrorKind::NotFound.into()),
        Where::Both => Err(io::ErrorKind::AlreadyExists.into()),
    });
    let name = name.shown();
    match moved {
        Ok(true) => done.moved.push((aside, home)),
        Ok(false) => {}
        Err(fault) => done.troubles.push(match fault.kind() {
            io::ErrorKind::AlreadyExists => format!(
                "{name} stays in {ASIDE}: another file of its name is in {}.",
                folder.display()
            ),
            io::ErrorKind::NotFound => {
                format!("{name} is neither in {ASIDE} nor in {}.", folder.display())
            }
            _ => format!("{name} could not be brought back: {fault}."),
        }),
    }
}
