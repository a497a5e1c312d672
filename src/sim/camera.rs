//! The invented camera: what it counts, and how light becomes numbers.

use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Maker written to EXIF.
pub(crate) const MAKE: &str = "Tarnlight";
/// Model written to EXIF.
pub(crate) const MODEL: &str = "TL-24";
/// Body serial number written to EXIF.
pub(crate) const SERIAL: &str = "TL24-000417";
/// Pixel pitch: 24 megapixels on 36 × 24 mm. Smaller frames are crops of it.
pub(crate) const PIXEL_UM: f64 = 6.0;
/// Number of a black pixel in the 14-bit raw file.
pub(crate) const BLACK_DN: u16 = 512;
/// Largest number in the 14-bit raw file.
pub(crate) const WHITE_DN: u16 = 16_383;
/// How much of white light reaches red, green and blue pixels, green as 1.
pub(crate) const NEUTRAL: [f32; 3] = [0.5, 1.0, 0.65];

/// Electrons at ISO 100 when the number is [`WHITE_DN`].
const FULL_WELL_E: f64 = 60_000.0;
/// Read noise before the amplifier, electrons.
const READ_BEFORE_E: f64 = 1.3;
/// Read noise after the amplifier, in raw numbers.
const READ_AFTER_DN: f64 = 3.0;

/// Numbers a full range of light spans.
pub(crate) const RANGE_DN: f64 = (WHITE_DN - BLACK_DN) as f64;

/// Raw numbers an electron, at an ISO setting.
pub(crate) fn gain_dn_per_e(iso: u32) -> f64 {
    RANGE_DN / FULL_WELL_E * f64::from(iso) / 100.0
}

/// Read noise in electrons at an ISO setting: amplifier noise counts less the higher the gain.
pub(crate) fn read_noise_e(iso: u32) -> f64 {
    READ_BEFORE_E.hypot(READ_AFTER_DN / gain_dn_per_e(iso))
}

/// The colour of a pixel of the RGGB mosaic: 0 red, 1 green, 2 blue.
pub(crate) const fn bayer(x: usize, y: usize) -> usize {
    (x & 1) + (y & 1)
}

/// Standard deviation of a raw number, as a share of full scale, where `light_e` electrons fall:
/// shot noise, read noise and the rounding to whole numbers.
pub(crate) fn noise_share(light_e: f64, iso: u32) -> f64 {
    let k = gain_dn_per_e(iso);
    let read = read_noise_e(iso);
    (k * k * (light_e + read * read) + 1.0 / 12.0).sqrt() / RANGE_DN
}

/// Exposes the sensor: mean electrons in, raw numbers out.
///
/// Shot noise is drawn from a Gaussian of the Poisson variance: exact in mean and variance, and
/// from some ten electrons on no file could tell.
pub(crate) fn expose(light_e: &[f32], iso: u32, rng: &mut ChaCha8Rng) -> Vec<u16> {
    let k = gain_dn_per_e(iso) as f32;
    let read2 = read_noise_e(iso).powi(2) as f32;
    let black = f32::from(BLACK_DN) + 0.5;
    light_e
        .iter()
        .map(|&e| {
            let n: f32 = rng.sample(StandardNormal);
            let dn = black + k * (e + (e + read2).sqrt() * n);
            (dn.max(0.0) as u16).min(WHITE_DN)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn numbers_have_the_stated_mean_and_noise() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        for (light, iso) in [(400.0_f32, 1600), (60.0, 400)] {
            let dn = expose(&vec![light; 200_000], iso, &mut rng);
            let n = dn.len() as f64;
            let mean = dn.iter().map(|&v| f64::from(v)).sum::<f64>() / n;
            let var = dn
                .iter()
                .map(|&v| (f64::from(v) - mean).powi(2))
                .sum::<f64>()
                / n;
            let want = f64::from(BLACK_DN) + gain_dn_per_e(iso) * f64::from(light);
            assert!(
                (mean - want).abs() < 0.02 * gain_dn_per_e(iso) * 20.0,
                "{mean} {want}"
            );
            let sigma = noise_share(f64::from(light), iso) * RANGE_DN;
            assert!(
                (var.sqrt() / sigma - 1.0).abs() < 0.01,
                "{} {sigma}",
                var.sqrt()
            );
        }
    }

    #[test]
    fn the_mosaic_is_rggb() {
        assert_eq!(
            [bayer(0, 0), bayer(1, 0), bayer(0, 1), bayer(1, 1)],
            [0, 1, 1, 2]
        );
    }
}
