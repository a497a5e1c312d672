//! The sky's turning about the pole, and the trail it draws on the sensor.

use super::projection::{Camera, Ray, cross, dot, unit};
use crate::base::Spin2;

/// How fast the sky turns: 360° in a mean sidereal day of 86 164.0905 s.
///
/// Source: IERS Conventions; Explanatory Supplement to the Astronomical Almanac.
pub const SIDEREAL_ARCSEC_PER_S: f64 = 15.04107;

/// Degrees the sky turns in `seconds`.
#[must_use]
pub fn arc_deg(seconds: f64) -> f64 {
    SIDEREAL_ARCSEC_PER_S * seconds / 3600.0
}

/// `ray` turned about the unit vector `pole` by `angle_rad` (Rodrigues' formula; right-handed in
/// axes x right, y down, z forward, so a positive angle runs clockwise on the screen about a pole
/// in front of the lens).
#[must_use]
pub fn turned(ray: Ray, pole: Ray, angle_rad: f64) -> Ray {
    turned_by(ray, pole, angle_rad.sin_cos())
}

/// [`turned`] with the angle as its sine and cosine, for many rays turned alike.
#[must_use]
pub fn turned_by(ray: Ray, pole: Ray, (sin, cos): (f64, f64)) -> Ray {
    let across = cross(pole, ray);
    let along = dot(pole, ray) * (1.0 - cos);
    let part = |k: usize| ray[k] * cos + across[k] * sin + pole[k] * along;
    [part(0), part(1), part(2)]
}

/// A displacement on the sensor, px; y runs down.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Motion {
    /// To the right, px.
    pub x_px: f64,
    /// Down, px.
    pub y_px: f64,
}

impl Motion {
    /// This motion, `factor` times as long.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self {
            x_px: factor * self.x_px,
            y_px: factor * self.y_px,
        }
    }

    /// Length, px.
    #[must_use]
    pub fn length_px(self) -> f64 {
        self.x_px.hypot(self.y_px)
    }

    /// As a headless trail: (L² cos 2θ, L² sin 2θ), θ anticlockwise from image right.
    #[must_use]
    pub fn trail(self) -> Spin2 {
        // y runs down, so the upward part is −y.
        Spin2 {
            cos: self.x_px * self.x_px - self.y_px * self.y_px,
            sin: -2.0 * self.x_px * self.y_px,
        }
    }

    /// Angle of the headless trail, degrees anticlockwise from image right, [0, 180).
    #[must_use]
    pub fn angle_deg(self) -> f64 {
        self.trail().angle_deg()
    }
}

/// How a star that is at pixel (`x`, `y`) in the middle of an exposure of `seconds` moves from its
/// start to its end: the chord through the true projection, turned right-handed about `pole`.
///
/// `None` when either end is not in front of the lens.
#[must_use]
pub fn trail_at(camera: &Camera, pole: Ray, x: f64, y: f64, seconds: f64) -> Option<Motion> {
    let half = (0.5 * arc_deg(seconds).to_radians()).sin_cos();
    trail_of(camera.ray(x, y), pole, half).map(|motion| motion.times(camera.focal_px))
}

/// The chord of [`trail_at`] for a star at `ray`, in units of the focal length; `half` is the sine
/// and cosine of half the turn. For fits that ask for the same rays many times.
#[must_use]
pub fn trail_of(ray: Ray, pole: Ray, half: (f64, f64)) -> Option<Motion> {
    // Both ends share all of Rodrigues' formula but the sign of the middle term.
    let (sin, cos) = half;
    let across = cross(pole, ray);
    let along = dot(pole, ray) * (1.0 - cos);
    let even = |k: usize| ray[k] * cos + pole[k] * along;
    let odd = |k: usize| across[k] * sin;
    let (z0, z1) = (even(2) - odd(2), even(2) + odd(2));
    if z0.min(z1) <= 1e-6 {
        return None;
    }
    let chord = |k: usize| (even(k) + odd(k)) / z1 - (even(k) - odd(k)) / z0;
    Some(Motion {
        x_px: chord(0),
        y_px: chord(1),
    })
}

/// Speed of a star at pixel (`x`, `y`), px/s.
#[must_use]
pub fn rate_px_per_s(camera: &Camera, pole: Ray, x: f64, y: f64) -> f64 {
    // The exact derivative of the projection: v = ω pole × ray, u = F·(vx/z − x·vz/z²).
    let ray = camera.ray(x, y);
    let velocity = cross(unit(pole), ray);
    let scale = arc_deg(1.0).to_radians() * camera.focal_px / ray[2];
    let along_x = velocity[0] - ray[0] * velocity[2] / ray[2];
    let along_y = velocity[1] - ray[1] * velocity[2] / ray[2];
    scale * along_x.hypot(along_y)
}

/// The largest speed of any star over the frame, px/s, to 1 %.
///
/// Searched on a grid that has the edges and corners in it, where it mostly lies.
#[must_use]
pub fn largest_rate_px_per_s(camera: &Camera, pole: Ray) -> f64 {
    const STEPS: usize = 32;
    let (right, bottom) = (camera.width_px - 1.0, camera.height_px - 1.0);
    let mut largest = 0.0f64;
    for row in 0..=STEPS {
        for column in 0..=STEPS {
            let x = right * column as f64 / STEPS as f64;
            let y = bottom * row as f64 / STEPS as f64;
            largest = largest.max(rate_px_per_s(camera, pole, x, y));
        }
    }
    largest
}

