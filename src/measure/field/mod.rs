//! Trails over the frame: clipped means by cell, and a smooth map through the stars from which the
//! frame's values are read.
//!
//! The map is a polynomial in place for each component of the vector (L² cos 2θ, L² sin 2θ), or the
//! motion of a turning camera (turning), whichever has the better Bayesian information criterion
//! (Schwarz 1978, Ann. Stat. 6, 461), so a frame without trails is not given any by fitting its
//! noise. Trails that point every way round a pole do not cancel: −k² (x + iy)² is of second order.

mod cells;
mod models;
mod polynomial;
mod pulls;
mod turning;

pub use cells::field_map;
pub(super) use polynomial::quadratic;

use self::cells::{cell_of, cells_of};
use self::polynomial::{Polynomial, TERMS_OF};
use self::turning::Turning;
use super::scatter::{Left, Scatter};
use super::stars::SIGMA_TO_FWHM;
use super::types::{FieldModels, Star, TrailValues};
use crate::base::Spin2;
use crate::base::robust::median;

/// Stars needed for each term of the map.
const STARS_PER_TERM: usize = 4;

/// Fewest stars that carry a frame's trail: one alone cannot tell noise from trail.
pub const LEAST_STARS: usize = 3;

/// Residuals beyond this many robust σ are left out of map and cells.
const CUT: f64 = 3.5;

/// Points along each side at which the largest trail is looked for.
const PROBES: usize = 25;

/// Percent of the stars, by length, that say how well the middle length is known.
const MIDDLE: (usize, usize) = (35, 65);

/// Shorter than this many standard errors of L², the map has no trail …
const NO_TRAIL: f64 = 3.0;

/// … and longer than this many, all of it; between, it fades in.
const FULL_TRAIL: f64 = 4.0;

/// One star's say: place in half frames from the centre, vector, and its weight.
#[derive(Debug, Clone, Copy)]
struct Datum {
    u: f64,
    v: f64,
    spin: Spin2,
    weight: f64,
    star: Star,
}

/// How a map is made.
#[derive(Debug, Clone, PartialEq)]
enum Form {
    Polynomial(Box<Polynomial>),
    Turning(Box<Turning>),
}

impl Form {
    /// Numbers fitted.
    fn numbers(&self) -> usize {
        match self {
            Self::Polynomial(map) => 2 * map.terms(),
            Self::Turning(map) => map.free_count(),
        }
    }

    fn at(&self, u: f64, v: f64) -> Spin2 {
        match self {
            Self::Polynomial(map) => map.at(u, v),
            Self::Turning(map) => map.at(u, v),
        }
    }

    /// Variance of each component at a place, for stars of `unit` variance.
    fn variance(&self, u: f64, v: f64, unit: f64) -> f64 {
        match self {
            Self::Polynomial(map) => unit * map.variance(u, v),
            Self::Turning(map) => map.variance(u, v, unit),
        }
        .max(0.0)
    }

    /// Change of the vector at a place with each number.
    fn slopes(&self, u: f64, v: f64) -> Vec<Spin2> {
        match self {
            Self::Polynomial(map) => map.slopes_at(u, v),
            Self::Turning(map) => map.slopes_at(u, v),
        }
    }

    /// Covariance of the numbers for stars of unit weight, times a vector.
    fn carried(&self, vector: &[f64]) -> Vec<f64> {
        match self {
            Self::Polynomial(map) => map.carried(vector),
            Self::Turning(map) => map.carried(vector),
        }
    }

    /// Weighted square of what the map leaves of a star.
    fn residual2(&self, datum: &Datum) -> f64 {
        let map = self.at(datum.u, datum.v);
        datum.weight * ((datum.spin.cos - map.cos).powi(2) + (datum.spin.sin - map.sin).powi(2))
    }

    fn chi2(&self, data: &[Datum]) -> f64 {
        data.iter().map(|datum| self.residual2(datum)).sum()
    }

