//! Groups of equal settings.

use super::types::{Group, Kind, Night, Row, Settings};
use crate::frame::Light;

/// Exposures, apertures and focal lengths this near are the same setting (the steps of the trade
/// are 12 % or more; zooms and rationals jitter below this).
const SAME: f64 = 0.01;

/// Gives every readable row whose facts are known its group.
pub(super) fn assign(night: &mut Night) {
    for row in 0..night.rows.len() {
        let Some(settings) = settings(night, row) else {
            continue;
        };
        // From the newest back: neighbours mostly share their settings.
        let found = night
            .groups
            .iter()
            .rposition(|group| same(&group.settings, &settings));
        let group = found.unwrap_or_else(|| {
            night.groups.push(Group {
                settings,
                linear: true,
                ..Group::default()
            });
            night.groups.len() - 1
        });
        night.rows[row].group = Some(group);
    }
}

/// The settings of a row; `None` when it is unreadable or nothing is known of it yet.
fn settings(night: &Night, row: usize) -> Option<Settings> {
    let set = night.rows[row].set;
    let row = &night.rows[row];
    let size = size_px(row)?;
    if row.error.is_some() {
        return None;
    }
    let facts = &row.facts;
    Some(Settings {
        camera: night.sets[set].camera.clone(),
        lens: facts.lens.clone().unwrap_or_default(),
        exposure_s: facts.exposure_s,
        f_number: facts.f_number,
        iso: facts.iso,
        focal_length_mm: facts.focal_length_mm,
        pixel_um: facts.pixel_um,
        size_px: size,
    })
}

/// Frame size by the file's facts, or as measured.
pub(super) fn size_px(row: &Row) -> Option<(u32, u32)> {
    let facts = (row.facts.width_px, row.facts.height_px);
    if facts.0 > 0 && facts.1 > 0 {
        return Some(facts);
    }
    let measure = row.measure.as_ref()?;
    let side = |value: usize| u32::try_from(value).unwrap_or(u32::MAX);
    Some((side(measure.width_px), side(measure.height_px)))
}

fn same(a: &Settings, b: &Settings) -> bool {
    a.iso == b.iso
        && a.size_px == b.size_px
        && near(a.exposure_s, b.exposure_s)
        && near(a.f_number, b.f_number)
        && near(a.focal_length_mm, b.focal_length_mm)
        && near(a.pixel_um, b.pixel_um)
        && a.camera == b.camera
        && a.lens == b.lens
}

/// Whether two settings are the same to 1 %; unknown equals only unknown.
pub(super) fn near(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= SAME * a.abs().max(b.abs()),
        (None, None) => true,
        _ => false,
    }
}

/// Once kinds are told: the sky rows and darks of each group, and the judged rows and main group of
/// each set.
pub(super) fn fill(night: &mut Night) {
    for (index, row) in night.rows.iter().enumerate() {
        let Some(group) = row.group else { continue };
        if let Some(measure) = &row.measure {
            night.groups[group].linear &= measure.light == Light::Linear;
        }
        if row.kind == Some(Kind::Sky) {
            night.groups[group].rows.push(index);
        }
    }
    for group in &mut night.groups {
        let measured = group.rows.first();
        group.linear &= measured.is_some();
    }
    give_darks(night);
    for index in 0..night.sets.len() {
        let rows = &night.sets[index].rows;
        let frames = rows
            .iter()
            .copied()
            .filter(|&row| night.rows[row].is_judged())
            .collect();
        night.sets[index].frames = frames;
        night.sets[index].main_group = main_group(night, index);
    }
}

/// A dark serves every group of its camera with its exposure and ISO: with the cap on, lens and
/// aperture do not matter.
fn give_darks(night: &mut Night) {
    for (index, row) in night.rows.iter().enumerate() {
        if row.kind != Some(Kind::Dark) {
            continue;
        }
        let camera = &night.sets[row.set].camera;
        for group in &mut night.groups {
            let settings = &group.settings;
            if !group.rows.is_empty()
                && settings.camera == *camera
                && settings.iso == row.facts.iso
                && near(settings.exposure_s, row.facts.exposure_s)
            {
                group.darks.push(index);
            }
        }
    }
}

/// The group with the most judged frames (measured as sky or still to be measured), the earliest
/// of equals.
fn main_group(night: &Night, set: usize) -> Option<usize> {
    let mut counts = vec![0usize; night.groups.len()];
    for &row in &night.sets[set].frames {
        if let Some(group) = night.rows[row].group {
            counts[group] += 1;
        }
    }
    largest(&counts)
}

/// The place of the largest count, the first of equals; `None` when all are 0.
pub(super) fn largest(counts: &[usize]) -> Option<usize> {
    let most = counts.iter().copied().max().filter(|&most| most > 0)?;
    counts.iter().position(|&count| count == most)
}
