//! The table itself: only the rows in sight are drawn, whatever the number of frames.

use egui::{Align, Align2, Color32, FontId, Rect, Role, Sense, Stroke, Ui, Vec2, WidgetInfo, pos2};
use egui_extras::{Column as Width, TableBuilder};

use super::marks::{self, MarkKind};
use super::table_columns::COLUMNS;
use super::table_rows::{self, Alike, Asked, Item, SortBy};
use super::theme::{self, Tokens, size};
use super::{Cx, frame_words};
use crate::app::{Action, OpenNight};
use crate::night::Row;
use crate::verdict::{Judgement, Verdict};

/// What the table keeps from one pass to the next.
#[derive(Debug, Default)]
pub(super) struct State {
    /// The chosen frame when it was last in sight, to follow it when keys move it.
    followed: Option<usize>,
}

const ROW: f32 = 25.0;
const HEADER: f32 = 28.0;
/// Columns of numbers are this much narrower in a narrow window.
const NARROW: f32 = 0.82;
/// Between columns.
const GAP: f32 = 6.0;
/// The time stands this far in, so that it does not touch the number of the frame.
const TIME_IN: f32 = 6.0;

/// Draws the table in all of `ui`.
pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    state: &mut State,
    asked: &mut Asked,
    items: &[Item],
    actions: &mut Vec<Action>,
) {
    ui.spacing_mut().item_spacing = Vec2::new(GAP, 0.0);
    // A bar with room of its own: a floating one would lie on the last column's numbers.
    ui.spacing_mut().scroll = egui::style::ScrollStyle::solid();
    ui.spacing_mut().scroll.bar_width = 8.0;
    let shown: Vec<usize> = (0..COLUMNS.len())
        .filter(|&column| !(cx.fold.narrow && COLUMNS[column].is_spare))
        .collect();
    let squeeze = if cx.fold.narrow { NARROW } else { 1.0 };
    let mut table = TableBuilder::new(ui)
        .id_salt("frames")
        .sense(Sense::click())
        .auto_shrink(false)
        .column(Width::exact(50.0).clip(false))
        .column(Width::exact(74.0).clip(false))
        .column(Width::exact(98.0).clip(false))
        .column(Width::remainder().at_least(90.0).clip(true));
    for &column in &shown {
        table = table.column(Width::exact(COLUMNS[column].width * squeeze).clip(false));
    }
    if state.followed != Some(night.chosen) {
        state.followed = Some(night.chosen);
        if let Some(row) = items.iter().position(|item| holds(*item, night.chosen)) {
            table = table.scroll_to_row(row, None);
        }
    }
    table
        .header(HEADER, |mut header| {
            let t = cx.t;
            header.col(|ui| {
                heading(
                    ui,
                    t,
                    "frame",
                    "",
                    "In order of capture",
                    Some(SortBy::Frame),
                    asked,
                );
            });
            header.col(|ui| heading(ui, t, "time", "", "Start of the exposure", None, asked));
            header.col(|ui| {
                heading(
                    ui,
                    t,
                    "verdict",
                    "",
                    "Keep, doubtful, reject",
                    Some(SortBy::Verdict),
                    asked,
                );
            });
            header.col(|ui| heading(ui, t, "why", "", "What speaks for the verdict", None, asked));
            for &column in &shown {
                let c = &COLUMNS[column];
                let sort = Some(SortBy::Column(column));
                header.col(|ui| heading(ui, t, c.name, c.unit, c.meaning, sort, asked));
            }
        })
        .body(|body| {
            body.rows(ROW, items.len(), |mut row| {
                let Some(&item) = items.get(row.index()) else {
                    return;
                };
                let is_chosen = holds(item, night.chosen);
                let is_in_range = night.range.iter().any(|&place| holds(item, place));
                row.set_selected(is_chosen || is_in_range);
                let line = Line {
                    night,
                    t: cx.t,
                    item,
                    is_chosen,
                };
                row.col(|ui| line.frame_cell(ui));
                row.col(|ui| line.time_cell(ui));
                row.col(|ui| line.verdict_cell(ui));
                row.col(|ui| line.why_cell(ui));
                for &column in &shown {
                    row.col(|ui| line.number_cell(ui, column));
                }
                let response = row.response();
                response.widget_info(|| {
                    WidgetInfo::selected(Role::Row, true, is_chosen, line.spoken(&shown))
                });
                if response.clicked() {
                    let extend = response.ctx.input(|input| input.modifiers.shift);
                    line.clicked(extend, &mut asked.opened, actions);
                    if let Item::Frame(place) = item {
                        state.followed = Some(place);
                    }
                }
                if response.double_clicked() {
                    actions.push(Action::GoTo(crate::app::Page::Night));
                }
            });
        });
}

fn holds(item: Item, place: usize) -> bool {
    match item {
        Item::Frame(frame) => frame == place,
        Item::Run(first, last) => (first..=last).contains(&place),
    }
}

