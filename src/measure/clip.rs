//! Mean and σ of a heap of samples in which a few are not sky.
//!
//! A clipped mean moves in fractions of a level step where a median jumps from one to the next, so
//! it is right on 8-bit files too. Cutting a Gaussian at ±3 σ takes 2.7 % off its variance; that is
//! put back, so noise does not read low.

use super::lanes::sums_within;

/// Where samples are cut, in σ.
const CUT: f32 = 3.0;

/// σ over the standard deviation of a Gaussian cut at ±3 σ: (1 − 2kφ(k)/(2Φ(k) − 1))^−½, k = 3.
const CUT_TO_SIGMA: f32 = 1.013_61;

/// Most rounds of clipping; quiet data settle in three to five.
const ROUNDS: usize = 12;

/// How many samples start the clipping: their quartiles need be good to some 20 % only.
const STARTERS: usize = 63;

/// A round that drops or takes back less than this share of the samples is the last.
const QUIET_SHARE: usize = 1000;

/// What clipping left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Clipped {
    /// Mean of what was kept.
    pub(super) mean: f32,
    /// σ of what was kept, as if it had not been cut.
    pub(super) sigma: f32,
    /// How many were kept.
    pub(super) count: usize,
}

/// Clips `values` at ±3 σ round their mean until nothing more changes; `None` when there are none.
///
/// `step` is the least difference between two stored levels (0 when continuous): the cut never
/// comes nearer than that, or a quantised sky would lose its neighbouring levels. `starters` is
/// work space. NaN and infinities count as clipped.
pub(super) fn clipped(values: &[f32], step: f32, starters: &mut Vec<i32>) -> Option<Clipped> {
    starters.clear();
    let stride = values.len().div_ceil(STARTERS).max(1);
    let orders = |&value: &f32| value.is_finite().then(|| order_of(value));
    starters.extend(values.iter().step_by(stride).filter_map(orders));
    if starters.is_empty() {
        starters.extend(values.iter().filter_map(orders));
    }
    // Whole numbers sort several times faster than floats.
    starters.sort_unstable();
    let at = |q: f64| {
        let rank = (q * starters.len() as f64) as usize;
        starters.get(rank).copied().map(value_of)
    };
    let mut mean = at(0.5)?;
    let mut sigma = (at(0.75)? - at(0.25)?) / 1.349;
    let nearest = 1.2 * step;
    let mut count = 0;
    for _ in 0..ROUNDS {
        let reach = (CUT * sigma).max(nearest);
        let sums = sums_within(values, mean, reach);
        if sums.count < 2.0 {
            return Some(Clipped {
                mean,
                sigma: 0.0,
                count: sums.count as usize,
            });
        }
        let shift = sums.first / sums.count;
        let variance = (sums.second / sums.count - shift * shift).max(0.0);
        mean += shift;
        sigma = variance.sqrt();
        if CUT * CUT_TO_SIGMA * sigma > nearest {
            sigma *= CUT_TO_SIGMA;
        }
        let kept = sums.count as usize;
        let change = kept.abs_diff(count);
        count = kept;
        if change * QUIET_SHARE <= kept {
            break;
        }
    }
    Some(Clipped { mean, sigma, count })
}

/// A whole number that stands in the same order as a finite value does.
fn order_of(value: f32) -> i32 {
    let bits = value.to_bits().cast_signed();
    bits ^ ((bits >> 31).cast_unsigned() >> 1).cast_signed()
}

/// The value of an [`order_of`].
fn value_of(order: i32) -> f32 {
    f32::from_bits((order ^ ((order >> 31).cast_unsigned() >> 1).cast_signed()).cast_unsigned())
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, Normal};

    use super::*;

    fn gaussian(seed: u64, n: usize, mean: f32, sigma: f32) -> Vec<f32> {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let normal = Normal::new(mean, sigma).unwrap();
        (0..n).map(|_| normal.sample(&mut random)).collect()
    }

    #[test]
    fn a_gaussian_keeps_its_sigma_with_stars_in_it() {
        for seed in 0..4 {
            let mut values = gaussian(seed, 40_000, 0.1, 0.01);
            for (i, value) in values.iter_mut().enumerate().take(1200) {
                *value += 0.1 + 0.0005 * i as f32;
            }
            let got = clipped(&values, 0.0, &mut Vec::new()).unwrap();
            assert!((got.mean - 0.1).abs() < 3e-4, "{got:?}");
            assert!((got.sigma / 0.01 - 1.0).abs() < 0.015, "{got:?}");
        }
    }

    #[test]
    fn quantised_levels_keep_their_mean() {
        // σ of 0.6 steps: a median would jump by whole steps.
        let step = 0.01;
        let values: Vec<f32> = gaussian(7, 40_000, 0.1037, 0.006)
            .iter()
            .map(|v| (v / step).round() * step)
            .collect();
        let got = clipped(&values, step, &mut Vec::new()).unwrap();
        let want_sigma = (0.006_f32.powi(2) + step * step / 12.0).sqrt();
        assert!((got.mean - 0.1037).abs() < 3e-4, "{got:?}");
        assert!((got.sigma / want_sigma - 1.0).abs() < 0.03, "{got:?}");
    }

    #[test]
    fn constant_and_empty() {
        let got = clipped(&[0.25; 100], 0.0, &mut Vec::new()).unwrap();
        assert_eq!((got.mean, got.sigma), (0.25, 0.0));
        assert!(clipped(&[], 0.0, &mut Vec::new()).is_none());
        let mut lost = [f32::NAN; 100];
        assert!(clipped(&lost, 0.0, &mut Vec::new()).is_none());
        (lost[3], lost[70], lost[71]) = (0.5, 0.5, f32::INFINITY);
        let got = clipped(&lost, 0.0, &mut Vec::new()).unwrap();
        assert_eq!((got.mean, got.count), (0.5, 2));
    }
}
