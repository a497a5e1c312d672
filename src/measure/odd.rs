//! Frames that are no night sky: sensible rows, nothing invented.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::greens::BAYER;
use super::scene::{Scene, Truth};
use super::{FrameMeasure, Scratch, measure};
use crate::base::Plane;
use crate::frame::{GreenLayout, Light, Samples};

fn samples(width: usize, height: usize, of: impl FnMut(usize) -> f32) -> Samples {
    Samples {
        green: Plane::from_vec(width, height, (0..width * height).map(of).collect()).unwrap(),
        layout: GreenLayout::Every,
        light: Light::Linear,
        clip_level: 1.0,
        step: 1.0 / 255.0,
        hues: None,
        quantised_pct: None,
    }
}

fn measured(samples: &Samples) -> FrameMeasure {
    let got = measure(samples, &mut Scratch::default());
    let numbers = [
        got.sky.level_pct,
        got.sky.gradient_pct,
        got.sky.centre_pct,
        got.saturated_pct,
        got.fwhm_px.unwrap_or(0.0),
        got.elongation.unwrap_or(0.0),
        got.noise_pct.unwrap_or(0.0),
    ];
    assert!(numbers.iter().all(|n| n.is_finite()), "{got:?}");
    assert!(got.sky.cells_pct.iter().all(|n| n.is_finite()));
    got
}

#[test]
fn constant_frames_have_a_level_and_no_star() {
    for (level, clipped) in [(0.0, 0.0), (0.25, 0.0), (1.0, 100.0)] {
        let got = measured(&samples(300, 200, |_| level));
        assert!((got.sky.level_pct - 100.0 * f64::from(level)).abs() < 1e-4);
        assert!((got.saturated_pct - clipped).abs() < 1e-9);
        assert_eq!((got.star_count, got.fwhm_px, got.trail), (0, None, None));
        assert!(!got.remarks.is_empty());
    }
}

#[test]
fn tiny_frames_do_not_trip() {
    for width in 1..=8 {
        for height in 1..=8 {
            let mut random = ChaCha8Rng::seed_from_u64(5);
            let mut frame = samples(width, height, |_| random.random());
            measured(&frame);
            frame.layout = BAYER;
            measured(&frame);
        }
    }
    measured(&samples(0, 0, |_| 0.0));
}

#[test]
fn noise_alone_invents_no_star() {
    for seed in 0..6 {
        for layout in [GreenLayout::Every, BAYER] {
            let got = measured(&Scene::sky(900, 600, 400.0).expose(3.0, layout, seed));
            assert_eq!(got.star_count, 0, "{got:?}");
            assert!(got.streaks.is_empty());
        }
    }
}

#[test]
fn what_is_no_number_is_left_out() {
    let mut scene = Scene::sky(400, 300, 400.0);
    scene.draw(STAR);
    let mut frame = scene.expose(3.0, GreenLayout::Every, 1);
    for (i, value) in frame.green.data_mut().iter_mut().enumerate() {
        match i % 97 {
            0 => *value = f32::NAN,
            31 => *value = f32::INFINITY,
            62 => *value = f32::NEG_INFINITY,
            _ => {}
        }
    }
    let got = measured(&frame);
    assert_eq!(got.star_count, 1);
    assert!((got.sky.level_pct - 1.0).abs() < 0.02);
    assert!(got.remarks.iter().any(|r| r.contains("not numbers")));
    measured(&samples(64, 64, |_| f32::NAN));
    measured(&samples(64, 64, |_| f32::INFINITY));
}

const STAR: Truth = Truth {
    x: 200.3,
    y: 150.8,
    flux: 30_000.0,
    sigma: 1.2,
    length: 0.0,
    angle_deg: 0.0,
};

#[test]
fn one_star_is_one_star() {
    let mut scene = Scene::sky(400, 300, 400.0);
    scene.draw(STAR);
    let got = measured(&scene.expose(3.0, GreenLayout::Every, 2));
    assert_eq!((got.star_count, got.stars_used), (1, 1));
    assert!(got.trail.is_none());
    let star = got.stars[0];
    assert!((f64::from(star.x_px) - 200.3).abs() < 0.05);
    assert!((f64::from(star.y_px) - 150.8).abs() < 0.05);
    assert!((f64::from(star.flux) * super::scene::FULL_E / 30_000.0 - 1.0).abs() < 0.03);
}

#[test]
fn a_star_at_the_edge_is_counted_and_flagged() {
    let mut scene = Scene::sky(400, 300, 400.0);
    scene.draw(Truth { x: 0.4, ..STAR });
    let got = measured(&scene.expose(3.0, GreenLayout::Every, 3));
    assert_eq!((got.star_count, got.stars_used), (1, 0));
    assert!(got.stars[0].flags.at_edge);
}

#[test]
fn hot_pixels_are_no_stars() {
    for layout in [GreenLayout::Every, BAYER] {
        let mut scene = Scene::sky(600, 400, 400.0);
        for star in super::scene::random_stars(4, 40, (600, 400), (5e3, 5e4), STAR) {
            scene.draw(star);
        }
        let plain = measured(&scene.expose(3.0, layout, 4));
        for i in 0..60 {
            let (x, y) = (17 + (i * 97) % 570, 13 + (i * 61) % 380);
            // On a green of the mosaic, too.
            let x = x + (x + y + 1) % 2;
            scene.electrons[y * 600 + x] += 600.0 * (1.0 + f64::from(i as u32));
        }
        let got = measured(&scene.expose(3.0, layout, 4));
        assert!(got.hot_pixels >= 50, "{}", got.hot_pixels);
        assert!(got.star_count.abs_diff(plain.star_count) <= 2, "{got:?}");
    }
}

