//! A night as one page to print or send: HTML with all in it, no scripts, nothing fetched.
//!
//! In: the table, what is advised, and pictures that somebody who can open frames has drawn
//! ([`draw_all`]). Out: bytes into any writer. Charts are the lanes of the `chart`
//! room, drawn as SVG.

mod chart;
mod markup;
mod pictures;
mod sections;
#[cfg(test)]
mod tests;

use std::io::{self, Write};

pub use pictures::{PictureWanted, Sheet, draw_all};

use crate::advice::NextTime;
use crate::export::Table;
use crate::verdict::Decisions;
use markup::Markup;

/// What a report is made of.
pub struct Report<'a> {
    /// The night's name.
    pub title: &'a str,
    /// The table.
    pub table: &'a Table<'a>,
    /// What the person decided.
    pub decisions: &'a Decisions,
    /// What to set next time, one a set.
    pub next_time: &'a [NextTime],
    /// Pictures as JPEG files, in the order they were wanted in; one that could not be drawn is left
    /// out.
    pub pictures: &'a [(PictureWanted, Vec<u8>)],
    /// Say where the night was shot. Left out unless asked: a report gets passed on.
    pub with_place: bool,
}

/// Writes the report: HTML that is well-formed XML as well, in the colours of day.
///
/// # Errors
/// What `out` says.
pub fn write_report(report: &Report<'_>, out: &mut dyn Write) -> io::Result<()> {
    out.write_all(b"<!DOCTYPE html>\n")?;
    out.write_all(page(report).as_bytes())?;
    out.flush()
}

/// Writes the chart of the set `which` as an SVG file.
///
/// # Errors
/// What `out` says; [`io::ErrorKind::NotFound`] when the set has no frames.
pub fn write_chart(
    table: &Table<'_>,
    which: usize,
    title: &str,
    out: &mut dyn Write,
) -> io::Result<()> {
    let svg = chart::svg(table, which, title).ok_or(io::ErrorKind::NotFound)?;
    out.write_all(b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n")?;
    out.write_all(svg.as_bytes())?;
    out.write_all(b"\n")?;
    out.flush()
}

fn page(report: &Report<'_>) -> String {
    let mut page = Markup::default();
    page.open(
        "html",
        &[("lang", "en"), ("xmlns", "http://www.w3.org/1999/xhtml")],
    );
    page.open("head", &[]);
    page.empty("meta", &[("charset", "utf-8")]);
    // Whoever opens it need not trust it: nothing runs, nothing is fetched.
    let policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";
    page.empty(
        "meta",
        &[
            ("http-equiv", "Content-Security-Policy"),
            ("content", policy),
        ],
    );
    page.empty(
        "meta",
        &[
            ("name", "viewport"),
            ("content", "width=device-width, initial-scale=1"),
        ],
    );
    page.leaf(
        "title",
        &[],
        &format!("{} – a night's report", report.title),
    );
    page.open("style", &[]);
    page.raw(include_str!("report.css"));
    page.close();
    page.close();
    page.open("body", &[]);
    page.open("main", &[]);
    sections::heading(&mut page, report);
    let several = report.table.night.sets.len() > 1;
    for (which, set) in report.table.night.sets.iter().enumerate() {
        if set.frames.is_empty() {
            continue;
        }
        sections::answer(&mut page, report, which, several);
        sections::charted(&mut page, report, which);
        sections::findings(&mut page, report, which);
        sections::next_time(&mut page, report, which);
        sections::outcome(&mut page, report, which);
        sections::settings(&mut page, report, which);
    }
    sections::pictures(&mut page, report);
    sections::left_out(&mut page, report);
    sections::foot(&mut page);
    page.finish()
}
