//! Sun, Moon and twilight against numbers from outside.
//!
//! Altitudes, azimuths, lit fractions and nights: skyfield 1.55 with the JPL ephemeris de421, without
//! refraction, as in docs/method.md.

use nightloupe::sky::{Depth, Moment, Site, moon, noon_to_noon, sun, sun_down};

struct Seen {
    place: (f64, f64),
    utc: &'static str,
    sun: (f64, f64),
    moon: (f64, f64),
    lit: f64,
}

const SEEN: [Seen; 3] = [
    Seen {
        place: (47.25, 12.5),
        utc: "2024-01-13T20:00:00Z",
        sun: (-42.660, 285.306),
        moon: (-17.452, 262.745),
        lit: 0.0786,
    },
    Seen {
        place: (-23.7, -68.2),
        utc: "2025-06-20T05:30:00Z",
        sun: (-77.257, 88.391),
        moon: (-6.937, 82.768),
        lit: 0.3414,
    },
    Seen {
        place: (60.1, 24.9),
        utc: "2023-06-10T22:00:00Z",
        sun: (-6.759, 355.389),
        moon: (-11.387, 85.260),
        lit: 0.4896,
    },
];

fn site((latitude, longitude): (f64, f64)) -> Site {
    Site::new(latitude, longitude).unwrap()
}

fn moment(utc: &str) -> Moment {
    let stamp: jiff::Timestamp = utc.parse().unwrap();
    Moment {
        utc_s: stamp.as_second() as f64,
    }
}

/// The angle between two places in the sky, degrees.
fn apart(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (sin_a, cos_a) = a.0.to_radians().sin_cos();
    let (sin_b, cos_b) = b.0.to_radians().sin_cos();
    let cos = sin_a * sin_b + cos_a * cos_b * (a.1 - b.1).to_radians().cos();
    cos.clamp(-1.0, 1.0).acos().to_degrees()
}

#[test]
fn sun_and_moon_stand_where_an_ephemeris_has_them() {
    for seen in &SEEN {
        let (place, at) = (site(seen.place), moment(seen.utc));
        let standing = sun(place, at);
        let off = apart((standing.altitude_deg, standing.azimuth_deg), seen.sun);
        assert!(off < 0.02, "{}: Sun {off}° off", seen.utc);
        let moon = moon(place, at);
        let (altitude, azimuth) = (moon.standing.altitude_deg, moon.standing.azimuth_deg);
        let off = apart((altitude, azimuth), seen.moon);
        assert!(off < 0.03, "{}: Moon {off}° off", seen.utc);
        assert!((moon.lit - seen.lit).abs() < 0.001, "{}", moon.lit);
    }
}

#[test]
fn nights_begin_and_end_when_an_ephemeris_has_them() {
    let nights = [
        (
            (47.25, 12.5),
            Depth::Astronomical,
            "2024-01-13T17:33:09Z",
            "2024-01-14T05:03:50Z",
        ),
        (
            (-23.7, -68.2),
            Depth::Astronomical,
            "2025-06-20T23:15:13Z",
            "2025-06-21T09:53:31Z",
        ),
        (
            // A white night: the Sun stays above −7°, so it is between civil and nautical dusk.
            (60.1, 24.9),
            Depth::Civil,
            "2023-06-10T21:21:17Z",
            "2023-06-10T23:18:20Z",
        ),
    ];
    for (place, depth, from, to) in nights {
        let (place, from, to) = (site(place), moment(from), moment(to));
        let found = sun_down(place, depth, noon_to_noon(place, from));
        assert_eq!(found.len(), 1, "{found:?}");
        for (found, told) in [(found[0].from, from), (found[0].to, to)] {
            let off = found.utc_s - told.utc_s;
            assert!(off.abs() < 30.0, "{depth:?} at {place}: {off} s off");
        }
    }
    let (north, june) = (site((60.1, 24.9)), moment("2023-06-10T22:00:00Z"));
    let never = sun_down(north, Depth::Astronomical, noon_to_noon(north, june));
    assert!(never.is_empty(), "white nights: {never:?}");
}

/// Sixty places and moments from 2000 to 2025, by astropy: `heavens/make.py` wrote them.
#[test]
fn sun_and_moon_stand_where_another_ephemeris_has_them() {
    let table = include_str!("heavens/positions.csv");
    let mut worst = (0.0_f64, 0.0_f64);
    for line in table.lines().skip(1) {
        let values: Vec<f64> = line
            .split(',')
            .map(|value| value.parse().unwrap())
            .collect();
        let [
            utc_s,
            latitude,
            longitude,
            sun_alt,
            sun_az,
            moon_alt,
            moon_az,
        ] = values[..]
        else {
            panic!("{line}")
        };
        let (place, at) = (site((latitude, longitude)), Moment { utc_s });
        let (sun, moon) = (sun(place, at), moon(place, at).standing);
        let off = |standing: nightloupe::sky::Standing, told| {
            apart((standing.altitude_deg, standing.azimuth_deg), told)
        };
        worst.0 = worst.0.max(off(sun, (sun_alt, sun_az)));
        worst.1 = worst.1.max(off(moon, (moon_alt, moon_az)));
    }
    assert_eq!(table.lines().count(), 61);
    assert!(worst.0 < 0.012, "Sun: {}°", worst.0);
    assert!(worst.1 < 0.025, "Moon: {}°", worst.1);
}
