//! The photon transfer line: `σ² = K·(μ − μ_dark) + σ_dark²`, fitted to levels and variances.
//!
//! Sources: EMVA Standard 1288, release 4.0, ch. 6 (levels up to 70 % of the one with the highest
//! variance, a fit through the origin once the dark is taken off, `σ_dark = √(s² − 1/12)/K`); Janesick,
//! Photon Transfer (2007). Each level counts by how well its variance is known.

use crate::base::Estimate;
use crate::base::linalg::solve;
use crate::base::robust::median_and_sigma;

/// Levels are used up to this share of the one with the highest variance, or of full scale where
/// variance never falls.
const USED_SHARE: f64 = 0.7;

/// Variance has turned down when the brightest levels have less than this share of the highest.
const TURNED: f64 = 0.9;

/// Levels are put together into so many for finding the highest variance.
const BINS: usize = 24;

/// A level this many σ off the line is out: ground that moved, a lamp, a passing light.
const WILD: f64 = 4.5;

/// What remains of unseen stars once they are taken off, as a share of the gain: the bias found on
/// simulated skies (0.13 % over 75 of them).
const REST: f64 = 0.0015;

/// Fewer levels make no line.
const LEAST_LEVELS: usize = 3;

/// Variance of rounding to whole numbers, DN² (EMVA 1288).
const ROUNDING: f64 = 1.0 / 12.0;

/// Below this dark variance in DN² rounding hides the read noise (EMVA 1288, 6.6).
const HIDDEN: f64 = 0.24;

/// One level: mean, variance of one sample there, and how well that is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Mean, DN.
    pub mean: f64,
    /// Temporal variance, DN².
    pub variance: f64,
    /// Standard error of the variance as a share of it: √(2/n) for n samples of plain noise.
    pub share: f64,
}

/// Frames with the cap on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dark {
    /// Mean, DN.
    pub mean: f64,
    /// Temporal variance, DN².
    pub variance: Estimate,
}

/// What is known beside the levels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// The dark, where there is one.
    pub dark: Option<Dark>,
    /// Full scale above black, DN.
    pub full_scale: f64,
    /// Whether numbers are rounded to whole ones.
    pub rounded: bool,
}

/// The line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// K, DN/e⁻.
    pub gain: Estimate,
    /// Read noise (σ of the dark) in e⁻; `None` when rounding hides it or the line meets black below zero.
    pub read_noise_e: Option<Estimate>,
    /// What it is under, e⁻, by two standard errors of its square.
    pub read_noise_below_e: f64,
    /// Lowest and highest level that went in, DN.
    pub range: (f64, f64),
}

/// Why there is no line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoLine {
    /// Too few levels.
    FewLevels,
    /// All too near to full scale.
    TooBright,
    /// Variance does not grow with level.
    Flat,
}

/// Fits the line to `levels`; without a dark it is free to meet black at any variance, and tells
/// that variance.
///
/// # Errors
/// Why there is none.
pub fn fit(levels: &[Level], conditions: &Conditions) -> Result<Line, NoLine> {
    let black = conditions.dark.map_or(0.0, |dark| dark.mean);
    let limit = black + USED_SHARE * (saturation(levels, conditions.full_scale) - black);
    let sound = |level: &&Level| level.variance > 0.0 && level.share > 0.0;
    let mut used: Vec<Level> = levels.iter().filter(sound).copied().collect();
    if used.len() < LEAST_LEVELS {
        return Err(NoLine::FewLevels);
    }
    used.retain(|level| level.mean <= limit);
    if used.is_empty() {
        return Err(NoLine::TooBright);
    }
    let mut line = Straight::start(&used, conditions)?;
    for _ in 0..4 {
        let kept = line.without_wild(&used);
        line = Straight::through(&kept, &line, conditions)?;
    }
    let kept = line.without_wild(&used);
    if kept.len() < LEAST_LEVELS {
        return Err(NoLine::FewLevels);
    }
    Ok(line.tell(&kept, conditions))
}

/// The level with the highest variance, or full scale where variance never falls.
fn saturation(levels: &[Level], full_scale: f64) -> f64 {
    let mut sorted: Vec<&Level> = levels.iter().collect();
    sorted.sort_by(|a, b| a.mean.total_cmp(&b.mean));
    let bins: Vec<(f64, f64)> = sorted
        .chunks(sorted.len().div_ceil(BINS).max(1))
        .map(|bin| {
            let mean = |of: fn(&Level) -> f64| {
                bin.iter().map(|level| of(level)).sum::<f64>() / bin.len() as f64
            };
            (mean(|level| level.mean), mean(|level| level.variance))
        })
        .collect();
    let highest = bins.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1));
    match (highest, bins.last()) {
        (Some((level, variance)), Some(&(_, last))) if last < TURNED * variance => {
            level.min(full_scale)
        }
        _ => full_scale,
    }
}

/// variance = dark + gain·(level − black).
#[derive(Debug, Clone, Copy)]
struct Straight {
    gain: f64,
    dark: f64,
    black: f64,
}

