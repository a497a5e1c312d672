//! How bright the film's frames are, and what evens them out.

/// Frames on either side over which brightness is smoothed: a third of a second of film.
const REACH: usize = 8;
/// Most that a frame is brightened or darkened.
const MOST: f64 = 2.0;

/// What to multiply each frame's light with so that its sky follows the smooth course of the skies
/// around it: a weighted mean of the logarithms, falling off to either side. 1 where the sky is not
/// known.
#[must_use]
pub fn gains(levels_pct: &[Option<f64>]) -> Vec<f32> {
    let logs: Vec<Option<f64>> = (levels_pct.iter())
        .map(|level| level.filter(|level| *level > 0.0).map(f64::ln))
        .collect();
    (logs.iter().enumerate())
        .map(|(at, own)| {
            let Some(own) = own else {
                return 1.0;
            };
            let smooth = smooth_at(&logs, at).unwrap_or(*own);
            (smooth - own).exp().clamp(1.0 / MOST, MOST) as f32
        })
        .collect()
}

/// The smooth course at a frame. The same reach on both sides, so that a steady rise is left as it
/// is to the ends.
fn smooth_at(logs: &[Option<f64>], at: usize) -> Option<f64> {
    let reach = REACH.min(at).min(logs.len() - 1 - at);
    let (mut sum, mut weights) = (0.0, 0.0);
    for other in at - reach..=at + reach {
        if let Some(log) = logs.get(other).copied().flatten() {
            let weight = 1.0 - at.abs_diff(other) as f64 / (reach + 1) as f64;
            sum += weight * log;
            weights += weight;
        }
    }
    (weights > 0.0).then(|| sum / weights)
}

/// Flicker: the usual step of brightness from one frame to the next, percent, with each frame
/// multiplied by its gain.
#[must_use]
pub fn flicker_pct(levels_pct: &[Option<f64>], gains: &[f32]) -> Option<f64> {
    let logs: Vec<f64> = (levels_pct.iter().zip(gains))
        .filter_map(|(level, gain)| {
            Some((*level).filter(|l| *l > 0.0)?.ln() + f64::from(*gain).ln())
        })
        .collect();
    let mut steps: Vec<f64> = (logs.windows(2))
        .filter_map(|pair| Some((pair.get(1)? - pair.first()?).abs()))
        .collect();
    steps.sort_by(f64::total_cmp);
    let middle = steps.get(steps.len() / 2)?;
    Some(100.0 * middle)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flicker_goes_and_dawn_stays() {
        // A sky that doubles over a hundred frames, every second one 5 % brighter.
        let dawn = |n: usize| 10.0 * 2f64.powf(n as f64 / 100.0);
        let levels: Vec<_> = (0..100)
            .map(|n| Some(dawn(n) * if n % 2 == 0 { 1.05 } else { 1.0 }))
            .collect();
        let gains = gains(&levels);
        let as_taken = flicker_pct(&levels, &[1.0; 100]).unwrap();
        let even = flicker_pct(&levels, &gains).unwrap();
        assert!((as_taken - 4.9).abs() < 0.8, "{as_taken}");
        assert!((even - 0.7).abs() < 0.4, "what dawn adds a frame: {even}");
        let end = levels[90].unwrap() * f64::from(gains[90]);
        assert!((end / dawn(90) - 1.025).abs() < 0.01);
    }

    #[test]
    fn a_steady_rise_and_unknown_frames_are_left_alone() {
        let mut levels: Vec<_> = (0..40).map(|n| Some(5.0 * 1.02f64.powi(n))).collect();
        levels[7] = None;
        let gains = gains(&levels);
        assert_eq!(gains[7], 1.0);
        assert!(
            gains[20..].iter().all(|gain| (gain - 1.0).abs() < 1e-5),
            "{gains:?}"
        );
        assert!(super::gains(&[]).is_empty());
        assert_eq!(flicker_pct(&[None], &[1.0]), None);
    }
}
