//! Where the Moon stands, and how much of it is lit.

use super::horizon::{Ecliptic, Standing};
use super::moment::{Moment, Tilt};
use super::site::Site;
use super::sun;

/// The Moon in the sky of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moon {
    /// Where its centre stands.
    pub standing: Standing,
    /// How much of its disc is lit, 0 to 1.
    pub lit: f64,
}

/// Multiples of D, M, M′, F; longitude in 10⁻⁶ degrees; distance in 10⁻³ km: Meeus, table 47.A,
/// terms of 0.002° and more.
const LONGITUDE: [([i8; 4], f64, f64); 32] = [
    ([0, 0, 1, 0], 6_288_774.0, -20_905_355.0),
    ([2, 0, -1, 0], 1_274_027.0, -3_699_111.0),
    ([2, 0, 0, 0], 658_314.0, -2_955_968.0),
    ([0, 0, 2, 0], 213_618.0, -569_925.0),
    ([0, 1, 0, 0], -185_116.0, 48_888.0),
    ([0, 0, 0, 2], -114_332.0, -3_149.0),
    ([2, 0, -2, 0], 58_793.0, 246_158.0),
    ([2, -1, -1, 0], 57_066.0, -152_138.0),
    ([2, 0, 1, 0], 53_322.0, -170_733.0),
    ([2, -1, 0, 0], 45_758.0, -204_586.0),
    ([0, 1, -1, 0], -40_923.0, -129_620.0),
    ([1, 0, 0, 0], -34_720.0, 108_743.0),
    ([0, 1, 1, 0], -30_383.0, 104_755.0),
    ([2, 0, 0, -2], 15_327.0, 10_321.0),
    ([0, 0, 1, 2], -12_528.0, 0.0),
    ([0, 0, 1, -2], 10_980.0, 79_661.0),
    ([4, 0, -1, 0], 10_675.0, -34_782.0),
    ([0, 0, 3, 0], 10_034.0, -23_210.0),
    ([4, 0, -2, 0], 8_548.0, -21_636.0),
    ([2, 1, -1, 0], -7_888.0, 24_208.0),
    ([2, 1, 0, 0], -6_766.0, 30_824.0),
    ([1, 0, -1, 0], -5_163.0, -8_379.0),
    ([1, 1, 0, 0], 4_987.0, -16_675.0),
    ([2, -1, 1, 0], 4_036.0, -12_831.0),
    ([2, 0, 2, 0], 3_994.0, -10_445.0),
    ([4, 0, 0, 0], 3_861.0, -11_650.0),
    ([2, 0, -3, 0], 3_665.0, 14_403.0),
    ([0, 1, -2, 0], -2_689.0, -7_003.0),
    ([2, 0, -1, 2], -2_602.0, 0.0),
    ([2, -1, -2, 0], 2_390.0, 10_056.0),
    ([1, 0, 1, 0], -2_348.0, 6_322.0),
    ([2, -2, 0, 0], 2_236.0, -9_884.0),
];

/// Multiples of D, M, M′, F; latitude in 10⁻⁶ degrees: Meeus, table 47.B, terms of 0.002° and more.
const LATITUDE: [([i8; 4], f64); 17] = [
    ([0, 0, 0, 1], 5_128_122.0),
    ([0, 0, 1, 1], 280_602.0),
    ([0, 0, 1, -1], 277_693.0),
    ([2, 0, 0, -1], 173_237.0),
    ([2, 0, -1, 1], 55_413.0),
    ([2, 0, -1, -1], 46_271.0),
    ([2, 0, 0, 1], 32_573.0),
    ([0, 0, 2, 1], 17_198.0),
    ([2, 0, 1, -1], 9_266.0),
    ([0, 0, 2, -1], 8_822.0),
    ([2, -1, 0, -1], 8_216.0),
    ([2, 0, -2, -1], 4_324.0),
    ([2, 0, 1, 1], 4_200.0),
    ([2, 1, 0, -1], -3_359.0),
    ([2, -1, -1, 1], 2_463.0),
    ([2, -1, 0, 1], 2_211.0),
    ([2, -1, -1, -1], 2_065.0),
];

