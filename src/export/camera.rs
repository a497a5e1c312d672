//! What the night tells of its cameras: gain, read noise, full scale and the parts of the sky's noise
//! of every setting, as text and as JSON.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::table::Table;
use super::text::line;
use crate::base::Estimate;
use crate::night::{Group, SkyNoise, Transfer};
use crate::verdict::words::{figure, number};

/// Adds a block with a line a setting of set `which`; nothing while nothing was measured, and nothing
/// for tone-mapped files, which cannot tell it.
pub(super) fn lines(text: &mut String, table: &Table<'_>, which: usize) {
    let groups: Vec<(&Group, &Transfer)> = groups(table, Some(which))
        .filter(|(group, _)| group.linear)
        .collect();
    if groups.is_empty() {
        return;
    }
    text.push_str("\nThis camera\n");
    let heads: Vec<String> = groups.iter().map(|(group, _)| head(group)).collect();
    let width = heads
        .iter()
        .map(|head| head.chars().count())
        .max()
        .unwrap_or(0);
    let mut said: Vec<&str> = Vec::new();
    for ((_, transfer), head) in groups.iter().zip(heads) {
        let gap = width - head.chars().count() + 2;
        let lead = format!("  {head}{}", " ".repeat(gap));
        line(text, &lead, &words(transfer));
        let indent = " ".repeat(lead.chars().count());
        if let Some(sky) = &transfer.sky {
            line(text, &indent, &sky_words(sky));
        }
        // What holds for all settings is said once.
        for remark in &transfer.remarks {
            if !said.contains(&remark.as_str()) {
                line(text, &indent, remark);
                said.push(remark);
            }
        }
    }
}

/// The settings that have a transfer, of one set or of all.
fn groups<'a>(
    table: &'a Table<'_>,
    which: Option<usize>,
) -> impl Iterator<Item = (&'a Group, &'a Transfer)> {
    let night = table.night;
    let is_shown = move |group: &Group| {
        let row = group.rows.first().and_then(|&row| night.rows.get(row));
        row.is_some_and(|row| which.is_none_or(|set| row.set == set))
    };
    let groups = night.groups.iter().filter(move |group| is_shown(group));
    groups.filter_map(|group| Some((group, group.transfer.as_ref()?)))
}

/// "ISO 1600, 30 s".
fn head(group: &Group) -> String {
    let iso = group.settings.iso.map(|iso| format!("ISO {iso}"));
    let exposure = group
        .settings
        .exposure_s
        .map(|s| format!("{} s", figure(s)));
    let parts: Vec<String> = [iso, exposure].into_iter().flatten().collect();
    if parts.is_empty() {
        "ISO not told".to_owned()
    } else {
        parts.join(", ")
    }
}

