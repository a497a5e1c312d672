//! Whole nights, made by hand.

use std::path::PathBuf;
use std::sync::Arc;

use jiff::ToSpan;
use jiff::civil::date;

use super::*;
use crate::frame::{Facts, Light, Orientation, Supplied, TakenAt};
use crate::measure::{FrameMeasure, TrailValues};
use crate::sky::Site;

/// A frame of a 24 mm lens at 30 s, f/2.8, ISO 1600, shot `seconds` after 22:00 with sub-seconds.
pub(super) fn frame(shot: usize, seconds: f64) -> FrameInput {
    let name = format!("frame_{}.tif", shot + 1);
    FrameInput {
        shot,
        path: PathBuf::from(&name),
        name,
        facts: Some(Facts {
            taken_at: Some(taken(seconds, true)),
            exposure_s: Some(30.0),
            f_number: Some(2.8),
            iso: Some(1600),
            focal_length_mm: Some(24.0),
            pixel_um: Some(22.5),
            camera: Some("Larch 5".to_owned()),
            serial: Some("17".to_owned()),
            width_px: 1600,
            height_px: 1067,
            ..Facts::default()
        }),
        state: FrameState::Measured(Arc::new(starry())),
    }
}

pub(super) fn starry() -> FrameMeasure {
    let mut measure = FrameMeasure::empty(1600, 1067, Light::Linear);
    measure.star_count = 300;
    measure.sky.level_pct = 8.0;
    measure.sky.centre_pct = 8.0;
    measure.noise_pct = Some(0.4);
    measure.fwhm_px = Some(2.4);
    measure.elongation = Some(1.4);
    measure.trail = Some(TrailValues {
        length_px: 2.0,
        length_error_px: 0.1,
        centre_px: 2.0,
        centre_error_px: 0.05,
        max_px: 2.5,
        angle_deg: Some(30.0),
        angle_error_deg: None,
    });
    measure
}

pub(super) fn taken(seconds: f64, has_subseconds: bool) -> TakenAt {
    let milliseconds = (seconds * 1000.0).round() as i64;
    let local = date(2026, 3, 14)
        .at(22, 0, 0, 0)
        .checked_add(milliseconds.milliseconds())
        .unwrap();
    TakenAt {
        local,
        has_subseconds,
        offset_s: Some(3600),
    }
}

/// Back to back frames at an interval of 32 s.
pub(super) fn run(count: usize) -> Vec<FrameInput> {
    (0..count)
        .map(|shot| frame(shot, 32.0 * shot as f64))
        .collect()
}

pub(super) fn facts(input: &mut FrameInput) -> &mut Facts {
    input.facts.as_mut().unwrap()
}

pub(super) fn change(input: &mut FrameInput, with: impl FnOnce(&mut FrameMeasure)) {
    let FrameState::Measured(measure) = &mut input.state else {
        panic!("not measured");
    };
    with(Arc::make_mut(measure));
}

fn go_dark(measure: &mut FrameMeasure) {
    *measure = FrameMeasure::empty(1600, 1067, Light::Linear);
    measure.sky.level_pct = 0.02;
    measure.noise_pct = Some(0.1);
}

/// Put together, as of a place that is known.
pub(super) fn put(inputs: &[FrameInput]) -> Night {
    let options = NightOptions {
        site: Site::new(54.5, -2.8).ok(),
        ..NightOptions::default()
    };
    assemble(inputs, &options)
}

fn kinds(night: &Night) -> Vec<&'static str> {
    night
        .rows
        .iter()
        .map(|row| row.kind.map_or("", Kind::word))
        .collect()
}

#[test]
fn an_even_run() {
    let night = put(&run(60));
    assert_eq!(night.rows.len(), 60);
    assert_eq!(
        (night.sets.len(), night.groups.len(), night.pending),
        (1, 1, 0)
    );
    let set = &night.sets[0];
    assert!((set.interval_s.unwrap() - 32.0).abs() < 1e-9);
    assert!((set.pause_s.unwrap() - 2.0).abs() < 1e-9);
    assert_eq!(set.frames, (0..60).collect::<Vec<_>>());
    assert_eq!(set.main_group, Some(0));
    assert!(night.rows.iter().all(|row| row.derived.missing_before == 0));
    assert_eq!(night.rows[0].derived.pause_before_s, None);
    assert!((night.rows[1].derived.pause_before_s.unwrap() - 2.0).abs() < 1e-9);
    assert!((night.rows[59].time_s.unwrap() - 59.0 * 32.0).abs() < 1e-9);
    let group = &night.groups[0];
    assert!(group.linear);
    assert_eq!(group.stars.map(|series| series.median), Some(300.0));
    assert_eq!(
        night.rows[7]
            .typical
            .sky_pct
            .map(|v| (v * 1e6).round() / 1e6),
        Some(8.0)
    );
    assert_eq!(night.rows[7].derived.trail_angle_deg, Some(30.0));
    assert!(night.warnings.is_empty(), "{:?}", night.warnings);
}

