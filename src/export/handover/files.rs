//! The files of each frame: what is measured, and what belongs to it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use crate::export::Table;
use crate::frame;
use crate::verdict::Verdict;

/// A frame with all its files, and what becomes of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameFiles {
    /// Its shot (see [`crate::night::Row::shot`]).
    pub shot: usize,
    /// Its camera, an index into the night's sets.
    pub set: usize,
    /// Name relative to the night's folder.
    pub name: String,
    /// The file that is measured.
    pub path: PathBuf,
    /// Other files of the same shot: the JPEG beside a raw file, sidecars.
    pub companions: Vec<PathBuf>,
    /// Its verdict; `None` for what is not judged: dark, bias, flat and test frames.
    pub verdict: Option<Verdict>,
    /// Whether it could be read.
    pub is_readable: bool,
}

impl FrameFiles {
    /// Whether it goes into the result.
    #[must_use]
    pub fn is_used(&self) -> bool {
        self.is_readable && self.verdict.is_some_and(Verdict::is_used)
    }

    /// Whether it is to be left out.
    #[must_use]
    pub fn is_rejected(&self) -> bool {
        self.verdict == Some(Verdict::Reject)
    }
}

/// The files of every row of a night, in order of capture. Companions are looked for on the disk now,
/// since sidecars come and go while a night is open.
#[must_use]
pub fn files_of(table: &Table<'_>) -> Vec<FrameFiles> {
    let rows = &table.night.rows;
    let folders: BTreeSet<&Path> = rows.iter().filter_map(|row| row.path.parent()).collect();
    let mut companions: BTreeMap<PathBuf, Vec<PathBuf>> = BTreeMap::new();
    for folder in folders {
        // A folder that cannot be read now has no companions to find; moving in it will say why.
        let listing = frame::list(&[folder.to_owned()]).unwrap_or_default();
        companions.extend(listing.shots.into_iter().map(|s| (s.path, s.companions)));
    }
    (rows.iter().enumerate())
        .map(|(at, row)| FrameFiles {
            shot: row.shot,
            set: row.set,
            name: row.name.clone(),
            path: row.path.clone(),
            companions: companions.remove(&row.path).unwrap_or_default(),
            verdict: row
                .is_judged()
                .then(|| table.verdicts.get(at).copied().unwrap_or_default()),
            is_readable: row.error.is_none(),
        })
        .collect()
}
