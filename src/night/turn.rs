//! The sky's turning in each group, and the trail it predicts for each frame.

use std::collections::BTreeMap;

use super::stars::{Frame, frames, sense};
use super::turn_fit::{self, Cell};
use super::turn_stars;
use super::types::{Night, SkyTurn};
use crate::base::{Spin2, robust};
use crate::measure::{FieldMap, FrameMeasure, Star};
use crate::sky::Camera;
use crate::sky::projection::Ray;
use crate::sky::turning::{Motion, rate_px_per_s, trail_at};

/// Fewer cells cannot tell the sky from wind.
const LEAST_CELLS: usize = 6;
/// A cell counts when it has trails in this many frames (or in all, when there are fewer).
const LEAST_FRAMES: usize = 3;
/// More frames than this change the cells' medians by less than they cost.
const MOST_FRAMES: usize = 150;
/// Where the longer trails are shorter than this, the mount followed or nothing can be told.
const LEAST_TRAIL_PX: f64 = 1.5;
/// Trails of real lenses depart from the rectilinear model by about this share of L².
const MODEL_SHARE: f64 = 0.05;
/// Floor of a cell's error, px².
const MODEL_FLOOR: f64 = 0.3;
/// A fit whose residual is more than this share of the longer trails (and half a px) is no fit.
const RESIDUAL_SHARE: f64 = 0.12;
/// See [`RESIDUAL_SHARE`].
const RESIDUAL_PX: f64 = 0.5;
/// Nor is one that is this many times farther from the cells than the same trail everywhere is:
/// that is a mount drifting or wind. (With a long lens the sky itself is the same everywhere, and
/// both are near.)
const WORSE_THAN_UNIFORM: f64 = 2.0;

/// The pole by matched stars may leave the field's residual this many times larger…
const WORSE_THAN_FIELD: f64 = 1.5;
/// …plus this, px; else stars were confused.
const WORSE_PX: f64 = 0.05;

/// Fits every group that can be, and fills its largest rate and the expected trails of its rows.
pub(super) fn fill(night: &mut Night) {
    for group in 0..night.groups.len() {
        let rows = night.groups[group].rows.clone();
        let measures: Vec<&FrameMeasure> = rows
            .iter()
            .filter_map(|&row| night.rows[row].measure.as_deref())
            .collect();
        let exposure_s = night.groups[group].settings.exposure_s.filter(|&s| s > 0.0);
        let measured_rate = exposure_s.and_then(|seconds| measured_rate(&measures, seconds));
        let fitted = optics(night, group)
            .zip(exposure_s)
            .and_then(|(camera, seconds)| {
                let cells = median_cells(&camera, &measures);
                let turn = fit(&camera, seconds, &cells)?;
                let turn = refined(&frames(night, group), &camera, seconds, &cells, turn);
                let rate = largest_rate(&camera, turn.pole, &cells);
                Some((turn, rate, Expected::new(&camera, &turn, seconds)))
            });
        let Some((turn, rate, expected)) = fitted else {
            night.groups[group].largest_rate_px_s = measured_rate;
            continue;
        };
        night.groups[group].turn = Some(turn);
        night.groups[group].largest_rate_px_s = Some(rate);
        for row in rows {
            let trail = night.rows[row]
                .measure
                .as_ref()
                .and_then(|m| expected.trail_px(m));
            night.rows[row].derived.expected_trail_px = trail;
        }
    }
}

/// The largest speed over the cells that show sky: stars cross their corners too.
fn largest_rate(camera: &Camera, pole: Ray, cells: &[Cell]) -> f64 {
    let corners = |cell: &Cell| {
        let (x, y) = (0.5 * cell.width_px, 0.5 * cell.height_px);
        [(-x, -y), (x, -y), (-x, y), (x, y)].map(|(dx, dy)| (cell.x_px + dx, cell.y_px + dy))
    };
    cells
        .iter()
        .flat_map(corners)
        .map(|(x, y)| rate_px_per_s(camera, pole, x, y))
        .fold(0.0, f64::max)
}

