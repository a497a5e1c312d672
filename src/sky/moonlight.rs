//! How much the Moon brightens the sky.

use super::horizon::Standing;
use super::moon::Moon;

/// Brightness of the darkest zenith, nanolamberts: V = 21.587 mag per square arcsecond (the paper's).
const DARK_NL: f64 = 79.0;
/// Light lost in one airmass, mag (the paper's, V on a clear mountain).
const LOSS_MAG: f64 = 0.172;

/// The Moon's light in the sky in units of a dark sky's, 45° up and 60° from the Moon: where a camera
/// points is not known, and it varies by a factor of two about this. 0 with the Moon down. To 8 to
/// 23 % in clear air; haze and cloud scatter more.
///
/// Source: Krisciunas & Schaefer 1991, PASP 103, 1033, (15) to (21).
#[must_use]
pub fn moonlight(moon: Moon) -> f64 {
    let Standing { altitude_deg, .. } = moon.standing;
    if altitude_deg <= 0.0 {
        return 0.0;
    }
    let phase_deg = (2.0 * moon.lit - 1.0).clamp(-1.0, 1.0).acos().to_degrees();
    brightness_nl(phase_deg, 60.0, 90.0 - altitude_deg, 45.0) / DARK_NL
}

/// Moonlight, nanolamberts, at zenith distance `sky_deg` and so far from a Moon at zenith distance
/// `moon_deg`.
fn brightness_nl(phase_deg: f64, apart_deg: f64, moon_deg: f64, sky_deg: f64) -> f64 {
    let illuminance = 10_f64.powf(-0.4 * (3.84 + 0.026 * phase_deg + 4e-9 * phase_deg.powi(4)));
    let rayleigh = 10_f64.powf(5.36) * (1.06 + apart_deg.to_radians().cos().powi(2));
    let mie = 10_f64.powf(6.15 - apart_deg / 40.0);
    let air = |zenith_deg: f64| (1.0 - 0.96 * zenith_deg.to_radians().sin().powi(2)).powf(-0.5);
    let through = |zenith_deg: f64| 10_f64.powf(-0.4 * LOSS_MAG * air(zenith_deg));
    (rayleigh + mie) * illuminance * through(moon_deg) * (1.0 - through(sky_deg))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moon(altitude_deg: f64, lit: f64) -> Moon {
        let standing = Standing {
            altitude_deg,
            azimuth_deg: 0.0,
        };
        Moon { standing, lit }
    }

    #[test]
    fn by_hand_for_a_half_moon() {
        // α 90°: I* = 10^(−0.4·(3.84 + 2.34 + 0.2624)) = 2.650e-3; f(60°) = 10^5.36·1.31 + 10^4.65
        // = 344 770; Moon 60° from the zenith: X = 1.890, 0.7412 gets through; 1 − 10^(−0.4·0.172·1.387)
        // = 0.1973: 133.6 nL, 1.69 dark skies.
        assert!((moonlight(moon(30.0, 0.5)) - 1.69).abs() < 0.01);
    }

    #[test]
    fn less_moon_and_a_lower_one_give_less() {
        let full = moonlight(moon(60.0, 1.0));
        // A full Moon takes a dark sky to about 18 mag per square arcsecond: 20 to 30 times as bright.
        assert!((15.0..40.0).contains(&full), "{full}");
        assert!(moonlight(moon(10.0, 1.0)) < full);
        assert!(moonlight(moon(60.0, 0.1)) < 0.3);
        assert!(moonlight(moon(-0.5, 1.0)).abs() < 1e-12);
    }
}
