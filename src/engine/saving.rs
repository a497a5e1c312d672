//! Saving what the person asked for, where the person said.

use std::io;
use std::path::Path;

use super::{Derived, ExportWhat};
use crate::verdict::Decisions;

/// The name to offer for a file.
pub(super) fn file_name(title: &str, what: ExportWhat) -> String {
    match what {
        ExportWhat::UsedList => format!("{title} used.txt"),
        ExportWhat::RejectedList => format!("{title} rejected.txt"),
        ExportWhat::Table => format!("{title}.csv"),
    }
}

/// Saves it, in place of what is there: the person was asked about that by the dialog.
pub(super) fn save(
    what: ExportWhat,
    to: &Path,
    derived: &Derived,
    decisions: &Decisions,
) -> io::Result<()> {
    let _ = (what, to, derived, decisions);
    Err(io::Error::other("not yet"))
}
