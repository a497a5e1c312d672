//! The rows of the comparison: what stands in each, which way is better, how it is written.

use crate::advice::compare::{Column, Comparison, Value};
use crate::chart::axis::number;
use crate::verdict::words::{figure, with_unit};

/// One row.
pub(super) struct CompareRow {
    /// What it is.
    pub name: &'static str,
    /// Its unit and which way is better.
    pub hint: &'static str,
    /// The value of a column; bars are as long as this.
    pub value: fn(&Column) -> Option<Value>,
    /// What is written, from column and value.
    write: fn(&Column, Value) -> String,
    /// A second line in place of the bar.
    second: Option<fn(Value) -> String>,
    /// Whether the row is shown.
    is_shown: fn(&Comparison) -> bool,
}

const ALWAYS: fn(&Comparison) -> bool = |_| true;

/// A value to as many figures as it deserves.
const PLAIN: fn(&Column, Value) -> String = |_, value| figure(value.value);
/// A whole number.
const COUNT: fn(&Column, Value) -> String = |_, value| number(value.value, 0);

/// Whether noise can be told in electrons everywhere.
fn in_electrons(comparison: &Comparison) -> bool {
    comparison.columns.iter().all(|c| c.noise_e.is_some())
}

fn has_exposures(comparison: &Comparison) -> bool {
    comparison.varies.exposure
}

fn has_transfer(comparison: &Comparison) -> bool {
    comparison.columns.iter().any(|c| c.gain_dn_per_e.is_some())
}

fn has_read_noise(comparison: &Comparison) -> bool {
    comparison.columns.iter().any(|c| c.read_noise_e.is_some())
}

/// All rows, in order.
const ROWS: [CompareRow; 12] = [
    CompareRow {
        name: "Sky level",
        hint: "% of full scale",
        value: |c| c.sky_level_pct,
        write: PLAIN,
        second: None,
        is_shown: ALWAYS,
    },
    CompareRow {
        name: "Noise",
        hint: "electrons, less is better",
        value: |c| c.noise_e,
        write: PLAIN,
        second: None,
        is_shown: in_electrons,
    },
    CompareRow {
        name: "Noise",
        hint: "% of full scale",
        value: |c| c.noise_pct,
        write: PLAIN,
        second: None,
        is_shown: |c| !in_electrons(c),
    },
    CompareRow {
        name: "Signal-to-noise",
        hint: "per frame, more is better",
        value: |c| c.star_snr,
        write: PLAIN,
        second: None,
        is_shown: ALWAYS,
    },
    CompareRow {
        name: "Equal total time",
        hint: "stacked, more is better",
        value: |c| c.equal_time.map(|equal| equal.snr),
        write: PLAIN,
        second: None,
        is_shown: has_exposures,
    },
    CompareRow {
        name: "Trail length",
        hint: "px, less is rounder",
        value: |c| c.trail_length_px,
        write: PLAIN,
        second: None,
        is_shown: ALWAYS,
    },
    CompareRow {
        name: "Elongation",
        hint: "1.0 is round",
        value: |c| c.elongation,
        write: |_, value| number(value.value, 1),
        second: None,
        is_shown: ALWAYS,
    },
    CompareRow {
        name: "Stars found",
        hint: "per frame, more is better",
        value: |c| c.star_count,
        write: COUNT,
        second: None,
        is_shown: ALWAYS,
    },
    CompareRow {
        name: "Clipped stars",
        hint: "less is better",
        value: |c| c.clipped_stars,
        write: COUNT,
        second: None,
        is_shown: ALWAYS,
    },
    CompareRow {
        name: "Read noise",
        hint: "electrons, less is better",
        value: |c| c.read_noise_e,
        write: PLAIN,
        second: None,
        is_shown: has_read_noise,
    },
    CompareRow {
        name: "Gain",
        hint: "both ways, steps of the file",
        value: |c| c.gain_dn_per_e,
        write: |_, value| format!("{} e⁻/step", figure(1.0 / value.value)),
        second: Some(|value| format!("{} steps/e⁻", figure(value.value))),
        is_shown: has_transfer,
    },
    CompareRow {
        name: "Read noise small after",
        hint: "under 5 % of the noise",
        value: |c| c.sky_limited_s,
        write: |_, value| {
            let seconds = value.value;
            with_unit(
                if seconds >= 10.0 {
                    seconds.round()
                } else {
                    seconds
                },
                "s",
            )
        },
        second: None,
        is_shown: has_read_noise,
    },
];