    fn left(&self, datum: &Datum) -> Left {
        Left {
            snr: datum.star.snr,
            length: self.at(datum.u, datum.v).length_px(),
            square: self.residual2(datum) / datum.weight,
        }
    }
}

/// Schwarz' criterion of `chi2` left with this many numbers fitted to `stars` vectors.
fn information(chi2: f64, numbers: usize, stars: usize) -> f64 {
    let n = 2.0 * stars as f64;
    n * (chi2 / n).max(1e-300).ln() + numbers as f64 * n.ln()
}

/// A smooth map of trails.
#[derive(Debug, Clone, PartialEq)]
pub struct SmoothField {
    frame: Frame,
    form: Form,
    /// Variance of a star of unit weight, per component.
    unit_variance: f64,
    /// Mean over the stars of the map's variance at each, per component, px⁴.
    mean_variance: f64,
    /// Standard errors of the middle length of the stars and of the centre's length, px.
    length_errors: (f64, f64),
    /// Standard error of the centre's angle, radians.
    angle_error: f64,
    /// What other forms of the map would say.
    apart: Apart,
}

/// How far other forms of the map lie from the chosen one, rms: each counts as far as it may be the
/// better description (Akaike's weights; Burnham & Anderson 2002, ch. 2). Stars that scatter about
/// the chosen form cannot tell that it is the wrong one: a lens that bends, say, where the camera turns.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Apart {
    /// Of the middle length, px.
    length_px: f64,
    /// Of the centre's length, px.
    centre_px: f64,
    /// Of the centre's angle, radians.
    angle: f64,
}

impl Apart {
    fn of(forms: &[(f64, Form)], chosen: &Form, stars: usize, middle: &[(f64, f64)]) -> Self {
        let n = 2.0 * stars as f64;
        let akaike: Vec<f64> = forms
            .iter()
            .map(|(chi2, form)| n * (chi2 / n).max(1e-300).ln() + 2.0 * form.numbers() as f64)
            .collect();
        let least = akaike.iter().copied().fold(f64::INFINITY, f64::min);
        let mean = |form: &Form| {
            let lengths = middle.iter().map(|&(u, v)| form.at(u, v).length_px());
            lengths.sum::<f64>() / middle.len().max(1) as f64
        };
        let (length, centre) = (mean(chosen), chosen.at(0.0, 0.0));
        let (mut total, mut sum) = (0.0, Self::default());
        for (akaike, (_, form)) in akaike.iter().zip(forms) {
            let weight = (-0.5 * (akaike - least)).exp();
            let here = form.at(0.0, 0.0);
            let cross = centre.cos * here.sin - centre.sin * here.cos;
            let along = centre.cos * here.cos + centre.sin * here.sin;
            total += weight;
            sum.length_px += weight * (mean(form) - length).powi(2);
            sum.centre_px += weight * (here.length_px() - centre.length_px()).powi(2);
            sum.angle += weight * (0.5 * cross.atan2(along)).powi(2);
        }
        let rms = |sum: f64| (sum / total).sqrt();
        Self {
            length_px: rms(sum.length_px),
            centre_px: rms(sum.centre_px),
            angle: rms(sum.angle),
        }
    }
}

/// A frame's centre and half its longer side, px.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Frame {
    centre: (f64, f64),
    scale: f64,
}

impl Frame {
    fn new((width, height): (usize, usize)) -> Self {
        Self {
            centre: ((width as f64 - 1.0) / 2.0, (height as f64 - 1.0) / 2.0),
            scale: (width.max(height) as f64 / 2.0).max(1.0),
        }
    }

    fn place(&self, x: f64, y: f64) -> (f64, f64) {
        (
            (x - self.centre.0) / self.scale,
            (y - self.centre.1) / self.scale,
        )
    }
}

