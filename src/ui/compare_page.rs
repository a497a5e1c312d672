//! Settings side by side: crops and numbers of each, and which to use.

use egui::{Align, Layout, Rect, Stroke, Ui, pos2, vec2};

use super::compare_crops::Crops;
use super::theme::size;
use super::widgets::{self, Button, Look};
use super::{
    Cx, compare_pair, compare_panel, compare_table, inside, night_page, on_ground, supplied,
};
use crate::advice::Comparison;
use crate::app::commands::{Command, command};
use crate::app::{Action, OpenNight, PictureZoom};

/// What the page keeps from one pass to the next.
#[derive(Debug, Default)]
pub(super) struct State {
    crops: Crops,
    pair: compare_pair::State,
    supplied: supplied::State,
    /// The place of the crops when the pair last looked there.
    place: usize,
}

/// Heights of the title row and of the row of controls, points.
const TITLE: f32 = 40.0;
const CONTROLS: f32 = 34.0;

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, state: &mut State, actions: &mut Vec<Action>) {
    let Some(night) = &cx.model.night else {
        return;
    };
    let area = ui.max_rect();
    let several = night.comparison().filter(|c| c.has_several());
    let wants_panel = several.is_some() && night.comparing.pair.is_none();
    let panel = if wants_panel {
        cx.fold.panel_width()
    } else {
        0.0
    };
    let split = area.right() - panel;
    let (head, body) = area.split_top_bottom_at_y(area.top() + TITLE);
    let (head, right) = if cx.fold.narrow {
        (head, body.with_min_x(split))
    } else {
        (head.with_max_x(split), area.with_min_x(split))
    };
    let left = Rect::from_min_max(body.min, pos2(split, body.bottom()));
    inside(ui, "compare title", head, |ui| {
        night_page::title_row(ui, cx, &mut state.supplied, actions);
    });
    let inner = left.shrink2(vec2(12.0, 0.0));
    let Some(comparison) = several else {
        let words = night.comparison().map_or("", |c| c.headline.as_str());
        inside(ui, "nothing", inner, |ui| {
            compare_table::nothing(ui, cx, words);
        });
        return;
    };
    let (controls, rest) = inner.split_top_bottom_at_y(inner.top() + CONTROLS);
    inside(ui, "controls", controls, |ui| {
        controls_row(ui, cx, night, comparison, state, actions);
    });
    if let Some(pair) = night.comparing.pair {
        if state.place != night.comparing.place {
            state.place = night.comparing.place;
            state.pair.look_at(night, night.comparing.place_share());
        }
        inside(ui, "pair", rest.with_max_y(rest.bottom() - 8.0), |ui| {
            compare_pair::show(ui, cx, night, pair, &mut state.pair, actions);
        });
        return;
    }
    inside(ui, "table", rest, |ui| {
        compare_table::show(ui, cx, night, comparison, &mut state.crops, actions);
    });
    on_ground(ui, "compare panel", right, cx.t.panel, |ui| {
        compare_panel::show(ui, cx, night, comparison, actions);
    });
    ui.painter().vline(
        right.left() + 0.5,
        right.y_range(),
        Stroke::new(1.0, cx.t.line),
    );
}

fn tip(id: &str) -> String {
    command(id).map_or_else(String::new, Command::tip_with_key)
}

fn controls_row(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    comparison: &Comparison,
    state: &mut State,
    actions: &mut Vec<Action>,
) {
    let comparing = &night.comparing;
    let is_pair = comparing.pair.is_some();
    ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
        if is_pair {
            let in_force = state.pair.zoom_in_force();
            for (zoom, label, tip) in [
                (PictureZoom::Fit, "Fit", "All of both frames (X)"),
                (PictureZoom::OneToOne, "1:1", "One sample, one pixel (X)"),
            ] {
                let button = Button::new(label)
                    .name(format!("Both at {label}"))
                    .pressed(in_force == Some(zoom));
                if button.show(ui, cx.t).on_hover_text(tip).clicked() {
                    state.pair.forget_own_look();
                    actions.push(Action::SetPictureZoom(zoom));
                }
            }
            widgets::text(
                ui,
                "Scroll zooms both, dragging moves both",
                size::SMALL,
                cx.t.ink2,
            );
        } else {
            crops_controls(ui, cx, night, comparison, actions);
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let (label, look) = if is_pair {
                ("All settings", Look::Main)
            } else {
                ("Side by side", Look::Plain)
            };
            let pair = Button::new(label).look(look).show(ui, cx.t);
            if pair.on_hover_text(tip("side-by-side")).clicked() {
                actions.push(Action::ToggleSideBySide);
            }
            let crop = Button::new("Move crop").show(ui, cx.t);
            if crop.on_hover_text(tip("move-crop")).clicked() {
                actions.push(Action::MoveCrop);
            }
        });
    });
}

/// How the crops are shown.
fn crops_controls(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    comparison: &Comparison,
    actions: &mut Vec<Action>,
) {
    let comparing = &night.comparing;
    widgets::text(ui, "Crops", size::BODY, cx.t.ink2);
    let options = [
        (
            false,
            "Same brightness",
            "All brought to the same sky: compare noise and stars",
        ),
        (
            true,
            "As recorded",
            "One stretch for all: a higher ISO is brighter",
        ),
    ];
    let picked = widgets::segments(ui, cx.t, "Crops", &options, comparing.as_recorded);
    actions.extend(picked.map(Action::ShowAsRecorded));
    ui.add_space(8.0);
    if comparison.varies.exposure {
        let name = "Equal total time";
        let check = widgets::check(ui, cx.t, name, name, comparing.equal_time);
        if check.on_hover_text(tip("equal-time")).clicked() {
            actions.push(Action::ToggleEqualTime);
        }
    }
}
