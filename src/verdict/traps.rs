//! Nights that look odd and are good: nothing is to be held against them.

use std::sync::Arc;

use super::testkit::{Calm, lengthen, put, streak};
use super::tests::{judged, numbers, reasons};
use super::*;
use crate::frame::Orientation;
use crate::measure::FrameMeasure;
use crate::night::{FrameInput, FrameState, Night};

fn measure(input: &mut FrameInput) -> &mut FrameMeasure {
    match &mut input.state {
        FrameState::Measured(measure) => Arc::make_mut(measure),
        state => panic!("{state:?}"),
    }
}

/// Asserts that no frame is doubtful or rejected for any purpose of a fixed camera, and that none of
/// `never` is named.
fn is_left_alone(what: &str, night: &Night, never: &[Reason]) {
    for purpose in [Purpose::Trails, Purpose::Timelapse, Purpose::Still] {
        let judged = judged(night, purpose);
        for verdict in [Verdict::Doubtful, Verdict::Reject] {
            assert_eq!(numbers(&judged, verdict), "", "{what}, {purpose:?}");
        }
        for frame in 1..=night.rows.len() {
            let told = reasons(&judged, frame);
            let named = told.iter().find(|reason| never.contains(reason));
            assert_eq!(named, None, "{what}, {purpose:?}, frame {frame}");
        }
    }
}

#[test]
fn slow_change_and_stars_drifting_out() {
    let night = Calm::default().night(|n, m| {
        let part = n as f64 / 120.0;
        m.sky.level_pct *= 1.0 + 0.4 * part;
        m.star_count = (f64::from(m.star_count) * (1.0 - 0.35 * part)) as u32;
    });
    is_left_alone(
        "slow change",
        &night,
        &[Reason::Cloud, Reason::Airglow, Reason::Dew],
    );
}

#[test]
fn the_milky_way_rising_is_no_cloud() {
    let night = Calm::default().night(|n, m| {
        let rise = 1.0 / (1.0 + (-(n as f64 - 60.0) / 12.0).exp());
        m.star_count = (f64::from(m.star_count) * (1.0 + 0.8 * rise)) as u32;
        m.sky.level_pct *= 1.0 + 0.12 * rise;
        m.sky.red_pct = Some(0.9 * m.sky.level_pct);
        m.sky.blue_pct = Some(1.1 * m.sky.level_pct);
    });
    is_left_alone(
        "Milky Way",
        &night,
        &[Reason::Cloud, Reason::Aurora, Reason::Airglow],
    );
}

#[test]
fn fifteen_frames_are_enough() {
    let calm = Calm {
        frames: 15,
        ..Calm::default()
    };
    is_left_alone(
        "15 frames",
        &calm.night(|_, _| ()),
        &[Reason::Cloud, Reason::Settling],
    );
    let night = calm.night(|n, m| match n {
        0 => lengthen(m, 4.0),
        8 => m.streaks.push(streak(0.4, 0.9)),
        _ => (),
    });
    let judged = judged(&night, Purpose::Trails);
    assert_eq!(numbers(&judged, Verdict::Reject), "1");
    assert_eq!(reasons(&judged, 1), [Reason::Settling]);
    assert_eq!(numbers(&judged, Verdict::Doubtful), "9");
}

#[test]
fn only_the_first_frame_settles() {
    let night = Calm::default().night(|n, m| lengthen(m, if n == 0 { 5.0 } else { 0.0 }));
    let judged = judged(&night, Purpose::Trails);
    assert_eq!(numbers(&judged, Verdict::Reject), "1");
    assert_eq!(judged.findings[0].reason, Reason::Settling);
    assert_eq!(judged.events[0].sure, Some(crate::night::Surety::Likely));
}

#[test]
fn two_nights_in_one_folder() {
    let mut inputs = Calm::default().inputs();
    for input in &mut inputs[60..] {
        let taken = input.facts.as_mut().unwrap().taken_at.as_mut().unwrap();
        taken.add(86_400.0);
    }
    let night = put(&inputs, true);
    is_left_alone("two nights", &night, &[Reason::Gap]);
    assert!(
        night.warnings.iter().any(|w| w.contains("2 nights")),
        "{:?}",
        night.warnings
    );
}

#[test]
fn names_out_of_order() {
    let mut inputs = Calm::default().inputs();
    for (n, input) in inputs.iter_mut().enumerate() {
        input.name = format!("copy {}.dng", 7919 * n % 120);
    }
    is_left_alone(
        "renamed",
        &put(&inputs, true),
        &[Reason::Gap, Reason::Knock],
    );
}