/// The largest speed that any pole could give over the frame, px/s: at a corner that lies on the
/// celestial equator and moves away from the centre. For when the pole is not known; never low.
#[must_use]
pub fn largest_rate_of_any_pole_px_per_s(camera: &Camera) -> f64 {
    let (cx, cy) = camera.centre();
    let corner = cx.hypot(cy) / camera.focal_px;
    arc_deg(1.0).to_radians() * camera.focal_px * (1.0 + corner * corner)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The celestial pole straight up: the field's centre is on the equator.
    const UP: Ray = [0.0, -1.0, 0.0];

    /// Chord at (`x_mm`, `y_mm`) from the centre with 14 mm, 4.3 µm, 25 s.
    fn wide(x_mm: f64, y_mm: f64) -> f64 {
        let camera = Camera::new(14_000.0 / 4.3, 8372.0, 5581.0).unwrap();
        let (cx, cy) = camera.centre();
        let (x, y) = (cx + x_mm * 1000.0 / 4.3, cy - y_mm * 1000.0 / 4.3);
        trail_at(&camera, UP, x, y, 25.0).unwrap().length_px()
    }

    #[test]
    fn wide_lens_table() {
        // method.md, check values, "Wide lens": closed form x = F·tan H, y = F·tan δ/cos H.
        for (x_mm, y_mm, chord) in [
            (0.0, 0.0, 5.935),
            (18.0, 0.0, 15.747),
            (0.0, 12.0, 5.935),
            (18.0, 12.0, 17.052),
            (12.9, 0.0, 10.975),
            (12.9, 8.6, 11.478),
        ] {
            let got = wide(x_mm, y_mm);
            assert!((got - chord).abs() < 6e-4, "{x_mm} {y_mm}: {got}");
        }
    }

    #[test]
    fn normal_lens_on_the_equator() {
        // method.md, sky geometry: f 24, p 4.3, t 30, δ 0 → 12.21 px.
        let camera = Camera::new(24_000.0 / 4.3, 8372.0, 5581.0).unwrap();
        let (cx, cy) = camera.centre();
        let trail = trail_at(&camera, UP, cx, cy, 30.0).unwrap();
        assert!((trail.length_px() - 12.21).abs() < 0.005);
        assert!(trail.angle_deg().abs() < 1e-9, "along the equator");
    }

    #[test]
    fn declination_shortens_a_trail_on_the_axis() {
        // L = 15.04107·cos δ·t / scale, at the centre where the projection adds nothing.
        let camera = Camera::new(5000.0, 6001.0, 4001.0).unwrap();
        let dec = 60f64.to_radians();
        let pole = [0.0, -dec.cos(), dec.sin()];
        let trail = trail_at(&camera, pole, 3000.0, 2000.0, 10.0).unwrap();
        let by_rule = SIDEREAL_ARCSEC_PER_S * 0.5 * 10.0 / camera.scale_arcsec_per_px();
        assert!((trail.length_px() / by_rule - 1.0).abs() < 1e-5);
    }

    #[test]
    fn stars_run_round_a_pole_in_the_frame() {
        let camera = Camera::new(5000.0, 6001.0, 4001.0).unwrap();
        let pole = [0.0, 0.0, 1.0];
        let right = trail_at(&camera, pole, 4000.0, 2000.0, 30.0).unwrap();
        // Clockwise on the screen: what is right of the pole goes down.
        assert!(right.y_px > 0.0 && right.x_px.abs() < 1e-9);
        assert!((right.angle_deg() - 90.0).abs() < 1e-9);
        let upper_right = trail_at(&camera, pole, 4000.0, 1000.0, 30.0).unwrap();
        assert!((upper_right.angle_deg() - 135.0).abs() < 1e-9);
        let at_pole = trail_at(&camera, pole, 3000.0, 2000.0, 30.0).unwrap();
        assert!(at_pole.length_px() < 1e-9);
    }

    #[test]
    fn a_sidereal_day_is_a_whole_turn() {
        assert!((arc_deg(86_164.090_5) - 360.0).abs() < 1e-3);
        // By hand: frames 5 to 311 last 9822 s = 41.0°.
        assert!((arc_deg(9822.0) - 41.0).abs() < 0.05);
        let ray = unit([0.3, -0.2, 0.9]);
        let back = turned(ray, unit([0.5, 0.5, 0.1]), std::f64::consts::TAU);
        assert!(dot(ray, back) > 1.0 - 1e-12);
    }

    #[test]
    fn largest_rate_is_in_the_corner_of_a_wide_frame() {
        let camera = Camera::new(14_000.0 / 4.3, 8372.0, 5581.0).unwrap();
        let largest = largest_rate_px_per_s(&camera, UP);
        let chord = trail_at(&camera, UP, 0.0, 0.0, 1.0).unwrap().length_px();
        assert!((largest / chord - 1.0).abs() < 1e-6);
        assert!(largest <= largest_rate_of_any_pole_px_per_s(&camera));
    }
}
