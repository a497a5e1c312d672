//! Trails over the frame: clipped means by cell, and a smooth map through the stars from which the
//! frame's values are read.
//!
//! The map is a polynomial in place for each component of the vector (L² cos 2θ, L² sin 2θ). A
//! rotation about a pole in the frame is exactly quadratic in it, −k² (x + iy)², so trails that
//! point every way do not cancel. Its order is the one with the best Bayesian information
//! criterion (Schwarz 1978, Ann. Stat. 6, 461), at most cubic, so a frame without trails is not
//! given any by fitting its noise.

use super::scatter::{Left, Scatter};
use super::stars::SIGMA_TO_FWHM;
use super::types::{FieldCell, FieldMap, Star, TrailValues};
use crate::base::linalg::solve;
use crate::base::robust::{clipped_mean, median};
use crate::base::{Spin2, robust};

/// Terms of a cubic in two variables.
const TERMS: usize = 10;

/// Number of terms by order.
const TERMS_OF: [usize; 4] = [1, 3, 6, 10];

/// Stars needed for each term of the map.
const STARS_PER_TERM: usize = 4;

/// Fewest stars that carry a frame's trail: one alone cannot tell noise from trail.
pub const LEAST_STARS: usize = 3;

/// Residuals beyond this many robust σ are left out of map and cells.
const CUT: f64 = 3.5;

/// Cells along the longer and the shorter side.
const CELLS: (usize, usize) = (6, 4);

/// Points along each side at which the largest trail is looked for.
const PROBES: usize = 25;

/// Shorter than this many standard errors of L², the map has no trail …
const NO_TRAIL: f64 = 3.0;

/// … and longer than this many, all of it; between, it fades in.
const FULL_TRAIL: f64 = 4.0;

/// A smooth map of trails.
#[derive(Debug, Clone, PartialEq)]
pub struct SmoothField {
    centre: (f64, f64),
    scale: f64,
    terms: usize,
    cos: [f64; TERMS],
    sin: [f64; TERMS],
    normal: [[f64; TERMS]; TERMS],
    /// Variance of a star of unit weight, per component.
    unit_variance: f64,
    /// Mean over the stars of the map's variance at each, per component, px⁴.
    mean_variance: f64,
}

/// One star's say: place, vector, and its error up to a common factor.
#[derive(Debug, Clone, Copy)]
struct Datum {
    basis: [f64; TERMS],
    spin: Spin2,
    weight: f64,
    star: Star,
}