#[test]
fn exposures_ramped_through_dusk() {
    let mut inputs = Calm::default().inputs();
    for (n, input) in inputs.iter_mut().enumerate().take(60) {
        // A third of a stop every six frames; the sky falls as the exposure grows.
        let exposure = 3.0 * 10_f64.powf(0.1 * (n / 6) as f64);
        input.facts.as_mut().unwrap().exposure_s = Some(exposure);
    }
    for (n, input) in inputs.iter_mut().enumerate().skip(60) {
        input.facts.as_mut().unwrap().exposure_s = Some(30.0 + 0.0 * n as f64);
        input.facts.as_mut().unwrap().iso = Some([1600, 2000, 2500][(n - 60) / 20]);
    }
    let judged = judged(&put(&inputs, true), Purpose::Timelapse);
    assert_eq!(numbers(&judged, Verdict::Reject), "");
    assert_eq!(numbers(&judged, Verdict::Doubtful), "");
    let told = (1..=120).filter(|&n| reasons(&judged, n).contains(&Reason::SettingsChanged));
    assert_eq!(told.count(), 0, "no setting is the usual one");
}

#[test]
fn faint_satellites_in_every_second_frame() {
    let night = Calm::default().night(|n, m| {
        if n % 2 == 0 {
            let mut faint = streak(0.3, 0.02);
            // Each somewhere else.
            let by = 29.0 * n as f32;
            (faint.y0_px, faint.y1_px) = (faint.y0_px + by, faint.y1_px + by);
            m.streaks.push(faint);
        }
    });
    let judged = judged(&night, Purpose::Trails);
    assert_eq!(numbers(&judged, Verdict::Reject), "");
    assert_eq!(numbers(&judged, Verdict::Doubtful), "");
    assert_eq!(reasons(&judged, 31), [Reason::Satellite]);
}

#[test]
fn an_orientation_tag_that_flips() {
    let mut inputs = Calm::default().inputs();
    for (n, input) in inputs.iter_mut().enumerate() {
        let tag = if (50..70).contains(&n) { 6 } else { 8 };
        input.facts.as_mut().unwrap().orientation = Orientation(tag);
    }
    is_left_alone(
        "flipping tag",
        &put(&inputs, true),
        &[Reason::Knock, Reason::Gap],
    );
}

#[test]
fn a_second_camera_with_another_clock() {
    let mut inputs = Calm::default().inputs();
    let second = Calm {
        seed: 2,
        frames: 60,
        ..Calm::default()
    };
    for mut input in second.inputs() {
        input.shot += 120;
        let facts = input.facts.as_mut().unwrap();
        facts.camera = Some("Rowan 5".to_owned());
        facts.taken_at.as_mut().unwrap().add(-3725.0);
        inputs.push(input);
    }
    let night = put(&inputs, true);
    assert_eq!(night.sets.len(), 2);
    is_left_alone("two cameras", &night, &[Reason::EarlyStop, Reason::Gap]);
}

#[test]
fn a_battery_changed_in_the_middle() {
    let mut inputs = Calm::default().inputs();
    for input in &mut inputs[60..] {
        let taken = input.facts.as_mut().unwrap().taken_at.as_mut().unwrap();
        taken.add(240.0);
    }
    let mut night = put(&inputs, true);
    for (n, row) in night.rows.iter_mut().enumerate() {
        row.derived.shift_px = Some(if n < 60 { 0.2 } else { 9.0 });
    }
    let judged = judged(&night, Purpose::Trails);
    assert_eq!(numbers(&judged, Verdict::Reject), "");
    assert_eq!(numbers(&judged, Verdict::Doubtful), "");
    let told = reasons(&judged, 61);
    assert!(
        told.contains(&Reason::Gap) && told.contains(&Reason::Knock),
        "{told:?}"
    );
}

#[test]
fn a_broken_last_file_is_an_early_stop_and_dark_subtraction_one_finding() {
    let mut inputs = Calm {
        interval_s: 62.0,
        ..Calm::default()
    }
    .inputs();
    measure(&mut inputs[3]).saturated_pct = 0.03;
    inputs[119].state = FrameState::Failed("damaged: the data end early".to_owned());
    let night = put(&inputs, true);
    let trails = judged(&night, Purpose::Trails);
    assert!(reasons(&trails, 120).contains(&Reason::EarlyStop));
    assert_eq!(numbers(&trails, Verdict::Doubtful), "");
    let dark: Vec<&Finding> = (trails.findings.iter())
        .filter(|f| f.reason == Reason::DarkSubtraction)
        .collect();
    assert_eq!(
        (dark.len(), dark[0].verdict),
        (1, Verdict::Keep),
        "{dark:#?}"
    );
    let film = judged(&night, Purpose::Timelapse);
    assert!(
        !reasons(&film, 50).contains(&Reason::DarkSubtraction),
        "a film may be paced so"
    );
}
