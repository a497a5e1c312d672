//! From linear light to the screen: a stretch for night skies.
//!
//! A night frame has its sky in the lowest part of its range and a few stars far above. The
//! stretch puts the sky's level at a fixed dark grey and lets asinh (linear near black, logarithmic
//! far above) carry the stars up to white, so both noise and bright trails can be seen. Brightness
//! is stretched and the colour differences follow in proportion, so a star keeps its colour; where
//! the light is no more than noise the colour is faded out, since it is noise too.

use rayon::prelude::*;

use crate::base::robust::{MAD_TO_SIGMA, quantile};
use crate::frame::Colour;

/// Where the sky's level ends up on the screen, 0 black to 1 white.
const SKY_SHOWN: f64 = 0.15;
/// White lies this many times as far above black as the sky does, or at full scale: trails are
/// seldom near full scale, and would stay dim if white were always there.
const WHITE_TIMES: f64 = 9.0;
/// Black lies this many σ of one px under the sky…
const BLACK_SIGMAS: f64 = 4.0;
/// …and at least this share of the sky's own level under it.
const BLACK_SHARE: f64 = 0.35;
/// Aim for the number of px looked at for statistics.
const SAMPLES: usize = 60_000;

/// What the stretch needs to know of a frame, in fractions of full scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SkyStats {
    /// Level of the sky in red, green and blue.
    pub level: [f64; 3],
    /// Robust σ of one px, mean of the channels.
    pub noise: f64,
}

impl SkyStats {
    /// Statistics of about 60,000 px spread evenly; level to about a tenth of σ. The level is the
    /// 60 % quantile: over the median, because a dark foreground often fills a quarter of a frame.
    /// Noise is taken from differences of neighbours two px apart, so that gradients, a dark
    /// ground and (being robust) stars do not count as noise. An empty picture gives zeros.
    #[must_use]
    pub fn of(colour: &Colour) -> Self {
        let mut values: [Vec<f64>; 3] = Default::default();
        let mut steps: [Vec<f64>; 3] = Default::default();
        let every = (colour.rgb.len() / SAMPLES).max(1) | 1;
        for at in (0..colour.rgb.len().saturating_sub(2)).step_by(every) {
            let (here, near) = (colour.rgb[at], colour.rgb[at + 2]);
            for c in 0..3 {
                values[c].push(f64::from(here[c]) / 65_535.0);
                steps[c].push((f64::from(here[c]) - f64::from(near[c])).abs() / 65_535.0);
            }
        }
        let level = values.map(|mut channel| quantile(&mut channel, 0.6).unwrap_or(0.0));
        let sigmas = steps.map(|mut channel| {
            quantile(&mut channel, 0.5).unwrap_or(0.0) * MAD_TO_SIGMA / std::f64::consts::SQRT_2
        });
        Self {
            level,
            noise: sigmas.iter().sum::<f64>() / 3.0,
        }
    }

    /// The same sky in a frame whose numbers are `factor` times as large for the same light, noise
    /// included: a stretch made from it shows that frame exactly as this one is shown.
    #[must_use]
    pub fn amplified(self, factor: f64) -> Self {
        if !(factor > 0.0 && factor.is_finite()) {
            return self;
        }
        Self {
            level: self.level.map(|channel| channel * factor),
            noise: self.noise * factor,
        }
    }

    /// The same sky, so noisy that a stretch made from it begins at black: skies of other levels keep
    /// their brightness in it.
    #[must_use]
    pub fn down_to_black(self) -> Self {
        let mean = self.level.iter().sum::<f64>() / 3.0;
        Self {
            noise: mean / BLACK_SIGMAS,
            ..self
        }
    }

