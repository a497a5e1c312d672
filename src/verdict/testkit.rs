//! Nights for tests: measured values drawn about what a calm night shows, faults put in by hand.

use std::path::PathBuf;
use std::sync::Arc;

use jiff::ToSpan;
use jiff::civil::date;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use crate::frame::{Facts, Light, TakenAt};
use crate::measure::{FrameMeasure, Star, StarErrors, StarFlags, Streak, TrailValues};
use crate::night::{FrameInput, FrameState, Night, NightOptions, assemble};

/// Largest star rate of the made nights, px/s: 13.6 px in 30 s.
pub(crate) const RATE_PX_S: f64 = 0.453;

/// A calm night on a fixed tripod, 30 s every 32 s from 21:40, or what is changed of it.
#[derive(Clone)]
pub(crate) struct Calm {
    pub(crate) frames: usize,
    pub(crate) seed: u64,
    pub(crate) light: Light,
    pub(crate) tracked: bool,
    pub(crate) interval_s: f64,
    pub(crate) exposure_s: f64,
    /// How many times the scatter of a calm night: 1 is stars ± 2.5 %, width ± 2 %, sky ± 0.8 %.
    pub(crate) scatter: f64,
}

impl Default for Calm {
    fn default() -> Self {
        Self {
            frames: 120,
            seed: 1,
            light: Light::Linear,
            tracked: false,
            interval_s: 32.0,
            exposure_s: 30.0,
            scatter: 1.0,
        }
    }
}

impl Calm {
    /// The frames, each with its number from 0.
    pub(crate) fn inputs(&self) -> Vec<FrameInput> {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let mut about = |centre: f64, share: f64| -> f64 {
            centre * (1.0 + self.scatter * share * Normal::new(0.0, 1.0).unwrap().sample(&mut rng))
        };
        (0..self.frames)
            .map(|n| {
                let part = n as f64 / self.frames as f64;
                let drift = 1.0 + 0.06 * (part * 5.0).sin();
                let mut m = FrameMeasure::empty(6000, 4000, self.light);
                m.star_count = about(1800.0 * (2.0 - drift), 0.025) as u32;
                m.stars_used = m.star_count / 2;
                m.fwhm_px = Some(about(2.6, 0.02));
                m.elongation = Some(about(if self.tracked { 1.08 } else { 2.3 }, 0.01));
                let length_px = if self.tracked { 0.6 } else { 6.6 };
                m.trail = Some(TrailValues {
                    length_px: about(length_px, 0.02),
                    length_error_px: 0.05,
                    centre_px: length_px,
                    centre_error_px: 0.05,
                    max_px: about(RATE_PX_S * self.exposure_s, 0.01),
                    angle_deg: Some(30.0),
                    angle_error_deg: None,
                });
                m.sky.level_pct = about(10.5 * drift, 0.008);
                m.sky.centre_pct = m.sky.level_pct;
                m.sky.gradient_pct = 2.0;
                m.noise_pct = Some(about(0.4 * drift.sqrt(), 0.01));
                m.saturated_pct = 0.02;
                m.stars = stars();
                FrameInput {
                    shot: n,
                    name: format!("marsh_{:04}.dng", n + 1),
                    path: PathBuf::from(format!("marsh_{:04}.dng", n + 1)),
                    facts: Some(self.facts(n as f64 * self.interval_s)),
                    state: FrameState::Measured(Arc::new(m)),
                }
            })
            .collect()
    }

    fn facts(&self, seconds: f64) -> Facts {
        let start = date(2026, 8, 28).at(21, 40, 0, 0);
        let milliseconds = (seconds * 1000.0).round() as i64;
        Facts {
            taken_at: Some(TakenAt {
                local: start.checked_add(milliseconds.milliseconds()).unwrap(),
                has_subseconds: true,
                offset_s: Some(7200),
            }),
            exposure_s: Some(self.exposure_s),
            f_number: Some(2.8),
            iso: Some(1600),
            focal_length_mm: Some(24.0),
            pixel_um: Some(4.3),
            camera: Some("Alder 2".to_owned()),
            width_px: 6000,
            height_px: 4000,
            ..Facts::default()
        }
    }

    /// The night after `fault` changed each frame as it liked.
    pub(crate) fn night(&self, fault: impl Fn(usize, &mut FrameMeasure)) -> Night {
        let mut inputs = self.inputs();
        for (n, input) in inputs.iter_mut().enumerate() {
            if let FrameState::Measured(measure) = &mut input.state {
                fault(n, Arc::make_mut(measure));
            }
        }
        put(&inputs, !self.tracked)
    }
}

/// Assembles, with the trail that the sky's turning predicts where the camera stood still.
pub(crate) fn put(inputs: &[FrameInput], fixed: bool) -> Night {
    let mut night = assemble(inputs, &NightOptions::default());
    for row in &mut night.rows {
        let trail = row.measure.as_deref().and_then(|m| m.trail);
        if let Some(trail) = trail.filter(|_| fixed) {
            row.derived.expected_trail_px = Some(6.6);
            row.derived.excess_px = Some(trail.length_px - 6.6);
        }
    }
    night
}

fn stars() -> Vec<Star> {
    (0..12)
        .map(|n| Star {
            x_px: 100.0,
            y_px: 100.0,
            flux: 2.0,
            peak: 0.5 - 0.02 * n as f32,
            snr: 100.0,
            fwhm_px: 2.6,
            elongation: 2.3,
            trail: crate::base::Spin2::default(),
            flags: StarFlags::default(),
            errors: StarErrors::default(),
        })
        .collect()
}

/// A streak over `share` of the diagonal of a made frame.
pub(crate) fn streak(share: f32, brightness: f32) -> Streak {
    Streak {
        x0_px: 0.0,
        y0_px: 0.0,
        x1_px: 6000.0 * share,
        y1_px: 4000.0 * share,
        width_px: 4.0,
        brightness,
        parts: [brightness; Streak::PARTS],
        beat_px: 0.0,
    }
}

/// Makes every trail of a frame longer by `px`.
pub(crate) fn lengthen(measure: &mut FrameMeasure, px: f64) {
    if let Some(trail) = &mut measure.trail {
        trail.length_px += px;
    }
}
