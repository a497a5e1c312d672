//! Findings in words: title, evidence with numbers, offers with their costs.

use std::fmt::Write as _;

use super::cost::largest_rate_px_s;
use super::findings::{Cluster, Told};
use super::offers::{cost_of, offers};
use super::read::{LASTING_JUMP, PREDICTED_TRAIL};
use super::types::{Evidence, Finding, Purpose, Reason, Verdict};
use super::words::{figure, frame_ranges_in_short, frames, number, plural, with_unit};

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

/// What is said of a cluster whose signs together look like a known cause.
fn looks_like(told: &Told<'_>, cluster: &Cluster) -> Option<&'static str> {
    let has = |reason| cluster.reason == reason || cluster.also.contains(&reason);
    let brighter = side(told, cluster, Reason::Sky) == Some(Side::Above);
    let long = cluster.frames.len() >= 3;
    let at_end = cluster
        .frames
        .contains(&told.set.frames.len().saturating_sub(1));
    if has(Reason::Defocus) && has(Reason::FewStars) && long && at_end {
        Some("Wider and fewer stars to the end, as dew on the lens or a drifting focus would make.")
    } else if has(Reason::FewStars) && brighter && !has(Reason::Defocus) && long {
        Some("Fewer stars and a brighter sky at once, as cloud would make.")
    } else {
        None
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Above,
    Below,
}

/// On which side of its baseline the worst evidence of `reason` lies.
fn side(told: &Told<'_>, cluster: &Cluster, reason: Reason) -> Option<Side> {
    let (_, e) = worst(told, cluster, reason)?;
    Some(if e.measured >= e.baseline {
        Side::Above
    } else {
        Side::Below
    })
}

/// The frame in which the evidence of `reason` is furthest past its threshold.
fn worst<'a>(
    told: &'a Told<'_>,
    cluster: &Cluster,
    reason: Reason,
) -> Option<(usize, &'a Evidence)> {
    let far = |e: &Evidence| {
        let room = (e.threshold - e.baseline).abs().max(1e-9);
        (e.measured - e.baseline).abs() / room
    };
    cluster
        .frames
        .iter()
        .filter_map(|&at| Some((at, told.evidence(at, reason)?)))
        .max_by(|a, b| {
            (a.1.weighs, far(a.1))
                .partial_cmp(&(b.1.weighs, far(b.1)))
                .unwrap_or(std::cmp::Ordering::Equal)
        })
}

fn title(told: &Told<'_>, cluster: &Cluster) -> String {
    let numbers: Vec<usize> = cluster.frames.iter().map(|at| at + 1).collect();
    let ranges = frame_ranges_in_short(&numbers, TITLE_RANGES);
    let words = match cluster.reason {
        Reason::Sky => match side(told, cluster, Reason::Sky) {
            Some(Side::Below) => "Darker sky",
            _ => "Brighter sky",
        },
        Reason::Trailed if told.purpose == Purpose::Tracked => "Stars not round",
        Reason::Trailed if side(told, cluster, Reason::Trailed) == Some(Side::Below) => {
            "Trails shorter than the sky made them"
        }
        Reason::Streak if numbers.len() > 1 => "Streaks",
        Reason::Gap => return format!("Frames missing before {ranges}"),
        reason => reason.info().title,
    };
    let in_frame = if numbers.len() == 1 { "frame " } else { "" };
    format!("{words}, {in_frame}{ranges}")
}

/// Short words over the chart.
pub(super) fn event_label(told: &Told<'_>, cluster: &Cluster, run: &[usize]) -> String {
    match cluster.reason {
        Reason::Sky => match side(told, cluster, Reason::Sky) {
            Some(Side::Below) => "darker sky".to_owned(),
            _ => "brighter sky".to_owned(),
        },
        Reason::Trailed if told.purpose == Purpose::Tracked => "not round".to_owned(),
        Reason::Trailed if side(told, cluster, Reason::Trailed) == Some(Side::Below) => {
            "shorter trails".to_owned()
        }
        Reason::Gap => {
            let missing = run.first().and_then(|&at| told.evidence(at, Reason::Gap));
            missing.map_or_else(
                || "gap".to_owned(),
                |e| format!("{} missing", e.measured as usize),
            )
        }
        reason => reason.info().label.to_owned(),
    }
}

fn evidence(told: &Told<'_>, cluster: &Cluster) -> String {
    // Mere notes are left out beside what weighs.
    let heavy = lead_weight(told, cluster) > Verdict::Keep;
    let told_too = |reason: &&Reason| {
        let weighs = worst(told, cluster, **reason).map(|(_, e)| e.weighs);
        !heavy || weighs > Some(Verdict::Keep)
    };
    let also = cluster.also.iter().filter(told_too);
    let mut sentences: Vec<String> = std::iter::once(&cluster.reason)
        .chain(also)
        .take(3)
        .filter_map(|&reason| sentence(told, cluster, reason))
        .collect();
    if let Some(cause) = looks_like(told, cluster) {
        sentences.push(cause.to_owned());
    }
    if told.night.pending > 0 {
        sentences.push("So far.".to_owned());
    }
    sentences.join(" ")
}

/// What the worst frame of the cluster shows for `reason`.
fn sentence(told: &Told<'_>, cluster: &Cluster, reason: Reason) -> Option<String> {
    let (at, e) = worst(told, cluster, reason)?;
    let frame = at + 1;
    let measured = with_unit(e.measured, e.unit);
    let baseline = with_unit(e.baseline, e.unit);
    let most = if cluster.frames.len() > 1 {
        "up to "
    } else {
        ""
    };
    let far = match (cluster.frames.len(), e.measured < e.baseline) {
        (1, _) => "",
        (_, true) => "down to ",
        (_, false) => "up to ",
    };
    let times = figure(e.measured / e.baseline.abs().max(1e-9));
    Some(match reason {
        Reason::Trailed if e.quantity == "elongation" => format!(
            "Stars in frame {frame} are {} times as long as wide; {} is usual tonight.",
            number(e.measured, 2),
            number(e.baseline, 2)
        ),
        Reason::Trailed if e.quantity == PREDICTED_TRAIL => format!(
            "Trails of {far}{measured} where the sky's turning makes {baseline} (frame {frame})."
        ),
        Reason::Trailed => {
            format!("Trails of {most}{measured} where {baseline} is usual (frame {frame}).")
        }
        Reason::Knock if e.quantity == LASTING_JUMP => format!(
            "The camera turned by {most}{measured} and stayed so (frame {frame}): every trail has a \
             kink there."
        ),
        Reason::Knock => format!(
            "It moved by {most}{measured} of a film 1920 px wide against the frames before and \
             after (frame {frame})."
        ),
        Reason::Defocus => format!(
            "Stars {most}{times} times as wide as in the night's sharp frames: {measured} against \
             {baseline} (frame {frame})."
        ),
        Reason::FewStars if e.unit == "mag" => format!(
            "Stars lost {most}{measured}, {} % of their light (frame {frame}).",
            number(100.0 * (1.0 - 10_f64.powf(-0.4 * e.measured)), 0)
        ),
        Reason::FewStars if e.quantity == "stars" => format!(
            "{} in frame {frame} where {} are usual.",
            plural(e.measured as usize, "star", "stars"),
            number(e.baseline, 0)
        ),
        Reason::FewStars => format!(
            "Down to {} % of the night's best star count (frame {frame}).",
            number(100.0 * e.measured, 0)
        ),
        Reason::Sky => format!(
            "Sky at {measured} of full scale, {times} times the {baseline} of {} (frame {frame}).",
            if e.quantity == "sky level" {
                "its neighbours"
            } else {
                "the night's darkest tenth"
            }
        ),
        Reason::Noise => {
            format!("Noise {measured} of full scale where {baseline} is usual (frame {frame}).")
        }
        Reason::OverExposed => {
            format!("{measured} of the samples are at full scale (frame {frame}).")
        }
        Reason::Streak => format!(
            "The longest crosses {} % of the diagonal (frame {frame}); an aircraft, a satellite or \
             a meteor draws such a line.",
            number(e.measured, 0)
        ),
        Reason::Gap => gap_sentence(told, cluster),
        Reason::SettingsChanged => {
            let unit = |value: f64| with_unit(value, e.unit);
            format!(
                "{} {} in frame {frame} where the night has {}.",
                capital(e.quantity),
                unit(e.measured),
                unit(e.baseline)
            )
        }
        Reason::DarkFrame => format!("Sky at {measured} of full scale: no light came in."),
        Reason::Unreadable => {
            let row = told.row(at).and_then(|row| told.night.rows.get(row));
            let why = row.and_then(|row| row.error.clone()).unwrap_or_default();
            let rows: Vec<usize> = (cluster.frames.iter())
                .filter_map(|&at| told.row(at))
                .collect();
            let gap = match told.purpose {
                Purpose::Trails => format!(": {}", cost_of(told, &rows)),
                _ => String::new(),
            };
            let counts = if rows.len() == 1 {
                "It counts as missing"
            } else {
                "They count as missing"
            };
            format!("Frame {frame}: {why}. {counts}{gap}.")
        }
    })
}

fn gap_sentence(told: &Told<'_>, cluster: &Cluster) -> String {
    let missing: f64 = cluster
        .frames
        .iter()
        .filter_map(|&at| told.evidence(at, Reason::Gap))
        .map(|e| e.measured)
        .sum();
    let widest = cluster
        .frames
        .iter()
        .filter_map(|&at| told.night.rows.get(told.row(at)?)?.derived.pause_before_s)
        .fold(0.0, f64::max);
    let missing = frames(missing as usize);
    let were = if missing == "1 frame" { "is" } else { "are" };
    let mut text = format!(
        "{missing} {were} missing: {} with no exposure",
        with_unit(widest, "s")
    );
    let main = told.set.main_group.and_then(|g| told.night.groups.get(g));
    if told.purpose == Purpose::Trails
        && let Some(rate) = main.and_then(|g| largest_rate_px_s(told.night, g))
    {
        let gap = number(rate * widest, 0);
        let _ = write!(text, ", a gap of up to {gap} px in every trail");
    }
    text.push('.');
    text
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// One piece of evidence as a sentence for the frame it was found in.
#[must_use]
pub fn explain(e: &Evidence) -> String {
    let title = e.reason.info().title;
    let measured = with_unit(e.measured, e.unit);
    let baseline = with_unit(e.baseline, e.unit);
    match e.reason {
        Reason::Unreadable => format!("{title}."),
        Reason::Gap => format!("{} missing before this one.", frames(e.measured as usize)),
        Reason::SettingsChanged => {
            format!("{title}: {} {measured}, {baseline} is usual.", e.quantity)
        }
        Reason::Streak => format!("{title}: {} % of the diagonal long.", number(e.measured, 0)),
        _ => {
            let word = match e.weighs {
                Verdict::Keep => "noted",
                Verdict::Doubtful => "doubtful",
                Verdict::Reject => "to reject",
            };
            let side = if e.threshold >= e.baseline {
                "above"
            } else {
                "below"
            };
            let past = with_unit(e.threshold, e.unit);
            format!(
                "{title}: {} {measured}, {baseline} expected; {word} {side} {past}.",
                e.quantity
            )
        }
    }
}
