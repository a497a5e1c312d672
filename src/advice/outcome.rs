//! What the used frames make: arc, film, open time, gaps.

use super::types::{FilmLength, Outcome};
use crate::night::Night;
use crate::sky::limits::film_s;
use crate::sky::turning::arc_deg;
use crate::verdict::cost::{Timeline, largest_rate_px_s};
use crate::verdict::{Purpose, Verdict};

/// Frame rates film is told at: below 15 a second motion is not smooth (common practice).
pub const FILM_RATES: [u32; 3] = [15, 24, 30];

/// What the used frames of `set` give, with `verdicts` one for each row of the night.
///
/// Frames that could not be read are not used. Frames still to be measured are not counted as used
/// either, but tear no gap and cut no arc: while a night is measured, arc and gaps are a forecast.
#[must_use]
pub fn outcome(night: &Night, set: usize, verdicts: &[Verdict], purpose: Purpose) -> Outcome {
    let Some(set) = night.sets.get(set) else {
        return Outcome::default();
    };
    let readable = |at: usize| night.rows.get(at).is_some_and(|row| row.error.is_none());
    let used = |at: usize| readable(at) && verdicts.get(at).is_some_and(|v| v.is_used());
    let measured = |at: usize| night.rows.get(at).is_some_and(|row| row.measure.is_some());
    let counted = |at: usize| used(at) && measured(at);
    let count = set.frames.iter().filter(|&&at| counted(at)).count();
    let timeline = Timeline::of(night, set);
    let trails = purpose == Purpose::Trails;
    let main = set.main_group.and_then(|g| night.groups.get(g));
    let rate = main.and_then(|g| largest_rate_px_s(night, g));
    let pause = timeline.widest_pause_s(used);
    let open = timeline.open.iter().filter(|(row, ..)| counted(*row));
    Outcome {
        used: count,
        total: set.frames.len(),
        arc_deg: timeline.span_s(used).map(arc_deg),
        possible_arc_deg: timeline.span_s(|_| true).map(arc_deg),
        film: FILM_RATES
            .iter()
            .map(|&rate| FilmLength {
                rate,
                seconds: film_s(count, rate),
            })
            .collect(),
        widest_gap_px: rate.zip(pause).map(|(r, s)| r * s).filter(|_| trails),
        open_s: (count > 0).then(|| open.map(|(_, start, end)| end - start).sum()),
    }
}
