//! The answer in words: what to leave out, and what it costs.

use crate::advice::Outcome;
use crate::verdict::{Purpose, Verdict};

use super::open_night::OpenNight;

/// Most runs of frames that are named one by one.
const MOST_RUNS: usize = 4;

/// The runs of places in `places`, which rise: first and last of each.
#[must_use]
pub fn runs(places: impl IntoIterator<Item = usize>) -> Vec<(usize, usize)> {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for place in places {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == place => *last = place,
            _ => runs.push((place, place)),
        }
    }
    runs
}

/// Runs as frame numbers ("1–4 and 312–360"); beyond four, the first ones and how many more
/// frames.
#[must_use]
pub fn numbers_of(runs: &[(usize, usize)]) -> String {
    let mut words: Vec<String> = (runs.iter().take(MOST_RUNS))
        .map(|&(first, last)| {
            if first == last {
                format!("{}", first + 1)
            } else {
                format!("{}–{}", first + 1, last + 1)
            }
        })
        .collect();
    let more: usize = runs.iter().skip(MOST_RUNS).map(|(a, b)| b - a + 1).sum();
    if more > 0 {
        words.push(format!("{more} more"));
    }
    match words.split_last() {
        None => String::new(),
        Some((one, [])) => one.clone(),
        Some((last, before)) => format!("{} and {last}", before.join(", ")),
    }
}

impl OpenNight {
    /// One sentence: which frames to leave out, or which are best.
    #[must_use]
    pub fn answer_sentence(&self, purpose: Purpose) -> String {
        let frames = self.frames();
        let tally = self.tally();
        if tally.pending == frames.len() {
            return "Nothing is measured yet.".to_owned();
        }
        let so_far = if tally.pending > 0 { " so far" } else { "" };
        if purpose == Purpose::Still {
            if let Some(best) = self.best_frames() {
                return format!("The best{so_far}: {best}.");
            }
        }
        let rejected = (frames.iter().enumerate())
            .filter(|&(_, &row)| self.verdict_of(row) == Verdict::Reject)
            .filter(|&(_, &row)| !self.is_pending(row) || self.is_set_by_you(row))
            .map(|(place, _)| place);
        let runs = runs(rejected);
        if runs.is_empty() {
            return format!("Nothing to leave out{so_far}.");
        }
        let at_ends = (runs.iter()).all(|&(a, b)| a == 0 || b + 1 == frames.len());
        let cost = match purpose {
            Purpose::Trails | Purpose::Timelapse if at_ends && tally.pending > 0 => "",
            Purpose::Trails if at_ends => ": only the ends, so no gaps",
            Purpose::Timelapse if at_ends => ": only the ends, so no jumps",
            Purpose::Trails => ": each run inside the night leaves a gap in every trail",
            Purpose::Timelapse => ": each run inside the night leaves a jump",
            Purpose::Still | Purpose::Tracked => "",
        };
        format!("Leave out {}{cost}{so_far}.", numbers_of(&runs))
    }

    /// How the used frames come together ("307 used = 225 kept + 82 doubtful").
    #[must_use]
    pub fn answer_sum(&self) -> String {
        let tally = self.tally();
        let mut text = format!(
            "{} used = {} kept + {} doubtful",
            tally.used(),
            tally.keep,
            tally.doubtful
        );
        if tally.pending > 0 {
            text.push_str(&format!("; {} not measured yet", tally.pending));
        }
        text
    }

    fn best_frames(&self) -> Option<String> {
        let judgements = &self.judged().judgements;
        let mut ranked: Vec<(u32, usize)> = (self.frames().iter().enumerate())
            .filter_map(|(place, &row)| Some((judgements.get(row)?.rank?, place)))
            .collect();
        ranked.sort_unstable();
        let names: Vec<String> = (ranked.iter().take(3))
            .map(|(_, place)| format!("{}", place + 1))
            .collect();
        match names.split_last()? {
            (one, []) => Some(format!("frame {one}")),
            (last, before) => Some(format!("frames {} and {last}", before.join(", "))),
        }
    }

    /// What giving the chosen frames `Reject` would cost, in words.
    #[must_use]
    pub fn cost_of_rejecting(&self, places: &[usize], purpose: Purpose) -> String {
        let after = self.outcome_if(places, Verdict::Reject, purpose);
        let mut parts = Vec::new();
        let last = self.frames().len().saturating_sub(1);
        let runs = runs(places.iter().copied());
        let reaches_end = |&(a, b): &(usize, usize)| self.is_end(a, b, last);
        if purpose == Purpose::Trails {
            if runs.iter().all(reaches_end) {
                parts.push("no gap".to_owned());
            } else if let Some(gap) = after.widest_gap_px {
                parts.push(format!("a gap of up to {gap:.0} px in every trail"));
            }
            if let Some(lost) = arc_lost(&self.outcome, &after) {
                parts.push(format!("{lost:.1}° less arc"));
            }
        }
        if purpose == Purpose::Timelapse && !runs.iter().all(reaches_end) {
            parts.push("a jump".to_owned());
        }
        let joined = if parts.is_empty() {
            "Rejecting leaves".to_owned()
        } else {
            format!("Rejecting means {} and leaves", parts.join(", "))
        };
        format!("{joined} {} frames to use.", after.used)
    }

    /// Whether nothing used lies before `first`, or nothing after `last_of_run`.
    fn is_end(&self, first: usize, last_of_run: usize, last: usize) -> bool {
        let is_unused = |place: usize| {
            (self.frames().get(place)).is_none_or(|&row| !self.verdict_of(row).is_used())
        };
        (0..first).all(is_unused) || (last_of_run + 1..=last).all(is_unused)
    }
}

fn arc_lost(before: &Outcome, after: &Outcome) -> Option<f64> {
    let lost = before.arc_deg? - after.arc_deg?;
    (lost >= 0.05).then_some(lost)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_are_named_by_their_ends() {
        let found = runs([0, 1, 2, 3, 92, 200, 201]);
        assert_eq!(found, [(0, 3), (92, 92), (200, 201)]);
        assert_eq!(numbers_of(&found), "1–4, 93 and 201–202");
        assert_eq!(numbers_of(&runs([6])), "7");
        assert_eq!(numbers_of(&[]), "");
    }

    #[test]
    fn many_runs_are_not_all_named() {
        let found = runs((0..20).step_by(2));
        assert_eq!(numbers_of(&found), "1, 3, 5, 7 and 6 more");
    }
}
