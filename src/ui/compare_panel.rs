//! The right panel of the Compare page: the recommendation, its reasons, what is won and what it
//! costs.

use egui::{Align2, Role, ScrollArea, Sense, Ui, WidgetInfo, vec2};

use super::theme::{self, size};
use super::widgets::{self, Button, Look};
use super::{Cx, compare_chart};
use crate::advice::Comparison;
use crate::advice::compare::Reason;
use crate::app::{Action, OpenNight};

/// Inside the panel's edge, points.
const PAD: f32 = 12.0;
/// Where the words of a reason start, points.
const FIGURE: f32 = 76.0;
/// Heights of the chart and of the bars, points: as high as there is room, within these.
const CHART: (f32, f32) = (150.0, 290.0);
const COST: f32 = 120.0;

pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    comparison: &Comparison,
    actions: &mut Vec<Action>,
) {
    let area = ui.max_rect();
    let page = area.height();
    let inner = area.shrink2(vec2(PAD, 0.0));
    super::inside(ui, "advice", inner, |ui| {
        ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
            ui.set_max_width(inner.width());
            ui.spacing_mut().item_spacing.y = 4.0;
            ui.add_space(10.0);
            let headline = comparison.headline.clone();
            widgets::text(ui, headline, size::RESULT - 1.0, cx.t.ink);
            if let Some(better) = &comparison.better {
                widgets::text(ui, better.clone(), size::HEADING - 1.0, cx.t.ink);
            }
            ui.add_space(2.0);
            for reason in &comparison.reasons {
                reason_row(ui, cx, reason);
            }
            if !comparison.reasons.is_empty() {
                widgets::rule(ui, cx.t);
            }
            for note in &comparison.notes {
                widgets::text(ui, note.clone(), size::SMALL + 0.5, cx.t.ink2);
            }
            ui.add_space(4.0);
            let copy = Button::new("Copy as text").look(Look::Plain);
            let copy = copy.name("Copy the comparison as text").show(ui, cx.t);
            let tip = "The table and the recommendation, as text";
            if copy.on_hover_text(tip).clicked() {
                actions.push(Action::CopyComparison);
            }
            charts(ui, cx, night, comparison, page);
        });
    });
}

fn charts(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, comparison: &Comparison, page: f32) {
    if comparison.curves.is_empty() {
        return;
    }
    ui.add_space(6.0);
    widgets::rule(ui, cx.t);
    ui.add_space(4.0);
    widgets::text(ui, "What you win: signal-to-noise", size::HEADING, cx.t.ink);
    let said = ui.min_rect().height();
    let room = page - said - COST - 78.0;
    let equal = night.comparing.equal_time;
    let height = room.clamp(CHART.0, CHART.1);
    compare_chart::signal(ui, cx, comparison, height, equal);
    let below = format!(
        "ISO. The same {} stars at each; bars: standard error",
        comparison.stars
    );
    widgets::text(ui, below, size::SMALL, cx.t.ink3);
    ui.add_space(4.0);
    let what = "What it costs: clipped stars";
    widgets::text(ui, what, size::HEADING, cx.t.ink);
    compare_chart::cost(ui, cx, comparison, COST);
    ui.add_space(6.0);
}

/// A rule, the number at the left, what it says at the right.
fn reason_row(ui: &mut Ui, cx: Cx<'_>, reason: &Reason) {
    widgets::rule(ui, cx.t);
    let width = ui.available_width();
    let font = theme::words(size::BODY);
    let words = ui.painter().layout(
        reason.words.clone(),
        font,
        cx.t.ink,
        (width - FIGURE).max(60.0),
    );
    let wanted = vec2(width, words.size().y + 4.0);
    let (rect, response) = ui.allocate_exact_size(wanted, Sense::hover());
    response.widget_info(|| {
        let text = format!("{} {} {}", reason.figure, reason.unit, reason.words);
        WidgetInfo::labeled(Role::Label, true, text)
    });
    let figure = format!("{} {}", reason.figure, reason.unit);
    ui.painter().text(
        rect.left_top() + vec2(FIGURE - 14.0, 1.0),
        Align2::RIGHT_TOP,
        figure.trim_end(),
        theme::numbers(size::FINDING),
        cx.t.ink,
    );
    let at = rect.left_top() + vec2(FIGURE, 2.0);
    ui.painter().galley(at, words, cx.t.ink);
}
