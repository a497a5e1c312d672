//! Jumps of the pointing: one odd frame, or a new pointing that lasts.

use std::collections::BTreeMap;

use crate::base::robust::median;
use crate::night::Night;

/// Frames on either side that a pointing jump is told against.
const JUMP_SIDE: usize = 5;

/// How the pointing of one frame differs from its neighbours', px.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Jump {
    /// From the frames before and from those after, the smaller: an odd frame.
    pub(super) stray_px: f64,
    /// From the frames before, where those after it stay there: a new pointing.
    pub(super) lasting_px: f64,
}

/// The pointing of each row against the medians of the frames before and after it in its group.
pub(super) fn jumps(night: &Night) -> BTreeMap<usize, Jump> {
    let mut jumps = BTreeMap::new();
    for group in &night.groups {
        let shifts: Vec<(usize, f64)> = group
            .rows
            .iter()
            .filter_map(|&row| night.rows.get(row))
            .filter_map(|row| Some((row.shot, row.derived.shift_px?)))
            .collect();
        let level = |part: &[(usize, f64)]| {
            let mut values: Vec<f64> = part.iter().map(|&(_, shift)| shift).collect();
            (values.len() >= 3).then(|| median(&mut values)).flatten()
        };
        for (at, &(shot, shift)) in shifts.iter().enumerate() {
            let earlier = shifts.get(at.saturating_sub(JUMP_SIDE)..at).unwrap_or(&[]);
            let before = level(earlier);
            let end = (at + 1 + JUMP_SIDE).min(shifts.len());
            let after = level(shifts.get(at + 1..end).unwrap_or(&[]));
            let from = |level: Option<f64>| level.map(|level| (shift - level).abs());
            let Some(stray_px) = [from(before), from(after)]
                .into_iter()
                .flatten()
                .reduce(f64::min)
            else {
                continue;
            };
            let steps = before
                .zip(after)
                .map(|(b, a)| ((a - b).abs(), (shift - b).abs()));
            // The first frame of the new pointing has gone most of the way.
            let last = at.checked_sub(1).and_then(|n| shifts.get(n)).map(|s| s.1);
            let came = |step: f64| {
                last.zip(before)
                    .is_some_and(|(l, b)| (l - b).abs() < 0.5 * step)
            };
            // A tripod still settling comes to rest in steps; only what stood steady jumps.
            let steady = |step: f64| spread(earlier) < 0.5 * step;
            let lasting = steps.filter(|&(step, own)| own >= 0.5 * step && came(step));
            let lasting = lasting.filter(|&(step, _)| steady(step));
            let lasting_px = lasting.map_or(0.0, |(step, _)| step);
            jumps.insert(
                shot,
                Jump {
                    stray_px,
                    lasting_px,
                },
            );
        }
    }
    jumps
}

/// Largest minus smallest shift, px.
fn spread(part: &[(usize, f64)]) -> f64 {
    let shifts = || part.iter().map(|&(_, shift)| shift);
    let most = shifts().reduce(f64::max).unwrap_or(0.0);
    most - shifts().reduce(f64::min).unwrap_or(0.0)
}
