//! The run of frames in the result: both ends can be dragged, between the longest and the cleanest.

use egui::{
    Align, CornerRadius, CursorIcon, Layout, Painter, Rect, Sense, Stroke, StrokeKind, Ui,
    WidgetInfo, pos2, vec2,
};

use super::theme::{Tokens, size};
use super::widgets::{self, Button, Look};
use super::{Cx, inside};
use crate::app::{Action, OpenNight, ResultAction, RunEnd};
use crate::chart::axis::number;
use crate::verdict::Verdict;

/// Height of the words over the track, points.
const WORDS: f32 = 30.0;
/// Half the width of what can be taken hold of at an end, points.
const GRIP: f32 = 9.0;
/// Share of the ribbon that hangs below its line.
const BELOW: f32 = 0.28;

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, night: &OpenNight, actions: &mut Vec<Action>) {
    let area = ui.max_rect();
    let (words, track) = area.split_top_bottom_at_y(area.top() + WORDS);
    let Some(run) = night.run() else {
        return;
    };
    inside(ui, "run words", words, |ui| {
        words_row(ui, cx, night, run, actions);
    });
    let track = track
        .shrink2(vec2(GRIP, 0.0))
        .with_max_y(track.bottom() - 8.0);
    let painter = ui.painter().clone();
    painter.rect_filled(track, 0.0, cx.t.plot);
    ribbon(&painter, cx.t, track, night);
    let count = night.frames().len().max(1);
    let x_of = |edge: usize| track.left() + track.width() * edge as f32 / count as f32;
    let shaded = cx.t.bg.gamma_multiply(0.72);
    let (from, to) = (x_of(run.0), x_of(run.1 + 1));
    painter.rect_filled(track.with_max_x(from), 0.0, shaded);
    painter.rect_filled(track.with_min_x(to), 0.0, shaded);
    let inner = Rect::from_min_max(pos2(from, track.top()), pos2(to, track.bottom()));
    painter.rect_stroke(inner, 0.0, Stroke::new(1.0, cx.t.ink2), StrokeKind::Inside);
    for (end, x) in [(RunEnd::First, from), (RunEnd::Last, to)] {
        grip(ui, cx, night, (track, x), (end, run), actions);
    }
}

fn words_row(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    run: (usize, usize),
    actions: &mut Vec<Action>,
) {
    ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
        let words = format!("Frames {} to {}", run.0 + 1, run.1 + 1);
        widgets::text(ui, words, size::BODY, cx.t.ink);
        let ends = [
            (
                "Longest",
                night.longest_run(),
                "All frames that can be read, to both ends",
            ),
            (
                "As judged",
                night.judged_run(),
                "The run that the verdicts leave",
            ),
            (
                "Cleanest",
                night.cleanest_run(),
                "From the first frame to keep to the last",
            ),
        ];
        for (label, wanted, tip) in ends {
            let Some(wanted) = wanted else {
                continue;
            };
            let tip = format!("{tip}: frames {} to {}", wanted.0 + 1, wanted.1 + 1);
            let name = format!("{label} run");
            let button = Button::new(label).name(name).pressed(wanted == run);
            let button = if wanted == run {
                button.look(Look::InForce(cx.t.ink))
            } else {
                button
            };
            if button.show(ui, cx.t).on_hover_text(tip).clicked() {
                let is_judged = Some(wanted) == night.judged_run();
                let action = if is_judged {
                    ResultAction::RunAsJudged
                } else {
                    ResultAction::Run(wanted.0, wanted.1)
                };
                actions.push(action.into());
            }
        }
        if night
            .resulting
            .run
            .is_some_and(|run| Some(run) != night.judged_run())
        {
            let button = Button::new("Make it the verdict").look(Look::Advised);
            let tip =
                "Reject what lies outside, keep what lies inside at the ends (Z takes it back)";
            if button.show(ui, cx.t).on_hover_text(tip).clicked() {
                actions.push(ResultAction::DecideRun.into());
            }
        }
        let outcome = &night.outcome;
        let longest = outcome
            .possible_arc_deg
            .map(|arc| format!("longest {}°", number(arc, 1)));
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            if let Some(longest) = longest.filter(|_| ui.available_width() > 120.0) {
                widgets::text(ui, longest, size::SMALL, cx.t.ink3);
            }
        });
    });
}

