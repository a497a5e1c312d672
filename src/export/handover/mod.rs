//! What the verdicts lead to on the disk: rating files, links to the used frames, rejected frames set
//! aside, and all of it taken back.
//!
//! In: the files of each frame with their verdict ([`FrameFiles`]). Each hand-over is planned first, as
//! a value that says what it will do; then carried out; then taken back if the person wants. Nothing is
//! overwritten or deleted, a file is moved or written whole, and what takes more than one step has its
//! journal on the disk before the first of them, so that a run that was cut off is taken back too.

mod files;
mod journal;
mod links;
mod moving;
mod ratings;
mod set_aside;
#[cfg(test)]
mod tests;
pub mod xmp;
#[cfg(test)]
mod xmp_tests;

pub use files::{FrameFiles, files_of};
pub use links::{Links, LinksMade};
pub use ratings::{Ratings, take_back_ratings};
pub use set_aside::{ASIDE, Moves, restore, restore_these};

use std::path::PathBuf;

/// What a hand-over will do, in words, before it does it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Preview {
    /// In one sentence.
    pub sentence: String,
    /// Each file with what happens to it, in order.
    pub files: Vec<String>,
    /// What is left as it is, and why; what else to know.
    pub notes: Vec<String>,
    /// Whether there is anything to do.
    pub is_empty: bool,
}

impl Preview {
    /// The sentence and the notes.
    #[must_use]
    pub fn in_words(&self) -> String {
        let notes = self.notes.iter().map(|note| format!("\n{note}"));
        std::iter::once(self.sentence.clone())
            .chain(notes)
            .collect()
    }
}

/// What was done.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Done {
    /// In one sentence.
    pub sentence: String,
    /// Files that were moved: from where, to where.
    pub moved: Vec<(PathBuf, PathBuf)>,
    /// What could not be done, a sentence each.
    pub troubles: Vec<String>,
    /// What else to know, a sentence each.
    pub notes: Vec<String>,
}

/// Told before each change on the disk, in order: so that progress can be shown, and tests can cut a
/// run off at any of them.
pub type Tell<'a> = &'a mut dyn FnMut(Change);

/// One change on the disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// A journal is written, or one that is settled is removed.
    Journal,
    /// A folder is made, or one that is empty again is removed.
    Folder,
    /// A name is claimed by an empty file of ours.
    Claim,
    /// A file takes the claimed name, or is linked, copied or written.
    File,
    /// A file of ours is removed.
    Remove,
}