#[test]
fn one_bright_streak_is_one_streak() {
    let mut scene = Scene::sky(900, 600, 400.0);
    scene.draw(Truth {
        x: 450.0,
        y: 300.0,
        flux: 2e6,
        length: 500.0,
        angle_deg: 30.0,
        ..STAR
    });
    let got = measured(&scene.expose(3.0, GreenLayout::Every, 5));
    assert_eq!((got.star_count, got.streaks.len()), (0, 1), "{got:?}");
    assert!((got.streaks[0].length_px() - 500.0).abs() < 12.0);
}

#[test]
fn a_streak_across_stars_is_one_and_they_stay() {
    let mut scene = Scene::sky(900, 600, 400.0);
    for star in super::scene::random_stars(6, 80, (900, 600), (4e3, 9e4), STAR) {
        scene.draw(star);
    }
    let plain = measured(&scene.expose(3.0, GreenLayout::Every, 6));
    scene.draw(Truth {
        x: 450.0,
        y: 300.0,
        flux: 1e6,
        length: 600.0,
        angle_deg: 160.0,
        ..STAR
    });
    let got = measured(&scene.expose(3.0, GreenLayout::Every, 6));
    assert_eq!(got.streaks.len(), 1, "{:?}", got.streaks);
    assert!(
        (got.streaks[0].length_px() - 600.0).abs() < 30.0,
        "{:?}",
        got.streaks
    );
    assert!(got.star_count.abs_diff(plain.star_count) <= 3);
}

#[test]
fn scratch_leaves_no_trace() {
    let mut scene = Scene::sky(500, 400, 400.0);
    for star in super::scene::random_stars(8, 50, (500, 400), (4e3, 9e4), STAR) {
        scene.draw(star);
    }
    let frame = scene.expose(3.0, GreenLayout::Every, 8);
    let fresh = measured(&frame);
    let mut scratch = Scratch::default();
    let other = Scene::sky(901, 333, 900.0).expose(9.0, BAYER, 9);
    assert_eq!(measure(&other, &mut scratch).star_count, 0);
    assert_eq!(measure(&frame, &mut scratch), fresh);
}

#[test]
fn daylight_is_no_night_sky() {
    // Smooth sky, a hard horizon, fields of texture at all scales below it.
    let mut random = ChaCha8Rng::seed_from_u64(12);
    let bumps: Vec<(f32, f32, f32)> = (0..60)
        .map(|_| {
            let scale: f32 = random.random_range(0.02..0.9);
            (
                scale,
                random.random_range(0.0..6.3),
                random.random_range(0.0..6.3),
            )
        })
        .collect();
    let frame = samples(900, 600, |i| {
        let (x, y) = ((i % 900) as f32, (i / 900) as f32);
        let grain: f32 = random.random_range(-0.004..0.004);
        if y < 200.0 {
            return 0.6 - 0.0005 * y + grain;
        }
        let texture: f32 = bumps
            .iter()
            .map(|(scale, a, b)| (scale * (x * a.cos() + y * a.sin()) + b).sin())
            .sum();
        (0.25 + 0.02 * texture).clamp(0.0, 1.0) + grain
    });
    let got = measured(&frame);
    assert!(got.star_count <= 3, "{}", got.star_count);
    assert!(got.trail.is_none() && !got.remarks.is_empty());
    assert!(
        (got.sky.level_pct / 50.0 - 1.0).abs() < 0.6,
        "{:?}",
        got.sky.level_pct
    );
}

/// Strokes of letters: bars of a few px, in lines of text over most of the frame.
fn page(dark_on_bright: bool) -> Samples {
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let (width, height) = (900, 600);
    let mut ink = vec![false; width * height];
    for line in 0..24 {
        for letter in 0..88 {
            let (x0, y0) = (10 + letter * 10, 12 + line * 24);
            for _ in 0..3 {
                let across = random.random_bool(0.5);
                let (dx, dy) = (random.random_range(0..6), random.random_range(0..12));
                for k in 0..(if across { 7 } else { 14 }) {
                    for thick in 0..2 {
                        let (x, y) = if across {
                            (x0 + k, y0 + dy + thick)
                        } else {
                            (x0 + dx + thick, y0 + k)
                        };
                        ink[y.min(height - 1) * width + x.min(width - 1)] = true;
                    }
                }
            }
        }
    }
    samples(width, height, |i| {
        let grain: f32 = random.random_range(-0.004..0.004);
        let level = if ink[i] == dark_on_bright { 0.1 } else { 0.8 };
        level + grain
    })
}

#[test]
fn a_page_of_text_is_no_night_sky() {
    for dark_on_bright in [true, false] {
        let got = measured(&page(dark_on_bright));
        assert!(got.trail.is_none());
        assert_eq!((got.star_count, got.streaks.len()), (0, 0));
        assert!(!got.remarks.is_empty());
    }
}

#[test]
fn a_frame_that_is_one_streak_has_no_star() {
    let mut scene = Scene::sky(600, 400, 400.0);
    scene.draw(Truth {
        x: 300.0,
        y: 200.0,
        flux: 1e7,
        length: 900.0,
        angle_deg: 33.0,
        sigma: 1.5,
    });
    let got = measured(&scene.expose(3.0, GreenLayout::Every, 7));
    assert_eq!(got.star_count, 0);
    assert!(got.trail.is_none());
    assert_eq!(got.streaks.len(), 1);
}
