//! Beside the table: the chosen frame small, its verdict, its values against what is typical, and
//! the ways to hand the verdicts on.

use egui::{Align2, Rect, Sense, Stroke, TextEdit, Ui, pos2, vec2};

use super::columns::COLUMNS;
use crate::app::{Action, OpenNight, Page};
use crate::engine::ExportWhat;
use crate::ui::first_run::named;
use crate::ui::fold::Fold;
use crate::ui::frame_view::{self, Seen};
use crate::ui::marks::{self, MarkKind};
use crate::ui::theme::{self, size};
use crate::ui::widgets::{self, Button, Look};
use crate::ui::{Cx, frame_block, frame_words, inside, verdict_buttons};
use crate::verdict::words::number;

/// Height of the block at the foot.
const HAND_ON: f32 = 162.0;

/// Width of the panel, points.
pub(super) const fn width(fold: Fold) -> f32 {
    if fold.narrow { 320.0 } else { 330.0 }
}

/// Draws the panel in all of `ui`.
pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    frame: &mut frame_block::State,
    actions: &mut Vec<Action>,
) {
    let Some(night) = &cx.model.night else { return };
    let area = ui.max_rect();
    let (top, foot) = area.split_top_bottom_at_y(area.bottom() - HAND_ON);
    inside(ui, "side frame", top, |ui| {
        if let Some(seen) = Seen::looked_at(night) {
            about_frame(ui, cx, frame, &seen, actions);
        }
    });
    inside(ui, "side foot", foot, |ui| {
        (ui.painter()).hline(
            foot.x_range(),
            foot.top() + 0.5,
            Stroke::new(1.0, cx.t.line),
        );
        hand_on(ui, cx, night, actions);
    });
}

fn about_frame(
    ui: &mut Ui,
    cx: Cx<'_>,
    frame: &mut frame_block::State,
    seen: &Seen<'_>,
    actions: &mut Vec<Action>,
) {
    let t = cx.t;
    let area = ui.max_rect();
    let head = Rect::from_min_size(
        pos2(area.left(), area.top() + 9.0),
        vec2(area.width(), 26.0),
    );
    heading(ui, cx, seen, head, actions);
    let aspect = seen.turn.as_ref().map_or(1.5, |turn| {
        let (width, height) = turn.size();
        (width / height.max(1.0)) as f32
    });
    // In a low window the values matter more than the picture.
    let room = (area.height() - 320.0).clamp(0.0, area.width() / 1.5);
    let mut y = head.bottom() + 6.0;
    if room > 60.0 {
        let size = vec2(
            area.width().min(room * aspect),
            room.min(area.width() / aspect),
        );
        let picture = Rect::from_min_size(pos2(area.left(), y), size);
        frame_view::show_small(ui, cx, picture, frame, seen);
        y = picture.bottom() + 8.0;
    }
    let rest = area.with_min_y(y);
    inside(ui, "side words", rest, |ui| {
        let words = frame_words::why(seen.night, seen.index, seen.row);
        widgets::text(ui, words, size::BODY, t.ink);
        ui.horizontal(|ui| verdict_buttons::show(ui, cx, seen, true, actions));
        if seen.night.is_set_by_you(seen.index) {
            let follow = Button::new("Follow the advice")
                .look(Look::Text)
                .show(ui, t);
            if follow
                .on_hover_text("Forget your verdict for this frame (A)")
                .clicked()
            {
                actions.push(Action::FollowAdvice);
            }
        }
        ui.add_space(4.0);
        values(ui, cx, seen);
    });
}

fn heading(ui: &mut Ui, cx: Cx<'_>, seen: &Seen<'_>, rect: Rect, actions: &mut Vec<Action>) {
    let t = cx.t;
    let night = seen.night;
    let pending = night.is_pending(seen.index) && !night.is_set_by_you(seen.index);
    let mark = if pending {
        MarkKind::Pending
    } else {
        MarkKind::Verdict(night.verdict_of(seen.index))
    };
    marks::paint(
        ui.painter(),
        pos2(rect.left(), rect.center().y - 9.0),
        15.0,
        mark,
        t,
    );
    let title = format!("Frame {}", seen.number);
    let at = pos2(rect.left() + 24.0, rect.center().y);
    let painter = ui.painter();
    let end = painter.text(
        at,
        Align2::LEFT_CENTER,
        title,
        theme::words(size::HEADING),
        t.ink,
    );
    if let Some(clock) = frame_words::clock_of(night, seen.row) {
        let at = pos2(end.right() + 10.0, rect.center().y);
        painter.text(at, Align2::LEFT_CENTER, clock, theme::words(13.0), t.ink2);
    }
    let button = Button::new("Open in Night").name(format!("Open frame {} in Night", seen.number));
    let left = rect.right() - button.measure(ui).x;
    inside(
        ui,
        "open in night",
        rect.with_min_x(left).expand(2.0),
        |ui| {
            ui.add_space(2.0);
            if button.show(ui, t).clicked() {
                actions.push(Action::GoTo(Page::Night));
            }
        },
    );
}

