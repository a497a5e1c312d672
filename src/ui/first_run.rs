//! The first page a stranger sees: drop a night, open, type a place, a sample, recent nights.

use egui::Ui;

use super::Cx;
use crate::app::Action;

/// What the page keeps from one pass to the next.
#[derive(Debug, Default)]
pub struct State {}

/// Draws the page in all of `ui`: also while a night is being opened, and when that failed.
pub fn show(ui: &mut Ui, cx: Cx<'_>, state: &mut State, actions: &mut Vec<Action>) {
    let _ = (ui, cx, state, actions);
}
