//! Small simulated frames for the tests of this room.

use libm::erf;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal, Poisson};

use crate::base::Plane;
use crate::frame::{GreenLayout, Light, Samples};

/// A star to draw.
#[derive(Debug, Clone, Copy)]
pub(super) struct Truth {
    pub(super) x: f64,
    pub(super) y: f64,
    /// Electrons.
    pub(super) flux: f64,
    /// Gaussian σ before the pixel's own width, px.
    pub(super) sigma: f64,
    pub(super) length: f64,
    pub(super) angle_deg: f64,
}

/// A frame in electrons; full scale is [`FULL_E`].
#[derive(Debug, Clone)]
pub(super) struct Scene {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) electrons: Vec<f64>,
}

pub(super) const FULL_E: f64 = 40_000.0;

impl Scene {
    pub(super) fn sky(width: usize, height: usize, electrons: f64) -> Self {
        Self {
            width,
            height,
            electrons: vec![electrons; width * height],
        }
    }

    /// Draws a uniform trail of a Gaussian, integrated over each pixel: exactly in each pixel for
    /// L = 0, by the sum of many short steps else.
    pub(super) fn draw(&mut self, star: Truth) {
        let steps = if star.length > 0.0 {
            ((star.length / 0.15).ceil() as usize).max(8)
        } else {
            1
        };
        let (sin, cos) = star.angle_deg.to_radians().sin_cos();
        for i in 0..steps {
            let along = star.length * ((i as f64 + 0.5) / steps as f64 - 0.5);
            let (x, y) = (star.x + along * cos, star.y - along * sin);
            self.draw_point(x, y, star.flux / steps as f64, star.sigma);
        }
    }

    fn draw_point(&mut self, x: f64, y: f64, flux: f64, sigma: f64) {
        let reach = (6.0 * sigma).ceil() as i64 + 1;
        let part = |centre: f64, at: i64| {
            let d = at as f64 - centre;
            let s = sigma * std::f64::consts::SQRT_2;
            0.5 * (erf((d + 0.5) / s) - erf((d - 0.5) / s))
        };
        let (cx, cy) = (x.round() as i64, y.round() as i64);
        let columns: Vec<f64> = (cx - reach..=cx + reach).map(|at| part(x, at)).collect();
        for row in (cy - reach).max(0)..=(cy + reach).min(self.height as i64 - 1) {
            let down = flux * part(y, row);
            for (i, across) in columns.iter().enumerate() {
                let column = cx - reach + i as i64;
                if (0..self.width as i64).contains(&column) {
                    self.electrons[row as usize * self.width + column as usize] += down * across;
                }
            }
        }
    }

    /// The frame with Poisson noise and read noise, as samples.
    pub(super) fn expose(&self, read_e: f64, layout: GreenLayout, seed: u64) -> Samples {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let read = Normal::new(0.0, read_e).unwrap();
        let data: Vec<f32> = self
            .electrons
            .iter()
            .map(|&mean| {
                let shot = if mean > 0.0 {
                    Poisson::new(mean).unwrap().sample(&mut random)
                } else {
                    0.0
                };
                let value: f64 = (shot + read.sample(&mut random)) / FULL_E;
                value.min(1.0) as f32
            })
            .collect();
        let mut samples = Samples {
            green: Plane::from_vec(self.width, self.height, data).unwrap(),
            layout,
            light: Light::Linear,
            clip_level: 0.99,
            step: 1.0 / 16_384.0,
            hues: None,
            quantised_pct: None,
        };
        interpolate(&mut samples);
        samples
    }
}

/// Fills what is not green with the mean of its green neighbours, as the contract says.
fn interpolate(samples: &mut Samples) {
    let layout = samples.layout;
    let (width, height) = (samples.green.width(), samples.green.height());
    let old = samples.green.clone();
    for y in 0..height {
        for x in 0..width {
            if layout.is_green(x, y) {
                continue;
            }
            let near = [
                (x.wrapping_sub(1), y),
                (x + 1, y),
                (x, y.wrapping_sub(1)),
                (x, y + 1),
            ];
            let values: Vec<f32> = near.iter().filter_map(|&(x, y)| old.get(x, y)).collect();
            samples.green.row_mut(y)[x] = values.iter().sum::<f32>() / values.len() as f32;
        }
    }
}

/// Stars at random places, fluxes falling as a power law between `faint` and `bright` electrons.
pub(super) fn random_stars(
    seed: u64,
    count: usize,
    (width, height): (usize, usize),
    (faint, bright): (f64, f64),
    like: Truth,
) -> Vec<Truth> {
    let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0x5eed);
    (0..count)
        .map(|_| {
            let u: f64 = random.random();
            Truth {
                x: random.random_range(0.0..width as f64),
                y: random.random_range(0.0..height as f64),
                flux: faint * (bright / faint).powf(u * u),
                ..like
            }
        })
        .collect()
}
