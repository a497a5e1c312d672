//! Pointing and transparency: the same stars from frame to frame.
//!
//! Each frame is matched with one shortly before it, after that one's stars are turned with the sky
//! (or left in place when the mount follows). What is left over is the camera's own step and the
//! change of the stars' light; their sums along the night are shift and transparency.
//!
//! The fitted pole is off by a fraction of a degree and real lenses distort, which leaves a small,
//! steady step in every frame. So the steady part, a running median, is taken out: a tripod that
//! creeps as steadily as the sky itself cannot be told from it.

use super::matching::{Match, match_stars};
use super::stars::{Frame, frames, reach_px, seconds_between, sense, turn_stars};
use super::turn::optics;
use super::types::Night;
use crate::base::robust;
use crate::sky::Camera;
use crate::sky::projection::Ray;

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
        let frames = frames(night, group);
        let Some(motion) = motion(night, group, &frames) else {
            continue;
        };
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
            derived.shift_xy_px = path.map(|path| [path.x_px, path.y_px]);
            derived.transparency = clear;
        }
    }
}

/// How stars are expected to move between frames.
enum Motion {
    /// With the sky, over a fixed camera; right-handed about `pole`.
    Turns { camera: Camera, pole: Ray },
    /// Not at all.
    Follows { reach_px: f64 },
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

fn motion(night: &Night, group: usize, frames: &[Frame]) -> Option<Motion> {
    if let Some(turn) = night.groups[group].turn {
        let camera = optics(night, group)?;
        let pole = sense(frames, &camera, turn.pole)?;
        return Some(Motion::Turns { camera, pole });
    }
    let trail = night.groups[group].trail?;
    let reach_px = reach_px(f64::from(night.groups[group].settings.size_px.0));
    (trail.median < FOLLOWS_TRAIL_PX).then_some(Motion::Follows { reach_px })
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
    let between = seconds_between(before, now);
    let (seconds, step) = match motion {
        Motion::Turns { camera, pole } => {
            let seconds = between.filter(|&seconds| seconds <= LONGEST_S)?;
            let predicted = turn_stars(&before.stars, camera, *pole, seconds);
            (
                seconds,
                match_stars(&predicted, &now.stars, reach_px(camera.width_px))?,
            )
        }
        Motion::Follows { reach_px } => (
            between.unwrap_or(1.0),
            match_stars(before.stars.brightest_first(), &now.stars, *reach_px)?,
        ),
    };
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
