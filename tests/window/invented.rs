//! An invented night with its measurements, so that the window can be driven without files.

use std::f64::consts::TAU;
use std::sync::Arc;

use nightloupe::advice::{self, AdviceOptions};
use nightloupe::engine::Derived;
use nightloupe::frame::{Facts, Light, TakenAt};
use nightloupe::measure::{FrameMeasure, TrailValues};
use nightloupe::night::{self, FrameInput, FrameState, Night, NightOptions};
use nightloupe::verdict::{self, Purpose, Thresholds};

/// Frames of the invented night.
pub(crate) const FRAMES: usize = 360;

/// A value between −1 and 1 that looks like noise and is the same every time.
fn wobble(place: usize, salt: f64) -> f64 {
    let x = (place as f64 * 12.9898 + salt * 78.233).sin() * 43_758.545;
    2.0 * (x - x.floor()) - 1.0
}

fn facts(place: usize) -> Facts {
    let start = jiff::civil::date(2025, 9, 17).at(21, 40, 0, 0);
    let local = start + jiff::SignedDuration::from_secs(place as i64 * 32);
    Facts {
        taken_at: Some(TakenAt {
            local,
            has_subseconds: false,
            offset_s: None,
        }),
        exposure_s: Some(30.0),
        f_number: Some(2.8),
        iso: Some(1600),
        focal_length_mm: Some(24.0),
        pixel_um: Some(4.3),
        camera: Some("Invented Mk 2".to_owned()),
        width_px: 8368,
        height_px: 5584,
        ..Facts::default()
    }
}

/// Settling at first, twilight fading, thin cloud, two streaks, dew to the end.
fn measure(place: usize) -> FrameMeasure {
    let mut m = FrameMeasure::empty(8368, 5584, Light::Linear);
    let n = place as f64;
    let settle = [4.7, 2.9, 1.9, 1.1].get(place).copied().unwrap_or(0.0);
    let twilight = 9.0 * (-n / 16.0).exp();
    let cloud = if (154..164).contains(&place) {
        ((n - 153.0) / 11.0 * TAU / 2.0).sin()
    } else {
        0.0
    };
    let dew = ((n - 283.0) / 77.0).max(0.0);
    let length = 6.6 + settle + 0.2 * wobble(place, 1.0);
    let width = 2.6 + 3.6 * dew * dew + 0.08 * wobble(place, 2.0);
    m.trail = Some(TrailValues {
        length_px: length,
        length_error_px: 0.05,
        centre_px: 4.5,
        centre_error_px: 0.05,
        max_px: 13.6 + settle,
        angle_deg: Some(40.0),
        angle_error_deg: Some(0.5),
    });
    m.fwhm_px = Some(width);
    m.elongation = Some(1.0 + length / width * 0.5);
    m.sky.level_pct = 10.4 + twilight + 3.2 * cloud + 3.0 * dew * dew + 0.1 * wobble(place, 3.0);
    m.sky.centre_pct = m.sky.level_pct;
    m.noise_pct = Some(0.35 * (m.sky.level_pct / 10.4).sqrt() + 0.003 * wobble(place, 4.0));
    let stars = (1840.0 - 300.0 * twilight / 9.0) * (1.0 - 0.45 * cloud) * (1.0 - 0.7 * dew);
    m.star_count = (stars + 25.0 * wobble(place, 5.0)) as u32;
    m.stars_used = m.star_count.min(400);
    m
}

/// `frames` frames of which the first `measured` are measured.
fn inputs(frames: usize, measured: usize) -> Vec<FrameInput> {
    (0..frames)
        .map(|place| FrameInput {
            shot: place,
            name: format!("OTW_{:04}.dng", place + 1),
            path: format!("/nights/otter-weir/OTW_{:04}.dng", place + 1).into(),
            facts: Some(facts(place)),
            state: if place == 240 && measured > 240 {
                FrameState::Failed("damaged: the file ends early".to_owned())
            } else if place < measured {
                FrameState::Measured(Arc::new(measure(place)))
            } else {
                FrameState::Pending
            },
        })
        .collect()
}

/// Everything derived from the first `measured` of `frames` frames.
pub(crate) fn derived(frames: usize, measured: usize, purpose: Purpose) -> Derived {
    let mut night: Night = night::assemble(&inputs(frames, measured), &NightOptions::default());
    for row in &mut night.rows {
        row.derived.expected_trail_px = Some(6.6);
    }
    let judged = verdict::judge(&night, purpose, &Thresholds::default());
    let comparisons = (0..night.sets.len())
        .map(|set| advice::compare(&night, set, &judged))
        .collect();
    let next_time = (0..night.sets.len())
        .map(|set| advice::next_time(&night, set, &judged, &AdviceOptions::default()))
        .collect();
    Derived {
        night: Arc::new(night),
        judged: Arc::new(judged),
        next_time: Arc::new(next_time),
        comparisons: Arc::new(comparisons),
    }
}