impl Straight {
    fn at(&self, level: f64) -> f64 {
        self.dark + self.gain * (level - self.black)
    }

    /// Weight of a level: the reciprocal of its variance's own variance by the line.
    fn weight(&self, level: &Level) -> f64 {
        // Levels near black must not have all the weight while the line is still rough.
        let variance = self.at(level.mean).max(0.2 * level.variance);
        (level.share * variance).powi(-2)
    }

    /// A first line: each level by its own variance.
    fn start(levels: &[Level], conditions: &Conditions) -> Result<Self, NoLine> {
        let flat = Self {
            gain: 0.0,
            dark: 0.0,
            black: 0.0,
        };
        // With a flat line of 0 each weight is by a fifth of the level's own variance.
        Self::through(levels, &flat, conditions)
    }

    /// The weighted line, weights by `before`.
    fn through(levels: &[Level], before: &Self, conditions: &Conditions) -> Result<Self, NoLine> {
        let sums = Sums::of(levels, before, conditions);
        if let Some(dark) = conditions.dark {
            let gain = sums.xy / sums.xx;
            return usable(gain).map(|gain| Self {
                gain,
                dark: dark.variance.value,
                black: dark.mean,
            });
        }
        let matrix = [[sums.w, sums.x], [sums.x, sums.xx]];
        let [dark, gain] = solve(matrix, [sums.y, sums.xy]).ok_or(NoLine::Flat)?;
        usable(gain).map(|gain| Self {
            gain,
            dark,
            black: 0.0,
        })
    }

    fn without_wild(&self, levels: &[Level]) -> Vec<Level> {
        let score =
            |level: &Level| (level.variance - self.at(level.mean)) * self.weight(level).sqrt();
        let scores: Vec<f64> = levels.iter().map(score).collect();
        let spread = median_and_sigma(&scores).map_or(1.0, |(_, sigma)| sigma.max(1.0));
        let near = |(level, score): (&Level, f64)| (score.abs() <= WILD * spread).then_some(*level);
        levels.iter().zip(scores).filter_map(near).collect()
    }

    /// The line's numbers with their errors.
    fn tell(&self, levels: &[Level], conditions: &Conditions) -> Line {
        let sums = Sums::of(levels, self, conditions);
        let free = if conditions.dark.is_some() { 1 } else { 2 };
        let squares: f64 = levels
            .iter()
            .map(|level| (level.variance - self.at(level.mean)).powi(2) * self.weight(level))
            .sum();
        // Levels that scatter more than their samples explain are known less well.
        let inflation = (squares / levels.len().saturating_sub(free).max(1) as f64).max(1.0);
        let range = levels
            .iter()
            .fold((f64::INFINITY, 0.0_f64), |(low, high), l| {
                (low.min(l.mean), high.max(l.mean))
            });
        let (gain_error, dark, tie) = if let Some(dark) = conditions.dark {
            let own = (inflation / sums.xx).sqrt();
            let lever = sums.x / sums.xx;
            let shared = dark.variance.error * lever;
            let tie = -dark.variance.error.powi(2) * lever;
            (own.hypot(shared), dark.variance, tie)
        } else {
            let scale = inflation / (sums.w * sums.xx - sums.x * sums.x);
            let own = (scale * sums.xx).sqrt();
            let dark = Estimate {
                value: self.dark,
                error: own,
            };
            ((scale * sums.w).sqrt(), dark, -scale * sums.x)
        };
        let gain = Estimate {
            value: self.gain,
            error: gain_error.hypot(REST * self.gain),
        };
        let at_most = (dark.value - rounding(conditions.rounded)).max(0.0) + 2.0 * dark.error;
        Line {
            read_noise_below_e: at_most.sqrt() / gain.value,
            gain,
            read_noise_e: read_noise(gain, dark, tie, conditions.rounded),
            range,
        }
    }
}

/// Read noise in e⁻; `tie` is the covariance of gain and dark variance, which is negative: a line that
/// turns about its middle errs in both.
fn read_noise(gain: Estimate, dark: Estimate, tie: f64, rounded: bool) -> Option<Estimate> {
    let own = dark.value - rounding(rounded);
    if own <= 0.0 || (rounded && dark.value < HIDDEN) {
        return None;
    }
    let value = own.sqrt() / gain.value;
    let square =
        (0.5 * dark.error / own).powi(2) + gain.relative().powi(2) - tie / (own * gain.value);
    Some(Estimate {
        value,
        error: value * square.sqrt(),
    })
}

const fn rounding(rounded: bool) -> f64 {
    if rounded { ROUNDING } else { 0.0 }
}

fn usable(gain: f64) -> Result<f64, NoLine> {
    if gain.is_finite() && gain > 0.0 {
        Ok(gain)
    } else {
        Err(NoLine::Flat)
    }
}

/// Weighted sums of levels above black (x) and variances above the dark's (y).
struct Sums {
    w: f64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
}

