//! What each frame is of: sky, dark, bias, flat or a framing shot.
//!
//! A kind is told from the frame's own numbers against the camera's starry frames; a starless frame
//! with the settings of the run stays sky, since clouds do that.

use super::groups::largest;
use super::types::{Kind, Night, Row, Settings};
use crate::base::robust;
use crate::measure::{FrameMeasure, SkyValues};

/// A frame with at most this many detections has no stars: hot pixels and noise peaks slip through.
const STARLESS: u32 = 3;
/// From this many stars on a frame surely shows the sky.
const STARRY: u32 = 20;
/// A capped frame is darker than this share of the sky at the same exposure: clouds over a dark
/// place dim the sky by half, not by six.
const CAPPED_SHARE: f64 = 0.15;
/// Percent of full scale below which a starless frame is capped when there is no sky to compare.
const CAPPED_PCT: f64 = 0.05;
/// Exposures below this share of the run's are of another purpose (bias, flat).
const SHORT_SHARE: f64 = 0.1;
/// The longest exposure of a bias frame, s.
const BIAS_S: f64 = 0.01;
/// A flat is at least this bright, percent.
const FLAT_PCT: f64 = 10.0;
/// Most frames of equal settings that may be framing shots…
const MOST_TESTS: usize = 3;
/// …and most groups of them: more is a ramp of settings, which belongs to the run.
const MOST_TEST_GROUPS: usize = 3;
/// The run has at least this many times the frames of a framing group.
const RUN_OVER_TESTS: usize = 4;

/// What a set's run looks like.
struct Run {
    /// Its group.
    group: usize,
    /// Median sky of its starry frames, percent; `None` when none is measured.
    sky_pct: Option<f64>,
}

/// Gives every measured row its kind.
pub(super) fn tell(night: &mut Night) {
    for set in 0..night.sets.len() {
        let Some(run) = find_run(night, set) else {
            // Nothing has settings: only an all-black frame can be told.
            for row in night.sets[set].rows.clone() {
                let measure = night.rows[row].measure.as_ref();
                night.rows[row].kind =
                    measure.map(|m| if is_black(m) { Kind::Dark } else { Kind::Sky });
            }
            continue;
        };
        let tests = test_groups(night, set, &run);
        let kinds: Vec<Option<Kind>> = night.sets[set]
            .rows
            .iter()
            .map(|&row| {
                let row = &night.rows[row];
                let measure = row.measure.as_ref()?;
                Some(kind(night, row, measure, &run, &tests))
            })
            .collect();
        for (row, kind) in night.sets[set].rows.clone().into_iter().zip(kinds) {
            night.rows[row].kind = kind;
        }
    }
}

/// The group with the most starry frames; while none is measured, with the most frames.
fn find_run(night: &Night, set: usize) -> Option<Run> {
    let mut frames = vec![0usize; night.groups.len()];
    let mut starry = vec![0usize; night.groups.len()];
    let is_starry = |row: &Row| row.measure.as_ref().is_some_and(|m| m.star_count >= STARRY);
    for &row in &night.sets[set].rows {
        let row = &night.rows[row];
        if let Some(group) = row.group {
            frames[group] += 1;
            starry[group] += usize::from(is_starry(row));
        }
    }
    let group = largest(&starry).or_else(|| largest(&frames))?;
    let mut levels: Vec<f64> = night.sets[set]
        .rows
        .iter()
        .map(|&row| &night.rows[row])
        .filter(|row| row.group == Some(group) && is_starry(row))
        .filter_map(|row| Some(row.measure.as_ref()?.sky.level_pct))
        .collect();
    Some(Run {
        group,
        sky_pct: robust::median(&mut levels),
    })
}

fn kind(night: &Night, row: &Row, measure: &FrameMeasure, run: &Run, tests: &[usize]) -> Kind {
    if is_black(measure) {
        return if is_bias_exposure(row, night, run) {
            Kind::Bias
        } else {
            Kind::Dark
        };
    }
    if measure.star_count <= STARLESS {
        if is_capped(row, measure, night, run) {
            return if is_bias_exposure(row, night, run) {
                Kind::Bias
            } else {
                Kind::Dark
            };
        }
        if run.sky_pct.is_some() && is_flat(row, measure, night, run) {
            return Kind::Flat;
        }
    }
    match row.group {
        Some(group) if tests.contains(&group) => Kind::Test,
        _ => Kind::Sky,
    }
}

