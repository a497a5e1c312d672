//! Sun and Moon over a night: when it was dark, when the Moon was up, where both stood in each frame.

use super::types::{Heavens, Night, TimeSpan};
use crate::sky::{self, Depth, Moment, Site, Span};

/// Longest stretch that is looked through; a folder of more days than these is told of its first.
const LONGEST_S: f64 = 8.0 * 86_400.0;
/// A clock that reads this year or an earlier one was reset, and its time of day means nothing.
const RESET_YEAR: i16 = super::warnings::RESET_YEAR;

/// Fills in Sun and Moon, where place and time are known.
pub(super) fn fill(night: &mut Night) {
    let (Some(place), Some(start_s)) = (night.place, start_utc_s(night)) else {
        return;
    };
    let site = place.site;
    let at = |time_s: f64| Moment {
        utc_s: start_s + time_s,
    };
    let (mut last_s, mut lit) = (0.0_f64, Vec::new());
    for row in &mut night.rows {
        let Some(time_s) = row.time_s else { continue };
        last_s = last_s.max(time_s);
        let middle = at(time_s + row.facts.exposure_s.unwrap_or(0.0) / 2.0);
        let moon = sky::moon(site, middle);
        lit.push(moon.lit);
        row.derived.sun_altitude_deg = Some(sky::sun(site, middle).altitude_deg);
        row.derived.moon_altitude_deg = Some(moon.standing.altitude_deg);
    }
    let within = days(site, at(0.0), at(last_s.min(LONGEST_S)));
    let on_clock = |spans: Vec<Span>| -> Vec<TimeSpan> {
        let span = |span: Span| TimeSpan {
            from_s: span.from.utc_s - start_s,
            to_s: span.to.utc_s - start_s,
        };
        spans.into_iter().map(span).collect()
    };
    night.heavens = Some(Heavens {
        start_utc_s: start_s,
        sun_down: Depth::ALL.map(|depth| on_clock(sky::sun_down(site, depth, within))),
        moon_up: on_clock(sky::moon_up(site, within)),
        moon_lit: lit.get(lit.len() / 2).copied().unwrap_or(0.0),
    });
}

/// From the noon before the first frame to the noon after the last.
fn days(site: Site, first: Moment, last: Moment) -> Span {
    Span {
        from: sky::noon_to_noon(site, first).from,
        to: sky::noon_to_noon(site, last).to,
    }
}

/// UTC at `time_s` = 0, s since 1970; `None` unless every frame's clock says its zone and was set.
fn start_utc_s(night: &Night) -> Option<f64> {
    let taken = || night.rows.iter().filter_map(|row| row.facts.taken_at);
    if taken().any(|t| t.offset_s.is_none() || t.local.year() <= RESET_YEAR) {
        return None;
    }
    let earliest = taken().map(|t| t.clock_s() - f64::from(t.offset_s.unwrap_or(0)));
    earliest.min_by(f64::total_cmp)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::TakenAt;
    use crate::night::tests::{facts, run};
    use crate::night::{FrameInput, NightOptions, assemble};

    /// 30 s frames from 17:20 UTC of 2024-01-13 on, an hour east of Greenwich by their clock.
    fn evening(offset_s: Option<i32>) -> Vec<FrameInput> {
        let mut inputs = run(60);
        for input in &mut inputs {
            let second = 32 * input.shot as i64;
            let start = jiff::civil::date(2024, 1, 13).at(18, 20, 0, 0);
            facts(input).taken_at = Some(TakenAt {
                local: start.saturating_add(jiff::SignedDuration::from_secs(second)),
                has_subseconds: true,
                offset_s,
            });
        }
        inputs
    }

    fn alps() -> NightOptions {
        NightOptions {
            site: Site::new(47.25, 12.5).ok(),
            ..NightOptions::default()
        }
    }

    #[test]
    fn dark_begins_when_an_ephemeris_has_it() {
        // method.md: 17:33:09 to 05:03:50 UTC, 789 s after the first frame.
        let night = assemble(&evening(Some(3600)), &alps());
        let heavens = night.heavens.unwrap();
        assert!((heavens.start_utc_s - 1_705_166_400.0).abs() < 1e-6);
        let dark = &heavens.sun_down[3];
        assert_eq!(dark.len(), 1);
        assert!((dark[0].from_s - 789.0).abs() < 30.0, "{dark:?}");
        assert!((dark[0].to_s - 42_230.0).abs() < 30.0, "{dark:?}");
        assert!(heavens.moon_lit > 0.07 && heavens.moon_lit < 0.08);
        let sun = |row: usize| night.rows[row].derived.sun_altitude_deg.unwrap();
        assert!(sun(0) > -18.0 && sun(0) < -15.0 && sun(59) < -18.0);
        assert!(night.rows[0].derived.moon_altitude_deg.is_some());
    }

    #[test]
    fn without_zone_or_place_nothing_is_told() {
        assert_eq!(assemble(&evening(None), &alps()).heavens, None);
        let nowhere = assemble(&evening(Some(3600)), &NightOptions::default());
        assert_eq!(nowhere.heavens, None);
        let told = nowhere.warnings.join("\n");
        assert!(told.contains("place") && told.contains("--site"), "{told}");
        let mut reset = evening(Some(0));
        for input in &mut reset {
            if let Some(taken) = &mut facts(input).taken_at {
                taken.local = jiff::civil::date(1970, 1, 1).to_datetime(taken.local.time());
            }
        }
        assert_eq!(assemble(&reset, &alps()).heavens, None);
    }

    #[test]
    fn many_days_and_frames_without_time_are_borne() {
        let mut inputs = evening(Some(3600));
        facts(&mut inputs[3]).taken_at = None;
        if let Some(taken) = &mut facts(&mut inputs[59]).taken_at {
            taken.local = jiff::civil::date(2026, 1, 13).at(20, 0, 0, 0);
        }
        let night = assemble(&inputs, &alps());
        let heavens = night.heavens.unwrap();
        assert!((8..=10).contains(&heavens.sun_down[3].len()));
        let untimed = night.rows.iter().filter(|row| row.time_s.is_none());
        assert!(untimed.clone().count() == 1);
        assert!(
            untimed
                .clone()
                .all(|row| row.derived.sun_altitude_deg.is_none())
        );
    }
}
