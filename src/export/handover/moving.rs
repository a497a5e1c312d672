//! Moving one file within a file system, never over another.

use std::fs::{self, OpenOptions};
use std::io;
use std::path::Path;

use super::{Change, Tell};

/// Moves `from` to `to`, in one step, unless something is there.
///
/// The new name is first claimed by an empty file, which fails if it is taken; the file then takes the
/// claim's place. So no file system needs more than plain renaming, and whoever finds both names with
/// nothing in one of them knows it for a claim.
pub(super) fn move_file(from: &Path, to: &Path, tell: Tell<'_>) -> io::Result<()> {
    tell(Change::Claim);
    OpenOptions::new().write(true).create_new(true).open(to)?;
    tell(Change::File);
    fs::rename(from, to).inspect_err(|_| {
        if is_claim(to) && remove_ours(to).is_err() {
            tracing::warn!("an empty file is left at {}", to.display());
        }
    })
}

/// Removes a file that this program made: an empty claim, a journal, a numbered link, a rating file
/// that is still as it was written. The only place where a name is removed.
#[expect(
    clippy::disallowed_methods,
    reason = "nothing of the user's: each caller has made sure that the file is this program's"
)]
pub(super) fn remove_ours(path: &Path) -> io::Result<()> {
    fs::remove_file(path)
}

/// How a file stands between its home and where it was put aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Where {
    /// At home only.
    Home,
    /// Aside only.
    Aside,
    /// Nowhere.
    Gone,
    /// In both places, with something in each.
    Both,
}

/// Where a file is, claims of a move that was cut off being cleared away.
pub(super) fn settle(home: &Path, aside: &Path, tell: Tell<'_>) -> io::Result<Where> {
    Ok(match (exists(home)?, exists(aside)?) {
        (true, false) => Where::Home,
        (false, true) => Where::Aside,
        (false, false) => Where::Gone,
        (true, true) => {
            // Two empty files are one that was empty and the claim for it.
            if is_claim(aside) {
                tell(Change::Remove);
                remove_ours(aside)?;
                Where::Home
            } else if is_claim(home) {
                tell(Change::Remove);
                remove_ours(home)?;
                Where::Aside
            } else {
                Where::Both
            }
        }
    })
}

fn exists(path: &Path) -> io::Result<bool> {
    match fs::symlink_metadata(path) {
        Ok(_) => Ok(true),
        Err(fault) if fault.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(fault) => Err(fault),
    }
}

fn is_claim(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok_and(|meta| meta.is_file() && meta.len() == 0)
}
