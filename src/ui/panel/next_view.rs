//! Next time: what to set, changed settings first, each with its reason.

use std::sync::Arc;

use egui::{Align2, Galley, Rect, Role, ScrollArea, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::{Cx, PAD, heading, inside, plan_view};
use crate::advice::{NextTime, SettingAdvice};
use crate::app::{Action, OpenNight};
use crate::ui::theme::{self, size};
use crate::ui::widgets::{Button, Look};

/// Height of the heading and of the row of column names, points.
const HEADING: f32 = 30.0;
const NAMES: f32 = 20.0;
/// Where the button for another night's plan stands in the heading of a wide panel; a narrow one has it
/// under the rows.
const PLAN_LEFT: f32 = 184.0;

/// Left ends of the columns as shares of the width.
const COLUMNS: [f32; 4] = [0.0, 0.235, 0.345, 0.535];

struct RowLayout {
    cells: [Arc<Galley>; 4],
    height: f32,
}

fn inner_width(width: f32) -> f32 {
    width - 2.0 * PAD
}

fn column(width: f32, index: usize) -> (f32, f32) {
    let inner = inner_width(width);
    let from = COLUMNS.get(index).copied().unwrap_or(0.0) * inner;
    let to = COLUMNS.get(index + 1).copied().unwrap_or(1.0) * inner;
    (from, to - from - 8.0)
}

fn lay_out(ui: &Ui, cx: Cx<'_>, row: &SettingAdvice, width: f32) -> RowLayout {
    let ink = if row.changed { cx.t.ink } else { cx.t.ink2 };
    let cell = |index: usize, text: &str, ink| {
        let (_, room) = column(width, index);
        let font = theme::words(13.0);
        ui.painter().layout(text.to_owned(), font, ink, room)
    };
    let cells = [
        cell(0, row.setting, ink),
        cell(1, &row.tonight, cx.t.ink2),
        cell(2, &row.next, ink),
        cell(3, &row.why, cx.t.ink2),
    ];
    let height = cells.iter().map(|c| c.size().y).fold(0.0, f32::max) + 8.0;
    RowLayout { cells, height }
}

fn rows(ui: &Ui, cx: Cx<'_>, open: &OpenNight, width: f32) -> Vec<RowLayout> {
    (open.next_time().into_iter())
        .flat_map(|next| &next.settings)
        .map(|row| lay_out(ui, cx, row, width))
        .collect()
}

fn notes(ui: &Ui, cx: Cx<'_>, next: &NextTime, width: f32) -> Arc<Galley> {
    let font = theme::words(size::SMALL);
    (ui.painter()).layout(next.notes.join("\n"), font, cx.t.ink3, inner_width(width))
}

/// The height it would like in a panel of this width.
pub(super) fn height(ui: &Ui, cx: Cx<'_>, open: &OpenNight, width: f32) -> f32 {
    let rows: f32 = rows(ui, cx, open, width).iter().map(|row| row.height).sum();
    let notes = (open.next_time())
        .filter(|next| !next.notes.is_empty())
        .map_or(0.0, |next| notes(ui, cx, next, width).size().y + 10.0);
    HEADING + NAMES + rows.max(24.0) + notes + 8.0
}

pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    open: &OpenNight,
    plan: &mut plan_view::State,
    actions: &mut Vec<Action>,
) {
    let area = ui.max_rect();
    let (head, rest) = area.split_top_bottom_at_y(area.top() + HEADING);
    heading(ui, cx, head, "Next time", "");
    let Some(next) = open.next_time().filter(|next| !next.settings.is_empty()) else {
        let at = pos2(rest.left() + PAD, rest.top() + 2.0);
        let font = theme::words(size::BODY);
        let text = if open.progress.is_some() {
            "Advice comes once enough frames are measured."
        } else {
            "Nothing to advise: too little is known of this night’s settings."
        };
        ui.painter()
            .text(at, Align2::LEFT_TOP, text, font, cx.t.ink2);
        return;
    };
    tolerance_button(ui, cx, head, actions);
    copy_button(ui, cx, head, actions);
    if !cx.fold.narrow {
        let middle = head
            .with_min_x(head.left() + PAD + PLAN_LEFT)
            .with_min_y(head.top() + 3.0);
        inside(ui, "plan", middle, |ui| {
            plan_view::button(ui, cx, open, plan);
        });
    }
    let (names, body) = rest.split_top_bottom_at_y(rest.top() + NAMES);
    for (index, name) in ["setting", "tonight", "next time", "why"]
        .iter()
        .enumerate()
    {
        let (from, _) = column(area.width(), index);
        let at = pos2(names.left() + PAD + from, names.center().y);
        let font = theme::words(size::SMALL);
        ui.painter()
            .text(at, Align2::LEFT_CENTER, name, font, cx.t.ink3);
    }
    let layouts = rows(ui, cx, open, area.width());
    inside(ui, "rows", body, |ui| {
        ui.spacing_mut().item_spacing.y = 0.0;
        ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
            for (layout, row) in layouts.into_iter().zip(&next.settings) {
                row_view(ui, cx, row, layout, area.width());
            }
            if !next.notes.is_empty() {
                ui.add_space(6.0);
                let galley = notes(ui, cx, next, area.width());
                note_view(ui, cx, galley);
            }
            if cx.fold.narrow {
                ui.add_space(4.0);
                ui.horizontal(|ui| {
                    ui.add_space(PAD);
                    plan_view::button(ui, cx, open, plan);
                });
            }
        });
    });
}

