//! The bar at the top: open, pages, purpose, undo, keys.

use egui::Ui;

use super::Cx;
use crate::app::Action;

/// What the bar keeps from one pass to the next.
#[derive(Debug, Default)]
pub(super) struct State {}

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, state: &mut State, actions: &mut Vec<Action>) {
    let _ = (state, actions);
    ui.painter().rect_filled(ui.max_rect(), 0.0, cx.t.panel);
}
