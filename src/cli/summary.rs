//! A measured night in words, for the terminal: what the export room says of it, and what only the
//! command line knows.

use std::fmt::Write;

use super::args::PlanArgs;
use super::follow::Measured;
use crate::advice::{AdviceOptions, PlanAsked, PlanLens, plan};
use crate::export::{field_check, settings_text, text};
use crate::night::{Night, Set};
use crate::sky::limits::film_s;
use crate::verdict::words::{frames, number};
use crate::verdict::{Purpose, longest_clean_run};

/// The summary of `measure`.
pub(super) fn of_night(measured: &Measured) -> String {
    let mut words = heading(measured);
    let next_time = &measured.derived.next_time;
    let night = text::summary(&measured.table(), &measured.decisions, next_time);
    words.push_str(&night);
    words.push_str(&clean_runs(measured));
    words.push_str(&unreadable(measured));
    words.push_str(&speed(measured));
    words
}

/// What the first frames say while everything can still be changed.
pub(super) fn of_first_frames(measured: &Measured) -> String {
    let night = &measured.derived.night;
    let mut words = String::new();
    for set in &night.sets {
        for (heading, said) in field_check(night, set) {
            if words.is_empty() {
                words.push_str("\nField check\n");
            }
            text::line(&mut words, &format!("  {heading:<15}"), &said);
        }
    }
    words
}

/// The tables of `advise`, one a camera.
pub(super) fn of_advice(measured: &Measured) -> String {
    let mut words = heading(measured);
    let (sets, advice) = (&measured.derived.night.sets, &measured.derived.next_time);
    for (set, next_time) in sets.iter().zip(advice.iter()) {
        if sets.len() > 1 {
            let _ = writeln!(words, "\n{}", set.camera.camera);
        }
        if next_time.settings.is_empty() {
            words.push_str("Too little could be measured in these frames to advise.\n");
        } else {
            words.push_str(&text::next_time_table(next_time));
        }
    }
    words.push_str(&unreadable(measured));
    words
}

/// For a film: where it runs longest without a doubt, to trim it to.
fn clean_runs(measured: &Measured) -> String {
    let derived = &measured.derived;
    let mut words = String::new();
    if derived.judged.purpose != Purpose::Timelapse {
        return words;
    }
    for which in 0..derived.night.sets.len() {
        let run = longest_clean_run(&derived.night, which, &derived.judged, &measured.decisions);
        if let Some((first, last)) = run {
            let seconds = number(film_s(last + 1 - first, 24), 1);
            let _ = writeln!(
                words,
                "Longest run without a doubt: {first}–{last}, {seconds} s at 24 a second."
            );
        }
    }
    words
}

/// The plans of `advise`, one a camera; nothing where none is asked for.
pub(super) fn of_plans(measured: &Measured, asked: &PlanArgs) -> String {
    let mut words = String::new();
    let Some(hours) = asked.plan_hours else {
        return words;
    };
    let side = |side: usize| u32::try_from(side).unwrap_or(u32::MAX);
    let night = &measured.derived.night;
    for (which, set) in night.sets.iter().enumerate() {
        let asked = PlanAsked {
            hours,
            date: asked.plan_date,
            site: asked.plan_site,
            lens: PlanLens {
                focal_mm: asked.plan_focal_mm,
                f_number: asked.plan_f_number,
                pixel_um: asked.plan_pixel_um,
                size_px: asked.plan_size.map(|(w, h)| (side(w), side(h))),
            },
            bytes_a_frame: bytes_a_frame(night, set),
        };
        let _ = match asked.date {
            Some(date) => writeln!(words, "\nAnother night, {date}"),
            None => writeln!(words, "\nAnother night"),
        };
        if night.sets.len() > 1 {
            let _ = writeln!(words, "{}", set.camera.camera);
        }
        let judged = &measured.derived.judged;
        match plan(night, which, judged, AdviceOptions::default(), &asked) {
            Some(plan) => {
                for (label, text) in plan.lines() {
                    let _ = writeln!(words, "  {label:<14} {text}");
                }
                for note in &plan.notes {
                    let _ = writeln!(words, "  {note}");
                }
            }
            None => words.push_str("  These frames do not say how long they were exposed.\n"),
        }
    }
    words
}

/// Mean size of a set's files, bytes.
fn bytes_a_frame(night: &Night, set: &Set) -> Option<f64> {
    let rows = set.frames.iter().filter_map(|&at| night.rows.get(at));
    let sizes = rows.filter_map(|row| std::fs::metadata(&row.path).ok());
    let (sum, count) = sizes.fold((0.0, 0.0), |(sum, n), meta| {
        (sum + meta.len() as f64, n + 1.0)
    });
    (count > 0.0).then(|| sum / count)
}

/// The settings of `compare`, one table a camera.
pub(super) fn of_settings(measured: &Measured) -> String {
    let mut words = heading(measured);
    let (sets, all) = (&measured.derived.night.sets, &measured.derived.comparisons);
    for (set, comparison) in sets.iter().zip(all.iter()) {
        if sets.len() > 1 {
            let _ = writeln!(words, "\n{}", set.camera.camera);
        }
        words.push('\n');
        words.push_str(&settings_text(comparison));
    }
    words.push_str(&unreadable(measured));
    words
}

/// "Yarrowick Fell: 120 frames, 2025-10-18 19:50 to 20:54".
fn heading(measured: &Measured) -> String {
    let rows = &measured.derived.night.rows;
    let mut heading = format!("{}: {}", measured.title, frames(rows.len()));
    let taken = || rows.iter().filter_map(|row| row.facts.taken_at);
    let (first, last) = (taken().min(), taken().max());
    if let (Some(first), Some(last)) = (first, last) {
        let (from, to) = (first.local, last.local);
        let (day, hour) = ("%Y-%m-%d %H:%M", "%H:%M");
        let until = if from.date() == to.date() { hour } else { day };
        let _ = write!(
            heading,
            ", {} to {}",
            from.strftime(day),
            to.strftime(until)
        );
    }
    heading.push('\n');
    heading
}

fn unreadable(measured: &Measured) -> String {
    let mut words = String::new();
    for row in &measured.derived.night.rows {
        if let Some(error) = &row.error {
            if words.is_empty() {
                words.push_str("\nCould not be read\n");
            }
            let _ = writeln!(words, "  {}: {error}", row.name);
        }
    }
    words
}

fn speed(measured: &Measured) -> String {
    let rows = measured.derived.night.rows.len();
    let took = measured.took_s;
    let new = rows.saturating_sub(measured.kept);
    let mut words = match new {
        0 => format!("{}, all measured before", frames(rows)),
        _ if new == rows => format!("{} in {} s", frames(rows), number(took, 1)),
        _ => {
            let took = number(took, 1);
            format!("{}, {new} of them measured now, in {took} s", frames(rows))
        }
    };
    if new > 1 {
        let _ = write!(
            words,
            ", {} a second",
            number(new as f64 / took.max(1e-3), 1)
        );
    }
    words.push_str(".\n");
    words
}
