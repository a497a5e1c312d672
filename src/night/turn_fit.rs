//! The pole's direction and the length of trails, fitted to a field of trails.
//!
//! Trails have no head, so a pole and its opposite make the same field; the one before the lens is
//! given. Far from the pole a narrow field cannot tell a longer exposure from a higher
//! declination: there the ratio is held near 1, where shutters are.

use crate::base::linalg::solve;
use crate::base::{Spin2, robust};
use crate::sky::projection::{Camera, Ray, cross, unit};
use crate::sky::turning::{arc_deg, trail_of};

/// Trails over one cell of the frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    /// Its centre, px.
    pub x_px: f64,
    /// Its centre, px.
    pub y_px: f64,
    /// Its width, px.
    pub width_px: f64,
    /// Its height, px.
    pub height_px: f64,
    /// Mean trail of its stars.
    pub trail: Spin2,
    /// σ of each component of `trail`, px².
    pub sigma: f64,
}

/// What was fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fit {
    /// Unit vector to the pole, z ≥ 0.
    pub pole: Ray,
    /// Length of the trails over the predicted length.
    pub ratio: f64,
    /// Median distance of the cells from the fit, as a length error of their trail, px.
    pub residual_px: f64,
}

/// σ of the ratio before anything is measured: wide enough for 16 s marked 15 s.
const RATIO_SIGMA: f64 = 0.1;
/// Cells farther than this many σ from the model pull no harder than at that distance (Huber).
const HUBER: f64 = 2.0;
/// Step of the grid of directions that are tried first.
const GRID_DEG: f64 = 6.0;
/// How many of them are followed down.
const STARTS: usize = 4;

/// Fits; `None` when the system is singular everywhere.
pub(super) fn fit(camera: &Camera, exposure_s: f64, cells: &[Cell]) -> Option<Fit> {
    let coarse = Model::new(camera, exposure_s, cells, 1);
    let fine = Model::new(camera, exposure_s, cells, 3);
    let best = coarse
        .starts(camera)
        .into_iter()
        .map(|start| coarse.descend(start))
        .min_by(|a, b| coarse.cost(*a).total_cmp(&coarse.cost(*b)))?;
    fine.finish(fine.descend(best))
}

/// The ratio and residual for a pole that is known from elsewhere.
pub(super) fn fit_ratio(
    camera: &Camera,
    exposure_s: f64,
    cells: &[Cell],
    pole: Ray,
) -> Option<Fit> {
    let model = Model::new(camera, exposure_s, cells, 3);
    let mut state = State { pole, ratio: 1.0 };
    // Trails grow with the exposure, their squares with its square: a weighted mean of shares,
    // weighted anew as the outliers show.
    for _ in 0..5 {
        let weights: Vec<f64> = model
            .residuals(state)
            .into_iter()
            .map(huber_weight)
            .collect();
        let (mut both, mut square) = (0.0, 0.0);
        for ((cell, trail), weight) in cells.iter().zip(model.trails(state)).zip(weights) {
            let weight = weight / cell.sigma.powi(2);
            both += weight * (cell.trail.cos * trail.cos + cell.trail.sin * trail.sin);
            square += weight * (trail.cos * trail.cos + trail.sin * trail.sin);
        }
        if both <= 0.0 || square <= 0.0 {
            return None;
        }
        state.ratio = (state.ratio * (both / square).sqrt()).clamp(0.5, 2.0);
    }
    model.finish(state)
}

#[derive(Debug, Clone, Copy)]
struct State {
    pole: Ray,
    ratio: f64,
}

/// The cells with the rays at which each is modelled.
struct Model<'a> {
    cells: &'a [Cell],
    rays: Vec<Vec<Ray>>,
    /// Half the turn during the marked exposure, rad.
    half_rad: f64,
    focal_px: f64,
}

