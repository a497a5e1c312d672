//! The bar over the ribbon while several frames are chosen: how many, their verdict, what
//! rejecting costs.

use egui::{CornerRadius, Rect, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2};

use super::chart_view::{self, Places};
use super::marks::MarkKind;
use super::theme::{self, size};
use super::widgets::{Button, Look};
use super::{Cx, inside};
use crate::app::commands::command;
use crate::app::{Action, OpenNight, answer};
use crate::verdict::Verdict;

pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    open: &OpenNight,
    places: &Places,
    actions: &mut Vec<Action>,
) {
    let t = cx.t;
    let title = format!(
        "{} chosen, {} frames",
        answer::numbers_of(&open.range),
        open.range.len()
    );
    let cost = open.cost_of_rejecting(&open.range, cx.model.purpose);
    let painter = ui.painter().clone();
    let title = painter.layout_no_wrap(title, theme::words(size::BODY), t.ink);
    let cost_wide = painter.layout_no_wrap(cost.clone(), theme::words(size::SMALL), t.ink2);
    let buttons = 236.0;
    let most = places.ribbon.width() + 40.0;
    let width = (title.size().x + buttons + 36.0)
        .max(cost_wide.size().x + 24.0)
        .min(most);
    let cost = painter.layout(cost, theme::words(size::SMALL), t.ink2, width - 24.0);
    let height = 34.0 + cost.size().y + 8.0;
    let centre = chart_view::range_rects(open, places)
        .iter()
        .copied()
        .reduce(Rect::union)
        .map_or(places.ribbon.center().x, |rect| rect.center().x);
    let left = (centre - width / 2.0).clamp(
        places.ribbon.left() - 8.0,
        places.ribbon.right() + 40.0 - width,
    );
    let bottom = places.ribbon.top() - 1.0;
    let rect = Rect::from_min_max(pos2(left, bottom - height), pos2(left + width, bottom));
    // What lies under the bar must not be clicked through it.
    let ground = ui.interact(
        rect,
        ui.scope_id().with("range bar"),
        Sense::click_and_drag(),
    );
    let name = format!("{}. {}", title.text(), cost.text());
    ground.widget_info(|| WidgetInfo::labeled(Role::Label, true, &name));
    painter.rect(
        rect,
        CornerRadius::same(6),
        t.hover,
        Stroke::new(1.0, t.line2),
        StrokeKind::Inside,
    );
    let title_y = rect.top() + 19.0 - title.size().y / 2.0;
    painter.galley(pos2(rect.left() + 12.0, title_y), title, t.ink);
    painter.galley(pos2(rect.left() + 12.0, rect.top() + 35.0), cost, t.ink2);
    let row = Rect::from_min_max(
        pos2(rect.right() - buttons - 10.0, rect.top() + 7.0),
        pos2(rect.right() - 8.0, rect.top() + 31.0),
    );
    inside(ui, "range buttons", row.expand(4.0), |ui| {
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            for verdict in [Verdict::Reject, Verdict::Doubtful, Verdict::Keep] {
                button(ui, cx, open, verdict, actions);
            }
        });
    });
}

fn button(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, verdict: Verdict, actions: &mut Vec<Action>) {
    let Some(command) = command(verdict.word()) else {
        return;
    };
    let key = match verdict {
        Verdict::Keep => "K",
        Verdict::Doubtful => "D",
        Verdict::Reject => "R",
    };
    let all_are = (open.range.iter())
        .filter_map(|&place| open.frames().get(place))
        .all(|&row| open.verdict_of(row) == verdict);
    let look = if all_are {
        Look::InForce(cx.t.verdict(verdict))
    } else {
        Look::Plain
    };
    let mut button = Button::new(command.label)
        .key(key)
        .look(look)
        .pressed(all_are)
        .name(format!(
            "{} the {} chosen frames",
            command.label,
            open.range.len()
        ));
    if all_are {
        button = button.mark(MarkKind::Verdict(verdict));
    }
    let response = button.show(ui, cx.t);
    if response.on_hover_text(command.tip_with_key()).clicked() {
        actions.push(Action::SetVerdict(verdict));
    }
}
