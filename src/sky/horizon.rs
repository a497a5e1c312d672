//! From the middle of the Earth to a place on it: parallax, altitude, azimuth, air.

use super::moment::{Moment, Tilt};
use super::site::Site;

/// Earth's equatorial radius, km (IAU 1976).
const EARTH_KM: f64 = 6378.14;

/// Where something stands in the sky of a place, air left out of account.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// Height over the horizon, degrees, without refraction.
    pub altitude_deg: f64,
    /// From north by east, degrees, 0 to 360.
    pub azimuth_deg: f64,
}

/// A place in the sky as seen from the middle of the Earth: ecliptic of date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ecliptic {
    /// Longitude, degrees, nutation not in it.
    pub(super) longitude_deg: f64,
    /// Latitude, degrees.
    pub(super) latitude_deg: f64,
    /// Distance, km.
    pub(super) distance_km: f64,
}

impl Ecliptic {
    /// Right ascension and declination of date, degrees: what worked examples give.
    #[cfg(test)]
    pub(super) fn equatorial_deg(self, tilt: Tilt) -> (f64, f64) {
        let [x, y, z] = self.equatorial(tilt);
        let ascension = y.atan2(x).to_degrees().rem_euclid(360.0);
        (ascension, z.atan2(x.hypot(y)).to_degrees())
    }

    /// The unit vector to it: x to the equinox, z to the pole of date.
    ///
    /// Source: Meeus, (13.3) and (13.4).
    fn equatorial(self, tilt: Tilt) -> [f64; 3] {
        let (sin_l, cos_l) = (self.longitude_deg + tilt.nutation_deg)
            .to_radians()
            .sin_cos();
        let (sin_b, cos_b) = self.latitude_deg.to_radians().sin_cos();
        let (sin_e, cos_e) = tilt.obliquity_deg.to_radians().sin_cos();
        [
            cos_b * cos_l,
            cos_e * cos_b * sin_l - sin_e * sin_b,
            sin_e * cos_b * sin_l + cos_e * sin_b,
        ]
    }

    /// Where it stands as seen from `site`: parallax is taken off by vectors, as it reaches 1° for
    /// the Moon.
    ///
    /// Source: Meeus, ch. 11 (the Earth's figure), 13.
    pub(super) fn seen_from(self, site: Site, moment: Moment, tilt: Tilt) -> Standing {
        let (sin_lat, cos_lat) = site.latitude_deg.to_radians().sin_cos();
        let local = (moment.sidereal_deg() + site.longitude_deg).to_radians();
        let (sin_t, cos_t) = local.sin_cos();
        // Flattened by 1/298.257: the geocentric latitude of the place.
        let reduced = (0.996_647_19 * sin_lat).atan2(cos_lat);
        let (rho_sin, rho_cos) = (0.996_647_19 * reduced.sin(), reduced.cos());
        let place = [rho_cos * cos_t, rho_cos * sin_t, rho_sin].map(|part| part * EARTH_KM);
        let to = self.equatorial(tilt);
        let [x, y, z] = std::array::from_fn(|k| to[k] * self.distance_km - place[k]);
        // Toward the meridian's south point, east, up.
        let south = (cos_t * x + sin_t * y) * sin_lat - z * cos_lat;
        let east = cos_t * y - sin_t * x;
        let up = (cos_t * x + sin_t * y) * cos_lat + z * sin_lat;
        Standing {
            altitude_deg: up.atan2(south.hypot(east)).to_degrees(),
            azimuth_deg: east.atan2(-south).to_degrees().rem_euclid(360.0),
        }
    }
}

/// How much air lifts what truly stands at `altitude_deg`, degrees; 0 from 1° below the horizon.
/// For 1010 hPa and 10 °C, to 0.07′ above the horizon.
///
/// Source: Sæmundsson 1986, in Meeus (16.4).
#[must_use]
pub fn refraction_deg(altitude_deg: f64) -> f64 {
    if altitude_deg < -1.0 {
        return 0.0;
    }
    let minutes = 1.02
        / (altitude_deg + 10.3 / (altitude_deg + 5.11))
            .to_radians()
            .tan();
    minutes.max(0.0) / 60.0
}

/// How many times the air overhead light crosses from apparent `altitude_deg`; `None` below the
/// horizon.
///
/// Source: Kasten & Young 1989, Applied Optics 28, 4735.
#[must_use]
pub fn airmass(altitude_deg: f64) -> Option<f64> {
    (altitude_deg >= 0.0).then(|| {
        let haze = 0.505_72 * (altitude_deg + 6.079_95).powf(-1.6364);
        1.0 / (altitude_deg.to_radians().sin() + haze)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn air_lifts_by_the_published_figures() {
        // Meeus, example 16.a: 24.618′ at a true altitude of 0.5541°.
        assert!((refraction_deg(0.5541) * 60.0 - 24.618).abs() < 0.001);
        assert!(refraction_deg(90.0) < 1e-3);
        assert!(refraction_deg(-5.0).abs() < 1e-12);
        // By its derivative: altitudes are squeezed by 0.24 % at 20°, 0.83 % at 10°.
        for (altitude, share) in [(20.0, 0.0024), (10.0, 0.0083)] {
            let slope = (refraction_deg(altitude - 0.05) - refraction_deg(altitude + 0.05)) / 0.1;
            assert!((slope - share).abs() < 1e-4, "{altitude}: {slope}");
        }
    }

    #[test]
    fn air_crossed_by_the_published_figures() {
        // Kasten & Young 1989, table II: 37.92 at the horizon, 5.589 at 10°, 1.994 at 30°, 1 overhead.
        for (altitude, mass) in [(0.0, 37.92), (10.0, 5.585), (30.0, 1.994), (90.0, 1.0)] {
            let got = airmass(altitude).unwrap();
            assert!((got / mass - 1.0).abs() < 2e-3, "{altitude}: {got}");
        }
        assert_eq!(airmass(-0.1), None);
    }
}
