//! A strip of the frame above its sky, as it is and through a small matched kernel.
//!
//! Each row goes from sample to filtered value while it is in the processor's cache.

use super::background::{Mesh, SkyRows};
use super::lanes::{self, HalfKernel, RADIUS, TAPS};
use super::saturation::Counts;
use crate::frame::Samples;

/// σ of the kernel, px: stars of FWHM 2 to 4 px lose less than a tenth of their signal by it.
const KERNEL_SIGMA: f64 = 1.2;

/// A strip and its work space.
#[derive(Debug, Default)]
pub(super) struct Filtered {
    /// Rows of the strip through the kernel.
    pub(super) smooth: Vec<f32>,
    /// Every `stride`th row of the strip above the sky, from the first on.
    pub(super) above: Vec<f32>,
    /// A row above the sky, with what the kernel needs on either side.
    line: Vec<f32>,
    /// The last rows through the kernel's one direction.
    ring: Vec<f32>,
    sky: SkyRows,
}

impl Filtered {
    /// Fills `smooth` for `rows` and `above` for every `stride`th of them, and counts what is
    /// clipped in them. Outside the frame counts as sky.
    pub(super) fn fill(
        &mut self,
        samples: &Samples,
        mesh: &Mesh,
        rows: std::ops::Range<usize>,
        stride: usize,
        counts: &mut Counts,
    ) {
        let width = mesh.width;
        let kernel = kernel();
        self.line.clear();
        self.line.resize(width + 2 * RADIUS, 0.0);
        self.ring.resize(width * TAPS, 0.0);
        self.smooth.resize(width * rows.len(), 0.0);
        self.above.resize(width * rows.len().div_ceil(stride), 0.0);
        for i in 0..rows.len() + 2 * RADIUS {
            let y = (rows.start + i).checked_sub(RADIUS);
            let slot = i % TAPS * width;
            let across = self.ring.get_mut(slot..slot + width).unwrap_or_default();
            let line = self.line.get_mut(RADIUS..RADIUS + width);
            match y.filter(|&y| y < mesh.height).zip(line) {
                None => across.fill(0.0),
                Some((y, line)) => {
                    mesh.subtract_row(samples, y, &mut self.sky, line);
                    if rows.contains(&y) {
                        counts.add_row(samples, y);
                        let k = y - rows.start;
                        let kept = self.above.chunks_exact_mut(width).nth(k / stride);
                        if let Some(kept) = kept.filter(|_| k.is_multiple_of(stride)) {
                            kept.copy_from_slice(line);
                        }
                    }
                    lanes::across(&self.line, kernel, across);
                }
            }
            let k = i.checked_sub(2 * RADIUS);
            let out = k.and_then(|k| self.smooth.get_mut(k * width..(k + 1) * width));
            if let Some(out) = out {
                let row = |tap: usize| {
                    let slot = (i + 1 + tap) % TAPS * width;
                    self.ring.get(slot..slot + width).unwrap_or_default()
                };
                lanes::down(std::array::from_fn(row), kernel, out);
            }
        }
    }
}

fn kernel() -> HalfKernel {
    let tap = |x: usize| (-0.5 * (x as f64 / KERNEL_SIGMA).powi(2)).exp();
    let sum: f64 = tap(0) + 2.0 * (1..=RADIUS).map(tap).sum::<f64>();
    std::array::from_fn(|x| (tap(x) / sum) as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Plane;
    use crate::frame::{GreenLayout, Light};

    #[test]
    fn strips_join_and_a_point_becomes_the_kernel() {
        let (width, height) = (40, 30);
        let mut green = Plane::new(width, height);
        green.row_mut(15)[20] = 1.0;
        green.row_mut(0)[0] = 1.0;
        let samples = Samples {
            green,
            layout: GreenLayout::Every,
            light: Light::Linear,
            clip_level: 1.0,
            step: 0.0,
            hues: None,
            quantised_pct: None,
        };
        let mesh = Mesh::over(width, height);
        let mut filtered = Filtered::default();
        let mut counts = Counts::over(&samples);
        let mut whole = Vec::new();
        for rows in [0..16, 16..30] {
            filtered.fill(&samples, &mesh, rows.clone(), 3, &mut counts);
            whole.extend_from_slice(&filtered.smooth);
            for (i, row) in filtered.above.chunks_exact(width).enumerate() {
                assert_eq!(row, samples.green.row(rows.start + 3 * i));
            }
        }
        assert_eq!((counts.clipped_share(), counts.lost), (2.0 / 1200.0, 0));
        let kernel = kernel();
        for (i, value) in whole.iter().enumerate() {
            let tap = |x: usize, y: usize, at: (usize, usize)| {
                let (dx, dy) = (x.abs_diff(at.0), y.abs_diff(at.1));
                if dx <= RADIUS && dy <= RADIUS {
                    kernel[dx] * kernel[dy]
                } else {
                    0.0
                }
            };
            let (x, y) = (i % width, i / width);
            let want = tap(x, y, (20, 15)) + tap(x, y, (0, 0));
            assert!((value - want).abs() < 1e-7, "{x} {y}");
        }
    }
}