impl SmoothField {
    /// The map through the trails of `stars` in a frame of this size; `None` below
    /// [`LEAST_STARS`].
    #[must_use]
    pub fn fit(stars: &[Star], (width, height): (usize, usize)) -> Option<Self> {
        if stars.len() < LEAST_STARS {
            return None;
        }
        let centre = ((width as f64 - 1.0) / 2.0, (height as f64 - 1.0) / 2.0);
        let scale = (width.max(height) as f64 / 2.0).max(1.0);
        let blank = Self {
            centre,
            scale,
            terms: 1,
            cos: [0.0; TERMS],
            sin: [0.0; TERMS],
            normal: [[0.0; TERMS]; TERMS],
            unit_variance: 0.0,
            mean_variance: 0.0,
        };
        let mut widths: Vec<f64> = stars.iter().map(|s| f64::from(s.fwhm_px)).collect();
        let short2 = (median(&mut widths)? / SIGMA_TO_FWHM).powi(2);
        let mut scatter = Scatter::usual();
        let mut data: Vec<Datum> = stars
            .iter()
            .map(|star| Datum {
                basis: blank.basis(f64::from(star.x_px), f64::from(star.y_px)),
                spin: star.trail,
                weight: scatter.error(star.snr, short2, 0.0).powi(-2),
                star: *star,
            })
            .collect();
        let most = *TERMS_OF
            .iter()
            .rfind(|&&t| t * STARS_PER_TERM <= data.len())
            .unwrap_or(&1);
        for round in 0..8 {
            let field = blank.fitted(&data, most)?;
            let left: Vec<Left> = data.iter().map(|d| field.left(d)).collect();
            scatter = scatter.seen(left, short2, field.terms);
            for datum in &mut data {
                let length = field.dot(&datum.basis).length_px();
                datum.weight = scatter.error(datum.star.snr, short2, length).powi(-2);
            }
            let mut sizes: Vec<f64> = data.iter().map(|d| field.residual2(d)).collect();
            let reference = sizes.clone();
            // For two Gaussian components the median of r² is 2 ln 2 σ².
            let sigma2 = median(&mut sizes)? / (2.0 * std::f64::consts::LN_2);
            let before = data.len();
            let mut kept = reference
                .iter()
                .map(|&r2| r2 <= 2.0 * CUT * CUT * sigma2.max(1e-12));
            data.retain(|_| kept.next().unwrap_or(true));
            if data.len() == before && round > 1 {
                break;
            }
        }
        let candidates = TERMS_OF
            .iter()
            .filter(|&&t| t == 1 || t * STARS_PER_TERM <= data.len());
        candidates
            .filter_map(|&terms| blank.fitted(&data, terms))
            .map(|field| (field.information(&data), field))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, field)| field)
    }

    fn basis(&self, x: f64, y: f64) -> [f64; TERMS] {
        let (u, v) = (
            (x - self.centre.0) / self.scale,
            (y - self.centre.1) / self.scale,
        );
        [
            1.0,
            u,
            v,
            u * u,
            u * v,
            v * v,
            u * u * u,
            u * u * v,
            u * v * v,
            v * v * v,
        ]
    }

    fn fitted(&self, data: &[Datum], terms: usize) -> Option<Self> {
        let mut normal = [[0.0; TERMS]; TERMS];
        let (mut cos, mut sin) = ([0.0; TERMS], [0.0; TERMS]);
        for datum in data {
            for (i, &a) in datum.basis.iter().enumerate().take(terms) {
                let weighted = datum.weight * a;
                if let (Some(line), Some(c), Some(s)) =
                    (normal.get_mut(i), cos.get_mut(i), sin.get_mut(i))
                {
                    *c += weighted * datum.spin.cos;
                    *s += weighted * datum.spin.sin;
                    for (cell, &b) in line.iter_mut().zip(&datum.basis).take(terms) {
                        *cell += weighted * b;
                    }
                }
            }
        }
        for (i, line) in normal.iter_mut().enumerate().skip(terms) {
            if let Some(cell) = line.get_mut(i) {
                *cell = 1.0;
            }
        }
        let mut field = Self {
            terms,
            cos: solve(normal, cos)?,
            sin: solve(normal, sin)?,
            normal,
            ..self.clone()
        };
        let free = 2.0 * (data.len().saturating_sub(terms)).max(1) as f64;
        field.unit_variance = data.iter().map(|d| field.residual2(d)).sum::<f64>() / free;
        let variances = data.iter().map(|d| field.variance(d.basis));
        field.mean_variance = variances.sum::<f64>() / data.len().max(1) as f64;
        Some(field)
    }

    /// Weighted square of what the map leaves of a star.
    fn residual2(&self, datum: &Datum) -> f64 {
        let map = self.dot(&datum.basis);
        datum.weight * ((datum.spin.cos - map.cos).powi(2) + (datum.spin.sin - map.sin).powi(2))
    }

    fn left(&self, datum: &Datum) -> Left {
        Left {
            snr: datum.star.snr,
            length: self.dot(&datum.basis).length_px(),
            square: self.residual2(datum) / datum.weight,
        }
    }

    fn information(&self, data: &[Datum]) -> f64 {
        let n = 2.0 * data.len() as f64;
        let chi2: f64 = data.iter().map(|d| self.residual2(d)).sum();
        n * (chi2 / n).max(1e-300).ln() + 2.0 * self.terms as f64 * n.ln()
    }

    fn dot(&self, basis: &[f64; TERMS]) -> Spin2 {
        let sum = |coefficients: &[f64; TERMS]| {
            basis
                .iter()
                .zip(coefficients)
                .take(self.terms)
                .map(|(b, c)| b * c)
                .sum()
        };
        Spin2 {
            cos: sum(&self.cos),
            sin: sum(&self.sin),
        }
    }

    /// The map's trail at a place in px.
    #[must_use]
    pub fn at(&self, x: f64, y: f64) -> Spin2 {
        self.dot(&self.basis(x, y))
    }

    /// Standard error of each component of [`Self::at`], px².
    #[must_use]
    pub fn error_at(&self, x: f64, y: f64) -> f64 {
        self.variance(self.basis(x, y)).sqrt()
    }

    /// Variance of each component of the map where it has this basis, px⁴.
    fn variance(&self, mut basis: [f64; TERMS]) -> f64 {
        basis.iter_mut().skip(self.terms).for_each(|b| *b = 0.0);
        let variance = solve(self.normal, basis).map_or(0.0, |s| {
            s.iter().zip(&basis).map(|(s, b)| s * b).sum::<f64>()
        });
        (self.unit_variance * variance).max(0.0)
    }

    /// The map's trail length at a place, with what its own noise adds taken off, px; 0 where the
    /// map does not stand clear of its error.
    #[must_use]
    pub fn length_at(&self, x: f64, y: f64) -> f64 {
        clear_length(self.at(x, y), self.error_at(x, y))
    }

    /// The frame's trail values: `stars` are those used for the map.
    #[must_use]
    pub fn values(&self, stars: &[Star], (width, height): (usize, usize)) -> TrailValues {
        let mut lengths: Vec<f64> = stars
            .iter()
            .map(|s| self.length_at(f64::from(s.x_px), f64::from(s.y_px)))
            .collect();
        let length_px = median(&mut lengths).unwrap_or(0.0);
        let (cx, cy) = self.centre;
        let centre = self.at(cx, cy);
        let centre_error = self.error_at(cx, cy);
        // A direction means something once the vector stands clear of its error.
        let has_angle =
            centre.length_px() >= 0.5 && centre.cos.hypot(centre.sin) > NO_TRAIL * centre_error;
        TrailValues {
            length_px,
            length_error_px: length_error(length_px, self.mean_variance.sqrt()),
            centre_px: self.length_at(cx, cy),
            max_px: self.largest(stars, (width, height)),
            angle_deg: has_angle.then(|| centre.angle_deg()),
        }
    }

    /// Largest trail at probes over the cells that hold stars: the map says nothing elsewhere.
    fn largest(&self, stars: &[Star], (width, height): (usize, usize)) -> f64 {
        let (cols, rows) = cells_of(width, height);
        let mut held = vec![false; cols * rows];
        for star in stars {
            let cell = cell_of(star, (width, height), (cols, rows));
            if let Some(held) = held.get_mut(cell) {
                *held = true;
            }
        }
        let mut largest = 0.0_f64;
        for i in 0..PROBES {
            for j in 0..PROBES {
                let (u, v) = (
                    i as f64 / (PROBES - 1) as f64,
                    j as f64 / (PROBES - 1) as f64,
                );
                let col = ((u * cols as f64) as usize).min(cols - 1);
                let row = ((v * rows as f64) as usize).min(rows - 1);
                if held.get(row * cols + col) == Some(&true) {
                    let (x, y) = (u * width as f64 - 0.5, v * height as f64 - 0.5);
                    largest = largest.max(self.length_at(x, y));
                }
            }
        }
        largest
    }
}

