//! The arithmetic of profile fits for several samples at once: the same sums as sample by sample, but
//! for their order and the seventh digit of the Gaussian's integral.

use multiversion::multiversion;

use super::exponent::{WIDE, exp};
use super::profile::{PARAMETERS, Place, Shape};

/// Cells of one half of a symmetric matrix.
const HALF: usize = PARAMETERS * (PARAMETERS + 1) / 2;

/// Beyond this many σ a Gaussian is nothing, and its products would only underflow.
const FAR: f64 = 12.0;

/// φ(0).
const TOP: f64 = 0.398_942_280_401_432_7;

/// One number for each sample of a batch.
type Lane = [f64; WIDE];

/// Samples that are looked at together.
#[derive(Debug, Default)]
pub(super) struct Batch {
    flat_u: Lane,
    flat_v: Lane,
    along: Lane,
    across: Lane,
    cos: Lane,
    sin: Lane,
    stretch: Lane,
    /// Brightness above the sky.
    above: Lane,
    len: usize,
}

impl Batch {
    pub(super) fn is_full(&self) -> bool {
        self.len == WIDE
    }

    pub(super) fn is_empty(&self) -> bool {
        self.len == 0
    }

    pub(super) fn clear(&mut self) {
        self.len = 0;
    }

    /// Takes a sample in; a full batch takes none.
    #[inline]
    pub(super) fn push(&mut self, place: &Place, above: f64) {
        let at = self.len;
        if at >= WIDE {
            return;
        }
        (self.flat_u[at], self.flat_v[at]) = place.flat;
        (self.along[at], self.across[at]) = (place.along, place.across);
        (self.cos[at], self.sin[at]) = place.turn;
        self.stretch[at] = place.stretch;
        self.above[at] = above;
        self.len += 1;
    }
}

/// How samples are weighed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Weights {
    /// Variance of a sample of the sky.
    pub(super) sky: f64,
    /// Variance a unit of the star's own light adds.
    pub(super) photon: f64,
}

/// Sums of one round of a fit, side by side.
#[derive(Debug, Clone)]
pub(super) struct LaneSums {
    normal: [Lane; HALF],
    right: [Lane; PARAMETERS],
    chi2: Lane,
    taken: Lane,
    cross: [Lane; PARAMETERS],
    own: Lane,
    wings_right: Lane,
}

impl Default for LaneSums {
    fn default() -> Self {
        Self {
            normal: [[0.0; WIDE]; HALF],
            right: [[0.0; WIDE]; PARAMETERS],
            chi2: [0.0; WIDE],
            taken: [0.0; WIDE],
            cross: [[0.0; WIDE]; PARAMETERS],
            own: [0.0; WIDE],
            wings_right: [0.0; WIDE],
        }
    }
}

impl LaneSums {
    /// Row by row, the lower half with the diagonal.
    pub(super) fn normal(&self) -> [[f64; PARAMETERS]; PARAMETERS] {
        let mut cells = self.normal.iter().map(sum);
        let mut normal = [[0.0; PARAMETERS]; PARAMETERS];
        for (i, line) in normal.iter_mut().enumerate() {
            for (cell, sum) in line.iter_mut().take(i + 1).zip(&mut cells) {
                *cell = sum;
            }
        }
        normal
    }

    pub(super) fn right(&self) -> [f64; PARAMETERS] {
        self.right.each_ref().map(sum)
    }

    pub(super) fn chi2(&self) -> f64 {
        sum(&self.chi2)
    }

    pub(super) fn taken(&self) -> f64 {
        sum(&self.taken)
    }

    /// The wings' mixed terms, their own, and their right side.
    pub(super) fn wings(&self) -> ([f64; PARAMETERS], f64, f64) {
        let cross = self.cross.each_ref().map(sum);
        (cross, sum(&self.own), sum(&self.wings_right))
    }
}

fn sum(lane: &Lane) -> f64 {
    lane.iter().sum()
}

/// (φ(z), Φ(z)); Φ to 7.5e−8 (Hastings; Abramowitz & Stegun 26.2.17).
#[inline(always)]
#[expect(
    clippy::inline_always,
    reason = "or its loop is not compiled to vectors"
)]
pub(super) fn normal(z: f64) -> (f64, f64) {
    let z = if z > FAR { FAR } else { z };
    let z = if z < -FAR { -FAR } else { z };
    let density = density(z);
    let t = 1.0 / (1.0 + 0.231_641_9 * z.abs());
    let high = 1.781_477_937 + t * (-1.821_255_978 + t * 1.330_274_429);
    let beyond = density * t * (0.319_381_530 + t * (-0.356_563_782 + t * high));
    (density, if z > 0.0 { 1.0 - beyond } else { beyond })
}

