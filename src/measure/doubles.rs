//! Stars that show two peaks, all the same way apart: a knock during the exposure.
//!
//! Pairs of detections vote for the displacement between them. In a field of single stars the votes
//! are even; a knock heaps the votes of most stars in one place.

use super::blobs::Blob;
use super::stars::Measured;
use super::types::{DoublePeak, Star};

/// Displacements up to this, px along each axis, are looked at …
const REACH: i32 = 40;

/// … and below this, px, two peaks are one.
const LEAST_PX: f64 = 3.0;

/// Votes within this of a displacement, px along each axis, count for it: peaks are placed to about
/// 0.5 px, and the sky's own turning adds a little that differs over the frame.
const SLACK_PX: i32 = 2;

/// The brightest of this many detections vote: the lesser peak of a faint star drowns.
const VOTERS: usize = 3;

/// Most detections that vote; more say nothing new.
const MOST_VOTERS: usize = 1500;

/// The lesser peak has at least this share of the greater one's height.
const LEAST_RATIO: f32 = 0.15;

/// Fewer pairs than this tell nothing.
const LEAST_PAIRS: f64 = 12.0;

/// Most of the stars …
const LEAST_SHARE: f64 = 0.5;

/// … and this many standard deviations above the chance level.
const LEAST_SIGMA: f64 = 8.0;

/// One pair's displacement, from the brighter to the lesser.
#[derive(Debug, Clone, Copy)]
struct Vote {
    dx: f64,
    dy: f64,
    /// Both vote, so their star was counted twice.
    both: bool,
}

/// The displacement that most stars share, if there is one.
pub(super) fn double_peak(blobs: &[Blob]) -> Option<DoublePeak> {
    let mut order: Vec<&Blob> = blobs.iter().collect();
    order.sort_by(|a, b| b.peak.total_cmp(&a.peak));
    let voters = (order.len() / VOTERS).min(MOST_VOTERS);
    let votes = votes(&order, voters);
    let heap = heap(&votes)?;
    // Those near the heap's middle, which the mean of the votes places better than the cells do.
    let mut middle = (f64::from(heap.0), f64::from(heap.1));
    let mut near: Vec<Vote> = Vec::new();
    for _ in 0..3 {
        near.clear();
        near.extend(votes.iter().filter_map(|v| v.near(middle)));
        let n = near.len() as f64;
        if near.is_empty() {
            return None;
        }
        middle = (
            near.iter().map(|v| v.dx).sum::<f64>() / n,
            near.iter().map(|v| v.dy).sum::<f64>() / n,
        );
    }
    // Votes lie on both sides of the origin, as places of either peak about the other.
    let side = f64::from(2 * SLACK_PX + 1);
    let whole = f64::from(2 * REACH + 1).powi(2) - std::f64::consts::PI * LEAST_PX * LEAST_PX;
    let pairs = near.len() as f64;
    let others = 2.0 * (votes.len() as f64 - pairs);
    let chance = others * side * side / (whole - 2.0 * side * side);
    let excess = pairs - chance;
    let twice = near.iter().filter(|v| v.both).count();
    let stars = voters.saturating_sub(twice).max(1) as f64;
    let share = excess / stars;
    let is_sure = excess >= LEAST_PAIRS
        && share >= LEAST_SHARE
        && excess >= LEAST_SIGMA * chance.max(1.0).sqrt();
    let sign = if middle.0 < 0.0 { -1.0 } else { 1.0 };
    is_sure.then(|| DoublePeak {
        dx_px: sign * middle.0,
        dy_px: sign * middle.1,
        share: share.min(1.0),
    })
}

impl Vote {
    /// This vote or its reverse, whichever lies at `middle`.
    fn near(self, middle: (f64, f64)) -> Option<Self> {
        let reverse = Self {
            dx: -self.dx,
            dy: -self.dy,
            ..self
        };
        let slack = f64::from(SLACK_PX) + 0.5;
        [self, reverse]
            .into_iter()
            .find(|v| (v.dx - middle.0).abs() <= slack && (v.dy - middle.1).abs() <= slack)
    }
}

