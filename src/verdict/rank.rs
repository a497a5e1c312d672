//! The ranking of frames for a single picture.
//!
//! A frame is as good as a star of given light stands out in it: the light that came through, over
//! the noise of one sample and the square root of the star's area (width², times how long it is).
//! A streak or a clipped sky counts against it, and a doubtful frame comes after all that are not: a
//! knock may leave its stars narrow. In tone-mapped files noise is not comparable, so
//! the square root of the sky's level, to which the noise of the light is proportional, stands in.

use super::types::{Judged, Judgement};
use crate::night::{Night, Row, Set};

/// What one streak leaves of a frame's worth.
const WORTH_WITH_STREAK: f64 = 0.8;

/// Gives every measured frame of every set its place, 1 for the best.
pub(super) fn rank(night: &Night, judgements: &mut [Judgement]) {
    for set in &night.sets {
        for (place, at) in (1..).zip(best_first(night, set, judgements)) {
            if let Some(judgement) = judgements.get_mut(at) {
                judgement.rank = Some(place);
            }
        }
    }
}

/// The best frame of a set for a single picture, an index into the night's rows; `None` while none is
/// measured.
#[must_use]
pub fn best_row(night: &Night, set: &Set, judged: &Judged) -> Option<usize> {
    best_first(night, set, &judged.judgements).first().copied()
}

/// The used and measured frames of a set, best first.
fn best_first(night: &Night, set: &Set, judgements: &[Judgement]) -> Vec<usize> {
    let linear = set.main_group.and_then(|g| night.groups.get(g));
    let linear = linear.is_some_and(|group| group.linear);
    let verdict = |at: usize| judgements.get(at).map(|j| j.verdict).unwrap_or_default();
    let mut worth: Vec<(f64, usize)> = set
        .frames
        .iter()
        .filter_map(|&at| Some((worth(night, set, night.rows.get(at)?, linear)?, at)))
        .filter(|&(_, at)| verdict(at).is_used())
        .collect();
    // Frames without doubt first; equal frames keep the order of capture.
    worth.sort_by(|a, b| {
        let surer = verdict(a.1).cmp(&verdict(b.1));
        surer.then(b.0.total_cmp(&a.0)).then(a.1.cmp(&b.1))
    });
    worth.into_iter().map(|(_, at)| at).collect()
}

fn worth(night: &Night, set: &Set, row: &Row, linear: bool) -> Option<f64> {
    let measure = row.measure.as_deref()?;
    let width = measure.fwhm_px?;
    let elongation = measure.elongation.unwrap_or(1.0).max(1.0);
    let usual_stars = set
        .main_group
        .and_then(|g| night.groups.get(g)?.stars)
        .map_or(1.0, |s| s.high_tenth.max(1.0));
    let light = row
        .derived
        .transparency
        .unwrap_or_else(|| (f64::from(measure.star_count) / usual_stars).min(1.0));
    let noise = measure.noise_pct.filter(|_| linear);
    let noise = noise.unwrap_or_else(|| measure.sky.level_pct.max(0.0).sqrt());
    let streaks = if measure.streaks.is_empty() {
        1.0
    } else {
        WORTH_WITH_STREAK
    };
    let clean = (1.0 - measure.saturated_pct / 100.0).clamp(0.0, 1.0);
    let area = width * elongation.sqrt();
    Some(light * streaks * clean / (noise.max(1e-6) * area.max(1e-6)))
}
