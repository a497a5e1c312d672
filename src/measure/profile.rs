//! The trail profile fitted to one star's true samples.
//!
//! A star's spread (spread.rs) smeared evenly over L is a sum of the published profile (Vereš et al.
//! 2012, PASP 124, 1197), one term for each of its Gaussians, with the pixel's own variance in each:
//!
//! F Σ share/L · φ(v/σ)/σ · [Φ((u + L/2)/σ) − Φ((u − L/2)/σ)],  u along, v across.
//!
//! Place, flux, length, angle and scale are fitted by Levenberg and Marquardt's damped least squares
//! with weights from the noise of the sky and of the star's own light, so that the inverse of the
//! normal matrix is their covariance. Past some ten σ of length this reads L up to twice as sharply as
//! moments do, which feel the middle of a trail as much as its ends.

use super::background::SkyPlane;
use super::profile_lanes::{self, Batch, LaneSums, Weights, normal};
use super::spread::{PIXEL_VARIANCE, Spread};
use crate::base::linalg::solve;
use crate::frame::Samples;

/// Parameters: x, y, flux, L, angle, ln s, curvature.
pub(super) const PARAMETERS: usize = 7;

/// Which parameters are free.
pub(super) type Free = [bool; PARAMETERS];

/// All of a straight trail's.
pub(super) const STRAIGHT: Free = [true, true, true, true, true, true, false];

/// Of a path that bends, too.
pub(super) const CURVED: Free = [true; PARAMETERS];

/// Of a star too short to have ends: its length and angle are taken as known.
pub(super) const SHORT: Free = [true, true, true, false, false, true, false];

/// Rounds after which a fit counts as not settling.
const ROUNDS: usize = 25;

/// Rounds after which a last small change will do.
const PATIENCE: usize = 8;

/// How far beyond its ends and sides a trail is looked at, in σ of its core.
const REACH: f64 = 3.5;

/// A trail and the light in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Trailed {
    /// Middle of the path, px.
    pub(super) x: f64,
    /// Middle of the path, px.
    pub(super) y: f64,
    /// All its light, full scale · px.
    pub(super) flux: f64,
    /// Length along the path, px.
    pub(super) length: f64,
    /// Direction in the middle, radians anticlockwise from right as seen.
    pub(super) angle: f64,
    /// Scale of the spread, px.
    pub(super) scale: f64,
    /// One over the radius of the path, 1/px; positive bends anticlockwise.
    pub(super) curvature: f64,
}

/// What is known before the fit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ground<'a> {
    pub(super) samples: &'a Samples,
    pub(super) sky: SkyPlane,
    pub(super) spread: &'a Spread,
    /// σ of one sample of the sky.
    pub(super) noise: f64,
    /// Variance a unit of the star's own light adds.
    pub(super) photon: f64,
}

/// A fitted trail.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fitted {
    pub(super) trail: Trailed,
    /// Variances in the order x, y, flux, L, angle, ln s, curvature.
    pub(super) variances: [f64; PARAMETERS],
    /// Weighted square of what is left, per degree of freedom.
    pub(super) chi2: f64,
    pub(super) settled: bool,
}

/// The profile of one trail, ready to be asked at many places.
#[derive(Debug)]
pub(super) struct Shape {
    pub(super) trail: Trailed,
    pub(super) sin: f64,
    pub(super) cos: f64,
    /// Share, σ with the pixel in it, and variance without of each Gaussian.
    pub(super) parts: [(f64, f64, f64); super::spread::PARTS],
    pub(super) used: usize,
}

/// A place in the axes of a trail.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    /// Along and across the tangent in the path's middle.
    pub(super) flat: (f64, f64),
    pub(super) along: f64,
    pub(super) across: f64,
    /// Cosine and sine of the angle by which the path has turned here.
    pub(super) turn: (f64, f64),
    /// Change of `along` with a step along the path's direction.
    pub(super) stretch: f64,
}

impl Shape {
    pub(super) fn new(trail: Trailed, spread: &Spread) -> Self {
        let (sin, cos) = trail.angle.sin_cos();
        let mut parts = [(0.0, 1.0, 0.0); super::spread::PARTS];
        let mut used = 0;
        for (to, part) in parts.iter_mut().zip(spread.parts()) {
            let own = trail.scale * trail.scale * part.ratio;
            *to = (part.share, (own + PIXEL_VARIANCE).sqrt(), own);
            used += 1;
        }
        Self {
            trail,
            sin,
            cos,
            parts,
            used,
        }
    }

