//! Transparency by part of the frame: where cloud is, and how thick.
//!
//! Only for frames that show some sign of lost light: each is matched with the nearest clear frame
//! before and after it, and the change of the stars' light is taken in three by three parts of the
//! frame. Before and after have opposite errors from stars that came nearer to a corner or farther.

use super::matching::{Point, common_stars};
use super::stars::{Frame, frames, reach_px, seconds_between, sense, turn_stars};
use super::turn::optics;
use super::types::Night;
use crate::base::robust::median;
use crate::sky::Camera;
use crate::sky::projection::Ray;

/// Parts along either side of the frame.
const SIDE: usize = 3;
/// A frame has signs of cloud below this share of the light…
const DIM: f64 = 0.93;
/// …or of the stars around…
const FEW: f64 = 0.88;
/// …or with a sky off by this share.
const SKY_OFF: f64 = 0.03;
/// Clear frames at most so far away, s.
const LONGEST_S: f64 = 1500.0;
/// Fewer stars do not speak for a part.
const LEAST_STARS: usize = 3;

/// Fills the clear parts of the rows of every group whose turning is known.
pub(super) fn fill(night: &mut Night) {
    for group in 0..night.groups.len() {
        let Some(told) = of_group(night, group) else {
            continue;
        };
        for (row, parts) in told {
            if let Some(row) = night.rows.get_mut(row) {
                row.derived.clear_parts = parts;
            }
        }
    }
}

type Parts = [Option<f32>; SIDE * SIDE];

fn of_group(night: &Night, group: usize) -> Option<Vec<(usize, Parts)>> {
    let dim: Vec<bool> = night
        .groups
        .get(group)?
        .rows
        .iter()
        .map(|&row| has_signs(night, row))
        .collect();
    (dim.contains(&true) && dim.contains(&false)).then_some(())?;
    let frames = frames(night, group);
    let camera = optics(night, group)?;
    let pole = sense(&frames, &camera, night.groups.get(group)?.turn?.pole)?;
    let sky = Sky { camera, pole };
    let mut told = Vec::new();
    for (place, frame) in frames
        .iter()
        .enumerate()
        .filter(|(at, _)| dim.get(*at) == Some(&true))
    {
        let clear = |at: &usize| dim.get(*at) == Some(&false);
        let before = (0..place).rev().find(clear).and_then(|at| frames.get(at));
        let after = (place + 1..frames.len())
            .find(clear)
            .and_then(|at| frames.get(at));
        let sides: Vec<[Vec<f64>; SIDE * SIDE]> = [before, after]
            .into_iter()
            .flatten()
            .filter_map(|clear| sky.changes(clear, frame))
            .collect();
        told.push((frame.row, parts(sides)));
    }
    Some(told)
}

fn has_signs(night: &Night, row: usize) -> bool {
    let Some(row) = night.rows.get(row) else {
        return false;
    };
    let Some(measure) = row.measure.as_deref() else {
        return false;
    };
    let few = row
        .typical
        .stars
        .is_some_and(|usual| f64::from(measure.star_count) < FEW * usual);
    let off = row
        .typical
        .sky_pct
        .is_some_and(|usual| (measure.sky.level_pct / usual.max(1e-9) - 1.0).abs() > SKY_OFF);
    row.derived.transparency.is_some_and(|left| left < DIM) || few || off
}

/// The mean over the sides of the medians in each part, as a share of the light.
fn parts(sides: Vec<[Vec<f64>; SIDE * SIDE]>) -> Parts {
    let medians: Vec<[Option<f64>; SIDE * SIDE]> = sides
        .into_iter()
        .map(|side| {
            side.map(|mut changes| median(&mut changes).filter(|_| changes.len() >= LEAST_STARS))
        })
        .collect();
    std::array::from_fn(|part| {
        let known: Vec<f64> = medians.iter().filter_map(|side| *side.get(part)?).collect();
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        (!known.is_empty()).then(|| mean.exp() as f32)
    })
}

struct Sky {
    camera: Camera,
    pole: Ray,
}

impl Sky {
    /// Changes of ln flux from a clear frame to this one, by part of this one.
    fn changes(&self, clear: &Frame, frame: &Frame) -> Option<[Vec<f64>; SIDE * SIDE]> {
        let seconds = seconds_between(clear, frame).filter(|s| s.abs() <= LONGEST_S)?;
        let predicted = turn_stars(&clear.stars, &self.camera, self.pole, seconds);
        let pairs = common_stars(&predicted, &frame.stars, reach_px(self.camera.width_px))?;
        let mut changes: [Vec<f64>; SIDE * SIDE] = Default::default();
        for (was, is) in pairs {
            if let (Some(change), Some(list)) = (
                is.ln_flux.zip(was.ln_flux).map(|(is, was)| is - was),
                changes.get_mut(self.part(&is)),
            ) {
                list.push(change);
            }
        }
        Some(changes)
    }

    fn part(&self, star: &Point) -> usize {
        let third =
            |at: f64, side: f64| ((SIDE as f64 * at / side.max(1.0)) as usize).min(SIDE - 1);
        third(star.y_px, self.camera.height_px) * SIDE + third(star.x_px, self.camera.width_px)
    }
}