/// The largest trail of a usual frame over the marked exposure, where no turning could be fitted.
fn measured_rate(measures: &[&FrameMeasure], exposure_s: f64) -> Option<f64> {
    let mut largest: Vec<f64> = measures
        .iter()
        .filter_map(|measure| Some(measure.trail?.max_px))
        .collect();
    robust::median(&mut largest).map(|trail| trail / exposure_s)
}

/// The lens of a group over its sensor, where they are known.
pub(super) fn optics(night: &Night, group: usize) -> Option<Camera> {
    let settings = &night.groups[group].settings;
    let focal_px = 1000.0 * settings.focal_length_mm? / settings.pixel_um?;
    let (width, height) = settings.size_px;
    Camera::new(focal_px, f64::from(width), f64::from(height))
}

fn fit(camera: &Camera, exposure_s: f64, cells: &[Cell]) -> Option<SkyTurn> {
    let mut lengths: Vec<f64> = cells.iter().map(|cell| cell.trail.length_px()).collect();
    let longer = robust::quantile(&mut lengths, 0.75)?;
    if cells.len() < LEAST_CELLS || longer < LEAST_TRAIL_PX {
        return None;
    }
    let fit = turn_fit::fit(camera, exposure_s, cells)?;
    let follows = fit.residual_px <= RESIDUAL_PX.max(RESIDUAL_SHARE * longer)
        && fit.residual_px <= WORSE_THAN_UNIFORM * uniform_residual_px(cells)?;
    follows.then(|| turning(camera, fit))
}

/// The turn with its pole from stars matched over minutes, where they match and the field agrees.
fn refined(
    frames: &[Frame],
    camera: &Camera,
    exposure_s: f64,
    cells: &[Cell],
    turn: SkyTurn,
) -> SkyTurn {
    let sensed = sense(frames, camera, turn.pole);
    let turn = SkyTurn {
        pole: sensed.unwrap_or(turn.pole),
        ..turn
    };
    let fit = sensed
        .and_then(|pole| turn_stars::refine(frames, camera, pole))
        .and_then(|pole| turn_fit::fit_ratio(camera, exposure_s, cells, pole))
        .filter(|fit| fit.residual_px <= WORSE_THAN_FIELD * turn.residual_px + WORSE_PX);
    fit.map_or(turn, |fit| turning(camera, fit))
}

fn turning(camera: &Camera, fit: turn_fit::Fit) -> SkyTurn {
    SkyTurn {
        focal_px: camera.focal_px,
        pole: fit.pole,
        length_ratio: fit.ratio,
        residual_px: fit.residual_px,
    }
}

/// The residual of the best trail that is the same over the whole frame, in the measure of
/// [`turn_fit::Fit::residual_px`].
fn uniform_residual_px(cells: &[Cell]) -> Option<f64> {
    let mut part: Vec<f64> = cells.iter().map(|cell| cell.trail.cos).collect();
    let cos = robust::median(&mut part)?;
    let mut part: Vec<f64> = cells.iter().map(|cell| cell.trail.sin).collect();
    let sin = robust::median(&mut part)?;
    let uniform = Spin2 { cos, sin };
    let mut off: Vec<f64> = cells
        .iter()
        .map(|cell| turn_fit::distance_px(cell.trail, uniform))
        .collect();
    robust::median(&mut off)
}

