//! What leaving frames out costs: gaps in trails, arc, film, signal-to-noise.
//!
//! A gap is r × (start of the next used frame − end of the last), r the largest speed of a star over
//! this frame's sky, so it is told as "up to". How dark it is: the brightness left at the middle of
//! a gap between two trails where frames are summed (`sky::limits`).

use super::read::usual_width;
use super::types::{Purpose, Verdict};
use super::words::{frames, number, with_unit};
use crate::night::{Group, Night, Set};
use crate::sky::limits::gap_brightness_summed;
use crate::sky::turning::arc_deg;

/// Below this a gap is dark to the eye.
const DARK_SHARE: f64 = 0.05;
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
        let factor = exposure_factor(main);
        let open = set
            .frames
            .iter()
            .enumerate()
            .filter_map(|(n, &at)| {
                let row = night.rows.get(at)?;
                let start = row.time_s.or_else(|| Some(n as f64 * set.interval_s?))?;
                let exposure = row.facts.exposure_s.or(usual).unwrap_or(0.0);
                Some((at, start, start + exposure * factor))
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
        .filter(|&(a, b, _)| dropped.range(a..b).any(|&row| row > a))
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
        gap_left: gap_px
            .zip(width)
            .map(|(gap, w)| gap_brightness_summed(gap, w)),
        arc_deg: spans.map(|(was, is)| arc_deg((was - is).max(0.0))),
        before,
    }
}

/// What to multiply marked exposures of a group with, from its trails where they were fitted.
#[must_use]
pub fn exposure_factor(group: Option<&Group>) -> f64 {
    let turn = group.and_then(|g| g.turn);
    turn.map_or(1.0, |turn| turn.exposure_factor())
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
        Some(typical / (exposure * exposure_factor(Some(group))))
    })
}
