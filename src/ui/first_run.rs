//! The first page a stranger sees: drop a night, open, type a place, a sample, recent nights.

use egui::{Align2, Rect, Role, Sense, Shape, Stroke, StrokeKind, TextEdit, Ui, WidgetInfo};
use egui::{pos2, vec2};

use super::theme::{self, size};
use super::widgets::{self, Button, Look};
use super::{Cx, inside, recent_nights, sky_arcs, status};
use crate::app::{Action, Opening};

/// What the page keeps from one pass to the next.
#[derive(Debug, Default)]
pub struct State {}

/// Share of the width that recent nights take, and the least and most of it, points.
const RECENT_SHARE: f32 = 0.34;
const RECENT: (f32, f32) = (280.0, 480.0);
/// Height of the card with the sample night.
const SAMPLE: f32 = 72.0;

/// Draws the page in all of `ui`: also while a night is being opened, and when that failed.
pub fn show(ui: &mut Ui, cx: Cx<'_>, _state: &mut State, actions: &mut Vec<Action>) {
    let area = ui.max_rect();
    let margin = vec2(
        (area.width() * 0.042).clamp(16.0, 60.0),
        (area.height() * 0.05).clamp(16.0, 42.0),
    );
    let area = area.shrink2(margin);
    let right = (area.width() * RECENT_SHARE).clamp(RECENT.0, RECENT.1);
    let (left, recent) = if cx.fold.tiny {
        area.split_top_bottom_at_fraction(0.6)
    } else {
        area.split_left_right_at_x(area.right() - right)
    };
    let left = if cx.fold.tiny {
        left
    } else {
        left.with_max_x(left.right() - margin.x * 0.66)
    };
    let card_top = left.bottom() - SAMPLE - area.height() * 0.08;
    let zone = left.with_max_y(card_top - 20.0);
    let card = Rect::from_min_size(pos2(left.left(), card_top), vec2(left.width(), SAMPLE));
    drop_zone(ui, cx, zone, actions);
    inside(ui, "sample card", card, |ui| sample_card(ui, cx, actions));
    inside(ui, "recent nights", recent, |ui| {
        recent_nights::show(ui, cx, actions);
    });
}

fn drop_zone(ui: &mut Ui, cx: Cx<'_>, zone: Rect, actions: &mut Vec<Action>) {
    let t = cx.t;
    let hovering = ui.input(|input| !input.raw.hovered_files.is_empty());
    let painter = ui.painter().with_clip_rect(zone.intersect(ui.clip_rect()));
    painter.rect_filled(zone, 6.0, if hovering { t.raise } else { t.plot });
    sky_arcs::paint(&painter, zone.shrink(2.0), t);
    let edge = zone.shrink(1.0);
    let corners = [
        edge.left_top(),
        edge.right_top(),
        edge.right_bottom(),
        edge.left_bottom(),
        edge.left_top(),
    ];
    let dash = Stroke::new(2.0, if hovering { t.ink } else { t.line2 });
    painter.extend(Shape::dashed_line(&corners, dash, 11.0, 6.0));

    // The words stand on a calm ground.
    let block = Rect::from_center_size(zone.center(), vec2(zone.width().min(560.0), 280.0));
    let block = block.intersect(zone.shrink(12.0));
    painter.rect_filled(block, 6.0, t.plot.gamma_multiply(0.92));
    inside(ui, "drop zone", block, |ui| {
        ui.vertical_centered(|ui| {
            ui.spacing_mut().item_spacing.y = 8.0;
            ui.add_space(((block.height() - 196.0) / 2.0).max(0.0));
            if let Some(opening) = &cx.model.opening {
                under_way(ui, cx, opening, actions);
                return;
            }
            let title = if hovering {
                "Let go to open"
            } else {
                "Drop a night of frames here"
            };
            widgets::text(ui, title, 29.0, t.ink);
            let formats = "a folder, or the files themselves: raw, FITS, TIFF, JPEG or PNG";
            widgets::text(ui, formats, size::FINDING, t.ink2);
            ui.add_space(8.0);
            open_row(ui, cx, actions);
            if let Some(error) = &cx.model.open_error {
                trouble(ui, cx, error);
                return;
            }
            ui.add_space(4.0);
            widgets::text(
                ui,
                "Your frames are only read, never changed.",
                size::BODY,
                t.ink2,
            );
            ui.add_space(8.0);
            let then = "Then you see which frames to reject and why, what to change next time, and \
                        what the night will make.";
            ui.scope(|ui| {
                ui.set_max_width(460.0);
                widgets::text(ui, then, size::FINDING, t.ink);
            });
        });
    });
}

/// What is being opened, and how far that is.
fn under_way(ui: &mut Ui, cx: Cx<'_>, opening: &Opening, actions: &mut Vec<Action>) {
    let t = cx.t;
    widgets::text(ui, "Opening", 29.0, t.ink);
    widgets::text(ui, &opening.what, size::FINDING, t.ink2);
    ui.add_space(8.0);
    if let Some(progress) = &opening.progress {
        widgets::text(ui, &progress.job, size::BODY, t.ink);
        status::bar(ui, cx, progress, vec2(320.0, 10.0));
        let count = format!("{} of {}", progress.done, progress.total);
        let count = egui::RichText::new(count).font(theme::numbers(size::BODY));
        ui.label(count.color(t.ink2));
    } else {
        let listing = "Listing its frames and reading their facts…";
        widgets::text(ui, listing, size::BODY, t.ink2);
    }
    ui.add_space(8.0);
    let cancel = Button::new("Cancel").name("Cancel the opening").large();
    let tip = "Stop, and go back to the first page";
    if cancel.show(ui, t).on_hover_text(tip).clicked() {
        actions.push(Action::Cancel);
    }
}

