//! Fits against skies made with a geometry of their own: hour angle and declination, and a camera
//! turned by three plain rotations.

use std::sync::Arc;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use super::tests::{change, facts, frame, run, starry};
use super::*;
use crate::base::Spin2;
use crate::measure::{FieldCell, FieldMap, Star, StarErrors, StarFlags};

type Matrix = [[f64; 3]; 3];

fn times(m: Matrix, v: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|i| (0..3).map(|j| m[i][j] * v[j]).sum())
}

fn back(m: Matrix, v: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|i| (0..3).map(|j| m[j][i] * v[j]).sum())
}

/// A fixed camera under a turning sky.
struct Scene {
    focal_px: f64,
    width: f64,
    height: f64,
    /// Rows: camera axes in the sky's frame, whose third axis points to the pole.
    attitude: Matrix,
    true_exposure_s: f64,
}

impl Scene {
    /// The axis looks `from_pole` degrees off the pole; `roll` turns the camera about its axis.
    /// 24 megapixels of 6 µm.
    fn fine(focal_mm: f64, from_pole: f64, roll: f64) -> Self {
        Self {
            focal_px: 1000.0 * focal_mm / 6.0,
            width: 6000.0,
            height: 4000.0,
            ..Self::new(focal_mm, from_pole, roll)
        }
    }

    /// 1600 × 1067 of 22.5 µm: trails of 2 px.
    fn new(focal_mm: f64, from_pole: f64, roll: f64) -> Self {
        let (s, c) = from_pole.to_radians().sin_cos();
        let forward = [s, 0.0, c];
        let right = [0.0, 1.0, 0.0];
        let down = [-c, 0.0, s];
        let (sin, cos) = roll.to_radians().sin_cos();
        let mix =
            |a: f64, b: f64| -> [f64; 3] { std::array::from_fn(|k| a * right[k] + b * down[k]) };
        Self {
            focal_px: 1000.0 * focal_mm / 22.5,
            width: 1600.0,
            height: 1067.0,
            attitude: [mix(cos, sin), mix(-sin, cos), forward],
            true_exposure_s: 30.0,
        }
    }

    fn pole(&self) -> [f64; 3] {
        times(self.attitude, [0.0, 0.0, 1.0])
    }

    fn sky(&self, x: f64, y: f64) -> [f64; 3] {
        let v = [
            x - (self.width - 1.0) / 2.0,
            y - (self.height - 1.0) / 2.0,
            self.focal_px,
        ];
        back(self.attitude, v)
    }

    /// Where a star seen at (`x`, `y`) is `seconds` later: its hour angle grows.
    fn later(&self, x: f64, y: f64, seconds: f64) -> (f64, f64) {
        let [a, b, c] = self.sky(x, y);
        let (sin, cos) = (seconds * std::f64::consts::TAU / 86_164.090_5).sin_cos();
        let v = times(self.attitude, [a * cos + b * sin, b * cos - a * sin, c]);
        (
            (self.width - 1.0) / 2.0 + self.focal_px * v[0] / v[2],
            (self.height - 1.0) / 2.0 + self.focal_px * v[1] / v[2],
        )
    }

    fn trail(&self, x: f64, y: f64) -> Spin2 {
        let half = 0.5 * self.true_exposure_s;
        let (x0, y0) = self.later(x, y, -half);
        let (x1, y1) = self.later(x, y, half);
        let angle = (y0 - y1).atan2(x1 - x0).to_degrees();
        Spin2::new((x1 - x0).hypot(y1 - y0), angle)
    }

