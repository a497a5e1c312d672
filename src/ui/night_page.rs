//! The night at a glance: lanes above, the chosen frame below, the answer on the right.

use egui::Ui;

use super::{Cx, frame_block, inside, panel};
use crate::app::Action;

/// What the page keeps from one pass to the next.
#[derive(Debug, Default)]
pub(super) struct State {}

/// The states of the page's blocks.
pub(super) struct Blocks<'a> {
    pub(super) state: &'a mut State,
    pub(super) frame: &'a mut frame_block::State,
    pub(super) panel: &'a mut panel::State,
}

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, blocks: Blocks<'_>, actions: &mut Vec<Action>) {
    let _ = &blocks.state;
    let area = ui.max_rect();
    let (left, right) = area.split_left_right_at_x(area.right() - cx.fold.panel_width());
    let (_, below) = left.split_top_bottom_at_fraction(0.55);
    inside(ui, "frame", below, |ui| {
        frame_block::show(ui, cx, blocks.frame, actions)
    });
    inside(ui, "panel", right, |ui| {
        panel::show(ui, cx, blocks.panel, actions)
    });
}
