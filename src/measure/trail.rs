//! From the moments of a star to the path it took.
//!
//! A star that moves evenly along L during the exposure is a Gaussian of σ smeared over L. The
//! adaptive moments (shape.rs) settle where the moments under an elliptical Gaussian weight are
//! half the weight's own. Across the trail that is σ² itself. Along it, with lengths in σ and
//! m = a²/b², the settled m obeys, by completing the square,
//!
//! ⟨u²⟩ = s (s − 2) / (2 (s − 1)),   s = 1 + m,
//!
//! where u runs evenly over ±L/2 with weight exp(−u²/2s): a cut Gaussian, whose second moment is
//! s (1 − 2hφ(h)/(2Φ(h) − 1)), h = L/(2√s). So one number h gives both m and L in closed form.

use libm::erf;

use super::shape::Moments;
use crate::base::Spin2;

/// 1 − 2hφ(h)/(2Φ(h) − 1): the share that cutting at ±h leaves of a unit Gaussian's variance.
fn variance_kept(h: f64) -> f64 {
    if h < 0.05 {
        let h2 = h * h;
        return h2 / 3.0 - h2 * h2 / 45.0;
    }
    let density = (-0.5 * h * h).exp() / (2.0 * std::f64::consts::PI).sqrt();
    1.0 - 2.0 * h * density / erf(h / std::f64::consts::SQRT_2)
}

/// The h at which [`variance_kept`] reaches ½, where m grows without bound.
const H_LIMIT: f64 = 1.400_04;

/// L/σ of a uniform trail whose settled moments have the ratio `a2_over_b2` ≥ 1.
///
/// Exact for a Gaussian star; 0 at 1. The pixel's own width counts as part of σ.
pub(super) fn length_over_sigma(a2_over_b2: f64) -> f64 {
    let m = a2_over_b2.max(1.0);
    let want = (m - 1.0) / (2.0 * m);
    let (mut low, mut high) = (0.0, H_LIMIT);
    for _ in 0..48 {
        let middle = 0.5 * (low + high);
        if variance_kept(middle) < want {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) * (1.0 + m).sqrt()
}

/// The path of a star with these settled moments, as the vector that may be averaged.
///
/// Near L = 0 this is 12 (M − trace/2), linear in the moments, so noise that points every way
/// averages to nothing.
pub(super) fn trail(moments: Moments) -> Spin2 {
    let (long, short) = moments.axes();
    if short <= 0.0 || long <= short {
        return Spin2::default();
    }
    let length = short.sqrt() * length_over_sigma(long / short);
    let scale = length * length / (long - short);
    Spin2 {
        cos: scale * (moments.xx - moments.yy),
        // The plane's y runs down, angles run anticlockwise as seen.
        sin: -scale * 2.0 * moments.xy,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::spin2::angle_between_deg;

    /// a²/b² against L/σ for a sampled Gaussian trail without noise, tried independently.
    const TABLE: [(f64, f64); 14] = [
        (0.0, 1.0),
        (0.5, 1.021),
        (1.0, 1.085),
        (1.5, 1.197),
        (2.0, 1.363),
        (3.0, 1.881),
        (4.0, 2.675),
        (6.0, 5.106),
        (8.0, 8.62),
        (10.0, 13.18),
        (15.0, 29.10),
        (20.0, 51.41),
        (30.0, 115.2),
        (40.0, 204.5),
    ];

    #[test]
    fn inverts_the_table() {
        for (length, ratio) in TABLE {
            let got = length_over_sigma(ratio);
            // The table is rounded to 0.001; near 0 that is 0.1 in L.
            let slack = if length < 0.9 {
                0.02
            } else {
                0.004 * length.max(1.0)
            };
            assert!((got - length).abs() < slack, "{length}: {got}");
        }
    }

    #[test]
    fn settled_moments_obey_the_equation_integrated_numerically() {
        // Iterate M ← 2 × weighted moment in one dimension over the published profile
        // (Vereš et al. 2012, PASP 124, 1197).
        for length in [1.0, 3.0, 8.0, 20.0, 40.0] {
            let profile = |x: f64| {
                erf((x + length / 2.0) / std::f64::consts::SQRT_2)
                    - erf((x - length / 2.0) / std::f64::consts::SQRT_2)
            };
            let mut m = 1.0 + length * length / 12.0;
            for _ in 0..60 {
                let (mut sum, mut second) = (0.0, 0.0);
                for i in -6000..=6000 {
                    let x = f64::from(i) * 0.01;
                    let weighted = profile(x) * (-0.5 * x * x / m).exp();
                    sum += weighted;
                    second += weighted * x * x;
                }
                m = 2.0 * second / sum;
            }
            let got = length_over_sigma(m);
            assert!((got / length - 1.0).abs() < 1e-5, "{length}: {got}");
        }
    }

    #[test]
    fn angle_runs_anticlockwise_with_y_down() {
        // Long axis from lower left to upper right: x right and y up, so xy < 0 in the plane.
        let spin = trail(Moments {
            xx: 2.0,
            xy: -1.0,
            yy: 2.0,
        });
        assert!(angle_between_deg(spin.angle_deg(), 45.0) < 1e-9);
        assert!(spin.length_px() > 0.0);
    }
}