/// Value against what is typical, a line each.
fn values(ui: &mut Ui, cx: Cx<'_>, seen: &Seen<'_>) {
    let t = cx.t;
    ui.spacing_mut().item_spacing.y = 0.0;
    let room = ui.max_rect().bottom();
    line(ui, cx, ["this frame", "value", "typical"], t.ink3, false);
    let mut rows: Vec<[String; 3]> = Vec::new();
    for column in COLUMNS.iter().filter(|column| !column.is_spare) {
        let Some(value) = (column.value)(seen.row) else {
            continue;
        };
        let typical = (column.typical)(seen.row);
        let typical = typical.map_or_else(String::new, |typical| column.with_unit(typical));
        rows.push([column.name.to_owned(), column.with_unit(value), typical]);
    }
    if let Some(pause) = seen.row.derived.pause_before_s {
        let usual = seen.night.shown_set().and_then(|set| set.pause_s);
        let seconds = |value: f64| format!("{} s", number(value, 1));
        let usual = usual.map_or_else(String::new, seconds);
        rows.push(["pause before".to_owned(), seconds(pause), usual]);
    }
    for [name, value, typical] in rows {
        // Half a line is worse than none.
        if ui.cursor().top() + 25.0 > room {
            break;
        }
        line(ui, cx, [name.as_str(), &value, &typical], t.ink, true);
    }
}

fn line(ui: &mut Ui, cx: Cx<'_>, words: [&str; 3], ink: egui::Color32, is_row: bool) {
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), 25.0), Sense::hover());
    response.widget_info(|| {
        egui::WidgetInfo::labeled(egui::Role::Label, true, words.join(" ").trim_end())
    });
    let painter = ui.painter();
    let font = if is_row {
        theme::numbers(size::SMALL - 0.5)
    } else {
        theme::words(size::SMALL)
    };
    let first = theme::words(if is_row { 13.5 } else { size::SMALL });
    let y = rect.center().y;
    let place = |share: f32| pos2(rect.left() + rect.width() * share, y);
    painter.text(place(0.0), Align2::LEFT_CENTER, words[0], first, ink);
    painter.text(
        place(0.46),
        Align2::LEFT_CENTER,
        words[1],
        font.clone(),
        ink,
    );
    let quiet = if is_row { cx.t.ink2 } else { ink };
    painter.text(place(0.74), Align2::LEFT_CENTER, words[2], font, quiet);
    painter.hline(
        rect.x_range(),
        rect.bottom() - 0.5,
        Stroke::new(1.0, cx.t.line),
    );
}

/// Saving: through the dialog, or to a typed file where there is no dialog.
fn hand_on(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, actions: &mut Vec<Action>) {
    let t = cx.t;
    ui.add_space(10.0);
    widgets::text(ui, "Hand on the verdicts", size::HEADING, t.ink);
    let rejected = night.tally.reject;
    let marked = match rejected {
        1 => "1 frame is marked reject.".to_owned(),
        n => format!("{n} frames are marked reject."),
    };
    let about = format!("Nothing of yours is moved or changed. {marked}");
    widgets::text(ui, about, size::SMALL, t.ink2);
    let is_typed = !cx.model.typed_export.trim().is_empty();
    ui.horizontal_wrapped(|ui| {
        let buttons = [
            (
                "Save list…",
                "One name a line: the frames to use",
                ExportWhat::UsedList,
                Look::Main,
            ),
            (
                "Save rejects…",
                "One name a line: the frames to leave out",
                ExportWhat::RejectedList,
                Look::Plain,
            ),
            (
                "Save table…",
                "All measurements, CSV",
                ExportWhat::Table,
                Look::Plain,
            ),
        ];
        for (label, tip, what, look) in buttons {
            if Button::new(label)
                .look(look)
                .show(ui, t)
                .on_hover_text(tip)
                .clicked()
            {
                actions.push(if is_typed {
                    Action::ExportTyped(what)
                } else {
                    Action::ChooseExport(what)
                });
            }
        }
    });
    let mut typed = cx.model.typed_export.clone();
    let edit = TextEdit::singleline(&mut typed)
        .id_salt("typed export")
        .hint_text(egui::RichText::new("or type a file to save to, then press").color(t.ink3))
        .font(theme::words(13.0))
        .text_color(t.ink)
        .desired_width(ui.available_width() - 16.0);
    let response = ui.add(edit);
    named(ui, &response, "File to save to, in place of the dialog");
    if typed != cx.model.typed_export {
        actions.push(Action::TypeExport(typed));
    }
}