    /// The same sky at another green level (a group's typical one), so that whichever frame is
    /// looked at first, all frames of the group are stretched alike. The noise follows as the
    /// square root of the level, as light's own noise does.
    #[must_use]
    pub fn at_green_level(self, level: f64) -> Self {
        let green = self.level[1];
        if !(green > 0.0 && level > 0.0) {
            return self;
        }
        let ratio = level / green;
        Self {
            level: self.level.map(|channel| channel * ratio),
            noise: self.noise * ratio.sqrt(),
        }
    }
}

/// A stretch, ready to apply. Costs half a megabyte of tables; make it once for a group.
#[derive(Debug, Clone)]
pub struct Stretch {
    /// Black of each channel, in 16-bit steps.
    black: [i32; 3],
    /// By brightness above black in 16-bit steps: brightness shown (0 to 255), and the factor
    /// for differences of the channels from it.
    table: Vec<[f32; 2]>,
}

impl Stretch {
    /// The stretch for a sky of these statistics.
    #[must_use]
    pub fn new(sky: SkyStats) -> Self {
        let mean = sky.level.iter().sum::<f64>() / 3.0;
        let above_black = (BLACK_SIGMAS * sky.noise)
            .max(BLACK_SHARE * mean)
            .max(4.0 / 65_535.0);
        let black = sky
            .level
            .map(|level| ((level - above_black) * 65_535.0).round() as i32);
        let full_scale = (1.0 - mean + above_black).max(2.0 * above_black);
        let white = full_scale.min(WHITE_TIMES * above_black);
        let soft = softness(above_black, white);
        let full = (white / soft).asinh();
        let table = (0..=65_535u32)
            .map(|step| {
                let light = f64::from(step) / 65_535.0;
                let shown = 255.0 * ((light / soft).asinh() / full).min(1.0);
                let gain = if step == 0 {
                    0.0
                } else {
                    shown / f64::from(step)
                };
                // Colour counts fully once the light stands well above the sky's noise.
                let trust = (light / (above_black + 3.0 * sky.noise)).powi(2).min(1.0);
                [shown as f32, (gain * trust) as f32]
            })
            .collect();
        Self { black, table }
    }

    /// One px.
    #[must_use]
    pub fn px(&self, rgb: [u16; 3]) -> [u8; 4] {
        let mut above = [0i32; 3];
        for c in 0..3 {
            above[c] = i32::from(rgb[c]) - self.black[c];
        }
        let bright = (above[0] + 2 * above[1] + above[2]) / 4;
        let [shown, gain] = self.table[bright.clamp(0, 65_535) as usize];
        let channel = |c: usize| (shown + (above[c] - bright) as f32 * gain + 0.5) as u8;
        [channel(0), channel(1), channel(2), 255]
    }

    /// Many px, on all cores when they are many.
    #[must_use]
    pub fn apply(&self, rgb: &[[u16; 3]]) -> Vec<[u8; 4]> {
        rgb.par_iter()
            .with_min_len(1 << 15)
            .map(|&px| self.px(px))
            .collect()
    }
}

