//! How much of the frame is clipped.

use super::greens;
use crate::frame::Samples;

/// Share of true samples at or above the clip level, and how many samples are no numbers.
pub(super) fn clipped_and_lost(samples: &Samples) -> (f64, usize) {
    let (mut seen, mut clipped, mut lost) = (0_usize, 0_usize, 0_usize);
    let clip = samples.clip_level;
    let plane = &samples.green;
    for y in 0..plane.height() {
        let row = plane.row(y);
        for (first, step) in greens::columns(samples.layout, y, 0) {
            let mut count = |value: f32| {
                clipped += usize::from(value >= clip);
                lost += usize::from(!value.is_finite());
            };
            let row = row.get(first..).unwrap_or_default();
            seen += row.len().div_ceil(step);
            for &value in row.iter().step_by(step) {
                count(value);
            }
        }
    }
    (clipped as f64 / seen.max(1) as f64, lost)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Plane;
    use crate::frame::{GreenLayout, Light};

    #[test]
    fn counts_true_samples_only() {
        let data = vec![1.0, 0.2, f32::NAN, 0.97, 0.1, 1.0, 0.3, 0.3];
        let mut samples = Samples {
            green: Plane::from_vec(4, 2, data).unwrap(),
            layout: GreenLayout::Every,
            light: Light::Linear,
            clip_level: 0.95,
            step: 0.0,
            hues: None,
        };
        assert_eq!(clipped_and_lost(&samples), (3.0 / 8.0, 1));
        // Green at (1, 0), (3, 0), (0, 1), (2, 1).
        samples.layout = greens::BAYER;
        assert_eq!(clipped_and_lost(&samples), (0.25, 0));
    }
}
