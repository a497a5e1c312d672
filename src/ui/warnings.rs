//! What the person should know, collected in one place: notices, unreadable frames, remarks about
//! the night.

use egui::Ui;

use super::theme::size;
use super::widgets::{self, Button};
use super::{Cx, card_at_foot};
use crate::app::answer;
use crate::app::{Action, Model, OpenNight};

/// How many warnings there are: failures told, remarks about the night, unreadable frames.
pub(super) fn count(model: &Model) -> usize {
    let errors = model.notices.iter().filter(|n| n.is_error).count();
    let night = model.night.as_ref().map_or(0, |night| {
        night.night().warnings.len() + usize::from(!failed(night).is_empty())
    });
    errors + night
}

/// The first remark about the night.
pub(super) fn first(model: &Model) -> Option<String> {
    let night = model.night.as_ref()?;
    let failed = failed(night);
    if !failed.is_empty() {
        return Some(failed_words(&failed));
    }
    night.night().warnings.first().cloned()
}

/// Places of the frames that could not be read.
fn failed(night: &OpenNight) -> Vec<usize> {
    (night.frames().iter().enumerate())
        .filter(|&(_, &row)| (night.night().rows.get(row)).is_some_and(|r| r.error.is_some()))
        .map(|(place, _)| place)
        .collect()
}

fn failed_words(places: &[usize]) -> String {
    let numbers = answer::numbers_of(places);
    match places.len() {
        1 => format!("1 frame could not be read: {numbers}"),
        n => format!("{n} frames could not be read: {numbers}"),
    }
}

/// The list over the status line, while it is asked for.
pub(super) fn show(ui: &Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    if !cx.model.warnings_shown {
        return;
    }
    card_at_foot(ui, cx, "warnings", |ui| list(ui, cx, actions));
}

fn list(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    ui.horizontal(|ui| {
        widgets::text(ui, "To know", size::HEADING, cx.t.ink);
        let right = egui::Layout::right_to_left(egui::Align::Center);
        ui.with_layout(right, |ui| {
            if Button::new("Close").show(ui, cx.t).clicked() {
                actions.push(Action::ToggleWarnings);
            }
        });
    });
    if let Some(night) = &cx.model.night {
        unreadable(ui, cx, night, actions);
        for warning in &night.night().warnings {
            widgets::rule(ui, cx.t);
            widgets::text(ui, warning.clone(), size::BODY, cx.t.ink);
        }
    }
    for (index, notice) in cx.model.notices.iter().enumerate().rev() {
        widgets::rule(ui, cx.t);
        widgets::text(ui, notice.text.clone(), size::BODY, cx.t.ink);
        let name = format!("Drop: {}", notice.text);
        if Button::new("Drop").name(name).show(ui, cx.t).clicked() {
            actions.push(Action::DismissNotice(index));
        }
    }
}

fn unreadable(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, actions: &mut Vec<Action>) {
    let places = failed(night);
    let Some((_, row)) = places.first().and_then(|&place| night.row_at(place)) else {
        return;
    };
    widgets::rule(ui, cx.t);
    widgets::text(ui, failed_words(&places), size::BODY, cx.t.ink);
    let meaning = "Left out; each counts as a missing frame in the trails.";
    widgets::text(ui, meaning, size::SMALL, cx.t.ink2);
    if let Some(error) = &row.error {
        widgets::text(ui, error.clone(), size::SMALL, cx.t.ink3);
    }
    ui.horizontal(|ui| {
        let show = Button::new("Show").name("Show the frames that could not be read");
        if show.show(ui, cx.t).clicked() {
            actions.push(Action::ChoosePlaces(places.clone()));
        }
        if Button::new("Try again").show(ui, cx.t).clicked() {
            actions.push(Action::Resume(true));
        }
    });
}