/// The softness s for which asinh(sky/s)/asinh(white/s) is where the sky is to be shown. That
/// ratio falls from 1 towards sky/white as s grows; a sky already brighter stays linear.
fn softness(sky: f64, white: f64) -> f64 {
    let (mut low, mut high) = (sky * 1e-4, white * 10.0);
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        if (sky / middle).asinh() / (white / middle).asinh() > SKY_SHOWN {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low * high).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SKY: SkyStats = SkyStats {
        level: [0.10, 0.08, 0.06],
        noise: 0.004,
    };

    fn at(level: [f64; 3]) -> [u16; 3] {
        level.map(|v| (v * 65_535.0).round() as u16)
    }

    #[test]
    fn the_sky_is_dark_grey_and_full_scale_white() {
        let stretch = Stretch::new(SKY);
        let sky = stretch.px(at(SKY.level));
        for channel in &sky[..3] {
            assert!(
                (f64::from(*channel) - 255.0 * SKY_SHOWN).abs() <= 1.0,
                "{sky:?}"
            );
        }
        let white = stretch.px([65_535; 3]);
        assert!(white.iter().all(|&channel| channel >= 250), "{white:?}");
        assert_eq!(stretch.px([0; 3])[..3], [0, 0, 0]);
    }

    #[test]
    fn brighter_is_never_darker() {
        let stretch = Stretch::new(SKY);
        let mut last = 0;
        for step in (0..=65_535u16).step_by(97) {
            let shown = stretch.px([step, step, step])[1];
            assert!(shown >= last);
            last = shown;
        }
    }

    #[test]
    fn a_star_keeps_its_colour_ratio() {
        // Orange star far above the sky: shown over brightness must be the same factor in each.
        let stretch = Stretch::new(SKY);
        let light = [0.11, 0.08, 0.04];
        let above_black = 0.35 * 0.08;
        let seen = stretch.px(at([0, 1, 2].map(|c| SKY.level[c] - above_black + light[c])));
        let ratio = [0, 1, 2].map(|c| f64::from(seen[c]) / light[c]);
        assert!((ratio[0] / ratio[1] - 1.0).abs() < 0.02, "{seen:?}");
        assert!((ratio[2] / ratio[1] - 1.0).abs() < 0.03, "{seen:?}");
    }

    #[test]
    fn statistics_see_through_stars_and_ground() {
        // Sky 0.10 with a two-valued "noise" of ±0.01, a fifth of black ground, some stars.
        let (width, height) = (300, 200);
        let mut seed = 7u32;
        let rgb = (0..width * height)
            .map(|i| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                if i / width >= 160 {
                    [0; 3]
                } else if i % 997 == 0 {
                    [60_000; 3]
                } else {
                    // A sum of four bytes is near enough to Gaussian: σ = 2 · 73.9 steps.
                    let bytes = seed.rotate_left(9).to_le_bytes();
                    let sum: i32 = bytes.iter().map(|&b| i32::from(b)).sum();
                    [(6_553 + (sum - 510) * 2) as u16; 3]
                }
            })
            .collect();
        let stats = SkyStats::of(&Colour { width, height, rgb });
        assert!((stats.level[1] - 0.10).abs() < 0.003, "{stats:?}");
        assert!(
            (stats.noise / (2.0 * 147.8 / 65_535.0) - 1.0).abs() < 0.35,
            "{stats:?}"
        );
    }

    #[test]
    fn one_group_one_stretch() {
        let brighter = SkyStats {
            level: SKY.level.map(|v| v * 2.0),
            noise: SKY.noise * 2.0f64.sqrt(),
        };
        let typical = brighter.at_green_level(0.08);
        assert!((typical.level[0] - 0.10).abs() < 1e-12);
        assert!((typical.noise - 0.004).abs() < 1e-12);
    }

    #[test]
    fn an_amplified_frame_is_shown_alike() {
        let (one, other) = (Stretch::new(SKY), Stretch::new(SKY.amplified(2.0)));
        for light in [0.06, 0.08, 0.1, 0.15, 0.2] {
            let (a, b) = (one.px(at([light; 3])), other.px(at([2.0 * light; 3])));
            assert!(a[1].abs_diff(b[1]) <= 1, "{a:?} {b:?}");
        }
    }

    #[test]
    fn down_to_black_a_darker_sky_is_darker_and_not_black() {
        let stretch = Stretch::new(SKY.down_to_black());
        let [dark, same, bright] = [0.25, 1.0, 4.0].map(|by| {
            let level = SKY.level.map(|channel| channel * by);
            stretch.px(at(level))[1]
        });
        assert!(
            dark > 5 && dark < same && same < bright && bright < 250,
            "{dark} {same} {bright}"
        );
    }

    #[test]
    fn an_all_black_frame_does_not_blow_up() {
        let stretch = Stretch::new(SkyStats {
            level: [0.0; 3],
            noise: 0.0,
        });
        assert!(stretch.px([0; 3])[0] < 60);
        assert!(stretch.px([65_535; 3])[0] > 250);
    }
}
