//! The right panel: the answer, why, next time, what you will get.

mod answer_view;
mod finding_card;
mod findings;
mod limits;
mod next_view;
mod outcome_view;
mod plan_view;

use std::collections::BTreeMap;

use egui::{Rect, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::theme::{self, size};
use super::{Cx, glossary, inside, widgets};
use crate::app::{Action, FindingKey, OpenNight};

/// The part a narrow panel shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Tab {
    #[default]
    Findings,
    Next,
    Get,
}

/// What the panel keeps from one pass to the next.
#[derive(Debug, Default)]
pub(super) struct State {
    tab: Tab,
    /// Findings the person opened or closed.
    opened: BTreeMap<FindingKey, bool>,
    limits: limits::State,
    plan: plan_view::State,
}

/// Inside the panel's edge, points.
const PAD: f32 = 12.0;

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, state: &mut State, actions: &mut Vec<Action>) {
    let Some(open) = &cx.model.night else {
        return;
    };
    if cx.fold.narrow {
        narrow(ui, cx, open, state, actions);
    } else {
        wide(ui, cx, open, state, actions);
    }
}

fn wide(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, state: &mut State, actions: &mut Vec<Action>) {
    let area = ui.max_rect().with_min_x(ui.max_rect().left() + 1.0);
    let answer_height = answer_view::height(ui, cx, open, area.width());
    let (answer, rest) = area.split_top_bottom_at_y(area.top() + answer_height);
    let get_height = outcome_view::height();
    let (rest, get) = rest.split_top_bottom_at_y(rest.bottom() - get_height);
    let wanted_next = next_view::height(ui, cx, open, area.width());
    let (least, wanted) = findings::heights(ui, cx, open, area.width());
    // Both take what they need. When that is too much, findings keep two open and next time keeps
    // a third; what does not fit scrolls.
    let room = rest.height();
    let most = room - wanted_next.min(room * 0.34);
    let findings_height = (room - wanted_next).max(least).min(wanted).min(most);
    let (findings, next) = rest.split_top_bottom_at_y(rest.top() + findings_height);
    inside(ui, "answer", answer, |ui| answer_view::show(ui, cx, open));
    limits::button(ui, cx, open, &mut state.limits, answer, actions);
    inside(ui, "findings", findings, |ui| {
        findings::show(ui, cx, open, &mut state.opened, actions);
    });
    rule_at(ui, cx, area, next.top());
    inside(ui, "next", next, |ui| {
        next_view::show(ui, cx, open, &mut state.plan, actions);
    });
    rule_at(ui, cx, area, get.top());
    inside(ui, "get", get, |ui| {
        outcome_view::show(ui, cx, open, actions);
    });
}

fn narrow(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, state: &mut State, actions: &mut Vec<Action>) {
    let area = ui.max_rect().with_min_x(ui.max_rect().left() + 1.0);
    let answer_height = answer_view::height(ui, cx, open, area.width());
    let (answer, rest) = area.split_top_bottom_at_y(area.top() + answer_height);
    let (tabs_row, rest) = rest.split_top_bottom_at_y(rest.top() + 38.0);
    inside(ui, "answer", answer, |ui| answer_view::show(ui, cx, open));
    limits::button(ui, cx, open, &mut state.limits, answer, actions);
    inside(ui, "tabs", tabs_row.shrink2(vec2(PAD, 4.0)), |ui| {
        tabs(ui, cx, open, state);
    });
    rule_at(ui, cx, area, rest.top() - 1.0);
    let foot = foot_lines(ui, cx, open, area.width() - 2.0 * PAD);
    let foot_height = foot.size().y + 16.0;
    let (main, foot_area) = rest.split_top_bottom_at_y(rest.bottom() - foot_height);
    inside(ui, "tab", main, |ui| match state.tab {
        Tab::Findings => findings::show(ui, cx, open, &mut state.opened, actions),
        Tab::Next => next_view::show(ui, cx, open, &mut state.plan, actions),
        Tab::Get => outcome_view::show(ui, cx, open, actions),
    });
    rule_at(ui, cx, area, foot_area.top());
    let at = foot_area.min + vec2(PAD, 8.0);
    let (text_rect, text) = (Rect::from_min_size(at, foot.size()), foot.text().to_owned());
    ui.painter().galley(at, foot, cx.t.ink2);
    let response = ui.interact(text_rect, ui.scope_id().with("foot"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &text));
}

fn rule_at(ui: &Ui, cx: Cx<'_>, area: Rect, y: f32) {
    (ui.painter()).hline(area.x_range(), y + 0.5, Stroke::new(1.0, cx.t.line));
}

fn tabs(ui: &mut Ui, cx: Cx<'_>, open: &OpenNight, state: &mut State) {
    let findings = format!("Findings {}", open.judged().findings.len());
    let changes =
        (open.next_time()).map_or(0, |next| next.settings.iter().filter(|s| s.changed).count());
    let next = format!("Next time {changes}");
    let options = [
        (
            Tab::Findings,
            findings.as_str(),
            "What happened, and what to do about it",
        ),
        (Tab::Next, next.as_str(), "What to set differently"),
        (Tab::Get, "You will get", "What the used frames make"),
    ];
    let width = ui.available_width();
    let picked = widgets::segments_over(ui, cx.t, "Panel", &options, state.tab, width);
    if let Some(tab) = picked {
        state.tab = tab;
    }
}

/// Next time and what you will get, a line or two each.
fn foot_lines(ui: &Ui, cx: Cx<'_>, open: &OpenNight, width: f32) -> std::sync::Arc<egui::Galley> {
    let next = next_view::one_line(open);
    let get = outcome_view::one_line(cx, open);
    let text = format!("Next time: {next}\nYou will get: {get}");
    ui.painter()
        .layout(text, theme::words(13.0), cx.t.ink2, width)
}

/// A heading with a hint at the right.
fn heading(ui: &Ui, cx: Cx<'_>, rect: Rect, title: &str, hint: &str) {
    let painter = ui.painter();
    let left = pos2(rect.left() + PAD, rect.center().y);
    let font = theme::words(size::HEADING);
    let align = egui::Align2::LEFT_CENTER;
    painter.text(left, align, title, font, cx.t.ink);
    let right = pos2(rect.right() - PAD, rect.center().y);
    let font = theme::words(size::SMALL);
    painter.text(right, egui::Align2::RIGHT_CENTER, hint, font, cx.t.ink3);
    let response = ui.interact(rect, ui.scope_id().with(title), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, title));
    let meaning = glossary::meaning(title);
    if !meaning.is_empty() {
        response.on_hover_text(meaning);
    }
}
