//! What each lane shows: points, lines, bands and their range.

use super::axis::{Span, Ticks};
use super::bands::{Band, bands};
use super::clock;
use crate::base::robust;
use crate::night::{Night, Row, Set};
use crate::verdict::Purpose;

/// A lane.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LaneKind {
    /// Trail length, or elongation for a tracked camera.
    Shape,
    /// Sky background.
    Sky,
    /// Noise.
    Noise,
    /// Stars counted.
    Stars,
    /// Pointing shift.
    Shift,
}

impl LaneKind {
    /// All of them, top to bottom.
    pub const ALL: [Self; 5] = [
        Self::Shape,
        Self::Sky,
        Self::Noise,
        Self::Stars,
        Self::Shift,
    ];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shape => "Star shape",
            Self::Sky => "Sky background",
            Self::Noise => "Noise",
            Self::Stars => "Stars counted",
            Self::Shift => "Pointing shift",
        }
    }

    /// Its name where there is little room.
    #[must_use]
    pub const fn short_name(self) -> &'static str {
        match self {
            Self::Stars => "Stars",
            Self::Shift => "Shift",
            other => other.name(),
        }
    }
}

/// A value of one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// The frame's place in its set.
    pub place: usize,
    /// When it began, s.
    pub time_s: f64,
    /// The value.
    pub value: f64,
}

/// What is predicted for one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Predicted {
    /// When it began, s.
    pub time_s: f64,
    /// Predicted value.
    pub value: f64,
    /// Lowest value that agrees.
    pub low: f64,
    /// Highest value that agrees.
    pub high: f64,
}

/// One lane, ready to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Lane {
    /// Which.
    pub kind: LaneKind,
    /// What its points are ("length", "of full scale").
    pub quantity: &'static str,
    /// Their unit, with its leading space where it has one.
    pub unit: &'static str,
    /// Digits after the point in values.
    pub decimals: usize,
    /// The points, in order of time.
    pub points: Vec<Point>,
    /// A second value, drawn as a line: the width across the trail.
    pub line: Vec<Point>,
    /// What is predicted; equal neighbours make a band.
    pub band: Vec<Predicted>,
    /// Twilight and the Moon behind it.
    pub bands: Vec<Band>,
    /// Lowest and highest value shown.
    pub range: Span,
    /// Why there is nothing to show.
    pub missing: Option<String>,
}

/// How far a trail may be from its prediction and still agree.
pub const BAND_SHARE: f64 = 0.1;

/// The star shape lane reaches at least so far, px.
const SHAPE_LEAST_PX: f64 = 12.0;

impl Lane {
    /// Round values for its axis, at most `most`.
    #[must_use]
    pub fn ticks(&self, most: usize) -> Ticks {
        Ticks::within(self.range, most)
    }

    /// The value of the frame at `place`.
    #[must_use]
    pub fn value_at(&self, place: usize) -> Option<f64> {
        find(&self.points, place)
    }

    /// The line's value of the frame at `place`.
    #[must_use]
    pub fn line_at(&self, place: usize) -> Option<f64> {
        find(&self.line, place)
    }

    /// A value with its unit.
    #[must_use]
    pub fn say(&self, value: f64) -> String {
        format!("{}{}", super::axis::number(value, self.decimals), self.unit)
    }
}

fn find(points: &[Point], place: usize) -> Option<f64> {
    let at = points.binary_search_by_key(&place, |p| p.place).ok()?;
    points.get(at).map(|p| p.value)
}

