//! Trails as motions: what a camera turning against the sky, or a lens, makes of stars.
//!
//! A pinhole camera that turns by a small angle moves the image at (x, y) from the lens axis by
//! (a, b) + c·(−y, x) + (x, y)·(a·x + b·y)/F²: exact for small turns, with (a, b) the motion on the
//! axis, c the roll and F the focal length (the motion field of a rotating camera; Longuet-Higgins &
//! Prazdny 1980, Proc. R. Soc. B 208, 385, in pixels). Four numbers say a whole frame of trails, where
//! a polynomial that bends as much needs twelve. A lens that is not rectilinear adds (a, b)·q·r² to
//! second order. Blur that grows radially from the axis adds g·r² to L² along the radius, and across
//! it when g is negative: the moments of blur and motion add.

use super::Datum;
use super::polynomial::{Polynomial, inverse};
use crate::base::Spin2;
use crate::base::linalg::solve;

/// Numbers of a motion: a, b, c, p = 1/F², g, q; lengths in px, places in half frames.
pub(super) const NUMBERS: usize = 6;

/// Rounds of Gauss and Newton.
const ROUNDS: usize = 25;

/// Stars among which the first guess is looked for.
const GUESS_STARS: usize = 200;

/// What is known of the numbers before any star: p of a 10 mm lens on a 36 mm sensor is 3, g is as
/// good as free, and lenses for stars bend straight lines by no more than some tenths. Without it the
/// numbers of a frame that moves nowhere would be anything.
const PRIOR_SIGMA: [f64; NUMBERS] = [1e4, 1e4, 1e4, 1.0, 1e6, 0.3];

/// Which numbers are free; the others are 0.
pub(super) type Free = [bool; NUMBERS];

/// The same motion everywhere.
pub(super) const UNIFORM: Free = [true, true, false, false, false, false];
/// Blur growing from the axis.
pub(super) const LENS: Free = [false, false, false, false, true, false];
/// A turning camera.
pub(super) const TURNING: Free = [true, true, true, true, false, false];
/// A turning camera and blur growing from the axis.
pub(super) const TURNING_LENS: Free = [true, true, true, true, true, false];
/// A turning camera behind a lens that is not rectilinear.
pub(super) const TURNING_BENT: Free = [true, true, true, true, false, true];

/// A motion of the whole frame, with what its numbers do not know.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Turning {
    free: Free,
    pub(super) numbers: [f64; NUMBERS],
    /// Covariance of the numbers for stars of unit variance.
    pub(super) covariance: [[f64; NUMBERS]; NUMBERS],
}

impl Turning {
    /// The motion nearest to the stars, from a guess by the polynomial through them; `None` when
    /// they do not fix one.
    pub(super) fn fitted(data: &[Datum], free: Free, guide: &Polynomial) -> Option<Self> {
        let few: Vec<Datum> = data
            .iter()
            .step_by(data.len().div_ceil(GUESS_STARS).max(1))
            .copied()
            .collect();
        let best = guesses(guide, free)
            .into_iter()
            .filter_map(|guess| settle(&few, free, guess, ROUNDS / 3))
            .min_by(|a, b| a.1.total_cmp(&b.1))?;
        let (numbers, _) = settle(data, free, best.0, ROUNDS)?;
        let (mut normal, _, _) = equations(data, &numbers);
        hold(&mut normal, free);
        Some(Self {
            free,
            numbers,
            covariance: inverse(&normal)?,
        })
    }

    /// How many numbers are free.
    pub(super) fn free_count(&self) -> usize {
        self.free.iter().filter(|free| **free).count()
    }

    /// The vector at a place.
    pub(super) fn at(&self, u: f64, v: f64) -> Spin2 {
        spin(&self.numbers, u, v)
    }

    /// The motion at a place, px, y down; its sign is one for the whole frame.
    pub(super) fn motion_at(&self, u: f64, v: f64) -> (f64, f64) {
        motion(&self.numbers, u, v)
    }

    /// Change of the vector at a place with each number.
    pub(super) fn slopes_at(&self, u: f64, v: f64) -> Vec<Spin2> {
        let (cos, sin) = spin_slopes(&self.numbers, u, v);
        let slopes = cos.iter().zip(sin).zip(self.free);
        slopes
            .map(|((&cos, sin), free)| {
                if free {
                    Spin2 { cos, sin }
                } else {
                    Spin2::default()
                }
            })
            .collect()
    }

