//! Plain text for a terminal: the summary of a night and the table of what to set next time, at most
//! [`WIDTH`] columns wide.

use std::fmt::Write as _;

use super::camera;
use super::table::Table;
use crate::advice::{NextTime, SettingAdvice, outcome};
use crate::chart::bands::bands;
use crate::chart::clock;
use crate::night::Kind;
use crate::verdict::words::{frames, number, plural};
use crate::verdict::{Decisions, Finding, Purpose, Verdict, answer, tally};

/// Widest line.
pub const WIDTH: usize = 100;

/// The night in words: for each set the answer, why, and what it will give; then next time.
#[must_use]
pub fn summary(table: &Table<'_>, decisions: &Decisions, next_time: &[NextTime]) -> String {
    let mut text = String::new();
    let several = table.night.sets.len() > 1;
    for (which, set) in table.night.sets.iter().enumerate() {
        if set.frames.is_empty() {
            continue;
        }
        if several {
            let camera = if set.camera.camera.is_empty() {
                "unknown camera"
            } else {
                &set.camera.camera
            };
            line(
                &mut text,
                "",
                &format!("{camera}: {}", frames(set.frames.len())),
            );
        }
        answer_lines(&mut text, table, which, decisions);
        lights(&mut text, table, which);
        findings(&mut text, table, which);
        outcome_lines(&mut text, table, which);
        camera::lines(&mut text, table, which);
        if let Some(next) = next_time.get(which).filter(|n| !n.settings.is_empty()) {
            text.push_str("\nNext time\n");
            text.push_str(&next_time_table(next));
        }
        text.push('\n');
    }
    set_apart(&mut text, table);
    for warning in &table.night.warnings {
        line(&mut text, "Note: ", warning);
    }
    text
}

fn answer_lines(text: &mut String, table: &Table<'_>, which: usize, decisions: &Decisions) {
    let (night, judged) = (table.night, table.judged);
    let counts = tally(night, which, judged, decisions);
    let mut words = format!(
        "{}: {} to reject, {} doubtful but usable, {} to keep",
        judged.purpose.label(),
        counts.reject,
        counts.doubtful,
        counts.keep
    );
    if counts.pending > 0 {
        let _ = write!(words, ", {} not measured yet", counts.pending);
    }
    line(text, "", &words);
    let answer = answer(night, which, judged, decisions);
    line(text, "", &answer.sentence);
    line(text, "", &answer.joins);
}

/// Twilight and the Moon while the frames were taken, where place and time tell.
fn lights(text: &mut String, table: &Table<'_>, which: usize) {
    let night = table.night;
    let Some(set) = night.sets.get(which).filter(|_| night.heavens.is_some()) else {
        return;
    };
    let times = clock::times(night, set);
    let (Some(first), Some(last)) = (times.first(), times.last()) else {
        return;
    };
    let bands = bands(night, *first, last + set.interval_s.unwrap_or(0.0));
    let words: Vec<String> = bands.into_iter().map(|band| band.words).collect();
    if words.is_empty() {
        line(text, "", "Dark all the time: no twilight, no Moon.");
    } else {
        line(text, "Sky: ", &format!("{}.", words.join("; ")));
    }
}

fn findings(text: &mut String, table: &Table<'_>, which: usize) {
    let Some(set) = table.night.sets.get(which) else {
        return;
    };
    let own = |f: &&Finding| f.rows.iter().all(|row| set.frames.contains(row));
    let mut found = table.judged.findings.iter().filter(own).peekable();
    if found.peek().is_none() {
        return;
    }
    text.push_str("\nWhat was found\n");
    for finding in found {
        // What speaks against no frame is no verdict.
        let word = match finding.verdict {
            Verdict::Keep => "note",
            verdict => verdict.word(),
        };
        line(text, &format!("  {word:<8}  "), &finding.title);
        line(text, "            ", &finding.evidence);
        if let Some(offer) = finding.offers.first() {
            line(
                text,
                "            ",
                &format!("{} ({}).", offer.label, offer.cost),
            );
        }
    }
}

