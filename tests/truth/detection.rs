//! Which stars are found, and what is found that is no star, against signal-to-noise.
//!
//! A few frames by default; `NIGHTLOUPE_TRUTH_FRAMES` asks for that many of each kind, and the
//! curves are then printed by a failing run only; `NIGHTLOUPE_TRUTH_TABLE` names a file for them.

use std::fmt::Write;

use nightloupe::measure::{FrameMeasure, Star};
use nightloupe::sim::{Fault, Format, Scene, SimOptions, StarTruth, scene, stars_of};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{measured, simulated, with_trail};

/// Small, so that a frame keeps all its stars.
const SIZE: (usize, usize) = (780, 520);

/// Lower ends of the bins of signal-to-noise.
const BINS: [f64; 8] = [3.0, 5.0, 6.0, 7.0, 8.0, 10.0, 15.0, 20.0];

/// Frames of each kind.
fn frames(usual: u64) -> u64 {
    let asked = std::env::var("NIGHTLOUPE_TRUTH_FRAMES").ok();
    asked.and_then(|text| text.parse().ok()).unwrap_or(usual)
}

/// Adds lines to the file that was asked for.
fn tell(lines: &str) {
    if let Some(path) = std::env::var_os("NIGHTLOUPE_TRUTH_TABLE") {
        let mut text = std::fs::read_to_string(&path).unwrap_or_default();
        text.push_str(lines);
        std::fs::write(path, text).unwrap();
    }
}

/// Whether a place lies on the trail of a star: this far across it, and this share of it along.
fn on_trail((x, y): (f64, f64), star: &StarTruth, across: f64, share: f64) -> bool {
    let [mx, my] = star.motion_px;
    let length = mx.hypot(my);
    let (dx, dy) = (x - star.x_px, y - star.y_px);
    if length < 0.1 {
        return dx.hypot(dy) <= across;
    }
    let along = (dx * mx + dy * my) / length;
    let off = (dx * my - dy * mx) / length;
    off.abs() <= across && along.abs() <= (share * length).max(across)
}

fn place(star: &Star) -> (f64, f64) {
    (f64::from(star.x_px), f64::from(star.y_px))
}

/// Counts over frames.
#[derive(Default)]
struct Curve {
    there: [u32; BINS.len()],
    found: [u32; BINS.len()],
    listed: u32,
    false_ones: u32,
    bright: u32,
    bright_false: u32,
}

impl Curve {
    fn add(&mut self, got: &FrameMeasure, truth: &[StarTruth]) {
        let (width, height) = (SIZE.0 as f64, SIZE.1 as f64);
        // A tile and a half at the edges and above the ground, where a tile holds both.
        let low = height * 0.70;
        let inside = |(x, y): (f64, f64), margin: f64| {
            x > margin && y > margin && x < width - margin && y < low
        };
        let mut claimed = vec![false; got.stars.len()];
        for (index, star) in truth.iter().take_while(|s| s.snr >= BINS[0]).enumerate() {
            let near = got.stars.iter().enumerate();
            let hit = near
                .filter(|(k, found)| !claimed[*k] && on_trail(place(found), star, 2.5, 0.35))
                .min_by(|a, b| {
                    let far = |s: &Star| (place(s).0 - star.x_px).hypot(place(s).1 - star.y_px);
                    far(a.1).total_cmp(&far(b.1))
                });
            let hit = hit.map(|(k, _)| k);
            if let Some(k) = hit {
                claimed[k] = true;
            }
            let margin = 8.0 + 0.5 * star.motion_px[0].hypot(star.motion_px[1]);
            let here = (star.x_px, star.y_px);
            // Behind the light of a brighter one nothing can be told.
            let hidden = truth[..index]
                .iter()
                .any(|other| on_trail((other.x_px, other.y_px), star, 5.0, 1.1));
            if hidden || !inside(here, margin) {
                continue;
            }
            let bin = BINS.iter().rposition(|&bin| star.snr >= bin).unwrap();
            self.there[bin] += 1;
            self.found[bin] += u32::from(hit.is_some());
        }
        for (found, claimed) in got.stars.iter().zip(claimed) {
            if !inside(place(found), 20.0) {
                continue;
            }
            let real = claimed
                || truth
                    .iter()
                    .take_while(|star| star.snr >= 2.5)
                    .any(|star| on_trail(place(found), star, 3.0, 0.6));
            self.listed += 1;
            self.false_ones += u32::from(!real);
            if found.snr >= 10.0 {
                self.bright += 1;
                self.bright_false += u32::from(!real);
            }
        }
    }

