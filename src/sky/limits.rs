//! How long to expose, how a gap shows: the trade's rules and the geometry behind them.

/// FWHM of a Gaussian over its σ (definition).
pub const FWHM_PER_SIGMA: f64 = 2.354_820_045_030_949;

/// What the NPF rule takes in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Npf {
    /// k: 1 strict, 2 to 3 lenient. Always show which.
    pub k: f64,
    /// Aperture number.
    pub f_number: f64,
    /// Focal length, mm.
    pub focal_mm: f64,
    /// Pixel pitch, µm.
    pub pixel_um: f64,
}

impl Npf {
    /// The longest exposure, s, whose trails pass as points at a declination:
    /// k·(16.9·N + 0.1·f + 13.7·p)/(f·cos δ). On a wide lens use [`Npf::limit_at_rate_s`].
    ///
    /// Source: F. Michaud, published by the Société astronomique du Havre.
    #[must_use]
    pub fn limit_s(&self, declination_deg: f64) -> f64 {
        let sum = 16.9 * self.f_number + 0.1 * self.focal_mm + 13.7 * self.pixel_um;
        self.k * sum / (self.focal_mm * declination_deg.to_radians().cos())
    }

    /// The same for stars that cross the sensor at `rate_px_per_s`, instead of cos δ: the rule's
    /// trail on the equator, in px, over the true rate.
    #[must_use]
    pub fn limit_at_rate_s(&self, rate_px_per_s: f64) -> f64 {
        let focal_px = 1000.0 * self.focal_mm / self.pixel_um;
        let on_equator = super::turning::arc_deg(1.0).to_radians() * focal_px;
        self.limit_s(0.0) * on_equator / rate_px_per_s
    }
}

/// The rule of 500: 500 / (f · crop), s. Common practice.
#[must_use]
pub fn rule_of_500_s(focal_mm: f64, crop: f64) -> f64 {
    500.0 / (focal_mm * crop)
}

/// The gap in a trail between two exposures, px: rate × (interval − exposure), not below 0.
#[must_use]
pub fn gap_px(rate_px_per_s: f64, interval_s: f64, exposure_s: f64) -> f64 {
    rate_px_per_s * (interval_s - exposure_s).max(0.0)
}

/// Share of a trail's brightness left in the middle of a gap when frames are summed:
/// erfc(g / (2√2 σ)). Source: two half-lines of a Gaussian profile; method.md, sequence facts.
#[must_use]
pub fn gap_brightness_summed(gap_px: f64, fwhm_px: f64) -> f64 {
    let sigma = fwhm_px / FWHM_PER_SIGMA;
    libm::erfc(gap_px / (2.0 * std::f64::consts::SQRT_2 * sigma))
}

/// The same when the brightest of the frames is kept: half, which dips to ½ even with no gap.
#[must_use]
pub fn gap_brightness_brightest(gap_px: f64, fwhm_px: f64) -> f64 {
    0.5 * gap_brightness_summed(gap_px, fwhm_px)
}

/// Time a star needs to cross its own width, s: past it a longer exposure brightens only the sky.
#[must_use]
pub fn dwell_s(fwhm_px: f64, rate_px_per_s: f64) -> f64 {
    fwhm_px / rate_px_per_s
}

/// How much read noise may add to the noise of a sky-limited exposure, as a share.
pub const SKY_LIMITED_SHARE: f64 = 0.05;

/// The exposure, s, past which read noise adds at most `share` to the sky's noise:
/// R² / (B·((1 + share)² − 1)), for `share` 5 % 9.76·R²/B, with read noise R in e⁻ and sky light B in
/// e⁻ per px and second.
///
/// Source: Merline & Howell 1995 (the signal-to-noise equation), solved for the time.
#[must_use]
pub fn sky_limited_s(read_noise_e: f64, sky_e_per_s: f64, share: f64) -> f64 {
    read_noise_e.powi(2) / (sky_e_per_s * ((1.0 + share).powi(2) - 1.0))
}

/// How much a trail's peak has of what it comes to, 0 to 1: erf(L/(2√2 σ)) for a trail of L px of
/// stars FWHM px wide. At L = FWHM it is 0.76, at twice that 0.98; the sky goes on growing.
///
/// Source: the trail profile of Vereš et al. 2012 (PASP 124, 1197) at its centre.
#[must_use]
pub fn trail_peak_share(trail_px: f64, fwhm_px: f64) -> f64 {
    let sigma = fwhm_px / FWHM_PER_SIGMA;
    libm::erf(trail_px / (2.0 * std::f64::consts::SQRT_2 * sigma))
}