fn outcome_lines(text: &mut String, table: &Table<'_>, which: usize) {
    text.push_str("\nWhat you will get\n");
    line(text, "  ", &outcome_words(table, which).join("; "));
}

/// What the used frames of a set give, a few words each.
pub(super) fn outcome_words(table: &Table<'_>, which: usize) -> Vec<String> {
    let purpose = table.judged.purpose;
    let got = outcome(table.night, which, &table.verdicts, purpose);
    let mut parts = vec![format!("{} of {} used", got.used, frames(got.total))];
    let arc = got.arc_deg.zip(got.possible_arc_deg);
    if let Some((arc, possible)) = arc.filter(|_| purpose == Purpose::Trails) {
        parts.push(format!(
            "{}° of arc, of a possible {}°",
            number(arc, 1),
            number(possible, 1)
        ));
    }
    if let Some(gap) = got.widest_gap_px {
        parts.push(format!(
            "widest gap {} px",
            number(gap, usize::from(gap < 10.0))
        ));
    }
    if matches!(purpose, Purpose::Trails | Purpose::Timelapse) {
        let film: Vec<String> = got
            .film
            .iter()
            .map(|f| format!("{} s at {}", number(f.seconds, 1), f.rate))
            .collect();
        parts.push(format!("film: {} a second", film.join(", ")));
    }
    if let Some(open) = got.open_s.filter(|_| purpose == Purpose::Tracked) {
        parts.push(format!("{} minutes of exposure", number(open / 60.0, 1)));
    }
    parts
}

/// Frames that are not of the sky.
fn set_apart(text: &mut String, table: &Table<'_>) {
    let kinds = [Kind::Dark, Kind::Bias, Kind::Flat, Kind::Test];
    let counted: Vec<String> = kinds
        .iter()
        .filter_map(|&kind| {
            let rows = table.night.rows.iter();
            let n = rows.filter(|row| row.kind == Some(kind)).count();
            let many = format!("{} frames", kind.word());
            (n > 0).then(|| plural(n, &format!("{} frame", kind.word()), &many))
        })
        .collect();
    if !counted.is_empty() {
        line(text, "", &format!("Set apart: {}.", counted.join(", ")));
    }
}

/// The table of what to set next time, with its notes.
#[must_use]
pub fn next_time_table(next: &NextTime) -> String {
    let heads = ["setting", "tonight", "next time", "why"];
    let cells = |s: &SettingAdvice| [s.setting.to_owned(), s.tonight.clone(), s.next.clone()];
    let mut widths = [0usize; 3];
    for (width, head) in widths.iter_mut().zip(heads) {
        *width = head.chars().count();
    }
    for setting in &next.settings {
        for (width, cell) in widths.iter_mut().zip(cells(setting)) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let mut text = String::new();
    let mut put = |first: [String; 3], why: &str| {
        let mut lead = String::from("  ");
        for (cell, width) in first.iter().zip(widths) {
            let gap = width.saturating_sub(cell.chars().count()) + 2;
            lead.push_str(cell);
            lead.extend(std::iter::repeat_n(' ', gap));
        }
        line(&mut text, &lead, why);
    };
    put(
        ["setting", "tonight", "next time"].map(str::to_owned),
        "why",
    );
    for setting in &next.settings {
        put(cells(setting), &setting.why);
    }
    for note in &next.notes {
        line(&mut text, "  ", note);
    }
    text
}

/// Adds `words` after `lead`, broken so that no line is wider than [`WIDTH`]; further lines start
/// under the first word.
pub fn line(text: &mut String, lead: &str, words: &str) {
    let indent = lead.chars().count();
    let mut at = indent;
    text.push_str(lead);
    for (n, word) in words.split_whitespace().enumerate() {
        let long = word.chars().count();
        if n > 0 && at + 1 + long > WIDTH {
            text.push('\n');
            text.extend(std::iter::repeat_n(' ', indent));
            at = indent;
        } else if n > 0 {
            text.push(' ');
            at += 1;
        }
        text.push_str(word);
        at += long;
    }
    text.push('\n');
}