#[test]
fn whole_second_clock_with_a_gap() {
    let mut inputs = run(60);
    for (k, input) in inputs.iter_mut().enumerate() {
        // 32.4 s apart, five frames missing before frame 31.
        let seconds = 32.4 * (k + if k >= 30 { 5 } else { 0 }) as f64;
        facts(input).taken_at = Some(taken(seconds.floor(), false));
    }
    let night = put(&inputs);
    assert!((night.sets[0].interval_s.unwrap() - 32.4).abs() < 0.02);
    let missing: Vec<u32> = night
        .rows
        .iter()
        .map(|row| row.derived.missing_before)
        .collect();
    assert_eq!(missing[30], 5);
    assert_eq!(missing.iter().sum::<u32>(), 5);
    let step = night.rows[12].time_s.unwrap() - night.rows[11].time_s.unwrap();
    assert!((step - 32.4).abs() < 0.1, "smoothed: {step}");
    assert_eq!(night.rows[0].time_s, Some(0.0));
}

#[test]
fn names_wrap_and_ties_keep_their_names() {
    let mut inputs = run(6);
    for (input, name) in inputs
        .iter_mut()
        .zip(["P_9998", "P_9999", "P_1", "P_2", "P_3", "P_10"])
    {
        input.name = name.to_owned();
    }
    // Bursts inside one second: the clock ties, the names tell.
    for input in &mut inputs[3..] {
        facts(input).taken_at = Some(taken(96.0, false));
    }
    inputs.reverse();
    let names: Vec<String> = put(&inputs).rows.into_iter().map(|row| row.name).collect();
    assert_eq!(names, ["P_9998", "P_9999", "P_1", "P_2", "P_3", "P_10"]);
}

#[test]
fn an_untimed_unreadable_frame_keeps_its_place_and_is_not_missing() {
    let mut inputs = run(10);
    inputs[4].facts = None;
    inputs[4].state = FrameState::Failed("truncated".to_owned());
    let night = put(&inputs);
    let row = &night.rows[4];
    assert_eq!((row.shot, row.group, row.kind), (4, None, None));
    assert_eq!(row.error.as_deref(), Some("truncated"));
    assert_eq!(night.sets.len(), 1);
    assert_eq!(night.sets[0].frames.len(), 10, "it is judged");
    assert!(night.rows.iter().all(|row| row.derived.missing_before == 0));
}

#[test]
fn two_cameras_are_two_sets() {
    let mut inputs = run(12);
    for input in &mut inputs[8..] {
        facts(input).camera = Some("Birch".to_owned());
    }
    let night = put(&inputs);
    assert_eq!(night.sets.len(), 2);
    assert_eq!(night.sets[0].camera.camera, "Larch 5");
    assert_eq!(night.sets[1].rows, vec![8, 9, 10, 11]);
    assert_eq!(
        night.rows[8].derived.pause_before_s, None,
        "another camera's pause"
    );
    assert!(
        night.warnings[0].contains("2 cameras"),
        "{:?}",
        night.warnings
    );
}

#[test]
fn calibration_and_framing_frames_stand_apart() {
    let mut inputs = run(40);
    // Framing shots first, darks, bias and flats last, as one shoots them.
    for k in [0, 1] {
        facts(&mut inputs[k]).iso = Some(12_800);
        facts(&mut inputs[k]).exposure_s = Some(4.0);
    }
    for input in &mut inputs[32..35] {
        change(input, go_dark);
    }
    for input in &mut inputs[35..37] {
        change(input, go_dark);
        facts(input).exposure_s = Some(1.0 / 4000.0);
    }
    for input in &mut inputs[37..40] {
        facts(input).exposure_s = Some(1.0 / 125.0);
        change(input, |measure| {
            go_dark(measure);
            measure.sky.level_pct = 40.0;
            measure.sky.cells_pct = vec![30.0, 41.0, 30.5, 42.0, 41.5, 30.0, 41.0, 29.5];
        });
    }
    // Clouds over two frames of the run: starless, dimmer, still sky.
    for k in [20, 21] {
        change(&mut inputs[k], |measure| {
            measure.star_count = 0;
            measure.sky.level_pct = 4.0;
        });
    }
    let night = put(&inputs);
    let got = kinds(&night);
    assert_eq!(got[..3], ["test", "test", "sky"]);
    assert_eq!(got[19..23], ["sky"; 4]);
    assert_eq!(
        got[31..],
        [
            "sky", "dark", "dark", "dark", "bias", "bias", "flat", "flat", "flat"
        ]
    );
    assert_eq!(night.sets[0].frames, (2..32).collect::<Vec<_>>());
    let main = &night.groups[night.sets[0].main_group.unwrap()];
    assert_eq!(main.rows.len(), 30);
    assert_eq!(main.darks, vec![32, 33, 34]);
    assert!(night.warnings.is_empty(), "{:?}", night.warnings);
}

