//! The line at the foot: what runs, how far, what to be warned of.

use egui::{Align, CornerRadius, Layout, Rect, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo};
use egui::{pos2, vec2};

use super::facts;
use super::theme::{self, size};
use super::widgets::{self, Button};
use super::{Cx, inside, warnings};
use crate::app::commands::command;
use crate::app::{Action, OpenNight, Page};
use crate::engine::{Progress, Watching};

pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let area = ui.max_rect();
    let painter = ui.painter();
    painter.rect_filled(area, 0.0, cx.t.panel);
    painter.hline(
        area.x_range(),
        area.top() + 0.5,
        Stroke::new(1.0, cx.t.line),
    );
    let inner = area.shrink2(vec2(12.0, 1.0));
    let left = inside(ui, "job", inner, |ui| {
        ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
            job(ui, cx, actions);
            watch(ui, cx, actions);
            ui.min_rect().right()
        })
        .inner
    });
    let rest = Rect::from_min_max(pos2(left + 24.0, inner.top()), inner.max);
    inside(ui, "told", rest, |ui| {
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            told(ui, cx, actions);
        });
    });
}

fn job(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    if let Some(opening) = &cx.model.opening {
        let text = format!("Opening {}…", opening.what);
        widgets::text(ui, text, size::SMALL, cx.t.ink2);
        cancel(ui, cx, actions);
        return;
    }
    let Some(night) = &cx.model.night else {
        widgets::text(ui, "Ready.", size::SMALL, cx.t.ink2);
        return;
    };
    if let Some(progress) = night.building.as_ref().or(night.progress.as_ref()) {
        running(ui, cx, progress);
        cancel(ui, cx, actions);
        return;
    }
    let total = night.night().rows.len();
    let measured = total - night.night().pending.min(total);
    match night.finished {
        Some((_, true)) => {
            let text = format!("Stopped at {measured} of {total}. What was measured stays.");
            widgets::text(ui, text, size::SMALL, cx.t.ink2);
            let tip = format!("Carry on from frame {}", measured + 1);
            let go_on = Button::new("Go on").show(ui, cx.t);
            if go_on.on_hover_text(tip).clicked() {
                actions.push(Action::Resume(false));
            }
        }
        Some((_, false)) if cx.model.page == Page::Result => {
            let text = result_words(night);
            widgets::text(ui, text, size::SMALL, cx.t.ink2);
        }
        Some((took_s, false)) => {
            let text = measured_words(measured, night.kept, took_s);
            widgets::text(ui, text, size::SMALL, cx.t.ink2);
        }
        None => {
            widgets::text(ui, format!("{total} frames"), size::SMALL, cx.t.ink2);
        }
    }
}

/// Whether the result shown is what is asked for.
fn result_words(night: &OpenNight) -> String {
    let resulting = &night.resulting;
    match &resulting.shown {
        _ if resulting.stopped => "The result was stopped; what is built stays.".to_owned(),
        Some(shown) if resulting.is_current() => {
            let frames = crate::verdict::words::plural(
                shown.sides.frames_of_used as usize,
                "frame",
                "frames",
            );
            let took = duration(shown.took_s);
            format!("The result is up to date: {frames}, built in {took}.")
        }
        _ => "The result is not built yet.".to_owned(),
    }
}

/// The switch that watches the folder.
fn watch(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let (Some(night), Some(command)) = (&cx.model.night, command("watch")) else {
        return;
    };
    ui.add_space(6.0);
    let switch = Button::new(command.label).pressed(night.watch.is_on());
    let response = switch.show(ui, cx.t).on_hover_text(command.tip_with_key());
    if response.clicked() {
        actions.extend((command.action)(cx.model));
    }
    let words = match &night.watch.state {
        Watching::Off => return,
        Watching::On => "for new frames",
        Watching::Gone(_) => "until the folder is back",
    };
    widgets::text(ui, words, size::SMALL, cx.t.ink2);
}

/// How many frames are measured, and how many of them in this go.
fn measured_words(measured: usize, kept: usize, took_s: f64) -> String {
    let frames = crate::verdict::words::plural(measured, "frame", "frames");
    let took = duration(took_s);
    match measured.saturating_sub(kept) {
        0 => format!("{frames}, measured before."),
        _ if kept == 0 => format!("{frames} measured in {took}."),
        new => format!("{frames}: {new} measured in {took}, {kept} before."),
    }
}

fn cancel(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    ui.add_space(6.0);
    let cancel = Button::new("Cancel").show(ui, cx.t);
    if (cancel.on_hover_text("Stop; what is measured stays")).clicked() {
        actions.push(Action::Cancel);
    }
}

