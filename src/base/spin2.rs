//! Quantities that repeat after half a turn, such as a trail's direction.

use serde::{Deserialize, Serialize};

/// A length with a direction that has no head or tail, as the vector (L² cos 2θ, L² sin 2θ).
///
/// Trails are averaged as these vectors: the mean of |L| reads high when L is small and noisy,
/// while the mean of the vectors of a trail-free field tends to zero.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Spin2 {
    /// L² cos 2θ, px².
    pub cos: f64,
    /// L² sin 2θ, px².
    pub sin: f64,
}

impl Spin2 {
    /// From a length and an angle, anticlockwise from image right, in degrees.
    #[must_use]
    pub fn new(length_px: f64, angle_deg: f64) -> Self {
        let (sin, cos) = (2.0 * angle_deg.to_radians()).sin_cos();
        let square = length_px * length_px;
        Self {
            cos: square * cos,
            sin: square * sin,
        }
    }

    /// The length L in px.
    #[must_use]
    pub fn length_px(self) -> f64 {
        self.cos.hypot(self.sin).sqrt()
    }

    /// The angle in [0, 180) degrees, anticlockwise from image right.
    #[must_use]
    pub fn angle_deg(self) -> f64 {
        let angle = 0.5 * self.sin.atan2(self.cos).to_degrees();
        if angle < 0.0 { angle + 180.0 } else { angle }
    }
}

/// The smallest turn between two headless directions, in [0, 90] degrees.
#[must_use]
pub fn angle_between_deg(a_deg: f64, b_deg: f64) -> f64 {
    let turn = (a_deg - b_deg).rem_euclid(180.0);
    turn.min(180.0 - turn)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn round_trip() {
        for angle in [0.0, 12.5, 90.0, 179.0] {
            let spin = Spin2::new(7.25, angle);
            assert!((spin.length_px() - 7.25).abs() < 1e-12);
            assert!(angle_between_deg(spin.angle_deg(), angle) < 1e-9);
        }
    }

    #[test]
    fn opposite_directions_cancel() {
        let (a, b) = (Spin2::new(4.0, 10.0), Spin2::new(4.0, 100.0));
        assert!((a.cos + b.cos).abs() < 1e-12 && (a.sin + b.sin).abs() < 1e-12);
    }

    #[test]
    fn turn_wraps() {
        assert!((angle_between_deg(179.0, 1.0) - 2.0).abs() < 1e-12);
    }
}
