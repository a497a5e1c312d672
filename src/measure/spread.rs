//! How a lens spreads the light of a star at rest: a family from the Gaussian to strong wings.
//!
//! A Moffat profile (1 + r²/α²)^−β (Moffat 1969, A&A 3, 455) is an integral over Gaussians of one
//! centre, ∫ t^{β−1} e^{−t} exp(−t r²/α²) dt. Its trapezoid sum over ln t has a few terms only, and
//! each of them stays a closed form when it is smeared along a trail or weighted by a Gaussian. So a
//! star is a few Gaussians, tied together by κ = 1/β; κ = 0 is the one Gaussian.

use libm::erf;

/// Variance that a pixel's own square adds along each axis, px².
pub(super) const PIXEL_VARIANCE: f64 = 1.0 / 12.0;

/// Largest κ: wings stronger than β = 2 are no lens's.
pub(super) const MOST_WINGS: f64 = 0.5;

/// Gaussians in a spread.
pub(super) const PARTS: usize = 5;

/// Places of the terms in ln t, in units of [`STEP`]/√β from the integrand's peak.
const PLACES: [f64; PARTS] = [-3.0, -2.0, -1.0, 0.0, 1.0];

/// Distance of the terms over the width of the integrand; the sum is good to exp(−2π²/STEP²).
const STEP: f64 = 1.5;

/// One Gaussian of a spread.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Part {
    /// Its share of the light.
    pub(super) share: f64,
    /// Its variance over the square of the spread's scale, the pixel not in it.
    pub(super) ratio: f64,
}

/// A star at rest, up to its scale s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spread {
    parts: [Part; PARTS],
    used: usize,
}

impl Spread {
    /// The spread with wings κ = 1/β in [0, [`MOST_WINGS`]].
    pub(super) fn new(wings: f64) -> Self {
        let wings = wings.clamp(0.0, MOST_WINGS);
        let mut parts = [Part::default(); PARTS];
        if wings < 1e-4 {
            parts = parts.map(|_| Part {
                share: 1.0,
                ratio: 1.0,
            });
            return Self { parts, used: 1 };
        }
        for (part, place) in parts.iter_mut().zip(PLACES) {
            let x = STEP * place * wings.sqrt();
            let height = ((x - x.exp_m1()) / wings).exp();
            let ratio = (-x).exp();
            *part = Part {
                share: height * ratio,
                ratio,
            };
        }
        let sum: f64 = parts.iter().map(|p| p.share).sum();
        for part in &mut parts {
            part.share /= sum;
        }
        Self { parts, used: PARTS }
    }

    pub(super) fn parts(&self) -> impl Iterator<Item = &Part> {
        self.parts.iter().take(self.used)
    }

    /// Full width at half maximum of a star of scale `s` as sampled, px.
    pub(super) fn fwhm(&self, s: f64) -> f64 {
        let height = |r2: f64| -> f64 {
            self.parts()
                .map(|p| {
                    let variance = s * s * p.ratio + PIXEL_VARIANCE;
                    p.share / variance * (-0.5 * r2 / variance).exp()
                })
                .sum()
        };
        let half = 0.5 * height(0.0);
        let (mut low, mut high) = (0.0, 6.0 * (s + 1.0));
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if height(middle * middle) > half {
                low = middle;
            } else {
                high = middle;
            }
        }
        low + high
    }

    /// All the light of a star smeared over `length` px over that of the elliptical Gaussian at which
    /// its moments settle, `along` and `across`.
    pub(super) fn whole_light(&self, s: f64, length: f64, (along, across): (f64, f64)) -> f64 {
        let seen: f64 = self
            .parts()
            .map(|part| {
                let variance = s * s * part.ratio + PIXEL_VARIANCE;
                let (sa, sb) = (along + variance, across + variance);
                part.share * window(length / (2.0 * sa.sqrt())) / (sa * sb).sqrt()
            })
            .sum();
        1.0 / (2.0 * (along * across).sqrt() * seen)
    }

    /// The moments, along and across, at which an elliptical Gaussian weight settles on this star of
    /// scale `s` smeared over `length` px, from the guess `start`.
    pub(super) fn settled(&self, s: f64, length: f64, start: (f64, f64)) -> (f64, f64) {
        let (mut a, mut b) = start;
        for _ in 0..200 {
            let (mut sum, mut along, mut across) = (0.0, 0.0, 0.0);
            for part in self.parts() {
                let variance = s * s * part.ratio + PIXEL_VARIANCE;
                let (sa, sb) = (a + variance, b + variance);
                let h = length / (2.0 * sa.sqrt());
                let light = part.share * window(h) / (sa * sb).sqrt();
                sum += light;
                along += light * (a * a / sa * variance_kept(h) + a * variance / sa);
                across += light * b * variance / sb;
            }
            let (seen_a, seen_b) = (along / sum, across / sum);
            // The step that is there at once for a Gaussian (shape.rs).
            let step = |seen: f64, now: f64| {
                let direct = 1.0 / (1.0 / seen - 1.0 / now);
                if direct > 0.5 * now && direct < 2.0 * now {
                    direct
                } else {
                    2.0 * seen
                }
            };
            let (next_a, next_b) = (step(seen_a, a), step(seen_b, b));
            let change = (next_a / a - 1.0).abs() + (next_b / b - 1.0).abs();
            (a, b) = (next_a, next_b);
            if change < 1e-9 {
                break;
            }
        }
        (a, b)
    }

    /// The scale at which moments across a trail of `length` px settle at `across`, px².
    pub(super) fn scale_of(&self, across: f64, length: f64) -> f64 {
        let (mut low, mut high) = (1e-3, 2.0 * across.sqrt());
        for _ in 0..30 {
            let s = 0.5 * (low + high);
            let long = across + length * length / 10.0;
            if self.settled(s, length, (long, across)).1 < across {
                low = s;
            } else {
                high = s;
            }
        }
        0.5 * (low + high)
    }
}