/// Open folder, or type where it is.
fn open_row(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let t = cx.t;
    let open = Button::new("Open folder…").look(Look::Main).large();
    let go = Button::new("Go").name("Go: open the place typed").large();
    let fixed = open.measure(ui).x + go.measure(ui).x + 18.0 + 3.0 * 10.0;
    let field = (ui.available_width() - fixed - 24.0).clamp(80.0, 270.0);
    let (row, _) = ui.allocate_exact_size(vec2(fixed + field, 32.0), Sense::hover());
    inside(ui, "open row", row.expand(3.0), |ui| {
        ui.add_space(3.0);
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 10.0;
            if open
                .show(ui, t)
                .on_hover_text("Open a folder of frames (O)")
                .clicked()
            {
                actions.push(Action::ChooseFolder);
            }
            widgets::text(ui, "or", size::BODY, t.ink2);
            let mut typed = cx.model.typed_path.clone();
            let edit = TextEdit::singleline(&mut typed)
                .id_salt("typed place")
                .hint_text(egui::RichText::new("type or paste where it is").color(t.ink3))
                .font(theme::words(size::BODY))
                .text_color(t.ink)
                .align(egui::Align2::LEFT_CENTER)
                .min_size(vec2(field, 32.0))
                .desired_width(field - 16.0)
                .margin(egui::Margin::symmetric(8, 4));
            let response = ui.add(edit);
            named(ui, &response, "Folder or file to open");
            let entered = response.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
            if typed != cx.model.typed_path {
                actions.push(Action::TypePath(typed));
            }
            if go.show(ui, t).clicked() || entered {
                actions.push(Action::OpenTyped);
            }
        });
    });
}

/// Gives a text field its name for screen readers.
pub(super) fn named(ui: &Ui, response: &egui::Response, name: &str) {
    ui.ctx()
        .accesskit_node_builder(response.id, |node| node.set_label(name.to_owned()));
}

/// What went wrong with the last opening: a word and a border, no colour.
fn trouble(ui: &mut Ui, cx: Cx<'_>, error: &str) {
    let t = cx.t;
    let width = (ui.available_width() - 40.0).clamp(80.0, 480.0);
    let painter = ui.painter().clone();
    let title = painter.layout_no_wrap(
        "Could not be opened".to_owned(),
        theme::words(size::FINDING),
        t.ink,
    );
    let words = painter.layout(error.to_owned(), theme::words(13.0), t.ink2, width - 24.0);
    let height = title.size().y + words.size().y + 16.0;
    let (rect, response) = ui.allocate_exact_size(vec2(width, height), Sense::hover());
    response.widget_info(|| {
        WidgetInfo::labeled(Role::Alert, true, format!("Could not be opened: {error}"))
    });
    painter.rect(
        rect,
        6.0,
        t.panel,
        Stroke::new(1.0, t.ink),
        StrokeKind::Inside,
    );
    let at = rect.min + vec2(12.0, 7.0);
    let below = at + vec2(0.0, title.size().y + 2.0);
    painter.galley(at, title, t.ink);
    painter.galley(below, words, t.ink2);
}

fn sample_card(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let t = cx.t;
    let card = ui.max_rect();
    let painter = ui.painter().clone();
    painter.rect(
        card,
        6.0,
        t.panel,
        Stroke::new(1.0, t.line),
        StrokeKind::Inside,
    );
    let button = Button::new("Make a sample night").large();
    let wanted = button.measure(ui);
    let at = pos2(
        card.right() - 18.0 - wanted.x,
        card.center().y - wanted.y / 2.0,
    );
    let width = (at.x - card.left() - 30.0).max(40.0);
    let title = painter.layout_no_wrap("No night to hand?".to_owned(), theme::words(16.0), t.ink);
    let about =
        "120 simulated frames with cloud, dew, an aircraft and a knock. Takes about 20 seconds.";
    let about = painter.layout(about.to_owned(), theme::words(13.0), t.ink2, width);
    let height = title.size().y + about.size().y + 2.0;
    let top = Align2::LEFT_CENTER
        .anchor_size(
            pos2(card.left() + 18.0, card.center().y),
            vec2(width, height),
        )
        .min;
    let below = top + vec2(0.0, title.size().y + 2.0);
    painter.galley(top, title, t.ink);
    painter.galley(below, about, t.ink2);
    let rect = Rect::from_min_size(at, wanted).expand(3.0);
    inside(ui, "sample button", rect, |ui| {
        ui.add_space(3.0);
        ui.horizontal(|ui| {
            ui.add_space(3.0);
            let enabled = cx.model.opening.is_none();
            let response = button.enabled(enabled).show(ui, t);
            let tip = "Simulated frames; nothing of yours is needed";
            if response.on_hover_text(tip).clicked() {
                actions.push(Action::OpenSample);
            }
        });
    });
}
