//! The lens: where a direction falls on the sensor, and where a pixel looks.

/// A unit vector in camera axes: x right, y down, z forward.
pub type Ray = [f64; 3];

/// A rectilinear (gnomonic, r = f · tan θ) lens over a sensor, its axis through the sensor's centre.
///
/// Real lenses depart from it by a few per cent towards the corners, fisheyes by far more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    /// Focal length, px.
    pub focal_px: f64,
    /// Sensor width, px.
    pub width_px: f64,
    /// Sensor height, px.
    pub height_px: f64,
}

impl Camera {
    /// A camera, or `None` when a value is not a positive number.
    #[must_use]
    pub fn new(focal_px: f64, width_px: f64, height_px: f64) -> Option<Self> {
        let usable = |value: f64| value.is_finite() && value > 0.0;
        (usable(focal_px) && usable(width_px) && usable(height_px)).then_some(Self {
            focal_px,
            width_px,
            height_px,
        })
    }

    /// The pixel on the lens axis: the centre of the first pixel is (0, 0).
    #[must_use]
    pub fn centre(&self) -> (f64, f64) {
        ((self.width_px - 1.0) / 2.0, (self.height_px - 1.0) / 2.0)
    }

    /// Where pixel (`x`, `y`) looks.
    #[must_use]
    pub fn ray(&self, x: f64, y: f64) -> Ray {
        let (cx, cy) = self.centre();
        unit([x - cx, y - cy, self.focal_px])
    }

    /// The pixel, perhaps off the sensor, on which `ray` falls; `None` for what is not in front of
    /// the lens.
    #[must_use]
    pub fn pixel(&self, ray: Ray) -> Option<(f64, f64)> {
        let [x, y, z] = ray;
        // Below this the pixel is farther off than any sensor reaches.
        if z <= 1e-6 {
            return None;
        }
        let (cx, cy) = self.centre();
        let scale = self.focal_px / z;
        Some((cx + scale * x, cy + scale * y))
    }

    /// Arcseconds per pixel at the centre of the field: 206 264.8″ over the focal length in px.
    /// Source: small angles on r = f · tan θ.
    #[must_use]
    pub fn scale_arcsec_per_px(&self) -> f64 {
        1f64.to_degrees() * 3600.0 / self.focal_px
    }
}

/// `vector` at length 1; the forward axis when it has none.
#[must_use]
pub fn unit(vector: Ray) -> Ray {
    let length = dot(vector, vector).sqrt();
    if length > 0.0 {
        vector.map(|part| part / length)
    } else {
        [0.0, 0.0, 1.0]
    }
}

/// Scalar product.
#[must_use]
pub fn dot(a: Ray, b: Ray) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Vector product.
#[must_use]
pub fn cross(a: Ray, b: Ray) -> Ray {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

/// The angle between two unit vectors, degrees; exact for small angles too.
#[must_use]
pub fn angle_deg(a: Ray, b: Ray) -> f64 {
    let across = cross(a, b);
    dot(across, across).sqrt().atan2(dot(a, b)).to_degrees()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixel_and_ray_are_inverse() {
        let camera = Camera::new(3255.8, 8372.0, 5581.0).unwrap();
        for (x, y) in [(0.0, 0.0), (4185.5, 2790.0), (8371.0, 17.25)] {
            let (u, v) = camera.pixel(camera.ray(x, y)).unwrap();
            assert!((u - x).abs() < 1e-8 && (v - y).abs() < 1e-8);
        }
    }

    #[test]
    fn a_right_angle_is_a_focal_length_at_45_degrees() {
        let camera = Camera::new(1000.0, 4001.0, 3001.0).unwrap();
        let right = camera.ray(3000.0, 1500.0);
        assert!((angle_deg(right, [0.0, 0.0, 1.0]) - 45.0).abs() < 1e-10);
        assert!(right[0] > 0.0);
        assert!(camera.ray(2000.0, 2000.0)[1] > 0.0, "y runs down");
    }

    #[test]
    fn behind_the_lens_is_nowhere() {
        let camera = Camera::new(1000.0, 4000.0, 3000.0).unwrap();
        assert_eq!(camera.pixel([0.0, 0.0, -1.0]), None);
        assert_eq!(camera.pixel([1.0, 0.0, 0.0]), None);
    }

    #[test]
    fn nonsense_is_no_camera() {
        assert_eq!(Camera::new(0.0, 10.0, 10.0), None);
        assert_eq!(Camera::new(f64::NAN, 10.0, 10.0), None);
        assert_eq!(Camera::new(10.0, 10.0, f64::INFINITY), None);
    }

    #[test]
    fn scale_of_24_mm_on_4_3_um() {
        // 206.265 · 4.3 / 24 = 36.956″/px (method.md, sky geometry: "36.96″/px").
        let camera = Camera::new(24_000.0 / 4.3, 8372.0, 5581.0).unwrap();
        assert!((camera.scale_arcsec_per_px() - 36.956).abs() < 0.001);
    }
}
