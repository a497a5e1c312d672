//! Pointing and transparency: the same stars from frame to frame.
//!
//! Each frame is matched with one shortly before it, after that one's stars are turned with the sky
//! (or left in place when the mount follows). What is left over is the camera's own step and the
//! change of the stars' light; their sums along the night are shift and transparency.
//!
//! The fitted pole is off by a fraction of a degree and real lenses distort, which leaves a small,
//! steady step in every frame. So the steady part, a running median, is taken out: a tripod that
//! creeps as steadily as the sky itself cannot be told from it.

use super::matching::{Match, Point, match_stars};
use super::turn::optics;
use super::types::Night;
use crate::base::robust;
use crate::measure::FrameMeasure;
use crate::sky::Camera;
use crate::sky::projection::Ray;
use crate::sky::turning::{arc_deg, turned};

/// Stars of a frame that are matched.
const MOST_STARS: usize = 150;
/// How many frames back a match is sought when the one before does not match.
const BACK: usize = 3;
/// Longest time between two matched frames: past it the fitted pole is not good enough.
const LONGEST_S: f64 = 1800.0;
/// Frames on either side that say what the steady step is.
const REACH: usize = 12;
/// A mount that follows moves less than this from frame to frame, px; more is the sky itself.
const FOLLOWS_PX: f64 = 1.0;
/// Trails of a mount that follows are shorter than this, px.
const FOLLOWS_TRAIL_PX: f64 = 1.5;
/// Frames on either side among which the clear ones are sought.
const CLEAR_REACH: usize = 120;
/// Transparency 1 is this quantile of them.
const CLEAR_QUANTILE: f64 = 0.9;
/// With fewer frames than this nothing is said.
const LEAST_FRAMES: usize = 5;

/// Fills shift and transparency of every sky row for which they can be told.
pub(super) fn fill(night: &mut Night) {
    for group in 0..night.groups.len() {
        let Some(motion) = motion(night, group) else {
            continue;
        };
        let frames = frames(night, group);
        let mut links = link(&frames, &motion);
        if links.iter().flatten().count() + 1 < LEAST_FRAMES {
            continue;
        }
        match motion {
            Motion::Turns { .. } => take_steady_part_out(&mut links),
            Motion::Follows { .. } if is_drifting_sky(&links) => continue,
            Motion::Follows { .. } => {}
        }
        let paths = follow(&frames, &links);
        let clear = transparency(&paths);
        for ((frame, path), clear) in frames.iter().zip(&paths).zip(clear) {
            let derived = &mut night.rows[frame.row].derived;
            derived.shift_px = path.map(|path| path.x_px.hypot(path.y_px));
            derived.transparency = clear;
        }
    }
}

/// How stars are expected to move between frames.
enum Motion {
    /// With the sky, over a fixed camera; right-handed about `pole`.
    Turns {
        camera: Camera,
        pole: Ray,
        reach_px: f64,
    },
    /// Not at all.
    Follows { reach_px: f64 },
}

impl Motion {
    fn reach_px(&self) -> f64 {
        match self {
            Self::Turns { reach_px, .. } | Self::Follows { reach_px } => *reach_px,
        }
    }
}

/// One frame's stars.
struct Frame {
    row: usize,
    time_s: Option<f64>,
    stars: Vec<Point>,
}

/// A frame tied to an earlier one.
#[derive(Debug, Clone, Copy)]
struct Link {
    /// Place of the earlier frame.
    from: usize,
    /// Time between them (1 where there is no clock), s.
    seconds: f64,
    /// The camera's step and the change of light.
    step: Match,
}

/// Where a frame is along its chain.
#[derive(Debug, Clone, Copy, Default)]
struct Path {
    x_px: f64,
    y_px: f64,
    ln_flux: f64,
}

fn motion(night: &Night, group: usize) -> Option<Motion> {
    // A hundredth of the width: a knock that leaves the frame usable; 25 px for small frames.
    let reach_px = (0.01 * f64::from(night.groups[group].settings.size_px.0)).max(25.0);
    if let Some(turn) = night.groups[group].turn {
        let camera = optics(night, group)?;
        let pole = sense(night, group, &camera, turn.pole, reach_px)?;
        return Some(Motion::Turns {
            camera,
            pole,
            reach_px,
        });
    }
    let trail = night.groups[group].trail?;
    (trail.median < FOLLOWS_TRAIL_PX).then_some(Motion::Follows { reach_px })
}

fn frames(night: &Night, group: usize) -> Vec<Frame> {
    night.groups[group]
        .rows
        .iter()
        .map(|&row| Frame {
            row,
            time_s: night.rows[row].time_s,
            stars: night.rows[row]
                .measure
                .as_deref()
                .map(points)
                .unwrap_or_default(),
        })
        .collect()
}

fn points(measure: &FrameMeasure) -> Vec<Point> {
    let stars = measure
        .stars
        .iter()
        .filter(|star| !star.flags.at_edge)
        .take(MOST_STARS);
    stars
        .map(|star| Point {
            x_px: f64::from(star.x_px),
            y_px: f64::from(star.y_px),
            ln_flux: (!star.flags.clipped && star.flux > 0.0).then(|| f64::from(star.flux).ln()),
        })
        .collect()
}

