//! Where the Sun stands.

use super::horizon::{Ecliptic, Standing};
use super::moment::{Moment, Tilt};
use super::site::Site;

/// Kilometres in an astronomical unit.
const AU_KM: f64 = 149_597_870.7;

/// The Sun seen from the middle of the Earth, to 0.01°, aberration in it.
///
/// Source: Meeus, ch. 25, low accuracy.
pub(super) fn geocentric(t: f64) -> Ecliptic {
    let mean_longitude = 280.466_46 + (36_000.769_83 + 0.000_303_2 * t) * t;
    let anomaly = (357.529_11 + (35_999.050_29 - 0.000_153_7 * t) * t).to_radians();
    let eccentricity = 0.016_708_634 - (0.000_042_037 + 0.000_000_126_7 * t) * t;
    let centre = (1.914_602 - (0.004_817 + 0.000_014 * t) * t) * anomaly.sin()
        + (0.019_993 - 0.000_101 * t) * (2.0 * anomaly).sin()
        + 0.000_289 * (3.0 * anomaly).sin();
    let true_anomaly = anomaly + centre.to_radians();
    let radius =
        1.000_001_018 * (1.0 - eccentricity.powi(2)) / (1.0 + eccentricity * true_anomaly.cos());
    Ecliptic {
        longitude_deg: mean_longitude + centre - 0.005_69,
        latitude_deg: 0.0,
        distance_km: radius * AU_KM,
    }
}

/// Where the Sun's centre stands, to 0.01°.
#[must_use]
pub fn sun(site: Site, moment: Moment) -> Standing {
    let t = moment.centuries();
    geocentric(t).seen_from(site, moment, Tilt::at(t))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn meeus_25_a() {
        // 1992 October 13, 0h TD: λ 199.90895°, α 198.38083°, δ −7.78507°, R 0.99766.
        let t = -0.072_183_436;
        let sun = geocentric(t);
        let tilt = Tilt::at(t);
        let apparent = (sun.longitude_deg + tilt.nutation_deg).rem_euclid(360.0);
        assert!((apparent - 199.908_95).abs() < 5e-4, "{apparent}");
        assert!((sun.distance_km / AU_KM - 0.997_66).abs() < 1e-5);
        let (ascension, declination) = sun.equatorial_deg(tilt);
        assert!((ascension - 198.380_83).abs() < 5e-4, "{ascension}");
        assert!((declination + 7.785_07).abs() < 5e-4, "{declination}");
    }
}
