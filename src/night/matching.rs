//! The same stars in two frames.

use crate::base::robust;

/// One star, for matching.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    /// Place, px.
    pub x_px: f64,
    /// Place, px.
    pub y_px: f64,
    /// Natural logarithm of its flux; `None` when its core is clipped and the flux says nothing.
    pub ln_flux: Option<f64>,
}

/// One frame's stars in the two orders that matching asks for.
#[derive(Debug, Clone, Default)]
pub(super) struct StarList {
    brightest_first: Vec<Point>,
    by_x: Vec<Point>,
}

impl StarList {
    /// From stars with the brightest first.
    pub(super) fn new(brightest_first: Vec<Point>) -> Self {
        let mut by_x = brightest_first.clone();
        by_x.sort_by(|a, b| a.x_px.total_cmp(&b.x_px));
        Self {
            brightest_first,
            by_x,
        }
    }

    /// The stars, brightest first.
    pub(super) fn brightest_first(&self) -> &[Point] {
        &self.brightest_first
    }

    /// Whether there are none.
    pub(super) fn is_empty(&self) -> bool {
        self.by_x.is_empty()
    }
}

/// What two frames' common stars say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Match {
    /// How far right of the prediction they are, median, px.
    pub x_px: f64,
    /// How far below.
    pub y_px: f64,
    /// Median change of ln flux; `None` when all are clipped.
    pub ln_ratio: Option<f64>,
    /// How many stars matched.
    pub stars: usize,
}

/// Stars this near the prediction (once the common shift is found) are the same, px.
const NEAR_PX: f64 = 3.0;
/// Bright stars that vote on the common shift.
const VOTERS: usize = 60;
/// Width of a bin of votes, px.
const BIN_PX: f64 = 2.0;
/// Fewest stars that make a match…
const LEAST_STARS: usize = 8;
/// …and their least share of the shorter list.
const LEAST_SHARE: f64 = 0.25;
/// A share that needs no vote on another shift.
const SURE_SHARE: f64 = 0.6;

/// Matches where stars are predicted, brightest first, with where they are seen. A
/// common shift up to `reach_px` each way is found. `None` when too few agree.
pub(super) fn match_stars(predicted: &[Point], seen: &StarList, reach_px: f64) -> Option<Match> {
    let found = common_stars(predicted, seen, reach_px)?;
    let middle = |of: fn(&(Point, Point)) -> Option<f64>| {
        let mut values: Vec<f64> = found.iter().filter_map(of).collect();
        robust::median(&mut values)
    };
    Some(Match {
        x_px: middle(|(a, b)| Some(b.x_px - a.x_px))?,
        y_px: middle(|(a, b)| Some(b.y_px - a.y_px))?,
        ln_ratio: middle(|(a, b)| Some(b.ln_flux? - a.ln_flux?)),
        stars: found.len(),
    })
}

/// The pairs (predicted, seen) behind [`match_stars`], brightest first.
pub(super) fn common_stars(
    predicted: &[Point],
    seen: &StarList,
    reach_px: f64,
) -> Option<Vec<(Point, Point)>> {
    let shorter = predicted.len().min(seen.by_x.len());
    if shorter < LEAST_STARS {
        return None;
    }
    let share = |pairs: usize| pairs as f64 / shorter as f64;
    let unmoved = pairs(predicted, &seen.by_x, (0.0, 0.0));
    let found = if share(unmoved.len()) >= SURE_SHARE {
        unmoved
    } else {
        let shift = vote(predicted, &seen.brightest_first, reach_px)?;
        pairs(predicted, &seen.by_x, shift)
    };
    let enough = found.len() >= LEAST_STARS && share(found.len()) >= LEAST_SHARE;
    enough.then_some(found)
}

