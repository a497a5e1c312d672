//! Focus, dew, wind, touch and twilight: rows that appear only with evidence from this night.

use super::facts::{End, Facts};
use super::types::SettingAdvice;
use crate::verdict::words::{frames, number, with_unit};
use crate::verdict::{Finding, Purpose, Reason, Verdict};

/// Fewer frames than this are no pattern.
const LEAST_RUN: usize = 3;

/// Rows on what happened to the camera.
pub(super) fn rows(facts: &Facts<'_>) -> Vec<SettingAdvice> {
    let mut rows = Vec::new();
    rows.extend(wider_stars(facts));
    rows.extend(touched(facts));
    rows.extend(moved(facts));
    rows.extend(glow(facts, End::First));
    rows.extend(glow(facts, End::Last));
    rows
}

fn row(setting: &'static str, tonight: String, next: String, why: String) -> SettingAdvice {
    SettingAdvice {
        setting,
        tonight,
        next,
        changed: true,
        why,
    }
}

fn wider_stars(facts: &Facts<'_>) -> Option<SettingAdvice> {
    let finding = facts
        .finding(Reason::Defocus)
        .find(|f| f.rows.len() >= LEAST_RUN)?;
    let first = *finding.rows.first()?;
    let from = facts.clock(first).map_or_else(
        || "part of the night".to_owned(),
        |clock| format!("from {clock}"),
    );
    let count = frames(finding.rows.len());
    Some(if facts.reaches(finding, End::Last) {
        row(
            "Lens warmer",
            "none known".to_owned(),
            "on from the start".to_owned(),
            format!(
                "{count} had wider stars {from} to the end, as dew makes them; without dew, check the \
                 focus again then"
            ),
        )
    } else {
        row(
            "Focus",
            "drifted".to_owned(),
            "check again each hour".to_owned(),
            format!("{count} had wider stars {from}"),
        )
    })
}

/// Furthest that trails were over the prediction in a finding, px.
fn most_excess(facts: &Facts<'_>, finding: &Finding) -> Option<f64> {
    finding
        .rows
        .iter()
        .filter_map(|&at| facts.night.rows.get(at)?.derived.excess_px)
        .reduce(f64::max)
}

/// Frames shaken at the start: the camera had just been touched.
fn touched(facts: &Facts<'_>) -> Option<SettingAdvice> {
    let finding = facts
        .finding(Reason::Trailed)
        .find(|f| facts.purpose != Purpose::Tracked && facts.reaches(f, End::First))?;
    let last = facts.night.rows.get(*finding.rows.last()?)?.time_s?;
    let first = facts.night.rows.get(*finding.rows.first()?)?.time_s?;
    let shaken = last - first + facts.set.interval_s.unwrap_or(0.0);
    let minutes = (shaken / 60.0).ceil().max(1.0);
    let excess = with_unit(most_excess(facts, finding)?, "px");
    Some(row(
        "After touching",
        "0 s".to_owned(),
        format!("wait {} min", number(minutes, 0)),
        format!(
            "{} at the start trailed up to {excess} longer than the sky made them",
            frames(finding.rows.len())
        ),
    ))
}

/// Shaken frames in the middle.
fn moved(facts: &Facts<'_>) -> Option<SettingAdvice> {
    let shaken: Vec<&Finding> = [Reason::Trailed, Reason::Knock]
        .into_iter()
        .flat_map(|reason| facts.finding(reason))
        .filter(|f| f.verdict != Verdict::Keep && !facts.reaches(f, End::First))
        .collect();
    let count: usize = shaken.iter().map(|f| f.rows.len()).sum();
    (count > 0).then_some(())?;
    if facts.purpose == Purpose::Tracked {
        // One gust is no fault of the mount.
        return (count >= LEAST_RUN).then(|| {
            row(
                "Mount",
                "as it was".to_owned(),
                "check balance and drift".to_owned(),
                format!("{} with stars that are not round", frames(count)),
            )
        });
    }
    let excess = shaken
        .iter()
        .filter_map(|f| most_excess(facts, f))
        .filter(|px| *px > 0.0)
        .reduce(f64::max);
    let excess = excess.map_or_else(String::new, |px| {
        format!(", by up to {}", with_unit(px, "px"))
    });
    Some(row(
        "Tripod",
        "as it was".to_owned(),
        "low, weighted, untouched".to_owned(),
        format!("the camera moved in {}{excess}", frames(count)),
    ))
}

/// A bright sky at an end: start later or stop earlier.
fn glow(facts: &Facts<'_>, end: End) -> Option<SettingAdvice> {
    let finding = facts.finding(Reason::Sky).find(|f| {
        f.rows.len() >= LEAST_RUN && f.verdict != Verdict::Keep && facts.reaches_near(f, end)
    })?;
    let (first, last) = (*finding.rows.first()?, *finding.rows.last()?);
    let count = frames(finding.rows.len());
    Some(match end {
        End::First => {
            let dark = facts.clock(last + 1).or_else(|| facts.clock(last))?;
            row(
                "Start",
                facts.clock(*facts.set.frames.first()?)?,
                dark.clone(),
                format!("the sky was bright until {dark}: {count}"),
            )
        }
        End::Last => {
            let bright = facts.clock(first)?;
            row(
                "End",
                facts.clock(*facts.set.frames.last()?)?,
                bright.clone(),
                format!("the sky was bright from {bright}: {count}"),
            )
        }
    })
}
