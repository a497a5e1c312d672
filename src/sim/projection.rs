//! Where a direction in the sky falls on the sensor: a rectilinear lens on a turning Earth.
//!
//! Written apart from the room that measures with such a model, so that each can check the other.
//! Refraction is left out.

use super::scenes::Scene;

/// The sky's turning, radians a second: 2π over the mean sidereal day (IERS Conventions).
pub(crate) const SKY_RATE: f64 = std::f64::consts::TAU / 86_164.090_5;

pub(crate) type Vec3 = [f64; 3];
pub(crate) type Mat3 = [Vec3; 3];

pub(crate) fn dot(a: Vec3, b: Vec3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn apply(m: &Mat3, v: Vec3) -> Vec3 {
    [dot(m[0], v), dot(m[1], v), dot(m[2], v)]
}

/// A camera at a place on Earth.
#[derive(Debug, Clone)]
pub(crate) struct View {
    pub(crate) focal_px: f64,
    /// Pixel coordinates of the optical axis: the frame's centre.
    pub(crate) centre: [f64; 2],
    /// Camera axes (image right, image down, along the lens) in east, north, up.
    axes: Mat3,
    latitude: f64,
    tracked: bool,
}

impl View {
    pub(crate) fn new(scene: &Scene, pixel_um: f64, width: usize, height: usize) -> Self {
        let (sa, ca) = scene.azimuth_deg.to_radians().sin_cos();
        let (sh, ch) = scene.altitude_deg.to_radians().sin_cos();
        let forward = [ch * sa, ch * ca, sh];
        let right = [ca, -sa, 0.0];
        let down = [sh * sa, sh * ca, -ch];
        Self {
            focal_px: 1000.0 * scene.focal_mm / pixel_um,
            centre: [(width as f64 - 1.0) / 2.0, (height as f64 - 1.0) / 2.0],
            axes: [right, down, forward],
            latitude: scene.latitude_deg.to_radians(),
            tracked: scene.tracked,
        }
    }

    /// From star axes (equator at the meridian, equator in the east, north pole at time 0) to
    /// camera axes, `t_s` seconds after time 0. A tracking mount stops the turning.
    pub(crate) fn sky_to_camera(&self, t_s: f64) -> Mat3 {
        let turn = if self.tracked { 0.0 } else { SKY_RATE * t_s };
        let (st, ct) = turn.sin_cos();
        let (sl, cl) = self.latitude.sin_cos();
        let meridian = [0.0, -sl, cl];
        let east = [1.0, 0.0, 0.0];
        let pole = [0.0, cl, sl];
        // The sky turns from east over the meridian to west, so hour angles grow with time.
        let e1 = [0, 1, 2].map(|i| ct * meridian[i] - st * east[i]);
        let e2 = [0, 1, 2].map(|i| st * meridian[i] + ct * east[i]);
        self.axes
            .map(|axis| [dot(axis, e1), dot(axis, e2), dot(axis, pole)])
    }

    /// The pixel on which a direction in camera axes falls when the camera is turned so that the
    /// frame's centre moves by `shift` px; `None` behind the camera.
    pub(crate) fn to_pixel(&self, v: Vec3, shift: [f64; 2]) -> Option<[f64; 2]> {
        let (a, b) = (shift[0] / self.focal_px, shift[1] / self.focal_px);
        let z = v[2] - a * v[0] - b * v[1];
        (z > 0.02).then(|| {
            [
                self.centre[0] + self.focal_px * (v[0] + a * v[2]) / z,
                self.centre[1] + self.focal_px * (v[1] + b * v[2]) / z,
            ]
        })
    }

    /// As [`Self::to_pixel`], from star axes through `matrix`.
    pub(crate) fn star_to_pixel(
        &self,
        matrix: &Mat3,
        star: Vec3,
        shift: [f64; 2],
    ) -> Option<[f64; 2]> {
        self.to_pixel(apply(matrix, star), shift)
    }

    /// The direction in camera axes seen at a pixel.
    pub(crate) fn ray(&self, pixel: [f64; 2]) -> Vec3 {
        let x = (pixel[0] - self.centre[0]) / self.focal_px;
        let y = (pixel[1] - self.centre[1]) / self.focal_px;
        let norm = (1.0 + x * x + y * y).sqrt();
        [x / norm, y / norm, 1.0 / norm]
    }

    /// The direction in star axes seen at a pixel through `matrix`.
    pub(crate) fn star_at(&self, matrix: &Mat3, pixel: [f64; 2]) -> Vec3 {
        let v = self.ray(pixel);
        [0, 1, 2].map(|i| matrix[0][i] * v[0] + matrix[1][i] * v[1] + matrix[2][i] * v[2])
    }

    /// A direction in camera axes as east, north, up.
    pub(crate) fn to_horizon(&self, v: Vec3) -> Vec3 {
        [0, 1, 2].map(|i| self.axes[0][i] * v[0] + self.axes[1][i] * v[1] + self.axes[2][i] * v[2])
    }

    /// The pole that is above the horizon, in pixels (it may be outside the frame); `None` behind
    /// the camera.
    pub(crate) fn pole_px(&self) -> Option<[f64; 2]> {
        let up = if self.latitude < 0.0 { -1.0 } else { 1.0 };
        self.star_to_pixel(&self.sky_to_camera(0.0), [0.0, 0.0, up], [0.0, 0.0])
    }

    /// Light that reaches a pixel against the frame's centre: cos⁴ of the angle off the axis.
    pub(crate) fn vignetting(&self, pixel: [f64; 2]) -> f64 {
        let x = (pixel[0] - self.centre[0]) / self.focal_px;
        let y = (pixel[1] - self.centre[1]) / self.focal_px;
        let cos2 = 1.0 / (1.0 + x * x + y * y);
        cos2 * cos2
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::scenes::FELL;

    /// A lens on the equator of the sky, level with it, pole up: the closed form
    /// x = F·tan H, y = F·tan δ / cos H of hour angle H and declination δ.
    #[test]
    fn wide_lens_against_the_closed_form() {
        // At latitude 0 the pole lies on the northern horizon; looking straight up with the
        // image's top to the north, the field centre is on the equator.
        let scene = Scene {
            latitude_deg: 0.0,
            azimuth_deg: 180.0,
            altitude_deg: 90.0,
            focal_mm: 14.0,
            ..FELL
        };
        let (w, h) = (36.0 / 0.0043, 24.0 / 0.0043);
        let view = View::new(&scene, 4.3, 2, 2);
        let chord = |x: f64, y: f64| {
            let pixel = [view.centre[0] + x, view.centre[1] + y];
            let star = view.star_at(&view.sky_to_camera(0.0), pixel);
            let at = |t: f64| {
                let m = view.sky_to_camera(t);
                view.star_to_pixel(&m, star, [0.0, 0.0]).unwrap()
            };
            let (a, b) = (at(-12.5), at(12.5));
            (b[0] - a[0]).hypot(b[1] - a[1])
        };
        for (x, y, want) in [
            (0.0, 0.0, 5.935),
            (w / 2.0, 0.0, 15.747),
            (0.0, -h / 2.0, 5.935),
            (w / 2.0, -h / 2.0, 17.052),
        ] {
            let got = chord(x, y);
            assert!(
                (got - want).abs() < 1.5e-3,
                "at {x}, {y}: {got}, want {want}"
            );
        }
    }

    #[test]
    fn the_pole_stands_as_high_as_the_latitude() {
        let scene = Scene {
            azimuth_deg: 0.0,
            altitude_deg: FELL.latitude_deg,
            ..FELL
        };
        let view = View::new(&scene, 6.0, 101, 101);
        let pole = view.pole_px().unwrap();
        assert!((pole[0] - 50.0).hypot(pole[1] - 50.0) < 1e-9);
    }

    #[test]
    fn stars_in_the_south_go_right() {
        let scene = Scene {
            azimuth_deg: 180.0,
            ..FELL
        };
        let view = View::new(&scene, 6.0, 101, 101);
        let star = view.star_at(&view.sky_to_camera(0.0), view.centre);
        let later = view
            .star_to_pixel(&view.sky_to_camera(30.0), star, [0.0, 0.0])
            .unwrap();
        assert!(later[0] > view.centre[0] + 3.0, "{later:?}");
    }

    #[test]
    fn a_shift_moves_the_centre_by_itself() {
        let view = View::new(&FELL, 6.0, 101, 101);
        let moved = view.to_pixel([0.0, 0.0, 1.0], [3.0, -2.0]).unwrap();
        assert!((moved[0] - 53.0).abs() < 1e-9 && (moved[1] - 48.0).abs() < 1e-9);
    }
}