    /// The covariance of the numbers times a vector.
    pub(super) fn carried(&self, vector: &[f64]) -> Vec<f64> {
        let lines = self.covariance.iter();
        lines
            .map(|line| line.iter().zip(vector).map(|(m, a)| m * a).sum())
            .collect()
    }

    /// Variance of each component at a place, for stars of `unit` variance.
    ///
    /// The vector is the square of the motion, so besides what the motion's error makes of it to
    /// first order, which vanishes at a pole, the error's own square counts.
    pub(super) fn variance(&self, u: f64, v: f64, unit: f64) -> f64 {
        let (to_cos, to_sin) = spin_slopes(&self.numbers, u, v);
        let (to_x, to_y) = motion_slopes(&self.numbers, u, v);
        let of = |slopes: &[f64; NUMBERS]| {
            let mut slopes = *slopes;
            for (slope, free) in slopes.iter_mut().zip(self.free) {
                if !free {
                    *slope = 0.0;
                }
            }
            unit * super::polynomial::quadratic(&self.covariance, &slopes)
        };
        let motion = 0.5 * (of(&to_x) + of(&to_y));
        0.5 * (of(&to_cos) + of(&to_sin)) + 4.0 * motion * motion
    }

    /// Where nothing moves but for the roll, in half frames from the centre: the pole of the turn;
    /// `None` when the roll is nothing beside the motion.
    pub(super) fn pole(&self) -> Option<(f64, f64)> {
        let [a, b, c, ..] = self.numbers;
        let (x, y) = (-b / c, a / c);
        (x.is_finite() && y.is_finite() && x.hypot(y) < 1e3).then_some((x, y))
    }
}

/// Motion at a place, px; y down.
fn motion(n: &[f64; NUMBERS], u: f64, v: f64) -> (f64, f64) {
    let [a, b, c, p, _, q] = *n;
    let (inward, r2) = (a * u + b * v, u * u + v * v);
    (
        a - c * v + p * u * inward + q * r2 * a,
        b + c * u + p * v * inward + q * r2 * b,
    )
}

fn spin(n: &[f64; NUMBERS], u: f64, v: f64) -> Spin2 {
    let (dx, dy) = motion(n, u, v);
    Spin2 {
        cos: dx * dx - dy * dy + n[4] * (u * u - v * v),
        sin: -2.0 * dx * dy - 2.0 * n[4] * u * v,
    }
}

/// Derivatives of the motion by each number.
fn motion_slopes(n: &[f64; NUMBERS], u: f64, v: f64) -> ([f64; NUMBERS], [f64; NUMBERS]) {
    let [a, b, _, p, _, q] = *n;
    let (inward, r2) = (a * u + b * v, u * u + v * v);
    (
        [
            1.0 + p * u * u + q * r2,
            p * u * v,
            -v,
            u * inward,
            0.0,
            r2 * a,
        ],
        [
            p * u * v,
            1.0 + p * v * v + q * r2,
            u,
            v * inward,
            0.0,
            r2 * b,
        ],
    )
}

/// Derivatives of the vector's components by each number.
fn spin_slopes(n: &[f64; NUMBERS], u: f64, v: f64) -> ([f64; NUMBERS], [f64; NUMBERS]) {
    let (dx, dy) = motion(n, u, v);
    let (to_x, to_y) = motion_slopes(n, u, v);
    let (mut to_cos, mut to_sin) = ([0.0; NUMBERS], [0.0; NUMBERS]);
    for i in 0..NUMBERS {
        to_cos[i] = 2.0 * (dx * to_x[i] - dy * to_y[i]);
        to_sin[i] = -2.0 * (dx * to_y[i] + dy * to_x[i]);
    }
    to_cos[4] = u * u - v * v;
    to_sin[4] = -2.0 * u * v;
    (to_cos, to_sin)
}

