//! The comparison's columns: a heading, the crop, and the rows of numbers with their bars.

use egui::{Align2, CornerRadius, Rect, Role, ScrollArea, Sense, Stroke, StrokeKind, Ui};
use egui::{Vec2, WidgetInfo, pos2, vec2};

use super::Cx;
use super::compare_crops::{self, Crops};
use super::compare_rows::{CompareRow, rows};
use super::theme::{self, size};
use super::{inside, widgets};
use crate::advice::Comparison;
use crate::app::{Action, OpenNight};
use crate::verdict::words::frames;

/// Width of the row names, points.
const NAMES: f32 = 162.0;
/// Least width of a column, points: six beside their names in the largest window.
const LEAST_COLUMN: f32 = 128.0;
/// Inside a column, points.
const PAD: f32 = 8.0;
/// Height of a column's heading, points.
const HEAD: f32 = 44.0;
/// Least and largest height of a row, points.
const ROW: (f32, f32) = (34.0, 41.0);
/// Largest and least height of a crop, points.
const CROPS: (f32, f32) = (110.0, 230.0);

/// Where things are, the same for names and columns.
#[derive(Clone, Copy)]
struct Layout {
    column: f32,
    crop: f32,
    row: f32,
    rows: usize,
}

impl Layout {
    fn height(self) -> f32 {
        HEAD + self.crop + 8.0 + self.row * self.rows as f32 + 8.0
    }

    fn row_top(self, top: f32, row: usize) -> f32 {
        top + HEAD + self.crop + 8.0 + self.row * row as f32
    }
}

pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    comparison: &Comparison,
    crops: &mut Crops,
    actions: &mut Vec<Action>,
) {
    let area = ui.max_rect();
    let rows = rows(comparison);
    let count = comparison.columns.len();
    let column = ((area.width() - NAMES) / count as f32).clamp(LEAST_COLUMN, 260.0);
    let count_rows = rows.len().max(1) as f32;
    let left_for_crop = area.height() - HEAD - ROW.0 * count_rows - 16.0;
    let crop = left_for_crop.min(1.5 * column).clamp(CROPS.0, CROPS.1);
    let layout = Layout {
        column,
        crop,
        row: ((area.height() - HEAD - crop - 24.0) / count_rows).clamp(ROW.0, ROW.1),
        rows: rows.len(),
    };
    ScrollArea::vertical()
        .id_salt("settings")
        .auto_shrink(false)
        .show(ui, |ui| {
            ui.spacing_mut().item_spacing = Vec2::ZERO;
            let height = layout.height().max(ui.available_height());
            let (all, _) = ui.allocate_exact_size(vec2(area.width(), height), Sense::hover());
            let (names, columns) = all.split_left_right_at_x(all.left() + NAMES);
            row_names(ui, cx, names, layout, &rows);
            inside(ui, "columns", columns, |ui| {
                ScrollArea::horizontal()
                    .id_salt("columns")
                    .auto_shrink(false)
                    .show(ui, |ui| {
                        let wanted = vec2(column * count as f32, layout.height());
                        let (rect, _) = ui.allocate_exact_size(wanted, Sense::hover());
                        for at in 0..count {
                            let left = rect.left() + column * at as f32;
                            let place = Rect::from_min_size(
                                pos2(left, rect.top()),
                                vec2(column, layout.height()),
                            );
                            let shown = Shown {
                                night,
                                comparison,
                                at,
                                layout,
                            };
                            one_column(ui, cx, place, shown, &rows, (crops, actions));
                        }
                    });
            });
        });
}

fn row_names(ui: &Ui, cx: Cx<'_>, rect: Rect, layout: Layout, rows: &[&CompareRow]) {
    let painter = ui.painter();
    let beside = pos2(rect.left(), rect.top() + HEAD + layout.crop - 2.0);
    painter.text(
        beside,
        Align2::LEFT_BOTTOM,
        "diamonds: clipped stars",
        theme::words(size::SMALL),
        cx.t.ink3,
    );
    for (place, row) in rows.iter().enumerate() {
        let top = layout.row_top(rect.top(), place);
        painter.hline(rect.x_range(), top, Stroke::new(1.0, cx.t.line));
        let at = pos2(rect.left(), top + 3.0);
        let name = painter.layout_no_wrap(row.name.to_owned(), theme::words(size::BODY), cx.t.ink);
        painter.galley(at, name, cx.t.ink);
        painter.text(
            at + vec2(0.0, 15.5),
            Align2::LEFT_TOP,
            row.hint,
            theme::words(size::SMALL - 0.5),
            cx.t.ink2,
        );
    }
}

#[derive(Clone, Copy)]
struct Shown<'a> {
    night: &'a OpenNight,
    comparison: &'a Comparison,
    at: usize,
    layout: Layout,
}

