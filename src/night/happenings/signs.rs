//! The signs of one set's frames, in order: each value beside what it would be without a fault.

use super::super::types::{Kind, Night, Row, Series, Set};
use crate::base::robust::median;
use crate::measure::FrameMeasure;

/// A trail is too long past this much…
const ROOM_PX: f64 = 1.0;
/// …or this share of what is expected…
const ROOM_SHARE: f64 = 0.15;
/// …or so many of its errors (the largest counts).
const ROOM_ERRORS: f64 = 3.0;
/// A frame without a trace of the stars that its group shows has lost so many magnitudes at least.
const ALL_LOST_MAG: f64 = 3.0;
/// With fewer than this share of the usual stars no match tells of cloud or of nothing at all.
const TRACE: f64 = 0.4;

/// A sky within this share of its neighbours' is as always.
const SAME_SKY: f64 = 0.03;
/// Trails shorter than this tell nothing by being shorter still, px…
const LEAST_TRAIL_PX: f64 = 1.5;
/// …and those under this share of what is expected are not of stars.
const BLIND_SHARE: f64 = 0.5;
/// A third of the 0.45 by which the logarithm of star counts grows with a magnitude.
const THINS_PER_MAG: f64 = 0.15;

/// One frame.
pub(super) struct Sign<'a> {
    pub(super) at: usize,
    pub(super) row: &'a Row,
    pub(super) measure: &'a FrameMeasure,
    /// Width over that of the night's sharp frames.
    pub(super) wide: Option<f64>,
    /// The width of the sharp frames, px.
    pub(super) sharp_px: Option<f64>,
    /// Light lost by the same stars, mag.
    pub(super) lost_mag: Option<f64>,
    /// Stars over those of frames around.
    pub(super) stars: Option<f64>,
    /// Stars over those of the night's best frames.
    pub(super) stars_of_best: Option<f64>,
    /// Sky over that of frames around.
    pub(super) bright: Option<f64>,
    /// Sky over the group's darkest tenth.
    pub(super) over_dark: Option<f64>,
    /// How far trails are over what is expected, in units of what may be.
    pub(super) over_long: Option<f64>,
    /// Red, green and blue of the sky, percent.
    pub(super) colour: Option<[f64; 3]>,
}

/// The measured sky frames of one set.
pub(super) struct Strip<'a> {
    pub(super) night: &'a Night,
    pub(super) which: usize,
    pub(super) set: &'a Set,
    pub(super) signs: Vec<Sign<'a>>,
    /// Scatter of widths as a share, of the set's main group.
    pub(super) width_scatter: f64,
    /// The same of the sky.
    pub(super) sky_scatter: f64,
}

impl<'a> Strip<'a> {
    /// `None` where fewer than three frames are there to compare.
    pub(super) fn of(night: &'a Night, which: usize) -> Option<Self> {
        let set = night.sets.get(which)?;
        let signs: Vec<Sign<'a>> = set
            .frames
            .iter()
            .filter_map(|&at| sign(night, at))
            .collect();
        let main = set.main_group.and_then(|group| night.groups.get(group));
        let share = |series: Option<Series>| {
            series.map_or(0.0, |s| s.scatter / s.median.abs().max(f64::MIN_POSITIVE))
        };
        (signs.len() >= 3).then_some(Self {
            night,
            which,
            set,
            width_scatter: share(main.and_then(|group| group.fwhm)),
            sky_scatter: share(main.and_then(|group| group.sky)),
            signs,
        })
    }

