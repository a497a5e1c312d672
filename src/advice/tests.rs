//! Advice on made nights, and the arithmetic of common practice.

use super::*;
use crate::frame::Light;
use crate::verdict::testkit::{Calm, RATE_PX_S, lengthen, put};
use crate::verdict::{Decisions, Purpose, Thresholds, Verdict, judge};

fn advice(night: &Night, purpose: Purpose) -> NextTime {
    let judged = judge(night, purpose, &Thresholds::default());
    next_time(night, 0, &judged, &AdviceOptions::default())
}

fn row<'a>(next: &'a NextTime, setting: &str) -> &'a SettingAdvice {
    let found = next.settings.iter().find(|s| s.setting == setting);
    found.unwrap_or_else(|| panic!("no {setting}: {next:#?}"))
}

fn has(next: &NextTime, setting: &str) -> bool {
    next.settings.iter().any(|s| s.setting == setting)
}

/// Two lines of a narrow column.
fn fits(next: &NextTime) {
    for row in &next.settings {
        let long = |text: &str, most: usize| text.chars().count() > most;
        let cut = long(&row.why, SettingAdvice::WHY_LENGTH)
            || long(row.setting, SettingAdvice::SETTING_LENGTH)
            || long(&row.next, 14)
            || long(&row.tonight, 10);
        assert!(!cut, "{row:#?}");
    }
}

fn got(night: &Night, purpose: Purpose, decisions: &Decisions) -> Outcome {
    let judged = judge(night, purpose, &Thresholds::default());
    outcome(night, 0, &judged.in_force(night, decisions), purpose)
}

/// Common practice: 30 s back to back is 120 frames an hour; 120 frames are 4 s at 30 and 8 s at 15
/// a second.
#[test]
fn an_hour_of_30_s_frames() {
    let calm = Calm {
        interval_s: 30.0,
        ..Calm::default()
    };
    let night = calm.night(|_, _| ());
    let next = advice(&night, Purpose::Timelapse);
    let interval = row(&next, "Interval");
    assert!(interval.why.ends_with("; 120 an hour"), "{}", interval.why);
    assert!(
        interval
            .detail
            .contains("under 15 a second motion is not smooth")
    );
    let film = got(&night, Purpose::Timelapse, &Decisions::new()).film;
    let seconds: Vec<(u32, f64)> = film.iter().map(|f| (f.rate, f.seconds)).collect();
    assert_eq!(seconds, vec![(15, 8.0), (24, 5.0), (30, 4.0)]);
}

#[test]
fn arc_is_the_skys_turning_from_first_start_to_last_end() {
    let night = Calm::default().night(|_, _| ());
    let all = got(&night, Purpose::Trails, &Decisions::new());
    // 119 × 32 + 30 = 3838 s, times 15.04107″.
    assert!((all.arc_deg.unwrap() - 3838.0 * 15.041_07 / 3600.0).abs() < 1e-3);
    assert_eq!(all.arc_deg, all.possible_arc_deg);
    assert!((all.open_s.unwrap() - 3600.0).abs() < 1e-6);
    // The 2 s pause: 0.9 px.
    assert!((all.widest_gap_px.unwrap() - 2.0 * RATE_PX_S).abs() < 0.01);

    let cut: Decisions = (0..10).map(|shot| (shot, Verdict::Reject)).collect();
    let cut = got(&night, Purpose::Trails, &cut);
    assert_eq!((cut.used, cut.total), (110, 120));
    assert!((cut.arc_deg.unwrap() - 3518.0 * 15.041_07 / 3600.0).abs() < 1e-3);
    assert!((cut.widest_gap_px.unwrap() - 2.0 * RATE_PX_S).abs() < 0.01);

    // One frame out of the middle: r × (2 × 32 − 30).
    let hole = got(&night, Purpose::Trails, &[(60, Verdict::Reject)].into());
    assert!((hole.widest_gap_px.unwrap() - 34.0 * RATE_PX_S).abs() < 0.1);
    assert_eq!(hole.arc_deg, all.arc_deg);
}

#[test]
fn a_calm_hour_of_trails_changes_little() {
    let next = advice(&Calm::default().night(|_, _| ()), Purpose::Trails);
    assert_eq!(row(&next, "ISO").next, "the same");
    let exposure = row(&next, "Exposure");
    assert_eq!(exposure.next, "the same");
    // 2.6 px across at 6.6 px in 32 s, as a marked 30 s may be: 12.6 s.
    assert!(
        exposure.why.contains("its width in 13 s"),
        "{}",
        exposure.why
    );
    assert!(row(&next, "Duration").why.contains("need 2 h, 30°"));
    assert_eq!(row(&next, "Duration").next, "2 h");
    let order: Vec<bool> = next.settings.iter().map(|s| s.changed).collect();
    assert!(
        order.is_sorted_by(|a, b| a >= b),
        "changed first: {next:#?}"
    );
}

