//! Causes named from the joint pattern of the signs, and left unnamed where it fits several.

use super::testkit::Calm;
use super::tests::{judged, reasons};
use super::*;
use crate::measure::{FrameMeasure, Streak};
use crate::night::{Night, Surety};

/// Adds light of a colour (red and blue over green, against the dark sky's), in units of the sky.
fn light(m: &mut FrameMeasure, share: f64, (red, blue): (f64, f64)) {
    // A sky as steady as its noise: what drifts by a glow's strength hides its colour.
    let level = 10.5 + 0.2 * (m.sky.level_pct / 10.5 - 1.0);
    m.sky.red_pct = Some(0.9 * level * (1.0 + share * red));
    m.sky.blue_pct = Some(1.2 * level * (1.0 + share * blue));
    m.sky.level_pct = level * (1.0 + share);
}

/// A night whose stars' light and widths are given by frame: mag lost, width over the usual.
fn seen_through(of: impl Fn(usize) -> (f64, f64)) -> Night {
    let mut night = Calm::default().night(|n, m| {
        let (lost, wide) = of(n);
        m.fwhm_px = m.fwhm_px.map(|w| w * wide);
        m.star_count = (f64::from(m.star_count) * 10_f64.powf(-0.45 * lost)) as u32;
    });
    for (n, row) in night.rows.iter_mut().enumerate() {
        row.derived.transparency = Some(10_f64.powf(-0.4 * of(n).0));
    }
    night
}

fn told(night: &Night, frame: usize) -> Vec<Reason> {
    reasons(&judged(night, Purpose::Trails), frame)
}

#[test]
fn light_lost_with_widths_kept_is_cloud() {
    let night = seen_through(|n| {
        if (40..60).contains(&n) {
            (0.6, 1.0)
        } else {
            (0.0, 1.0)
        }
    });
    let judged = judged(&night, Purpose::Trails);
    assert!(
        reasons(&judged, 50).iter().all(|r| *r == Reason::Cloud),
        "{:?}",
        reasons(&judged, 50)
    );
    assert!(reasons(&judged, 80).is_empty());
    assert_eq!(judged.events[0].label, "likely thin cloud");
    let strength = judged.events[0].strength.unwrap();
    assert!((strength.measured - 0.6).abs() < 1e-6, "{strength:?}");
}

#[test]
fn swelling_tells_dew_from_focus() {
    let creeping = |n: usize| ((n as f64 - 50.0) / 70.0).max(0.0);
    let dew = seen_through(|n| (1.2 * creeping(n), 1.0 + 0.9 * creeping(n)));
    assert!(
        told(&dew, 110).contains(&Reason::Dew),
        "{:?}",
        told(&dew, 110)
    );
    assert!(!told(&dew, 110).contains(&Reason::Cloud));
    let drift = seen_through(|n| (0.0, 1.0 + 0.9 * creeping(n)));
    assert!(
        told(&drift, 110).contains(&Reason::FocusDrift),
        "{:?}",
        told(&drift, 110)
    );
    let step = seen_through(|n| (0.0, if (50..80).contains(&n) { 1.7 } else { 1.0 }));
    assert_eq!(told(&step, 60), [Reason::Defocus]);
    let judged = judged(&step, Purpose::Trails);
    assert_eq!(judged.findings[0].title, "Focus moved, 51–80");
    assert_eq!(judged.events[0].sure, Some(Surety::Sure));
    // Wider and fainter at once, and never worse: haze, dew that stays, cloud. Nothing is named.
    let unclear = seen_through(|n| {
        if (50..80).contains(&n) {
            (0.5, 1.6)
        } else {
            (0.0, 1.0)
        }
    });
    let told = told(&unclear, 60);
    assert!(
        !told.contains(&Reason::Dew) && !told.contains(&Reason::Cloud),
        "{told:?}"
    );
}

#[test]
fn a_chain_of_matches_that_slipped_is_no_cloud() {
    let mut night = Calm::default().night(|_, _| ());
    for row in &mut night.rows[60..] {
        // Every star is there.
        row.derived.transparency = Some(0.7);
    }
    let judged = judged(&night, Purpose::Trails);
    assert!((1..=120).all(|n| reasons(&judged, n).is_empty()));
}

