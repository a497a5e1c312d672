//! How much of the frame is clipped.

use super::lanes;
use crate::frame::{GreenLayout, Samples};

/// What has been counted so far of a frame's true samples.
#[derive(Debug, Default)]
pub(super) struct Counts {
    /// How many samples are no numbers.
    pub(super) lost: usize,
    seen: usize,
    clipped: usize,
    /// For each row of the layout's pattern, 1 where a sample was truly taken and 0 elsewhere, and
    /// the sum of that.
    masks: Vec<(Vec<u32>, usize)>,
}

impl Counts {
    /// Nothing counted yet.
    pub(super) fn over(samples: &Samples) -> Self {
        let period = match samples.layout {
            GreenLayout::Every => 1,
            GreenLayout::Mosaic { height, .. } => usize::from(height.max(1)),
        };
        let mask = |y: usize| {
            let is_green = |x: usize| u32::from(samples.layout.is_green(x, y));
            let mask: Vec<u32> = (0..samples.green.width()).map(is_green).collect();
            let ones = mask.iter().sum::<u32>() as usize;
            (mask, ones)
        };
        Self {
            masks: (0..period).map(mask).collect(),
            ..Self::default()
        }
    }

    /// Counts row `y`.
    pub(super) fn add_row(&mut self, samples: &Samples, y: usize) {
        let Some((mask, ones)) = self.masks.get(y % self.masks.len().max(1)) else {
            return;
        };
        let (clipped, lost) = lanes::count_clipped(samples.green.row(y), mask, samples.clip_level);
        self.clipped += clipped as usize;
        self.lost += lost as usize;
        self.seen += ones;
    }

    /// Share of true samples at or above the clip level.
    pub(super) fn clipped_share(&self) -> f64 {
        self.clipped as f64 / self.seen.max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::super::greens;
    use super::*;
    use crate::base::Plane;
    use crate::frame::Light;

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
            quantised_pct: None,
        };
        let count = |samples: &Samples| {
            let mut counts = Counts::over(samples);
            (0..2).for_each(|y| counts.add_row(samples, y));
            (counts.clipped_share(), counts.lost)
        };
        assert_eq!(count(&samples), (3.0 / 8.0, 1));
        // Green at (1, 0), (3, 0), (0, 1), (2, 1).
        samples.layout = greens::BAYER;
        assert_eq!(count(&samples), (0.25, 0));
    }
}
