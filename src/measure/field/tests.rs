use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use super::*;
use crate::measure::TrailCause;
use crate::measure::{StarErrors, StarFlags};
use crate::sky::Camera;
use crate::sky::turning::trail_at;

const SIZE: (usize, usize) = (1200, 800);

/// Stars whose vectors scatter about `trail` by `photons`/SNR and by `rest`, px².
fn stars(seed: u64, count: usize, trail: Spin2, photons: f64, rest: f64) -> Vec<Star> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let unit = Normal::new(0.0, 1.0).unwrap();
    (0..count)
        .map(|_| {
            let snr = 10.0 * random.random_range(0.02_f64..1.0).powf(-1.2);
            let sigma = (photons / snr).hypot(rest);
            Star {
                x_px: random.random_range(0.0..SIZE.0 as f32),
                y_px: random.random_range(0.0..SIZE.1 as f32),
                flux: snr as f32,
                peak: 0.1,
                snr: snr as f32,
                fwhm_px: SIGMA_TO_FWHM as f32,
                elongation: 1.0,
                trail: Spin2 {
                    cos: trail.cos + sigma * unit.sample(&mut random),
                    sin: trail.sin + sigma * unit.sample(&mut random),
                },
                flags: StarFlags::default(),
                errors: StarErrors::default(),
            }
        })
        .collect()
}

#[test]
fn stated_errors_are_the_scatter_whatever_makes_it() {
    for (photons, rest) in [(60.0, 0.2), (60.0, 0.5), (120.0, 1.0)] {
        let (mut pulls, mut seen) = (0.0, 0);
        for seed in 0..150 {
            let stars = stars(seed, 200, Spin2::default(), photons, rest);
            let map = SmoothField::fit(&stars, SIZE).unwrap();
            let at = map.at(600.0, 400.0);
            pulls += (at.cos.powi(2) + at.sin.powi(2)) / (2.0 * map.error_at(600.0, 400.0).powi(2));
            seen += usize::from(map.values(&stars, SIZE).length_px > 0.0);
        }
        let pull = (pulls / 150.0_f64).sqrt();
        // A quarter is what learning the scatter from 200 stars leaves to chance.
        assert!((0.8..1.25).contains(&pull), "{photons} {rest}: {pull}");
        // One in ninety by chance.
        assert!(seen <= 6, "{photons} {rest}: {seen} of 150 have a trail");
    }
}

#[test]
fn a_short_trail_that_stands_clear_is_read() {
    let want = Spin2::new(1.5, 30.0);
    let mut sum = 0.0;
    for seed in 0..40 {
        let stars = stars(seed, 200, want, 60.0, 0.3);
        let map = SmoothField::fit(&stars, SIZE).unwrap();
        sum += map.values(&stars, SIZE).length_px / 40.0;
    }
    assert!((sum - 1.5).abs() < 0.03, "{sum}");
}

#[test]
fn what_is_not_clear_of_its_error_is_no_length() {
    let spin = Spin2::new(2.0, 10.0);
    assert_eq!(clear_length(spin, 4.0 / 2.9), 0.0);
    assert!((clear_length(spin, 0.0) - 2.0).abs() < 1e-12);
    let clear = clear_length(spin, 4.0 / 5.0);
    assert!((clear - (16.0_f64 - 2.0 * 0.64).powf(0.25)).abs() < 1e-12);
    let half = clear_length(spin, 4.0 / 3.5);
    assert!(half > 0.0 && half < clear);
}

/// As [`stars`], with the trails that `trail` gives at each place and the scatter that goes with
/// their length.
fn stars_by(seed: u64, count: usize, trail: impl Fn(f64, f64) -> Spin2) -> Vec<Star> {
    let mut stars = stars(seed, count, Spin2::default(), 15.0, 0.1);
    for star in &mut stars {
        let here = trail(f64::from(star.x_px), f64::from(star.y_px));
        let longer = 1.0 + here.length_px().powi(2) / 9.0;
        star.trail.cos = longer * star.trail.cos + here.cos;
        star.trail.sin = longer * star.trail.sin + here.sin;
    }
    stars
}

/// A 14 mm lens on 36 mm of sensor, in this frame's pixels.
fn wide() -> Camera {
    Camera::new(SIZE.0 as f64 * 14.0 / 36.0, SIZE.0 as f64, SIZE.1 as f64).unwrap()
}

