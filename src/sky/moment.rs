//! Moments, and what turns with them: dynamical time, sidereal time, nutation, obliquity.

/// A moment as seconds of UTC since 1970-01-01, leap seconds left out as in civil clocks.
///
/// UT1 is taken for UTC (they differ by less than 0.9 s: 14″ of the sky's turning).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Moment {
    /// Seconds since 1970-01-01 00:00 UTC.
    pub utc_s: f64,
}

/// Julian day of 1970-01-01 00:00.
const JD_1970: f64 = 2_440_587.5;
/// Julian day of 2000-01-01 12:00.
const JD_2000: f64 = 2_451_545.0;

impl Moment {
    /// Days of UTC since 2000-01-01 12:00.
    pub(super) fn days(self) -> f64 {
        self.utc_s / 86_400.0 + (JD_1970 - JD_2000)
    }

    /// Julian centuries of dynamical time since 2000-01-01 12:00.
    pub(super) fn centuries(self) -> f64 {
        (self.days() + delta_t_s(self.days()) / 86_400.0) / 36_525.0
    }

    /// Greenwich apparent sidereal time, degrees.
    ///
    /// Source: Meeus, Astronomical Algorithms, 2nd ed., (12.4), with nutation.
    pub(super) fn sidereal_deg(self) -> f64 {
        let days = self.days();
        let t = days / 36_525.0;
        let mean = 280.460_618_37 + 360.985_647_366_29 * days + 0.000_387_933 * t * t;
        let tilt = Tilt::at(self.centuries());
        mean + tilt.nutation_deg * tilt.obliquity_deg.to_radians().cos()
    }
}

/// Dynamical minus universal time, s: the polynomial for 2005 to 2050, within 6 s of the truth from
/// 1990 to 2026. Six seconds move the Moon by 0.001°.
///
/// Source: Espenak & Meeus, Five Millennium Canon of Solar Eclipses (NASA/TP-2006-214141).
fn delta_t_s(days: f64) -> f64 {
    let t = days / 365.25;
    62.92 + (0.322_17 + 0.005_589 * t) * t
}

/// How the Earth's axis is tilted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tilt {
    /// Nutation in longitude, degrees.
    pub(super) nutation_deg: f64,
    /// True obliquity of the ecliptic, degrees.
    pub(super) obliquity_deg: f64,
}

impl Tilt {
    /// At so many centuries of dynamical time: 0.5″ in longitude, 0.1″ in obliquity.
    ///
    /// Source: Meeus, ch. 22.
    pub(super) fn at(t: f64) -> Self {
        let node = (125.044_52 - 1_934.136_261 * t).to_radians();
        let sun = 2.0 * (280.4665 + 36_000.769_8 * t).to_radians();
        let moon = 2.0 * (218.3165 + 481_267.881_3 * t).to_radians();
        let longitude =
            -17.20 * node.sin() - 1.32 * sun.sin() - 0.23 * moon.sin() + 0.21 * (2.0 * node).sin();
        let tilt =
            9.20 * node.cos() + 0.57 * sun.cos() + 0.10 * moon.cos() - 0.09 * (2.0 * node).cos();
        Self {
            nutation_deg: longitude / 3600.0,
            obliquity_deg: 23.439_291_1 - 0.013_004_2 * t + tilt / 3600.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn meeus_12_a() {
        // 1987 April 10, 0h UT: 13h 10m 46.1351s, mean 13h 10m 46.3668s.
        let moment = Moment {
            utc_s: 545_011_200.0,
        };
        assert!((moment.days() + JD_2000 - 2_446_895.5).abs() < 1e-9);
        let hours = moment.sidereal_deg().rem_euclid(360.0) / 15.0;
        let by_hand = 13.0 + 10.0 / 60.0 + 46.1351 / 3600.0;
        assert!((hours - by_hand).abs() * 3600.0 < 0.04, "{hours}");
    }

    #[test]
    fn meeus_22_a() {
        // 1987 April 10, 0h TD: −3.788″ and 23° 26′ 36.850″.
        let tilt = Tilt::at(-0.127_296_372_348);
        assert!((tilt.nutation_deg * 3600.0 + 3.788).abs() < 0.5);
        let obliquity = 23.0 + 26.0 / 60.0 + 36.850 / 3600.0;
        assert!((tilt.obliquity_deg - obliquity).abs() * 3600.0 < 0.1);
    }

    #[test]
    fn dynamical_time_runs_ahead_as_measured() {
        // IERS: 56.86 s at the beginning of 1990, 63.83 s of 2000, 69.36 s of 2020.
        for (year, seconds) in [(1990.0, 56.86), (2000.0, 63.83), (2020.0, 69.36)] {
            let days = (year - 2000.0) * 365.25;
            assert!((delta_t_s(days) - seconds).abs() < 6.0, "{year}");
        }
    }
}