/// Standard error of L from that of a component of L².
fn length_error(length: f64, spin_error: f64) -> f64 {
    // dL = dL²/2L while L is clear of zero; below, the error itself is the scale.
    (spin_error / (2.0 * length.max(1e-9))).min(spin_error.sqrt())
}

/// Length of a map's vector whose components have this standard error.
///
/// Noise makes |L²| longer: its square by two variances, which are taken off. Of no trail at all it
/// makes one beyond three standard errors in one frame of ninety (exp(−9/2)), so what is shorter is
/// none.
fn clear_length(spin: Spin2, error: f64) -> f64 {
    let square = spin.cos.powi(2) + spin.sin.powi(2);
    let variance = error * error;
    if variance <= 0.0 {
        return square.sqrt().sqrt();
    }
    let (none, full) = (NO_TRAIL.powi(2), FULL_TRAIL.powi(2));
    let clear = ((square / variance - none) / (full - none)).clamp(0.0, 1.0);
    (clear * (square - 2.0 * variance)).max(0.0).sqrt().sqrt()
}

fn cells_of(width: usize, height: usize) -> (usize, usize) {
    if width >= height {
        CELLS
    } else {
        (CELLS.1, CELLS.0)
    }
}

fn cell_of(star: &Star, (width, height): (usize, usize), (cols, rows): (usize, usize)) -> usize {
    let place = |at: f32, length: usize, cells: usize| {
        let cell = (f64::from(at) + 0.5).max(0.0) * cells as f64 / length.max(1) as f64;
        (cell as usize).min(cells - 1)
    };
    place(star.y_px, height, rows) * cols + place(star.x_px, width, cols)
}

/// Clipped means by cell of the stars used, each with what its scatter leaves of an error.
#[must_use]
pub fn field_map(stars: &[Star], size: (usize, usize)) -> FieldMap {
    let (cols, rows) = cells_of(size.0, size.1);
    let mut by_cell: Vec<Vec<&Star>> = vec![Vec::new(); cols * rows];
    for star in stars {
        if let Some(cell) = by_cell.get_mut(cell_of(star, size, (cols, rows))) {
            cell.push(star);
        }
    }
    FieldMap {
        cols,
        rows,
        cells: by_cell.iter().map(|stars| field_cell(stars)).collect(),
    }
}