/// Displacements from each of the first `voters` of `order`, brightest first, to every lesser
/// detection near it.
fn votes(order: &[&Blob], voters: usize) -> Vec<Vote> {
    let reach = f64::from(REACH);
    let mut rows: Vec<(f64, usize)> = order.iter().map(|b| b.y).zip(0..).collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out = Vec::new();
    for (index, blob) in order.iter().enumerate().take(voters) {
        let from = rows.partition_point(|row| row.0 < blob.y - reach);
        let close = rows
            .iter()
            .skip(from)
            .take_while(|row| row.0 <= blob.y + reach);
        for &(_, other) in close.filter(|row| row.1 > index) {
            let Some(lesser) = order.get(other) else {
                continue;
            };
            let (dx, dy) = (lesser.x - blob.x, lesser.y - blob.y);
            let is_close = dx.abs() <= reach && dx.hypot(dy) >= LEAST_PX;
            if is_close && lesser.peak >= LEAST_RATIO * blob.peak {
                out.push(Vote {
                    dx,
                    dy,
                    both: other < voters,
                });
            }
        }
    }
    out
}

/// Middle of the square of displacements that holds most votes.
fn heap(votes: &[Vote]) -> Option<(i32, i32)> {
    let side = (2 * REACH + 1) as usize;
    let mut cells = vec![0_u32; side * side];
    let cell = |x: i32, y: i32| {
        let at = |v: i32| usize::try_from(v + REACH).ok().filter(|&v| v < side);
        Some(at(y)? * side + at(x)?)
    };
    for vote in votes {
        let (x, y) = (vote.dx.round() as i32, vote.dy.round() as i32);
        for (x, y) in [(x, y), (-x, -y)] {
            if let Some(count) = cell(x, y).and_then(|at| cells.get_mut(at)) {
                *count += 1;
            }
        }
    }
    let votes_about = |x: i32, y: i32| -> u32 {
        (-SLACK_PX..=SLACK_PX)
            .flat_map(|v| (-SLACK_PX..=SLACK_PX).map(move |u| (x + u, y + v)))
            .filter_map(|(x, y)| cell(x, y).and_then(|at| cells.get(at)))
            .sum()
    };
    // One half of the plane says it all: the other is its reverse.
    (-REACH..=REACH)
        .flat_map(|y| (0..=REACH).map(move |x| (x, y)))
        .max_by_key(|&(x, y)| votes_about(x, y))
        .filter(|&(x, y)| votes_about(x, y) > 0)
}

/// The stars among `measured`, brightest first, both of whose peaks are there, each as one: with the
/// light of both and its place between them. No path is known of them, so they count as unsettled.
pub(super) fn joined(measured: &[Measured], double: DoublePeak) -> Vec<Star> {
    let mut rows: Vec<(f32, usize)> = measured.iter().map(|m| m.star.y_px).zip(0..).collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut free = vec![true; measured.len()];
    let reach = double.dy_px.abs() as f32 + SLACK_PX as f32;
    let mut out = Vec::new();
    for (index, m) in measured.iter().enumerate() {
        let from = rows.partition_point(|row| row.0 < m.star.y_px - reach);
        let partner = rows
            .iter()
            .skip(from)
            .take_while(|row| row.0 <= m.star.y_px + reach)
            .filter(|row| row.1 > index && free.get(row.1) == Some(&true))
            .filter_map(|row| Some((off(m.star, measured.get(row.1)?.star, double), row.1)))
            .filter(|(off, _)| *off <= f64::from(SLACK_PX))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .filter(|_| free.get(index) == Some(&true));
        let Some((_, other)) = partner else { continue };
        if let (Some(flag), Some(second)) = (free.get_mut(other), measured.get(other)) {
            *flag = false;
            out.push(both(m.star, second.star));
        }
    }
    out
}

/// How far two stars are from being the two peaks of one, px.
fn off(a: Star, b: Star, double: DoublePeak) -> f64 {
    let (dx, dy) = (f64::from(b.x_px - a.x_px), f64::from(b.y_px - a.y_px));
    let one_way = (dx - double.dx_px).hypot(dy - double.dy_px);
    one_way.min((dx + double.dx_px).hypot(dy + double.dy_px))
}