    /// Share found from a signal-to-noise on.
    fn share_from(&self, snr: f64) -> f64 {
        let bins = || BINS.iter().zip(self.there.iter().zip(&self.found));
        let sum = |of: fn(&(&u32, &u32)) -> u32| -> f64 {
            bins()
                .filter(|(bin, _)| **bin >= snr)
                .map(|(_, pair)| f64::from(of(&pair)))
                .sum()
        };
        sum(|pair| *pair.1) / sum(|pair| *pair.0).max(1.0)
    }
}

fn curve(format: Format, length_px: f64, from: u64, count: u64) -> Curve {
    let mut curve = Curve::default();
    for seed in from..from + count {
        let folder = tempfile::tempdir().unwrap();
        let options = SimOptions {
            scene: with_trail(length_px),
            frames: 1,
            width: SIZE.0,
            height: SIZE.1,
            seed,
            format,
        };
        let (got, _) = measured(&simulated(folder.path(), &options));
        curve.add(&got, &stars_of(&options, 0).unwrap());
    }
    let mut line = format!("| {format:?} | {length_px} |");
    for (there, found) in curve.there.iter().zip(&curve.found) {
        let share = 100.0 * f64::from(*found) / f64::from((*there).max(1));
        write!(line, " {share:.0} ({there}) |").unwrap();
    }
    let Curve {
        listed,
        false_ones,
        bright,
        bright_false,
        ..
    } = curve;
    writeln!(
        line,
        " {:.1} | {false_ones}/{listed} | {bright_false}/{bright} |",
        100.0 * curve.share_from(10.0)
    )
    .unwrap();
    tell(&line);
    curve
}

#[test]
fn stars_are_found_and_none_invented() {
    let count = frames(2);
    for (format, length_px, least) in [
        (Format::Tiff, 0.0, 0.96),
        (Format::Tiff, 4.0, 0.96),
        (Format::Dng, 8.0, 0.94),
        (Format::Tiff, 12.0, 0.92),
        (Format::Jpeg, 8.0, 0.94),
    ] {
        let got = curve(format, length_px, 4100, count);
        let share = got.share_from(10.0);
        assert!(
            share >= least,
            "{format:?} {length_px} px: {share:.3} of stars over 10"
        );
        assert!(
            f64::from(got.bright_false) <= 0.02 * f64::from(got.bright) + 1.0,
            "{format:?} {length_px} px: {} of {} are no stars",
            got.bright_false,
            got.bright
        );
    }
}

const STREAKS: [&[Fault]; 4] = [
    &[],
    &[Fault::Satellite { at: 0.0, frames: 1 }],
    &[Fault::Aircraft { at: 0.0, frames: 1 }],
    &[Fault::Meteor { at: 0.0 }],
];

/// A frame of a random place, lens, exposure and format.
fn random_options(seed: u64, faults: &'static [Fault]) -> SimOptions {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let scenes = ["calm", "southern", "tracked", "warm"];
    let base = *scene(scenes[random.random_range(0..scenes.len())]).unwrap();
    let exposure_s = base.exposure_s * random.random_range(0.3..2.0);
    SimOptions {
        scene: Scene {
            faults,
            exposure_s,
            interval_s: exposure_s + 2.0,
            focal_mm: base.focal_mm * random.random_range(0.8..1.8),
            star_fwhm_px: random.random_range(1.7..3.5),
            azimuth_deg: random.random_range(0.0..360.0),
            altitude_deg: random.random_range(15.0..70.0),
            ground: if random.random_bool(0.5) {
                base.ground
            } else {
                0.0
            },
            ..base
        },
        frames: 1,
        width: 1200,
        height: 800,
        seed,
        format: [Format::Jpeg, Format::Tiff, Format::Dng][random.random_range(0..3)],
    }
}

#[test]
fn a_streak_is_one_and_calm_frames_have_none() {
    let count = frames(4);
    for (kind, faults) in STREAKS.into_iter().enumerate() {
        for seed in 0..count {
            let options = random_options(5200 + 1000 * kind as u64 + seed, faults);
            let folder = tempfile::tempdir().unwrap();
            let (got, _) = measured(&simulated(folder.path(), &options));
            assert_eq!(
                got.streaks.len(),
                faults.len(),
                "{faults:?} {options:?}: {:?}",
                got.streaks
            );
        }
    }
}