/// A marked 30 s may be 32 s: an interval of 32 s may leave no pause, and that is said.
#[test]
fn the_interval_allows_for_powers_of_two() {
    let next = advice(&Calm::default().night(|_, _| ()), Purpose::Trails);
    let interval = row(&next, "Interval");
    assert_eq!(interval.next, "the same");
    assert!(
        interval.detail.contains("A marked 30 s may be 32 s"),
        "{}",
        interval.detail
    );

    // With a long pause the advice is 1.067 × 30 + 1 = 33 s, not 31.
    let slow = Calm {
        interval_s: 45.0,
        ..Calm::default()
    };
    let next = advice(&slow.night(|_, _| ()), Purpose::Trails);
    assert_eq!(row(&next, "Interval").next, "33 s");

    // A marked 20 s is 20 s.
    let slow = Calm {
        interval_s: 30.0,
        exposure_s: 20.0,
        ..Calm::default()
    };
    let next = advice(&slow.night(|_, _| ()), Purpose::Trails);
    assert_eq!(row(&next, "Interval").next, "21 s");
}

#[test]
fn dark_subtraction_in_the_camera_is_told_by_its_pause() {
    let half = Calm {
        interval_s: 63.0,
        ..Calm::default()
    };
    let next = advice(&half.night(|_, _| ()), Purpose::Trails);
    let detail = &row(&next, "Interval").detail;
    assert!(detail.contains("turn off dark subtraction"), "{detail}");
}

#[test]
fn missed_frames_ask_for_a_longer_pause() {
    let mut inputs = Calm::default().inputs();
    inputs.remove(90);
    inputs.remove(40);
    let next = advice(&put(&inputs, true), Purpose::Trails);
    let interval = row(&next, "Interval");
    assert_eq!(interval.next, "33 s");
    assert!(
        interval.why.starts_with("2 frames missed at 32 s; "),
        "{}",
        interval.why
    );
}

/// (16.9·2.8 + 0.1·24 + 13.7·4.3)/24 = 4.526 s at the equator with k = 1.
#[test]
fn a_single_frame_is_held_to_npf_with_its_k() {
    let night = Calm::default().night(|_, _| ());
    let judged = judge(&night, Purpose::Still, &Thresholds::default());
    let mut limits = Vec::new();
    for npf_k in [1.0, 2.0, 3.0] {
        let next = next_time(&night, 0, &judged, &AdviceOptions { npf_k });
        let exposure = row(&next, "Exposure").clone();
        assert!(exposure.changed);
        assert!(
            exposure.why.contains(&format!("NPF (k = {npf_k})")),
            "{}",
            exposure.why
        );
        assert!(
            exposure.why.contains("trails 6.6 px, width 2.6"),
            "{}",
            exposure.why
        );
        limits.push(exposure.next);
    }
    // At the largest rate of this frame: 4.526 s × 0.407 / 0.453 = 4.07 s, times k, as a camera marks.
    assert_eq!(limits, ["4 s", "8 s", "10 s"]);
}

#[test]
fn iso_follows_a_shorter_exposure() {
    let night = Calm::default().night(|_, _| ());
    let next = advice(&night, Purpose::Still);
    // 30 s to 8 s is 1.9 stops; the highest ISO advised is 6400.
    assert_eq!(row(&next, "Exposure").next, "8 s");
    let iso = row(&next, "ISO");
    assert_eq!(iso.next, "6400");
    assert!(iso.why.contains("keeps the sky at"), "{}", iso.why);
}

#[test]
fn a_bright_sky_asks_for_less_and_a_dark_one_for_more() {
    let bright = Calm::default().night(|_, m| m.sky.level_pct *= 4.0);
    let iso = row(&advice(&bright, Purpose::Trails), "ISO").clone();
    // 43 % to the middle of the band, 14 %: two whole stops.
    assert_eq!((iso.next.as_str(), iso.changed), ("400", true));
    assert!(iso.why.contains("over 4 to 20 %"), "{}", iso.why);
    let dark = Calm::default().night(|_, m| m.sky.level_pct *= 0.3);
    // 3 % to 9 %: one stop and a half, told as one or two.
    let brighter = row(&advice(&dark, Purpose::Trails), "ISO").clone();
    assert!(brighter.changed && ["3200", "6400"].contains(&brighter.next.as_str()));
    // Twice too dark for any ISO: open the aperture.
    let night = Calm::default().night(|_, m| m.sky.level_pct *= 0.05);
    assert!(!has(&advice(&night, Purpose::Trails), "Aperture"));
    assert!(has(&advice(&night, Purpose::Still), "Aperture"));
}

/// Gain and read noise as if measured: 30 000 e⁻ to full scale.
fn with_sensor(mut night: Night, read_noise_e: f64) -> Night {
    let known = |value: f64| {
        Some(crate::base::Estimate {
            value,
            error: 0.01 * value,
        })
    };
    night.groups[0].transfer = Some(crate::night::Transfer {
        gain_dn_per_e: known(0.5),
        read_noise_e: known(read_noise_e),
        full_scale_e: known(30_000.0),
        ..crate::night::Transfer::default()
    });
    night
}

