//! Photon transfer of nights made by hand: which pairs are asked for, what they tell, and what is
//! said where they tell nothing.

use std::sync::Arc;

use super::tests::{change, facts, put, run};
use super::{FrameInput, Night, PairResult, PairWanted, Transfer, give_transfer, wanted_pairs};
use crate::base::Estimate;
use crate::frame::Light;
use crate::measure::{PairFault, PairLevel, PairMeasure, PairOf};

const FULL: f64 = 16_000.0;

/// A pair of a camera of `gain` DN/e⁻ and `read` e⁻ whose sky spans `levels`, fractions of full scale.
fn pair(gain: f64, read: f64, levels: (f64, f64)) -> PairMeasure {
    let variance = |level: f64| gain * FULL * level + (gain * read).powi(2) + 1.0 / 12.0;
    let at = |level: f64| Estimate {
        value: variance(level) / FULL / FULL,
        error: 0.002 * variance(level) / FULL / FULL,
    };
    let step = (levels.1 - levels.0) / 15.0;
    let level = 0.5 * (levels.0 + levels.1);
    PairMeasure {
        dn_full_scale: Some(FULL),
        levels: (0..16)
            .map(|k| levels.0 + step * f64::from(k))
            .map(|level| PairLevel {
                level,
                variance: at(level),
            })
            .collect(),
        level,
        temporal: at(level),
        fixed: Estimate {
            value: 0.0,
            error: 1e-9,
        },
        rows: None,
        columns: None,
        fault: None,
    }
}

fn failed(fault: PairFault) -> PairMeasure {
    PairMeasure {
        levels: Vec::new(),
        fault: Some(fault),
        ..pair(1.0, 1.0, (0.1, 0.2))
    }
}

/// The same frames as raw files, whose black is known.
fn raw(mut inputs: Vec<FrameInput>) -> Vec<FrameInput> {
    for input in &mut inputs {
        input.path = input.path.with_extension("dng");
    }
    inputs
}

/// Two frames with the cap on after the others.
fn with_darks(mut inputs: Vec<FrameInput>) -> Vec<FrameInput> {
    let count = inputs.len();
    inputs.extend(raw(run(count + 2)).split_off(count));
    for dark in &mut inputs[count..] {
        change(dark, |measure| {
            measure.star_count = 0;
            measure.sky.level_pct = 0.01;
        });
    }
    inputs
}

fn told(inputs: &[FrameInput], measured: impl Fn(&PairWanted) -> PairMeasure) -> Night {
    let mut night = put(inputs);
    let results: Vec<PairResult> = wanted_pairs(&night)
        .into_iter()
        .map(|wanted| (wanted, Some(Arc::new(measured(&wanted)))))
        .collect();
    give_transfer(&mut night, &results);
    night
}

fn transfer(night: &Night, group: usize) -> &Transfer {
    night.groups[group].transfer.as_ref().unwrap()
}

/// A dark pair where one is asked for, else sky.
fn sensor(wanted: &PairWanted) -> PairMeasure {
    match wanted.of {
        PairOf::Sky => pair(2.0, 3.0, (0.04, 0.12)),
        PairOf::Dark => pair(2.0, 3.0, (0.0, 0.0)),
    }
}

#[test]
fn pairs_and_darks_tell_gain_and_read_noise() {
    let inputs = with_darks(raw(run(12)));
    let night = told(&inputs, sensor);
    let wanted = wanted_pairs(&night);
    let shots: Vec<usize> = wanted.iter().flat_map(|w| [w.first, w.second]).collect();
    let mut once = shots.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(
        once.len(),
        shots.len(),
        "no frame is in two pairs: {wanted:?}"
    );
    assert!(wanted.iter().all(|w| w.second == w.first + 1), "{wanted:?}");
    assert_eq!(
        wanted.last().map(|w| (w.first, w.of)),
        Some((12, PairOf::Dark))
    );

    let got = transfer(&night, 0);
    assert!(
        (got.gain_dn_per_e.unwrap().value - 2.0).abs() < 1e-6,
        "{got:?}"
    );
    assert!(
        (got.read_noise_e.unwrap().value - 3.0).abs() < 1e-6,
        "{got:?}"
    );
    assert!(
        (got.full_scale_e.unwrap().value - 8000.0).abs() < 1e-2,
        "{got:?}"
    );
    assert_eq!((got.darks, got.remarks.len()), (2, 0), "{got:?}");
    let sky = got.sky.unwrap();
    // 8 % of 8000 e⁻.
    assert!((sky.level_e - 640.0).abs() < 0.1 && (sky.shot_e.powi(2) - 640.0).abs() < 0.1);
    assert!((sky.total_e.powi(2) - 649.0).abs() < 0.1, "{sky:?}");
}

