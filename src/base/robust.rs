//! Statistics that a few wild values cannot move.

/// Scale that makes the median absolute deviation estimate a Gaussian's σ.
///
/// Source: Rousseeuw & Croux 1993, JASA 88, 1273.
pub const MAD_TO_SIGMA: f64 = 1.4826;

/// The median of `values`, which are put in another order; `None` when there are none.
///
/// The mean of the middle two for an even count. NaN must not be among them.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// The quantile `q` in [0, 1] by linear interpolation between order statistics (position
/// q·(n − 1)); `values` are put in another order. `None` when there are none.
#[must_use]
pub fn quantile(values: &mut [f64], q: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let place = q.clamp(0.0, 1.0) * (values.len() - 1) as f64;
    let low = place.floor() as usize;
    let (_, &mut at_low, above) = values.select_nth_unstable_by(low, f64::total_cmp);
    let part = place - low as f64;
    if part == 0.0 {
        return Some(at_low);
    }
    let at_high = above.iter().copied().fold(f64::INFINITY, f64::min);
    Some(at_low + part * (at_high - at_low))
}

/// Median and robust σ (1.4826 · MAD) of `values`; `None` when there are none.
#[must_use]
pub fn median_and_sigma(values: &[f64]) -> Option<(f64, f64)> {
    let mut work = values.to_vec();
    let centre = median(&mut work)?;
    for value in &mut work {
        *value = (*value - centre).abs();
    }
    let mad = median(&mut work)?;
    Some((centre, MAD_TO_SIGMA * mad))
}

/// Mean, σ and count of what is left after values beyond `k` σ of the median are dropped, again
/// and again until nothing more goes (at most ten times). `None` when there are no values.
#[must_use]
pub fn clipped_mean(values: &[f64], k: f64) -> Option<(f64, f64, usize)> {
    let mut kept = values.to_vec();
    loop_until_stable(&mut kept, k);
    let n = kept.len();
    if n == 0 {
        return None;
    }
    let mean = kept.iter().sum::<f64>() / n as f64;
    let variance = kept.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n.max(2) - 1) as f64;
    Some((mean, variance.sqrt(), n))
}

fn loop_until_stable(kept: &mut Vec<f64>, k: f64) {
    for _ in 0..10 {
        let Some((centre, sigma)) = median_and_sigma(kept) else {
            return;
        };
        let before = kept.len();
        if sigma > 0.0 {
            kept.retain(|v| (v - centre).abs() <= k * sigma);
        }
        if kept.len() == before {
            return;
        }
    }
}

/// The modified z-score 0.6745 · (x − median) / MAD, flagged past 3.5.
///
/// Source: Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers, ch. 3.
#[must_use]
pub fn modified_z(value: f64, centre: f64, sigma: f64) -> f64 {
    // 0.6745 is the inverse of MAD_TO_SIGMA to four places.
    if sigma > 0.0 {
        (value - centre) / sigma
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn median_of_even_and_odd() {
        assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut [4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median(&mut []), None);
    }

    #[test]
    fn quantile_interpolates() {
        assert_eq!(quantile(&mut [0.0, 10.0, 20.0, 30.0], 0.25), Some(7.5));
        assert_eq!(quantile(&mut [5.0], 0.9), Some(5.0));
    }

    #[test]
    fn one_wild_value_is_clipped() {
        let values = [1.0, 1.1, 0.9, 1.0, 1.05, 0.95, 100.0];
        let (mean, _, n) = clipped_mean(&values, 4.0).unwrap();
        assert_eq!(n, 6);
        assert!((mean - 1.0).abs() < 1e-9);
    }

    /// Ten values with two far ones, the example that the rule is usually shown on (from memory), its
    /// scores by hand: median 2.45, MAD 0.15. Ordinary z-scores stay under 2 there, as the two widen
    /// the deviation that they are held against.
    #[test]
    fn the_rule_on_its_worked_example() {
        let values = [2.1, 2.6, 2.4, 2.5, 2.3, 2.1, 2.3, 2.6, 8.2, 8.3];
        let (centre, sigma) = median_and_sigma(&values).unwrap();
        let scores = values.map(|value| modified_z(value, centre, sigma));
        for (got, by_hand) in scores.iter().zip([
            -1.574, 0.674, -0.225, 0.225, -0.674, -1.574, -0.674, 0.674, 25.856, 26.306,
        ]) {
            assert!((got - by_hand).abs() < 2e-3, "{got} for {by_hand}");
        }
        let flagged: Vec<f64> = values
            .into_iter()
            .zip(scores)
            .filter(|(_, score)| score.abs() > 3.5)
            .map(|(value, _)| value)
            .collect();
        assert_eq!(flagged, [8.2, 8.3]);
        let mean = values.iter().sum::<f64>() / 10.0;
        let deviation = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 9.0).sqrt();
        assert!(values.iter().all(|v| ((v - mean) / deviation).abs() < 2.0));
    }

    #[test]
    fn sigma_of_a_uniform_ladder() {
        // MAD of 0..=100 is 25 exactly.
        let values: Vec<f64> = (0..=100).map(f64::from).collect();
        assert_eq!(median_and_sigma(&values), Some((50.0, 25.0 * MAD_TO_SIGMA)));
    }
}
