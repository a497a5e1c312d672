//! What differs by purpose, the person's word, and odd inputs.

use std::sync::Arc;

use super::testkit::{Calm, lengthen, put};
use super::tests::{judged, numbers, reasons, thin_cloud, verdicts};
use super::*;
use crate::night::FrameState;

#[test]
fn tracked_frames_are_rejected_wherever_they_are() {
    let calm = Calm {
        tracked: true,
        ..Calm::default()
    };
    let night = calm.night(|n, m| match n {
        40 => m.elongation = Some(1.3),
        60 => m.elongation = Some(1.7),
        80 => m.fwhm_px = Some(2.6 * 1.7),
        100 => m.sky.level_pct *= 3.6,
        _ => (),
    });
    let judged = judged(&night, Purpose::Tracked);
    assert_eq!(numbers(&judged, Verdict::Doubtful), "41");
    assert_eq!(numbers(&judged, Verdict::Reject), "61, 81 and 101");
    assert_eq!(judged.judgements[60].evidence[0].reason, Reason::Trailed);
    assert_eq!(judged.judgements[80].evidence[0].reason, Reason::Defocus);
    assert_eq!(judged.judgements[100].evidence[0].reason, Reason::Sky);
}

#[test]
fn a_lens_that_never_draws_round_stars_does_not_cost_the_night() {
    let calm = Calm {
        tracked: true,
        ..Calm::default()
    };
    let night = calm.night(|_, m| m.elongation = m.elongation.map(|e| e * 1.4));
    let judged = judged(&night, Purpose::Tracked);
    assert_eq!(numbers(&judged, Verdict::Reject), "");
    assert_eq!(numbers(&judged, Verdict::Doubtful), "");
}

#[test]
fn a_film_minds_steps_of_light() {
    let night = Calm::default().night(|n, m| match n {
        30 => m.sky.level_pct *= 1.06,
        60 => {
            m.sky.level_pct *= 1.5;
            m.star_count /= 3;
        }
        _ => (),
    });
    let judged = judged(&night, Purpose::Timelapse);
    assert_eq!(numbers(&judged, Verdict::Doubtful), "31");
    assert_eq!(numbers(&judged, Verdict::Reject), "61");
    let run = |decisions| longest_clean_run(&night, 0, &judged, &decisions);
    assert_eq!(run(Decisions::new()), Some((62, 120)));
    let kept: Decisions = [(60, Verdict::Keep)].into();
    assert_eq!(run(kept), Some((32, 120)));
    assert_eq!(
        run((0..120).map(|shot| (shot, Verdict::Reject)).collect()),
        None
    );
}

#[test]
fn a_film_minds_jumps_of_pointing() {
    let mut night = Calm::default().night(|_, _| ());
    for (n, row) in night.rows.iter_mut().enumerate() {
        // Steady, one frame off by 8 px of a 6000 px frame, 2.6 in the film, and a lasting jump.
        row.derived.shift_px = Some(match n {
            50 => 8.2,
            90.. => 20.0,
            _ => 0.2,
        });
    }
    let judged = judged(&night, Purpose::Timelapse);
    assert_eq!(numbers(&judged, Verdict::Doubtful), "51");
    assert_eq!(reasons(&judged, 51), vec![Reason::Knock]);
}

#[test]
fn single_frames_are_ranked_and_none_rejected() {
    let night = Calm::default().night(|n, m| match n {
        17 => {
            m.fwhm_px = Some(2.2);
            m.noise_pct = Some(0.36);
        }
        30 => thin_cloud(m),
        _ => (),
    });
    let judged = judged(&night, Purpose::Still);
    assert_eq!(numbers(&judged, Verdict::Reject), "");
    assert_eq!(judged.judgements[17].rank, Some(1));
    let cloudy = judged.judgements[30].rank.unwrap();
    assert!(cloudy > 110, "{cloudy}");
    let answer = answer(&night, 0, &judged, &Decisions::new());
    assert!(
        answer.sentence.starts_with("Best of 120: frame 18, then "),
        "{}",
        answer.sentence
    );
}

#[test]
fn the_persons_word_counts() {
    let night = Calm::default().night(|n, m| {
        if n < 4 {
            lengthen(m, 6.0);
        }
    });
    let judged = judged(&night, Purpose::Trails);
    let decisions: Decisions = [(1, Verdict::Keep), (60, Verdict::Reject)].into();
    let tally = tally(&night, 0, &judged, &decisions);
    assert_eq!((tally.keep, tally.reject, tally.by_you), (116, 4, 2));
    let answer = answer(&night, 0, &judged, &decisions);
    assert_eq!(
        answer.sentence,
        "Leave out 1, 3–4 and 61: a gap of up to 30 px, dark, in every trail."
    );
}

#[test]
fn other_settings_are_told_when_few_and_left_when_chosen() {
    let calm = Calm::default();
    for (from, doubtful) in [(112, "113–120"), (60, "")] {
        let mut inputs = calm.inputs();
        for input in &mut inputs[from..] {
            input.facts.as_mut().unwrap().f_number = Some(4.0);
        }
        let judged = judged(&put(&inputs, true), Purpose::Trails);
        assert_eq!(numbers(&judged, Verdict::Doubtful), doubtful, "from {from}");
    }
}

/// The order in which a folder lists its frames must not matter.
#[test]
fn the_listing_order_does_not_matter() {
    let mut inputs = Calm::default().inputs();
    for input in &mut inputs[50..58] {
        if let FrameState::Measured(m) = &mut input.state {
            thin_cloud(Arc::make_mut(m));
        }
    }
    let straight = judged(&put(&inputs, true), Purpose::Trails);
    inputs.reverse();
    inputs.rotate_left(37);
    let mixed = judged(&put(&inputs, true), Purpose::Trails);
    assert_eq!(straight, mixed);
}

#[test]
fn one_frame_and_none() {
    for frames in [0, 1, 2, 4] {
        let night = Calm {
            frames,
            ..Calm::default()
        }
        .night(|_, _| ());
        for purpose in Purpose::ALL {
            let judged = judged(&night, purpose);
            assert!(verdicts(&judged).iter().all(|v| *v == Verdict::Keep));
            let _ = answer(&night, 0, &judged, &Decisions::new());
        }
    }
}
