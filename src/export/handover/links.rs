//! The used frames under numbered names in a folder of their own, for programs that take a numbered
//! sequence.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::moving::remove_ours;
use super::{Change, Done, FrameFiles, Preview, Tell};
use crate::base::atomic::{self, Existing};
use crate::verdict::words::{frames, plural};

/// How a frame got its numbered name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum How {
    /// The same file under a second name.
    Hard,
    /// A file that points at it.
    Symbolic,
    /// A copy.
    Copy,
}

/// What linking will make. Made by [`Links::plan`].
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Links {
    /// The folder, which is new.
    folder: PathBuf,
    /// Each frame with its name in the folder.
    links: Vec<(PathBuf, PathBuf)>,
}

/// What was made, to be taken back.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct LinksMade {
    folder: PathBuf,
    made: Vec<(PathBuf, PathBuf)>,
}

impl Links {
    /// Plans `frame_0001` and so on, in order of capture without holes, in the new folder `folder`;
    /// with several cameras, each in a subfolder.
    #[must_use]
    pub fn plan(files: &[FrameFiles], folder: &Path) -> Self {
        let used = || files.iter().filter(|frame| frame.is_used());
        let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
        for frame in used() {
            *counts.entry(frame.set).or_default() += 1;
        }
        let mut numbers: BTreeMap<usize, usize> = BTreeMap::new();
        let links = used().map(|frame| {
            let number = numbers.entry(frame.set).or_default();
            *number += 1;
            let most = counts.get(&frame.set).copied().unwrap_or(0);
            let digits = most.to_string().len().max(4);
            let mut name = PathBuf::from(format!("frame_{number:0digits$}"));
            if let Some(ending) = frame.path.extension() {
                name.set_extension(ending);
            }
            let camera = counts.keys().position(|set| *set == frame.set).unwrap_or(0) + 1;
            let name = if counts.len() > 1 {
                Path::new(&format!("camera_{camera}")).join(name)
            } else {
                name
            };
            (frame.path.clone(), name)
        });
        Self {
            folder: folder.to_owned(),
            links: links.collect(),
        }
    }

    /// What will be done.
    #[must_use]
    pub fn preview(&self) -> Preview {
        let count = self.links.len();
        let folder = self.folder.display();
        let mut notes = Vec::new();
        if self.folder.exists() {
            notes.push(format!("{folder} is there already: name another folder."));
        } else if count > 0 {
            notes.push(
                "A link is the same file under another name: what changes one changes the other. \
                 Where links cannot be made, they are copies."
                    .to_owned(),
            );
        }
        let pairs = self.links.iter().map(|(from, name)| {
            let from = from.file_name().unwrap_or_default().to_string_lossy();
            format!("{} from {from}", name.display())
        });
        Preview {
            sentence: if count == 0 {
                "No used frame to link.".to_owned()
            } else {
                format!("Number the {} in the new folder {folder}.", used(count))
            },
            files: pairs.collect(),
            notes,
            is_empty: count == 0 || self.folder.exists(),
        }
    }

    /// Makes them: in a folder of another name first, which gets its own once all are there.
    ///
    /// # Errors
    /// A sentence; then the folder is not there.
    pub fn carry_out(&self, tell: Tell<'_>) -> Result<(Done, LinksMade), String> {
        let folder = &self.folder;
        if folder.exists() {
            return Err(format!(
                "{} is there already: name another folder.",
                folder.display()
            ));
        }
        let name = folder.file_name().unwrap_or_default().to_string_lossy();
        let unfinished = folder.with_file_name(format!(".{name}.nightloupe-unfinished"));
        let fault = |what: &Path, fault: &io::Error| {
            format!(
                "No frame was linked: {} could not be made: {fault}.",
                what.display()
            )
        };
        clear(&unfinished, tell);
        tell(Change::Folder);
        fs::create_dir_all(&unfinished).map_err(|e| fault(&unfinished, &e))?;
        let mut counts: BTreeMap<How, usize> = BTreeMap::new();
        for (from, name) in &self.links {
            let to = unfinished.join(name);
            let made = (to.parent())
                .map_or(Ok(()), fs::create_dir_all)
                .and_then(|()| link(from, &to, tell));
            match made {
                Ok(how) => *counts.entry(how).or_default() += 1,
                Err(e) => {
                    clear(&unfinished, tell);
                    return Err(fault(&folder.join(name), &e));
                }
            }
        }
        tell(Change::Folder);
        if let Err(e) = fs::rename(&unfinished, folder) {
            clear(&unfinished, tell);
            return Err(fault(folder, &e));
        }
        let done = Done {
            sentence: said(folder, self.links.len(), &counts),
            ..Done::default()
        };
        let made = (self.links.iter())
            .map(|(from, name)| (from.clone(), folder.join(name)))
            .collect();
        let folder = folder.clone();
        Ok((done, LinksMade { folder, made }))
    }
}