/// The user's tolerance for trails that pass as points.
fn tolerance_button(ui: &mut Ui, cx: Cx<'_>, head: Rect, actions: &mut Vec<Action>) {
    let k = cx.model.advice.npf_k;
    let word = match k {
        k if k < 1.5 => "strict",
        k if k < 2.5 => "usual",
        _ => "lenient",
    };
    let label = format!("points: {word}");
    let button = Button::new(&label).look(Look::Text).name(format!(
        "How long stars pass as points: {word}, k {k}. Change"
    ));
    let width = button.measure(ui).x;
    let left = head.left() + PAD + 88.0;
    let rect = Rect::from_min_max(
        pos2(left, head.top() + 3.0),
        pos2(left + width + PAD, head.bottom()),
    );
    let response = inside(ui, "tolerance", rect, |ui| button.show(ui, cx.t));
    let tip = "How long a trail still passes as a point: k of the NPF rule, 1 strict, 2 usual, \
               3 lenient. Click for the next.";
    if response.on_hover_text(tip).clicked() {
        actions.push(Action::NextTolerance);
    }
}

fn copy_button(ui: &mut Ui, cx: Cx<'_>, head: Rect, actions: &mut Vec<Action>) {
    let button = Button::new("copy as text")
        .look(Look::Text)
        .name("Copy Next time as text");
    let width = button.measure(ui).x;
    let rect = Rect::from_min_max(
        pos2(head.right() - PAD - width, head.top() + 3.0),
        pos2(head.right(), head.bottom()),
    );
    let response = inside(ui, "copy", rect, |ui| button.show(ui, cx.t));
    if response
        .on_hover_text("Copy Next time as text (C)")
        .clicked()
    {
        actions.push(Action::CopyNextTime);
    }
}

fn row_view(ui: &mut Ui, cx: Cx<'_>, row: &SettingAdvice, layout: RowLayout, width: f32) {
    let size = vec2(ui.available_width(), layout.height);
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| {
        let name = format!(
            "{}: tonight {}, next time {}, {}",
            row.setting, row.tonight, row.next, row.why
        );
        WidgetInfo::labeled(Role::Label, true, name)
    });
    let painter = ui.painter();
    let rule = Rect::from_min_max(rect.min, rect.max).shrink2(vec2(PAD, 0.0));
    painter.hline(
        rule.x_range(),
        rect.top() + 0.5,
        Stroke::new(1.0, cx.t.line),
    );
    for (index, galley) in layout.cells.into_iter().enumerate() {
        let (from, _) = column(width, index);
        let at = pos2(rect.left() + PAD + from, rect.top() + 4.0);
        painter.galley(at, galley, cx.t.ink);
    }
    if !row.detail.is_empty() {
        response.on_hover_text(&row.detail);
    }
}

fn note_view(ui: &mut Ui, cx: Cx<'_>, galley: Arc<Galley>) {
    let (rect, response) =
        ui.allocate_exact_size(vec2(ui.available_width(), galley.size().y), Sense::hover());
    let text = galley.text().to_owned();
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &text));
    ui.painter()
        .galley(rect.min + vec2(PAD, 0.0), galley, cx.t.ink3);
}

/// The changes in one sentence.
pub(super) fn one_line(open: &OpenNight) -> String {
    let changes: Vec<String> = (open.next_time().into_iter())
        .flat_map(|next| &next.settings)
        .filter(|row| row.changed)
        .map(|row| format!("{} {}", in_a_sentence(row.setting), row.next))
        .collect();
    if changes.is_empty() {
        "the same settings.".to_owned()
    } else {
        format!("{}.", changes.join(", "))
    }
}

/// A setting's name inside a sentence: abbreviations keep their capitals.
fn in_a_sentence(setting: &str) -> String {
    if setting.chars().all(char::is_uppercase) {
        setting.to_owned()
    } else {
        setting.to_lowercase()
    }
}
