//! How far single stars lie from the map of a frame's trails, learnt from the frame itself.
//!
//! Signal-to-noise alone does not say it: demosaicing and JPEG tie neighbouring samples together, so
//! that photon noise counts for more, and how a sharp star lies on the mosaic moves its shape by what
//! no light cures. Weights that knew only the first gave a few bright stars all the say and stated
//! an error that was too small.

use crate::base::robust::median;

/// The stars that show the scatter no light cures: one in this many, the brightest, …
const BRIGHT_SHARE: usize = 6;

/// … and never fewer than this.
const BRIGHT_LEAST: usize = 12;

/// What a map leaves of one star.
#[derive(Debug, Clone, Copy)]
pub(super) struct Left {
    pub(super) snr: f32,
    /// The map's trail there, px.
    pub(super) length: f64,
    /// Square of the vector from map to star, px⁴.
    pub(super) square: f64,
}

/// Variances, each over that of a model: of photon noise, which grows with the square of the long
/// axis, and of the rest.
///
/// The axes are the frame's (`short2`, px²) and the map's (`length`), never the star's own: weights
/// that know a star's noise would favour those that noise made short.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scatter {
    photons: f64,
    rest: f64,
}

impl Scatter {
    /// As in a frame of true samples, before anything is seen.
    pub(super) fn usual() -> Self {
        Self {
            photons: 900.0,
            rest: 1.0,
        }
    }

    /// Error of each component of a star's vector, px².
    pub(super) fn error(self, snr: f32, short2: f64, length: f64) -> f64 {
        let (photons, rest) = models(snr, short2, length);
        (self.photons * photons + self.rest * rest).sqrt()
    }

    /// From what a map of `terms` terms leaves: photon noise by the fainter half, the rest by the
    /// brightest.
    pub(super) fn seen(self, mut left: Vec<Left>, short2: f64, terms: usize) -> Self {
        left.sort_by(|a, b| b.snr.total_cmp(&a.snr));
        let n = left.len();
        let bright = (n / BRIGHT_SHARE).max(BRIGHT_LEAST);
        // Fitting takes its share off; for two Gaussian components the median of r² is 2 ln 2 σ².
        let free = n as f64 / n.saturating_sub(terms).max(1) as f64;
        let parts: Vec<(f64, f64, f64)> = left
            .iter()
            .map(|l| {
                let (photons, rest) = models(l.snr, short2, l.length);
                let variance = free * l.square / (2.0 * std::f64::consts::LN_2);
                (variance, photons, rest)
            })
            .collect();
        let usual = Self::usual();
        let mut seen = self;
        for _ in 0..3 {
            let faint = parts.iter().skip(n / 2);
            let mut of_faint: Vec<f64> = faint
                .map(|(variance, photons, rest)| (variance - seen.rest * rest) / photons)
                .collect();
            let least = 0.1 * usual.photons;
            seen.photons = median(&mut of_faint).map_or(usual.photons, |v| v.max(least));
            let mut of_bright: Vec<f64> = parts
                .iter()
                .take(bright)
                .map(|(variance, photons, rest)| (variance - seen.photons * photons) / rest)
                .collect();
            seen.rest = median(&mut of_bright).map_or(usual.rest, |v| v.max(usual.rest));
        }
        seen
    }
}

/// Model variances, px⁴: photon noise and the rest.
fn models(snr: f32, short2: f64, length: f64) -> (f64, f64) {
    // The long axis settles between the moments of a Gaussian and of an even trail (spread.rs).
    let photons = (short2 + length * length / 9.0) / f64::from(snr).max(1.0);
    let rest = 0.1 * short2 + 0.02 * length * length;
    (photons.powi(2).max(1e-99), rest.powi(2).max(1e-99))
}