fn one_column(
    ui: &mut Ui,
    cx: Cx<'_>,
    rect: Rect,
    shown: Shown<'_>,
    rows: &[&CompareRow],
    (crops, actions): (&mut Crops, &mut Vec<Action>),
) {
    let Some(column) = shown.comparison.columns.get(shown.at) else {
        return;
    };
    let is_best = shown.comparison.best == Some(shown.at);
    if is_best {
        let edge = Stroke::new(1.0, cx.t.ink);
        let boxed = rect.shrink2(vec2(1.0, 1.0));
        let round = CornerRadius::same(6);
        ui.painter()
            .rect(boxed, round, cx.t.panel, edge, StrokeKind::Inside);
    }
    heading(ui, cx, rect, shown, is_best, actions);
    let crop = Rect::from_min_size(
        pos2(rect.left() + PAD, rect.top() + HEAD),
        vec2(rect.width() - 2.0 * PAD, shown.layout.crop),
    );
    compare_crops::show(ui, cx, crop, shown.night, shown.at, crops);
    let name = shown.comparison.name(shown.at);
    for (place, row) in rows.iter().enumerate() {
        let top = shown.layout.row_top(rect.top(), place);
        let line = rect.x_range().shrink(if is_best { 1.0 } else { 0.0 });
        ui.painter().hline(line, top, Stroke::new(1.0, cx.t.line));
        let cell = Rect::from_min_size(
            pos2(rect.left() + PAD, top),
            vec2(rect.width() - 2.0 * PAD, shown.layout.row),
        );
        let largest = row.largest(shown.comparison);
        number(ui, cx, cell, row, column, largest);
        let response = ui.interact(cell, ui.scope_id().with((shown.at, place)), Sense::hover());
        response.widget_info(|| {
            let words = format!("{name}: {}", row.spoken(column));
            WidgetInfo::labeled(Role::Label, true, words)
        });
    }
}

fn heading(
    ui: &Ui,
    cx: Cx<'_>,
    rect: Rect,
    shown: Shown<'_>,
    is_best: bool,
    actions: &mut Vec<Action>,
) {
    let name = shown.comparison.name(shown.at);
    let head = Rect::from_min_size(rect.min, vec2(rect.width(), HEAD)).shrink2(vec2(PAD, 4.0));
    let count = (shown.comparison.columns.get(shown.at)).map_or(0, |c| c.rows.len());
    let stacked = (shown.night.comparing.fields.get(shown.at)).map_or(1, |field| field.frames);
    let below = match stacked {
        0 | 1 => frames(count),
        some => format!("{some} stacked"),
    };
    let id = ui.scope_id().with(("head", shown.at));
    let response = ui.interact(head, id, Sense::click());
    response.widget_info(|| {
        let best = if is_best { ", best here" } else { "" };
        WidgetInfo::labeled(Role::Button, true, format!("{name}, {below}{best}"))
    });
    if response.gained_focus() {
        response.scroll_to_me(None);
    }
    if response.clicked() {
        actions.push(Action::ShowBeside(shown.at));
    }
    if response.hovered() {
        let round = CornerRadius::same(4);
        (ui.painter()).rect_filled(head.expand2(vec2(4.0, 2.0)), round, cx.t.hover);
    }
    widgets::focus_ring(ui, head, &response, cx.t);
    response.on_hover_text("Show it large beside the best one");
    let painter = ui.painter().with_clip_rect(head.intersect(ui.clip_rect()));
    let points = if shown.layout.column < 150.0 {
        size::FINDING
    } else {
        size::HEADING
    };
    painter.text(
        head.min,
        Align2::LEFT_TOP,
        &name,
        theme::words(points),
        cx.t.ink,
    );
    let small = theme::words(size::SMALL);
    painter.text(
        head.left_bottom(),
        Align2::LEFT_BOTTOM,
        below,
        small.clone(),
        cx.t.ink2,
    );
    if is_best {
        painter.text(
            head.right_bottom(),
            Align2::RIGHT_BOTTOM,
            "best here",
            small,
            cx.t.ink,
        );
    }
}

/// The number with its error, and a bar as long as it is large.
fn number(
    ui: &Ui,
    cx: Cx<'_>,
    cell: Rect,
    row: &CompareRow,
    column: &crate::advice::compare::Column,
    largest: f64,
) {
    let painter = ui.painter().with_clip_rect(cell.intersect(ui.clip_rect()));
    let value = (row.value)(column);
    let ink = if value.is_some() { cx.t.ink } else { cx.t.ink3 };
    if let Some(second) = row.second_text(column) {
        let font = theme::numbers(size::SMALL - 0.5);
        for (line, text) in [row.text(column), second].into_iter().enumerate() {
            let top = cell.top() + 2.5 + 14.5 * line as f32;
            let at = pos2(cell.left(), top);
            painter.text(at, Align2::LEFT_TOP, text, font.clone(), ink);
        }
        return;
    }
    let font = theme::numbers(size::BUTTON);
    let text = painter.layout_no_wrap(row.text(column), font, ink);
    let at = pos2(cell.left(), cell.top() + 7.0);
    let end = at.x + text.size().x;
    let base = at.y + text.size().y;
    painter.galley(at, text, ink);
    let small = theme::numbers(size::TICK);
    let error = painter.layout_no_wrap(row.error_text(column), small, cx.t.ink3);
    if end + 6.0 + error.size().x <= cell.right() {
        painter.galley(
            pos2(end + 6.0, base - error.size().y - 1.0),
            error,
            cx.t.ink3,
        );
    }
    let Some(value) = value.filter(|_| largest > 0.0) else {
        return;
    };
    let share = (value.value / largest).clamp(0.0, 1.0) as f32;
    let length = (share * cell.width()).max(1.0);
    let bar = Rect::from_min_size(pos2(cell.left(), cell.bottom() - 9.0), vec2(length, 3.0));
    painter.rect_filled(bar, 1.0, cx.t.ink2);
}

/// What the page says when there is nothing to compare.
pub(super) fn nothing(ui: &mut Ui, cx: Cx<'_>, words: &str) {
    ui.add_space(24.0);
    ui.set_max_width(560.0);
    widgets::text(ui, "Nothing to compare yet", size::HEADING, cx.t.ink);
    ui.add_space(4.0);
    widgets::text(ui, words, size::BODY, cx.t.ink2);
}
