//! Trails over the frame: clipped means by cell, and a smooth map through the stars from which the
//! frame's values are read.
//!
//! The map is a polynomial in place for each component of the vector (L² cos 2θ, L² sin 2θ). A
//! rotation about a pole in the frame is exactly quadratic in it, −k² (x + iy)², so trails that
//! point every way do not cancel. Its order is the one with the best Bayesian information
//! criterion (Schwarz 1978, Ann. Stat. 6, 461), at most cubic, so a frame without trails is not
//! given any by fitting its noise.

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
        };
        let mut widths: Vec<f64> = stars.iter().map(|s| f64::from(s.fwhm_px)).collect();
        let short2 = (median(&mut widths)? / SIGMA_TO_FWHM).powi(2);
        let mut data: Vec<Datum> = stars
            .iter()
            .map(|star| Datum {
                basis: blank.basis(f64::from(star.x_px), f64::from(star.y_px)),
                spin: star.trail,
                weight: trail_error(star, short2, 0.0).powi(-2),
                star: *star,
            })
            .collect();
        let most = *TERMS_OF
            .iter()
            .rfind(|&&t| t * STARS_PER_TERM <= data.len())
            .unwrap_or(&1);
        for round in 0..8 {
            let field = blank.fitted(&data, most)?;
            let mut sizes: Vec<f64> = data.iter().map(|d| field.residual2(d)).collect();
            let reference = sizes.clone();
            // For two Gaussian components the median of r² is 2 ln 2 σ².
            let sigma2 = median(&mut sizes)? / (2.0 * std::f64::consts::LN_2);
            let before = data.len();
            let mut kept = reference
                .iter()
                .map(|&r2| r2 <= 2.0 * CUT * CUT * sigma2.max(1e-12));
            data.retain(|_| kept.next().unwrap_or(true));
            for datum in &mut data {
                let length = field.dot(&datum.basis).length_px();
                datum.weight = trail_error(&datum.star, short2, length).powi(-2);
            }
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
        Some(field)
    }

    /// Weighted square of what the map leaves of a star.
    fn residual2(&self, datum: &Datum) -> f64 {
        let map = self.dot(&datum.basis);
        datum.weight * ((datum.spin.cos - map.cos).powi(2) + (datum.spin.sin - map.sin).powi(2))
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
        let mut basis = self.basis(x, y);
        basis.iter_mut().skip(self.terms).for_each(|b| *b = 0.0);
        let variance = solve(self.normal, basis).map_or(0.0, |s| {
            s.iter().zip(&basis).map(|(s, b)| s * b).sum::<f64>()
        });
        (self.unit_variance * variance).max(0.0).sqrt()
    }

    /// The map's trail length at a place, with what its own noise adds taken off, px.
    #[must_use]
    pub fn length_at(&self, x: f64, y: f64) -> f64 {
        let (spin, error) = (self.at(x, y), self.error_at(x, y));
        let square = spin.cos.powi(2) + spin.sin.powi(2) - 2.0 * error * error;
        square.max(0.0).sqrt().sqrt()
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
            centre.length_px() >= 0.5 && centre.cos.hypot(centre.sin) > 3.0 * centre_error;
        let weights: f64 = self.normal[0][0];
        let mean_error = (self.unit_variance / weights.max(1e-300)).sqrt();
        TrailValues {
            length_px,
            length_error_px: length_error(length_px, mean_error),
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

/// Error of a star's trail vector, up to a factor common to the frame: photon noise, which grows
/// with the square of the long axis, and what no photon count cures.
///
/// The axes are the frame's (`short2`, px²) and the map's (`length`), never the star's own: weights
/// that know a star's noise would favour those that noise made short.
fn trail_error(star: &Star, short2: f64, length: f64) -> f64 {
    // The long axis settles between the moments of a Gaussian and of an even trail (trail.rs).
    let long2 = short2 + length * length / 9.0;
    let photons = 30.0 * long2 / f64::from(star.snr).max(1.0);
    photons.hypot(0.1 * short2 + 0.02 * length * length)
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
