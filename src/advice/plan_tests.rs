//! Plans for other nights, against closed forms and the tables of Sun and Moon.

use jiff::civil::date;

use super::plan::{Plan, PlanAsked, PlanLens, plan};
use crate::advice::AdviceOptions;
use crate::sky::Site;
use crate::sky::turning::arc_deg;
use crate::verdict::testkit::Calm;
use crate::verdict::{Purpose, Thresholds, judge};

fn planned(purpose: Purpose, asked: &PlanAsked) -> Plan {
    let night = Calm::default().night(|_, _| ());
    let judged = judge(&night, purpose, &Thresholds::default());
    plan(&night, 0, &judged, AdviceOptions::default(), asked).unwrap()
}

/// 30 s frames every 32 s: 225 in two hours, 30.08° from first opening to last closing.
#[test]
fn two_hours_of_trails() {
    let asked = PlanAsked {
        hours: 2.0,
        bytes_a_frame: Some(25e6),
        ..PlanAsked::default()
    };
    let got = planned(Purpose::Trails, &asked);
    assert!((got.interval_s - 32.0).abs() < 0.01, "{got:?}");
    assert_eq!(got.frames, 225);
    assert!(
        (got.arc_deg - arc_deg(224.0 * 32.0 + 30.0)).abs() < 0.15,
        "{got:?}"
    );
    assert!((got.card_bytes.unwrap() - 225.0 * 25e6).abs() < 1.0);
    let film: Vec<f64> = got.film.iter().map(|f| f.seconds).collect();
    assert_eq!(film, [15.0, 9.375, 7.5]);
    // 120 frames every 32 s: 63 min and a half.
    assert!((got.battery_h.unwrap() - 119.0 * 32.0 / 3600.0).abs() < 1e-6);
    let words: Vec<String> = got.lines().into_iter().map(|(_, text)| text).collect();
    assert!(words.iter().any(|w| w.contains("estimate")), "{words:?}");
    assert_eq!(got.sky, None);
}

#[test]
fn another_lens_and_sensor_change_trail_and_card() {
    let asked = |focal_mm, size_px| PlanAsked {
        hours: 1.0,
        lens: PlanLens {
            focal_mm,
            size_px,
            ..PlanLens::default()
        },
        bytes_a_frame: Some(10e6),
        ..PlanAsked::default()
    };
    let own = planned(Purpose::Trails, &asked(None, None));
    let long = planned(Purpose::Trails, &asked(Some(48.0), None));
    let (a, b) = (
        own.largest_trail_px.unwrap(),
        long.largest_trail_px.unwrap(),
    );
    // 24 mm at 4.3 µm, 6000 × 4000: f = 5581 px, corner tangent 0.646; closed form.
    // A marked 30 s is commonly 32 s.
    let open = 32.0;
    assert!(
        (a - 15.041_07_f64.to_radians() / 3600.0 * 5581.4 * 1.417 * open).abs() < 0.2,
        "{a}"
    );
    assert!(b > 1.4 * a && b < 2.0 * a, "{a} {b}");
    let wide = planned(Purpose::Trails, &asked(None, Some((3000, 2000))));
    assert!((wide.card_bytes.unwrap() * 4.0 - own.card_bytes.unwrap()).abs() < 1.0);
}

/// Sun and Moon of method.md: at 47.25, 12.5 dark from 17:33 to 05:04 UTC on 2024-01-13, an 8 % Moon
/// already down.
#[test]
fn a_winter_night_is_dark_when_an_ephemeris_has_it() {
    let asked = PlanAsked {
        hours: 4.0,
        date: Some(date(2024, 1, 13)),
        site: Site::new(47.25, 12.5).ok(),
        ..PlanAsked::default()
    };
    let sky = planned(Purpose::Trails, &asked).sky.unwrap();
    // The made night's clock is two hours east.
    let lines = sky.lines();
    assert_eq!(lines[0], ("Dark", "19:33 to 07:04".to_owned()));
    assert!(lines[1].1.ends_with("9 % lit"), "{lines:?}");
    assert!((sky.dark_h - 4.0).abs() < 0.02, "{sky:?}");
    let start = sky.start.unwrap();
    assert!(
        (start.utc_s - sky.dark[0].from.utc_s).abs() < 1.0,
        "no need to wait"
    );
}

#[test]
fn a_white_night_says_so_and_a_moon_is_waited_for() {
    let asked = |date, lat, lon, hours| PlanAsked {
        hours,
        date: Some(date),
        site: Site::new(lat, lon).ok(),
        ..PlanAsked::default()
    };
    let june = planned(Purpose::Trails, &asked(date(2023, 6, 10), 60.1, 24.9, 3.0));
    assert!(
        june.notes
            .iter()
            .any(|note| note.contains("does not get dark"))
    );
    assert_eq!(june.sky.unwrap().start, None);
    // First quarter on 2024-01-18: the Moon sets after midnight, and the hours after are darker.
    let quarter = planned(Purpose::Still, &asked(date(2024, 1, 18), 47.25, 12.5, 3.0));
    let sky = quarter.sky.unwrap();
    let start = sky.start.unwrap();
    assert!(sky.moonless_h > 2.8, "{sky:?}");
    assert!(start.utc_s > sky.dark[0].from.utc_s + 3600.0);
}

#[test]
fn no_hours_no_plan() {
    let night = Calm::default().night(|_, _| ());
    let judged = judge(&night, Purpose::Trails, &Thresholds::default());
    for hours in [0.0, -1.0, f64::NAN, 1e9] {
        let asked = PlanAsked {
            hours,
            ..PlanAsked::default()
        };
        assert!(plan(&night, 0, &judged, AdviceOptions::default(), &asked).is_none());
    }
}