/// Normal matrix, right side and χ², with what is known beforehand in them.
fn equations(
    data: &[Datum],
    n: &[f64; NUMBERS],
) -> ([[f64; NUMBERS]; NUMBERS], [f64; NUMBERS], f64) {
    let mut normal = [[0.0; NUMBERS]; NUMBERS];
    let mut right = [0.0; NUMBERS];
    let mut chi2 = 0.0;
    for datum in data {
        let here = spin(n, datum.u, datum.v);
        let (to_cos, to_sin) = spin_slopes(n, datum.u, datum.v);
        let (left_cos, left_sin) = (datum.spin.cos - here.cos, datum.spin.sin - here.sin);
        chi2 += datum.weight * (left_cos * left_cos + left_sin * left_sin);
        for i in 0..NUMBERS {
            right[i] += datum.weight * (to_cos[i] * left_cos + to_sin[i] * left_sin);
            for j in 0..NUMBERS {
                normal[i][j] += datum.weight * (to_cos[i] * to_cos[j] + to_sin[i] * to_sin[j]);
            }
        }
    }
    for i in 0..NUMBERS {
        let known = PRIOR_SIGMA[i].powi(-2);
        normal[i][i] += known;
        right[i] -= known * n[i];
        chi2 += known * n[i] * n[i];
    }
    (normal, right, chi2)
}

/// Takes the numbers that are not free out of the equations.
fn hold(normal: &mut [[f64; NUMBERS]; NUMBERS], free: Free) {
    for i in 0..NUMBERS {
        for j in 0..NUMBERS {
            if !(free[i] && free[j]) {
                normal[i][j] = if i == j { 1.0 } else { 0.0 };
            }
        }
    }
}

/// Levenberg's and Marquardt's rounds from a guess: the numbers and their χ².
fn settle(
    data: &[Datum],
    free: Free,
    guess: [f64; NUMBERS],
    rounds: usize,
) -> Option<([f64; NUMBERS], f64)> {
    let mut numbers = guess;
    let mut damping = 1e-3;
    let (mut normal, mut right, mut chi2) = equations(data, &numbers);
    for _ in 0..rounds {
        let mut damped = normal;
        for (i, line) in damped.iter_mut().enumerate() {
            line[i] *= 1.0 + damping;
        }
        hold(&mut damped, free);
        let mut step = right;
        for (part, free) in step.iter_mut().zip(free) {
            if !free {
                *part = 0.0;
            }
        }
        let step = solve(damped, step)?;
        let mut next = numbers;
        for (number, part) in next.iter_mut().zip(step) {
            *number += part;
        }
        let (next_normal, next_right, next_chi2) = equations(data, &next);
        if next_chi2 <= chi2 {
            let done = chi2 - next_chi2 < 1e-6 * chi2;
            (numbers, normal, right, chi2) = (next, next_normal, next_right, next_chi2);
            damping *= 0.1;
            if done {
                break;
            }
        } else {
            damping *= 10.0;
            if damping > 1e9 {
                break;
            }
        }
    }
    Some((numbers, chi2))
}

/// First guesses: the motion at the centre from the polynomial there, and rolls of either sense
/// that its slope and its bend ask for.
fn guesses(guide: &Polynomial, free: Free) -> Vec<[f64; NUMBERS]> {
    let centre = guide.at(0.0, 0.0);
    let half = 0.5 * centre.sin.atan2(centre.cos);
    let length = centre.length_px();
    // Moved along its angle, anticlockwise with y down.
    let (a, b) = (length * half.cos(), -length * half.sin());
    if !free[0] {
        return vec![[0.0; NUMBERS]];
    }
    if !free[2] {
        return vec![[a, b, 0.0, 0.0, 0.0, 0.0]];
    }
    let (across, down) = guide.slopes();
    let slope = across.cos.hypot(across.sin).hypot(down.cos.hypot(down.sin)) / 2f64.sqrt();
    let corners = [(1.0, 0.0), (-1.0, 0.0), (0.0, 0.7), (0.0, -0.7)];
    let bend = corners.iter().map(|&(u, v)| {
        let at = guide.at(u, v);
        at.length_px() / u.hypot(v)
    });
    let bend = bend.sum::<f64>() / corners.len() as f64;
    let by_slope = slope / (2.0 * length.max(0.3));
    [0.0, by_slope, -by_slope, bend, -bend]
        .map(|c| [a, b, c, 0.1, 0.0, 0.0])
        .to_vec()
}