    /// Where a place lies to the path; `None` when it is further than `reach` px to its side.
    pub(super) fn place(&self, x: f64, y: f64, reach: f64) -> Option<Place> {
        let (dx, dy) = (x - self.trail.x, y - self.trail.y);
        let (u, v) = (dx * self.cos - dy * self.sin, dx * self.sin + dy * self.cos);
        let c = self.trail.curvature;
        if c.abs() < 1e-9 {
            return (v.abs() <= reach).then_some(Place {
                flat: (u, v),
                along: u,
                across: v,
                turn: (1.0, 0.0),
                stretch: 1.0,
            });
        }
        // A circle through the middle whose centre lies at v = −1/c: v runs clockwise of u.
        let radius = 1.0 / c;
        let side = radius.signum();
        let away = radius + v;
        let distance = u.hypot(away).max(1e-9);
        let across = side * distance - radius;
        (across.abs() <= reach).then(|| Place {
            flat: (u, v),
            along: radius * (side * u).atan2(side * away),
            across,
            turn: (side * away / distance, side * u / distance),
            stretch: radius.abs() / distance,
        })
    }

    /// Light at a place, and its change with each parameter: the plain path of what
    /// [`profile_lanes::add`] does for several at once.
    pub(super) fn at_place(&self, place: &Place) -> (f64, [f64; PARAMETERS]) {
        let (u, v) = (place.along, place.across);
        let half = 0.5 * self.trail.length;
        let mut sum = 0.0;
        let (mut by_u, mut by_v, mut by_length, mut by_scale) = (0.0, 0.0, 0.0, 0.0);
        for &(share, sigma, own) in self.parts.iter().take(self.used) {
            let (z0, z1, zv) = ((u - half) / sigma, (u + half) / sigma, v / sigma);
            let (d0, p0) = normal(z0);
            let (d1, p1) = normal(z1);
            let across = share * normal(zv).0 / sigma;
            let along = (p1 - p0) / self.trail.length;
            let slope = (d1 - d0) / (self.trail.length * sigma);
            let bend = (z0 * d0 - z1 * d1) / (self.trail.length * sigma * sigma);
            sum += along * across;
            by_u += slope * across;
            by_v -= along * across * zv / sigma;
            by_length += (0.5 * (d0 + d1) / sigma - along) / self.trail.length * across;
            // A Gaussian's change with its variance is half its second derivative.
            by_scale += own * (bend * across + along * across * (zv * zv - 1.0) / (sigma * sigma));
        }
        let flux = self.trail.flux;
        // From along and across the path to straight axes through its middle.
        let (cos, sin) = place.turn;
        let along_u = flux * (by_u * place.stretch * cos + by_v * sin);
        let along_v = flux * (by_v * cos - by_u * place.stretch * sin);
        let (flat_u, flat_v) = place.flat;
        let gradient = [
            -(along_u * self.cos + along_v * self.sin),
            along_u * self.sin - along_v * self.cos,
            sum,
            flux * by_length,
            flat_u * along_v - flat_v * along_u,
            flux * by_scale,
            flux * (0.5 * u * u * by_v - u * v * by_u),
        ];
        (flux * sum, gradient)
    }

    /// Columns of row `y` that may lie within `reach` px of a straight path's side and `half` px of
    /// its middle along it; all for one that bends.
    fn columns(&self, y: f64, reach: f64, half: f64) -> (f64, f64) {
        if self.trail.curvature.abs() >= 1e-9 {
            return (f64::NEG_INFINITY, f64::INFINITY);
        }
        let dy = y - self.trail.y;
        // |slope · dx + offset| ≤ most, one more px on either side for rounding.
        let within = |slope: f64, offset: f64, most: f64| {
            if slope.abs() < 1e-6 {
                return (f64::NEG_INFINITY, f64::INFINITY);
            }
            let (a, b) = ((-most - offset) / slope, (most - offset) / slope);
            (a.min(b) - 1.0, a.max(b) + 1.0)
        };
        let side = within(self.sin, dy * self.cos, reach);
        let along = within(self.cos, -dy * self.sin, half);
        let x = self.trail.x;
        (x + side.0.max(along.0), x + side.1.min(along.1))
    }
}

/// Sums of one round.
struct Round {
    normal: [[f64; PARAMETERS]; PARAMETERS],
    right: [f64; PARAMETERS],
    chi2: f64,
    /// What the trail leaves less what there is without it, in the sky's noise: this compares where
    /// windows differ.
    taken: f64,
    samples: usize,
    /// Like `right` and a row of `normal`, for wings a little stronger.
    wings: Wings,
}

/// How the fit pulls at the spread's wings.
#[derive(Debug, Clone, Copy, Default)]
struct Wings {
    cross: [f64; PARAMETERS],
    own: f64,
    right: f64,
}