/// Frames an hour at an interval from start to start.
#[must_use]
pub fn frames_per_hour(interval_s: f64) -> f64 {
    3600.0 / interval_s
}

/// Seconds of film.
#[must_use]
pub fn film_s(frames: usize, frames_per_s: u32) -> f64 {
    frames as f64 / f64::from(frames_per_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn npf_by_hand() {
        // 14 mm, f/2.8, 4.3 µm: (47.32 + 1.4 + 58.91) / 14 = 7.688 s with k = 1, twice with k = 2.
        let mut rule = Npf {
            k: 1.0,
            f_number: 2.8,
            focal_mm: 14.0,
            pixel_um: 4.3,
        };
        assert!((rule.limit_s(0.0) - 7.688).abs() < 1e-3);
        assert!((rule.limit_s(60.0) - 15.376).abs() < 2e-3);
        let equator = super::super::turning::arc_deg(1.0).to_radians() * 14_000.0 / 4.3;
        assert!((rule.limit_at_rate_s(equator) - rule.limit_s(0.0)).abs() < 1e-9);
        assert!((rule.limit_at_rate_s(2.0 * equator) - rule.limit_s(0.0) / 2.0).abs() < 1e-9);
        // method.md: the short form (35·N + 30·p)/f is about k = 2.1.
        rule.k = 2.1;
        let short = (35.0 * 2.8 + 30.0 * 4.3) / 14.0;
        assert!((rule.limit_s(0.0) / short - 1.0).abs() < 0.02);
    }

    #[test]
    fn five_hundred() {
        assert!((rule_of_500_s(20.0, 1.0) - 25.0).abs() < 1e-12);
        assert!((rule_of_500_s(20.0, 1.5) - 16.667).abs() < 1e-3);
    }

    #[test]
    fn gaps() {
        // By hand: 0.453 px/s, one frame dropped of a 32 s interval: 34 s = 15 px; the 2 s pause
        // 0.9 px.
        assert!((gap_px(0.453, 64.0, 30.0) - 15.4).abs() < 0.01);
        assert!((gap_px(0.453, 32.0, 30.0) - 0.906).abs() < 1e-9);
        assert!(gap_px(0.453, 29.0, 30.0).abs() < 1e-12);
    }

    #[test]
    fn how_a_gap_shows() {
        // method.md, sequence facts: FWHM 2.6 px: 0.4 px keeps 85 / 43 %, 0.8 px 71 / 36 %.
        for (gap, summed, brightest) in [(0.4, 0.855, 0.43), (0.8, 0.715, 0.36)] {
            assert!((gap_brightness_summed(gap, 2.6) - summed).abs() < 0.006);
            assert!((gap_brightness_brightest(gap, 2.6) - brightest).abs() < 0.005);
        }
        assert!((gap_brightness_brightest(0.0, 2.6) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn read_noise_drowns_in_the_sky() {
        // By hand: 5 e⁻ under 2 e⁻/s: 9.756 · 25 / 2 = 122 s; then √(244 + 25) is 1.05 · √244.
        let t = sky_limited_s(5.0, 2.0, SKY_LIMITED_SHARE);
        assert!((t - 121.95).abs() < 0.01, "{t}");
        let (sky, all) = ((2.0 * t).sqrt(), (2.0 * t + 25.0).sqrt());
        assert!((all / sky - 1.05).abs() < 1e-9);
    }

    #[test]
    fn a_trails_peak_stops_growing() {
        // erf(2.3548 / (2√2)) = erf(0.8326) = 0.761.
        assert!((trail_peak_share(2.6, 2.6) - 0.761).abs() < 1e-3);
        assert!(trail_peak_share(5.2, 2.6) > 0.98);
        assert!(trail_peak_share(0.0, 2.6).abs() < 1e-12);
    }

    #[test]
    fn sequence_arithmetic() {
        // method.md, sequence facts (common practice): 30 s back to back is 120 frames an hour;
        // marked 30 s that is 32 s gives 112; 120 frames are 4 s at 30 and 8 s at 15 a second.
        assert!((frames_per_hour(30.0) - 120.0).abs() < 1e-12);
        assert!((frames_per_hour(32.0) - 112.5).abs() < 1e-12);
        assert!((film_s(120, 30) - 4.0).abs() < 1e-12);
        assert!((film_s(120, 15) - 8.0).abs() < 1e-12);
        // By hand: dwell = 2.6 px / 0.22 px per s = 12 s.
        assert!((dwell_s(2.6, 0.22) - 11.8).abs() < 0.05);
    }
}
