//! Whole frames against their truth.

use super::greens::BAYER;
use super::scene::{FULL_E, Scene, Truth, random_stars};
use super::{Scratch, measure};
use crate::base::spin2::angle_between_deg;
use crate::frame::GreenLayout;

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
                assert!((got.noise_pct.unwrap() / noise - 1.0).abs() < 0.03);
                let fwhm = 2.3548 * (sigma * sigma + 1.0 / 12.0).sqrt();
                assert!((got.fwhm_px.unwrap() / fwhm - 1.0).abs() < 0.03);
            }
        }
    }
}