impl Trailed {
    /// The rectangle that holds the trail, `reach` px beyond its ends and sides.
    fn bounds(&self, reach: f64) -> (f64, f64, f64, f64) {
        let bulge = 0.125 * self.curvature.abs() * self.length * self.length;
        let (sin, cos) = self.angle.sin_cos();
        let x = 0.5 * self.length * cos.abs() + bulge + reach;
        let y = 0.5 * self.length * sin.abs() + bulge + reach;
        (self.x - x, self.x + x, self.y - y, self.y + y)
    }

    fn moved(&self, step: &[f64; PARAMETERS]) -> Self {
        let [x, y, flux, length, angle, scale, curvature] = *step;
        Self {
            x: self.x + x,
            y: self.y + y,
            flux: self.flux + flux,
            length: (self.length + length).max(0.5 * self.length),
            angle: self.angle + angle,
            scale: self.scale * scale.clamp(-0.5, 0.5).exp(),
            curvature: self.curvature + curvature,
        }
    }
}

fn look(
    ground: &Ground<'_>,
    trail: Trailed,
    other: Option<(&Spread, f64)>,
    core: f64,
) -> Option<Round> {
    let shape = Shape::new(trail, ground.spread);
    let winged = other.map(|(spread, step)| (Shape::new(trail, spread), step));
    let reach = REACH * core;
    let plane = &ground.samples.green;
    let (x0, x1, y0, y1) = trail.bounds(reach);
    let inside = x0 >= 0.0
        && y0 >= 0.0
        && x1 <= plane.width() as f64 - 1.0
        && y1 <= plane.height() as f64 - 1.0;
    if !inside {
        return None;
    }
    let weights = Weights {
        sky: ground.noise * ground.noise,
        photon: ground.photon,
    };
    let mut sums = LaneSums::default();
    let mut batch = Batch::default();
    let mut samples = 0;
    let half = 0.5 * trail.length + reach;
    for row in (y0.ceil() as usize)..=(y1.floor() as usize) {
        let (from, to) = shape.columns(row as f64, reach, half);
        let (from, to) = (x0.max(from).ceil(), x1.min(to).floor());
        if from > to {
            continue;
        }
        let first = from as usize;
        let values = plane.row(row).get(first..=(to as usize))?;
        for (column, &value) in (first..).zip(values) {
            let (x, y) = (column as f64, row as f64);
            let Some(place) = shape.place(x, y, reach).filter(|p| p.along.abs() <= half) else {
                continue;
            };
            if !ground.samples.layout.is_green(column, row) || !value.is_finite() {
                continue;
            }
            batch.push(&place, f64::from(value) - ground.sky.at(x, y));
            samples += 1;
            if batch.is_full() {
                profile_lanes::add(&mut sums, &shape, winged.as_ref(), weights, &batch);
                batch.clear();
            }
        }
    }
    if !batch.is_empty() {
        profile_lanes::add(&mut sums, &shape, winged.as_ref(), weights, &batch);
    }
    let (cross, own, right) = sums.wings();
    let mut round = Round {
        normal: sums.normal(),
        right: sums.right(),
        chi2: sums.chi2(),
        taken: sums.taken() / weights.sky.max(1e-30),
        samples,
        wings: Wings { cross, own, right },
    };
    mirror(&mut round.normal);
    Some(round)
}

/// Gives `each` the samples of a fitted trail: place along it, px, change of the model with a step to
/// its side (a quarter turn clockwise of its angle as seen), what the model leaves, and the weight.
/// `None` where the window leaves the frame.
pub(super) fn across(
    ground: &Ground<'_>,
    trail: Trailed,
    core: f64,
    mut each: impl FnMut(f64, f64, f64, f64),
) -> Option<()> {
    let shape = Shape::new(trail, ground.spread);
    let reach = REACH * core;
    let half = 0.5 * trail.length + reach;
    let plane = &ground.samples.green;
    let (x0, x1, y0, y1) = trail.bounds(reach);
    if x0 < 0.0 || y0 < 0.0 {
        return None;
    }
    for row in (y0.ceil() as usize)..=(y1.floor() as usize) {
        if row >= plane.height() {
            return None;
        }
        let first = x0.ceil() as usize;
        let values = plane.row(row).get(first..=(x1.floor() as usize))?;
        for (column, &value) in (first..).zip(values) {
            if !ground.samples.layout.is_green(column, row) || !value.is_finite() {
                continue;
            }
            let (x, y) = (column as f64, row as f64);
            let Some(place) = shape.place(x, y, reach).filter(|p| p.along.abs() <= half) else {
                continue;
            };
            let (model, gradient) = shape.at_place(&place);
            let variance = ground.noise * ground.noise + ground.photon * model.max(0.0);
            let left = f64::from(value) - ground.sky.at(x, y) - model;
            let side = gradient[0] * shape.sin + gradient[1] * shape.cos;
            each(place.along, side, left, 1.0 / variance.max(1e-30));
        }
    }
    Some(())
}

