//! The stars each frame keeps, and where the sky takes them.

use super::matching::{Point, StarList, match_stars};
use super::types::Night;
use crate::measure::FrameMeasure;
use crate::sky::Camera;
use crate::sky::projection::Ray;
use crate::sky::turning::{arc_deg, turned_by};

/// Stars of a frame that are matched.
const MOST_STARS: usize = 100;

/// One frame's stars.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    /// Its row in the night.
    pub row: usize,
    /// Start of its exposure, s.
    pub time_s: Option<f64>,
    /// Its stars.
    pub stars: StarList,
}

/// The sky rows of a group with their stars, in order.
pub(super) fn frames(night: &Night, group: usize) -> Vec<Frame> {
    night.groups[group]
        .rows
        .iter()
        .map(|&row| Frame {
            row,
            time_s: night.rows[row].time_s,
            stars: night.rows[row]
                .measure
                .as_deref()
                .map(|measure| points(measure, MOST_STARS))
                .unwrap_or_default(),
        })
        .collect()
}

/// Up to `most` of a frame's stars, those at its edge left out.
pub(super) fn points(measure: &FrameMeasure, most: usize) -> StarList {
    let stars = measure
        .stars
        .iter()
        .filter(|star| !star.flags.at_edge)
        .take(most);
    let points = stars.map(|star| Point {
        x_px: f64::from(star.x_px),
        y_px: f64::from(star.y_px),
        ln_flux: (!star.flags.clipped && star.flux > 0.0).then(|| f64::from(star.flux).ln()),
    });
    StarList::new(points.collect())
}

/// How far from their prediction the same stars are sought, px: a hundredth of the frame's width
/// is a knock that leaves the frame usable; 25 px for small frames.
pub(super) fn reach_px(width_px: f64) -> f64 {
    (0.01 * width_px).max(25.0)
}

/// Where `stars` are after the sky has turned right-handed about `pole` for `seconds`.
pub(super) fn turn_stars(stars: &StarList, camera: &Camera, pole: Ray, seconds: f64) -> Vec<Point> {
    let angle = arc_deg(seconds).to_radians().sin_cos();
    let moved = stars.brightest_first().iter().filter_map(|star| {
        let ray = turned_by(camera.ray(star.x_px, star.y_px), pole, angle);
        let (x_px, y_px) = camera.pixel(ray)?;
        Some(Point {
            x_px,
            y_px,
            ..*star
        })
    });
    moved.collect()
}

/// `pole` or its opposite, whichever end the sky turns right-handed about: trails do not tell, two
/// frames do. `None` when no frames match.
pub(super) fn sense(frames: &[Frame], camera: &Camera, pole: Ray) -> Option<Ray> {
    const PAIRS: usize = 8;
    // A slow sky leaves both ends within reach of a match: the one that needs the lesser push is right.
    const AS_MANY: f64 = 0.8;
    let reach_px = reach_px(camera.width_px);
    let opposite = pole.map(|part| -part);
    let every = (frames.len() / PAIRS).max(1);
    let mut votes = [0usize; 2];
    for pair in frames.windows(2).step_by(every) {
        let (before, now) = (&pair[0], &pair[1]);
        let Some(seconds) = seconds_between(before, now) else {
            continue;
        };
        let matched = [pole, opposite].map(|end| {
            let predicted = turn_stars(&before.stars, camera, end, seconds);
            match_stars(&predicted, &now.stars, reach_px).map_or((0.0, f64::INFINITY), |m| {
                (m.stars as f64, m.x_px.hypot(m.y_px))
            })
        });
        let [(stars, push), (other_stars, other_push)] = matched;
        if stars > 0.0 && stars >= AS_MANY * other_stars && push < other_push {
            votes[0] += 1;
        } else if other_stars > 0.0 && other_stars >= AS_MANY * stars && other_push < push {
            votes[1] += 1;
        }
    }
    match votes[0].cmp(&votes[1]) {
        std::cmp::Ordering::Greater => Some(pole),
        std::cmp::Ordering::Less => Some(opposite),
        std::cmp::Ordering::Equal => None,
    }
}

/// Time from one frame's start to the other's, s.
pub(super) fn seconds_between(before: &Frame, now: &Frame) -> Option<f64> {
    Some(now.time_s? - before.time_s?)
}
