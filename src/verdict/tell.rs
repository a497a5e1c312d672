//! Findings in words: title, the numbers that decide, and short words over the chart.
//!
//! All three are held to the room they have; what does not fit is told in `detail`.

use super::cost::largest_rate_px_s;
use super::detail::detail;
use super::explain::told_by;
use super::findings::{Cluster, Told};
use super::offers::{offers, trade_off};
use super::read::{DOUBLED_STARS, LASTING_JUMP, PREDICTED_TRAIL, SKY_NEAR};
use super::types::{Evidence, Finding, Purpose, Reason, Verdict};
use super::words::{figure, frame_ranges_in_short, frames, number, share_lost, with_unit};
use crate::night::Surety;

/// Ranges told in a title before "and N more".
const TITLE_RANGES: usize = 4;

pub(super) fn finding(told: &Told<'_>, cluster: &Cluster) -> Finding {
    let rows: Vec<usize> = cluster
        .frames
        .iter()
        .filter_map(|&at| told.row(at))
        .collect();
    let only_note = lead_weight(told, cluster) == Verdict::Keep;
    let verdict = if only_note {
        Verdict::Keep
    } else {
        let judged = cluster.frames.iter().filter_map(|&at| told.judgement(at));
        judged.map(|j| j.verdict).max().unwrap_or_default()
    };
    Finding {
        reason: cluster.reason,
        verdict,
        title: title(told, cluster),
        evidence: evidence(told, cluster),
        detail: detail(told, cluster),
        offers: offers(told, cluster, verdict),
        rows,
    }
}

fn lead_weight(told: &Told<'_>, cluster: &Cluster) -> Verdict {
    let all = std::iter::once(&cluster.reason).chain(&cluster.also);
    let weights = all.flat_map(|&reason| {
        let evidence = cluster.frames.iter();
        evidence.filter_map(move |&at| told.evidence(at, reason).map(|e| e.weighs))
    });
    weights.max().unwrap_or_default()
}

/// A reason of a cluster and what shows it.
pub(super) type Key = (Reason, Reason);

/// What is told of a cluster, the leading reason first: mere notes are left out beside what weighs.
pub(super) fn told_keys(told: &Told<'_>, cluster: &Cluster) -> Vec<Key> {
    let heavy = lead_weight(told, cluster) > Verdict::Keep;
    let reasons = std::iter::once(cluster.reason).chain(cluster.also.iter().copied());
    let mut keys: Vec<(Verdict, Key)> = Vec::new();
    for reason in reasons {
        let evidence = cluster.frames.iter().filter_map(|&at| told.judgement(at));
        let own = evidence
            .flat_map(|j| &j.evidence)
            .filter(|e| e.reason == reason);
        for e in own {
            let key = (reason, e.sign);
            match keys.iter_mut().find(|(_, other)| *other == key) {
                Some((weighs, _)) => *weighs = (*weighs).max(e.weighs),
                None => keys.push((e.weighs, key)),
            }
        }
    }
    // Light that the same stars lost says more than how many are left.
    keys.sort_by_key(|(weighs, (reason, _))| {
        (*reason != cluster.reason, std::cmp::Reverse(*weighs))
    });
    let told = keys.iter().enumerate();
    let told = told.filter(|(n, (weighs, _))| *n == 0 || !heavy || *weighs > Verdict::Keep);
    told.map(|(_, (_, key))| *key).take(3).collect()
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Above,
    Below,
}

/// On which side of its baseline the worst evidence of `reason` lies.
fn side(told: &Told<'_>, cluster: &Cluster, reason: Reason) -> Option<Side> {
    let (_, e) = worst(told, cluster, (reason, reason))?;
    Some(if e.measured >= e.baseline {
        Side::Above
    } else {
        Side::Below
    })
}

/// The frame in which the evidence of a reason is furthest past its threshold.
pub(super) fn worst<'a>(
    told: &'a Told<'_>,
    cluster: &Cluster,
    (reason, sign): Key,
) -> Option<(usize, &'a Evidence)> {
    let far = |e: &Evidence| {
        let room = (e.threshold - e.baseline).abs().max(1e-9);
        (e.measured - e.baseline).abs() / room
    };
    cluster
        .frames
        .iter()
        .filter_map(|&at| {
            let mut all = told.judgement(at)?.evidence.iter();
            Some((at, all.find(|e| (e.reason, e.sign) == (reason, sign))?))
        })
        .max_by(|a, b| {
            (a.1.weighs, far(a.1))
                .partial_cmp(&(b.1.weighs, far(b.1)))
                .unwrap_or(std::cmp::Ordering::Equal)
        })
}