    /// Whether a value of each frame passes.
    pub(super) fn flags(&self, of: impl Fn(&Sign<'a>) -> bool) -> Vec<bool> {
        self.signs.iter().map(of).collect()
    }

    /// Median of a value over some frames.
    pub(super) fn middle(
        &self,
        places: impl IntoIterator<Item = usize>,
        of: impl Fn(&Sign<'a>) -> Option<f64>,
    ) -> Option<f64> {
        let signs = places.into_iter().filter_map(|at| self.signs.get(at));
        let mut values: Vec<f64> = signs.filter_map(of).collect();
        median(&mut values)
    }
}

fn sign(night: &Night, at: usize) -> Option<Sign<'_>> {
    let row = night
        .rows
        .get(at)
        .filter(|row| row.kind == Some(Kind::Sky))?;
    let measure = row.measure.as_deref()?;
    let group = night.groups.get(row.group?)?;
    let over = |value: f64, usual: f64| (usual > 0.0).then(|| value / usual);
    let sharp_px = group.fwhm.map(Series::lower_level);
    let stars = f64::from(measure.star_count);
    let of_usual = row.typical.stars.and_then(|usual| over(stars, usual));
    let of_best = group.stars.and_then(|s| over(stars, s.upper_level()));
    let lost_mag = lost_mag(night, row);
    let level = measure.sky.level_pct;
    let long = measure
        .trail
        .zip(row.derived.excess_px)
        .map(|(trail, excess)| {
            let expected = trail.length_px - excess;
            let room = ROOM_PX
                .max(ROOM_SHARE * expected)
                .max(ROOM_ERRORS * trail.length_error_px);
            excess / room
        });
    Some(Sign {
        at,
        row,
        measure,
        wide: measure.fwhm_px.zip(sharp_px).and_then(|(w, s)| over(w, s)),
        sharp_px,
        lost_mag,
        stars: of_usual,
        stars_of_best: of_best,
        bright: row.typical.sky_pct.and_then(|usual| over(level, usual)),
        over_dark: group.sky.and_then(|s| over(level, s.low_tenth)),
        over_long: long,
        colour: measure
            .sky
            .red_pct
            .zip(measure.sky.blue_pct)
            .map(|(red, blue)| [red, level, blue]),
    })
}

/// Whether what a frame shows is no stars: it has no trails where the sky's turning makes some, so it
/// shows hot pixels through cloud, and its widths, places and counts are theirs.
#[must_use]
pub fn is_blind(row: &Row) -> bool {
    let expected = row.derived.expected_trail_px.or(row.typical.trail_px);
    let trail = row.measure.as_deref().and_then(|measure| measure.trail);
    trail.zip(expected).is_some_and(|(trail, expected)| {
        expected > LEAST_TRAIL_PX && trail.length_px < BLIND_SHARE * expected
    })
}

/// Light lost by the stars of a frame, mag; `None` where its group's stars were not matched.
///
/// Stars grow 10^(0.45 m) times as many with magnitude m, so a loss must also thin their count, by a
/// third of that at least. Where it does not and the sky is as always, the chain of matches has slipped
/// and nothing is lost.
#[must_use]
pub fn lost_mag(night: &Night, row: &Row) -> Option<f64> {
    let group = night.groups.get(row.group?)?;
    let measure = row.measure.as_deref()?;
    let stars = f64::from(measure.star_count);
    let best = group
        .stars
        .map(Series::upper_level)
        .filter(|best| *best > 0.0);
    let share = best.map(|best| stars / best);
    let matched = |&at: &usize| {
        let row = night.rows.get(at);
        row.is_some_and(|row| row.derived.transparency.is_some())
    };
    match row.derived.transparency {
        Some(left) => {
            let mag = -2.5 * left.max(1e-4).log10();
            let thinned = 10_f64.powf(-THINS_PER_MAG * mag);
            let usual = row.typical.sky_pct.filter(|usual| *usual > 0.0);
            let same_sky =
                usual.is_none_or(|usual| (measure.sky.level_pct / usual - 1.0).abs() < SAME_SKY);
            let slipped = share.is_some_and(|share| share > thinned) && same_sky && !is_blind(row);
            Some(if slipped { mag.min(0.0) } else { mag })
        }
        None if share.is_some_and(|s| s < TRACE) && group.rows.iter().any(matched) => {
            Some(ALL_LOST_MAG)
        }
        None => None,
    }
}