/// 1 − 2hφ(h)/(2Φ(h) − 1): the share that cutting at ±h leaves of a unit Gaussian's variance.
pub(super) fn variance_kept(h: f64) -> f64 {
    if h < 0.05 {
        let h2 = h * h;
        return h2 / 3.0 - h2 * h2 / 45.0;
    }
    let density = (-0.5 * h * h).exp() / (2.0 * std::f64::consts::PI).sqrt();
    1.0 - 2.0 * h * density / erf(h / std::f64::consts::SQRT_2)
}

/// Mean of exp(−x²/2) over ±h.
fn window(h: f64) -> f64 {
    if h < 1e-3 {
        return 1.0 - h * h / 6.0;
    }
    (0.5 * std::f64::consts::PI).sqrt() * erf(h / std::f64::consts::SQRT_2) / h
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sum_is_the_moffat_profile() {
        for beta in [2.2, 3.0, 4.5, 12.0] {
            let spread = Spread::new(1.0 / beta);
            // s² = α²/2β by construction.
            let alpha2 = 2.0 * beta;
            let height = |r2: f64| -> f64 {
                spread
                    .parts()
                    .map(|p| p.share / p.ratio * (-0.5 * r2 / p.ratio).exp())
                    .sum()
            };
            for r in [0.5, 1.0, 1.5, 2.0, 3.0, 4.0] {
                let want = (1.0 + r * r / alpha2).powf(-beta);
                let got = height(r * r) / height(0.0);
                assert!((got - want).abs() < 6e-3, "{beta} {r}: {got} {want}");
            }
        }
    }

    #[test]
    fn the_gaussian_has_its_width() {
        let sigma2 = 1.3 * 1.3 + PIXEL_VARIANCE;
        let fwhm = Spread::new(0.0).fwhm(1.3);
        assert!((fwhm / (2.354_820_045 * sigma2.sqrt()) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn settled_moments_obey_the_equation_integrated_numerically() {
        // Iterate M ← 2 × weighted moment in one dimension over the published profile
        // (Vereš et al. 2012, PASP 124, 1197).
        let s = (1.0 - PIXEL_VARIANCE).sqrt();
        for length in [1.0, 3.0, 8.0, 20.0, 40.0] {
            let profile = |x: f64| {
                erf((x + length / 2.0) / std::f64::consts::SQRT_2)
                    - erf((x - length / 2.0) / std::f64::consts::SQRT_2)
            };
            let mut m = 1.0 + length * length / 12.0;
            let (got, across) = Spread::new(0.0).settled(s, length, (m, 1.0));
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
            assert!((got / m - 1.0).abs() < 1e-5, "{length}: {got} {m}");
            assert!((across - 1.0).abs() < 1e-6, "{length}: {across}");
        }
    }
}
