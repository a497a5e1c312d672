//! Whole frames against their truth.

use super::greens::BAYER;
use super::scene::{FULL_E, Scene, Truth, random_stars};
use super::{Scratch, measure};
use crate::base::spin2::angle_between_deg;
use crate::frame::{GreenLayout, Light};

const SIZE: (usize, usize) = (700, 500);

fn frame(seed: u64, like: Truth, layout: GreenLayout) -> super::FrameMeasure {
    let mut scene = Scene::sky(SIZE.0, SIZE.1, 900.0);
    for star in random_stars(seed, 150, SIZE, (3_000.0, 90_000.0), like) {
        scene.draw(star);
    }
    measure(&scene.expose(4.0, layout, seed), &mut Scratch::default())
}

fn like(sigma: f64, length: f64, angle_deg: f64) -> Truth {
    Truth {
        x: 0.0,
        y: 0.0,
        flux: 0.0,
        sigma,
        length,
        angle_deg,
    }
}

#[test]
fn trails_sky_noise_and_width_are_the_truth() {
    let mut seed = 0;
    for layout in [GreenLayout::Every, BAYER] {
        for (sigma, angle) in [(0.8, 20.0), (1.1, 70.0), (1.5, 155.0)] {
            for length in [0.0, 4.0, 8.0, 12.0] {
                seed += 1;
                let got = frame(seed, like(sigma, length, angle), layout);
                let trail = got.trail.unwrap();
                assert!(
                    (trail.length_px - length).abs() < 0.5,
                    "{length}: {trail:?}"
                );
                if length > 0.0 {
                    let off = angle_between_deg(trail.angle_deg.unwrap(), angle);
                    assert!(off < 1.0, "{off}");
                }
                assert!((got.sky.level_pct / (90_000.0 / FULL_E) - 1.0).abs() < 0.005);
                let noise = 100.0 * (900.0_f64 + 16.0).sqrt() / FULL_E;
                let ratio = got.noise_pct.unwrap() / noise;
                assert!((ratio - 1.0).abs() < 0.02, "{ratio}");
                let fwhm = 2.3548 * (sigma * sigma + 1.0 / 12.0).sqrt();
                assert!((got.fwhm_px.unwrap() / fwhm - 1.0).abs() < 0.03);
            }
        }
    }
}

#[test]
fn a_pole_in_the_frame_does_not_cancel_trails() {
    let (pole, rate) = ((300.0, 220.0), 0.025);
    for layout in [GreenLayout::Every, BAYER] {
        let mut scene = Scene::sky(SIZE.0, SIZE.1, 900.0);
        let mut lengths = Vec::new();
        for star in random_stars(77, 150, SIZE, (5_000.0, 90_000.0), like(1.0, 0.0, 0.0)) {
            let (dx, dy) = (star.x - pole.0, star.y - pole.1);
            let length = rate * dx.hypot(dy);
            lengths.push(length);
            scene.draw(Truth {
                length,
                // Across the line to the pole, with y down.
                angle_deg: (-dy).atan2(dx).to_degrees() + 90.0,
                ..star
            });
        }
        let got = measure(&scene.expose(4.0, layout, 77), &mut Scratch::default());
        let trail = got.trail.unwrap();
        let want = crate::base::robust::median(&mut lengths).unwrap();
        assert!((trail.length_px - want).abs() < 0.15, "{want}: {trail:?}");
        let (cx, cy) = (349.5_f64 - pole.0, 249.5_f64 - pole.1);
        assert!(
            (trail.centre_px - rate * cx.hypot(cy)).abs() < 0.25,
            "{trail:?}"
        );
        let corner = rate * 400.0_f64.hypot(280.0);
        assert!((trail.max_px - corner).abs() < 0.4, "{corner}: {trail:?}");
        let angle = (-cy).atan2(cx).to_degrees() + 90.0;
        assert!(
            angle_between_deg(trail.angle_deg.unwrap(), angle) < 6.0,
            "{trail:?}"
        );
    }
}