/// Each predicted star with the nearest seen within [`NEAR_PX`] of it moved by `shift`; `by_x` is
/// sorted by x.
fn pairs(predicted: &[Point], by_x: &[Point], shift: (f64, f64)) -> Vec<(Point, Point)> {
    predicted
        .iter()
        .filter_map(|&star| {
            let (x, y) = (star.x_px + shift.0, star.y_px + shift.1);
            let first = by_x.partition_point(|other| other.x_px < x - NEAR_PX);
            by_x[first..]
                .iter()
                .take_while(|other| other.x_px <= x + NEAR_PX)
                .map(|&other| ((other.x_px - x).hypot(other.y_px - y), other))
                .filter(|(away, _)| *away <= NEAR_PX)
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(_, other)| (star, other))
        })
        .collect()
}

/// The shift on which most pairs of bright stars agree, from a two-dimensional histogram.
fn vote(predicted: &[Point], seen: &[Point], reach_px: f64) -> Option<(f64, f64)> {
    let across = (2.0 * reach_px / BIN_PX).ceil() as usize + 1;
    let mut votes = vec![0u16; across * across];
    for a in predicted.iter().take(VOTERS) {
        for b in seen.iter().take(VOTERS) {
            let (x, y) = (b.x_px - a.x_px, b.y_px - a.y_px);
            if x.abs() <= reach_px && y.abs() <= reach_px {
                let (column, row) = ((x + reach_px) / BIN_PX, (y + reach_px) / BIN_PX);
                let bin =
                    (row as usize).min(across - 1) * across + (column as usize).min(across - 1);
                votes[bin] += 1;
            }
        }
    }
    // Four bins together, so that a shift on a bin's edge does not split its votes.
    let mut best = (0u16, 0usize, 0usize);
    for row in 0..across - 1 {
        for column in 0..across - 1 {
            let first = row * across + column;
            let sum =
                votes[first] + votes[first + 1] + votes[first + across] + votes[first + across + 1];
            if sum > best.0 {
                best = (sum, column, row);
            }
        }
    }
    let (sum, column, row) = best;
    let centre = |bin: usize| (bin + 1) as f64 * BIN_PX - reach_px;
    (usize::from(sum) >= LEAST_STARS).then(|| (centre(column), centre(row)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn sky(count: usize) -> Vec<Point> {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        (0..count)
            .map(|_| Point {
                x_px: 1600.0 * rng.random::<f64>(),
                y_px: 1067.0 * rng.random::<f64>(),
                ln_flux: Some(0.0),
            })
            .collect()
    }

    fn moved(stars: &[Point], x: f64, y: f64, ln_flux: f64) -> Vec<Point> {
        stars
            .iter()
            .map(|star| Point {
                x_px: star.x_px + x,
                y_px: star.y_px + y,
                ln_flux: star.ln_flux.map(|flux| flux + ln_flux),
            })
            .collect()
    }

    #[test]
    fn finds_small_and_large_shifts() {
        let stars = sky(150);
        for (x, y) in [(0.2, -0.1), (2.9, 0.0), (-14.3, 21.7), (24.0, -24.0)] {
            // A third of the stars is not in both frames.
            let seen = StarList::new(moved(&stars[..100], x, y, -0.4));
            let got = match_stars(&stars, &seen, 25.0).unwrap();
            assert!(
                (got.x_px - x).abs() < 0.01 && (got.y_px - y).abs() < 0.01,
                "{x} {y}: {got:?}"
            );
            assert!((got.ln_ratio.unwrap() + 0.4).abs() < 0.01);
            assert!(got.stars >= 95);
        }
    }

    #[test]
    fn another_sky_is_no_match() {
        let stars = sky(300);
        let list = |stars: &[Point]| StarList::new(stars.to_vec());
        assert_eq!(match_stars(&stars[..150], &list(&stars[150..]), 25.0), None);
        assert_eq!(match_stars(&stars[..5], &list(&stars[..5]), 25.0), None);
        assert_eq!(match_stars(&[], &list(&stars), 25.0), None);
    }
}
