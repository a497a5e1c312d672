//! Settings side by side, as CSV and as text for a terminal.

use std::fmt::Write as _;
use std::io::{self, Write};

use super::columns::{Cell, exposure_places};
use super::text::line;
use crate::advice::compare::{Column, Comparison, Value};
use crate::verdict::words::figure;

/// One column of the table of settings.
pub struct SettingColumn {
    /// Its name, in the CSV header.
    pub name: &'static str,
    /// Its value for one setting.
    pub value: fn(&Column) -> Cell,
}

/// Every column, in order.
pub const SETTING_COLUMNS: [SettingColumn; 13] = [
    column("group", |c| Cell::Count(c.group as u64 + 1)),
    column("iso", |c| Cell::count(c.iso)),
    column("exposure_s", |c| {
        Cell::number(c.exposure_s, exposure_places(c.exposure_s))
    }),
    column("f_number", |c| Cell::number(c.f_number, 1)),
    column("frames", |c| Cell::Count(c.rows.len() as u64)),
    column("sky_level_pct", |c| plain(c.sky_level_pct, 4)),
    column("noise_pct", |c| plain(c.noise_pct, 5)),
    column("star_snr", |c| plain(c.star_snr, 3)),
    column("star_count", |c| plain(c.star_count, 0)),
    column("clipped_pct", |c| plain(c.clipped_pct, 3)),
    column("trail_length_px", |c| plain(c.trail_length_px, 3)),
    column("gain_dn_per_e", |c| plain(c.gain_dn_per_e, 5)),
    column("read_noise_e", |c| plain(c.read_noise_e, 3)),
];

const fn column(name: &'static str, value: fn(&Column) -> Cell) -> SettingColumn {
    SettingColumn { name, value }
}

fn plain(value: Option<Value>, places: usize) -> Cell {
    Cell::number(value.map(|value| value.value), places)
}

/// Writes comparisons, one a camera, as one CSV: a header, one row a setting; a cell is empty where
/// there is no value.
///
/// # Errors
/// What `out` says.
pub fn write_settings_csv(comparisons: &[Comparison], out: &mut dyn Write) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(SETTING_COLUMNS.iter().map(|column| column.name))?;
    for setting in comparisons.iter().flat_map(|c| &c.columns) {
        csv.write_record(SETTING_COLUMNS.iter().map(|of| (of.value)(setting).csv()))?;
    }
    csv.flush()
}

/// Stands where there is no value.
const NOTHING: &str = "–";