/// One end: drag it, or hold it with Tab and use the arrows.
fn grip(
    ui: &Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    (track, x): (Rect, f32),
    (end, run): (RunEnd, (usize, usize)),
    actions: &mut Vec<Action>,
) {
    let rect = Rect::from_center_size(
        pos2(x, track.center().y),
        vec2(2.0 * GRIP, track.height() + 6.0),
    );
    let id = ui.scope_id().with(("end of the run", end == RunEnd::First));
    let response = ui.interact(rect, id, Sense::click_and_drag());
    let count = night.frames().len();
    let (word, place) = match end {
        RunEnd::First => ("First", run.0),
        RunEnd::Last => ("Last", run.1),
    };
    response.widget_info(|| {
        let name = format!("{word} frame of the run: {} of {count}", place + 1);
        WidgetInfo::slider(true, (place + 1) as f64, name)
    });
    let response = response.on_hover_cursor(CursorIcon::ResizeHorizontal);
    if response.is_pointer_button_down_on() {
        response.request_focus();
    }
    if response.has_focus() && night.resulting.held != Some(end) {
        actions.push(ResultAction::Hold(Some(end)).into());
    } else if response.lost_focus() && night.resulting.held == Some(end) {
        actions.push(ResultAction::Hold(None).into());
    }
    if let Some(pointer) = response
        .interact_pointer_pos()
        .filter(|_| response.dragged())
    {
        let share = ((pointer.x - track.left()) / track.width().max(1.0)).clamp(0.0, 1.0);
        let edge = (share * count as f32).round() as usize;
        let wanted = match end {
            RunEnd::First => (edge.min(run.1), run.1),
            RunEnd::Last => (run.0, edge.max(run.0 + 1) - 1),
        };
        if wanted != run {
            actions.push(ResultAction::Run(wanted.0, wanted.1).into());
        }
    }
    let bar = Rect::from_center_size(rect.center(), vec2(8.0, rect.height()));
    let painter = ui.painter();
    let edge = Stroke::new(1.0, cx.t.bg);
    painter.rect(
        bar,
        CornerRadius::same(3),
        cx.t.prim,
        edge,
        StrokeKind::Outside,
    );
    painter.vline(
        bar.center().x,
        bar.shrink(7.0).y_range(),
        Stroke::new(1.0, cx.t.prim_ink),
    );
    widgets::focus_ring(ui, bar, &response, cx.t);
    response.on_hover_text(format!("{word} frame: {}", place + 1));
}

/// The frames' verdicts in the shape code of the ribbon, one after the other.
pub(super) fn ribbon(painter: &Painter, t: &Tokens, rect: Rect, night: &OpenNight) {
    let count = night.frames().len().max(1);
    let line = (rect.bottom() - rect.height() * BELOW).round();
    let full = line - rect.top() - 1.0;
    let x_of = |edge: usize| rect.left() + rect.width() * edge as f32 / count as f32;
    let mut place = 0;
    while place < count {
        let verdict_at = |at: usize| night.frames().get(at).map(|&row| night.verdict_of(row));
        let verdict = verdict_at(place);
        let mut to = place + 1;
        while to < count && verdict_at(to) == verdict {
            to += 1;
        }
        let (left, right) = (x_of(place), x_of(to).max(x_of(place) + 1.0));
        let bar = |low: f32, high: f32, colour| {
            let bar = Rect::from_min_max(
                pos2(left, line - high * full),
                pos2(right, line - low * full),
            );
            painter.rect_filled(bar, 0.0, colour);
        };
        match verdict {
            Some(Verdict::Keep) => {
                bar(0.0, 1.0, t.keep.gamma_multiply(0.42));
                bar(1.0 - 2.0 / full.max(1.0), 1.0, t.keep);
            }
            Some(Verdict::Doubtful) => {
                bar(0.0, 0.24, t.doubt);
                bar(0.38, 0.56, t.doubt);
            }
            Some(Verdict::Reject) => {
                let hang = Rect::from_min_max(pos2(left, line), pos2(right, rect.bottom()));
                painter.rect_filled(hang, 0.0, t.rej);
            }
            None => {}
        }
        place = to;
    }
    painter.hline(rect.x_range(), line, Stroke::new(1.0, t.line2));
}