/// A heading; a click sorts by it, another the other way round, a third back to order of capture.
fn heading(
    ui: &mut Ui,
    t: &Tokens,
    name: &str,
    unit: &str,
    tip: &str,
    sort: Option<SortBy>,
    asked: &mut Asked,
) {
    let rect = ui.max_rect();
    let painter = ui.painter();
    let is_number = matches!(sort, Some(SortBy::Column(_) | SortBy::Frame));
    let is_sorted =
        sort == Some(asked.sort) && (asked.sort != SortBy::Frame || asked.is_descending);
    let ink = if is_sorted { t.ink } else { t.ink2 };
    let name_galley = painter.layout_no_wrap(name.to_owned(), theme::words(13.0), ink);
    let unit_galley = painter.layout_no_wrap(unit.to_owned(), theme::words(10.5), ink);
    let width = name_galley.size().x
        + if unit.is_empty() {
            0.0
        } else {
            unit_galley.size().x + 4.0
        };
    let left = if is_number {
        rect.right() - width
    } else if name == "time" {
        rect.left() + TIME_IN
    } else {
        rect.left()
    };
    let middle = rect.center().y;
    let size = name_galley.size();
    painter.galley(pos2(left, middle - size.y / 2.0), name_galley, ink);
    if !unit.is_empty() {
        let below = middle - unit_galley.size().y / 2.0 + 1.0;
        painter.galley(pos2(left + size.x + 4.0, below), unit_galley, ink);
    }
    if is_sorted {
        let towards = if asked.is_descending {
            Vec2::DOWN
        } else {
            Vec2::UP
        };
        let x = if is_number {
            left - 8.0
        } else {
            left + width + 9.0
        };
        marks::triangle(painter, pos2(x, middle), 7.0, towards, t.ink);
    }
    let rule = Stroke::new(1.0, t.line2);
    painter.hline(
        rect.left() - GAP..=rect.right() + GAP,
        rect.bottom() - 0.5,
        rule,
    );
    let Some(sort) = sort else { return };
    let response = ui.interact(rect, ui.scope_id().with("sort"), Sense::click());
    response.widget_info(|| {
        WidgetInfo::selected(Role::Button, true, is_sorted, format!("Sort by {name}"))
    });
    super::widgets::focus_ring(ui, rect.shrink(3.0), &response, t);
    if response.clicked() {
        match (asked.sort == sort, asked.is_descending) {
            (false, _) => (asked.sort, asked.is_descending) = (sort, false),
            (true, false) => asked.is_descending = true,
            (true, true) => (asked.sort, asked.is_descending) = (SortBy::Frame, false),
        }
    }
    response.on_hover_text(format!("{tip}. Click to sort"));
}

/// One line of the table.
#[derive(Clone, Copy)]
struct Line<'a> {
    night: &'a OpenNight,
    t: &'a Tokens,
    item: Item,
    is_chosen: bool,
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
        table_rows::alike(self.night, self.first())
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

    fn put(ui: &Ui, rect: Rect, align: Align2, text: &str, font: FontId, ink: Color32) {
        ui.painter()
            .text(align.pos_in_rect(&rect), align, text, font, ink);
    }

    fn frame_cell(&self, ui: &mut Ui) {
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
        Self::put(
            ui,
            rect,
            Align2::RIGHT_CENTER,
            &number,
            theme::numbers(size::SMALL),
            self.t.ink,
        );
    }

    fn time_cell(&self, ui: &mut Ui) {
        let rect = self.rule(ui).translate(Vec2::new(TIME_IN, 0.0));
        if let Item::Run(first, last) = self.item {
            let verdict = self.alike().and_then(|alike| alike.verdict);
            let mark = verdict.map_or(MarkKind::Pending, MarkKind::Verdict);
            marks::paint(
                ui.painter(),
                pos2(rect.left(), rect.center().y - 8.0),
                14.0,
                mark,
                self.t,
            );
            let words = format!(
                "{}–{}: {} {}",
                first + 1,
                last + 1,
                last - first + 1,
                past(verdict)
            );
            // The label runs over into the verdict's column, which a run leaves empty.
            let painter = ui.painter();
            let at = rect.left_center() + Vec2::new(20.0, 0.0);
            painter.text(
                at,
                Align2::LEFT_CENTER,
                words,
                theme::words(13.0),
                self.t.ink2,
            );
            return;
        }
        let clock = self
            .row()
            .and_then(|(_, row)| frame_words::clock_of(self.night, row));
        if let Some(clock) = clock {
            Self::put(
                ui,
                rect,
                Align2::LEFT_CENTER,
                &clock,
                theme::numbers(size::SMALL),
                self.t.ink,
            );
        }
    }

    fn verdict_cell(&self, ui: &mut Ui) {
        let rect = self.rule(ui);
        if self.is_run() {
            return;
        }
        let Some(alike) = self.alike() else { return };
        let mark = alike.verdict.map_or(MarkKind::Pending, MarkKind::Verdict);
        marks::paint(
            ui.painter(),
            pos2(rect.left(), rect.center().y - 8.0),
            14.0,
            mark,
            self.t,
        );
        let words = alike.verdict.map_or("not measured", Verdict::word);
        let at = rect.with_min_x(rect.left() + 20.0);
        Self::put(
            ui,
            at,
            Align2::LEFT_CENTER,
            words,
            theme::words(13.0),
            self.t.ink,
        );
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

    fn why_cell(&self, ui: &mut Ui) {
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
    fn number_cell(&self, ui: &mut Ui, column: usize) {
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

    fn clicked(
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
    fn spoken(&self, shown: &[usize]) -> String {
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