fn both(a: Star, b: Star) -> Star {
    let flux = a.flux + b.flux;
    let mean = |of_a: f32, of_b: f32| (of_a * a.flux + of_b * b.flux) / flux.max(f32::MIN_POSITIVE);
    let flags = super::StarFlags {
        clipped: a.flags.clipped || b.flags.clipped,
        at_edge: a.flags.at_edge || b.flags.at_edge,
        blended: a.flags.blended && b.flags.blended,
        unsettled: true,
    };
    Star {
        x_px: mean(a.x_px, b.x_px),
        y_px: mean(a.y_px, b.y_px),
        flux,
        peak: a.peak.max(b.peak),
        snr: a.snr.hypot(b.snr),
        flags,
        ..a
    }
}

#[cfg(test)]
mod tests {
    use super::super::greens::BAYER;
    use super::super::scene::{Scene, Truth, random_stars};
    use super::super::{FrameMeasure, Scratch, measure};
    use super::*;

    const SIZE: (usize, usize) = (700, 500);

    /// A frame of `count` stars, moved by `knock` when `part` of the light has come.
    fn frame(seed: u64, count: usize, knock: Option<((f64, f64), f64)>) -> FrameMeasure {
        let mut scene = Scene::sky(SIZE.0, SIZE.1, 400.0);
        let like = Truth {
            x: 0.0,
            y: 0.0,
            flux: 0.0,
            sigma: 1.0,
            length: 3.0,
            angle_deg: 25.0,
        };
        for star in random_stars(seed, count, SIZE, (1_500.0, 90_000.0), like) {
            let ((dx, dy), part) = knock.unwrap_or(((0.0, 0.0), 1.0));
            scene.draw(Truth {
                flux: part * star.flux,
                ..star
            });
            if part < 1.0 {
                scene.draw(Truth {
                    x: star.x + dx,
                    y: star.y + dy,
                    flux: (1.0 - part) * star.flux,
                    ..star
                });
            }
        }
        measure(&scene.expose(3.0, BAYER, seed), &mut Scratch::default())
    }

    #[test]
    fn a_knock_is_seen_and_its_pairs_count_once() {
        for (seed, knock, part) in [
            (1, (8.0, 5.0), 0.6),
            (2, (-7.0, 6.0), 0.5),
            (3, (0.3, 11.0), 0.35),
            (4, (25.0, -18.0), 0.7),
        ] {
            let single = frame(seed, 150, None);
            let got = frame(seed, 150, Some((knock, part)));
            let double = got.double_peak.unwrap();
            let sign = if knock.0 < 0.0 { -1.0 } else { 1.0 };
            let off = (double.dx_px - sign * knock.0).hypot(double.dy_px - sign * knock.1);
            assert!(off < 0.5, "{knock:?}: {double:?}");
            assert!(double.share > 0.7, "{double:?}");
            assert!(got.trail.is_none() && got.field.cells.is_empty());
            let (count, want) = (f64::from(got.star_count), f64::from(single.star_count));
            assert!((count / want - 1.0).abs() < 0.1, "{count} of {want}");
            // Whole stars have all their light.
            let mut ratios: Vec<f64> = Vec::new();
            for star in got.stars.iter().filter(|s| s.snr > 50.0) {
                let (x, y) = (
                    f64::from(star.x_px) - (1.0 - part) * knock.0,
                    f64::from(star.y_px) - (1.0 - part) * knock.1,
                );
                let near = |s: &&Star| (f64::from(s.x_px) - x).hypot(f64::from(s.y_px) - y) < 1.0;
                if let Some(same) = single.stars.iter().find(near) {
                    ratios.push(f64::from(star.flux / same.flux));
                }
            }
            assert!(ratios.len() > 20, "{}", ratios.len());
            let ratio = crate::base::robust::median(&mut ratios).unwrap();
            assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
        }
    }

    #[test]
    fn single_stars_never_pair_however_crowded() {
        for (seed, count) in [(5, 60), (6, 300), (7, 1_500), (8, 6_000)] {
            let got = frame(seed, count, None);
            assert_eq!(got.double_peak, None, "{count}");
        }
    }
}