/// Not one star and nothing above black.
fn is_black(measure: &FrameMeasure) -> bool {
    measure.star_count == 0 && measure.sky.level_pct <= 0.0 && measure.saturated_pct <= 0.0
}

/// Whether a starless frame is far darker than the sky at its exposure. Where the exposure is so
/// short that the sky itself would be black, the run's own level is the measure.
fn is_capped(row: &Row, measure: &FrameMeasure, night: &Night, run: &Run) -> bool {
    let level = measure.sky.level_pct;
    let Some(sky) = run.sky_pct else {
        return level < CAPPED_PCT;
    };
    let gathered = light_ratio(row, &night.groups[run.group].settings);
    let scale = if (0.2..=5.0).contains(&gathered) {
        gathered
    } else {
        1.0
    };
    level < CAPPED_SHARE * sky * scale
}

/// How bright the sky would be in this row against the run, t·S/N² over t·S/N²; 1 when unknown.
fn light_ratio(row: &Row, run: &Settings) -> f64 {
    let part = |mine: Option<f64>, its: Option<f64>| match (mine, its) {
        (Some(mine), Some(its)) if mine > 0.0 && its > 0.0 => mine / its,
        _ => 1.0,
    };
    let facts = &row.facts;
    part(facts.exposure_s, run.exposure_s) * part(facts.iso.map(f64::from), run.iso.map(f64::from))
        / part(facts.f_number, run.f_number).powi(2)
}

fn is_bias_exposure(row: &Row, night: &Night, run: &Run) -> bool {
    let Some(exposure) = row.facts.exposure_s else {
        return false;
    };
    let usual = night.groups[run.group].settings.exposure_s;
    exposure <= BIAS_S && usual.is_some_and(|usual| exposure < SHORT_SHARE * usual)
}

/// Bright, even and much shorter than the run. Twilight at a short exposure has a bright horizon;
/// an evenly lit field is the same on opposite sides of its centre whatever the lens darkens.
fn is_flat(row: &Row, measure: &FrameMeasure, night: &Night, run: &Run) -> bool {
    let usual = night.groups[run.group].settings.exposure_s;
    let is_short = match (row.facts.exposure_s, usual) {
        (Some(exposure), Some(usual)) => exposure < SHORT_SHARE * usual,
        _ => false,
    };
    is_short && measure.sky.level_pct >= FLAT_PCT && is_even(&measure.sky)
}

fn is_even(sky: &SkyValues) -> bool {
    let cells = &sky.cells_pct;
    if cells.len() < 4 {
        return false;
    }
    let opposite = cells.iter().zip(cells.iter().rev());
    let mut differences: Vec<f64> = opposite.map(|(a, b)| f64::from((a - b).abs())).collect();
    // The ninth tenth: a horizon or a lamp fills a part of the frame only.
    robust::quantile(&mut differences, 0.9).is_some_and(|most| most <= 0.1 * sky.level_pct)
}

/// Groups of a few frames at a far higher ISO or far shorter exposure than the run, begun before
/// the run ended: shots to frame and focus by.
fn test_groups(night: &Night, set: usize, run: &Run) -> Vec<usize> {
    let rows = &night.sets[set].rows;
    let in_group = |group: usize| {
        rows.iter()
            .filter(move |&&row| night.rows[row].group == Some(group))
    };
    let run_frames = in_group(run.group).count();
    let last_of_run = in_group(run.group).next_back().copied().unwrap_or(0);
    let usual = &night.groups[run.group].settings;
    let found: Vec<usize> = (0..night.groups.len())
        .filter(|&group| {
            let frames = in_group(group).count();
            let before_end = in_group(group)
                .next()
                .is_some_and(|&first| first < last_of_run);
            before_end
                && frames <= MOST_TESTS
                && frames * RUN_OVER_TESTS <= run_frames
                && is_marked(&night.groups[group].settings, usual)
        })
        .collect();
    if found.len() > MOST_TEST_GROUPS {
        Vec::new()
    } else {
        found
    }
}

fn is_marked(settings: &Settings, run: &Settings) -> bool {
    let higher_iso = match (settings.iso, run.iso) {
        (Some(iso), Some(usual)) => iso >= 2 * usual,
        _ => false,
    };
    let shorter = match (settings.exposure_s, run.exposure_s) {
        (Some(exposure), Some(usual)) => exposure <= 0.5 * usual,
        _ => false,
    };
    higher_iso || shorter
}