impl CompareRow {
    /// What is written for a column; a dash where there is nothing.
    pub(super) fn text(&self, column: &Column) -> String {
        (self.value)(column).map_or_else(|| "–".to_owned(), |value| (self.write)(column, value))
    }

    /// The second line, where the row has one.
    pub(super) fn second_text(&self, column: &Column) -> Option<String> {
        Some(self.second?((self.value)(column)?))
    }

    /// The standard error, "±0.2", where it is known and not nothing.
    pub(super) fn error_text(&self, column: &Column) -> String {
        let error = (self.value)(column).and_then(|value| value.error);
        match error.filter(|error| *error > 0.0) {
            Some(error) if error >= 0.005 => format!("±{}", figure(error)),
            _ => String::new(),
        }
    }

    /// For a screen reader.
    pub(super) fn spoken(&self, column: &Column) -> String {
        let error = self.error_text(column);
        let error = if error.is_empty() {
            error
        } else {
            format!(" {error}")
        };
        match (self.value)(column) {
            Some(value) if self.second.is_some() => format!(
                "{}: {} electrons a step, {} steps an electron",
                self.name,
                figure(1.0 / value.value),
                figure(value.value)
            ),
            Some(_) => format!("{}: {}{error}, {}", self.name, self.text(column), self.hint),
            None => format!("{}: not known", self.name),
        }
    }

    /// The largest value of the row: the longest bar.
    pub(super) fn largest(&self, comparison: &Comparison) -> f64 {
        (comparison.columns.iter())
            .filter_map(self.value)
            .map(|value| value.value)
            .fold(0.0, f64::max)
    }
}

/// The rows that say something about these columns.
pub(super) fn rows(comparison: &Comparison) -> Vec<&'static CompareRow> {
    let is_shown = |row: &&CompareRow| (row.is_shown)(comparison);
    ROWS.iter().filter(is_shown).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn comparison(with_transfer: bool) -> Comparison {
        let known = |value| {
            Some(Value {
                value,
                error: Some(0.21),
            })
        };
        let column = Column {
            star_snr: known(19.7),
            noise_pct: known(0.3),
            noise_e: if with_transfer { known(19.5) } else { None },
            gain_dn_per_e: if with_transfer { known(5.0) } else { None },
            read_noise_e: if with_transfer { known(5.6) } else { None },
            sky_limited_s: if with_transfer { known(26.4) } else { None },
            ..Column::default()
        };
        Comparison {
            columns: vec![column.clone(), column],
            ..Comparison::default()
        }
    }

    #[test]
    fn rows_follow_what_is_known() {
        let names = |c: &Comparison| rows(c).iter().map(|r| r.hint).collect::<Vec<_>>();
        let little = names(&comparison(false));
        assert!(
            little.contains(&"% of full scale") && !little.contains(&"electrons, less is better")
        );
        let all = comparison(true);
        assert_eq!(rows(&all).len(), little.len() + 3);
        let by_hint = |hint: &str| rows(&all).into_iter().find(|r| r.hint == hint).unwrap();
        let column = &all.columns[0];
        let gain = by_hint("both ways, steps of the file");
        assert_eq!(gain.text(column), "0.20 e⁻/step");
        assert_eq!(gain.second_text(column).unwrap(), "5 steps/e⁻");
        assert_eq!(by_hint("under 5 % of the noise").text(column), "26 s");
        let snr = by_hint("per frame, more is better");
        assert_eq!(
            snr.spoken(column),
            "Signal-to-noise: 19.7 ±0.21, per frame, more is better"
        );
    }
}
