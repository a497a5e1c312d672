//! The columns of the table of frames: one entry each; headings, cells, sorting, conditions and the
//! side panel follow from them.

use crate::night::Row;
use crate::verdict::words::number;
use crate::verdict::{Evidence, Judgement, Reason, Verdict};

/// A column of numbers.
#[derive(Debug)]
pub(super) struct Column {
    /// Its heading, and its name in conditions ("width > 3").
    pub name: &'static str,
    /// Its unit, or empty.
    pub unit: &'static str,
    /// In full, for the side panel and tips.
    pub meaning: &'static str,
    /// Digits after the point.
    pub digits: usize,
    /// Width, points.
    pub width: f32,
    /// Left out when the window is narrow.
    pub is_spare: bool,
    /// The frame's value.
    pub value: fn(&Row) -> Option<f64>,
    /// What is typical there.
    pub typical: fn(&Row) -> Option<f64>,
    /// Whether a piece of evidence is about it.
    pub is_about: fn(&Evidence) -> bool,
}

fn measured<T>(row: &Row, pick: impl Fn(&crate::measure::FrameMeasure) -> Option<T>) -> Option<T> {
    row.measure.as_deref().and_then(pick)
}

fn clipped(row: &Row) -> Option<f64> {
    measured(row, |m| {
        Some(m.stars.iter().filter(|star| star.flags.clipped).count() as f64)
    })
}

/// All of them, in order.
pub(super) const COLUMNS: [Column; 8] = [
    Column {
        name: "length",
        unit: "px",
        meaning: "Length of the trails",
        digits: 1,
        width: 76.0,
        is_spare: false,
        value: |row| measured(row, |m| m.trail).map(|trail| trail.length_px),
        typical: |row| row.derived.expected_trail_px.or(row.typical.trail_px),
        is_about: |e| e.sign == Reason::Trailed && !is_elongation(e),
    },
    Column {
        name: "width",
        unit: "px",
        meaning: "Width across the trails (FWHM)",
        digits: 1,
        width: 72.0,
        is_spare: false,
        value: |row| measured(row, |m| m.fwhm_px),
        typical: |row| row.typical.fwhm_px,
        is_about: |e| e.sign == Reason::Defocus,
    },
    Column {
        name: "elong.",
        unit: "",
        meaning: "Elongation: long axis over short",
        digits: 1,
        width: 66.0,
        is_spare: true,
        value: |row| measured(row, |m| m.elongation),
        typical: |row| row.typical.elongation,
        is_about: |e| e.sign == Reason::Trailed && is_elongation(e),
    },
    Column {
        name: "sky",
        unit: "%",
        meaning: "Sky background, percent of full scale",
        digits: 1,
        width: 78.0,
        is_spare: false,
        value: |row| measured(row, |m| Some(m.sky.level_pct)),
        typical: |row| row.typical.sky_pct,
        is_about: |e| e.sign.is_about_the_sky(),
    },
    Column {
        name: "noise",
        unit: "%",
        meaning: "Noise of one sample of sky, percent of full scale",
        digits: 2,
        width: 78.0,
        is_spare: false,
        value: |row| measured(row, |m| m.noise_pct),
        typical: |row| row.typical.noise_pct,
        is_about: |e| e.sign == Reason::Noise,
    },
    Column {
        name: "stars",
        unit: "",
        meaning: "Stars counted",
        digits: 0,
        width: 72.0,
        is_spare: false,
        value: |row| measured(row, |m| Some(f64::from(m.star_count))),
        typical: |row| row.typical.stars,
        is_about: |e| e.sign == Reason::FewStars,
    },
    Column {
        name: "shift",
        unit: "px",
        meaning: "Pointing shift from the first frames",
        digits: 1,
        width: 70.0,
        is_spare: false,
        value: |row| row.derived.shift_px,
        typical: |_| None,
        is_about: |e| e.sign == Reason::Knock,
    },
    Column {
        name: "clipped",
        unit: "",
        meaning: "Stars whose core is at full scale",
        digits: 0,
        width: 68.0,
        is_spare: true,
        value: clipped,
        typical: |_| None,
        is_about: |e| e.sign == Reason::OverExposed,
    },
];

fn is_elongation(evidence: &Evidence) -> bool {
    evidence.quantity.contains("elongation")
}

impl Column {
    /// The column of this name; the point of "elong." may be left out, "elongation" spelt out.
    pub(super) fn named(name: &str) -> Option<usize> {
        let name = name.to_lowercase();
        let short = |column: &Self| column.name.trim_end_matches('.');
        (COLUMNS.iter()).position(|column| {
            name == column.name
                || name == short(column)
                || (name == "elongation" && column.name == "elong.")
        })
    }