impl<'a> Model<'a> {
    /// A cell's mean trail is modelled at `across` × `across` places in it: near the pole the
    /// trail at its centre is not the mean over the cell.
    fn new(camera: &Camera, exposure_s: f64, cells: &'a [Cell], across: usize) -> Self {
        let offset = |k: usize| (k as f64 + 0.5) / across as f64 - 0.5;
        let rays = cells
            .iter()
            .map(|cell| {
                (0..across * across)
                    .map(|k| {
                        let x = cell.x_px + cell.width_px * offset(k % across);
                        let y = cell.y_px + cell.height_px * offset(k / across);
                        camera.ray(x, y)
                    })
                    .collect()
            })
            .collect();
        Self {
            cells,
            rays,
            half_rad: 0.5 * arc_deg(exposure_s).to_radians(),
            focal_px: camera.focal_px,
        }
    }

    /// The result, its pole before the lens; `None` when it is no number.
    fn finish(&self, state: State) -> Option<Fit> {
        let State { pole, ratio } = state;
        let pole = if pole[2] < 0.0 {
            pole.map(|part| -part)
        } else {
            pole
        };
        let residual_px = self.residual_px(state)?;
        (residual_px.is_finite() && ratio.is_finite()).then_some(Fit {
            pole,
            ratio,
            residual_px,
        })
    }

    /// The modelled trail of each cell.
    fn trails(&self, state: State) -> impl Iterator<Item = Spin2> {
        let half = (self.half_rad * state.ratio).sin_cos();
        self.rays.iter().map(move |rays| {
            let mut mean = Spin2::default();
            for &ray in rays {
                let motion = trail_of(ray, state.pole, half).unwrap_or_default();
                let trail = motion.times(self.focal_px).trail();
                mean.cos += trail.cos / rays.len() as f64;
                mean.sin += trail.sin / rays.len() as f64;
            }
            mean
        })
    }

    /// Differences from the model in units of σ.
    fn residuals(&self, state: State) -> Vec<[f64; 2]> {
        self.cells
            .iter()
            .zip(self.trails(state))
            .map(|(cell, model)| {
                [
                    (cell.trail.cos - model.cos) / cell.sigma,
                    (cell.trail.sin - model.sin) / cell.sigma,
                ]
            })
            .collect()
    }

    fn cost(&self, state: State) -> f64 {
        let cells: f64 = self.residuals(state).iter().map(|&r| huber(r)).sum();
        cells + ((state.ratio - 1.0) / RATIO_SIGMA).powi(2)
    }

    /// The most promising directions of a grid over the half sphere before the lens and a finer
    /// one over the frame and around it, no two of them neighbours.
    fn starts(&self, camera: &Camera) -> Vec<State> {
        let mut tried: Vec<(f64, State)> = half_sphere(GRID_DEG)
            .into_iter()
            .chain(around_frame(camera))
            .map(|pole| {
                let state = State { pole, ratio: 1.0 };
                (self.cost(state), state)
            })
            .collect();
        tried.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut starts: Vec<State> = Vec::new();
        for (_, state) in tried {
            let apart = |other: &State| {
                let [x, y, z] = cross(state.pole, other.pole);
                // Neighbours in the frame's own measure: a tenth of its diagonal or a grid step.
                let least = (0.1 * camera.width_px / camera.focal_px).min(GRID_DEG.to_radians());
                (x * x + y * y + z * z).sqrt() > least
            };
            if starts.iter().all(apart) {
                starts.push(state);
            }
            if starts.len() == STARTS {
                break;
            }
        }
        starts
    }

