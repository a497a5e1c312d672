//! Jumps of the pointing: one odd frame, or a new pointing that lasts.

use std::collections::BTreeMap;

use crate::base::robust::{median, median_and_sigma};
use crate::night::{Night, Row, is_blind};

/// Frames on either side that a pointing jump is told against.
const JUMP_SIDE: usize = 5;

/// How the pointing of one frame differs from its neighbours', px.
#[derive(Debug, Clone, Copy, Default)]
#[expect(clippy::struct_field_names, reason = "units stand in names")]
pub(super) struct Jump {
    /// From the frames before and from those after, the smaller: an odd frame.
    pub(super) stray_px: f64,
    /// From the frames before, where those after it stay there: a new pointing.
    pub(super) lasting_px: f64,
    /// σ of the pointing of one frame of the group about its neighbours.
    pub(super) scatter_px: f64,
}

/// A pointing, px by axis.
type Point = [f64; 2];

/// The pointing of each row against the medians of the frames before and after it in its group.
pub(super) fn jumps(night: &Night) -> BTreeMap<usize, Jump> {
    let mut jumps = BTreeMap::new();
    for group in &night.groups {
        let rows = group.rows.iter().filter_map(|&row| night.rows.get(row));
        let rows: Vec<&Row> = rows.collect();
        // A chain of pointings through frames without stars is no chain.
        for part in rows.split(|row| is_blind(row)) {
            jumps.extend(along(part));
        }
    }
    jumps
}

fn along(rows: &[&Row]) -> Vec<(usize, Jump)> {
    let pointed = rows.iter().filter_map(|row| {
        let length_only = row.derived.shift_px.map(|shift| [shift, 0.0]);
        let point = row.derived.shift_xy_px.or(length_only)?;
        let doubled = row.measure.as_deref()?.double_peak.is_some();
        Some((row.shot, (point, doubled)))
    });
    let (shots, seen): (Vec<usize>, Vec<(Point, bool)>) = pointed.unzip();
    let (points, doubled): (Vec<Point>, Vec<bool>) = seen.into_iter().unzip();
    let scatter_px = scatter(&points);
    let mut told: Vec<Option<Jump>> = (0..points.len()).map(|at| jump(&points, at)).collect();
    for at in 1..told.len() {
        let half_way = is_half_way(&points, at);
        if let [Some(during), Some(after)] = &mut told[at - 1..=at]
            && (doubled.get(at - 1) == Some(&true) || half_way)
        {
            // On its way while the shutter was open: the move belongs to that frame.
            during.lasting_px = during.lasting_px.max(std::mem::take(&mut after.lasting_px));
        }
    }
    let each = shots.into_iter().zip(told);
    each.filter_map(|(shot, jump)| {
        Some((
            shot,
            Jump {
                scatter_px,
                ..jump?
            },
        ))
    })
    .collect()
}

fn jump(points: &[Point], at: usize) -> Option<Jump> {
    let here = *points.get(at)?;
    let earlier = points.get(at.saturating_sub(JUMP_SIDE)..at).unwrap_or(&[]);
    let end = (at + 1 + JUMP_SIDE).min(points.len());
    let (before, after) = (
        level(earlier),
        level(points.get(at + 1..end).unwrap_or(&[])),
    );
    let sides = [before, after].into_iter().flatten();
    let stray_px = sides.map(|side| apart(here, side)).reduce(f64::min)?;
    let lasting = |before: Point, after: Point| {
        let step = apart(before, after);
        // The first frame of the new pointing has gone most of the way, the one before it has not.
        let went = apart(here, before) >= 0.5 * step;
        let stood = apart(*earlier.last()?, before) < 0.5 * step;
        // A tripod still settling comes to rest in steps; only what stood steady jumps.
        let steady = spread(earlier) < 0.5 * step;
        (went && stood && steady).then_some(step)
    };
    let step = before.zip(after).and_then(|(b, a)| lasting(b, a));
    Some(Jump {
        stray_px,
        lasting_px: step.unwrap_or(0.0),
        scatter_px: 0.0,
    })
}

/// Whether the frame before a jump is on its way already: away from those before it by a fifth of the
/// step at least.
fn is_half_way(points: &[Point], at: usize) -> bool {
    const ON_ITS_WAY: f64 = 0.2;
    let before = at.checked_sub(1).and_then(|last| {
        let earlier = points.get(last.saturating_sub(JUMP_SIDE)..last)?;
        Some((*points.get(last)?, level(earlier)?, spread(earlier)))
    });
    let end = (at + JUMP_SIDE).min(points.len());
    let after = points.get(at..end).and_then(level);
    before
        .zip(after)
        .is_some_and(|((last, before, spread), after)| {
            let step = apart(before, after);
            let way = apart(last, before);
            way > ON_ITS_WAY * step && way > 2.0 * spread && apart(last, after) > ON_ITS_WAY * step
        })
}

/// The median by axis, of three points at least.
fn level(part: &[Point]) -> Option<Point> {
    let axis = |of: fn(&Point) -> f64| median(&mut part.iter().map(of).collect::<Vec<f64>>());
    (part.len() >= 3).then_some(())?;
    Some([axis(|point| point[0])?, axis(|point| point[1])?])
}

fn apart(a: Point, b: Point) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The larger side of the box about all points, px.
fn spread(part: &[Point]) -> f64 {
    let side = |of: fn(&Point) -> f64| {
        let values = || part.iter().map(of);
        let most = values().reduce(f64::max).unwrap_or(0.0);
        most - values().reduce(f64::min).unwrap_or(0.0)
    };
    side(|point| point[0]).max(side(|point| point[1]))
}

/// σ of one pointing along an axis, from the steps between neighbours: jumps are few among them.
fn scatter(points: &[Point]) -> f64 {
    let steps: Vec<f64> = points
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] => Some([b[0] - a[0], b[1] - a[1]]),
            _ => None,
        })
        .flatten()
        .collect();
    median_and_sigma(&steps).map_or(0.0, |(_, sigma)| sigma / std::f64::consts::SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_turn_about_the_first_pointing_is_a_jump_too() {
        // From (5, 0) to (0, 5): as far from the start, 7.07 px from each other.
        let points: Vec<Point> = (0..20)
            .map(|n| if n < 10 { [5.0, 0.0] } else { [0.0, 5.0] })
            .collect();
        let told: Vec<f64> = (0..20)
            .filter_map(|at| jump(&points, at))
            .map(|j| j.lasting_px)
            .collect();
        assert!((told[10] - 50_f64.sqrt()).abs() < 1e-9);
        assert_eq!(told.iter().filter(|px| **px > 0.0).count(), 1);
    }

    #[test]
    fn settling_is_no_jump_and_scatter_is_seen() {
        let settling: Vec<Point> = (0..20)
            .map(|n| [10.0 * (-0.8 * f64::from(n)).exp(), 0.0])
            .collect();
        let lasting = (0..20)
            .filter_map(|at| jump(&settling, at))
            .map(|j| j.lasting_px);
        assert!(lasting.fold(0.0, f64::max) < 0.5);
        let restless: Vec<Point> = (0..40)
            .map(|n| [f64::from(n % 3), f64::from(n % 5) * 0.5])
            .collect();
        assert!(scatter(&restless) > 0.4);
    }
}
