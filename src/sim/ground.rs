//! The ground at the foot of the frame: a far ridge in haze, a near one with conifers. It never
//! moves with the sky.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::canvas::Canvas;
use super::glow::SkyGrid;

/// Columns of the silhouette per pixel, so that its edge is not a staircase.
const FINE: usize = 4;

/// The silhouette's top edge in pixel rows, for each fine column.
pub(crate) struct Ground {
    far: Vec<f32>,
    near: Vec<f32>,
    height: usize,
}

impl Ground {
    /// `share` is the mean height of the near ridge in units of the frame's height.
    pub(crate) fn new(share: f64, width: usize, height: usize, seed: u64) -> Option<Self> {
        if share <= 0.0 {
            return None;
        }
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x6e0d_6d00);
        let h = height as f64;
        let far = ridge(
            &mut rng,
            width,
            h * (1.0 - share * 1.12),
            h * share * 0.55,
            1.3,
        );
        let mut near = ridge(
            &mut rng,
            width,
            h * (1.0 - share * 0.62),
            h * share * 0.6,
            2.1,
        );
        plant(&mut rng, &mut near, h * share);
        Some(Self { far, near, height })
    }

    /// How much of a pixel each ridge covers: far, near.
    fn cover(&self, x: usize, y: usize) -> [f32; 2] {
        let of = |edge: &[f32]| {
            let tops = edge.get(x * FINE..(x + 1) * FINE).unwrap_or(&[]);
            let sum: f32 = tops
                .iter()
                .map(|&top| (y as f32 + 0.5 - top).clamp(0.0, 1.0))
                .sum();
            sum / FINE as f32
        };
        [of(&self.far), of(&self.near)]
    }

    /// Whether any part of a pixel is ground.
    pub(crate) fn covers(&self, x: usize, y: usize) -> bool {
        self.cover(x, y).iter().any(|&c| c > 0.0)
    }

    /// First row that any ground reaches.
    fn first_row(&self) -> usize {
        let top = self
            .far
            .iter()
            .chain(&self.near)
            .copied()
            .fold(f32::INFINITY, f32::min);
        (top.max(0.0) as usize).min(self.height)
    }

    /// Puts the ground before the sky. `headlights` is the ground's level in units of the sky.
    pub(crate) fn paint(&self, canvas: &mut Canvas, sky: &SkyGrid, headlights: f64) {
        let (w, h) = (canvas.plane.width(), self.height);
        let level = sky.at(1, w / 2, h / 2);
        for y in self.first_row()..h {
            let deep = (y as f32 / h as f32 - 0.7).max(0.0);
            for x in 0..w {
                let [far, near] = self.cover(x, y);
                if far + near <= 0.0 {
                    continue;
                }
                // The lamps stand left of the frame and light what is near.
                let beam = headlights as f32 * (-2.2 * x as f32 / w as f32).exp();
                // Mist gathers towards the valley.
                let haze = level * (0.3 + 0.6 * deep) + beam * level * 0.25;
                let dark = level * (0.075 - 0.08 * deep) + beam * level;
                let haze = canvas.response(x, y, HAZE) * haze;
                let dark = canvas.response(x, y, if beam > 0.0 { LAMP } else { EARTH }) * dark;
                if let Some(pixel) = canvas.plane.row_mut(y).get_mut(x) {
                    let behind = *pixel * (1.0 - far) + haze * far;
                    *pixel = behind * (1.0 - near) + dark * near;
                }
            }
        }
    }
}

const HAZE: [f32; 3] = [0.9, 1.0, 1.15];
const EARTH: [f32; 3] = [0.9, 1.0, 0.95];
const LAMP: [f32; 3] = [1.25, 1.0, 0.55];

/// A ridge as a sum of waves of falling size with random phases.
fn ridge(rng: &mut ChaCha8Rng, width: usize, middle: f64, swing: f64, waves: f64) -> Vec<f32> {
    let parts: Vec<(f64, f64, f64)> = (0..9)
        .map(|k| {
            let scale = 1.85_f64.powi(k);
            let amplitude = swing * 0.5 / scale.powf(1.05) * rng.random_range(0.6..1.2);
            let frequency = std::f64::consts::TAU * waves * scale / width.max(800) as f64;
            (
                amplitude,
                frequency,
                rng.random_range(0.0..std::f64::consts::TAU),
            )
        })
        .collect();
    (0..width * FINE)
        .map(|i| {
            let x = i as f64 / FINE as f64;
            let up: f64 = parts.iter().map(|(a, w, p)| a * (w * x + p).sin()).sum();
            (middle - up) as f32
        })
        .collect()
}

/// Plants conifers along a ridge, in clumps.
fn plant(rng: &mut ChaCha8Rng, edge: &mut [f32], size: f64) {
    let count = edge.len() / FINE / 7;
    let clumps: Vec<f64> = (0..7).map(|_| rng.random_range(0.0..1.0)).collect();
    for _ in 0..count {
        let clump = clumps[rng.random_range(0..clumps.len())];
        let spread: f64 = rng.random_range(-0.09..0.09);
        let centre = (clump + spread) * edge.len() as f64;
        let tall = size * rng.random_range(0.06..0.24) * (1.0 - (spread / 0.09).powi(2) * 0.6);
        let half = tall * rng.random_range(0.17..0.25);
        let Some(&foot) = edge.get(centre.max(0.0) as usize) else {
            continue;
        };
        let tiers = (tall / 3.5).max(4.0);
        let first = (centre - half * FINE as f64).max(0.0) as usize;
        let last = ((centre + half * FINE as f64).max(0.0) as usize).min(edge.len());
        for (i, top) in edge.iter_mut().enumerate().take(last).skip(first) {
            let off = (i as f64 - centre).abs() / FINE as f64 / half;
            // Boughs: the outline steps down in tiers that droop at their tips.
            let step = (off * tiers).fract();
            let here = tall * (1.0 - off).max(0.0).powf(0.85) - 0.9 * step * tall / tiers;
            *top = top.min(foot - here as f32);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ground_lies_at_the_foot_and_leaves_the_sky() {
        let ground = Ground::new(0.17, 1600, 1067, 1).unwrap();
        assert!(
            (0..1600).all(|x| ground.covers(x, 1066)),
            "the foot is all ground"
        );
        assert!(ground.first_row() > 600, "{}", ground.first_row());
        assert!(Ground::new(0.0, 100, 100, 1).is_none());
    }
}
