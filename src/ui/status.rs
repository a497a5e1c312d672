//! The line at the foot: what runs, how far, what to be warned of.

use egui::Ui;

use super::Cx;
use crate::app::Action;

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let _ = actions;
    ui.painter().rect_filled(ui.max_rect(), 0.0, cx.t.panel);
}