/// The median trail of every cell over the frames: a knock or a cloud in some of them does not
/// move it.
fn median_cells(camera: &Camera, measures: &[&FrameMeasure]) -> Vec<Cell> {
    let Some((cols, rows)) = common_grid(measures) else {
        return Vec::new();
    };
    let fields: Vec<&FieldMap> = measures
        .iter()
        .map(|measure| &measure.field)
        .filter(|field| (field.cols, field.rows) == (cols, rows))
        .filter(|field| field.cells.len() == cols * rows)
        .collect();
    let every = fields.len().div_ceil(MOST_FRAMES).max(1);
    let fields: Vec<&FieldMap> = fields.into_iter().step_by(every).collect();
    let least = LEAST_FRAMES.min(fields.len());
    let (width, height) = (
        camera.width_px / cols as f64,
        camera.height_px / rows as f64,
    );
    (0..cols * rows)
        .filter_map(|k| {
            let seen: Vec<_> = fields.iter().filter_map(|field| field.cells[k]).collect();
            if seen.len() < least {
                return None;
            }
            let mut part: Vec<f64> = seen.iter().map(|cell| cell.trail.cos).collect();
            let cos = robust::median(&mut part)?;
            part.clear();
            part.extend(seen.iter().map(|cell| cell.trail.sin));
            let sin = robust::median(&mut part)?;
            part.clear();
            part.extend(seen.iter().map(|cell| cell.trail_error));
            let error = robust::median(&mut part)? / (seen.len() as f64).sqrt();
            let trail = Spin2 { cos, sin };
            let square = cos.hypot(sin);
            Some(Cell {
                x_px: (k % cols) as f64 * width + 0.5 * (width - 1.0),
                y_px: (k / cols) as f64 * height + 0.5 * (height - 1.0),
                width_px: width,
                height_px: height,
                trail,
                sigma: (error * error + (MODEL_SHARE * square).powi(2) + MODEL_FLOOR.powi(2))
                    .sqrt(),
            })
        })
        .filter(|cell| cell.trail.length_px().is_finite() && cell.sigma.is_finite())
        .collect()
}

/// The grid most fields have.
fn common_grid(measures: &[&FrameMeasure]) -> Option<(usize, usize)> {
    let mut counts: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for measure in measures {
        *counts
            .entry((measure.field.cols, measure.field.rows))
            .or_default() += 1;
    }
    let filled = counts
        .into_iter()
        .filter(|((cols, rows), _)| cols * rows > 0);
    filled.max_by_key(|&(_, count)| count).map(|(grid, _)| grid)
}

/// Predicted motions on a grid over the frame: asking the projection at 400 stars of 1000 frames
/// would cost more than everything else here.
struct Expected {
    step_x: f64,
    step_y: f64,
    motions: Vec<Motion>,
}

impl Expected {
    /// Steps across and down. Motions are smooth: between nodes the straight line is within 0.2 %
    /// even at 14 mm.
    const STEPS: usize = 48;

    fn new(camera: &Camera, turn: &SkyTurn, exposure_s: f64) -> Self {
        let seconds = exposure_s * turn.exposure_factor();
        let steps = Self::STEPS as f64;
        let (step_x, step_y) = (camera.width_px / steps, camera.height_px / steps);
        let motions = (0..=Self::STEPS)
            .flat_map(|row| (0..=Self::STEPS).map(move |column| (column, row)))
            .map(|(column, row)| {
                let (x, y) = (column as f64 * step_x, row as f64 * step_y);
                trail_at(camera, turn.pole, x, y, seconds).unwrap_or_default()
            })
            .collect();
        Self {
            step_x,
            step_y,
            motions,
        }
    }

    fn length_at(&self, x: f64, y: f64) -> f64 {
        let most = (Self::STEPS - 1) as f64;
        let (u, v) = ((x / self.step_x).max(0.0), (y / self.step_y).max(0.0));
        let (column, row) = (u.min(most).floor(), v.min(most).floor());
        let (a, b) = (u - column, v - row);
        let first = row as usize * (Self::STEPS + 1) + column as usize;
        let mut sum = Motion::default();
        for (place, weight) in [
            (first, (1.0 - a) * (1.0 - b)),
            (first + 1, a * (1.0 - b)),
            (first + Self::STEPS + 1, (1.0 - a) * b),
            (first + Self::STEPS + 2, a * b),
        ] {
            let part = self.motions[place].times(weight);
            sum.x_px += part.x_px;
            sum.y_px += part.y_px;
        }
        sum.length_px()
    }

    /// The median over the frame's stars that carry a shape; `None` when it lists none.
    fn trail_px(&self, measure: &FrameMeasure) -> Option<f64> {
        let used =
            |star: &&Star| !(star.flags.clipped || star.flags.at_edge || star.flags.unsettled);
        let mut lengths: Vec<f64> = measure
            .stars
            .iter()
            .filter(used)
            .map(|star| self.length_at(f64::from(star.x_px), f64::from(star.y_px)))
            .collect();
        robust::median(&mut lengths)
    }
}