fn title(told: &Told<'_>, cluster: &Cluster) -> String {
    let numbers: Vec<usize> = cluster.frames.iter().map(|at| at + 1).collect();
    let words = match cluster.reason {
        Reason::Sky => match side(told, cluster, Reason::Sky) {
            Some(Side::Below) => "Darker sky",
            _ => "Brighter sky",
        },
        Reason::Trailed if told.purpose == Purpose::Tracked => "Stars not round",
        Reason::Trailed if is_shorter(told, cluster) => "Shorter trails",
        Reason::FewStars if fades(told, cluster) => "Fainter stars",
        Reason::Streak if numbers.len() > 1 => "Streaks",
        Reason::Satellite if numbers.len() > 1 => "Satellites",
        Reason::Meteor if numbers.len() > 1 => "Meteors",
        Reason::Gap => "Frames missing before",
        Reason::Defocus if told.happening(cluster).is_some() => "Focus moved",
        Reason::Moonlight if is_moonrise(told, cluster) => "Moonrise",
        reason => reason.info().title,
    };
    let words = hedged(told, cluster, words);
    let joint = match (cluster.reason, numbers.len()) {
        (Reason::Gap, _) => " ",
        _ if is_new_pointing(told, cluster) => " before ",
        (_, 1) => ", frame ",
        _ => ", ",
    };
    let words = words.as_str();
    let with = |most| format!("{words}{joint}{}", frame_ranges_in_short(&numbers, most));
    let fits = |title: &String| title.chars().count() <= Finding::TITLE_LENGTH;
    let tried = [TITLE_RANGES, 3, 2].into_iter().map(with).find(fits);
    tried.unwrap_or_else(|| with(1))
}

/// A cause that is not sure says so: "Likely dew".
fn hedged(told: &Told<'_>, cluster: &Cluster, words: &str) -> String {
    let lower = || words.to_lowercase();
    match told.happening(cluster).map(|one| one.sure) {
        Some(Surety::Possible) => format!("Perhaps {}", lower()),
        Some(Surety::Likely) => format!("Likely {}", lower()),
        Some(Surety::Sure) | None => words.to_owned(),
    }
}

/// Whether it is the Moon's rising that is told, not its light.
fn is_moonrise(told: &Told<'_>, cluster: &Cluster) -> bool {
    told.happening(cluster).is_some() && lead_weight(told, cluster) == Verdict::Keep
}

/// The evidence of a cluster that shows its reason most.
pub(super) fn strongest(told: &Told<'_>, cluster: &Cluster) -> Option<Evidence> {
    let keys = told_keys(told, cluster);
    keys.first()
        .and_then(|&key| Some(*worst(told, cluster, key)?.1))
}

fn is_shorter(told: &Told<'_>, cluster: &Cluster) -> bool {
    side(told, cluster, Reason::Trailed) == Some(Side::Below)
}

/// Whether it is told by the light of the same stars, not by their number.
fn fades(told: &Told<'_>, cluster: &Cluster) -> bool {
    let key = (Reason::FewStars, Reason::FewStars);
    worst(told, cluster, key).is_some_and(|(_, e)| e.unit == "mag")
}

fn is_new_pointing(told: &Told<'_>, cluster: &Cluster) -> bool {
    let knock = worst(told, cluster, (Reason::Knock, Reason::Knock))
        .filter(|_| cluster.reason == Reason::Knock);
    knock.is_some_and(|(_, e)| e.quantity == LASTING_JUMP)
}

/// Short words over the chart.
pub(super) fn event_label(told: &Told<'_>, cluster: &Cluster, run: &[usize]) -> String {
    let label = match cluster.reason {
        Reason::Sky => match side(told, cluster, Reason::Sky) {
            Some(Side::Below) => "dark sky",
            _ => "bright sky",
        },
        Reason::Trailed if told.purpose == Purpose::Tracked => "not round",
        Reason::Trailed if is_shorter(told, cluster) => "shorter trails",
        Reason::Cloud if is_thin(told, cluster) => "thin cloud",
        Reason::Defocus if told.happening(cluster).is_some() => "focus moved",
        Reason::Moonlight if is_moonrise(told, cluster) => "moonrise",
        Reason::Gap => {
            let missing = run.first().and_then(|&at| told.evidence(at, Reason::Gap));
            return missing.map_or_else(
                || "gap".to_owned(),
                |e| format!("{} missing", e.measured as usize),
            );
        }
        reason => reason.info().label,
    };
    hedged(told, cluster, label)
        .replacen("Likely", "likely", 1)
        .replacen("Perhaps", "perhaps", 1)
}

