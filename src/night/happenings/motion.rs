//! What moves the camera: settling after it was touched, and shaking that comes back.
//!
//! A camera that stays where it was pushed was knocked; `verdict` tells that by its jump.

use std::ops::Range;

use super::runs::runs;
use super::signs::{Sign, Strip};
use super::{Cause, Happening, Moment, Shown, Surety};
use crate::base::robust::median;

/// Frames on either side of a run that say whether the camera came back.
const SIDE: usize = 5;
/// A camera that is off its place by less than this share of what trails are too long came back…
const BACK_SHARE: f64 = 0.5;
/// …or by less than this, px.
const BACK_PX: f64 = 0.7;
/// Longest run that a tripod settles in, frames.
const LONGEST_SETTLING: usize = 40;
/// So many shaken frames are no chance.
const MANY: usize = 3;

pub(super) fn happenings(strip: &Strip<'_>) -> Vec<Happening> {
    let long = strip.flags(|sign| sign.over_long.is_some_and(|over| over > 1.0));
    let mut all = Vec::new();
    let mut shaken: Vec<usize> = Vec::new();
    for run in runs(&long, 0) {
        if run.start <= 1 && run.len() <= LONGEST_SETTLING && dies_away(strip, &run) {
            all.push(settling(strip, &run));
        } else {
            let back = run.clone().filter(|_| came_back(strip, &run));
            shaken.extend(back);
        }
    }
    let sure = match shaken.len() {
        0..MANY => Surety::Possible,
        _ => Surety::Likely,
    };
    let mut flags = vec![false; strip.signs.len()];
    for &at in &shaken {
        if let Some(flag) = flags.get_mut(at) {
            *flag = true;
        }
    }
    for run in runs(&flags, 3) {
        let places = run.filter(|&at| flags.get(at) == Some(&true));
        let evidence = "Trails are too long and the camera points where it did before: it shook and came back.";
        all.push(happening(
            strip,
            places,
            Cause::Wind,
            sure,
            evidence.to_owned(),
        ));
    }
    all
}

fn excess(sign: &Sign<'_>) -> Option<f64> {
    sign.row.derived.excess_px
}

/// Whether trails get shorter from the start on, or only the very first frames are long.
fn dies_away(strip: &Strip<'_>, run: &Range<usize>) -> bool {
    let of = |at: usize| strip.signs.get(at).and_then(excess);
    let first = of(run.start);
    let last = run.end.checked_sub(1).and_then(of);
    let next = strip.middle(run.end..run.end + 3, excess);
    match (first, last, next) {
        (Some(first), Some(last), _) if run.len() > 1 => first > 1.2 * last,
        (Some(first), _, Some(next)) => next < 0.5 * first && run.start == 0,
        _ => false,
    }
}

fn settling(strip: &Strip<'_>, run: &Range<usize>) -> Happening {
    // What follows and is still a little long is the end of it.
    let mut end = run.end;
    while strip
        .signs
        .get(end)
        .is_some_and(|s| s.over_long.is_some_and(|over| over > 0.5))
    {
        end += 1;
    }
    let sure = if run.len() > 1 {
        Surety::Sure
    } else {
        Surety::Likely
    };
    let evidence = "Trails are too long at the start and shorter from frame to frame: the tripod came to rest.";
    happening(
        strip,
        run.start..end,
        Cause::Settling,
        sure,
        evidence.to_owned(),
    )
}

fn happening(
    strip: &Strip<'_>,
    places: impl IntoIterator<Item = usize>,
    cause: Cause,
    sure: Surety,
    evidence: String,
) -> Happening {
    let moments = places.into_iter().filter_map(|at| {
        let sign = strip.signs.get(at)?;
        let measured = sign.measure.trail?.length_px;
        Some(Moment {
            row: sign.at,
            measured,
            usual: measured - excess(sign)?,
        })
    });
    Happening {
        cause,
        set: strip.which,
        shown: Shown::Trail,
        moments: moments.collect(),
        sure,
        evidence,
    }
}

/// Whether the camera points the same before and after a run of frames, a steady drift apart. Not
/// known is no.
fn came_back(strip: &Strip<'_>, run: &Range<usize>) -> bool {
    let point = |at: usize| {
        let row = strip.signs.get(at)?.row;
        row.derived
            .shift_xy_px
            .or_else(|| row.derived.shift_px.map(|px| [px, 0.0]))
    };
    let from = run.start.saturating_sub(SIDE);
    let to = (run.end + SIDE).min(strip.signs.len());
    let most = run
        .clone()
        .filter_map(|at| strip.signs.get(at).and_then(excess));
    let most = most.fold(0.0, f64::max);
    let off = [0, 1].map(|axis| {
        let of = |at: usize| point(at).map(|p| p[axis]);
        let steps = (from..to.saturating_sub(1)).filter(|at| at + 1 < run.start || *at >= run.end);
        let mut steps: Vec<f64> = steps.filter_map(|at| Some(of(at + 1)? - of(at)?)).collect();
        let drift = median(&mut steps).unwrap_or(0.0);
        // Each side's pointing carried to the run by the drift.
        let carried = |places: Range<usize>, edge: usize| {
            let here = |at: usize| Some(of(at)? + drift * (edge as f64 - at as f64));
            let mut values: Vec<f64> = places.filter_map(here).collect();
            median(&mut values)
        };
        let before = carried(from..run.start, run.start)?;
        let after = carried(run.end..to, run.start)?;
        Some(after - before)
    });
    match off {
        [Some(x), Some(y)] => x.hypot(y) < BACK_PX.max(BACK_SHARE * most),
        _ => false,
    }
}
