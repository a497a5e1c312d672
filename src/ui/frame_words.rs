//! The chosen frame in words: why it has its verdict, and its facts.

use std::sync::Arc;

use egui::text::{LayoutJob, TextFormat};
use egui::{Color32, Galley, Painter};

use super::facts;
use super::theme::{self, Tokens};
use crate::app::OpenNight;
use crate::chart::clock;
use crate::night::Row;
use crate::verdict::{Verdict, explain};

/// A line of words with numbers among them: words in one face, numbers in the other.
#[derive(Debug, Default)]
pub(super) struct Line {
    parts: Vec<(String, bool)>,
}

impl Line {
    /// Adds words.
    pub(super) fn words(mut self, text: impl Into<String>) -> Self {
        self.parts.push((text.into(), false));
        self
    }

    /// Adds a number with its unit.
    pub(super) fn number(mut self, text: impl Into<String>) -> Self {
        self.parts.push((text.into(), true));
        self
    }

    /// Adds a dot between two facts, unless nothing came before.
    pub(super) fn dot(self) -> Self {
        if self.parts.is_empty() {
            self
        } else {
            self.words(" · ")
        }
    }

    /// The same as plain text.
    pub(super) fn plain(&self) -> String {
        self.parts.iter().map(|(text, _)| text.as_str()).collect()
    }

    /// Laid out on one line of at most `width` points; what does not fit ends in "…".
    pub(super) fn layout(
        &self,
        painter: &Painter,
        points: f32,
        width: f32,
        t: &Tokens,
    ) -> Arc<Galley> {
        let mut job = LayoutJob::default();
        for (text, is_number) in &self.parts {
            let (font, ink): (_, Color32) = if *is_number {
                (theme::numbers(points - 1.0), t.ink)
            } else {
                (theme::words(points), t.ink2)
            };
            job.append(text, 0.0, TextFormat::simple(font, ink));
        }
        job.wrap.max_width = width;
        job.wrap.max_rows = 1;
        job.wrap.break_anywhere = true;
        painter.layout_job(job)
    }
}

/// What heads the block: "is doubtful", "is kept", "is not measured yet".
pub(super) fn state_words(night: &OpenNight, index: usize, row: &Row) -> &'static str {
    if row.error.is_some() {
        return "could not be read";
    }
    if night.is_pending(index) && !night.is_set_by_you(index) {
        return "is not measured yet";
    }
    match night.verdict_of(index) {
        Verdict::Keep => "is kept",
        Verdict::Doubtful => "is doubtful",
        Verdict::Reject => "is rejected",
    }
}

/// Why, in a sentence or two.
pub(super) fn why(night: &OpenNight, index: usize, row: &Row) -> String {
    if let Some(error) = &row.error {
        return format!("{} It counts as a missing frame.", sentence(error));
    }
    if row.measure.is_none() {
        return "Its numbers come when it is measured; your verdict counts already.".to_owned();
    }
    let Some(judgement) = night.judged().judgements.get(index) else {
        return String::new();
    };
    let mut told = Vec::new();
    if night.is_set_by_you(index) {
        let advised = judgement.verdict;
        if advised == night.verdict_of(index) {
            told.push("Set by you, as advised.".to_owned());
        } else {
            told.push(format!("Set by you; advised was {}.", advised.word()));
        }
    }
    if let Some(rank) = judgement.rank {
        told.push(format!("Place {rank} among the frames."));
    }
    told.extend(judgement.evidence.iter().take(2).map(explain));
    if told.is_empty() {
        told.push("Nothing is out of line.".to_owned());
    }
    told.join(" ")
}

fn sentence(text: &str) -> String {
    let text = text.trim();
    if text.ends_with('.') {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}

/// The facts under the picture; `short` leaves out what the title row says already.
pub(super) fn facts(night: &OpenNight, row: &Row, short: bool) -> Line {
    let mut line = Line::default();
    if let Some(time) = clock_of(night, row) {
        line = line.words(time);
    }
    if !short {
        let stated = &row.facts;
        if let Some(exposure) = stated.exposure_s {
            line = line.dot().words(facts::exposure(exposure));
        }
        if let Some(number) = stated.f_number {
            line = line.dot().words(format!("f/{}", facts::short(number)));
        }
        if let Some(iso) = stated.iso {
            line = line.dot().words(format!("ISO {iso}"));
        }
    }
    let Some(measure) = &row.measure else {
        return line;
    };
    line = line
        .dot()
        .words("sky ")
        .number(format!("{:.1} %", measure.sky.level_pct));
    let mag = row.derived.sky_mag_arcsec2.zip(row.derived.sky_mag_error);
    if let (false, Some((mag, error))) = (short, mag) {
        line = line.words(format!(
            ", about {mag:.1} ± {error:.1} mag per square arcsecond"
        ));
    }
    if let Some(noise) = measure.noise_pct {
        line = line.dot().words("noise ").number(format!("{noise:.2} %"));
    }
    line = line
        .dot()
        .number(format!("{}", measure.star_count))
        .words(" stars");
    if let Some(elongation) = measure.elongation {
        line = line
            .dot()
            .words("elongation ")
            .number(format!("{elongation:.1}"));
    }
    let clipped = measure
        .stars
        .iter()
        .filter(|star| star.flags.clipped)
        .count();
    line = line.dot().number(format!("{clipped}"));
    line.words(if short { " clipped" } else { " clipped stars" })
}

/// The clock time at a row's start, where it is known.
pub(super) fn clock_of(night: &OpenNight, row: &Row) -> Option<String> {
    Some(clock::to_the_second(
        night.night().start_clock_s?,
        row.time_s?,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dots_stand_between_facts_only() {
        let line = Line::default()
            .dot()
            .words("sky ")
            .number("1 %")
            .dot()
            .words("x");
        assert_eq!(line.plain(), "sky 1 % · x");
    }
}