/// The stars that agree with each other, weighted by their own scatter.
fn agreeing(stars: &[Star], frame: Frame) -> Option<Vec<Datum>> {
    if stars.len() < LEAST_STARS {
        return None;
    }
    let mut widths: Vec<f64> = stars.iter().map(|s| f64::from(s.fwhm_px)).collect();
    let short2 = (median(&mut widths)? / SIGMA_TO_FWHM).powi(2);
    let mut scatter = Scatter::usual();
    let mut data: Vec<Datum> = stars
        .iter()
        .map(|star| {
            let (u, v) = frame.place(f64::from(star.x_px), f64::from(star.y_px));
            Datum {
                u,
                v,
                spin: star.trail,
                weight: scatter.error(star.snr, short2, 0.0).powi(-2),
                star: *star,
            }
        })
        .collect();
    let most = most_terms(data.len());
    for round in 0..8 {
        let map = Form::Polynomial(Box::new(Polynomial::fitted(&data, most)?));
        let left: Vec<Left> = data.iter().map(|d| map.left(d)).collect();
        scatter = scatter.seen(left, short2, most);
        for datum in &mut data {
            let length = map.at(datum.u, datum.v).length_px();
            datum.weight = scatter.error(datum.star.snr, short2, length).powi(-2);
        }
        let mut sizes: Vec<f64> = data.iter().map(|d| map.residual2(d)).collect();
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
    Some(data)
}

/// The map through the trails of `stars` in a frame of this size, and what explains it; no map below
/// [`LEAST_STARS`].
pub(super) fn map_and_models(
    stars: &[Star],
    size: (usize, usize),
) -> (Option<SmoothField>, Option<FieldModels>) {
    let frame = Frame::new(size);
    let data = agreeing(stars, frame);
    let map = data
        .as_ref()
        .and_then(|data| SmoothField::through(data, frame));
    let models = data
        .zip(map.as_ref())
        .and_then(|(data, map)| models::field_models(&data, map, size));
    (map, models)
}

/// Most terms of a polynomial that this many stars bear.
fn most_terms(stars: usize) -> usize {
    let bearable = TERMS_OF.iter().rfind(|&&t| t * STARS_PER_TERM <= stars);
    *bearable.unwrap_or(&1)
}

/// What the stars can be explained by.
fn candidates(data: &[Datum]) -> Vec<Form> {
    let most = most_terms(data.len());
    let orders = TERMS_OF.iter().filter(|&&terms| terms <= most);
    let polynomials: Vec<Polynomial> = orders
        .filter_map(|&terms| Polynomial::fitted(data, terms))
        .collect();
    let still: f64 = data
        .iter()
        .map(|d| d.weight * (d.spin.cos.powi(2) + d.spin.sin.powi(2)))
        .sum();
    let still = information(still, 0, data.len());
    let mut forms = Vec::new();
    // The best guide bends, but not as noise does.
    if let Some(guide) = polynomials.get(2).or(polynomials.last()) {
        for free in [
            turning::TURNING,
            turning::TURNING_LENS,
            turning::TURNING_BENT,
        ] {
            let bearable = free.iter().filter(|f| **f).count() * STARS_PER_TERM <= 2 * data.len();
            let form = bearable
                .then(|| Turning::fitted(data, free, guide))
                .flatten()
                .map(|map| Form::Turning(Box::new(map)));
            // Where nothing moves, the square of a motion would still be fitted to noise.
            forms.extend(
                form.filter(|form| {
                    information(form.chi2(data), form.numbers(), data.len()) < still
                }),
            );
        }
    }
    forms.extend(
        polynomials
            .into_iter()
            .map(|map| Form::Polynomial(Box::new(map))),
    );
    forms
}

impl SmoothField {
    /// The map through the trails of `stars` in a frame of this size; `None` below
    /// [`LEAST_STARS`].
    #[must_use]
    pub fn fit(stars: &[Star], size: (usize, usize)) -> Option<Self> {
        let frame = Frame::new(size);
        Self::through(&agreeing(stars, frame)?, frame)
    }

    fn through(data: &[Datum], frame: Frame) -> Option<Self> {
        let forms: Vec<(f64, Form)> = candidates(data)
            .into_iter()
            .map(|form| (form.chi2(data), form))
            .collect();
        let by_schwarz =
            |(chi2, form): &(f64, Form)| information(*chi2, form.numbers(), data.len());
        let (chi2, form) = forms
            .iter()
            .min_by(|a, b| by_schwarz(a).total_cmp(&by_schwarz(b)))
            .cloned()?;
        let free = (2 * data.len()).saturating_sub(form.numbers()).max(2);
        let unit_variance = chi2 / free as f64;
        let variances = data.iter().map(|d| form.variance(d.u, d.v, unit_variance));
        let mean_variance = variances.sum::<f64>() / data.len().max(1) as f64;
        // The middle of the lengths moves as the stars there do.
        let mut by_length: Vec<(f64, f64, f64)> = data
            .iter()
            .map(|d| (form.at(d.u, d.v).length_px(), d.u, d.v))
            .collect();
        by_length.sort_by(|a, b| a.0.total_cmp(&b.0));
        let n = by_length.len();
        let middle = by_length.get(MIDDLE.0 * n / 100..(MIDDLE.1 * n / 100 + 1).min(n));
        let middle: Vec<(f64, f64)> = middle
            .unwrap_or(&by_length)
            .iter()
            .map(|&(_, u, v)| (u, v))
            .collect();
        let at_stars = pulls::mean_length(&form, middle.iter().copied());
        let at_centre = pulls::mean_length(&form, std::iter::once((0.0, 0.0)));
        let angle = pulls::angle(&form, (0.0, 0.0));
        let error = |target| pulls::error(&form, data, target);
        let apart = Apart::of(&forms, &form, data.len(), &middle);
        Some(Self {
            frame,
            unit_variance,
            mean_variance,
            length_errors: (error(&at_stars), error(&at_centre)),
            angle_error: error(&angle),
            apart,
            form,
        })
    }

    /// The map's trail at a place in px.
    #[must_use]
    pub fn at(&self, x: f64, y: f64) -> Spin2 {
        let (u, v) = self.frame.place(x, y);
        self.form.at(u, v)
    }

    /// The way stars run at a place in px, x right and y down, up to one sign for the whole frame;
    /// `None` where it is not known beside the others'.
    pub(super) fn direction(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        let (u, v) = self.frame.place(x, y);
        if let Form::Turning(map) = &self.form {
            return Some(map.motion_at(u, v));
        }
        // A polynomial knows the line only: the way is that of the centre, while the line is near it.
        let line = |spin: Spin2| {
            let (sin, cos) = (0.5 * spin.sin.atan2(spin.cos)).sin_cos();
            (cos, -sin)
        };
        let (centre, here) = (line(self.form.at(0.0, 0.0)), line(self.form.at(u, v)));
        let along = centre.0 * here.0 + centre.1 * here.1;
        (along.abs() > 0.5).then_some((along.signum() * here.0, along.signum() * here.1))
    }

    /// Standard error of each component of [`Self::at`], px².
    #[must_use]
    pub fn error_at(&self, x: f64, y: f64) -> f64 {
        let (u, v) = self.frame.place(x, y);
        self.form.variance(u, v, self.unit_variance).sqrt()
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
        let (cx, cy) = self.frame.centre;
        let centre = self.at(cx, cy);
        let centre_error = self.error_at(cx, cy);
        let size2 = centre.cos.hypot(centre.sin);
        // A direction means something once the vector stands clear of its error.
        let has_angle = centre.length_px() >= 0.5 && size2 > NO_TRAIL * centre_error;
        let centre_px = self.length_at(cx, cy);
        TrailValues {
            length_px,
            length_error_px: (self.length_errors.0.hypot(self.apart.length_px))
                .min(self.mean_variance.sqrt().sqrt()),
            centre_px,
            centre_error_px: (self.length_errors.1.hypot(self.apart.centre_px))
                .min(centre_error.sqrt()),
            max_px: self.largest(stars, (width, height)),
            angle_deg: has_angle.then(|| centre.angle_deg()),
            angle_error_deg: has_angle
                .then(|| self.angle_error.hypot(self.apart.angle).to_degrees()),
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

#[cfg(test)]
mod tests;
