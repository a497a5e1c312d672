//! What leaving frames out costs: gaps in trails, arc, film, signal-to-noise.
//!
//! A gap is r × (start of the next used frame − end of the last), r the largest speed of a star over
//! this frame's sky, so it is told as "up to". How dark it is: the brightness left at the middle of
//! a gap g between two ends of width σ is erfc(g/(2√2·σ)) of the trail where frames are summed (two
//! half-lines, each seen through a Gaussian).

use super::read::usual_width;
use super::types::{Purpose, Verdict};
use super::words::{frames, number, with_unit};
use crate::night::{Group, Night, Set};

/// The sky's turning, degrees per second: 360° in a mean sidereal day of 86 164.0905 s (IERS
/// Conventions).
pub const SKY_TURNS_DEG_PER_S: f64 = 360.0 / 86_164.090_5;
/// Below this a gap is dark to the eye.
const DARK_SHARE: f64 = 0.05;
/// FWHM of a Gaussian over its σ.
const FWHM_PER_SIGMA: f64 = 2.354_82;
/// Exposure true over marked, as far as a shutter is believed to be off.
const BELIEVED_RATIO: std::ops::RangeInclusive<f64> = 0.9..=1.2;

/// When each frame of a set was open.
#[derive(Debug, Clone, Default)]
pub struct Timeline {
    /// Row, start and end of the exposure in seconds, in order of capture.
    pub open: Vec<(usize, f64, f64)>,
}

impl Timeline {
    /// The frames of `set` whose times are known or follow from the set's interval.
    #[must_use]
    pub fn of(night: &Night, set: &Set) -> Self {
        let main = set.main_group.and_then(|g| night.groups.get(g));
        let usual = main.and_then(|g| g.settings.exposure_s);
        let ratio = true_exposure_ratio(main);
        let open = set
            .frames
            .iter()
            .enumerate()
            .filter_map(|(n, &at)| {
                let row = night.rows.get(at)?;
                let start = row.time_s.or_else(|| Some(n as f64 * set.interval_s?))?;
                let exposure = row.facts.exposure_s.or(usual).unwrap_or(0.0);
                Some((at, start, start + exposure * ratio))
            })
            .collect();
        Self { open }
    }

    /// From the first used frame's start to the last one's end, s.
    #[must_use]
    pub fn span_s(&self, used: impl Fn(usize) -> bool) -> Option<f64> {
        let mut open = self.open.iter().filter(|(row, ..)| used(*row));
        let first = open.next()?;
        let last = open.next_back().unwrap_or(first);
        Some(last.2 - first.1)
    }

    /// The longest time between used frames with no shutter open, s. Never below 0.
    #[must_use]
    pub fn widest_pause_s(&self, used: impl Fn(usize) -> bool) -> Option<f64> {
        self.pauses(used).map(|(_, _, s)| s).reduce(f64::max)
    }

    /// Between each pair of neighbouring used frames: the rows and the seconds between them.
    fn pauses(&self, used: impl Fn(usize) -> bool) -> impl Iterator<Item = (usize, usize, f64)> {
        let open: Vec<_> = self.open.iter().filter(|(row, ..)| used(*row)).collect();
        let pairs: Vec<_> = open
            .windows(2)
            .filter_map(|pair| match pair {
                [(a, _, end), (b, start, _)] => Some((*a, *b, (start - end).max(0.0))),
                _ => None,
            })
            .collect();
        pairs.into_iter()
    }
}

/// True over marked exposure, from the trails where they could be fitted; else 1.
#[must_use]
pub fn true_exposure_ratio(group: Option<&Group>) -> f64 {
    let ratio = group.and_then(|g| g.turn).map(|turn| turn.length_ratio);
    ratio.filter(|r| BELIEVED_RATIO.contains(r)).unwrap_or(1.0)
}

/// Brightness left at the middle of a gap of `gap_px` between trails of width `fwhm_px`, as a share
/// of the trail, where frames are summed.
#[must_use]
pub fn left_in_gap(gap_px: f64, fwhm_px: f64) -> f64 {
    let sigma = fwhm_px / FWHM_PER_SIGMA;
    if sigma > 0.0 {
        libm::erfc(gap_px / (2.0 * std::f64::consts::SQRT_2 * sigma))
    } else {
        0.0
    }
}

/// What leaving rows out costs.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DropCost {
    /// Frames lost.
    pub lost: usize,
    /// Frames still used.
    pub left: usize,
    /// Nothing is torn open between used frames.
    pub only_ends: bool,
    /// Widest gap torn open, px, at the largest rate over the frame.
    pub gap_px: Option<f64>,
    /// Brightness left in the middle of it, share of the trail.
    pub gap_left: Option<f64>,
    /// Arc lost at the ends, degrees.
    pub arc_deg: Option<f64>,
    /// Used frames in the whole set before.
    pub before: usize,
}

impl DropCost {
    /// "a gap of up to 15 px, dark, in every trail", when its size is known.
    #[must_use]
    pub fn gap_words(&self) -> Option<String> {
        let gap = self.gap_px?;
        let depth = match self.gap_left {
            Some(left) if left < DARK_SHARE => " dark,".to_owned(),
            Some(left) => format!(" {:.0} % of the light left,", 100.0 * left),
            None => String::new(),
        };
        let size = number(gap, usize::from(gap < 10.0));
        Some(format!("a gap of up to {size} px,{depth} in every trail"))
    }

