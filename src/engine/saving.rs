//! Saving what the person asked for, where the person said.

use std::io;
use std::path::{Path, PathBuf};

use super::{Derived, Existing, ExportWhat, Report};
use crate::base::atomic;
use crate::export::{self, Table, report};
use crate::verdict::Decisions;

/// The name to offer for a file.
pub(super) fn file_name(title: &str, what: ExportWhat) -> String {
    match what {
        ExportWhat::UsedList => format!("{title} used.txt"),
        ExportWhat::RejectedList => format!("{title} rejected.txt"),
        ExportWhat::Table => format!("{title}.csv"),
        ExportWhat::TrailsPicture { .. } | ExportWhat::Result => format!("{title} trails.png"),
        ExportWhat::Film => format!("{title} film"),
        ExportWhat::Report => format!("{title} report.html"),
        ExportWhat::Chart { .. } => format!("{title} chart.svg"),
    }
}

/// The folder to offer for a file of a night in the folder `root`.
pub(super) fn folder(root: &Path, what: ExportWhat) -> Option<PathBuf> {
    match what {
        // Among the frames it would be taken for one of them the next time.
        ExportWhat::TrailsPicture { .. } | ExportWhat::Result | ExportWhat::Film => {
            root.parent().map(Path::to_owned)
        }
        _ => Some(root.to_owned()),
    }
}

/// Saves a list or table.
pub(super) fn save(
    what: ExportWhat,
    to: &Path,
    existing: Existing,
    (derived, title): (&Derived, &str),
    decisions: &Decisions,
) -> io::Result<()> {
    let table = Table::new(&derived.night, &derived.judged, decisions);
    atomic::write(to, existing, |out| match what {
        ExportWhat::UsedList => export::write_used(&table, out),
        ExportWhat::RejectedList => export::write_rejected(&table, out),
        ExportWhat::Table => export::write_csv(&table, out),
        ExportWhat::Chart { set } => report::write_chart(&table, set, title, out),
        ExportWhat::TrailsPicture { .. }
        | ExportWhat::Result
        | ExportWhat::Film
        | ExportWhat::Report => Err(io::ErrorKind::Unsupported.into()),
    })
}

/// What to say about a file that could not be saved.
pub(super) fn not_saved(to: &Path, fault: &io::Error) -> Report {
    let to = to.display();
    let text = if fault.kind() == io::ErrorKind::AlreadyExists {
        format!("{to} is there already and is left as it is. Name another file.")
    } else {
        format!("{to} could not be saved: {fault}. Choose another folder or free some space.")
    };
    Report::Trouble {
        text,
        fatal_to_open: false,
    }
}
