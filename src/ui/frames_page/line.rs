//! One line of the table: a frame, or a run of frames alike folded into one.

use egui::{Align, Align2, Color32, Rect, Stroke, Ui, Vec2, pos2};

use super::columns::COLUMNS;
use super::rows::{self, Alike, Item};
use super::table::{GAP, TIME_IN};
use crate::app::{Action, OpenNight};
use crate::night::Row;
use crate::ui::frame_words;
use crate::ui::marks::{self, MarkKind};
use crate::ui::theme::{self, Tokens, size};
use crate::verdict::{Judgement, Verdict};

/// One line of the table.
#[derive(Clone, Copy)]
pub(super) struct Line<'a> {
    pub(super) night: &'a OpenNight,
    pub(super) t: &'a Tokens,
    pub(super) item: Item,
    pub(super) is_chosen: bool,
}

impl<'a> Line<'a> {
    fn first(&self) -> usize {
        match self.item {
            Item::Frame(place) | Item::Run(place, _) => place,
        }
    }

    fn is_run(&self) -> bool {
        matches!(self.item, Item::Run(..))
    }

    fn row(&self) -> Option<(usize, &'a Row)> {
        self.night.row_at(self.first())
    }

    fn judgement(&self, index: usize) -> Option<&'a Judgement> {
        self.night.judged().judgements.get(index)
    }

    fn alike(&self) -> Option<Alike> {
        rows::alike(self.night, self.first())
    }

    /// On the chosen row the weakest ink becomes the second, to keep its contrast.
    fn quiet(&self) -> Color32 {
        if self.is_chosen {
            self.t.ink2
        } else {
            self.t.ink3
        }
    }

    /// The rule under a cell.
    fn rule(&self, ui: &Ui) -> Rect {
        let rect = ui.max_rect();
        let stroke = Stroke::new(1.0, self.t.line);
        ui.painter().hline(
            rect.left() - GAP..=rect.right() + GAP,
            rect.bottom() - 0.5,
            stroke,
        );
        rect
    }

    /// A verdict's mark at the left of a cell; what is left of the cell comes back.
    fn mark(&self, ui: &Ui, rect: Rect, verdict: Option<Verdict>) -> Rect {
        let mark = verdict.map_or(MarkKind::Pending, MarkKind::Verdict);
        let at = pos2(rect.left(), rect.center().y - 8.0);
        marks::paint(ui.painter(), at, 14.0, mark, self.t);
        rect.with_min_x(rect.left() + 20.0)
    }

    pub(super) fn frame_cell(&self, ui: &mut Ui) {
        let rect = self.rule(ui);
        if self.is_chosen {
            let bar = Rect::from_min_size(rect.min, Vec2::new(3.0, rect.height() - 1.0));
            ui.painter().rect_filled(bar, 0.0, self.t.ink);
        }
        if self.is_run() {
            let at = pos2(rect.right() - 5.0, rect.center().y);
            marks::triangle(ui.painter(), at, 7.0, Vec2::RIGHT, self.quiet());
            return;
        }
        let number = (self.first() + 1).to_string();
        let font = theme::numbers(size::SMALL);
        let right = Align2::RIGHT_CENTER;
        (ui.painter()).text(rect.right_center(), right, number, font, self.t.ink);
    }

    pub(super) fn time_cell(&self, ui: &mut Ui) {
        let rect = self.rule(ui).translate(Vec2::new(TIME_IN, 0.0));
        if let Item::Run(first, last) = self.item {
            let verdict = self.alike().and_then(|alike| alike.verdict);
            let rest = self.mark(ui, rect, verdict);
            let words = format!(
                "{}–{}: {} {}",
                first + 1,
                last + 1,
                last - first + 1,
                past(verdict)
            );
            // The label runs over into the verdict's column, which a run leaves empty.
            put_words(ui, rest, words, self.t.ink2);
            return;
        }
        let clock = self
            .row()
            .and_then(|(_, row)| frame_words::clock_of(self.night, row));
        if let Some(clock) = clock {
            let font = theme::numbers(size::SMALL);
            let left = Align2::LEFT_CENTER;
            (ui.painter()).text(rect.left_center(), left, clock, font, self.t.ink);
        }
    }

    pub(super) fn verdict_cell(&self, ui: &mut Ui) {
        let rect = self.rule(ui);
        if self.is_run() {
            return;
        }
        let Some(alike) = self.alike() else { return };
        let rest = self.mark(ui, rect, alike.verdict);
        let words = alike.verdict.map_or("not measured", Verdict::word);
        put_words(ui, rest, words, self.t.ink);
        if alike.by_you {
            let dot = pos2(rect.right() - 10.0, rect.center().y);
            ui.painter().circle_filled(dot, 1.9, self.t.ink);
        }
    }

    fn why_words(&self) -> (String, String) {
        let Some((index, row)) = self.row() else {
            return Default::default();
        };
        if let Some(error) = &row.error {
            return ("could not be read".to_owned(), error.clone());
        }
        let Some(judgement) = self.judgement(index) else {
            return Default::default();
        };
        let mut labels: Vec<&str> = Vec::new();
        for evidence in &judgement.evidence {
            let label = evidence.reason.info().label;
            if !labels.contains(&label) {
                labels.push(label);
            }
        }
        let by_you = self.night.is_set_by_you(index) && !self.is_run();
        let rest = if by_you {
            let verdict = past(Some(self.night.verdict_of(index)));
            format!("{verdict} by you")
        } else {
            labels.get(1..).unwrap_or_default().join(", ")
        };
        let leading = labels
            .first()
            .map_or_else(String::new, |label| (*label).to_owned());
        match judgement.rank {
            Some(rank) if leading.is_empty() => (format!("place {rank}"), rest),
            _ => (leading, rest),
        }
    }

    pub(super) fn why_cell(&self, ui: &mut Ui) {
        let rect = self.rule(ui);
        let (leading, rest) = self.why_words();
        let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
        let galley = painter.layout_no_wrap(leading, theme::words(13.0), self.t.ink);
        let width = galley.size().x;
        let top = rect.center().y - galley.size().y / 2.0;
        painter.galley(pos2(rect.left(), top), galley, self.t.ink);
        if !rest.is_empty() {
            let rest = if width > 0.0 {
                format!(" · {rest}")
            } else {
                rest
            };
            let at = pos2(rect.left() + width, rect.center().y);
            painter.text(
                at,
                Align2::LEFT_CENTER,
                rest,
                theme::words(13.0),
                self.t.ink2,
            );
        }
    }

    /// A value, or the range of a run's values; marked when it caused the verdict.
    pub(super) fn number_cell(&self, ui: &mut Ui, column: usize) {
        let rect = self.rule(ui);
        let Some((text, caused)) = self.number(column) else {
            return;
        };
        let ink = match (caused, self.alike().and_then(|alike| alike.verdict)) {
            (Some(_), Some(verdict)) if verdict != Verdict::Keep => self.t.verdict(verdict),
            _ if self.is_run() => self.t.ink2,
            _ => self.t.ink,
        };
        let points = if self.is_run() { 11.0 } else { size::SMALL };
        let right = put_number(ui, rect, &text, points, ink);
        if let Some(is_high) = caused {
            let towards = if is_high { Vec2::UP } else { Vec2::DOWN };
            marks::triangle(
                ui.painter(),
                pos2(right - 8.0, rect.center().y),
                7.0,
                towards,
                ink,
            );
        }
    }

    fn number(&self, column: usize) -> Option<(String, Option<bool>)> {
        let column = &COLUMNS[column];
        let (index, row) = self.row()?;
        let judgement = self.judgement(index);
        let caused = judgement.and_then(|judgement| column.caused(judgement, row));
        let Item::Run(first, last) = self.item else {
            return Some((column.text((column.value)(row)?), caused));
        };
        let values = (first..=last).filter_map(|place| (column.value)(self.night.row_at(place)?.1));
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        });
        (low <= high).then(|| (column.range(low, high), caused))
    }

    pub(super) fn clicked(
        &self,
        extend: bool,
        opened: &mut std::collections::BTreeSet<usize>,
        actions: &mut Vec<Action>,
    ) {
        match self.item {
            Item::Frame(place) if extend => actions.push(Action::ExtendTo(place)),
            Item::Frame(place) => actions.push(Action::Choose(place)),
            Item::Run(first, _) => {
                opened.insert(first);
            }
        }
    }

    /// The line in words: what a screen reader says.
    pub(super) fn spoken(&self, shown: &[usize]) -> String {
        let verdict = self.alike().and_then(|alike| alike.verdict);
        let (leading, rest) = self.why_words();
        let mut parts = match self.item {
            Item::Run(first, last) => {
                vec![format!(
                    "Frames {} to {}, {}",
                    first + 1,
                    last + 1,
                    past(verdict)
                )]
            }
            Item::Frame(place) => {
                let word = verdict.map_or("not measured", Verdict::word);
                vec![format!("Frame {}, {word}", place + 1)]
            }
        };
        parts.extend(
            [leading, rest]
                .into_iter()
                .filter(|words| !words.is_empty()),
        );
        for &column in shown {
            if let Some((text, _)) = self.number(column) {
                let c = &COLUMNS[column];
                parts.push(
                    format!("{} {text} {}", c.name, c.unit)
                        .trim_end()
                        .to_owned(),
                );
            }
        }
        if self.is_run() {
            parts.push("folded, click to open".to_owned());
        }
        parts.join(", ")
    }
}

