//! What the used frames make: trails beside those of all frames, or a film.

use egui::{Align, Layout, Rect, Stroke, Ui, pos2, vec2};

use super::theme::size;
use super::widgets::{self, Button, Look};
use super::{
    Cx, inside, night_page, on_ground, result_film, result_panel, result_picture, result_run,
    supplied,
};
use crate::app::commands::{Command, command};
use crate::app::{Action, OpenNight, PictureZoom, ResultAction, ResultView};

/// What the page keeps from one pass to the next.
#[derive(Debug, Default)]
pub(super) struct State {
    supplied: supplied::State,
    picture: result_picture::State,
    film: result_film::State,
}

/// Heights of the title row, of the controls and of the run under the picture, points.
const TITLE: f32 = 40.0;
const CONTROLS: f32 = 34.0;
const RUN: f32 = 62.0;

/// Width of the right panel, points.
const fn panel_width(cx: Cx<'_>) -> f32 {
    if cx.fold.narrow { 336.0 } else { 352.0 }
}

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, state: &mut State, actions: &mut Vec<Action>) {
    let Some(night) = &cx.model.night else {
        return;
    };
    let area = ui.max_rect();
    let split = area.right() - panel_width(cx);
    let (head, body) = area.split_top_bottom_at_y(area.top() + TITLE);
    let (head, right) = if cx.fold.narrow {
        (head, body.with_min_x(split))
    } else {
        (head.with_max_x(split), area.with_min_x(split))
    };
    let left = Rect::from_min_max(body.min, pos2(split, body.bottom())).shrink2(vec2(12.0, 0.0));
    inside(ui, "result title", head, |ui| {
        night_page::title_row(ui, cx, &mut state.supplied, actions);
    });
    let (controls, rest) = left.split_top_bottom_at_y(left.top() + CONTROLS);
    inside(ui, "result controls", controls, |ui| {
        controls_row(ui, cx, night, actions);
    });
    let (picture, run) = rest.split_top_bottom_at_y(rest.bottom() - RUN);
    state.film.play(ui.ctx(), night, actions);
    let is_film = night.resulting.view_for(cx.model.purpose) == ResultView::Film;
    inside(ui, "result picture", picture, |ui| {
        if is_film {
            result_film::large(ui, cx, night, &mut state.film, actions);
        } else {
            result_picture::show(ui, cx, night, &mut state.picture, actions);
        }
    });
    inside(ui, "result run", run, |ui| {
        result_run::show(ui, cx, night, actions);
    });
    on_ground(ui, "result panel", right, cx.t.panel, |ui| {
        result_panel::show(ui, cx, night, is_film, &mut state.film, actions);
    });
    let edge = Stroke::new(1.0, cx.t.line);
    ui.painter()
        .vline(right.left() + 0.5, right.y_range(), edge);
}

/// The tip of a command, with its key.
pub(super) fn tip(id: &str) -> String {
    command(id).map_or_else(String::new, Command::tip_with_key)
}

fn controls_row(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, actions: &mut Vec<Action>) {
    let resulting = &night.resulting;
    let view = resulting.view_for(cx.model.purpose);
    ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
        let views = [
            (
                ResultView::Trails,
                "Trails",
                "What all frames make together",
            ),
            (
                ResultView::Film,
                "Film",
                "One frame after the other (Space plays)",
            ),
        ];
        let picked = widgets::segments(ui, cx.t, "Show", &views, view);
        actions.extend(picked.map(|view| ResultAction::View(view).into()));
        if view == ResultView::Film {
            return;
        }
        ui.add_space(8.0);
        let sides = [
            (
                false,
                "All | used",
                "All frames left of the divider, the used ones right of it",
            ),
            (true, "Used only", "Only the used frames"),
        ];
        let picked = widgets::segments(ui, cx.t, "Frames in it", &sides, resulting.only_used);
        actions.extend(picked.map(|only| ResultAction::OnlyUsed(only).into()));
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let zooms = [
                (PictureZoom::Fit, "Fit", "All of the picture (X)"),
                (
                    PictureZoom::OneToOne,
                    "1:1",
                    "One sample, one pixel: the part looked at is built at full size (X)",
                ),
            ];
            let picked = widgets::segments(ui, cx.t, "Zoom", &zooms, cx.model.picture_zoom);
            actions.extend(picked.map(Action::SetPictureZoom));
            ui.add_space(8.0);
            let notes = widgets::check(ui, cx.t, "Notes", "Notes on the result", resulting.notes);
            if notes.on_hover_text(tip("notes")).clicked() {
                actions.push(ResultAction::ToggleNotes.into());
            }
        });
    });
}

/// How many frames could not be read, with the first one's reason, when no other is there.
fn unreadable(night: &OpenNight) -> Option<(usize, String)> {
    let shown = night.resulting.shown.as_ref()?;
    let (_, why) = shown.left_out.first()?;
    (shown.sides.frames_of_all == 0).then(|| (shown.left_out.len(), why.clone()))
}

/// What stands in place of a picture: words, and what can be done.
pub(super) fn instead(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, actions: &mut Vec<Action>) {
    let area = ui.max_rect();
    ui.painter().rect_filled(area, 2.0, cx.t.plot);
    let resulting = &night.resulting;
    let (words, more) = if let Some(progress) = &night.progress {
        (
            "The result is built once the night is measured".to_owned(),
            format!("{} of {} frames so far", progress.done, progress.total),
        )
    } else if resulting.stopped {
        (
            "Building the result was stopped".to_owned(),
            "What is built stays; nothing is saved unless you ask for it".to_owned(),
        )
    } else if resulting.sources.exposures.is_empty() {
        (
            "There is nothing to put together".to_owned(),
            "No frame of this camera could be read".to_owned(),
        )
    } else if let Some((count, why)) = unreadable(night) {
        (format!("None of the {count} frames could be read"), why)
    } else if resulting.is_current() {
        (
            "No frame is used".to_owned(),
            "Keep some, or choose a longer run below".to_owned(),
        )
    } else {
        let done = night.building.as_ref();
        (
            "The result is being built".to_owned(),
            done.map_or_else(String::new, |p| {
                format!("{} of {} frames so far", p.done, p.total)
            }),
        )
    };
    let middle = Rect::from_center_size(area.center(), vec2(area.width().min(480.0), 110.0));
    inside(ui, "instead", middle, |ui| {
        ui.vertical_centered(|ui| {
            widgets::text(ui, words, size::HEADING, cx.t.ink);
            widgets::text(ui, more, size::BODY, cx.t.ink2);
            if resulting.stopped {
                let button = Button::new("Go on")
                    .look(Look::Main)
                    .name("Build the result on");
                if button.show(ui, cx.t).clicked() {
                    actions.push(ResultAction::GoOn.into());
                }
            }
        });
    });
}
