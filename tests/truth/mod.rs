//! Simulated frames against their truth, read by the real readers and measured by the real
//! measuring.

mod detection;
mod faults;
mod formats;
mod night;
mod transfer;
mod traps;

use std::path::Path;
use std::sync::atomic::AtomicBool;

use nightloupe::base::spin2::angle_between_deg;
use nightloupe::frame::{self, OpenOptions};
use nightloupe::measure::{FrameMeasure, Scratch, measure};
use nightloupe::sim::{Format, FrameTruth, Report, Scene, SimOptions, scene, simulate};

/// Trails of the frame's centre, px; 0 is a mount that follows exactly.
const LENGTHS_PX: [f64; 4] = [0.0, 4.0, 8.0, 12.0];

fn options(scene: Scene, format: Format, seed: u64) -> SimOptions {
    SimOptions {
        scene,
        frames: 1,
        width: 1200,
        height: 800,
        seed,
        format,
    }
}

fn simulated(folder: &Path, options: &SimOptions) -> Report {
    simulate(folder, options, &|_, _| (), &AtomicBool::new(false)).unwrap()
}

/// The calm scene with the exposure, or a mount, that gives a trail, and the sky's level kept.
fn with_trail(length_px: f64) -> Scene {
    let calm = *scene("calm").unwrap();
    if length_px == 0.0 {
        return Scene {
            tracked: true,
            ..calm
        };
    }
    let folder = tempfile::tempdir().unwrap();
    let small = SimOptions {
        width: 64,
        height: 64,
        ..options(calm, Format::Tiff, 1)
    };
    let usual = &simulated(folder.path(), &small).truth.frames[0];
    let times = length_px / usual.trail.centre_px;
    Scene {
        exposure_s: calm.exposure_s * times,
        interval_s: calm.exposure_s * times + 2.0,
        sky_e_per_s: calm.sky_e_per_s / times,
        ..calm
    }
}

fn measured(report: &Report) -> (FrameMeasure, FrameTruth) {
    let truth = report.truth.frames[0].clone();
    let frame = frame::open(&report.folder.join(&truth.file), &OpenOptions::default()).unwrap();
    (measure(&frame.samples, &mut Scratch::default()), truth)
}

fn check(format: Format, length_px: f64, seed: u64) {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), &options(with_trail(length_px), format, seed));
    let (got, want) = measured(&made);
    let what = format!("{format:?}, {length_px} px, seed {seed}");
    let trail = got
        .trail
        .unwrap_or_else(|| panic!("{what}: no trail: {:?}", got.remarks));
    for (name, got_px, want_px) in [
        ("median", trail.length_px, want.trail.median_px),
        ("centre", trail.centre_px, want.trail.centre_px),
    ] {
        let off = got_px - want_px;
        assert!(
            off.abs() < 0.5,
            "{what}: {name} trail {got_px:.3} px, truth {want_px:.3}"
        );
    }
    if let (Some(got_deg), Some(want_deg)) = (trail.angle_deg, want.trail_angle_deg) {
        let off = angle_between_deg(got_deg, want_deg);
        assert!(
            off < 3.0,
            "{what}: angle {got_deg:.2} deg, truth {want_deg:.2}"
        );
    }
    let (level, want_level) = (got.sky.level_pct, want.sky_level_pct);
    // The light of stars too faint to be found is in the sky, half a percent of it.
    let (sky_room, noise_room) = match format {
        Format::Jpeg => (0.012, 0.06),
        Format::Dng | Format::Tiff => (0.01, 0.02),
    };
    assert!(
        (level / want_level - 1.0).abs() < sky_room,
        "{what}: sky {level:.3} %, truth {want_level:.3}"
    );
    let (noise, want_noise) = (got.noise_pct.unwrap(), want.noise_pct.unwrap());
    assert!(
        (noise / want_noise - 1.0).abs() < noise_room,
        "{what}: noise {noise:.4} %, truth {want_noise:.4}"
    );
    assert!(
        got.star_count >= 40,
        "{what}: {} stars, truth {}",
        got.star_count,
        want.stars_snr5
    );
}

fn check_all(format: Format) {
    for (index, length_px) in LENGTHS_PX.into_iter().enumerate() {
        for run in 0..2 {
            check(format, length_px, 11 + 10 * run + index as u64);
        }
    }
}

#[test]
fn trail_sky_and_noise_of_jpeg_frames() {
    check_all(Format::Jpeg);
}

#[test]
fn trail_sky_and_noise_of_linear_tiff_frames() {
    check_all(Format::Tiff);
}

#[test]
fn trail_sky_and_noise_of_dng_frames() {
    check_all(Format::Dng);
}

/// The simulator's own colours: dark sky 0.86, 1, 1.22 in red, green, blue; the town's glow 1.45, 1,
/// 0.62, so its red is 1.7 times and its blue half of the dark sky's, diluted by vignetting, which
/// has no colour. Its filters pass 0.5 and 0.65 as much red and blue as green, which a JPEG balances.
#[test]
fn the_colour_of_a_towns_glow() {
    let scene = Scene {
        faults: &[],
        ..*scene("fell").unwrap()
    };
    let [jpeg, dng] = [(Format::Jpeg, 5), (Format::Dng, 6)].map(|(format, seed)| {
        let folder = tempfile::tempdir().unwrap();
        let made = simulated(folder.path(), &options(scene, format, seed));
        let sky = measured(&made).0.sky;
        let glow = sky.glow.unwrap();
        assert!((1.15..1.7).contains(&glow.red), "{format:?}: {glow:?}");
        assert!((0.5..0.9).contains(&glow.blue), "{format:?}: {glow:?}");
        [sky.red_pct, sky.blue_pct].map(|level| level.unwrap() / sky.level_pct)
    });
    assert!((0.86..1.0).contains(&jpeg[0]), "{jpeg:?}");
    assert!((1.1..1.22).contains(&jpeg[1]), "{jpeg:?}");
    for (raw, balanced, filter) in [(dng[0], jpeg[0], 0.5), (dng[1], jpeg[1], 0.65)] {
        let off = raw / (balanced * filter) - 1.0;
        assert!(off.abs() < 0.01, "{off}");
    }
}