#[test]
fn an_all_black_frame_is_dark_even_alone() {
    let mut inputs = run(1);
    change(&mut inputs[0], |measure| {
        *measure = FrameMeasure::empty(1600, 1067, Light::Linear);
    });
    let night = put(&inputs);
    assert_eq!(kinds(&night), ["dark"]);
    assert!(night.sets[0].frames.is_empty());
}

#[test]
fn an_overcast_night_is_sky() {
    let mut inputs = run(20);
    for input in &mut inputs {
        change(input, |measure| measure.star_count = 0);
    }
    assert_eq!(kinds(&put(&inputs)), ["sky"; 20]);
}

#[test]
fn a_ramp_of_exposures_is_no_framing_shot() {
    let mut inputs = run(40);
    for (k, input) in inputs.iter_mut().take(10).enumerate() {
        facts(input).exposure_s = Some(0.5 * 1.26f64.powf(k as f64));
    }
    assert_eq!(kinds(&put(&inputs)), ["sky"; 40]);
}

#[test]
fn twilight_is_typical_and_a_lone_frame_is_not() {
    let mut inputs = run(60);
    for (k, input) in inputs.iter_mut().enumerate() {
        let extra = if k == 40 { 3.0 } else { 0.0 };
        change(input, |m| {
            m.sky.level_pct = 8.0 + 30.0 * (-(k as f64) / 10.0).exp() + extra;
        });
    }
    let night = put(&inputs);
    for (k, row) in night.rows.iter().enumerate() {
        let level = row.measure.as_ref().unwrap().sky.level_pct;
        let off = level / row.typical.sky_pct.unwrap() - 1.0;
        assert!(off.abs() < 0.1 || k == 40, "frame {k}: {off}");
    }
    let flare = &night.rows[40];
    assert!((flare.typical.sky_pct.unwrap() - 8.55).abs() < 0.15);
}

#[test]
fn what_is_supplied_for_one_camera_stays_there() {
    let mut inputs = run(6);
    facts(&mut inputs[5]).camera = Some("Birch".to_owned());
    let mut options = NightOptions::default();
    let supplied = Supplied {
        focal_length_mm: Some(135.0),
        ..Supplied::default()
    };
    options
        .supplied
        .insert(inputs[0].facts.as_ref().unwrap().camera_key(), supplied);
    let night = assemble(&inputs, &options);
    assert_eq!(night.rows[0].facts.focal_length_mm, Some(135.0));
    assert_eq!(night.rows[5].facts.focal_length_mm, Some(24.0));
}

#[test]
fn the_majoritys_orientation_turns_the_angle() {
    let mut inputs = run(9);
    for input in &mut inputs[..6] {
        facts(input).orientation = Orientation(6);
    }
    let night = put(&inputs);
    assert_eq!(night.sets[0].orientation, Orientation(6));
    assert!(
        night
            .rows
            .iter()
            .all(|row| row.derived.trail_angle_deg == Some(120.0))
    );
}

#[test]
fn none_one_failed_and_pending() {
    let night = put(&[]);
    assert!(night.rows.is_empty() && night.sets.is_empty() && night.warnings.is_empty());

    let one = put(&run(1));
    assert_eq!(one.sets[0].interval_s, None);
    assert_eq!(one.rows[0].typical.trail_px, None);
    assert_eq!(one.rows[0].kind, Some(Kind::Sky));

    let mut failed = run(3);
    for input in &mut failed {
        input.facts = None;
        input.state = FrameState::Failed("no image".to_owned());
    }
    let failed = put(&failed);
    assert!(failed.groups.is_empty());
    assert_eq!(failed.sets[0].frames, vec![0, 1, 2]);
    assert!(failed.warnings[0].starts_with("No frame could be read"));

    let mut pending = run(5);
    for input in &mut pending {
        input.state = FrameState::Pending;
    }
    pending[3].facts = None;
    let pending = put(&pending);
    assert_eq!(pending.pending, 5);
    assert_eq!(pending.sets[0].frames.len(), 5);
    assert!(
        pending.sets[0].interval_s.is_some(),
        "known from the facts alone"
    );
    assert!(pending.rows.iter().all(|row| row.kind.is_none()));
}

#[test]
fn the_order_of_results_cannot_matter() {
    let mut inputs = run(50);
    for (k, input) in inputs.iter_mut().enumerate() {
        change(input, |m| {
            m.sky.level_pct = 8.0 + (k * 7 % 11) as f64 / 10.0;
        });
    }
    facts(&mut inputs[30]).camera = Some("Birch".to_owned());
    let first = format!("{:?}", put(&inputs));
    // A fixed shuffle: 17 and 50 share no factor.
    let shuffled: Vec<FrameInput> = (0..50).map(|k| inputs[k * 17 % 50].clone()).collect();
    assert_eq!(first, format!("{:?}", put(&shuffled)));
}