/// Removes what a run that was cut off left: only numbered names of ours.
fn clear(unfinished: &Path, tell: Tell<'_>) {
    let is_ours = |path: &Path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        name.starts_with("frame_") || name.starts_with('.')
    };
    let mut folders = vec![unfinished.to_owned()];
    let mut at = 0;
    while let Some(folder) = folders.get(at).cloned() {
        at += 1;
        for entry in fs::read_dir(&folder).into_iter().flatten().flatten() {
            let path = entry.path();
            let kind = entry.file_type();
            if kind.as_ref().is_ok_and(fs::FileType::is_dir) {
                folders.push(path);
            } else if is_ours(&path) {
                tell(Change::Remove);
                if let Err(fault) = remove_ours(&path) {
                    tracing::warn!(%fault, "a file of an earlier run stays");
                }
            }
        }
    }
    for folder in folders.iter().rev() {
        if folder.exists()
            && let Err(fault) = fs::remove_dir(folder)
        {
            tracing::warn!(%fault, "a folder of an earlier run stays");
        }
    }
}

fn used(count: usize) -> String {
    plural(count, "used frame", "used frames")
}

fn said(folder: &Path, count: usize, counts: &BTreeMap<How, usize>) -> String {
    let parts: Vec<String> = (counts.iter())
        .map(|(how, &n)| match how {
            How::Hard => plural(n, "hard link", "hard links"),
            How::Symbolic => plural(n, "symbolic link", "symbolic links"),
            How::Copy => plural(n, "copy", "copies"),
        })
        .collect();
    let parts = if parts.is_empty() {
        String::new()
    } else {
        format!(" ({})", parts.join(", "))
    };
    format!("{} numbered in {}{parts}.", frames(count), folder.display())
}

fn link(from: &Path, to: &Path, tell: Tell<'_>) -> io::Result<How> {
    tell(Change::File);
    // A link that is a frame is followed, so that the numbered name is not a link to a link.
    let from = from.canonicalize()?;
    if fs::hard_link(&from, to).is_ok() {
        return Ok(How::Hard);
    }
    if symbolic(&from, to).is_ok() {
        return Ok(How::Symbolic);
    }
    let mut source = fs::File::open(&from)?;
    atomic::write(to, Existing::Keep, |out| {
        io::copy(&mut source, out).map(drop)
    })?;
    Ok(How::Copy)
}

#[cfg(unix)]
fn symbolic(from: &Path, to: &Path) -> io::Result<()> {
    std::os::unix::fs::symlink(from, to)
}

#[cfg(not(unix))]
fn symbolic(_from: &Path, _to: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

impl LinksMade {
    /// Removes the numbered names that still are what was made, and the folder once it is empty.
    pub fn take_back(&self, tell: Tell<'_>) -> Done {
        let mut done = Done::default();
        let mut count = 0;
        for (from, to) in &self.made {
            if !to.exists() {
                continue;
            }
            if is_same(from, to) {
                tell(Change::Remove);
                match remove_ours(to) {
                    Ok(()) => count += 1,
                    Err(fault) => done
                        .troubles
                        .push(format!("{} stays: {fault}.", to.display())),
                }
            } else {
                let to = to.display();
                done.troubles
                    .push(format!("{to} was changed since, and stays."));
            }
        }
        let mut folders: Vec<&Path> = self.made.iter().filter_map(|(_, to)| to.parent()).collect();
        folders.dedup();
        folders.push(&self.folder);
        for folder in folders {
            tell(Change::Folder);
            if let Err(fault) = fs::remove_dir(folder) {
                tracing::debug!(%fault, "the folder of links stays");
            }
        }
        let names = plural(count, "numbered name", "numbered names");
        done.sentence = format!("{names} removed from {}.", self.folder.display());
        done
    }
}

/// Whether both names lead to the same content: the same file, or a copy that is still equal.
fn is_same(from: &Path, to: &Path) -> bool {
    let same_file = from
        .canonicalize()
        .ok()
        .zip(to.canonicalize().ok())
        .is_some_and(|(a, b)| a == b);
    same_file
        || is_hard_link(from, to)
        || fs::read(from)
            .ok()
            .is_some_and(|a| fs::read(to).is_ok_and(|b| a == b))
}

#[cfg(unix)]
fn is_hard_link(from: &Path, to: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let id = |path: &Path| fs::metadata(path).ok().map(|meta| (meta.dev(), meta.ino()));
    id(from).is_some() && id(from) == id(to)
}

#[cfg(not(unix))]
fn is_hard_link(_from: &Path, _to: &Path) -> bool {
    false
}
