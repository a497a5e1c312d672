//! Whole simulated nights, measured and judged, against what was done to them.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::thread;

use nightloupe::frame::{self, OpenOptions};
use nightloupe::measure::{Scratch, measure};
use nightloupe::night::{FrameInput, FrameState, Night, NightOptions, assemble};
use nightloupe::sim::{FaultTruth, Format, FrameTruth, Scene, SimOptions, Truth, scene};
use nightloupe::verdict::{Judged, Judgement, Purpose, Thresholds, Verdict, judge};

use super::simulated;

/// A fault must be found from so many times its threshold on: at the threshold itself chance decides.
const CLEARLY: f64 = 1.3;

/// Faults of the scenes that must be found. Twilight here is under its threshold.
const FAULTS: [&str; 10] = [
    "aircraft",
    "cloud",
    "dew",
    "gap",
    "knock",
    "meteor",
    "satellite",
    "settling",
    "stray-light",
    "wind",
];

/// One night.
pub(super) struct Run {
    pub(super) truth: Truth,
    pub(super) judged: Judged,
    pub(super) what: String,
}

impl Run {
    /// A night of a scene, small, judged for what such frames are taken for.
    pub(super) fn of(scene: Scene, frames: usize, seed: u64) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let options = SimOptions {
            scene,
            frames,
            width: 900,
            height: 600,
            seed,
            format: Format::Jpeg,
        };
        let made = simulated(folder.path(), &options);
        let night = measured(&made.folder, &made.truth);
        let purpose = if scene.tracked {
            Purpose::Tracked
        } else {
            Purpose::Trails
        };
        let judged = judge(&night, purpose, &Thresholds::default());
        Self {
            truth: made.truth,
            judged,
            what: format!("{}, seed {seed}", scene.name),
        }
    }

    /// What was done to each frame beside what was said of it.
    pub(super) fn frames(&self) -> impl Iterator<Item = (usize, &FrameTruth, &Judgement)> {
        let told = self.judged.judgements.iter();
        (1..)
            .zip(&self.truth.frames)
            .zip(told)
            .map(|((n, t), j)| (n, t, j))
    }

    pub(super) fn codes(&self, frame: usize) -> Vec<&'static str> {
        let judgement = self.judged.judgements.get(frame - 1);
        let evidence = judgement.map_or(&[][..], |j| &j.evidence);
        evidence.iter().map(|e| e.reason.code()).collect()
    }
}

fn input(shot: usize, folder: &std::path::Path, truth: &FrameTruth) -> FrameInput {
    let path = folder.join(&truth.file);
    let opened = frame::open(&path, &OpenOptions::default()).unwrap();
    FrameInput {
        shot,
        name: truth.file.clone(),
        path,
        facts: Some(opened.facts),
        state: FrameState::Measured(Arc::new(measure(&opened.samples, &mut Scratch::default()))),
    }
}

fn measured(folder: &std::path::Path, truth: &Truth) -> Night {
    let half = truth.frames.len() / 2;
    let (first, second) = truth.frames.split_at(half);
    let read = |from: usize, part: &[FrameTruth]| -> Vec<FrameInput> {
        (from..)
            .zip(part)
            .map(|(shot, t)| input(shot, folder, t))
            .collect()
    };
    let inputs = thread::scope(|scope| {
        let name = thread::Builder::new().name("second half".to_owned());
        let second = name.spawn_scoped(scope, || read(half, second)).unwrap();
        let mut inputs = read(0, first);
        inputs.extend(second.join().unwrap());
        inputs
    });
    assemble(&inputs, &NightOptions::default())
}