    /// A value as it stands in the table.
    pub(super) fn text(&self, value: f64) -> String {
        number(value, self.digits)
    }

    /// A value with its unit.
    pub(super) fn with_unit(&self, value: f64) -> String {
        let text = self.text(value);
        if self.unit.is_empty() {
            text
        } else {
            format!("{text} {}", self.unit)
        }
    }

    /// Lowest to highest as one text; a range whose ends read the same is one number.
    pub(super) fn range(&self, low: f64, high: f64) -> String {
        let (low, high) = (self.text(low), self.text(high));
        if low == high {
            low
        } else {
            format!("{low}–{high}")
        }
    }

    /// Whether this value caused the verdict: `Some(true)` by being high, `Some(false)` by being
    /// low. Evidence told in another unit (light lost, for the count of stars) marks the value only
    /// where it is low as well.
    pub(super) fn caused(&self, judgement: &Judgement, row: &Row) -> Option<bool> {
        let weighs = |e: &&Evidence| e.weighs != Verdict::Keep && (self.is_about)(e);
        let evidence = judgement.evidence.iter().find(weighs)?;
        if evidence.unit == self.unit {
            return Some(evidence.measured >= evidence.baseline);
        }
        let (value, usual) = (self.value)(row).zip((self.typical)(row))?;
        (value < usual).then_some(false)
    }
}

/// A row to test with.
#[cfg(test)]
pub(super) fn test_row(shot: usize, measure: crate::measure::FrameMeasure) -> Row {
    Row {
        shot,
        name: format!("IMG_{shot:04}.JPG"),
        path: String::new().into(),
        facts: crate::frame::Facts::default(),
        time_s: Some(shot as f64),
        set: 0,
        group: Some(0),
        kind: Some(crate::night::Kind::Sky),
        measure: Some(std::sync::Arc::new(measure)),
        error: None,
        derived: crate::night::Derived::default(),
        typical: crate::night::Typical::default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Light;
    use crate::measure::FrameMeasure;

    #[test]
    fn ranges_and_signs() {
        let column = &COLUMNS[6];
        assert_eq!(column.range(0.04, 0.02), "0.0");
        assert_eq!(column.range(-0.26, 1.0), "−0.3–1.0");
        assert_eq!(column.with_unit(2.0), "2.0 px");
    }

    #[test]
    fn names_are_found() {
        assert_eq!(Column::named("Elong"), Some(2));
        assert_eq!(Column::named("elongation"), Some(2));
        assert_eq!(Column::named("SKY"), Some(3));
        assert_eq!(Column::named("moon"), None);
    }

    #[test]
    fn a_sky_over_the_nights_points_up_beside_brighter_neighbours() {
        let evidence = Evidence {
            reason: Reason::Sky,
            sign: Reason::Sky,
            weighs: Verdict::Doubtful,
            quantity: "sky level against the night's darkest tenth",
            unit: "%",
            measured: 10.0,
            baseline: 6.4,
            threshold: 9.5,
        };
        let judgement = Judgement {
            verdict: Verdict::Doubtful,
            evidence: vec![evidence],
            rank: None,
        };
        let mut row = test_row(0, FrameMeasure::empty(10, 10, Light::Linear));
        row.typical.sky_pct = Some(10.2);
        assert_eq!(COLUMNS[3].caused(&judgement, &row), Some(true));
    }

    #[test]
    fn the_cause_points_up_or_down() {
        let evidence = Evidence {
            reason: Reason::FewStars,
            sign: Reason::FewStars,
            weighs: Verdict::Doubtful,
            quantity: "light lost by stars",
            unit: "mag",
            measured: 0.8,
            baseline: 0.0,
            threshold: 0.3,
        };
        let judgement = Judgement {
            verdict: Verdict::Doubtful,
            evidence: vec![evidence],
            rank: None,
        };
        let mut measure = FrameMeasure::empty(10, 10, Light::Linear);
        measure.star_count = 900;
        let mut row = test_row(0, measure);
        row.typical.stars = Some(1800.0);
        assert_eq!(COLUMNS[5].caused(&judgement, &row), Some(false));
        assert_eq!(COLUMNS[3].caused(&judgement, &row), None);
        row.typical.stars = Some(800.0);
        assert_eq!(COLUMNS[5].caused(&judgement, &row), None);
    }
}