#[test]
fn without_darks_the_read_noise_is_sure_or_not_told() {
    // A read noise as large as the sky's own noise.
    let loud = told(&raw(run(12)), |_| pair(2.0, 30.0, (0.02, 0.12)));
    let got = transfer(&loud, 0);
    let read = got.read_noise_e.unwrap();
    assert!(
        (read.value - 30.0).abs() < 0.1 && read.relative() < 0.15,
        "{got:?}"
    );
    assert!(
        got.remarks[0].contains("two frames with the cap on"),
        "{got:?}"
    );

    let quiet = told(&raw(run(12)), |_| pair(2.0, 1.0, (0.04, 0.08)));
    let got = transfer(&quiet, 0);
    assert!(got.gain_dn_per_e.is_some() && got.read_noise_e.is_none());
    assert!(got.remarks[1].contains("is under"), "{got:?}");

    // A TIFF does not tell which number is black.
    let tiff = told(&run(12), |_| pair(2.0, 30.0, (0.02, 0.12)));
    let got = transfer(&tiff, 0);
    assert!(got.gain_dn_per_e.is_some() && got.read_noise_e.is_none());
    assert!(got.remarks[1].contains("which number is black"), "{got:?}");
}

#[test]
fn a_sky_without_range_tells_no_gain() {
    let even = told(&raw(run(12)), |_| pair(2.0, 3.0, (0.08, 0.0802)));
    let got = transfer(&even, 0);
    assert_eq!((got.gain_dn_per_e, got.read_noise_e), (None, None));
    assert!(
        got.remarks[1].contains("from 8.00 to 8.02 % of full scale"),
        "{got:?}"
    );
    // With darks the range reaches down to black.
    let dark = told(&with_darks(raw(run(12))), |wanted| match wanted.of {
        PairOf::Sky => pair(2.0, 3.0, (0.08, 0.0802)),
        PairOf::Dark => pair(2.0, 3.0, (0.0, 0.0)),
    });
    assert!(transfer(&dark, 0).read_noise_e.is_some());
}

#[test]
fn what_tells_nothing_says_why() {
    let why = |inputs: &[FrameInput], fault: PairFault| {
        let night = told(inputs, |_| failed(fault));
        let got = transfer(&night, 0);
        assert_eq!((got.gain_dn_per_e, got.full_scale_e), (None, None));
        assert_eq!(got.remarks.len(), 1, "{got:?}");
        got.remarks[0].clone()
    };
    let each = |with: fn(&mut crate::measure::FrameMeasure)| {
        let mut inputs = raw(run(8));
        for input in &mut inputs {
            change(input, with);
        }
        inputs
    };
    let any = PairFault::TooFew;
    let jpeg = each(|measure| measure.light = Light::ToneMapped);
    assert!(
        wanted_pairs(&put(&jpeg)).is_empty(),
        "nothing is decoded again for them"
    );
    assert!(why(&jpeg, any).contains("tone-mapped"));
    assert!(why(&raw(run(1)), any).contains("only one frame"));
    let blown = each(|measure| measure.sky.level_pct = 96.0);
    assert!(why(&blown, any).contains("brighter than 70 %"));
    let black = raw(run(8));
    assert!(why(&black, PairFault::BlackCut).contains("cut off at black"));
    assert!(why(&black, PairFault::Tied).contains("developed or smoothed"));
    let mut wild = raw(run(8));
    for input in wild.iter_mut().step_by(2) {
        change(input, |measure| measure.sky.level_pct = 20.0);
    }
    assert!(why(&wild, any).contains("alike enough"));
}

#[test]
fn settings_changed_in_the_night_are_told_apart_and_put_together_by_iso() {
    // ISO 1600, then 3200, then 1600 with half the exposure.
    let mut inputs = raw(run(18));
    for input in &mut inputs[6..12] {
        facts(input).iso = Some(3200);
    }
    for input in &mut inputs[12..] {
        facts(input).exposure_s = Some(15.0);
        change(input, |measure| measure.sky.level_pct = 4.0);
    }
    let night = told(&inputs, |wanted| match wanted.first {
        0..6 => pair(2.0, 3.0, (0.04, 0.12)),
        6..12 => pair(4.0, 2.0, (0.08, 0.24)),
        _ => pair(2.0, 3.0, (0.02, 0.06)),
    });
    let gain = |group: usize| transfer(&night, group).gain_dn_per_e.unwrap().value;
    assert!((gain(0) - 2.0).abs() < 1e-6 && (gain(1) - 4.0).abs() < 1e-6);
    assert!(
        (gain(2) - gain(0)).abs() < f64::EPSILON,
        "one ISO, one line"
    );
    let level = |group: usize| transfer(&night, group).sky.unwrap().level_e;
    assert!((level(0) / level(2) - 2.0).abs() < 1e-6, "each its own sky");
}

#[test]
fn a_missing_iso_is_said() {
    let mut inputs = raw(run(8));
    for input in &mut inputs {
        facts(input).iso = None;
    }
    let night = told(&inputs, sensor);
    let got = transfer(&night, 0);
    assert!(got.gain_dn_per_e.is_some());
    assert!(
        got.remarks
            .iter()
            .any(|r| r.contains("do not tell the ISO")),
        "{got:?}"
    );
}

#[test]
fn nothing_is_told_before_it_is_measured() {
    let mut night = put(&raw(run(8)));
    give_transfer(&mut night, &[]);
    assert_eq!(night.groups[0].transfer, None);
    let wanted = wanted_pairs(&night);
    let gone: Vec<PairResult> = wanted.into_iter().map(|wanted| (wanted, None)).collect();
    give_transfer(&mut night, &gone);
    assert!(transfer(&night, 0).remarks[0].contains("a second time"));
}
