//! The chosen frame: what it is, its verdict, the picture with marks, five spots.

use egui::Ui;

use super::Cx;
use crate::app::Action;

/// What the block keeps from one pass to the next.
#[derive(Debug, Default)]
pub struct State {}

/// Draws the block in all of `ui`.
pub fn show(ui: &mut Ui, cx: Cx<'_>, state: &mut State, actions: &mut Vec<Action>) {
    let _ = (ui, cx, state, actions);
}
