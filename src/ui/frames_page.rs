//! Every frame in a table, and what the verdicts are handed on as.

use egui::Ui;

use super::{Cx, frame_block};
use crate::app::Action;

/// What the page keeps from one pass to the next.
#[derive(Debug, Default)]
pub struct State {}

/// Draws the page in all of `ui`, its title row and right panel included. `frame` is shared with
/// the night page so that a picture is on the card once.
pub fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    state: &mut State,
    frame: &mut frame_block::State,
    actions: &mut Vec<Action>,
) {
    let _ = (ui, cx, state, frame, actions);
}
