//! Rules to verdicts: which step of each rule a frame reaches, and what its place in the sequence
//! makes of that.
//!
//! A step that counts at the ends counts in a run of frames without a break from the first or the
//! last frame of the set. A run longer than half the set is not an end but the night itself, and
//! is told as doubtful.

use super::causes::{Causes, note};
use super::lights;
use super::read::{self, Context, Reading};
use super::reasons::News;
use super::rules::{Place, Rule, Step, Worse, rules};
use super::types::{Evidence, Judgement, Purpose, Reason, Thresholds, Verdict};
use crate::night::{Happening, Kind, Night, Row, Set};

/// Frames in a run that a film bridges.
const SHORT_RUN: usize = 2;

/// Judges every row.
pub(super) fn judgements(
    night: &Night,
    purpose: Purpose,
    thresholds: &Thresholds,
    happened: &[Happening],
) -> Vec<Judgement> {
    let mut all: Vec<Judgement> = night.rows.iter().map(|row| by_itself(night, row)).collect();
    let context = Context::new(night);
    let causes = Causes::of(happened, purpose);
    let rules = rules(purpose, thresholds);
    for set in &night.sets {
        let judged = judge_set(night, set, (&context, &causes), (purpose, &rules));
        for (&row, evidence) in set.frames.iter().zip(judged) {
            if let Some(judgement) = all.get_mut(row) {
                judgement.evidence.extend(evidence);
            }
        }
    }
    for (row, judgement) in all.iter_mut().enumerate() {
        add_notes(judgement, &causes, row);
        settle(judgement);
    }
    all
}

/// What happened in a frame and no rule spoke of.
fn add_notes(judgement: &mut Judgement, causes: &Causes<'_>, row: usize) {
    for one in causes.in_row(row) {
        let reason = Reason::of(one.cause);
        let told = judgement.evidence.iter().any(|e| e.reason == reason);
        if let Some(moment) = one.moment(row).filter(|_| !told) {
            let (sign, reading) = note(one, moment);
            let note = evidence((reason, sign), Verdict::Keep, reading, reading.baseline);
            judgement.evidence.push(note);
        }
    }
}

/// What needs no neighbours: frames that cannot be read or are not of the sky.
fn by_itself(night: &Night, row: &Row) -> Judgement {
    let reject = |reason, reading, threshold| Judgement {
        evidence: vec![evidence(
            (reason, reason),
            Verdict::Reject,
            reading,
            threshold,
        )],
        ..Judgement::default()
    };
    if row.error.is_some() {
        let reading = Reading {
            quantity: "files read",
            unit: "",
            measured: 0.0,
            baseline: 1.0,
            scatter: 0.0,
        };
        return reject(Reason::Unreadable, reading, 1.0);
    }
    match row.kind {
        None | Some(Kind::Sky) => Judgement::default(),
        Some(kind) => {
            let (reason, reading) = read::not_sky(night, row, kind);
            reject(reason, reading, reading.baseline)
        }
    }
}

const fn evidence(
    (reason, sign): (Reason, Reason),
    weighs: Verdict,
    reading: Reading,
    threshold: f64,
) -> Evidence {
    Evidence {
        reason,
        sign,
        weighs,
        quantity: reading.quantity,
        unit: reading.unit,
        measured: reading.measured,
        baseline: reading.baseline,
        threshold,
    }
}

/// Sorts evidence, weightiest first, drops what says the same twice, and takes the verdict.
fn settle(judgement: &mut Judgement) {
    let said = |e: &Evidence| (std::cmp::Reverse(e.weighs), e.reason.place());
    judgement.evidence.sort_by_key(said);
    let mut seen = Vec::new();
    judgement.evidence.retain(|e| {
        let key = (e.reason, e.quantity);
        let new = !seen.contains(&key);
        seen.push(key);
        new
    });
    let weights = judgement.evidence.iter().map(|e| e.weighs);
    judgement.verdict = weights.max().unwrap_or_default();
}

/// Whether a reason is good news for the purpose, which never weighs against a frame. A stack gains
/// nothing from light that comes and goes.
fn is_gift(reason: Reason, purpose: Purpose) -> bool {
    let good = reason.info().news == News::Good;
    good && (reason == Reason::Meteor || purpose != Purpose::Tracked)
}

/// One rule read in one frame.
struct Read {
    /// The rule's reason, or what is known to have caused it.
    reason: Reason,
    reading: Reading,
    /// Whether note, doubt and reject are reached, places aside, and past what.
    note: Option<f64>,
    doubt: Option<f64>,
    reject: Option<f64>,
}

fn reach(rule: &Rule, reading: &Reading, step: Option<Step>) -> Option<f64> {
    let past = step?.limit.past(reading, rule.worse);
    let reached = match rule.worse {
        Worse::Higher => reading.measured > past,
        Worse::Lower => reading.measured < past,
    };
    reached.then_some(past)
}