    /// The cost in a sentence for a tip, without the full stop.
    #[must_use]
    pub fn words(&self, purpose: Purpose) -> String {
        let film = with_unit(self.lost as f64 / 24.0, "s");
        let arc = self.arc_deg.filter(|arc| *arc >= 0.05);
        let arc = arc.map(|arc| format!("{}°", number(arc, 1)));
        let left = self.left;
        match purpose {
            Purpose::Trails if self.only_ends => match arc {
                Some(arc) => format!("no gap: end of the night; costs {arc} of arc"),
                None => "no gap: end of the night".to_owned(),
            },
            Purpose::Trails => {
                let gap = self.gap_words();
                let gap = gap.unwrap_or_else(|| "a gap in every trail".to_owned());
                format!("{gap}, and {} to use", frames(left))
            }
            Purpose::Timelapse if self.only_ends => {
                format!("no jump: end of the night; costs {film} of film at 24 a second")
            }
            Purpose::Timelapse => format!(
                "the film jumps over {}; costs {film} of film at 24 a second",
                frames(self.lost)
            ),
            Purpose::Tracked => {
                // Noise of a mean falls with the square root of the frames in it.
                let kept = (left as f64 / self.before.max(1) as f64).sqrt();
                let share = number(100.0 * (1.0 - kept), 1);
                format!("{left} frames to stack; signal-to-noise {share} % lower if they were good")
            }
            Purpose::Still => format!("{} left to choose from", frames(left)),
        }
    }
}

/// What leaving `rows` out of `set` costs, given the `verdicts` in force (one for each row).
#[must_use]
pub fn drop_cost(night: &Night, set: usize, verdicts: &[Verdict], rows: &[usize]) -> DropCost {
    let Some(set) = night.sets.get(set) else {
        return DropCost::default();
    };
    // A frame that could not be read is missing already, whatever is decided about it.
    let readable = |at: usize| night.rows.get(at).is_some_and(|row| row.error.is_none());
    let used = |at: usize| readable(at) && verdicts.get(at).is_some_and(|v| v.is_used());
    let dropped: std::collections::BTreeSet<usize> = rows.iter().copied().collect();
    let still = |at: usize| used(at) && !dropped.contains(&at);

    let lost = set.frames.iter().filter(|&&r| dropped.contains(&r));
    let left = set.frames.iter().filter(|&&r| still(r)).count();
    let before = set.frames.iter().filter(|&&r| used(r)).count();
    let first = set.frames.iter().position(|&r| still(r));
    let last = set.frames.iter().rposition(|&r| still(r));
    let inside = set.frames.iter().enumerate().any(|(n, row)| {
        let between = first.is_some_and(|f| n > f) && last.is_some_and(|l| n < l);
        between && dropped.contains(row)
    });

    let timeline = Timeline::of(night, set);
    let torn = timeline
        .pauses(still)
        .filter(|&(a, b, _)| dropped.iter().any(|&row| row > a && row < b))
        .map(|(.., s)| s)
        .reduce(f64::max);
    let main = set.main_group.and_then(|g| night.groups.get(g));
    let gap_px = main
        .and_then(|g| largest_rate_px_s(night, g))
        .zip(torn)
        .map(|(rate, s)| rate * s);
    let width = main.and_then(|g| usual_width(night, g));
    let spans = timeline.span_s(used).zip(timeline.span_s(still));
    DropCost {
        lost: lost.count(),
        left,
        only_ends: !inside,
        gap_px,
        gap_left: gap_px.zip(width).map(|(gap, w)| left_in_gap(gap, w)),
        arc_deg: spans.map(|(was, is)| (was - is).max(0.0) * SKY_TURNS_DEG_PER_S),
        before,
    }
}

/// Largest speed of a star over the frame, px/s: from the fitted turn, else from the largest trail
/// of the field map and the exposure.
#[must_use]
pub fn largest_rate_px_s(night: &Night, group: &Group) -> Option<f64> {
    group.largest_rate_px_s.or_else(|| {
        let exposure = group.settings.exposure_s.filter(|t| *t > 0.0)?;
        let rows = group.rows.iter().filter_map(|&row| night.rows.get(row));
        let mut largest: Vec<f64> = rows
            .filter_map(|row| Some(row.measure.as_deref()?.trail?.max_px))
            .collect();
        let typical = crate::base::robust::median(&mut largest)?;
        Some(typical / (exposure * true_exposure_ratio(Some(group))))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check values of common practice: σ 1.1 px, the 0.9 px pause leaves 68 %, 15 px nothing.
    #[test]
    fn gaps_darken_as_the_error_function_says() {
        let fwhm = 2.6;
        assert!((left_in_gap(0.4, fwhm) - 0.85).abs() < 0.01);
        assert!((left_in_gap(0.8, fwhm) - 0.71).abs() < 0.01);
        assert!((left_in_gap(0.9, fwhm) - 0.68).abs() < 0.01);
        assert!(left_in_gap(15.0, fwhm) < 1e-6);
        assert!((left_in_gap(0.0, fwhm) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_sky_turns_fifteen_arc_seconds_a_second() {
        assert!((SKY_TURNS_DEG_PER_S * 3600.0 - 15.041_07).abs() < 1e-5);
        // 9822 s are 41.0°.
        assert!((9822.0 * SKY_TURNS_DEG_PER_S - 41.0).abs() < 0.05);
    }
}
