//! A made frame against what sep 1.4.1, photutils 3.0.0 and astropy 8.0.2 say of it.
//!
//! The table and the script that made it are in tests/reference/sep; the script makes the same
//! frame by the same arithmetic.

use super::{FrameMeasure, Scratch, measure};
use crate::base::Plane;
use crate::frame::{GreenLayout, Light, Samples};

const TABLE: &str = include_str!("../../tests/reference/sep/table.csv");
const SIZE: (usize, usize) = (480, 320);

/// Knuth's 64-bit linear congruential generator (MMIX), as in the script.
struct Lcg(u64);

impl Lcg {
    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / 2.0_f64.powi(53)
    }
}

fn frame() -> FrameMeasure {
    let mut random = Lcg(2024);
    let (width, height) = SIZE;
    let mut data: Vec<f64> = (0..width * height)
        .map(|i| 0.02 + 4e-6 * (i % width) as f64 + 2e-6 * (i / width) as f64)
        .collect();
    let (sin, cos) = (-30.0_f64).to_radians().sin_cos();
    for row in 0..4 {
        for col in 0..6 {
            let x0 = 40.0 + 80.0 * f64::from(col) + 4.0 * random.uniform();
            let y0 = 40.0 + 80.0 * f64::from(row) + 4.0 * random.uniform();
            let peak = 0.02 + 0.03 * random.uniform();
            for (i, value) in data.iter_mut().enumerate() {
                let (dx, dy) = ((i % width) as f64 - x0, (i / width) as f64 - y0);
                let (u, v) = (dx * cos + dy * sin, -dx * sin + dy * cos);
                *value += peak * (-0.5 * ((u / 2.0).powi(2) + (v / 1.3).powi(2))).exp();
            }
        }
    }
    for value in &mut data {
        let sum: f64 = (0..12).map(|_| random.uniform()).sum();
        *value += 0.0008 * (sum - 6.0);
    }
    let samples = Samples {
        green: Plane::from_vec(width, height, data.iter().map(|&v| v as f32).collect()).unwrap(),
        layout: GreenLayout::Every,
        light: Light::Linear,
        clip_level: 1.0,
        step: 0.0,
        hues: None,
        quantised_pct: None,
    };
    measure(&samples, &mut Scratch::default())
}

fn rows(kind: &str) -> impl Iterator<Item = Vec<f64>> {
    let own = TABLE
        .lines()
        .filter(move |line| line.split(',').next() == Some(kind));
    own.map(|line| {
        line.split(',')
            .skip(1)
            .map(|v| v.parse().unwrap())
            .collect()
    })
}

#[test]
fn sky_and_noise_agree() {
    let got = frame();
    let sky = rows("sky").next().unwrap();
    // Means of the two meshes against a median of ours: within the frame's slope.
    assert!(
        (got.sky.level_pct / (100.0 * sky[2]) - 1.0).abs() < 0.003,
        "{}",
        got.sky.level_pct
    );
    // Theirs have what faint stars add to it.
    for theirs in [sky[1], sky[3]] {
        let ratio = got.noise_pct.unwrap() / (100.0 * theirs);
        assert!((0.98..1.012).contains(&ratio), "{ratio}");
    }
}

#[test]
fn the_same_stars_have_the_same_places_fluxes_and_shapes() {
    let got = frame();
    assert_eq!(got.star_count as usize, rows("star").count());
    for row in rows("star") {
        let [x, y, flux, isophotal, fwhm, elongation, fit_x, fit_y] = row[..] else {
            panic!("eight columns")
        };
        let near = |s: &&super::Star| (f64::from(s.x_px) - x).hypot(f64::from(s.y_px) - y) < 1.0;
        let star = got.stars.iter().find(near).unwrap();
        for (want_x, want_y) in [(x, y), (fit_x, fit_y)] {
            assert!(
                (f64::from(star.x_px) - want_x).abs() < 0.05,
                "{star:?} {row:?}"
            );
            assert!(
                (f64::from(star.y_px) - want_y).abs() < 0.05,
                "{star:?} {row:?}"
            );
        }
        // An aperture of 314 px gathers 0.014 of noise; three times that.
        assert!(
            (f64::from(star.flux) - flux).abs() < 0.043,
            "{star:?} {row:?}"
        );
        // A least-squares Gaussian is what the moments settle at. These stars are Gaussian along
        // their long axis too, which a trail is not: read as trails they are up to 2 % narrower.
        assert!(
            (f64::from(star.fwhm_px) / fwhm - 1.0).abs() < 0.025,
            "{star:?} {row:?}"
        );
        assert!(
            (f64::from(star.elongation) / elongation - 1.0).abs() < 0.01,
            "{star:?} {row:?}"
        );
        // Moments cut at an isophote are known to read low.
        let low = isophotal / f64::from(star.elongation);
        assert!((0.85..1.0).contains(&low), "{star:?} {row:?}");
    }
}