/// The lanes of one camera's frames.
#[must_use]
pub fn lanes(night: &Night, set: &Set, purpose: Purpose) -> Vec<Lane> {
    let times = clock::times(night, set);
    let gather = |value: &dyn Fn(&Row) -> Option<f64>| -> Vec<Point> {
        (set.frames.iter().zip(&times).enumerate())
            .filter_map(|(place, (&row, &time_s))| {
                let value = value(night.rows.get(row)?).filter(|v| v.is_finite())?;
                Some(Point {
                    place,
                    time_s,
                    value,
                })
            })
            .collect()
    };
    let none_yet = set.frames.iter().all(|&row| {
        (night.rows.get(row)).is_none_or(|row| row.measure.is_none() && row.error.is_none())
    });
    LaneKind::ALL
        .into_iter()
        .map(|kind| {
            let mut lane = match kind {
                LaneKind::Shape if purpose == Purpose::Tracked => elongation(&gather),
                LaneKind::Shape => length(night, set, &times, &gather),
                LaneKind::Sky => sky(night, set, &times, &gather),
                LaneKind::Noise => noise(night, set, &gather),
                LaneKind::Stars => stars(&gather),
                LaneKind::Shift => shift(night, set, purpose, &gather),
            };
            if lane.points.is_empty() && lane.line.is_empty() {
                lane.missing = Some(if none_yet {
                    "nothing is measured yet".to_owned()
                } else {
                    why_missing(kind).to_owned()
                });
            }
            lane
        })
        .collect()
}

type Gather<'a> = dyn Fn(&dyn Fn(&Row) -> Option<f64>) -> Vec<Point> + 'a;

const fn why_missing(kind: LaneKind) -> &'static str {
    match kind {
        LaneKind::Shape => "too few stars carry a shape",
        LaneKind::Sky | LaneKind::Noise | LaneKind::Stars => "no frame could be read",
        LaneKind::Shift => "stars are not matched from frame to frame",
    }
}

fn plain(
    kind: LaneKind,
    quantity: &'static str,
    unit: &'static str,
    decimals: usize,
    gather: &Gather<'_>,
    value: &dyn Fn(&Row) -> Option<f64>,
) -> Lane {
    let points = gather(value);
    let range = Span::around(points.iter().map(|p| p.value), 0.05).unwrap_or_default();
    // Levels far below one percent need more digits to differ at all.
    let decimals = if range.high < 1.0 {
        decimals + 1
    } else {
        decimals
    };
    Lane {
        kind,
        quantity,
        unit,
        decimals,
        points,
        line: Vec::new(),
        band: Vec::new(),
        bands: Vec::new(),
        range,
        missing: None,
    }
}

/// Noise in electrons where the gain is known for every setting of the set, else in percent of full
/// scale.
fn noise(night: &Night, set: &Set, gather: &Gather<'_>) -> Lane {
    let of = |row: &Row| row.measure.as_ref()?.noise_pct;
    if noise_in_electrons(night, set) {
        let electrons = |row: &Row| Some(of(row)? * electrons_a_percent(night, row)?);
        plain(
            LaneKind::Noise,
            "of one pixel",
            " electrons",
            1,
            gather,
            &electrons,
        )
    } else {
        plain(LaneKind::Noise, "of full scale", " %", 2, gather, &of)
    }
}

fn noise_in_electrons(night: &Night, set: &Set) -> bool {
    let mut rows = set.frames.iter().filter_map(|&row| night.rows.get(row));
    let known = |row: &Row| row.measure.is_none() || electrons_a_percent(night, row).is_some();
    night.groups.iter().any(|group| group.transfer.is_some()) && rows.all(known)
}

/// Electrons that a percent of full scale is in a frame; `None` while its gain is not known.
#[must_use]
pub fn electrons_a_percent(night: &Night, row: &Row) -> Option<f64> {
    let transfer = night.groups.get(row.group?)?.transfer.as_ref()?;
    Some(transfer.full_scale_e?.value / 100.0)
}

fn sky(night: &Night, set: &Set, times: &[f64], gather: &Gather<'_>) -> Lane {
    let level = |row: &Row| row.measure.as_ref().map(|m| m.sky.level_pct);
    let mut lane = plain(LaneKind::Sky, "of full scale", " %", 1, gather, &level);
    if let (Some(first), Some(last)) = (times.first(), times.last()) {
        lane.bands = bands(night, *first, last + set.interval_s.unwrap_or(0.0));
    }
    lane
}

fn from_zero(points: &[Point], over: f64, least: f64) -> Span {
    let most = (points.iter().map(|p| p.value)).fold(0.0_f64, f64::max);
    Span {
        low: 0.0,
        high: (most * over).max(least),
    }
}