    /// Levenberg–Marquardt from `state`, cells reweighted by Huber's rule.
    fn descend(&self, mut state: State) -> State {
        const STEP: f64 = 1e-6;
        let mut cost = self.cost(state);
        let mut damping = 1e-3;
        for _ in 0..40 {
            let here = self.residuals(state);
            let moved: [Vec<[f64; 2]>; 3] = std::array::from_fn(|k| {
                let mut step = [0.0; 3];
                step[k] = STEP;
                self.residuals(stepped(state, step))
            });
            let mut normal = [[0.0; 3]; 3];
            let mut right = [0.0; 3];
            for (cell, residual) in here.iter().enumerate() {
                let weight = huber_weight(*residual);
                for part in 0..2 {
                    let slope: [f64; 3] =
                        std::array::from_fn(|k| (moved[k][cell][part] - residual[part]) / STEP);
                    for i in 0..3 {
                        right[i] -= weight * slope[i] * residual[part];
                        for j in 0..3 {
                            normal[i][j] += weight * slope[i] * slope[j];
                        }
                    }
                }
            }
            normal[2][2] += RATIO_SIGMA.powi(-2);
            right[2] -= (state.ratio - 1.0) / RATIO_SIGMA.powi(2);
            let before = cost;
            // Damp until the step helps; ten times tenfold is as good as no step.
            for _ in 0..10 {
                let mut damped = normal;
                for (k, row) in damped.iter_mut().enumerate() {
                    row[k] *= 1.0 + damping;
                }
                let Some(step) = solve(damped, right) else {
                    return state;
                };
                let next = stepped(state, step);
                let next_cost = self.cost(next);
                if next_cost < cost {
                    (state, cost) = (next, next_cost);
                    damping *= 0.1;
                    break;
                }
                damping *= 10.0;
            }
            if before - cost <= 1e-9 * before {
                break;
            }
        }
        state
    }

    /// Median over the cells of their distance from the model.
    fn residual_px(&self, state: State) -> Option<f64> {
        let cells = self.cells.iter().zip(self.trails(state));
        let mut off: Vec<f64> = cells
            .map(|(cell, model)| distance_px(cell.trail, model))
            .collect();
        robust::median(&mut off)
    }
}

/// |trail − model| / 2L: the error of the length for an error along the trail, the shift of its
/// ends for one across it. Below 1 px the model's length is taken as 1 px.
pub(super) fn distance_px(trail: Spin2, model: Spin2) -> f64 {
    let off = (trail.cos - model.cos).hypot(trail.sin - model.sin);
    off / (2.0 * model.length_px().max(1.0))
}

fn norm(residual: [f64; 2]) -> f64 {
    residual[0].hypot(residual[1])
}

fn huber(residual: [f64; 2]) -> f64 {
    let norm = norm(residual);
    if norm <= HUBER {
        norm * norm
    } else {
        HUBER * (2.0 * norm - HUBER)
    }
}

fn huber_weight(residual: [f64; 2]) -> f64 {
    (HUBER / norm(residual).max(HUBER)).min(1.0)
}

fn stepped(state: State, step: [f64; 3]) -> State {
    State {
        pole: tilted(state.pole, [step[0], step[1]]),
        ratio: (state.ratio + step[2]).clamp(0.5, 2.0),
    }
}

/// `pole` tilted by two small angles, rad, about axes across it.
pub(super) fn tilted(pole: Ray, by: [f64; 2]) -> Ray {
    // Any axis that is not along the pole spans the plane across it.
    let aside = if pole[2].abs() < 0.8 {
        [0.0, 0.0, 1.0]
    } else {
        [1.0, 0.0, 0.0]
    };
    let first = unit(cross(pole, aside));
    let second = cross(pole, first);
    unit(std::array::from_fn(|k| {
        pole[k] + by[0] * first[k] + by[1] * second[k]
    }))
}

/// Directions about `step_deg` apart over the half sphere z ≥ 0.
fn half_sphere(step_deg: f64) -> Vec<Ray> {
    let rings = (90.0 / step_deg).round() as usize;
    let mut out = Vec::new();
    for ring in 0..=rings {
        let away = (90.0 * ring as f64 / rings as f64).to_radians();
        let count = (away.sin() * 360.0 / step_deg).ceil().max(1.0) as usize;
        for k in 0..count {
            let round = std::f64::consts::TAU * k as f64 / count as f64;
            let (sin, cos) = away.sin_cos();
            out.push([sin * round.cos(), sin * round.sin(), cos]);
        }
    }
    out
}

/// Directions over twice the frame's width and height: with a long lens the half sphere's grid
/// would step over the frame.
fn around_frame(camera: &Camera) -> impl Iterator<Item = Ray> {
    const ACROSS: usize = 13;
    let camera = *camera;
    (0..ACROSS * ACROSS).map(move |k| {
        let part = |k: usize| 2.0 * k as f64 / (ACROSS - 1) as f64 - 0.5;
        camera.ray(
            camera.width_px * part(k % ACROSS),
            camera.height_px * part(k / ACROSS),
        )
    })
}