/// The upper half of a symmetric matrix from its lower.
fn mirror(normal: &mut [[f64; PARAMETERS]; PARAMETERS]) {
    let lower = *normal;
    for (i, line) in normal.iter_mut().enumerate() {
        for (cell, below) in line.iter_mut().zip(&lower).skip(i + 1) {
            *cell = below[i];
        }
    }
}

/// Holds the parameters that are not free where they are.
fn held(mut round: Round, free: Free) -> Round {
    for i in free.iter().enumerate().filter(|f| !f.1).map(|f| f.0) {
        for j in 0..PARAMETERS {
            for (a, b) in [(i, j), (j, i)] {
                if let Some(cell) = round.normal.get_mut(a).and_then(|line| line.get_mut(b)) {
                    *cell = if a == b { 1.0 } else { 0.0 };
                }
            }
        }
        if let Some(right) = round.right.get_mut(i) {
            *right = 0.0;
        }
        if let Some(cross) = round.wings.cross.get_mut(i) {
            *cross = 0.0;
        }
    }
    round
}

/// Fits a trail from a guess; `None` where its window leaves the frame or nothing is there.
///
/// `core` is σ of the star across its trail as sampled, px.
pub(super) fn fit(ground: &Ground<'_>, start: Trailed, core: f64, free: Free) -> Option<Fitted> {
    let mut trail = start;
    let mut round = held(look(ground, trail, None, core)?, free);
    let mut damping = 1e-3;
    let mut settled = false;
    // A path that bends is seen in its middle first, and grows along itself to its ends.
    let grows = free == CURVED;
    let (rounds, growth) = if grows {
        (3 * ROUNDS, 5.0)
    } else {
        (ROUNDS, 1.0)
    };
    for turn in 0..rounds {
        let mut normal = round.normal;
        for (i, line) in normal.iter_mut().enumerate() {
            if let Some(cell) = line.get_mut(i) {
                *cell *= 1.0 + damping;
            }
        }
        let step = solve(normal, round.right)?;
        let next = trail.moved(&step);
        let strays =
            (next.x - start.x).hypot(next.y - start.y) > growth * (0.5 * start.length + 3.0 * core);
        let is_odd = next.flux <= 0.0
            || !next.length.is_finite()
            || next.length > growth * (2.0 * start.length + 8.0 * core)
            || (next.curvature * next.length).abs() > 3.0;
        if strays || is_odd {
            damping *= 10.0;
            if damping > 1e6 {
                break;
            }
            continue;
        }
        let seen = held(look(ground, next, None, core)?, free);
        let gain = if grows {
            round.taken - seen.taken
        } else {
            round.chi2 - seen.chi2
        };
        if gain < -1e-3 * round.chi2.max(1.0) {
            damping *= 10.0;
            if damping > 1e6 {
                break;
            }
            continue;
        }
        damping = (0.1 * damping).max(1e-9);
        (trail, round) = (next, seen);
        // Samples that come into the window and leave it again keep χ² from coming to rest.
        let rest = if grows || turn < PATIENCE {
            1e-2
        } else {
            1e-4 * round.chi2
        };
        if gain.abs() < rest {
            settled = true;
            break;
        }
    }
    let mut variances = [0.0; PARAMETERS];
    for (i, variance) in variances.iter_mut().enumerate() {
        if free.get(i) != Some(&true) {
            continue;
        }
        let mut unit = [0.0; PARAMETERS];
        *unit.get_mut(i)? = 1.0;
        *variance = *solve(round.normal, unit)?.get(i)?;
    }
    let freedom = round.samples.saturating_sub(PARAMETERS).max(1);
    Some(Fitted {
        trail,
        variances,
        chi2: round.chi2 / freedom as f64,
        settled: settled && variances.iter().all(|v| *v >= 0.0),
    })
}

/// How a fitted star would have the wings κ of its spread changed: the pull and the information
/// on it, all else fitted too. `stronger` has κ larger by `step`.
pub(super) fn pull_on_wings(
    ground: &Ground<'_>,
    fitted: &Fitted,
    core: f64,
    free: Free,
    (stronger, step): (&Spread, f64),
) -> Option<(f64, f64)> {
    let round = held(
        look(ground, fitted.trail, Some((stronger, step)), core)?,
        free,
    );
    let carried = solve(round.normal, round.wings.cross)?;
    let dot =
        |with: &[f64; PARAMETERS]| -> f64 { carried.iter().zip(with).map(|(a, b)| a * b).sum() };
    let information = round.wings.own - dot(&round.wings.cross);
    let pull = round.wings.right - dot(&round.right);
    (information > 0.0).then_some((pull, information))
}