    /// A frame's measure with noise, some trails off by more than that.
    fn measure(&self, rng: &mut ChaCha8Rng, shake: Spin2) -> crate::measure::FrameMeasure {
        let (cols, rows) = (12usize, 8usize);
        let noise = Normal::new(0.0, 1.0).unwrap();
        let (w, h) = (self.width / cols as f64, self.height / rows as f64);
        let mut cells = Vec::new();
        let mut stars = Vec::new();
        for row in 0..rows {
            for col in 0..cols {
                let (mut mean, count) = (Spin2::default(), 6);
                for _ in 0..count {
                    let x = (col as f64 + rng.random::<f64>()) * w - 0.5;
                    let y = (row as f64 + rng.random::<f64>()) * h - 0.5;
                    let mut trail = self.trail(x, y);
                    trail.cos += shake.cos + noise.sample(rng);
                    trail.sin += shake.sin + noise.sample(rng);
                    mean.cos += trail.cos / f64::from(count);
                    mean.sin += trail.sin / f64::from(count);
                    stars.push(Star {
                        x_px: x as f32,
                        y_px: y as f32,
                        flux: 1.0,
                        peak: 0.2,
                        snr: 50.0,
                        fwhm_px: 2.4,
                        elongation: 1.5,
                        trail,
                        flags: StarFlags::default(),
                        errors: StarErrors::default(),
                    });
                }
                // The lower corners are behind trees.
                let hidden = row == rows - 1 && !(3..9).contains(&col);
                cells.push((!hidden).then_some(FieldCell {
                    trail: mean,
                    trail_error: 0.4,
                    fwhm_px: 2.4,
                    stars: count as u32,
                }));
            }
        }
        let mut measure = starry();
        let mut lengths: Vec<f64> = stars
            .iter()
            .map(|s| self.trail(s.x_px.into(), s.y_px.into()).length_px())
            .collect();
        if let Some(trail) = measure.trail.as_mut() {
            trail.length_px = crate::base::robust::median(&mut lengths).unwrap();
        }
        measure.field = FieldMap { cols, rows, cells };
        measure.stars = stars;
        measure
    }

    fn night(&self, focal_mm: f64, count: usize) -> Night {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let mut inputs = run(count);
        for (k, input) in inputs.iter_mut().enumerate() {
            let facts = facts(input);
            facts.focal_length_mm = Some(focal_mm);
            facts.pixel_um = Some(if self.width > 2000.0 { 6.0 } else { 22.5 });
            (facts.width_px, facts.height_px) = (self.width as u32, self.height as u32);
            // Every fifth frame is shaken.
            let shake = if k % 5 == 4 {
                Spin2::new(8.0, 20.0)
            } else {
                Spin2::default()
            };
            input.state = FrameState::Measured(Arc::new(self.measure(&mut rng, shake)));
        }
        assemble(&inputs, &NightOptions::default())
    }
}

/// Degrees between a direction and the pole, whichever end.
fn off_deg(a: [f64; 3], b: [f64; 3]) -> f64 {
    let away = crate::sky::projection::angle_deg(a, b);
    away.min(180.0 - away)
}

#[test]
fn finds_the_pole_wherever_it_is() {
    for (focal_mm, from_pole, roll) in [
        (24.0, 0.0, 0.0),
        (24.0, 25.0, 10.0),
        (24.0, 50.0, 75.0),
        (24.0, 90.0, 0.0),
        (24.0, 120.0, 200.0),
        (24.0, 165.0, 300.0),
        (14.0, 60.0, 130.0),
        (50.0, 3.0, 40.0),
        (50.0, 40.0, 90.0),
    ] {
        let scene = Scene::fine(focal_mm, from_pole, roll);
        let night = scene.night(focal_mm, 30);
        let turn = night.groups[0].turn.expect("a fit");
        let off = off_deg(turn.pole, scene.pole());
        let about = format!("{focal_mm} mm, {from_pole}°, roll {roll}: {off}° {turn:?}");
        assert!(off < 1.0, "{about}");
        assert!((turn.length_ratio - 1.0).abs() < 0.02, "{about}");
        assert!(turn.pole[2] >= 0.0);
        // The fastest star lies in a corner; the lower two are behind trees.
        let corners = [(0.0, 0.0), (scene.width - 1.0, 0.0)];
        let fastest = corners.map(|(x, y)| scene.trail(x, y).length_px() / 30.0);
        let rate = night.groups[0].largest_rate_px_s.unwrap();
        assert!(
            rate > 0.97 * fastest[0].max(fastest[1]),
            "{about}: {rate} {fastest:?}"
        );
        for row in &night.rows {
            let excess = row.derived.excess_px.unwrap();
            assert!(excess.abs() < 0.1, "{about}: {excess}");
        }
    }
}