fn put_words(ui: &Ui, rect: Rect, words: impl ToString, ink: Color32) {
    let left = Align2::LEFT_CENTER;
    (ui.painter()).text(rect.left_center(), left, words, theme::words(13.0), ink);
}

/// Numbers in Hack, but the dash of a range from the face of the words: Hack's looks like a
/// hyphen. Returns the text's left end.
fn put_number(ui: &Ui, rect: Rect, text: &str, points: f32, ink: Color32) -> f32 {
    let mut job = egui::text::LayoutJob::default();
    let mut parts = text.split('–').peekable();
    while let Some(part) = parts.next() {
        let number = egui::text::TextFormat::simple(theme::numbers(points), ink);
        job.append(part, 0.0, number);
        if parts.peek().is_some() {
            let dash = egui::text::TextFormat::simple(theme::words(points + 1.0), ink);
            job.append("–", 1.0, dash);
        }
    }
    job.halign = Align::LEFT;
    let galley = ui.painter().layout_job(job);
    let left = rect.right() - galley.size().x;
    ui.painter().galley(
        pos2(left, rect.center().y - galley.size().y / 2.0),
        galley,
        ink,
    );
    left
}

const fn past(verdict: Option<Verdict>) -> &'static str {
    match verdict {
        Some(Verdict::Keep) => "kept",
        Some(Verdict::Doubtful) => "doubtful",
        Some(Verdict::Reject) => "rejected",
        None => "not measured",
    }
}
