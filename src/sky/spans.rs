//! When the Sun is down and the Moon is up.

use super::moment::Moment;
use super::moon::moon;
use super::site::Site;
use super::sun::sun;

/// From when to when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Its beginning.
    pub from: Moment,
    /// Its end.
    pub to: Moment,
}

/// How far down the Sun's centre is, by name.
///
/// Source: Explanatory Supplement to the Astronomical Almanac.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Depth {
    /// Its upper edge is below the horizon, air allowed for (−0.833°).
    Set,
    /// 6° down: past civil twilight.
    Civil,
    /// 12° down: past nautical twilight.
    Nautical,
    /// 18° down: past astronomical twilight; the sky is dark.
    Astronomical,
}

impl Depth {
    /// From bright to dark.
    pub const ALL: [Self; 4] = [Self::Set, Self::Civil, Self::Nautical, Self::Astronomical];

    /// Altitude of the Sun's centre, degrees.
    #[must_use]
    pub const fn altitude_deg(self) -> f64 {
        match self {
            Self::Set => UPPER_EDGE_DEG,
            Self::Civil => -6.0,
            Self::Nautical => -12.0,
            Self::Astronomical => -18.0,
        }
    }
}

/// Altitude of the centre when the upper edge of Sun or Moon touches the horizon: 34′ of air and 16′
/// of radius (Meeus, ch. 15; the Moon's parallax is in its altitude already).
const UPPER_EDGE_DEG: f64 = -0.833;

/// Seconds from one look to the next. What is shorter may be missed.
const STEP_S: f64 = 240.0;

/// When, between two moments, the Sun is at least as far down as `depth` says. To 15 s where it sets
/// steeply; within a minute up to 60° of latitude.
#[must_use]
pub fn sun_down(site: Site, depth: Depth, within: Span) -> Vec<Span> {
    let altitude = depth.altitude_deg();
    spans(within, |moment| altitude - sun(site, moment).altitude_deg)
}

/// When, between two moments, the Moon's upper edge is above the horizon.
#[must_use]
pub fn moon_up(site: Site, within: Span) -> Vec<Span> {
    spans(within, |moment| {
        moon(site, moment).standing.altitude_deg - UPPER_EDGE_DEG
    })
}

/// The solar day, noon to noon, that holds `moment` at `site`: what an evening and its morning lie in.
/// By mean time; the Sun is up to 17 minutes off.
#[must_use]
pub fn noon_to_noon(site: Site, moment: Moment) -> Span {
    const DAY_S: f64 = 86_400.0;
    let noon_s = 43_200.0 - site.longitude_deg * 240.0;
    let days = ((moment.utc_s - noon_s) / DAY_S).floor();
    let at = |utc_s| Moment { utc_s };
    Span {
        from: at(noon_s + days * DAY_S),
        to: at(noon_s + (days + 1.0) * DAY_S),
    }
}

/// Where `f` is above 0 between two moments, its crossings to a tenth of a second.
fn spans(within: Span, f: impl Fn(Moment) -> f64) -> Vec<Span> {
    let (from_s, to_s) = (within.from.utc_s, within.to.utc_s);
    if !(from_s.is_finite() && to_s.is_finite()) || to_s <= from_s {
        return Vec::new();
    }
    let is_in = |utc_s: f64| f(Moment { utc_s }) > 0.0;
    let steps = ((to_s - from_s) / STEP_S).ceil();
    let mut found = Vec::new();
    let mut began = is_in(from_s).then_some(from_s);
    let mut last = from_s;
    for step in 1..=steps as u32 {
        let now = (from_s + f64::from(step) * STEP_S).min(to_s);
        match (began, is_in(now)) {
            (None, true) => began = Some(crossing(last, now, &is_in)),
            (Some(start), false) => {
                found.push((start, crossing(last, now, &is_in)));
                began = None;
            }
            _ => {}
        }
        last = now;
    }
    found.extend(began.map(|start| (start, to_s)));
    let at = |utc_s| Moment { utc_s };
    (found.into_iter())
        .map(|(from, to)| Span {
            from: at(from),
            to: at(to),
        })
        .collect()
}

/// The moment between `low` and `high` where `is_in` changes, by halving.
fn crossing(low: f64, high: f64, is_in: &impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (low, high);
    let at_low = is_in(low);
    while high - low > 0.1 {
        let middle = f64::midpoint(low, high);
        if is_in(middle) == at_low {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crossings_of_a_wave() {
        // sin above 0.5 from a twelfth to five twelfths of its period.
        let span = Span {
            from: Moment { utc_s: 0.0 },
            to: Moment { utc_s: 24_000.0 },
        };
        let wave = |m: Moment| (m.utc_s / 12_000.0 * std::f64::consts::TAU).sin() - 0.5;
        let found = spans(span, wave);
        assert_eq!(found.len(), 2);
        for (turn, span) in (0..).zip(&found) {
            let base = f64::from(turn) * 12_000.0;
            assert!((span.from.utc_s - base - 1000.0).abs() < 0.1);
            assert!((span.to.utc_s - base - 5000.0).abs() < 0.1);
        }
        assert!(spans(span, |_| -1.0).is_empty());
        assert_eq!(spans(span, |_| 1.0), [span]);
    }

    #[test]
    fn the_day_of_an_evening() {
        let site = Site::new(0.0, -90.0).unwrap();
        // 02:00 UTC is 20:00 there: the noon before was at 18:00 UTC of the day before.
        let day = noon_to_noon(site, Moment { utc_s: 7200.0 });
        assert!((day.from.utc_s + 21_600.0).abs() < 1e-6);
        assert!((day.to.utc_s - 64_800.0).abs() < 1e-6);
    }
}