#[test]
fn read_noise_speaks_where_it_is_known_and_for_each_purpose() {
    let night = || Calm::default().night(|_, _| ());
    // 10.5 % of 30 000 e⁻ in 30 s: 105 e⁻/s; 12 e⁻ are small after 9.756 · 144 / 105 = 13.4 s and add
    // √(1 + 144/3150) − 1 = 2 % in 30 s.
    let next = advice(&with_sensor(night(), 12.0), Purpose::Trails);
    let exposure = row(&next, "Exposure");
    assert!(
        exposure.detail.ends_with("the sky’s noise past 13 s."),
        "{exposure:?}"
    );
    assert!(exposure.why.contains("crosses its width"));
    let iso = row(&next, "ISO");
    assert_eq!(
        iso.why,
        "read noise adds 2 % to the sky’s: more ISO gains little"
    );
    fits(&next);
    // 30 e⁻: 84 s, and 13 %.
    let next = advice(&with_sensor(night(), 30.0), Purpose::Timelapse);
    assert!(
        row(&next, "ISO")
            .why
            .contains("read noise adds 13 % to its noise")
    );
    fits(&next);
    // A mount that follows can expose for longer.
    let calm = Calm {
        tracked: true,
        ..Calm::default()
    };
    let tracked = calm.night(|_, _| ());
    let next = advice(&with_sensor(tracked.clone(), 30.0), Purpose::Tracked);
    let exposure = row(&next, "Exposure");
    assert!(exposure.changed && exposure.next == "90 s", "{exposure:?}");
    fits(&next);
    assert!(
        !row(
            &advice(&with_sensor(tracked, 12.0), Purpose::Tracked),
            "Exposure"
        )
        .changed
    );
    // Unknown, nothing of it is said.
    let plain = advice(&night(), Purpose::Trails);
    assert!(!row(&plain, "ISO").why.contains("read noise"));
}

#[test]
fn tone_mapped_levels_are_called_relative() {
    let calm = Calm {
        light: Light::ToneMapped,
        ..Calm::default()
    };
    let next = advice(&calm.night(|_, _| ()), Purpose::Trails);
    assert!(
        next.notes
            .iter()
            .any(|n| n.starts_with("Levels are relative"))
    );
    assert!(row(&next, "ISO").detail.contains("relative"));
    let next = advice(&Calm::default().night(|_, _| ()), Purpose::Trails);
    assert!(
        !next
            .notes
            .iter()
            .any(|n| n.starts_with("Levels are relative"))
    );
}

#[test]
fn rows_on_touch_and_dew_need_evidence() {
    let calm = advice(&Calm::default().night(|_, _| ()), Purpose::Trails);
    for setting in [
        "After touching",
        "Lens warmer",
        "Tripod",
        "Start",
        "End",
        "Focus",
    ] {
        assert!(!has(&calm, setting), "{setting}");
    }
    let night = Calm::default().night(|n, m| {
        if n < 4 {
            lengthen(m, 6.0 - n as f64);
        }
        if n >= 80 {
            m.fwhm_px = m.fwhm_px.map(|w| w * (1.0 + (n - 79) as f64 / 35.0));
        }
    });
    let next = advice(&night, Purpose::Trails);
    let touch = row(&next, "After touching");
    assert_eq!(touch.next, "wait 3 min");
    assert!(touch.why.contains("4 frames"), "{}", touch.why);
    fits(&next);
    // Frame 95 is 1.4 × as wide, at 21:40 + 94 × 32 s = 22:30.
    assert!(
        row(&next, "Lens warmer").why.contains("from 22:"),
        "{next:#?}"
    );
    assert!(next.notes.iter().any(|n| n.contains("makers")));
    // Where stars are lost as well, dew is still dew.
    let dew = Calm::default().night(|n, m| {
        if n >= 80 {
            m.fwhm_px = m.fwhm_px.map(|w| w * (1.45 + (n - 79) as f64 / 60.0));
            m.star_count = (f64::from(m.star_count) * 0.5) as u32;
        }
    });
    let why = row(&advice(&dew, Purpose::Trails), "Lens warmer")
        .why
        .clone();
    assert!(why.starts_with("40 frames had wider stars"), "{why}");
}

#[test]
fn twilight_moves_the_start() {
    let night = Calm::default().night(|n, m| {
        m.sky.level_pct *= 1.0 + (-(n as f64) / 12.0).exp() * 1.6;
    });
    let next = advice(&night, Purpose::Trails);
    let start = row(&next, "Start");
    assert_eq!(start.tonight, "21:40");
    assert!(
        ("21:44".."22:00").contains(&start.next.as_str()),
        "{start:?}"
    );
}

#[test]
fn every_why_says_something_and_nothing_panics_on_little() {
    for frames in [0, 1, 2, 5] {
        for purpose in Purpose::ALL {
            let calm = Calm {
                frames,
                ..Calm::default()
            };
            let mut inputs = calm.inputs();
            for input in &mut inputs {
                *input.facts.as_mut().unwrap() = crate::frame::Facts::default();
            }
            for night in [calm.night(|_, _| ()), put(&inputs, true)] {
                let next = advice(&night, purpose);
                assert!(next.settings.iter().all(|s| !s.why.is_empty()));
                fits(&next);
                let _ = got(&night, purpose, &Decisions::new());
            }
        }
    }
}