/// Cloud past this takes half of the light, mag.
const THICK_MAG: f64 = 0.75;

fn is_thin(told: &Told<'_>, cluster: &Cluster) -> bool {
    let worst = worst(told, cluster, (Reason::Cloud, Reason::FewStars));
    worst.is_some_and(|(_, e)| e.unit == "mag" && e.measured < THICK_MAG)
}

/// The numbers that decide: as many clauses as fit, the weightiest first.
pub(super) fn evidence(told: &Told<'_>, cluster: &Cluster) -> String {
    let mut text = String::new();
    for key in told_keys(told, cluster) {
        let Some(clause) = clause(told, cluster, key, text.is_empty()) else {
            continue;
        };
        add(&mut text, "; ", &clause);
    }
    if !text.is_empty() {
        text.push('.');
    }
    if let Some(cost) = trade_off(told, cluster) {
        add(&mut text, " ", &cost);
    }
    if told.night.pending > 0 {
        add(&mut text, " ", "So far.");
    }
    text
}

/// Adds `more` where it fits.
fn add(text: &mut String, joint: &str, more: &str) {
    let joint = if text.is_empty() { "" } else { joint };
    let length = text.chars().count() + joint.len() + more.chars().count();
    if text.is_empty() || length < Finding::EVIDENCE_LENGTH {
        text.push_str(joint);
        text.push_str(more);
    }
}

/// What the worst frame of the cluster shows for `reason`; the first clause also says which one.
#[expect(clippy::too_many_lines, reason = "one arm a sign: a table of clauses")]
fn clause(told: &Told<'_>, cluster: &Cluster, key: Key, first: bool) -> Option<String> {
    let (at, e) = worst(told, cluster, key)?;
    let frame = at + 1;
    let several = cluster.frames.len() > 1;
    let which = if several && first {
        format!(" (frame {frame})")
    } else {
        String::new()
    };
    let far = match (several, e.measured < e.baseline) {
        (false, _) => "",
        (true, true) => "down to ",
        (true, false) => "up to ",
    };
    let measured = with_unit(e.measured, e.unit);
    let usual = figure(e.baseline);
    let words = match told_by(e) {
        Reason::Moonlight | Reason::DarkSubtraction | Reason::EarlyStop
            if e.quantity != SKY_NEAR || is_moonrise(told, cluster) =>
        {
            let by = told.happening(cluster).map(|one| one.evidence.clone())?;
            by.trim_end_matches('.').to_owned()
        }
        Reason::StrayLight => {
            format!("light on the ground {far}{measured}, {usual} without{which}")
        }
        Reason::Trailed if e.quantity == "elongation" => {
            let (long, usual) = (number(e.measured, 2), number(e.baseline, 2));
            format!("stars {far}{long} times as long as wide, {usual} is usual{which}")
        }
        Reason::Trailed if e.quantity == PREDICTED_TRAIL => {
            format!("trails {far}{measured}, the sky makes {usual}{which}")
        }
        Reason::Trailed => format!("trails {far}{measured}, {usual} is usual{which}"),
        Reason::Knock if e.quantity == LASTING_JUMP => {
            let bent = bent(told.purpose);
            format!("the camera moved {measured} between {at} and {frame}{bent}")
        }
        Reason::Knock if e.quantity == DOUBLED_STARS => match moved_for_good(told, at) {
            Some(by) => {
                let bent = bent(told.purpose);
                format!("stars doubled: the camera moved {by} during frame {frame}{bent}")
            }
            None => format!(
                "stars doubled, {measured} apart{which}: the camera moved while it was open"
            ),
        },
        Reason::Knock => format!("the film jumps {far}{measured}, seen 1920 px wide{which}"),
        Reason::Defocus => format!("stars {far}{measured} wide, {usual} when sharp{which}"),
        Reason::FewStars if e.unit == "mag" => {
            let lost = share_lost(e.measured);
            format!("stars lost {far}{lost} of their light{which}")
        }
        Reason::FewStars if e.unit.is_empty() && e.baseline <= 1.0 => {
            let share = number(100.0 * e.measured, 0);
            format!("{far}{share} % of the night's best star count{which}")
        }
        Reason::FewStars => {
            let (found, usual) = (number(e.measured, 0), number(e.baseline, 0));
            format!("{far}{found} stars, {usual} are usual{which}")
        }
        Reason::Sky if e.quantity == SKY_NEAR => {
            format!("sky {far}{measured} of full scale, {usual} before and after{which}")
        }
        Reason::Sky => format!("sky {far}{measured} of full scale, {usual} when darkest{which}"),
        Reason::Twilight => {
            let sun =
                down(told, at).map_or_else(String::new, |down| format!(", the Sun {down}° down"));
            format!("sky {far}{measured} of full scale, {usual} when darkest{sun}{which}")
        }
        Reason::Moonlight => {
            let lit = told.night.heavens.as_ref().map(|h| 100.0 * h.moon_lit);
            let lit = lit.map_or_else(String::new, |lit| {
                format!(", the Moon {} % lit", number(lit, 0))
            });
            format!("sky {far}{measured} of full scale, {usual} without{lit}{which}")
        }
        Reason::Noise => format!("noise {far}{measured} of full scale, {usual} is usual{which}"),
        Reason::OverExposed => format!("{far}{measured} of the frame at full scale{which}"),
        Reason::Streak => {
            let long = number(e.measured, 0);
            let what = if key.0 == Reason::Streak {
                ": an aircraft, a satellite or a meteor"
            } else {
                ""
            };
            format!("a line over {far}{long} % of the diagonal{which}{what}")
        }
        Reason::Gap => gap_clause(told, cluster),
        Reason::SettingsChanged => {
            let (quantity, usual) = (e.quantity, with_unit(e.baseline, e.unit));
            format!("{quantity} {measured}, the night has {usual}{which}")
        }
        Reason::DarkFrame => format!("sky at {measured} of full scale: no light came in"),
        Reason::Unreadable => {
            let row = told.row(at).and_then(|row| told.night.rows.get(row));
            let why = row
                .and_then(|row| row.error.as_deref())
                .unwrap_or("not read");
            let why = why.trim_end_matches('.');
            format!("{why}{which}; counts as missing")
        }
        other => other.info().label.to_owned(),
    };
    Some(if first { capital(&words) } else { words })
}

