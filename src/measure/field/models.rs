//! What could have drawn a frame's trails, each explanation with what it leaves.

use super::polynomial::Polynomial;
use super::turning::{LENS, TURNING, TURNING_LENS, Turning, UNIFORM};
use super::{CUT, Datum, Form, Frame, LEAST_STARS, SmoothField, information, most_terms};
use crate::base::linalg::solve;
use crate::base::robust::median_and_sigma;
use crate::measure::types::{FieldModels, TrailCause, WidthPlane};

/// Fewest stars that tell explanations apart.
const LEAST: usize = 12;

/// An explanation with more numbers must be likelier by this much of Schwarz' criterion ("very
/// strong", Kass & Raftery 1995, JASA 90, 773).
const CLEARLY: f64 = 10.0;

/// The frame's trails and widths by each explanation, `map` being the best description of them;
/// `None` below a dozen stars.
pub(super) fn field_models(
    data: &[Datum],
    map: &SmoothField,
    size: (usize, usize),
) -> Option<FieldModels> {
    if data.len() < LEAST {
        return None;
    }
    let frame = map.frame;
    let guide = Polynomial::fitted(data, most_terms(data.len()).min(6))?;
    let fitted = |free| Turning::fitted(data, free, &guide);
    let (uniform, lens) = (fitted(UNIFORM)?, fitted(LENS)?);
    let (turning, both) = (fitted(TURNING)?, fitted(TURNING_LENS)?);
    let left = |map: &Turning| {
        let chi2 = Form::Turning(Box::new(map.clone())).chi2(data);
        (chi2, map.free_count())
    };
    let still = data
        .iter()
        .map(|d| d.weight * (d.spin.cos.powi(2) + d.spin.sin.powi(2)))
        .sum();
    let all = [
        (TrailCause::Still, (still, 0)),
        (TrailCause::Uniform, left(&uniform)),
        (TrailCause::Lens, left(&lens)),
        (TrailCause::Turning, left(&turning)),
        (TrailCause::TurningAndLens, left(&both)),
    ];
    let misfit = |cause: TrailCause| {
        let found = all.iter().find(|one| one.0 == cause);
        found.map_or(0.0, |&(_, (chi2, numbers))| {
            let left = chi2 / (2 * data.len()).saturating_sub(numbers).max(1) as f64;
            (left / map.unit_variance.max(1e-300)).sqrt()
        })
    };
    // Simplest first: each must be clearly better than the best before it.
    let mut best = (TrailCause::Still, f64::INFINITY);
    for &(cause, (chi2, numbers)) in &all {
        let here = information(chi2, numbers, data.len());
        if here < best.1 - CLEARLY {
            best = (cause, here);
        }
    }
    let corner2 = {
        let (w, h) = (size.0 as f64, size.1 as f64);
        (w * w + h * h) / (4.0 * frame.scale * frame.scale)
    };
    let unit = map.unit_variance * misfit(TrailCause::TurningAndLens).powi(2);
    let pole = turning.pole().map(|(u, v)| {
        (
            frame.centre.0 + frame.scale * u,
            frame.centre.1 + frame.scale * v,
        )
    });
    Some(FieldModels {
        best: best.0,
        still: misfit(TrailCause::Still),
        uniform: misfit(TrailCause::Uniform),
        lens: misfit(TrailCause::Lens),
        turning: misfit(TrailCause::Turning),
        turning_and_lens: misfit(TrailCause::TurningAndLens),
        uniform_trail: uniform.at(0.0, 0.0),
        pole_px: pole,
        lens_growth_px2: corner2 * both.numbers[4],
        lens_growth_error_px2: corner2 * (unit * both.covariance[4][4]).max(0.0).sqrt(),
        width: width_plane(data, frame, size)?,
    })
}

/// The plane with a bowl through the stars' widths: a tilted sensor or lens gives the plane, a
/// curved field the bowl.
fn width_plane(data: &[Datum], frame: Frame, size: (usize, usize)) -> Option<WidthPlane> {
    let widths: Vec<f64> = data.iter().map(|d| f64::from(d.star.fwhm_px)).collect();
    let (_, spread) = median_and_sigma(&widths)?;
    let mut coefficients = [0.0; 4];
    let mut sigma = spread.max(1e-6);
    let (mut covariance, mut flat) = ([[0.0; 4]; 4], sigma);
    for round in 0..4 {
        let mut normal = [[0.0; 4]; 4];
        let mut right = [0.0; 4];
        let (mut sum2, mut plain2, mut total, mut count, mut mean) = (0.0, 0.0, 0.0, 0usize, 0.0);
        let weight = |d: &Datum| 1.0 / (0.0025 + f64::from(d.star.snr.max(1.0)).powi(-2));
        let basis = |d: &Datum| [1.0, d.u, d.v, d.u * d.u + d.v * d.v];
        let value = |c: &[f64; 4], b: &[f64; 4]| c.iter().zip(b).map(|(c, b)| c * b).sum::<f64>();
        let kept: Vec<&Datum> = data
            .iter()
            .filter(|d| {
                let off = f64::from(d.star.fwhm_px) - value(&coefficients, &basis(d));
                round == 0 || off.abs() * weight(d).sqrt() <= CUT * sigma
            })
            .collect();
        if kept.len() < LEAST_STARS + 4 {
            return None;
        }
        for d in &kept {
            let (b, w) = (basis(d), weight(d));
            let y = f64::from(d.star.fwhm_px);
            mean += w * y;
            total += w;
            for i in 0..4 {
                right[i] += w * b[i] * y;
                for j in 0..4 {
                    normal[i][j] += w * b[i] * b[j];
                }
            }
        }
        mean /= total;
        coefficients = solve(normal, right)?;
        for d in &kept {
            let y = f64::from(d.star.fwhm_px);
            sum2 += weight(d) * (y - value(&coefficients, &basis(d))).powi(2);
            plain2 += weight(d) * (y - mean).powi(2);
            count += 1;
        }
        sigma = (sum2 / (count - 4) as f64).sqrt().max(1e-9);
        flat = (plain2 / (count - 1) as f64).sqrt();
        covariance = super::polynomial::inverse(&normal)?;
    }
    let [centre, right, down, bowl] = coefficients;
    let (half_w, half_h) = (
        size.0 as f64 / (2.0 * frame.scale),
        size.1 as f64 / (2.0 * frame.scale),
    );
    let error = |i: usize| sigma * covariance[i][i].max(0.0).sqrt();
    Some(WidthPlane {
        centre_px: centre,
        right_px: 2.0 * half_w * right,
        right_error_px: 2.0 * half_w * error(1),
        down_px: 2.0 * half_h * down,
        down_error_px: 2.0 * half_h * error(2),
        corner_px: (half_w * half_w + half_h * half_h) * bowl,
        corner_error_px: (half_w * half_w + half_h * half_h) * error(3),
        flat_misfit: flat / sigma,
    })
}