fn stars(gather: &Gather<'_>) -> Lane {
    let mut lane = plain(LaneKind::Stars, "in the frame", "", 0, gather, &|row| {
        row.measure.as_ref().map(|m| f64::from(m.star_count))
    });
    lane.decimals = 0;
    lane.range = from_zero(&lane.points, 1.2, 10.0);
    lane
}

/// What the shift is measured from: each group's first frame.
fn shift_from(night: &Night, set: &Set, purpose: Purpose) -> &'static str {
    if purpose == Purpose::Tracked {
        return "drift";
    }
    let mut groups: Vec<usize> = (set.frames.iter())
        .filter_map(|&row| night.rows.get(row))
        .filter(|row| row.derived.shift_px.is_some())
        .filter_map(|row| row.group)
        .collect();
    groups.dedup();
    let first = set.frames.first().and_then(|&row| night.rows.get(row));
    if groups.len() == 1 && first.is_some_and(|row| row.group == groups.first().copied()) {
        "from frame 1"
    } else {
        "from the first"
    }
}

fn shift(night: &Night, set: &Set, purpose: Purpose, gather: &Gather<'_>) -> Lane {
    let from = shift_from(night, set, purpose);
    let mut lane = plain(LaneKind::Shift, from, " px", 1, gather, &|row| {
        row.derived.shift_px
    });
    lane.decimals = 1;
    lane.range = from_zero(&lane.points, 1.05, 1.0);
    lane
}

fn elongation(gather: &Gather<'_>) -> Lane {
    let mut lane = plain(LaneKind::Shape, "elongation", "", 2, gather, &|row| {
        row.measure.as_ref()?.elongation
    });
    lane.decimals = 2;
    lane.band = (lane.points.iter())
        .map(|point| Predicted {
            time_s: point.time_s,
            value: 1.0,
            low: 1.0,
            high: 1.2,
        })
        .collect();
    let most = top_of(&lane.points).max(1.5);
    lane.range = Span {
        low: 0.9,
        high: most * 1.05,
    };
    lane
}

fn length(night: &Night, set: &Set, times: &[f64], gather: &Gather<'_>) -> Lane {
    let mut lane = plain(LaneKind::Shape, "length", " px", 1, gather, &|row| {
        row.measure.as_ref()?.trail.map(|trail| trail.length_px)
    });
    lane.decimals = 1;
    lane.line = gather(&|row| row.measure.as_ref()?.fwhm_px);
    lane.band = (set.frames.iter().zip(times))
        .filter_map(|(&row, &time_s)| {
            let value = night.rows.get(row)?.derived.expected_trail_px?;
            Some(Predicted {
                time_s,
                value,
                low: value * (1.0 - BAND_SHARE),
                high: value * (1.0 + BAND_SHARE),
            })
        })
        .collect();
    let most = top_of(&lane.points)
        .max(top_of(&lane.line))
        .max((lane.band.iter().map(|b| b.high)).fold(0.0, f64::max));
    lane.range = Span {
        low: 0.0,
        high: (1.1 * most).max(SHAPE_LEAST_PX),
    };
    lane
}

