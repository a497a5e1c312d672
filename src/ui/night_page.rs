//! The night at a glance: lanes above, the chosen frame below, the answer on the right.

use egui::{Align, Layout, Rect, Stroke, Ui, pos2, vec2};

use super::theme::{self, size};
use super::widgets::Look;
use super::{Cx, chart_view, facts, frame_block, inside, on_ground, panel, supplied, widgets};
use crate::app::{Action, OpenNight};

/// What the page keeps from one pass to the next.
#[derive(Debug, Default)]
pub(super) struct State {
    chart: chart_view::State,
    supplied: supplied::State,
}

/// The states of the page's blocks.
pub(super) struct Blocks<'a> {
    pub(super) state: &'a mut State,
    pub(super) frame: &'a mut frame_block::State,
    pub(super) panel: &'a mut panel::State,
}

/// Height of the title row, points.
const TITLE: f32 = 40.0;

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, blocks: &mut Blocks<'_>, actions: &mut Vec<Action>) {
    let area = ui.max_rect();
    if cx.model.frame_fills {
        inside(ui, "frame", area, |ui| {
            frame_block::show(ui, cx, blocks.frame, actions);
        });
        return;
    }
    // In a narrow window the title needs the whole width.
    let (head, body) = area.split_top_bottom_at_y(area.top() + TITLE);
    let panel_area = if cx.fold.narrow { body } else { area };
    let panel_width = cx.fold.panel_width();
    let split = panel_area.right() - panel_width;
    let right = Rect::from_min_max(pos2(split, panel_area.top()), panel_area.max);
    let left = Rect::from_min_max(body.min, pos2(split, body.bottom()));
    let head = if cx.fold.narrow {
        head
    } else {
        head.with_max_x(split)
    };
    inside(ui, "title", head, |ui| {
        title_row(ui, cx, &mut blocks.state.supplied, actions);
    });
    let chart_height = inside(ui, "chart", left, |ui| {
        chart_view::show(ui, cx, &mut blocks.state.chart, actions)
    });
    let below = left.with_min_y(left.top() + chart_height);
    ui.painter().hline(
        below.x_range(),
        below.top() + 0.5,
        Stroke::new(1.0, cx.t.line),
    );
    let below = below.with_min_y(below.top() + 1.0);
    inside(ui, "frame", below, |ui| {
        frame_block::show(ui, cx, blocks.frame, actions);
    });
    on_ground(ui, "panel", right, cx.t.panel, |ui| {
        panel::show(ui, cx, blocks.panel, actions);
    });
    ui.painter().vline(
        right.left() + 0.5,
        right.y_range(),
        Stroke::new(1.0, cx.t.line),
    );
}

/// The night's name and facts, the choice of camera where there are several, and what the camera
/// could not say. Also the head of the table's page.
pub(super) fn title_row(
    ui: &mut Ui,
    cx: Cx<'_>,
    supplied: &mut supplied::State,
    actions: &mut Vec<Action>,
) {
    let Some(open) = &cx.model.night else {
        return;
    };
    let inner = ui.max_rect().shrink2(vec2(12.0, 0.0));
    inside(ui, "row", inner, |ui| {
        ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
            let title = widgets::text(ui, open.title.clone(), size::TITLE, cx.t.ink);
            let places: Vec<String> = (open.paths.iter())
                .map(|path| path.display().to_string())
                .collect();
            if !places.is_empty() {
                title.on_hover_text(places.join("\n"));
            }
            ui.add_space(8.0);
            cameras(ui, cx, open, actions);
            let unknown = facts::unknown(open);
            if let Some(unknown) = unknown {
                widgets::text(ui, unknown, size::BODY, cx.t.ink);
                supplied::button(ui, cx, supplied, Look::Plain, actions);
                ui.add_space(6.0);
            }
            let quiet = if unknown.is_none() {
                supplied::width(ui)
            } else {
                0.0
            };
            let room = (ui.available_width() - quiet).max(0.0);
            let text = fitting(ui, cx, facts::of_night(open, cx.fold), room);
            widgets::text(ui, text, size::BODY, cx.t.ink2);
            if unknown.is_none() {
                ui.add_space(6.0);
                supplied::button(ui, cx, supplied, Look::Text, actions);
            }
        });
    });
}

/// As many facts as fit, from the first.
fn fitting(ui: &Ui, cx: Cx<'_>, mut facts: Vec<String>, room: f32) -> String {
    loop {
        let text = facts.join(" · ");
        let font = theme::words(size::BODY);
        let galley = ui.painter().layout_no_wrap(text.clone(), font, cx.t.ink2);
        if galley.size().x <= room || facts.pop().is_none() {
            return text;
        }
    }
}

fn cameras(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, actions: &mut Vec<Action>) {
    let sets = &open.night().sets;
    if sets.len() < 2 {
        return;
    }
    let names: Vec<String> = (sets.iter().enumerate())
        .map(|(index, set)| {
            let camera = set.camera.camera.trim();
            if camera.is_empty() {
                format!("camera {}", index + 1)
            } else {
                format!("{camera} ({})", set.frames.len())
            }
        })
        .collect();
    let label = names.get(open.set).cloned().unwrap_or_default();
    let button = widgets::Button::new(&label)
        .menu()
        .name(format!("Camera: {label}"))
        .show(ui, cx.t);
    egui::Popup::menu(&button).show(|ui| {
        for (index, name) in names.iter().enumerate() {
            if ui.selectable_label(index == open.set, name).clicked() {
                actions.push(Action::ChooseSet(index));
            }
        }
    });
    ui.add_space(6.0);
}
