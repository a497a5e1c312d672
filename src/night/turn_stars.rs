//! The pole from stars matched over minutes.
//!
//! One exposure's trails give the pole to about a degree when it is far outside the frame; the
//! same stars some minutes apart have moved a hundred times as far and give it a hundred times as
//! well. The field's pole predicts where they are; longer and longer spans are matched as it gets
//! better. Focal length is taken as known and the lens as rectilinear: distortion that is not ends
//! up in the pole.

use super::matching::{Point, common_stars};
use super::stars::{Frame, reach_px, seconds_between, turn_stars};
use crate::base::linalg::solve;
use crate::base::robust;
use crate::sky::Camera;
use crate::sky::projection::{Ray, angle_deg};
use crate::sky::turning::{arc_deg, turned};

/// Time between the two frames of a pair, s, in each round…
const SPANS_S: [f64; 3] = [120.0, 480.0, 1500.0];
/// …and its largest share of the group's own time, so that few pairs stand across a knock.
const SPAN_SHARE: f64 = 0.25;
/// Pairs of frames in a round, spread over the group.
const PAIRS: usize = 12;
/// Brightest common stars of a pair that are used.
const STARS: usize = 50;
/// Distance from which a star pulls no harder, px.
const HUBER_PX: f64 = 1.0;
/// Pairs of frames whose stars are off by this many times the usual stand across a knock.
const KNOCKED: f64 = 3.0;
/// Off by less than this, px, is no knock.
const KNOCKED_LEAST_PX: f64 = 0.5;
/// A fit is believed when half the stars lie this near their prediction, px.
const BELIEVED_PX: f64 = 1.5;
/// The field's pole is not off by more than this.
const FARTHEST_DEG: f64 = 6.0;

/// One star in two frames.
#[derive(Debug)]
struct Pair {
    /// Where it was, as a direction.
    from: Ray,
    /// How far the sky turned since, rad.
    turn_rad: f64,
    /// Where it is.
    to: (f64, f64),
}

/// The pole about which the stars of `frames` turn right-handed, from a first guess within a few
/// degrees; `None` when they do not match well enough to better it.
pub(super) fn refine(frames: &[Frame], camera: &Camera, guess: Ray) -> Option<Ray> {
    let times = || frames.iter().filter_map(|frame| frame.time_s);
    let (first, last) = (times().next()?, times().next_back()?);
    let longest = SPAN_SHARE * (last - first);
    let mut best = None;
    let mut pole = guess;
    for span_s in SPANS_S {
        let pairs = pairs(frames, camera, pole, span_s.min(longest));
        if pairs.iter().map(Vec::len).sum::<usize>() < STARS {
            break;
        }
        let fitted = fit(&pairs, camera, pole);
        // Once more without the pairs across a knock, which the first fit shows.
        let unmoved = without_knocked(pairs, camera, fitted);
        let fitted = fit(&unmoved, camera, fitted);
        let off = unmoved
            .iter()
            .filter_map(|pair| off_px(pair, camera, fitted));
        let middle = robust::median(&mut off.collect::<Vec<_>>());
        let believed = middle.is_some_and(|middle| middle <= BELIEVED_PX);
        if !believed || angle_deg(fitted, guess) > FARTHEST_DEG {
            break;
        }
        pole = fitted;
        best = Some(fitted);
        if span_s >= longest {
            break;
        }
    }
    best
}

fn without_knocked(pairs: Vec<Vec<Pair>>, camera: &Camera, pole: Ray) -> Vec<Vec<Pair>> {
    let off: Vec<Option<f64>> = pairs
        .iter()
        .map(|pair| off_px(pair, camera, pole))
        .collect();
    let mut known: Vec<f64> = off.iter().flatten().copied().collect();
    let usual = robust::median(&mut known).unwrap_or(0.0);
    let limit = (KNOCKED * usual).max(KNOCKED_LEAST_PX);
    let kept = pairs
        .into_iter()
        .zip(off)
        .filter(|(_, off)| off.is_some_and(|off| off <= limit));
    kept.map(|(pair, _)| pair).collect()
}

/// Median distance of one pair's stars from their prediction, px.
fn off_px(pair: &[Pair], camera: &Camera, pole: Ray) -> Option<f64> {
    let mut off: Vec<f64> = pair
        .iter()
        .filter_map(|star| residual(star, camera, pole))
        .map(|[x, y]| x.hypot(y))
        .collect();
    robust::median(&mut off)
}

/// For each of some frames, its common stars with the frame about `span_s` later.
fn pairs(frames: &[Frame], camera: &Camera, pole: Ray, span_s: f64) -> Vec<Vec<Pair>> {
    let every = (frames.len() / PAIRS).max(1);
    let places = (0..frames.len()).step_by(every);
    places
        .filter_map(|place| common_pairs(&frames[place..], camera, pole, span_s))
        .collect()
}

fn common_pairs(frames: &[Frame], camera: &Camera, pole: Ray, span_s: f64) -> Option<Vec<Pair>> {
    let (before, later) = frames.split_first()?;
    // Half the span at least: the end of the group has no frame that is a whole one later.
    let within = |now: &&Frame| {
        let seconds = seconds_between(before, now);
        seconds.is_some_and(|s| (0.5 * span_s..=span_s).contains(&s)) && !now.stars.is_empty()
    };
    let now = later.iter().rfind(within)?;
    let seconds = seconds_between(before, now)?;
    let turn_rad = arc_deg(seconds).to_radians();
    let predicted = turn_stars(&before.stars, camera, pole, seconds);
    let common = common_stars(&predicted, &now.stars, reach_px(camera.width_px))?;
    let pair = |(star, seen): &(Point, Point)| Pair {
        // Turned back from its prediction it is where it was.
        from: turned(camera.ray(star.x_px, star.y_px), pole, -turn_rad),
        turn_rad,
        to: (seen.x_px, seen.y_px),
    };
    Some(common.iter().take(STARS).map(pair).collect())
}

fn residual(pair: &Pair, camera: &Camera, pole: Ray) -> Option<[f64; 2]> {
    let (x, y) = camera.pixel(turned(pair.from, pole, pair.turn_rad))?;
    Some([x - pair.to.0, y - pair.to.1])
}

/// Gauss–Newton on the pole's two angles, stars weighted by Huber's rule.
fn fit(pairs: &[Vec<Pair>], camera: &Camera, mut pole: Ray) -> Ray {
    const STEP: f64 = 1e-6;
    for _ in 0..10 {
        let moved = [
            super::turn_fit::tilted(pole, [STEP, 0.0]),
            super::turn_fit::tilted(pole, [0.0, STEP]),
        ];
        let mut normal = [[0.0; 2]; 2];
        let mut right = [0.0; 2];
        for pair in pairs.iter().flatten() {
            let here = residual(pair, camera, pole);
            let there = moved.map(|moved| residual(pair, camera, moved));
            let (Some(here), [Some(a), Some(b)]) = (here, there) else {
                continue;
            };
            let weight = HUBER_PX / here[0].hypot(here[1]).max(HUBER_PX);
            for part in 0..2 {
                let slope = [(a[part] - here[part]) / STEP, (b[part] - here[part]) / STEP];
                for i in 0..2 {
                    right[i] -= weight * slope[i] * here[part];
                    for j in 0..2 {
                        normal[i][j] += weight * slope[i] * slope[j];
                    }
                }
            }
        }
        let Some(step) = solve(normal, right) else {
            return pole;
        };
        pole = super::turn_fit::tilted(pole, step);
        if step[0].hypot(step[1]) < 1e-9 {
            break;
        }
    }
    pole
}