#[test]
fn light_is_told_by_colour_and_course() {
    let night = Calm::default().night(|n, m| {
        let jagged = 0.2 + 0.35 * ((n * 7919 % 101) as f64 / 101.0);
        match n {
            10 | 20 | 21 => light(m, 0.4, (0.9, 1.3)),
            30 | 31 => light(m, 0.3, (1.6, 0.5)),
            50..70 => light(m, jagged, (0.4, 0.4)),
            _ => light(m, 0.0, (1.0, 1.0)),
        }
    });
    let flash = told(&night, 11);
    assert!(
        !flash.is_empty() && flash.iter().all(|r| *r == Reason::Lightning),
        "{flash:?}"
    );
    assert!(told(&night, 31).contains(&Reason::StrayLight));
    assert!(
        told(&night, 60).contains(&Reason::Aurora),
        "{:?}",
        told(&night, 60)
    );
    // Good news never weighs against a frame of trails.
    let judged = judged(&night, Purpose::Trails);
    assert_eq!(judged.judgements[10].verdict, Verdict::Keep);
    assert!((50..70).all(|n| judged.judgements[n].verdict == Verdict::Keep));
    assert_eq!(judged.judgements[30].verdict, Verdict::Doubtful);
    let slow = Calm::default().night(|n, m| {
        let part = ((n as f64 - 20.0) / 80.0).clamp(0.0, 1.0);
        light(
            m,
            0.3 * (std::f64::consts::PI * part).sin().powi(2),
            (0.6, 0.6),
        );
    });
    assert!(
        told(&slow, 61).contains(&Reason::Airglow),
        "{:?}",
        told(&slow, 61)
    );
    assert!(!told(&slow, 61).contains(&Reason::Aurora));
}

fn line(from: (f32, f32), to: (f32, f32), parts: [f32; Streak::PARTS], beat_px: f32) -> Streak {
    Streak {
        x0_px: from.0,
        y0_px: from.1,
        x1_px: to.0,
        y1_px: to.1,
        width_px: 4.0,
        brightness: 0.5,
        parts,
        beat_px,
    }
}

#[test]
fn lines_are_told_by_how_their_light_runs() {
    let even = [0.5; Streak::PARTS];
    let mut swells = even;
    for (i, part) in swells.iter_mut().enumerate() {
        *part = 0.9
            * (std::f32::consts::PI * (i as f32 + 0.5) / 16.0)
                .sin()
                .powi(2);
    }
    let mut ragged = even;
    (ragged[3], ragged[9], ragged[11], ragged[0]) = (0.02, 0.03, 0.9, 0.01);
    let night = Calm::default().night(|n, m| {
        let streaks = match n {
            10 => vec![line((0.0, 900.0), (5990.0, 2500.0), even, 60.0)],
            // Through two frames, with the pause between them.
            30 => vec![line((500.0, 3000.0), (2500.0, 2000.0), even, 0.0)],
            31 => vec![line((2650.0, 1925.0), (4650.0, 925.0), even, 0.0)],
            50 => vec![line((2000.0, 1000.0), (2500.0, 1600.0), swells, 0.0)],
            70 => vec![line((2000.0, 1000.0), (3500.0, 1600.0), ragged, 0.0)],
            90 => vec![
                line((1000.0, 1000.0), (1300.0, 1100.0), ragged, 0.0),
                line((3000.0, 1000.0), (3010.0, 1400.0), ragged, 0.0),
                line((4000.0, 2000.0), (4300.0, 1800.0), ragged, 0.0),
            ],
            _ => Vec::new(),
        };
        m.streaks.extend(streaks);
    });
    let named = [11, 31, 32, 51, 71, 91].map(|frame| told(&night, frame));
    let wanted = [
        Reason::Aircraft,
        Reason::Satellite,
        Reason::Satellite,
        Reason::Meteor,
        Reason::Streak,
        Reason::Insects,
    ];
    for (told, wanted) in named.iter().zip(wanted) {
        assert_eq!(told, &[wanted], "{named:?}");
    }
    let judged = judged(&night, Purpose::Trails);
    let pass = judged
        .events
        .iter()
        .find(|e| e.reason == Reason::Satellite)
        .unwrap();
    assert_eq!(
        (pass.rows.as_slice(), pass.sure),
        (&[30, 31][..], Some(Surety::Sure))
    );
    // A meteor is kept in every purpose; an aircraft is not.
    for purpose in Purpose::ALL {
        let verdict = super::tests::judged(&night, purpose).judgements[50].verdict;
        assert_eq!(verdict, Verdict::Keep, "{purpose:?}");
    }
    assert_eq!(judged.judgements[10].verdict, Verdict::Doubtful);
}

#[test]
fn shaking_that_comes_back_is_no_knock() {
    let mut night = Calm::default().night(|n, m| {
        if matches!(n, 30 | 47 | 66 | 67) {
            super::testkit::lengthen(m, 4.0);
        }
    });
    for row in &mut night.rows {
        row.derived.shift_xy_px = Some([0.1, 0.2]);
    }
    for frame in [31, 48, 67, 68] {
        assert_eq!(told(&night, frame), [Reason::Wind], "frame {frame}");
    }
    // Where the pointing is not known, neither is whether it came back.
    for row in &mut night.rows {
        row.derived.shift_xy_px = None;
    }
    assert_eq!(told(&night, 31), [Reason::Trailed]);
}
