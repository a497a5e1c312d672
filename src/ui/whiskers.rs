//! Whiskers: lines along the trails of single stars, drawn longer than the trails are.

use egui::{Color32, Painter, Pos2, vec2};

use super::frame_marks::{Scene, with_halo};
use super::frame_window::FrameWindow;
use super::spots::{self, DIRECTION_DEG, DIRECTION_PX};
use crate::base::Spin2;
use crate::base::spin2::angle_between_deg;
use crate::measure::{FrameMeasure, Star};

/// Whiskers are at most this many times as long as the trails…
const MOST_TIMES: u32 = 24;
/// …and the usual one is no longer than this, points.
const LONG: f32 = 38.0;
/// Whiskers stand at least this far apart, points.
const APART: f32 = 40.0;
/// The shape of a fainter star tells more about noise than about its trail.
const LEAST_SNR: f32 = 30.0;
/// Narrower than this share of the frame's stars is no star but a hot pixel or two.
const LEAST_WIDTH: f64 = 0.6;
/// A star is off when it departs from the sky's turning by more than this many of its own errors.
const ERRORS: f64 = 3.0;

/// How many times longer than trails whiskers are drawn: 24 where that is short enough not to run
/// into the next, else less, and 1 at the least.
#[must_use]
pub(super) fn times(window: &FrameWindow, measure: &FrameMeasure) -> u32 {
    let trail = measure.trail.map_or(0.0, |trail| trail.length_px) as f32 * window.zoom;
    if trail <= 0.0 {
        return MOST_TIMES;
    }
    ((LONG / trail) as u32).clamp(1, MOST_TIMES)
}

pub(super) fn paint(painter: &Painter, scene: &Scene<'_>) {
    let area = scene.window.rect.shrink(2.0);
    let times = times(&scene.window, scene.measure) as f32;
    let mut placed: Vec<Pos2> = Vec::new();
    // Brightest first, so that where two are close the surer one is drawn.
    let usual = scene.measure.fwhm_px.unwrap_or(0.0);
    for star in (scene.measure.stars.iter()).filter(|star| has_shape(star, usual)) {
        let centre = scene.at(f64::from(star.x_px), f64::from(star.y_px));
        let apart = |other: &Pos2| other.distance(centre) >= APART;
        if !area.contains(centre) || !placed.iter().all(apart) {
            continue;
        }
        placed.push(centre);
        let angle = scene
            .turn
            .angle_to_display(star.trail.angle_deg())
            .to_radians() as f32;
        let half = star.trail.length_px() as f32 * times * scene.window.zoom / 2.0;
        // y runs down on the screen; angles run anticlockwise.
        let along = vec2(angle.cos(), -angle.sin()) * half;
        let ends = [centre - along, centre + along];
        with_halo(painter, &ends, 1.3, colour(scene, star));
    }
}

/// Whether a star's trail can be told by itself.
fn has_shape(star: &Star, usual_width_px: f64) -> bool {
    let flags = star.flags;
    let is_plain = !(flags.clipped || flags.at_edge || flags.unsettled || flags.blended);
    let is_wide = f64::from(star.fwhm_px) >= LEAST_WIDTH * usual_width_px;
    is_plain && is_wide && star.snr >= LEAST_SNR
}

/// Hue means a verdict: as predicted, or not. With nothing predicted there is no verdict.
fn colour(scene: &Scene<'_>, star: &Star) -> Color32 {
    let predicted = (scene.prediction)
        .and_then(|prediction| prediction.at(f64::from(star.x_px), f64::from(star.y_px)));
    predicted.map_or(scene.t.over, |predicted| {
        if is_off(star, predicted) {
            scene.t.over_doubt
        } else {
            scene.t.over_keep
        }
    })
}

/// Whether a star's trail departs from the predicted one, in length or in direction, by more than
/// the band allows and by more than its own noise explains.
fn is_off(star: &Star, predicted: Spin2) -> bool {
    let (length, expected) = (star.trail.length_px(), predicted.length_px());
    let square_error = square_error(star, expected);
    // dL = dL²/2L while L is clear of zero; below, the error itself is the scale.
    let error = (square_error / (2.0 * expected.max(1e-9))).min(square_error.sqrt());
    let is_as_long =
        spots::within_band(length, expected) || (length - expected).abs() <= ERRORS * error;
    // A direction is half the angle of the trail's vector, so it errs by dL²/2L².
    let angle_error = (square_error / (2.0 * expected * expected).max(1e-9)).to_degrees();
    let turned = angle_between_deg(star.trail.angle_deg(), predicted.angle_deg());
    let has_direction = length.min(expected) >= DIRECTION_PX;
    let is_turned = has_direction && turned > DIRECTION_DEG.max(ERRORS * angle_error);
    !is_as_long || is_turned
}

/// Standard error of a component of one star's L², px²: photon noise and what sampling leaves.
///
/// Fitting a Gaussian under even noise gives a squared axis to 2√2 / SNR of itself (the Fisher
/// information of amplitude and both axes). L² is some 10.5 times what a trail adds to the squared
/// long axis (between 12 for plain moments and 9 for weighted ones), hence 30. The long axis is
/// that of the predicted trail: from its own, a star that noise drew out would excuse itself.
fn square_error(star: &Star, expected_px: f64) -> f64 {
    let short2 = (f64::from(star.fwhm_px) / 2.355).powi(2);
    let long2 = short2 + expected_px * expected_px / 9.0;
    let photons = 30.0 * long2 / f64::from(star.snr).max(1.0);
    photons.hypot(0.1 * short2 + 0.02 * expected_px * expected_px)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{StarErrors, StarFlags};

    fn star(length_px: f64, angle_deg: f64, snr: f32) -> Star {
        Star {
            x_px: 50.0,
            y_px: 50.0,
            flux: 0.1,
            peak: 0.02,
            snr,
            fwhm_px: 2.7,
            elongation: 2.0,
            trail: Spin2::new(length_px, angle_deg),
            flags: StarFlags::default(),
            errors: StarErrors::default(),
        }
    }

    #[test]
    fn the_same_departure_counts_for_a_sure_star_only() {
        let predicted = Spin2::new(5.6, 40.0);
        // At an SNR of 30 the error is 0.45 px, at 300 it is 0.08.
        assert!(!is_off(&star(6.6, 40.0, 30.0), predicted));
        assert!(is_off(&star(6.6, 40.0, 300.0), predicted));
        assert!(!is_off(&star(6.0, 40.0, 3000.0), predicted), "in the band");
        assert!(is_off(&star(9.6, 40.0, 30.0), predicted));
    }

    #[test]
    fn a_star_may_be_off_by_its_direction() {
        let predicted = Spin2::new(5.6, 175.0);
        assert!(!is_off(&star(5.6, 5.0, 300.0), predicted));
        assert!(is_off(&star(5.6, 25.0, 300.0), predicted));
        assert!(
            !is_off(&star(0.9, 90.0, 300.0), Spin2::new(0.8, 0.0)),
            "round"
        );
    }

    #[test]
    fn faint_and_flagged_stars_have_no_whisker() {
        assert!(has_shape(&star(5.0, 0.0, 30.0), 2.6) && !has_shape(&star(5.0, 0.0, 29.0), 2.6));
        let mut blended = star(5.0, 0.0, 90.0);
        blended.flags.blended = true;
        assert!(!has_shape(&blended, 2.6));
        assert!(!has_shape(&star(5.0, 0.0, 90.0), 5.0), "a hot pixel");
    }
}