fn words(transfer: &Transfer) -> String {
    let with = |value: Option<Estimate>, unit: &str| {
        value.map(|value| format!("{} {unit}", with_error(value)))
    };
    let parts: Vec<String> = [
        with(transfer.gain_dn_per_e, "DN an electron"),
        with(transfer.read_noise_e, "e⁻ read noise"),
        with(transfer.full_scale_e, "e⁻ to full scale"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() {
        "gain and read noise are not known".to_owned()
    } else {
        parts.join(", ")
    }
}

/// A value to the second figure of its error: "4.233 ± 0.011".
fn with_error(estimate: Estimate) -> String {
    let places = if estimate.error > 0.0 {
        (1.0 - estimate.error.log10().floor()).clamp(0.0, 4.0) as usize
    } else {
        2
    };
    format!(
        "{} ± {}",
        number(estimate.value, places),
        number(estimate.error, places)
    )
}

fn sky_words(sky: &SkyNoise) -> String {
    let part = |name: &str, value: Option<f64>| value.map(|v| format!("{name} {}", number(v, 1)));
    let parts: Vec<String> = [
        part("light", Some(sky.shot_e)),
        part("reading", sky.read_e),
        part("fixed pattern", sky.fixed_e),
    ]
    .into_iter()
    .flatten()
    .collect();
    let mut words = format!(
        "sky of {} e⁻, noise of a pixel {} e⁻ ({})",
        figure(sky.level_e),
        number(sky.total_e, 1),
        parts.join(", ")
    );
    for (name, band) in [
        ("rows", sky.row_banding_e),
        ("columns", sky.column_banding_e),
    ] {
        if let Some(band) = band {
            let _ = write!(words, "; whole {name} waver by {} e⁻", figure(band));
        }
    }
    words
}

/// One object a setting, with null where a value cannot be told.
pub(super) fn values(table: &Table<'_>) -> Vec<Value> {
    let estimate = |of: Option<Estimate>| {
        of.map(|of| json!({ "value": of.value, "standard_error": of.error }))
    };
    groups(table, None)
        .map(|(group, transfer)| {
            let sky = transfer.sky.map(|sky| {
                json!({
                    "level_e": sky.level_e,
                    "noise_e": sky.total_e,
                    "shot_noise_e": sky.shot_e,
                    "read_noise_e": sky.read_e,
                    "fixed_pattern_e": sky.fixed_e,
                    "row_banding_e": sky.row_banding_e,
                    "column_banding_e": sky.column_banding_e,
                })
            });
            json!({
                "camera": group.settings.camera.camera,
                "iso": group.settings.iso,
                "exposure_s": group.settings.exposure_s,
                "f_number": group.settings.f_number,
                "gain_dn_per_e": estimate(transfer.gain_dn_per_e),
                "read_noise_e": estimate(transfer.read_noise_e),
                "full_scale_e": estimate(transfer.full_scale_e),
                "pairs": transfer.pairs,
                "darks": transfer.darks,
                "sky": sky,
                "remarks": transfer.remarks,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::night::{Night, Row};
    use crate::verdict::{Decisions, Purpose, Thresholds, judge};

    fn night() -> Night {
        let known = |value: f64, error: f64| Some(Estimate { value, error });
        let mut group = Group {
            rows: vec![0],
            linear: true,
            transfer: Some(Transfer {
                gain_dn_per_e: known(4.2334, 0.0106),
                read_noise_e: known(1.479, 0.0039),
                full_scale_e: known(3748.9, 9.4),
                sky: Some(SkyNoise {
                    level_e: 240.4,
                    total_e: 15.58,
                    shot_e: 15.5,
                    read_e: Some(1.48),
                    fixed_e: None,
                    row_banding_e: Some(0.62),
                    column_banding_e: None,
                }),
                pairs: 5,
                darks: 2,
                remarks: vec!["Something to know.".to_owned()],
            }),
            ..Group::default()
        };
        group.settings.iso = Some(1600);
        group.settings.exposure_s = Some(30.0);
        let inputs = [crate::night::FrameInput {
            shot: 0,
            name: "a.dng".to_owned(),
            path: "a.dng".into(),
            facts: None,
            state: crate::night::FrameState::Pending,
        }];
        let mut night = crate::night::assemble(&inputs, &crate::night::NightOptions::default());
        assert!(matches!(night.rows.as_slice(), [Row { set: 0, .. }]));
        night.groups = vec![group.clone(), group];
        night
    }

    #[test]
    fn values_stand_with_their_errors_and_remarks_once() {
        let night = night();
        let judged = judge(&night, Purpose::Trails, &Thresholds::default());
        let decisions = Decisions::new();
        let table = Table::new(&night, &judged, &decisions);
        let mut text = String::new();
        lines(&mut text, &table, 0);
        let wanted = "\nThis camera
  ISO 1600, 30 s  4.233 ± 0.011 DN an electron, 1.4790 ± 0.0039 e⁻ read noise, 3748.9 ± 9.4 e⁻ to
                  full scale
                  sky of 240 e⁻, noise of a pixel 15.6 e⁻ (light 15.5, reading 1.5); whole rows
                  waver by 0.62 e⁻
                  Something to know.\n";
        assert!(text.starts_with(wanted), "{text}");
        assert_eq!(text.matches("Something to know").count(), 1);
        let values = values(&table);
        assert_eq!(values.len(), 2);
        assert_eq!(values[0]["gain_dn_per_e"]["standard_error"], 0.0106);
        assert_eq!(values[0]["sky"]["fixed_pattern_e"], Value::Null);
    }
}
