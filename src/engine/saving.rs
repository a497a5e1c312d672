//! Saving what the person asked for, where the person said.

use std::io;
use std::path::Path;

use super::{Derived, ExportWhat};
use crate::base::atomic::{self, Existing};
use crate::export::{self, Table};
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
    let table = Table::new(&derived.night, &derived.judged, decisions);
    atomic::write(to, Existing::Replace, |out| match what {
        ExportWhat::UsedList => export::write_used(&table, out),
        ExportWhat::RejectedList => export::write_rejected(&table, out),
        ExportWhat::Table => export::write_csv(&table, out),
    })
}