#[test]
fn a_true_exposure_of_32_s_is_read_off_the_trails() {
    let mut scene = Scene::new(24.0, 40.0, 15.0);
    scene.true_exposure_s = 32.0;
    let night = scene.night(24.0, 30);
    let turn = night.groups[0].turn.unwrap();
    assert!((turn.length_ratio - 32.0 / 30.0).abs() < 0.01, "{turn:?}");
    assert!(
        night
            .rows
            .iter()
            .all(|row| row.derived.excess_px.unwrap().abs() < 0.1)
    );
}

#[test]
fn an_exposure_far_from_the_marked_one_is_said_and_not_followed() {
    let mut scene = Scene::new(24.0, 40.0, 15.0);
    scene.true_exposure_s = 45.0;
    let night = scene.night(24.0, 30);
    let turn = night.groups[0].turn.expect("the field still turns");
    assert!(!turn.is_plausible(), "{turn:?}");
    assert!(night.rows[0].derived.excess_px.unwrap() > 0.5);
    assert!(
        night
            .warnings
            .iter()
            .any(|w| w.contains("as long as the marked exposure"))
    );
}

#[test]
fn a_tracked_or_windy_night_has_no_turning() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    for (shake, why) in [(0.3, "tracked"), (3.0, "drift"), (14.0, "wind")] {
        let mut scene = Scene::new(24.0, 40.0, 0.0);
        scene.true_exposure_s = 0.0;
        let mut inputs = run(20);
        for input in &mut inputs {
            let measure = scene.measure(&mut rng, Spin2::new(shake, 35.0));
            input.state = FrameState::Measured(Arc::new(measure));
        }
        let night = assemble(&inputs, &NightOptions::default());
        assert_eq!(night.groups[0].turn, None, "{why}");
        assert_eq!(night.rows[0].derived.expected_trail_px, None, "{why}");
        assert!(
            night.rows[0].derived.excess_px.is_some(),
            "against the typical, {why}"
        );
    }
}

#[test]
fn one_frame_is_enough_and_no_optics_is_none() {
    let scene = Scene::new(24.0, 30.0, 0.0);
    let one = scene.night(24.0, 1);
    assert!(off_deg(one.groups[0].turn.unwrap().pole, scene.pole()) < 1.0);

    let mut input = frame(0, 0.0);
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    change(&mut input, |m| {
        *m = scene.measure(&mut rng, Spin2::default());
    });
    facts(&mut input).pixel_um = None;
    let night = assemble(&[input], &NightOptions::default());
    assert_eq!(night.groups[0].turn, None);
}

#[test]
fn a_long_exposure_frame_with_another_grid_is_left_out() {
    let scene = Scene::new(24.0, 30.0, 0.0);
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let mut inputs = run(9);
    for input in &mut inputs {
        change(input, |m| *m = scene.measure(&mut rng, Spin2::default()));
    }
    change(&mut inputs[0], |m| {
        m.field = FieldMap {
            cols: 3,
            rows: 3,
            cells: vec![None; 9],
        }
    });
    change(&mut inputs[1], |m| m.field.cells.truncate(5));
    let night = assemble(&inputs, &NightOptions::default());
    assert!(off_deg(night.groups[0].turn.unwrap().pole, scene.pole()) < 1.0);
}