fn judge_set(
    night: &Night,
    set: &Set,
    (context, causes): (&Context<'_>, &Causes<'_>),
    (purpose, rules): (Purpose, &[Rule]),
) -> Vec<Vec<Evidence>> {
    // Frame by rule: what is read, and how far it reaches.
    let reads: Vec<Vec<Option<Read>>> = (set.frames.iter().enumerate())
        .map(|(place, &at)| {
            let row = night.rows.get(at).filter(|row| row.measure.is_some());
            let read = |rule: &Rule| {
                let reading = (rule.read)(context, row?)?;
                let by_sun_or_moon = || lights::cause(night, set, place, rule.reason, &reading);
                let known = causes.cause(at, rule.reason, &reading);
                let reason = known.unwrap_or_else(by_sun_or_moon);
                let is_the_nights = purpose == Purpose::Timelapse && reason.is_natural_light();
                let is_gift = is_gift(reason, purpose);
                let (doubt, reject) = (
                    reach(rule, &reading, rule.doubt),
                    reach(rule, &reading, rule.reject),
                );
                let gift = doubt.or(reject).filter(|_| is_gift);
                Some(Read {
                    reason,
                    reading,
                    note: reach(rule, &reading, rule.note).or(gift),
                    doubt: doubt.filter(|_| !is_gift),
                    reject: reject.filter(|_| !is_the_nights && !is_gift),
                })
            };
            rules.iter().map(read).collect()
        })
        .collect();

    let unreadable = |at: usize| {
        let row = set.frames.get(at).and_then(|&row| night.rows.get(row));
        row.is_some_and(|row| row.error.is_some())
    };
    let severe: Vec<bool> = reads
        .iter()
        .enumerate()
        .map(|(at, frame)| unreadable(at) || frame.iter().flatten().any(|r| r.reject.is_some()))
        .collect();
    let cut = end_runs(&severe);

    let mut out: Vec<Vec<Evidence>> = reads.iter().map(|_| Vec::new()).collect();
    for (which, rule) in rules.iter().enumerate() {
        let column = |of: fn(&Read) -> Option<f64>| -> Vec<bool> {
            let reached = |frame: &Vec<Option<Read>>| {
                let read = frame.get(which).and_then(Option::as_ref);
                read.and_then(of).is_some()
            };
            reads.iter().map(reached).collect()
        };
        let doubted = column(|r| r.doubt);
        let rejected = column(|r| r.reject);
        // Frames that are cut off anyway do not hide the end from those behind them.
        let doubt_run: Vec<bool> = doubted.iter().zip(&cut).map(|(&d, &c)| d || c).collect();
        let doubt_end = end_runs(&doubt_run);
        let short = short_runs(&rejected);
        for (at, frame) in reads.iter().enumerate() {
            let Some(read) = frame.get(which).and_then(Option::as_ref) else {
                continue;
            };
            let flag = |flags: &[bool]| flags.get(at).copied().unwrap_or(false);
            let stands = |step: Option<Step>, end: &[bool]| match step.map(|s| s.place) {
                None => false,
                Some(Place::Anywhere) => true,
                Some(Place::AtEnds) => flag(end),
                Some(Place::EndsOrShort) => flag(end) || flag(&short),
            };
            let reject = read.reject.filter(|_| stands(rule.reject, &cut));
            let doubt = read.doubt.filter(|_| stands(rule.doubt, &doubt_end));
            let step = reject
                .map(|past| (Verdict::Reject, past))
                // A severe fault in the middle is doubtful even where the rule has no such step.
                .or(doubt.or(read.reject).map(|past| (Verdict::Doubtful, past)))
                .or(read.note.map(|past| (Verdict::Keep, past)));
            if let (Some((weighs, past)), Some(list)) = (step, out.get_mut(at)) {
                list.push(evidence(
                    (read.reason, rule.reason),
                    weighs,
                    read.reading,
                    past,
                ));
            }
        }
    }
    out
}

/// The frames in a run of `true` from either end, unless such a run covers more than half of all.
fn end_runs(flags: &[bool]) -> Vec<bool> {
    let mut ends = vec![false; flags.len()];
    let head = flags.iter().take_while(|&&f| f).count();
    let tail = flags.iter().rev().take_while(|&&f| f).count();
    let half = flags.len() / 2;
    if head <= half {
        ends.iter_mut().take(head).for_each(|e| *e = true);
    }
    if tail <= half {
        ends.iter_mut().rev().take(tail).for_each(|e| *e = true);
    }
    ends
}

/// The frames in runs of `true` that a film bridges.
fn short_runs(flags: &[bool]) -> Vec<bool> {
    flags
        .chunk_by(|a, b| a == b)
        .flat_map(|run| {
            let short = run.len() <= SHORT_RUN;
            run.iter().map(move |&flag| flag && short)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_count_only_from_the_ends() {
        let flags = [true, false, true, true, false, true, true];
        let ends = [true, false, false, false, false, true, true];
        assert_eq!(end_runs(&flags), ends);
        assert_eq!(end_runs(&[true, true, true, false]), [false; 4]);
        assert!(end_runs(&[]).is_empty());
    }

    #[test]
    fn short_runs_are_two_at_most() {
        let flags = [true, true, false, true, true, true, false, true];
        let short = [true, true, false, false, false, false, false, true];
        assert_eq!(short_runs(&flags), short);
    }
}
