//! The measurement table: one row per frame in order of capture.

use std::io::{self, Write};

use super::columns::{COLUMNS, Column};
use crate::measure::FrameMeasure;
use crate::night::{Night, Row};
use crate::verdict::{Decisions, Judged, Judgement, Verdict};

/// A night with the verdicts in force.
pub struct Table<'a> {
    /// The night.
    pub night: &'a Night,
    /// Its advised verdicts and findings.
    pub judged: &'a Judged,
    /// The verdict in force of each row.
    pub verdicts: Vec<Verdict>,
}

impl<'a> Table<'a> {
    /// The table of a night with the person's decisions laid over the advice.
    #[must_use]
    pub fn new(night: &'a Night, judged: &'a Judged, decisions: &Decisions) -> Self {
        Self {
            night,
            judged,
            verdicts: judged.in_force(night, decisions),
        }
    }

    pub(super) fn row(&self, at: usize) -> Option<&'a Row> {
        self.night.rows.get(at)
    }

    pub(super) fn measure(&self, at: usize) -> Option<&'a FrameMeasure> {
        self.row(at)?.measure.as_deref()
    }

    pub(super) fn judgement(&self, at: usize) -> Option<&'a Judgement> {
        self.judged.judgements.get(at)
    }

    pub(super) fn verdict(&self, at: usize) -> Verdict {
        self.verdicts.get(at).copied().unwrap_or_default()
    }
}

/// Writes the table as CSV: UTF-8, a header, one row per frame in order of capture; a cell is empty
/// where there is no value.
///
/// # Errors
/// What `out` says.
pub fn write_csv(table: &Table<'_>, out: &mut dyn Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(COLUMNS.iter().map(|column| column.name))?;
    for at in 0..table.night.rows.len() {
        let cell = |column: &Column| (column.value)(table, at).csv();
        csv.write_record(COLUMNS.iter().map(cell))?;
    }
    csv.flush()
}