/// The 99th percentile: one knocked frame must not flatten the rest of the night.
fn top_of(points: &[Point]) -> f64 {
    let mut values: Vec<f64> = points.iter().map(|p| p.value).collect();
    robust::quantile(&mut values, 0.99).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::frame::Light;
    use crate::measure::{FrameMeasure, TrailValues};
    use crate::night::Derived;

    fn row(place: usize, length_px: Option<f64>) -> Row {
        let mut measure = FrameMeasure::empty(100, 80, Light::Linear);
        measure.sky.level_pct = 10.0 + place as f64;
        measure.star_count = 100;
        measure.trail = length_px.map(|length_px| TrailValues {
            length_px,
            length_error_px: 0.1,
            centre_px: length_px,
            centre_error_px: 0.05,
            max_px: length_px,
            angle_deg: None,
            angle_error_deg: None,
        });
        Row {
            shot: place,
            name: format!("{place}.jpg"),
            path: format!("{place}.jpg").into(),
            facts: crate::frame::Facts::default(),
            time_s: Some(place as f64 * 32.0),
            set: 0,
            group: None,
            kind: None,
            measure: Some(Arc::new(measure)),
            error: None,
            derived: Derived {
                expected_trail_px: Some(6.6),
                ..Derived::default()
            },
            typical: crate::night::Typical::default(),
        }
    }

    fn night(lengths: &[Option<f64>]) -> (Night, Set) {
        let rows: Vec<Row> = lengths
            .iter()
            .enumerate()
            .map(|(i, l)| row(i, *l))
            .collect();
        let set = Set {
            frames: (0..rows.len()).collect(),
            ..Set::default()
        };
        (
            Night {
                rows,
                ..Night::default()
            },
            set,
        )
    }

    #[test]
    fn shape_reaches_twelve_px_and_carries_the_band() {
        let (night, set) = night(&[Some(6.5), None, Some(6.7)]);
        let lanes = lanes(&night, &set, Purpose::Trails);
        let shape = &lanes[0];
        assert_eq!(shape.points.len(), 2);
        assert!((shape.range.high - 12.0).abs() < 1e-9);
        assert!((shape.band[0].high - 7.26).abs() < 1e-9);
        assert_eq!(shape.value_at(2), Some(6.7));
        assert_eq!(shape.value_at(1), None);
        assert_eq!(shape.say(6.66), "6.7 px");
    }

    #[test]
    fn noise_is_in_electrons_where_every_gain_is_known() {
        let (mut night, set) = night(&[Some(6.5), Some(6.6)]);
        for row in &mut night.rows {
            row.group = Some(0);
            Arc::make_mut(row.measure.as_mut().unwrap()).noise_pct = Some(0.4);
        }
        night.groups = vec![crate::night::Group::default()];
        let noise = |night: &Night| {
            let lanes = lanes(night, &set, Purpose::Trails);
            let lane = lanes
                .iter()
                .find(|lane| lane.kind == LaneKind::Noise)
                .unwrap();
            lane.say(lane.points[0].value)
        };
        assert!(noise(&night).ends_with(" %"), "{}", noise(&night));
        night.groups[0].transfer = Some(crate::night::Transfer {
            full_scale_e: Some(crate::base::Estimate {
                value: 4000.0,
                error: 10.0,
            }),
            ..crate::night::Transfer::default()
        });
        assert_eq!(noise(&night), "16.0 electrons");
        night.groups.push(crate::night::Group::default());
        night.rows[1].group = Some(1);
        assert!(noise(&night).ends_with(" %"), "one gain is not known");
    }

    #[test]
    fn a_lane_without_data_says_why() {
        let (night, set) = night(&[Some(6.5)]);
        let lanes = lanes(&night, &set, Purpose::Trails);
        let shift = lanes.last().unwrap();
        assert!(shift.missing.as_deref().unwrap().contains("not matched"));
        assert_eq!(lanes[1].missing, None);
    }

    #[test]
    fn one_wild_frame_does_not_flatten_the_night() {
        let mut lengths = vec![Some(6.5); 300];
        lengths[7] = Some(900.0);
        let (night, set) = night(&lengths);
        let lanes = lanes(&night, &set, Purpose::Trails);
        assert!(lanes[0].range.high < 20.0);
    }

    #[test]
    fn the_shift_says_what_it_is_from() {
        let (mut night, set) = night(&[Some(6.5), Some(6.5)]);
        for row in &mut night.rows {
            row.group = Some(0);
            row.derived.shift_px = Some(1.0);
        }
        let said = |night: &Night, purpose| lanes(night, &set, purpose)[4].quantity;
        assert_eq!(said(&night, Purpose::Trails), "from frame 1");
        assert_eq!(said(&night, Purpose::Tracked), "drift");
        night.rows[1].group = Some(1);
        assert_eq!(said(&night, Purpose::Trails), "from the first");
    }

    #[test]
    fn a_tracked_night_shows_elongation() {
        let (night, set) = night(&[Some(6.5)]);
        let lanes = lanes(&night, &set, Purpose::Tracked);
        assert_eq!(lanes[0].quantity, "elongation");
    }
}