fn running(ui: &mut Ui, cx: Cx<'_>, progress: &Progress) {
    widgets::text(ui, progress.job.clone(), size::SMALL, cx.t.ink2);
    bar(ui, cx, progress, vec2(160.0, 8.0));
    let count = format!("{} of {}", progress.done, progress.total);
    ui.label(
        egui::RichText::new(count)
            .font(theme::numbers(size::SMALL - 0.5))
            .color(cx.t.ink),
    );
    let mut more = Vec::new();
    more.extend(progress.per_second.map(|rate| {
        let rate = if rate < 10.0 {
            format!("{rate:.1}")
        } else {
            format!("{rate:.0}")
        };
        format!("{rate} frames per second")
    }));
    more.extend(
        progress
            .left_s
            .map(|left| format!("{} left", duration(left))),
    );
    if !more.is_empty() {
        let text = format!("· {}", more.join(" · "));
        widgets::text(ui, text, size::SMALL, cx.t.ink2);
    }
}

/// How far a job is, as a bar of `size` points.
pub(super) fn bar(ui: &mut Ui, cx: Cx<'_>, progress: &Progress, size: egui::Vec2) {
    let (rect, bar) = ui.allocate_exact_size(size, Sense::hover());
    let share = progress.done as f32 / progress.total.max(1) as f32;
    bar.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::ProgressIndicator, true, &progress.job);
        info.value = Some(f64::from(share) * 100.0);
        info
    });
    let painter = ui.painter();
    let round = CornerRadius::same(3);
    painter.rect_filled(rect, round, cx.t.plot);
    let done = vec2(rect.width() * share.clamp(0.0, 1.0), rect.height());
    painter.rect_filled(Rect::from_min_size(rect.min, done), round, cx.t.ink2);
    let edge = Stroke::new(1.0, cx.t.line2);
    painter.rect_stroke(rect, round, edge, StrokeKind::Inside);
}

/// Seconds in words: "24 s", "2 min 24 s".
#[must_use]
pub(super) fn duration(seconds: f64) -> String {
    if seconds < 10.0 {
        return format!("{} s", facts::short(seconds));
    }
    let whole = seconds.round() as u64;
    match (whole / 3600, whole / 60 % 60, whole % 60) {
        (0, 0, s) => format!("{s} s"),
        (0, m, 0) => format!("{m} min"),
        (0, m, s) => format!("{m} min {s} s"),
        (h, m, _) => format!("{h} h {m} min"),
    }
}

/// What is to be told, from the right.
fn told(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let count = warnings::count(cx.model);
    let latest = (cx.model.notices.last().map(|notice| notice.text.clone()))
        .or_else(|| warnings::first(cx.model));
    let Some(latest) = latest else {
        widgets::text(ui, "Press ? for keys", size::SMALL, cx.t.ink3);
        return;
    };
    let label = match (count, cx.model.notices.len()) {
        (0, 1) => "1 note".to_owned(),
        (0, notes) => format!("{notes} notes"),
        (1, _) => "1 warning".to_owned(),
        (warnings, _) => format!("{warnings} warnings"),
    };
    let button = Button::new(&label).pressed(cx.model.warnings_shown);
    let room = ui.available_width() - button.measure(ui).x - 12.0;
    let mut job =
        egui::text::LayoutJob::simple_singleline(latest, theme::words(size::SMALL), cx.t.ink2);
    job.wrap.max_width = room.max(0.0);
    job.wrap.break_anywhere = true;
    job.wrap.max_rows = 1;
    let text = ui.label(job);
    text.on_hover_text("All that is to be told is behind the button");
    let tip = "List them";
    if button.show(ui, cx.t).on_hover_text(tip).clicked() {
        actions.push(Action::ToggleWarnings);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_measured_before_is_not_said_to_be_quick() {
        assert_eq!(measured_words(120, 0, 24.4), "120 frames measured in 24 s.");
        assert_eq!(
            measured_words(120, 120, 0.04),
            "120 frames, measured before."
        );
        assert_eq!(
            measured_words(120, 100, 4.0),
            "120 frames: 20 measured in 4 s, 100 before."
        );
    }

    #[test]
    fn durations_read_as_said() {
        assert_eq!(duration(2.44), "2.4 s");
        assert_eq!(duration(24.4), "24 s");
        assert_eq!(duration(144.0), "2 min 24 s");
        assert_eq!(duration(7260.0), "2 h 1 min");
    }
}