#[test]
fn a_wide_lens_reads_true_at_centre_edge_and_corner() {
    for pole in [[0.0, -1.0, 0.0], [0.3, -0.7, 0.5], [0.1, -0.05, 1.0]] {
        let pole = crate::sky::projection::unit(pole);
        let truth = |x, y| trail_at(&wide(), pole, x, y, 200.0).unwrap().trail();
        let (mut worst, mut centre) = (0.0_f64, 0.0);
        for seed in 0..20 {
            let stars = stars_by(seed, 200, truth);
            let map = SmoothField::fit(&stars, SIZE).unwrap();
            for (x, y) in [(599.5, 399.5), (1199.0, 399.5), (0.0, 0.0), (1199.0, 799.0)] {
                worst = worst.max((map.length_at(x, y) - truth(x, y).length_px()).abs());
            }
            let off = map.length_at(599.5, 399.5) - truth(599.5, 399.5).length_px();
            centre += off / 20.0;
        }
        assert!(worst < 0.6, "{pole:?}: {worst}");
        assert!(centre.abs() < 0.03, "{pole:?}: {centre}");
    }
}

#[test]
fn each_explanation_is_told_from_the_others() {
    let pole = crate::sky::projection::unit([0.3, -0.7, 0.5]);
    let sky = |x, y| trail_at(&wide(), pole, x, y, 150.0).unwrap().trail();
    let lens = |x: f64, y: f64| {
        let (u, v) = ((x - 599.5) / 600.0, (y - 399.5) / 600.0);
        // 9 px² along the radius at the corner.
        let g = 9.0 / (1.0 + 4.0 / 9.0);
        Spin2 {
            cos: g * (u * u - v * v),
            sin: -2.0 * g * u * v,
        }
    };
    let both = |x, y| Spin2 {
        cos: sky(x, y).cos + lens(x, y).cos,
        sin: sky(x, y).sin + lens(x, y).sin,
    };
    let told = |seed, trail: &dyn Fn(f64, f64) -> Spin2| {
        map_and_models(&stars_by(seed, 200, trail), SIZE).1.unwrap()
    };
    for seed in 0..10 {
        let still = told(seed, &|_, _| Spin2::default());
        assert_eq!(still.best, TrailCause::Still, "{still:?}");
        let uniform = told(seed, &|_, _| Spin2::new(4.0, 130.0));
        assert_eq!(uniform.best, TrailCause::Uniform, "{uniform:?}");
        assert!((uniform.uniform_trail.length_px() - 4.0).abs() < 0.1);
        let blur = told(seed, &lens);
        assert_eq!(blur.best, TrailCause::Lens, "{blur:?}");
        assert!(blur.uniform > 1.2 * blur.lens, "{blur:?}");
        let turning = told(seed, &sky);
        assert_eq!(turning.best, TrailCause::Turning, "{turning:?}");
        assert!(
            (0.8..1.2).contains(&turning.turning) && turning.uniform > 2.0,
            "{turning:?}"
        );
        let place = wide().pixel(pole).unwrap();
        let found = turning.pole_px.unwrap();
        assert!(
            (found.0 - place.0).hypot(found.1 - place.1) < 60.0,
            "{found:?} {place:?}"
        );
        let both = told(seed, &both);
        assert_eq!(both.best, TrailCause::TurningAndLens, "{both:?}");
        let off = both.lens_growth_px2 - 9.0;
        assert!(
            off.abs() < 3.5 * both.lens_growth_error_px2 && off.abs() < 6.0,
            "{both:?}"
        );
    }
}

#[test]
fn a_tilt_is_a_plane_of_widths() {
    let mut pulls = 0.0;
    for seed in 0..20 {
        let mut stars = stars(seed, 200, Spin2::default(), 60.0, 0.3);
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let unit = Normal::new(0.0, 1.0).unwrap();
        for star in &mut stars {
            let noise: f64 = unit.sample(&mut random);
            star.fwhm_px += (0.6 * (star.x_px - 599.5) / 1200.0) + (noise / 20.0) as f32;
        }
        let width = map_and_models(&stars, SIZE).1.unwrap().width;
        assert!((width.right_px - 0.6).abs() < 0.1, "{width:?}");
        assert!(
            width.down_px.abs() < 0.1 && width.corner_px.abs() < 0.1,
            "{width:?}"
        );
        assert!(width.flat_misfit > 1.2, "{width:?}");
        pulls += ((width.right_px - 0.6) / width.right_error_px).powi(2) / 20.0;
    }
    assert!((0.4..2.0).contains(&pulls), "{pulls}");
}