/// Frames of one sky 32 s apart whose stars turn with it; the camera's pointing and the stars'
/// light are off by `off(k)` (px right, px down, factor).
fn night_of_one_sky(
    scene: &Scene,
    count: usize,
    tracked: bool,
    off: impl Fn(usize) -> (f64, f64, f32),
) -> Night {
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let jitter = Normal::new(0.0, 0.15).unwrap();
    let at: Vec<(f64, f64)> = (0..260)
        .map(|_| {
            (
                scene.width * rng.random::<f64>(),
                scene.height * rng.random::<f64>(),
            )
        })
        .collect();
    let mut inputs = run(count);
    for (k, input) in inputs.iter_mut().enumerate() {
        let mut measure = scene.measure(&mut rng, Spin2::default());
        let (x_off, y_off, factor) = off(k);
        let seconds = if tracked { 0.0 } else { 32.0 * k as f64 };
        measure.stars = at
            .iter()
            .enumerate()
            .filter_map(|(rank, &(x, y))| {
                let (x, y) = scene.later(x, y, seconds);
                let inside = (0.0..scene.width).contains(&x) && (0.0..scene.height).contains(&y);
                inside.then(|| Star {
                    x_px: (x + x_off + jitter.sample(&mut rng)) as f32,
                    y_px: (y + y_off + jitter.sample(&mut rng)) as f32,
                    flux: factor / (1.0 + rank as f32),
                    peak: 0.2,
                    snr: 50.0,
                    fwhm_px: 2.4,
                    elongation: 1.5,
                    trail: Spin2::default(),
                    flags: StarFlags::default(),
                    errors: StarErrors::default(),
                })
            })
            .collect();
        input.state = FrameState::Measured(Arc::new(measure));
    }
    assemble(&inputs, &NightOptions::default())
}

#[test]
fn matched_stars_give_the_pole() {
    for (from_pole, roll) in [(40.0, 15.0), (95.0, 0.0), (140.0, 250.0)] {
        let scene = Scene::new(24.0, from_pole, roll);
        let night = night_of_one_sky(&scene, 60, false, |_| (0.0, 0.0, 1.0));
        let turn = night.groups[0].turn.expect("a fit");
        let off = off_deg(turn.pole, scene.pole());
        // The field alone gives 1°; 0.15 px a star over 37 px of motion some hundredths.
        assert!(off < 0.05, "{from_pole}°: {off}°");
        assert!((turn.length_ratio - 1.0).abs() < 0.01, "{turn:?}");
    }
}

#[test]
fn a_knock_is_a_lasting_shift_and_a_cloud_dims() {
    for (from_pole, roll) in [(40.0, 15.0), (95.0, 0.0), (140.0, 250.0)] {
        let scene = Scene::new(24.0, from_pole, roll);
        let night = night_of_one_sky(&scene, 60, false, |k| {
            let (x, y) = if k >= 30 { (9.0, -12.0) } else { (0.0, 0.0) };
            (x, y, if (40..45).contains(&k) { 0.6 } else { 1.0 })
        });
        assert!(night.groups[0].turn.is_some());
        for (k, row) in night.rows.iter().enumerate() {
            let shift = row.derived.shift_px.expect("a shift");
            let truth = if k >= 30 { 15.0 } else { 0.0 };
            assert!(
                (shift - truth).abs() < 0.6,
                "{from_pole}°, frame {k}: {shift}"
            );
            let clear = row.derived.transparency.expect("a transparency");
            let truth = if (40..45).contains(&k) { 0.6 } else { 1.0 };
            assert!(
                (clear - truth).abs() < 0.02,
                "{from_pole}°, frame {k}: {clear}"
            );
        }
    }
}

#[test]
fn a_mount_that_follows_shows_its_drift() {
    let mut scene = Scene::new(24.0, 40.0, 15.0);
    scene.true_exposure_s = 0.0;
    let night = night_of_one_sky(&scene, 40, true, |k| (0.2 * k as f64, 0.0, 1.0));
    let last = night.rows[39].derived.shift_px.unwrap();
    assert!((last - 7.8).abs() < 0.3, "{last}");

    // The same stars over a fixed camera in exposures too short to trail: no shift is claimed.
    let fixed = night_of_one_sky(&scene, 40, false, |_| (0.0, 0.0, 1.0));
    assert_eq!(fixed.groups[0].turn, None);
    assert!(fixed.rows.iter().all(|row| row.derived.shift_px.is_none()));
}
