//! Lists of names, one a line, for whatever is used next.

use std::io::{self, Write};

use super::table::Table;

/// Names of the frames to use, in order of capture. Dark, bias, flat and test frames are in no list,
/// nor are frames that could not be read.
///
/// # Errors
/// What `out` says.
pub fn write_used(table: &Table<'_>, out: &mut dyn Write) -> io::Result<()> {
    write_where(table, out, true)
}

/// Names of the frames to leave out, in order of capture, those that could not be read among them.
///
/// # Errors
/// What `out` says.
pub fn write_rejected(table: &Table<'_>, out: &mut dyn Write) -> io::Result<()> {
    write_where(table, out, false)
}

fn write_where(table: &Table<'_>, out: &mut dyn Write, used: bool) -> io::Result<()> {
    for (at, row) in table.night.rows.iter().enumerate() {
        let usable = table.verdict(at).is_used() && row.error.is_none();
        if row.is_judged() && usable == used {
            writeln!(out, "{}", row.name)?;
        }
    }
    out.flush()
}