/// The fitted pole or its opposite, whichever end the sky turns right-handed about: trails do not
/// tell, two frames do.
fn sense(night: &Night, group: usize, camera: &Camera, pole: Ray, reach_px: f64) -> Option<Ray> {
    const PAIRS: usize = 8;
    let rows = &night.groups[group].rows;
    let every = (rows.len() / PAIRS).max(1);
    let mut matched = [0usize; 2];
    let ends = [pole, pole.map(|part| -part)];
    for pair in rows.windows(2).step_by(every) {
        let (a, b) = (&night.rows[pair[0]], &night.rows[pair[1]]);
        let (Some(before), Some(now)) = (&a.measure, &b.measure) else {
            continue;
        };
        let Some(seconds) = a.time_s.zip(b.time_s).map(|(a, b)| b - a) else {
            continue;
        };
        for (end, count) in ends.iter().zip(&mut matched) {
            let predicted = turn_stars(&points(before), camera, *end, seconds);
            *count += match_stars(&predicted, &points(now), reach_px).map_or(0, |m| m.stars);
        }
    }
    let [first, second] = matched;
    let [pole, opposite] = ends;
    match first.cmp(&second) {
        std::cmp::Ordering::Greater => Some(pole),
        std::cmp::Ordering::Less => Some(opposite),
        std::cmp::Ordering::Equal => None,
    }
}

fn turn_stars(stars: &[Point], camera: &Camera, pole: Ray, seconds: f64) -> Vec<Point> {
    let angle = arc_deg(seconds).to_radians();
    let moved = stars.iter().filter_map(|star| {
        let ray = turned(camera.ray(star.x_px, star.y_px), pole, angle);
        let (x_px, y_px) = camera.pixel(ray)?;
        Some(Point {
            x_px,
            y_px,
            ..*star
        })
    });
    moved.collect()
}

/// Ties each frame to the latest of the last few tied ones that it matches. The first frame with
/// stars begins the chain and has no link.
fn link(frames: &[Frame], motion: &Motion) -> Vec<Option<Link>> {
    let mut links: Vec<Option<Link>> = vec![None; frames.len()];
    let mut tied: Vec<usize> = Vec::new();
    for (place, frame) in frames.iter().enumerate() {
        if frame.stars.is_empty() {
            continue;
        }
        links[place] = tied
            .iter()
            .rev()
            .take(BACK)
            .find_map(|&from| step(frames, from, place, motion));
        if tied.is_empty() || links[place].is_some() {
            tied.push(place);
        }
    }
    links
}

fn step(frames: &[Frame], from: usize, to: usize, motion: &Motion) -> Option<Link> {
    let (before, now) = (&frames[from], &frames[to]);
    let between = before.time_s.zip(now.time_s).map(|(a, b)| b - a);
    let seconds = match motion {
        Motion::Turns { .. } => between.filter(|&seconds| seconds <= LONGEST_S)?,
        Motion::Follows { .. } => between.unwrap_or(1.0),
    };
    let step = match motion {
        Motion::Turns { camera, pole, .. } => {
            let predicted = turn_stars(&before.stars, camera, *pole, seconds);
            match_stars(&predicted, &now.stars, motion.reach_px())
        }
        Motion::Follows { .. } => match_stars(&before.stars, &now.stars, motion.reach_px()),
    }?;
    Some(Link {
        from,
        seconds,
        step,
    })
}

/// Whether what was taken for a mount that follows moves steadily, as the sky does over a fixed
/// camera in exposures too short to trail.
fn is_drifting_sky(links: &[Option<Link>]) -> bool {
    let middle = |of: fn(&Link) -> f64| {
        let mut values: Vec<f64> = links.iter().flatten().map(of).collect();
        robust::median(&mut values).unwrap_or(0.0)
    };
    middle(|link| link.step.x_px).hypot(middle(|link| link.step.y_px)) > FOLLOWS_PX
}

/// Takes the running median rate out of the steps.
fn take_steady_part_out(links: &mut [Option<Link>]) {
    let rates: Vec<Option<(f64, f64)>> = links
        .iter()
        .map(|link| {
            let link = link.as_ref().filter(|link| link.seconds > 0.0)?;
            Some((link.step.x_px / link.seconds, link.step.y_px / link.seconds))
        })
        .collect();
    for (place, link) in links.iter_mut().enumerate() {
        let Some(link) = link else { continue };
        let near = &rates[place.saturating_sub(REACH)..(place + REACH + 1).min(rates.len())];
        let mut along_x: Vec<f64> = near.iter().flatten().map(|rate| rate.0).collect();
        let mut along_y: Vec<f64> = near.iter().flatten().map(|rate| rate.1).collect();
        link.step.x_px -= robust::median(&mut along_x).unwrap_or(0.0) * link.seconds;
        link.step.y_px -= robust::median(&mut along_y).unwrap_or(0.0) * link.seconds;
    }
}

/// Sums steps along the chain; `None` for frames that are not tied to its first.
fn follow(frames: &[Frame], links: &[Option<Link>]) -> Vec<Option<Path>> {
    let first = frames.iter().position(|frame| !frame.stars.is_empty());
    let mut paths: Vec<Option<Path>> = vec![None; frames.len()];
    for (place, link) in links.iter().enumerate() {
        paths[place] = match link {
            Some(link) => paths[link.from].map(|from| Path {
                x_px: from.x_px + link.step.x_px,
                y_px: from.y_px + link.step.y_px,
                ln_flux: from.ln_flux + link.step.ln_ratio.unwrap_or(0.0),
            }),
            None => (first == Some(place)).then(Path::default),
        };
    }
    paths
}

/// Flux along the chain over that of the clear frames around.
fn transparency(paths: &[Option<Path>]) -> Vec<Option<f64>> {
    (0..paths.len())
        .map(|place| {
            let path = paths[place]?;
            let end = (place + CLEAR_REACH + 1).min(paths.len());
            let around = &paths[place.saturating_sub(CLEAR_REACH)..end];
            let mut fluxes: Vec<f64> = around.iter().flatten().map(|path| path.ln_flux).collect();
            let clear = robust::quantile(&mut fluxes, CLEAR_QUANTILE)?;
            Some((path.ln_flux - clear).exp())
        })
        .collect()
}
