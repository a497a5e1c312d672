//! What comes of the advice once the person's decisions are laid over it: verdicts, counts, and
//! the one sentence that answers "which frames do I leave out?".

use super::cost::{DropCost, drop_cost};
use super::types::{Decisions, Judged, Purpose, Tally, Verdict};
use super::words::frame_ranges;
use crate::night::Night;

/// The answer at the top of everything.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Answer {
    /// "Leave out 1–4 and 312–360: only the ends, so no gaps."
    pub sentence: String,
    /// "307 used = 225 kept + 82 doubtful".
    pub joins: String,
}

/// Counts the judged frames of `set` by the verdict in force. Frames that are not measured yet
/// count as pending unless the person decided on them.
#[must_use]
pub fn tally(night: &Night, set: usize, judged: &Judged, decisions: &Decisions) -> Tally {
    let verdicts = judged.in_force(night, decisions);
    let mut tally = Tally::default();
    for &at in night.sets.get(set).map_or(&[][..], |s| &s.frames) {
        let (Some(row), Some(&verdict)) = (night.rows.get(at), verdicts.get(at)) else {
            continue;
        };
        let decided = decisions.contains_key(&row.shot);
        let pending = row.measure.is_none() && row.error.is_none();
        tally.count(verdict, pending, decided);
    }
    tally
}

/// The answer for `set`: which frames to leave out, what that costs, and how the counts join.
#[must_use]
pub fn answer(night: &Night, set: usize, judged: &Judged, decisions: &Decisions) -> Answer {
    let tally = tally(night, set, judged, decisions);
    let frames = night.sets.get(set).map_or(&[][..], |s| &s.frames);
    let joins = if tally.doubtful == 0 {
        format!("{} used", tally.used())
    } else {
        let (used, keep, doubtful) = (tally.used(), tally.keep, tally.doubtful);
        format!("{used} used = {keep} kept + {doubtful} doubtful")
    };
    let so_far = if tally.pending > 0 { " so far" } else { "" };
    if frames.is_empty() {
        let sentence = "No frames of the sky here.".to_owned();
        return Answer { sentence, joins };
    }
    if tally.pending == frames.len() {
        let sentence = "Nothing is measured yet.".to_owned();
        return Answer { sentence, joins };
    }
    let verdicts = judged.in_force(night, decisions);
    let rejected: Vec<usize> = frames
        .iter()
        .copied()
        .filter(|&at| verdicts.get(at) == Some(&Verdict::Reject))
        .collect();
    let numbers = |rows: &[usize]| -> Vec<usize> {
        let place = |row: &usize| frames.iter().position(|at| at == row).map(|n| n + 1);
        rows.iter().filter_map(place).collect()
    };
    let leave_out = frame_ranges(&numbers(&rejected));
    let sentence = if judged.purpose == Purpose::Still {
        best_of(frames, judged, &verdicts, so_far)
    } else if rejected.is_empty() {
        format!("Nothing to leave out{so_far}.")
    } else if rejected.len() == frames.len() {
        format!("Every frame is rejected{so_far}: nothing is left to use.")
    } else {
        let mut before = verdicts.clone();
        for &row in &rejected {
            if let Some(slot) = before.get_mut(row) {
                *slot = Verdict::Keep;
            }
        }
        let cost = drop_cost(night, set, &before, &rejected);
        let ending = cost_in_short(judged.purpose, &cost, frames.len());
        format!("Leave out {leave_out}{so_far}: {ending}.")
    };
    Answer { sentence, joins }
}

/// For a film: the longest run of frames of `set` that are kept without a doubt, as their numbers from
/// 1, first and last; the earliest of equals. `None` where none is kept.
#[must_use]
pub fn longest_clean_run(
    night: &Night,
    set: usize,
    judged: &Judged,
    decisions: &Decisions,
) -> Option<(usize, usize)> {
    let verdicts = judged.in_force(night, decisions);
    let frames = night.sets.get(set).map_or(&[][..], |s| &s.frames);
    let numbered: Vec<(usize, bool)> = (1..)
        .zip(frames)
        .map(|(n, &row)| (n, verdicts.get(row) == Some(&Verdict::Keep)))
        .collect();
    let runs = numbered.chunk_by(|a, b| a.1 == b.1);
    let clean = runs.filter(|run| run.first().is_some_and(|(_, kept)| *kept));
    let longest = clean.reduce(|best, run| if run.len() > best.len() { run } else { best })?;
    Some((longest.first()?.0, longest.last()?.0))
}

fn cost_in_short(purpose: Purpose, cost: &DropCost, total: usize) -> String {
    if cost.only_ends {
        return match purpose {
            Purpose::Timelapse => "only the ends, so no jumps".to_owned(),
            Purpose::Tracked | Purpose::Still => share_of(cost.lost, total),
            Purpose::Trails => "only the ends, so no gaps".to_owned(),
        };
    }
    match purpose {
        Purpose::Trails => cost
            .gap_words()
            .unwrap_or_else(|| "gaps in every trail".to_owned()),
        Purpose::Timelapse => "the film jumps there".to_owned(),
        Purpose::Tracked | Purpose::Still => share_of(cost.lost, total),
    }
}

fn share_of(lost: usize, total: usize) -> String {
    let share = 100.0 * lost as f64 / total.max(1) as f64;
    format!("{share:.0} % of the frames")
}

/// "Best of 12: frame 7, then 12 and 3."
fn best_of(frames: &[usize], judged: &Judged, verdicts: &[Verdict], so_far: &str) -> String {
    let mut ranked: Vec<(u32, usize)> = frames
        .iter()
        .enumerate()
        .filter(|&(_, &row)| verdicts.get(row).is_some_and(|v| v.is_used()))
        .filter_map(|(at, &row)| Some((judged.judgements.get(row)?.rank?, at + 1)))
        .collect();
    ranked.sort_unstable();
    let total = frames.len();
    let places: Vec<String> = ranked.iter().take(3).map(|(_, n)| n.to_string()).collect();
    match places.as_slice() {
        [] => format!("No frame can be ranked{so_far}."),
        [best] => format!("Best of {total}{so_far}: frame {best}."),
        [best, rest @ ..] => {
            format!(
                "Best of {total}{so_far}: frame {best}, then {}.",
                rest.join(" and ")
            )
        }
    }
}
