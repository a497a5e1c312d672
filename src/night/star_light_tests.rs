//! The same stars at two settings, made by hand.

use super::star_light;
use super::tests::{change, facts, put, run};
use crate::base::Spin2;
use crate::measure::{FrameMeasure, Star, StarErrors, StarFlags};

/// 40 stars of signal-to-noise 20 to 59 times `factor`, the brightest `clipped` of them clipped.
fn stars(measure: &mut FrameMeasure, factor: f32, clipped: usize) {
    measure.stars = (0..40_u16)
        .rev()
        .map(|k| Star {
            x_px: f32::from(k * 617 % 1600),
            y_px: f32::from(k * 389 % 1067),
            flux: 0.01 * f32::from(20 + k),
            peak: 0.1,
            snr: factor * f32::from(20 + k),
            fwhm_px: 2.5,
            elongation: 1.1,
            trail: Spin2::default(),
            errors: StarErrors::default(),
            flags: StarFlags {
                clipped: usize::from(40 - k) <= clipped,
                ..StarFlags::default()
            },
        })
        .collect();
}

#[test]
fn common_stars_tell_signal_to_noise_and_depth() {
    let mut inputs = run(12);
    for (shot, input) in inputs.iter_mut().enumerate() {
        if shot < 6 {
            change(input, |measure| stars(measure, 1.0, 0));
        } else {
            facts(input).iso = Some(6400);
            change(input, |measure| stars(measure, 1.5, 8));
        }
    }
    let night = put(&inputs);
    let light = star_light(&night, &[0, 1]);
    // The brightest 8 are clipped at ISO 6400 and in neither's signal-to-noise.
    assert_eq!(light.stars, 32, "{light:?}");
    let [Some(low), Some(high)] = light.groups[..] else {
        panic!("{light:?}");
    };
    assert!((low.snr.value - 35.5).abs() < 1e-4, "{low:?}");
    assert!((high.snr.value / low.snr.value - 1.5).abs() < 1e-6);
    assert!(low.deeper_mag.value.abs() < 1e-9);
    assert!((high.deeper_mag.value - 2.5 * 1.5_f64.log10()).abs() < 1e-6);
    assert!(low.clipped_pct.abs() < 1e-9 && (high.clipped_pct - 20.0).abs() < 1e-9);
}

#[test]
fn another_sky_is_told_as_no_match() {
    let mut inputs = run(12);
    for (shot, input) in inputs.iter_mut().enumerate() {
        change(input, |measure| stars(measure, 1.0, 0));
        if shot >= 6 {
            facts(input).iso = Some(6400);
            change(input, |measure| {
                for star in &mut measure.stars {
                    star.x_px = (star.x_px * 7.3 + 211.0) % 1600.0;
                    star.y_px = (star.y_px * 5.9 + 97.0) % 1067.0;
                }
            });
        }
    }
    let light = star_light(&put(&inputs), &[0, 1]);
    assert!(
        light.groups[0].is_some() && light.groups[1].is_none(),
        "{light:?}"
    );
    assert_eq!(star_light(&put(&inputs), &[]).groups, []);
}