/// The Moon seen from the middle of the Earth: 0.01° and 20 km of the full series.
///
/// Source: Meeus, ch. 47.
pub(super) fn geocentric(t: f64) -> Ecliptic {
    let polynomial = |at_2000: f64, rate: f64, square: f64| at_2000 + (rate + square * t) * t;
    let mean_longitude = polynomial(218.316_447_7, 481_267.881_234_21, -0.001_578_6);
    let arguments = [
        polynomial(297.850_192_1, 445_267.111_403_4, -0.001_881_9),
        polynomial(357.529_109_2, 35_999.050_290_9, -0.000_153_6),
        polynomial(134.963_396_4, 477_198.867_505_5, 0.008_741_4),
        polynomial(93.272_095_0, 483_202.017_523_3, -0.003_653_9),
    ]
    .map(f64::to_radians);
    // The Earth's orbit grows rounder, and with it all terms that hold the Sun's anomaly.
    let rounder = 1.0 - (0.002_516 + 0.000_007_4 * t) * t;
    let argument = |multiples: [i8; 4]| -> f64 {
        let each = multiples.iter().zip(arguments);
        each.map(|(&k, argument)| f64::from(k) * argument).sum()
    };
    let weight = |multiples: [i8; 4]| rounder.powi(i32::from(multiples[1].abs()));
    let (mut longitude, mut distance) = (0.0, 0.0);
    for (multiples, sine, cosine) in LONGITUDE {
        let (sin, cos) = argument(multiples).sin_cos();
        longitude += weight(multiples) * sine * sin;
        distance += weight(multiples) * cosine * cos;
    }
    let latitude: f64 = LATITUDE
        .iter()
        .map(|&(multiples, sine)| weight(multiples) * sine * argument(multiples).sin())
        .sum();
    // Venus, Jupiter and the Earth's flattening.
    let venus = (119.75 + 131.849 * t).to_radians();
    let jupiter = (53.09 + 479_264.290 * t).to_radians();
    let flattening = mean_longitude.to_radians();
    let node = flattening - arguments[3];
    longitude += 3958.0 * venus.sin() + 1962.0 * node.sin() + 318.0 * jupiter.sin();
    Ecliptic {
        longitude_deg: mean_longitude + longitude * 1e-6,
        latitude_deg: (latitude - 2235.0 * flattening.sin()) * 1e-6,
        distance_km: 385_000.56 + distance * 1e-3,
    }
}

/// Share of the disc that is lit.
///
/// Source: Meeus, (48.1) to (48.3).
fn lit(moon: Ecliptic, sun: Ecliptic) -> f64 {
    let apart = (moon.longitude_deg - sun.longitude_deg).to_radians();
    let cos_elongation = moon.latitude_deg.to_radians().cos() * apart.cos();
    let elongation = cos_elongation.clamp(-1.0, 1.0).acos();
    let phase = (sun.distance_km * elongation.sin())
        .atan2(moon.distance_km - sun.distance_km * cos_elongation);
    f64::midpoint(1.0, phase.cos())
}

/// Where the Moon stands as seen from `site`, to 0.02°, and how much of it is lit.
#[must_use]
pub fn moon(site: Site, moment: Moment) -> Moon {
    let t = moment.centuries();
    let moon = geocentric(t);
    Moon {
        standing: moon.seen_from(site, moment, Tilt::at(t)),
        lit: lit(moon, sun::geocentric(t)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1992 April 12, 0h TD.
    const T: f64 = -0.077_221_081_451;

    #[test]
    fn meeus_47_a() {
        // λ 133.162655°, β −3.229126°, Δ 368409.7 km; apparent α 134.688470°, δ 13.768368°.
        let moon = geocentric(T);
        let longitude = moon.longitude_deg.rem_euclid(360.0);
        assert!((longitude - 133.162_655).abs() < 0.01, "{longitude}");
        assert!((moon.latitude_deg + 3.229_126).abs() < 0.01);
        assert!((moon.distance_km - 368_409.7).abs() < 20.0);
        let (ascension, declination) = moon.equatorial_deg(Tilt::at(T));
        assert!((ascension - 134.688_470).abs() < 0.01, "{ascension}");
        assert!((declination - 13.768_368).abs() < 0.01, "{declination}");
    }

    #[test]
    fn meeus_48_a() {
        // The same moment: 0.6786 of the disc is lit.
        let lit = lit(geocentric(T), sun::geocentric(T));
        assert!((lit - 0.6786).abs() < 2e-4, "{lit}");
    }
}
