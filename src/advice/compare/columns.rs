//! One column a setting, from the night's groups.

use super::types::{Column, EqualTime, Value, Varies};
use crate::base::robust::median_and_sigma;
use crate::measure::FrameMeasure;
use crate::night::{Group, Night, Set, StarLight, star_light};
use crate::sky::limits::{SKY_LIMITED_SHARE, sky_limited_s};
use crate::verdict::Judged;

/// More settings than this are not laid side by side: a night whose ISO or exposure follows the
/// dusk has one a frame.
pub(super) const MOST_COLUMNS: usize = 24;
/// Frames from which the spread of a value gives its error.
const LEAST_FRAMES: usize = 3;
/// Standard error of a median over that of a mean, for normal errors.
const MEDIAN_ERROR: f64 = 1.2533;
/// Exposures and apertures this near are the same setting.
const SAME: f64 = 0.01;

/// The columns of a set with the stars they share, and how many settings were left out.
pub(super) fn columns(night: &Night, set: &Set, judged: &Judged) -> (Vec<Column>, usize, usize) {
    let mut columns: Vec<Column> = (night.groups.iter().enumerate())
        .filter(|(_, group)| group.settings.camera == set.camera)
        .filter_map(|(index, group)| column(night, judged, index, group))
        .collect();
    columns.sort_by_key(|column| std::cmp::Reverse(column.rows.len()));
    let left_out = columns.len().saturating_sub(MOST_COLUMNS);
    columns.truncate(MOST_COLUMNS);
    columns.sort_by(|a, b| {
        let longer = |c: &Column| c.exposure_s.unwrap_or(0.0);
        let wider = |c: &Column| c.f_number.unwrap_or(0.0);
        (longer(b).total_cmp(&longer(a)))
            .then(wider(a).total_cmp(&wider(b)))
            .then(a.iso.cmp(&b.iso))
    });
    let stars = if columns.len() > 1 {
        let groups: Vec<usize> = columns.iter().map(|column| column.group).collect();
        let light = star_light(night, &groups);
        give_stars(&mut columns, &light);
        light.stars
    } else {
        0
    };
    stack_to_equal_time(&mut columns);
    (columns, stars, left_out)
}

fn column(night: &Night, judged: &Judged, index: usize, group: &Group) -> Option<Column> {
    let measured = |&&row: &&usize| night.rows.get(row).is_some_and(|r| r.measure.is_some());
    let used = |row: &usize| (judged.judgements.get(*row)).is_none_or(|j| j.verdict.is_used());
    let all: Vec<usize> = group.rows.iter().filter(measured).copied().collect();
    let rows: Vec<usize> = all.iter().filter(|row| used(row)).copied().collect();
    let rows = if rows.is_empty() { all } else { rows };
    if rows.is_empty() {
        return None;
    }
    let over_frames = |of: &dyn Fn(&FrameMeasure) -> Option<f64>| {
        let values = rows.iter().filter_map(|&row| {
            let measure = night.rows.get(row)?.measure.as_deref()?;
            of(measure)
        });
        middle(&values.collect::<Vec<f64>>())
    };
    let clipped = |m: &FrameMeasure| m.stars.iter().filter(|star| star.flags.clipped).count();
    let settings = &group.settings;
    let mut column = Column {
        group: index,
        iso: settings.iso,
        exposure_s: settings.exposure_s.filter(|s| *s > 0.0),
        f_number: settings.f_number,
        linear: group.linear,
        sky_level_pct: over_frames(&|m| Some(m.sky.level_pct)),
        noise_pct: over_frames(&|m| m.noise_pct),
        star_count: over_frames(&|m| Some(f64::from(m.star_count))),
        clipped_stars: over_frames(&|m| Some(clipped(m) as f64)),
        clipped_pct: over_frames(&|m| {
            let kept = m.stars.len();
            (kept > 0).then(|| 100.0 * clipped(m) as f64 / kept as f64)
        }),
        trail_length_px: over_frames(&|m| Some(m.trail?.length_px)),
        width_px: over_frames(&|m| m.fwhm_px),
        elongation: over_frames(&|m| m.elongation),
        rows: rows.clone(),
        ..Column::default()
    };
    give_electrons(&mut column, group);
    Some(column)
}

/// Median over frames with its standard error.
fn middle(values: &[f64]) -> Option<Value> {
    let (value, sigma) = median_and_sigma(values)?;
    let error = MEDIAN_ERROR * sigma / (values.len() as f64).sqrt();
    Some(Value {
        value,
        error: (values.len() >= LEAST_FRAMES).then_some(error),
    })
}

/// What the photon transfer of this camera at this ISO tells.
fn give_electrons(column: &mut Column, group: &Group) {
    let Some(transfer) = &group.transfer else {
        return;
    };
    column.gain_dn_per_e = transfer.gain_dn_per_e.map(Value::from);
    column.read_noise_e = transfer.read_noise_e.map(Value::from);
    let Some(full_e) = transfer.full_scale_e else {
        return;
    };
    let in_electrons = |pct: Value| {
        let value = pct.value / 100.0 * full_e.value;
        let own = pct.error.unwrap_or(0.0) / pct.value;
        Value {
            value,
            error: Some(value * own.hypot(full_e.relative())),
        }
    };
    column.noise_e = column.noise_pct.map(in_electrons);
    let sky = column.sky_level_pct.filter(|sky| sky.value > 0.0);
    let (Some(sky), Some(exposure)) = (sky, column.exposure_s) else {
        return;
    };
    let per_second = in_electrons(sky).times(1.0 / exposure);
    column.sky_e_per_s = Some(per_second);
    column.sky_limited_s = transfer.read_noise_e.map(|read| {
        let value = sky_limited_s(read.value, per_second.value, SKY_LIMITED_SHARE);
        let share = per_second.error.unwrap_or(0.0) / per_second.value;
        Value {
            value,
            error: Some(value * share.hypot(2.0 * read.relative())),
        }
    });
}

fn give_stars(columns: &mut [Column], light: &StarLight) {
    for (column, stars) in columns.iter_mut().zip(&light.groups) {
        column.star_snr = stars.as_ref().map(|stars| stars.snr.into());
    }
}

fn stack_to_equal_time(columns: &mut [Column]) {
    let exposures = columns.iter().filter_map(|column| column.exposure_s);
    let Some(longest) = exposures.reduce(f64::max) else {
        return;
    };
    for column in columns {
        let frames = column.exposure_s.map(|exposure| longest / exposure);
        column.equal_time = frames.zip(column.star_snr).map(|(frames, snr)| EqualTime {
            frames,
            snr: snr.times(frames.sqrt()),
        });
    }
}

/// Which settings differ.
pub(super) fn varies(columns: &[Column]) -> Varies {
    let differ = |of: fn(&Column) -> Option<f64>| {
        let mut pairs = columns.iter().zip(columns.iter().skip(1));
        pairs.any(|(a, b)| !is_same(of(a), of(b)))
    };
    Varies {
        iso: differ(|column| column.iso.map(f64::from)),
        exposure: differ(|column| column.exposure_s),
        aperture: differ(|column| column.f_number),
    }
}

/// Whether two settings are the same.
pub(super) fn is_same(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= SAME * a.abs().max(b.abs()),
        (None, None) => true,
        _ => false,
    }
}
