//! Focus, dew, wind, touch and twilight: rows that appear only with evidence from this night.

use std::collections::BTreeSet;

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
        detail: String::new(),
    }
}

fn wider_stars(facts: &Facts<'_>) -> Option<SettingAdvice> {
    // Where light was lost as well and no cause is known, that leads the finding.
    let causes = [
        Reason::Dew,
        Reason::FocusDrift,
        Reason::Defocus,
        Reason::FewStars,
    ];
    let mut findings = causes.into_iter().flat_map(|reason| facts.finding(reason));
    let wide = |f: &&Finding| {
        let rows = f
            .rows
            .iter()
            .filter(|&&at| facts.tells_of(at, Reason::Defocus));
        rows.count() >= LEAST_RUN
    };
    let finding = findings.find(wide)?;
    let first = *finding.rows.first()?;
    let from = facts.clock(first).map_or_else(
        || "part of the night".to_owned(),
        |clock| format!("from {clock}"),
    );
    let count = frames(finding.rows.len());
    let rows = finding.rows.iter();
    let fainter = rows.filter(|&&at| facts.tells_of(at, Reason::FewStars));
    let how = if 2 * fainter.count() > finding.rows.len() {
        "wider, fainter"
    } else {
        "wider"
    };
    let why = format!("{count} had {how} stars {from}");
    let moist = finding.reason == Reason::Dew;
    let unnamed = matches!(finding.reason, Reason::Defocus | Reason::FewStars);
    Some(if moist || (unnamed && facts.reaches(finding, End::Last)) {
        SettingAdvice {
            detail: if moist {
                "Stars swelled and faded together, as moisture on the lens makes them."
            } else {
                "Wider to the end, as dew makes them; without dew, check the focus again then."
            }
            .to_owned(),
            ..row(
                "Lens warmer",
                "not told".to_owned(),
                warmer_from(facts, first),
                why,
            )
        }
    } else if finding.reason == Reason::Defocus {
        row("Focus", "moved".to_owned(), "tape the ring".to_owned(), why)
    } else {
        row(
            "Focus",
            "drifted".to_owned(),
            "check hourly".to_owned(),
            why,
        )
    })
}

/// A lens is warmed before it is wet: from half an hour before the first signs, or from the start.
fn warmer_from(facts: &Facts<'_>, first: usize) -> String {
    const BEFORE_S: f64 = 1800.0;
    let time = |row: Option<usize>| facts.night.rows.get(row?)?.time_s;
    let begun = time(facts.set.frames.first().copied());
    let late = time(Some(first))
        .zip(begun)
        .filter(|(dew, begun)| dew - begun > 2.0 * BEFORE_S);
    let clock = late.and_then(|(dew, _)| facts.clock_at(dew - BEFORE_S));
    clock.map_or_else(
        || "from the start".to_owned(),
        |clock| format!("from {clock}"),
    )
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
    let shaken = facts
        .finding(Reason::Settling)
        .chain(facts.finding(Reason::Trailed));
    let finding = shaken
        .into_iter()
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
            "{} trailed up to {excess} too long",
            frames(finding.rows.len())
        ),
    ))
}

/// Shaken frames in the middle, and knocks wherever they were.
fn moved(facts: &Facts<'_>) -> Option<SettingAdvice> {
    let knocks = facts.finding(Reason::Knock);
    let shaken = facts
        .finding(Reason::Trailed)
        .chain(facts.finding(Reason::Wind))
        .filter(|f| f.verdict != Verdict::Keep && !facts.reaches(f, End::First));
    let rows: BTreeSet<usize> = knocks.chain(shaken).flat_map(|f| f.rows.clone()).collect();
    (!rows.is_empty()).then_some(())?;
    let count = frames(rows.len());
    if facts.purpose == Purpose::Tracked {
        // One gust is no fault of the mount.
        return (rows.len() >= LEAST_RUN).then(|| {
            row(
                "Mount",
                "as it was".to_owned(),
                "check drift".to_owned(),
                format!("{count} with stars that are not round"),
            )
        });
    }
    let most = rows
        .iter()
        .filter_map(|&at| facts.moved_px(at))
        .reduce(f64::max)
        .filter(|px| *px > 0.0);
    let up_to = if rows.len() > 1 { "up to " } else { "" };
    let most = most.map_or_else(String::new, |px| {
        format!(", by {up_to}{}", with_unit(px, "px"))
    });
    Some(SettingAdvice {
        detail: "Low, weighted and untouched it stands best; hang no bag that swings.".to_owned(),
        ..row(
            "Tripod",
            "as it was".to_owned(),
            "low, weighted".to_owned(),
            format!("the camera moved in {count}{most}"),
        )
    })
}

/// A bright sky at an end: start later or stop earlier.
fn glow(facts: &Facts<'_>, end: End) -> Option<SettingAdvice> {
    let finding = facts.findings.iter().find(|f| {
        f.reason.is_about_the_sky()
            && f.rows.len() >= LEAST_RUN
            && f.verdict != Verdict::Keep
            && facts.reaches_near(f, end)
    })?;
    let lit_by = match finding.reason {
        Reason::Twilight => "twilight: ",
        Reason::Moonlight => "moonlight: ",
        _ => "",
    };
    let (first, last) = (*finding.rows.first()?, *finding.rows.last()?);
    let count = frames(finding.rows.len());
    Some(match end {
        End::First => {
            let dark = facts.clock(last + 1).or_else(|| facts.clock(last))?;
            row(
                "Start",
                facts.clock(*facts.set.frames.first()?)?,
                dark.clone(),
                format!("{lit_by}the sky was bright until {dark}: {count}"),
            )
        }
        End::Last => {
            let bright = facts.clock(first)?;
            row(
                "End",
                facts.clock(*facts.set.frames.last()?)?,
                bright.clone(),
                format!("{lit_by}the sky was bright from {bright}: {count}"),
            )
        }
    })
}
