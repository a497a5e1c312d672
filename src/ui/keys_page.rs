//! All keys, from the table of commands.

use egui::{CornerRadius, Rect, Sense, Stroke, StrokeKind, Ui, pos2, vec2};

use super::theme::{self, size};
use super::widgets::{self, Button};
use super::{Cx, inside};
use crate::app::Action;
use crate::app::commands::{COMMANDS, Command, Group};

/// Draws the page over all of `ui`.
pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let area = ui.max_rect();
    ui.painter().rect_filled(area, 0.0, cx.t.bg);
    let inner = area.shrink2(vec2(24.0, 12.0));
    inside(ui, "keys", inner, |ui| {
        ui.horizontal(|ui| {
            widgets::text(ui, "Keys", size::TITLE, cx.t.ink);
            ui.add_space(12.0);
            let close = Button::new("Close").name("Close the keys").show(ui, cx.t);
            if close.on_hover_text("Back to the night (Esc)").clicked() {
                actions.push(Action::ToggleKeys);
            }
            ui.add_space(12.0);
            let hint = "Letters do nothing while a text field has focus.";
            widgets::text(ui, hint, size::SMALL, cx.t.ink3);
        });
        ui.add_space(6.0);
        let rest = ui.available_rect_before_wrap();
        columns(ui, cx, rest);
    });
}

fn columns(ui: &mut Ui, cx: Cx<'_>, rect: Rect) {
    let count = if rect.width() > 1000.0 { 3 } else { 2 };
    let gap = 24.0;
    let width = (rect.width() - gap * (count - 1) as f32) / count as f32;
    let (mut column, mut y) = (0, rect.top());
    let height_of = |commands: usize| 30.0 + 25.0 * commands as f32 + 18.0;
    // Even columns: each takes its share of the whole, and a group is never torn.
    let with_key = || COMMANDS.iter().filter(|command| !command.keys.is_empty());
    let whole = height_of(with_key().count()) + 48.0 * (Group::ALL.len() - 1) as f32;
    let share = whole / count as f32;
    for group in Group::ALL {
        let commands: Vec<_> = with_key().filter(|c| c.group == group).collect();
        let height = height_of(commands.len());
        let is_over = y + height / 2.0 > rect.top() + share;
        if is_over && y > rect.top() && column + 1 < count {
            column += 1;
            y = rect.top();
        }
        let left = rect.left() + column as f32 * (width + gap);
        let block = Rect::from_min_size(pos2(left, y), vec2(width, height));
        inside(ui, group.label(), block, |ui| {
            ui.spacing_mut().item_spacing.y = 0.0;
            widgets::text(ui, group.label(), size::HEADING, cx.t.ink);
            ui.add_space(6.0);
            for command in commands {
                row(ui, cx, command);
            }
        });
        y += height;
    }
}

fn row(ui: &mut Ui, cx: Cx<'_>, command: &Command) {
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), 25.0), Sense::hover());
    let keys: Vec<String> = command.keys.iter().map(|key| key.words()).collect();
    response.widget_info(|| {
        let name = format!("{}: {}", keys.join(" or "), command.tip);
        egui::WidgetInfo::labeled(egui::Role::Label, true, name)
    });
    let painter = ui.painter();
    painter.hline(rect.x_range(), rect.top(), Stroke::new(1.0, cx.t.line));
    let mut x = rect.left();
    for key in keys.iter().take(2) {
        let galley = painter.layout_no_wrap(key.clone(), theme::numbers(12.0), cx.t.ink);
        let cap = Rect::from_min_size(
            pos2(x, rect.center().y - 9.0),
            vec2(galley.size().x + 12.0, 18.0),
        );
        painter.rect(
            cap,
            CornerRadius::same(3),
            cx.t.raise,
            Stroke::new(1.0, cx.t.line2),
            StrokeKind::Inside,
        );
        painter.galley(cap.center() - galley.size() / 2.0, galley, cx.t.ink);
        x = cap.right() + 4.0;
    }
    let tip = painter.layout_no_wrap(command.tip.to_owned(), theme::words(13.0), cx.t.ink2);
    let at = pos2(
        (rect.left() + 128.0).max(x + 6.0),
        rect.center().y - tip.size().y / 2.0,
    );
    painter.galley(at, tip, cx.t.ink2);
}