fn field_cell(stars: &[&Star]) -> Option<FieldCell> {
    if stars.len() < LEAST_STARS {
        return None;
    }
    let component = |of: fn(&Star) -> f64| {
        let values: Vec<f64> = stars.iter().map(|s| of(s)).collect();
        clipped_mean(&values, CUT)
    };
    let (cos, cos_sigma, n) = component(|s| s.trail.cos)?;
    let (sin, sin_sigma, _) = component(|s| s.trail.sin)?;
    let mut widths: Vec<f64> = stars.iter().map(|s| f64::from(s.fwhm_px)).collect();
    Some(FieldCell {
        trail: Spin2 { cos, sin },
        trail_error: cos_sigma.hypot(sin_sigma) / (2.0 * n.max(1) as f64).sqrt(),
        fwhm_px: robust::median(&mut widths)?,
        stars: stars.len() as u32,
    })
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, Normal};

    use super::*;
    use crate::measure::StarFlags;

    const SIZE: (usize, usize) = (1200, 800);

    /// Stars whose vectors scatter about `trail` by `photons`/SNR and by `rest`, px².
    fn stars(seed: u64, count: usize, trail: Spin2, photons: f64, rest: f64) -> Vec<Star> {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let unit = Normal::new(0.0, 1.0).unwrap();
        (0..count)
            .map(|_| {
                let snr = 10.0 * random.random_range(0.02_f64..1.0).powf(-1.2);
                let sigma = (photons / snr).hypot(rest);
                Star {
                    x_px: random.random_range(0.0..SIZE.0 as f32),
                    y_px: random.random_range(0.0..SIZE.1 as f32),
                    flux: snr as f32,
                    peak: 0.1,
                    snr: snr as f32,
                    fwhm_px: SIGMA_TO_FWHM as f32,
                    elongation: 1.0,
                    trail: Spin2 {
                        cos: trail.cos + sigma * unit.sample(&mut random),
                        sin: trail.sin + sigma * unit.sample(&mut random),
                    },
                    flags: StarFlags::default(),
                }
            })
            .collect()
    }

    #[test]
    fn stated_errors_are_the_scatter_whatever_makes_it() {
        for (photons, rest) in [(60.0, 0.2), (60.0, 0.5), (120.0, 1.0)] {
            let (mut pulls, mut seen) = (0.0, 0);
            for seed in 0..150 {
                let stars = stars(seed, 200, Spin2::default(), photons, rest);
                let map = SmoothField::fit(&stars, SIZE).unwrap();
                let at = map.at(600.0, 400.0);
                pulls +=
                    (at.cos.powi(2) + at.sin.powi(2)) / (2.0 * map.error_at(600.0, 400.0).powi(2));
                seen += usize::from(map.values(&stars, SIZE).length_px > 0.0);
            }
            let pull = (pulls / 150.0_f64).sqrt();
            // A quarter is what learning the scatter from 200 stars leaves to chance.
            assert!((0.8..1.25).contains(&pull), "{photons} {rest}: {pull}");
            // One in ninety by chance.
            assert!(seen <= 6, "{photons} {rest}: {seen} of 150 have a trail");
        }
    }

    #[test]
    fn a_short_trail_that_stands_clear_is_read() {
        let want = Spin2::new(1.5, 30.0);
        let mut sum = 0.0;
        for seed in 0..40 {
            let stars = stars(seed, 200, want, 60.0, 0.3);
            let map = SmoothField::fit(&stars, SIZE).unwrap();
            sum += map.values(&stars, SIZE).length_px / 40.0;
        }
        assert!((sum - 1.5).abs() < 0.03, "{sum}");
    }

    #[test]
    fn what_is_not_clear_of_its_error_is_no_length() {
        let spin = Spin2::new(2.0, 10.0);
        assert_eq!(clear_length(spin, 4.0 / 2.9), 0.0);
        assert!((clear_length(spin, 0.0) - 2.0).abs() < 1e-12);
        let clear = clear_length(spin, 4.0 / 5.0);
        assert!((clear - (16.0_f64 - 2.0 * 0.64).powf(0.25)).abs() < 1e-12);
        let half = clear_length(spin, 4.0 / 3.5);
        assert!(half > 0.0 && half < clear);
    }
}