/// Whether a fault is clearly past the thresholds of its purpose, and the reasons that are right.
pub(super) fn wanted(
    fault: &FaultTruth,
    truth: &FrameTruth,
    night: &Truth,
) -> Option<&'static [&'static str]> {
    let t = Thresholds::default();
    let excess = truth.trail.median_px - truth.expected.median_px;
    let room = t
        .trail_doubt_px
        .max(t.trail_doubt_share * truth.expected.median_px);
    let mut levels: Vec<f64> = night.frames.iter().map(|f| f.sky_level_pct).collect();
    levels.sort_by(f64::total_cmp);
    let dark = levels.get(levels.len() / 10).copied().unwrap_or(0.0);
    let mut widths: Vec<f64> = night.frames.iter().map(|f| f.fwhm_px).collect();
    widths.sort_by(f64::total_cmp);
    let lost = -2.5 * truth.transparency.log10() > CLEARLY * t.flux_doubt_mag;
    let wide = |least: f64| truth.fwhm_px > CLEARLY * least * widths[widths.len() / 10];
    // A step of light weighs from 8 % on; a light of its own is told from there, too.
    let lit = fault.strength > CLEARLY * 0.08;
    match fault.reason.as_str() {
        "settling" => (excess > CLEARLY * room).then_some(&["settling", "trailed", "knock"]),
        "twilight" => (truth.sky_level_pct > CLEARLY * t.sky_doubt * dark).then_some(&["twilight"]),
        "cloud" => lost.then_some(&["cloud", "few-stars", "sky"]),
        "dew" => (lost || wide(t.width_doubt)).then_some(&["dew", "defocus", "few-stars"]),
        "defocus" => wide(t.width_doubt / CLEARLY).then_some(&["defocus"]),
        "focus-drift" => wide(t.width_doubt / CLEARLY).then_some(&["focus-drift", "defocus"]),
        "aircraft" => Some(&["aircraft", "streak"]),
        "satellite" => Some(&["satellite", "streak"]),
        "meteor" => Some(&["meteor", "streak"]),
        "insects" => Some(&["insects", "streak"]),
        "gap" => Some(&["gap"]),
        "knock" => Some(&["knock", "trailed"]),
        "wind" => Some(&["wind", "trailed", "knock"]),
        "stray-light" => Some(&["stray-light"]),
        "lightning" => lit.then_some(&["lightning", "sky"]),
        "aurora" => lit.then_some(&["aurora", "sky"]),
        "airglow" => lit.then_some(&["airglow", "sky"]),
        "moonlight" => lit.then_some(&["moonlight", "sky"]),
        _ => None,
    }
}

/// Asked for: at least 98 % of the faults clearly over their thresholds found with a right reason, at
/// most 1 % of good frames rejected and 3 % doubtful.
#[test]
fn faults_are_found_and_good_frames_left_alone() {
    let nights = [
        ("fell", 40, 1),
        ("fell", 40, 2),
        ("calm", 30, 3),
        ("calm", 30, 4),
        ("tracked", 24, 5),
        ("tracked", 24, 6),
    ];
    let mut found: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    let (mut good, mut rejected, mut doubtful) = (0, 0, 0);
    let mut odd = Vec::new();
    for (name, frames, seed) in nights {
        let run = Run::of(*scene(name).unwrap(), frames, seed);
        for (n, truth, judgement) in run.frames() {
            if truth.faults.is_empty() {
                good += 1;
                rejected += usize::from(judgement.verdict == Verdict::Reject);
                doubtful += usize::from(judgement.verdict == Verdict::Doubtful);
                if judgement.verdict != Verdict::Keep {
                    let evidence = &judgement.evidence;
                    odd.push(format!("{}: good frame {n}: {evidence:?}", run.what));
                }
            }
            let codes = run.codes(n);
            for fault in &truth.faults {
                let Some(right) = wanted(fault, truth, &run.truth) else {
                    continue;
                };
                let told = right.iter().any(|code| codes.contains(code));
                let (hits, all) = found.entry(fault.reason.clone()).or_default();
                *hits += usize::from(told);
                *all += 1;
                if !told {
                    odd.push(format!(
                        "{}: frame {n}: {fault:?} told as {codes:?}",
                        run.what
                    ));
                }
            }
        }
    }
    let (hits, all) = found
        .values()
        .fold((0, 0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
    let kinds: Vec<&str> = found.keys().map(String::as_str).collect();
    assert_eq!(kinds, FAULTS, "every fault of the scenes is tried");
    assert!(50 * (all - hits) <= all, "{found:?}: {odd:#?}");
    assert!(good >= 100, "{good} good frames");
    assert!(100 * rejected <= good, "{rejected} of {good}: {odd:#?}");
    assert!(100 * doubtful <= 3 * good, "{doubtful} of {good}: {odd:#?}");
}
