//! Nights of every fault the simulator knows, at strengths that chance picks, judged against what was
//! done to them.
//!
//! A few nights run with the other tests. `NIGHTLOUPE_NIGHTS=first,count` runs as many from that seed on
//! and prints what was found of each fault, which of it was named, and what was named wrongly.

use std::collections::BTreeMap;

use nightloupe::sim::{Fault, Scene, scene};
use nightloupe::verdict::Verdict;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::night::{Run, wanted};

/// Codes that name a cause: they must not be said of frames that it did not touch.
const NAMES: [&str; 15] = [
    "settling",
    "wind",
    "dew",
    "focus-drift",
    "defocus",
    "cloud",
    "stray-light",
    "aircraft",
    "satellite",
    "insects",
    "dark-subtraction",
    "lightning",
    "aurora",
    "meteor",
    "airglow",
];

/// One kind of night: its scene, and faults as chance will have them.
type Recipe = (&'static str, fn(&mut ChaCha8Rng) -> Vec<Fault>);

const RECIPES: [Recipe; 12] = [
    ("calm", |_| Vec::new()),
    ("fell", |rng| {
        let depth_mag = rng.random_range(0.7..2.5);
        vec![Fault::Cloud {
            from: rng.random_range(0.2..0.4),
            to: rng.random_range(0.55..0.8),
            depth_mag,
        }]
    }),
    ("calm", |rng| {
        vec![Fault::Dew {
            from: rng.random_range(0.3..0.6),
            width: rng.random_range(1.6..2.2),
            loss_mag: rng.random_range(0.6..1.6),
        }]
    }),
    ("calm", |rng| {
        let from = rng.random_range(0.2..0.5);
        vec![Fault::Defocus {
            from,
            to: from + rng.random_range(0.2..0.4),
            width: rng.random_range(1.5..2.4),
        }]
    }),
    ("southern", |rng| {
        vec![Fault::FocusDrift {
            from: 0.1,
            width: rng.random_range(1.6..2.0),
        }]
    }),
    ("calm", |rng| {
        let mut at = |from: f64| rng.random_range(from..from + 0.12);
        vec![
            Fault::Aircraft {
                at: at(0.05),
                frames: 1,
            },
            Fault::Satellite {
                at: at(0.25),
                frames: 2,
            },
            Fault::Meteor { at: at(0.45) },
            Fault::Satellite {
                at: at(0.65),
                frames: 1,
            },
            Fault::Aircraft {
                at: at(0.82),
                frames: 2,
            },
        ]
    }),
    ("calm", |rng| {
        let mut at = |from: f64| rng.random_range(from..from + 0.08);
        let places = [0.1, 0.3, 0.45, 0.7].map(&mut at);
        let mut strength = || rng.random_range(0.25..0.8);
        let flash = places.map(|at| Fault::Lightning {
            at,
            strength: strength(),
        });
        flash.to_vec()
    }),
    ("fell", |rng| {
        let from = rng.random_range(0.2..0.4);
        vec![Fault::Aurora {
            from,
            to: from + rng.random_range(0.3..0.5),
            strength: rng.random_range(0.4..1.2),
        }]
    }),
    ("southern", |rng| {
        vec![Fault::Airglow {
            from: 0.15,
            to: 0.85,
            strength: rng.random_range(0.3..0.5),
        }]
    }),
    ("calm", |rng| {
        vec![
            Fault::Settling {
                from_px: [rng.random_range(6.0..12.0), -6.0],
                tau_s: rng.random_range(30.0..70.0),
            },
            Fault::StrayLight {
                at: rng.random_range(0.3..0.4),
                strength: rng.random_range(0.3..1.0),
            },
            Fault::Insects {
                at: rng.random_range(0.5..0.6),
                count: 5,
            },
            Fault::Gap {
                at: rng.random_range(0.65..0.7),
                pause_s: 64.0,
            },
            Fault::Knock {
                at: rng.random_range(0.8..0.85),
                shift_px: [rng.random_range(4.0..9.0), 2.0],
                during: 0.0,
            },
        ]
    }),
    ("tracked", |rng| {
        let mut gust = |at: f64| Fault::Wind {
            at: at + rng.random_range(0.0..0.05),
            rms_px: rng.random_range(2.0..4.0),
        };
        vec![gust(0.2), gust(0.4), gust(0.6), gust(0.8)]
    }),
    ("warm", |rng| {
        vec![
            Fault::Knock {
                at: rng.random_range(0.15..0.25),
                shift_px: [-3.0, rng.random_range(5.0..8.0)],
                during: 0.5,
            },
            Fault::Cloud {
                from: 0.5,
                to: 0.8,
                depth_mag: rng.random_range(0.8..2.0),
            },
        ]
    }),
];

fn scene_of(seed: u64) -> Scene {
    let which = usize::try_from(seed).unwrap() % RECIPES.len();
    let (base, faults) = RECIPES[which];
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    Scene {
        // Dusk and what else a scene brings are no part of the recipe.
        faults: faults(&mut rng).leak(),
        start_local: "2025-10-19T22:40:00",
        ..*scene(base).unwrap()
    }
}

#[derive(Default)]
struct Score {
    /// By fault: how many, found with a right reason, named.
    faults: BTreeMap<String, (usize, usize, usize)>,
    /// By what was named of frames it did not touch.
    misnamed: BTreeMap<String, usize>,
    good: usize,
    rejected: usize,
    doubtful: usize,
    odd: Vec<String>,
}

impl Score {
    fn add(&mut self, run: &Run) {
        for (n, truth, judgement) in run.frames() {
            let codes = run.codes(n);
            let done: Vec<&str> = truth.faults.iter().map(|f| f.reason.as_str()).collect();
            if done.is_empty() {
                self.good += 1;
                self.rejected += usize::from(judgement.verdict == Verdict::Reject);
                self.doubtful += usize::from(judgement.verdict == Verdict::Doubtful);
                if judgement.verdict != Verdict::Keep {
                    self.odd
                        .push(format!("{}: good frame {n}: {codes:?}", run.what));
                }
            }
            for code in codes.iter().filter(|code| NAMES.contains(code)) {
                if !done.contains(code) {
                    *self.misnamed.entry((*code).to_owned()).or_default() += 1;
                    self.odd
                        .push(format!("{}: frame {n} is {done:?}, named {code}", run.what));
                }
            }
            for fault in &truth.faults {
                let Some(right) = wanted(fault, truth, &run.truth) else {
                    continue;
                };
                let found = right.iter().any(|code| codes.contains(code));
                let named = codes.contains(&fault.reason.as_str());
                let (count, hits, well_named) =
                    self.faults.entry(fault.reason.clone()).or_default();
                *count += 1;
                *hits += usize::from(found);
                *well_named += usize::from(named);
                if !found {
                    self.odd.push(format!(
                        "{}: frame {n}: {fault:?} told as {codes:?}",
                        run.what
                    ));
                }
            }
        }
    }

    fn sum(&self) -> (usize, usize) {
        let each = self.faults.values();
        each.fold((0, 0), |sum, (all, hits, _)| (sum.0 + all, sum.1 + hits))
    }
}

#[test]
fn every_fault_is_found_and_nothing_is_named_that_was_not_there() {
    let asked = std::env::var("NIGHTLOUPE_NIGHTS").ok();
    let span = asked.as_deref().and_then(|text| {
        let (first, count) = text.split_once(',')?;
        Some((first.parse().ok()?, count.parse::<u64>().ok()?))
    });
    // In every run of the tests: lines, flashes, aurora, airglow.
    let (first, count) = span.unwrap_or((5, 4));
    let frames = if span.is_some() { 32 } else { 20 };
    let mut score = Score::default();
    for seed in first..first + count {
        score.add(&Run::of(scene_of(seed), frames, seed));
    }
    let (all, hits) = score.sum();
    if span.is_some() {
        for line in &score.odd {
            eprintln!("{line}");
        }
        for (fault, (all, hits, names)) in &score.faults {
            eprintln!("{fault}: {hits} of {all} found, {names} named");
        }
        eprintln!(
            "all: {hits} of {all}; named wrongly: {:?}; {} good frames, {} rejected, {} doubtful",
            score.misnamed, score.good, score.rejected, score.doubtful
        );
    }
    let odd = &score.odd;
    assert!(50 * (all - hits) <= all, "{hits} of {all}: {odd:#?}");
    assert!(score.good >= 20, "{} good frames", score.good);
    assert!(100 * score.rejected <= score.good, "{odd:#?}");
    assert!(100 * score.doubtful <= 3 * score.good, "{odd:#?}");
    let misnamed: usize = score.misnamed.values().sum();
    assert!(50 * misnamed <= all, "{:?}: {odd:#?}", score.misnamed);
}