/// φ(z).
#[inline(always)]
#[expect(
    clippy::inline_always,
    reason = "or its loop is not compiled to vectors"
)]
fn density(z: f64) -> f64 {
    let exponent = -0.5 * z * z;
    TOP * exp(if exponent > -0.5 * FAR * FAR {
        exponent
    } else {
        -0.5 * FAR * FAR
    })
}

/// Light at the places of a batch, in units of all of it.
#[inline(always)]
#[expect(
    clippy::inline_always,
    reason = "or its loop is not compiled to vectors"
)]
fn light(shape: &Shape, batch: &Batch) -> Lane {
    let length = shape.trail.length;
    let half = 0.5 * length;
    let mut light = [0.0; WIDE];
    for &(share, sigma, _) in shape.parts.iter().take(shape.used) {
        let rate = 1.0 / sigma;
        let factor = share * rate / length;
        for (i, light) in light.iter_mut().enumerate() {
            let (u, v) = (batch.along[i], batch.across[i]);
            let (_, below) = normal((u - half) * rate);
            let (_, above) = normal((u + half) * rate);
            *light += (above - below) * factor * density(v * rate);
        }
    }
    light
}

/// Adds a batch to the sums; `winged` is the same trail with wings stronger by its second.
#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn add(
    sums: &mut LaneSums,
    shape: &Shape,
    winged: Option<&(Shape, f64)>,
    weights: Weights,
    batch: &Batch,
) {
    let length = shape.trail.length;
    let (half, per_length) = (0.5 * length, 1.0 / length);
    let mut light_of = [0.0; WIDE];
    let (mut by_u, mut by_v) = ([0.0; WIDE], [0.0; WIDE]);
    let (mut by_length, mut by_scale) = ([0.0; WIDE], [0.0; WIDE]);
    for &(share, sigma, own) in shape.parts.iter().take(shape.used) {
        let rate = 1.0 / sigma;
        for i in 0..WIDE {
            let (u, v) = (batch.along[i], batch.across[i]);
            let (z0, z1, zv) = ((u - half) * rate, (u + half) * rate, v * rate);
            let (d0, p0) = normal(z0);
            let (d1, p1) = normal(z1);
            let across = share * rate * density(zv);
            let along = (p1 - p0) * per_length;
            let slope = (d1 - d0) * per_length * rate;
            let bend = (z0 * d0 - z1 * d1) * per_length * rate * rate;
            let here = along * across;
            light_of[i] += here;
            by_u[i] += slope * across;
            by_v[i] -= here * zv * rate;
            by_length[i] += (0.5 * (d0 + d1) * rate - along) * per_length * across;
            // A Gaussian's change with its variance is half its second derivative.
            by_scale[i] += own * (bend * across + here * (zv * zv - 1.0) * rate * rate);
        }
    }
    let flux = shape.trail.flux;
    let mut gradient = [[0.0; WIDE]; PARAMETERS];
    let mut weight = [0.0; WIDE];
    let mut left = [0.0; WIDE];
    let mut model = [0.0; WIDE];
    for i in 0..WIDE {
        // From along and across the path to straight axes through its middle.
        let (cos, sin) = (batch.cos[i], batch.sin[i]);
        let stretched = by_u[i] * batch.stretch[i];
        let along_u = flux * (stretched * cos + by_v[i] * sin);
        let along_v = flux * (by_v[i] * cos - stretched * sin);
        let (u, v) = (batch.along[i], batch.across[i]);
        gradient[0][i] = -(along_u * shape.cos + along_v * shape.sin);
        gradient[1][i] = along_u * shape.sin - along_v * shape.cos;
        gradient[2][i] = light_of[i];
        gradient[3][i] = flux * by_length[i];
        gradient[4][i] = batch.flat_u[i] * along_v - batch.flat_v[i] * along_u;
        gradient[5][i] = flux * by_scale[i];
        gradient[6][i] = flux * (0.5 * u * u * by_v[i] - u * v * by_u[i]);
        model[i] = flux * light_of[i];
        let own = if model[i] > 0.0 { model[i] } else { 0.0 };
        let variance = weights.sky + weights.photon * own;
        let counts = (i as f64) < batch.len as f64;
        let one = if counts { 1.0 } else { 0.0 };
        weight[i] = one / if variance > 1e-30 { variance } else { 1e-30 };
        let above = batch.above[i];
        left[i] = above - model[i];
        sums.chi2[i] += weight[i] * left[i] * left[i];
        sums.taken[i] += one * (left[i] * left[i] - above * above);
    }
    let mut cell = 0;
    for row in 0..PARAMETERS {
        let mut weighted = [0.0; WIDE];
        for i in 0..WIDE {
            weighted[i] = weight[i] * gradient[row][i];
            sums.right[row][i] += weighted[i] * left[i];
        }
        for with in gradient.iter().take(row + 1) {
            for i in 0..WIDE {
                sums.normal[cell][i] += weighted[i] * with[i];
            }
            cell += 1;
        }
    }
    let Some((winged, step)) = winged else { return };
    let other = light(winged, batch);
    for i in 0..WIDE {
        let change = (flux * other[i] - model[i]) / step;
        let weighted = weight[i] * change;
        sums.own[i] += weighted * change;
        sums.wings_right[i] += weighted * left[i];
        for (cross, by) in sums.cross.iter_mut().zip(&gradient) {
            cross[i] += weighted * by[i];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::profile::Trailed;
    use super::super::spread::Spread;
    use super::*;

    #[test]
    fn the_gaussian_and_its_integral() {
        for i in -1300..1300 {
            let z = f64::from(i) * 0.01;
            let (density, below) = normal(z);
            let want = 0.5 * (1.0 + libm::erf(z / std::f64::consts::SQRT_2));
            assert!((below - want).abs() < 8e-8, "{z}: {below} {want}");
            let want = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
            assert!((density - want).abs() < 1e-12, "{z}: {density} {want}");
        }
    }

    #[test]
    fn several_at_once_are_the_plain_sums() {
        let weights = Weights {
            sky: 0.04,
            photon: 0.02,
        };
        for (curvature, wings) in [(0.0, 0.0), (0.0, 0.3), (0.02, 0.3), (-0.03, 0.2)] {
            let trail = Trailed {
                x: 40.3,
                y: 31.7,
                flux: 90.0,
                length: 17.0,
                angle: 0.7,
                scale: 1.2,
                curvature,
            };
            let shape = Shape::new(trail, &Spread::new(wings));
            let other = (Shape::new(trail, &Spread::new(wings + 0.05)), 0.05);
            let mut sums = LaneSums::default();
            let mut batch = Batch::default();
            let mut right = [0.0; PARAMETERS];
            let mut normal = [[0.0; PARAMETERS]; PARAMETERS];
            let (mut chi2, mut pull) = (0.0, 0.0);
            // 105 places: the last batch is not full.
            for i in 0..105 {
                let (x, y) = (32.0 + f64::from(i % 15), 28.0 + f64::from(i / 15));
                let place = shape.place(x, y, 40.0).unwrap();
                let above = f64::from(i * 37 % 11) - 2.0;
                batch.push(&place, above);
                if batch.is_full() || i == 104 {
                    add(&mut sums, &shape, Some(&other), weights, &batch);
                    batch.clear();
                }
                let (model, gradient) = shape.at_place(&place);
                let weight = 1.0 / (weights.sky + weights.photon * model.max(0.0));
                let change = (other.0.at_place(&place).0 - model) / other.1;
                chi2 += weight * (above - model).powi(2);
                pull += weight * change * (above - model);
                for a in 0..PARAMETERS {
                    right[a] += weight * gradient[a] * (above - model);
                    for (cell, b) in normal[a].iter_mut().zip(gradient).take(a + 1) {
                        *cell += weight * gradient[a] * b;
                    }
                }
            }
            let near = |got: f64, want: f64| (got - want).abs() < 1e-9 * want.abs().max(1.0);
            assert!(near(sums.chi2(), chi2) && near(sums.wings().2, pull));
            for a in 0..PARAMETERS {
                assert!(near(sums.right()[a], right[a]), "{a}");
                for (got, want) in sums.normal()[a].iter().zip(normal[a]) {
                    assert!(near(*got, want), "{a}");
                }
            }
        }
    }
}