/// A heading of the table for a person, and what stands under it.
type Shown = (&'static str, fn(&Column) -> String);

const SHOWN: [Shown; 10] = [
    ("frames", |c| c.rows.len().to_string()),
    ("sky %", |c| short(c.sky_level_pct)),
    ("noise %", |c| short(c.noise_pct)),
    ("star S/N", |c| with_error(c.star_snr)),
    ("equal time", |c| short(c.equal_time.map(|equal| equal.snr))),
    ("stars", |c| short(c.star_count)),
    ("clipped", |c| short(c.clipped_stars)),
    ("trail px", |c| short(c.trail_length_px)),
    ("e⁻/DN", |c| short(c.gain_dn_per_e.map(Value::inverse))),
    ("read e⁻", |c| with_error(c.read_noise_e)),
];

fn short(value: Option<Value>) -> String {
    value.map_or_else(|| NOTHING.to_owned(), |value| figure(value.value))
}

fn with_error(value: Option<Value>) -> String {
    // Smaller ones would read as ±0.00.
    let error = value
        .and_then(|value| value.error)
        .filter(|error| *error >= 0.005);
    let error = error.map_or_else(String::new, |error| format!(" ±{}", figure(error)));
    short(value) + &error
}

/// The settings in a table and what is recommended, in plain text.
#[must_use]
pub fn settings_text(comparison: &Comparison) -> String {
    let mut text = String::new();
    if comparison.has_several() {
        table(&mut text, comparison);
        if comparison.stars > 0 {
            let stars = comparison.stars;
            let mut words = format!(
                "Star S/N: signal-to-noise of the same {stars} stars at every setting, in one frame"
            );
            if comparison.varies.exposure {
                words.push_str("; equal time: frames stacked for as long as the longest is open");
            }
            line(&mut text, "  ", &(words + "."));
        }
        text.push('\n');
    }
    line(&mut text, "", &comparison.headline);
    if let Some(better) = &comparison.better {
        line(&mut text, "", better);
    }
    for reason in &comparison.reasons {
        let figure = format!("{} {}", reason.figure, reason.unit);
        line(
            &mut text,
            &format!("  {:>7}  ", figure.trim_end()),
            &reason.words,
        );
    }
    for note in &comparison.notes {
        line(&mut text, "Note: ", note);
    }
    text
}

fn table(text: &mut String, comparison: &Comparison) {
    // A column that says nothing of any setting only takes room.
    let says = |(heading, value): &&Shown| {
        let is_alike = *heading == "equal time" && !comparison.varies.exposure;
        !is_alike
            && comparison
                .columns
                .iter()
                .any(|column| value(column) != NOTHING)
    };
    let shown: Vec<&Shown> = SHOWN.iter().filter(says).collect();
    let mut rows: Vec<Vec<String>> = vec![
        std::iter::once("setting")
            .chain(shown.iter().map(|(heading, _)| *heading))
            .map(str::to_owned)
            .collect(),
    ];
    for (at, column) in comparison.columns.iter().enumerate() {
        let cells = shown.iter().map(|(_, value)| value(column));
        rows.push(std::iter::once(comparison.name(at)).chain(cells).collect());
    }
    let long = |cell: &String| cell.chars().count();
    let widths: Vec<usize> = (0..=shown.len())
        .map(|at| {
            rows.iter()
                .filter_map(|row| row.get(at))
                .map(long)
                .max()
                .unwrap_or(0)
        })
        .collect();
    for (at, row) in rows.iter().enumerate() {
        text.push_str("  ");
        for (place, (cell, width)) in row.iter().zip(&widths).enumerate() {
            // Words start, numbers end under each other.
            let _ = match place {
                0 => write!(text, "{cell:<width$}"),
                _ => write!(text, "  {cell:>width$}"),
            };
        }
        if comparison.best.is_some_and(|best| at == best + 1) {
            text.push_str("  best");
        }
        text.push('\n');
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn comparison() -> Comparison {
        let known = |value| {
            Some(Value {
                value,
                error: Some(0.25),
            })
        };
        let column = |iso, snr| Column {
            group: 4,
            iso: Some(iso),
            exposure_s: Some(30.0),
            f_number: Some(2.8),
            rows: vec![7, 8],
            star_snr: known(snr),
            ..Column::default()
        };
        let mut comparison = Comparison {
            columns: vec![column(800, 18.3), column(1600, 19.7)],
            best: Some(1),
            headline: "Use ISO 1600, 30 s for one frame.".to_owned(),
            ..Comparison::default()
        };
        comparison.varies.iso = true;
        comparison
    }

    #[test]
    fn the_csv_has_the_documented_columns_and_empty_cells() {
        let mut out = Vec::new();
        write_settings_csv(&[comparison()], &mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(
            lines[0],
            "group,iso,exposure_s,f_number,frames,sky_level_pct,noise_pct,star_snr,star_count,\
             clipped_pct,trail_length_px,gain_dn_per_e,read_noise_e"
        );
        assert_eq!(lines[1], "5,800,30,2.8,2,,,18.300,,,,,");
        assert_eq!(lines.len(), 3);
    }

    #[test]
    fn the_text_names_the_best_and_errors() {
        let text = settings_text(&comparison());
        let best = text.lines().find(|line| line.ends_with("best")).unwrap();
        assert!(
            best.contains("ISO 1600") && best.contains("19.7 ±0.25"),
            "{text}"
        );
        assert!(
            text.lines()
                .all(|line| line.chars().count() <= super::super::text::WIDTH + 10)
        );
        assert!(text.contains("Use ISO 1600"));
    }
}