impl Sums {
    fn of(levels: &[Level], line: &Straight, conditions: &Conditions) -> Self {
        let (black, dark) = conditions
            .dark
            .map_or((0.0, 0.0), |dark| (dark.mean, dark.variance.value));
        let mut sums = Self {
            w: 0.0,
            x: 0.0,
            y: 0.0,
            xx: 0.0,
            xy: 0.0,
        };
        for level in levels {
            let (w, x, y) = (
                line.weight(level),
                level.mean - black,
                level.variance - dark,
            );
            sums.w += w;
            sums.x += w * x;
            sums.y += w * y;
            sums.xx += w * x * x;
            sums.xy += w * x * y;
        }
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Levels of a sensor with a gain of 0.80 DN/e⁻ and a read noise of 4.0 e⁻ on a pedestal of 64 DN, as printed in
    /// method.md with the numbers of the package emva1288 1.0.2; each from some 31 000 samples.
    const PRINTED: [(f64, f64); 5] = [
        (64.007, 10.318),
        (224.012, 138.688),
        (384.016, 268.218),
        (544.033, 390.880),
        (3744.170, 2978.436),
    ];

    fn level((mean, variance): (f64, f64)) -> Level {
        Level {
            mean,
            variance,
            share: (2.0_f64 / 31_000.0).sqrt(),
        }
    }

    fn of_printed(dark: bool) -> Conditions {
        let (mean, variance) = PRINTED[0];
        let dark = dark.then(|| Dark {
            mean,
            variance: Estimate {
                value: variance,
                error: variance * (2.0_f64 / 31_000.0).sqrt(),
            },
        });
        Conditions {
            dark,
            full_scale: 4095.0 - 64.0,
            rounded: true,
        }
    }

    #[test]
    fn the_printed_levels_give_the_printed_sensor() {
        let levels: Vec<Level> = PRINTED[1..].iter().copied().map(level).collect();
        let line = fit(&levels, &of_printed(true)).unwrap();
        // The brightest is over 70 % of what the sensor holds.
        assert!(line.range.1 < 600.0);
        let read = line.read_noise_e.unwrap();
        assert!(
            (line.gain.value - 0.800_556).abs() < line.gain.error,
            "{line:?}"
        );
        assert!((read.value - 3.9962).abs() < 2.0 * read.error, "{line:?}");
        assert!((line.gain.value / 0.8 - 1.0).abs() < 0.01 && read.relative() < 0.01);
    }

    fn ramp(count: usize, sensor: impl Fn(f64) -> f64) -> Vec<Level> {
        (1..=count)
            .map(|k| 3900.0 * k as f64 / count as f64)
            .map(|mean| Level {
                mean,
                variance: sensor(mean),
                share: 0.0045,
            })
            .collect()
    }

    fn free(full_scale: f64) -> Conditions {
        Conditions {
            dark: None,
            full_scale,
            rounded: true,
        }
    }

    #[test]
    fn a_free_line_meets_black_at_the_read_noise() {
        let exact = ramp(40, |mean| 0.5 * mean + 0.25 * 9.0 + ROUNDING);
        let line = fit(&exact, &free(4095.0)).unwrap();
        assert!((line.gain.value - 0.5).abs() < 1e-9);
        assert!((line.read_noise_e.unwrap().value - 3.0).abs() < 1e-6);
        assert!(line.range.1 <= 0.7 * 4095.0);
    }

    #[test]
    fn a_sensor_that_fills_up_is_used_to_seventy_per_cent() {
        // Above 3000 DN the wells are full and variance falls.
        let full = |mean: f64| 0.5 * mean.min(3000.0) - 2.0 * (mean - 3000.0).max(0.0) + 5.0;
        let line = fit(&ramp(80, full), &free(16_383.0)).unwrap();
        assert!((line.gain.value - 0.5).abs() < 1e-9, "{line:?}");
        assert!(line.range.1 <= 0.7 * 3000.0 + 100.0, "{line:?}");
    }

    #[test]
    fn wild_levels_are_left_out() {
        let mut levels = ramp(200, |mean| 0.5 * mean + 5.0);
        for level in levels.iter_mut().step_by(20) {
            level.variance *= 3.0;
        }
        let line = fit(&levels, &free(16_383.0)).unwrap();
        assert!((line.gain.value / 0.5 - 1.0).abs() < 1e-6, "{line:?}");
    }

    #[test]
    fn what_makes_no_line_is_refused() {
        assert_eq!(fit(&[], &free(1.0)), Err(NoLine::FewLevels));
        let bright = ramp(20, |mean| 0.5 * mean + 5.0);
        let full = Conditions {
            full_scale: 100.0,
            ..free(1.0)
        };
        assert_eq!(fit(&bright, &full), Err(NoLine::TooBright));
        let flat = ramp(20, |mean| 100.0 - 0.001 * mean);
        assert_eq!(fit(&flat, &free(1e9)).unwrap_err(), NoLine::Flat);
        // Rounding hides a read noise of a third of a number.
        let quiet = ramp(40, |mean| 0.1 * mean + 0.1);
        assert_eq!(fit(&quiet, &free(4095.0)).unwrap().read_noise_e, None);
    }
}