/// How far below the horizon the Sun was in a frame, "14".
pub(super) fn down(told: &Told<'_>, place: usize) -> Option<String> {
    let row = told.row(place).and_then(|row| told.night.rows.get(row))?;
    Some(number(-row.derived.sun_altitude_deg?, 0))
}

/// What a new pointing does to the result.
const fn bent(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Trails => ": a kink in every trail from there",
        Purpose::Timelapse => ": the film jumps there",
        Purpose::Still | Purpose::Tracked => "",
    }
}

/// How far the camera moved in a frame and stayed, "7.6 px".
fn moved_for_good(told: &Told<'_>, place: usize) -> Option<String> {
    let evidence = &told.judgement(place)?.evidence;
    let jump = evidence.iter().find(|e| e.quantity == LASTING_JUMP)?;
    Some(with_unit(jump.measured, jump.unit))
}

pub(super) fn gap_clause(told: &Told<'_>, cluster: &Cluster) -> String {
    let gaps = cluster.frames.iter();
    let gaps = gaps.filter_map(|&at| told.evidence(at, Reason::Gap));
    let missing: f64 = gaps.map(|e| e.measured).sum();
    let widest = cluster
        .frames
        .iter()
        .filter_map(|&at| told.night.rows.get(told.row(at)?)?.derived.pause_before_s)
        .fold(0.0, f64::max);
    let missing = frames(missing as usize);
    let (is, closed) = (
        if missing == "1 frame" { "is" } else { "are" },
        with_unit(widest, "s"),
    );
    let main = told.set.main_group.and_then(|g| told.night.groups.get(g));
    let rate = main.and_then(|g| largest_rate_px_s(told.night, g));
    match rate.filter(|_| told.purpose == Purpose::Trails) {
        Some(rate) => {
            let gap = number(rate * widest, 0);
            format!("{missing} {is} missing, {closed} shut: a gap of up to {gap} px in every trail")
        }
        None => format!("{missing} {is} missing, {closed} shut"),
    }
}

pub(super) fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}