#[test]
fn ground_moves_neither_sky_nor_noise() {
    for ground_level in [60.0, 6_000.0] {
        let mut scene = Scene::sky(SIZE.0, SIZE.1, 900.0);
        for star in random_stars(31, 150, SIZE, (5_000.0, 90_000.0), like(1.0, 5.0, 40.0)) {
            scene.draw(star);
        }
        for pixel in scene.electrons.iter_mut().skip(SIZE.0 * 330) {
            *pixel = ground_level;
        }
        let got = measure(&scene.expose(4.0, BAYER, 31), &mut Scratch::default());
        assert!(
            (got.sky.level_pct / 2.25 - 1.0).abs() < 0.005,
            "{:?}",
            got.sky.level_pct
        );
        assert!(got.sky.gradient_pct < 0.03, "{:?}", got.sky.gradient_pct);
        let noise = 100.0 * (900.0_f64 + 16.0).sqrt() / FULL_E;
        let ratio = got.noise_pct.unwrap() / noise;
        assert!((ratio - 1.0).abs() < 0.02, "{ratio}");
        assert!((got.trail.unwrap().length_px - 5.0).abs() < 0.1);
    }
}

/// What a camera's 8-bit file does to levels: the sRGB curve (IEC 61966-2-1), rounding, and back.
fn through_8_bits(value: f32) -> f32 {
    let v = value.clamp(0.0, 1.0);
    let coded = if v <= 0.003_130_8 {
        12.92 * v
    } else {
        1.055 * v.powf(1.0 / 2.4) - 0.055
    };
    let stored = (coded * 255.0).round() / 255.0;
    if stored <= 0.040_45 {
        stored / 12.92
    } else {
        ((stored + 0.055) / 1.055).powf(2.4)
    }
}

#[test]
fn eight_bits_move_little() {
    for (seed, length) in [(1, 0.0), (2, 4.0), (3, 8.0), (4, 12.0)] {
        let mut scene = Scene::sky(SIZE.0, SIZE.1, 900.0);
        for star in random_stars(
            seed,
            150,
            SIZE,
            (5_000.0, 90_000.0),
            like(1.0, length, 40.0),
        ) {
            scene.draw(star);
        }
        let mut frame = scene.expose(4.0, GreenLayout::Every, seed);
        frame
            .green
            .data_mut()
            .iter_mut()
            .for_each(|v| *v = through_8_bits(*v));
        frame.light = Light::ToneMapped;
        frame.step = 1.0 / 255.0 / 12.92;
        let got = measure(&frame, &mut Scratch::default());
        assert!(
            (got.trail.unwrap().length_px - length).abs() < 0.5,
            "{:?}",
            got.trail
        );
        assert!(
            (got.sky.level_pct / 2.25 - 1.0).abs() < 0.01,
            "{:?}",
            got.sky.level_pct
        );
        // Of what the file holds: half a step of noise more.
        let step = 100.0 * (through_8_bits(0.0235) - through_8_bits(0.0215)) / 2.0;
        let noise = (100.0 * (900.0_f64 + 16.0).sqrt() / FULL_E).hypot(f64::from(step) / 3.46);
        assert!(
            (got.noise_pct.unwrap() / noise - 1.0).abs() < 0.1,
            "{:?}",
            got.noise_pct
        );
    }
}

/// Two stars in one: a third of all, a companion of a third to all of the light, near and at chance.
#[test]
fn blends_bias_no_frame() {
    use rand::{Rng, SeedableRng};
    for (seed, sigma, length) in [(1, 1.0, 3.0), (2, 1.2, 6.0), (3, 1.0, 12.0)] {
        let mut scene = Scene::sky(SIZE.0, SIZE.1, 900.0);
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let trail = like(sigma, length, 35.0);
        for star in random_stars(seed, 120, SIZE, (6_000.0, 60_000.0), trail) {
            scene.draw(star);
            if random.random_bool(0.33) {
                let (far, way) = (
                    random.random_range(1.0..8.0),
                    random.random_range(0.0..std::f64::consts::TAU),
                );
                scene.draw(Truth {
                    x: star.x + far * f64::cos(way),
                    y: star.y + far * f64::sin(way),
                    flux: star.flux * random.random_range(0.3..1.0),
                    ..star
                });
            }
        }
        let got = measure(
            &scene.expose(4.0, GreenLayout::Every, seed),
            &mut Scratch::default(),
        );
        let trail = got.trail.unwrap();
        let (off, error) = (trail.length_px - length, trail.length_error_px);
        assert!(off.abs() < 0.1 + 2.0 * error, "{seed}: {off} {trail:?}");
        let turn = angle_between_deg(trail.angle_deg.unwrap(), 35.0);
        let most = 0.3 + 2.0 * trail.angle_error_deg.unwrap();
        assert!(turn < most, "{seed}: {turn} {trail:?}");
    }
}
