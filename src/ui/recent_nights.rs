//! Nights opened before, each with its small ribbon and its outcome.

use egui::{Rect, Role, ScrollArea, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::Cx;
use super::marks::{self, MarkKind};
use super::theme::{self, Tokens, size};
use super::widgets::{self, Button, Look};
use crate::app::Action;
use crate::engine::Recent;
use crate::verdict::Verdict;

/// Height of one night.
const NIGHT: f32 = 101.0;
/// Height of its ribbon, and of the part that hangs below the line.
const RIBBON: f32 = 30.0;
const BELOW: f32 = 9.0;

/// Draws the list in all of `ui`.
pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, actions: &mut Vec<Action>) {
    let t = cx.t;
    widgets::text(ui, "Recent nights", size::TITLE, t.ink);
    widgets::rule(ui, t);
    let Some(recents) = &cx.model.recents else {
        widgets::text(ui, "Looking…", size::BODY, t.ink3);
        return;
    };
    if recents.is_empty() {
        let words = "None yet. A night you open is listed here with its verdicts.";
        widgets::text(ui, words, size::BODY, t.ink2);
        return;
    }
    let room = ui.available_height() - 40.0;
    ScrollArea::vertical()
        .max_height(room.max(NIGHT))
        .show(ui, |ui| {
            ui.spacing_mut().item_spacing.y = 0.0;
            for (place, recent) in recents.iter().enumerate() {
                ui.push_id(place, |ui| {
                    if night(ui, t, recent) && cx.model.opening.is_none() {
                        actions.push(Action::Open(recent.paths.clone()));
                    }
                });
            }
        });
    ui.add_space(6.0);
    ui.horizontal(|ui| {
        for verdict in [Verdict::Keep, Verdict::Doubtful, Verdict::Reject] {
            legend(ui, t, MarkKind::Verdict(verdict), verdict.word());
        }
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            let clear = Button::new("Clear this list").look(Look::Text).show(ui, t);
            let tip = "The list only: measurements and your decisions stay";
            if clear.on_hover_text(tip).clicked() {
                actions.push(Action::ClearRecents);
            }
        });
    });
}

fn legend(ui: &mut Ui, t: &Tokens, mark: MarkKind, word: &str) {
    let galley = (ui.painter()).layout_no_wrap(word.to_owned(), theme::words(size::SMALL), t.ink2);
    let (rect, _) = ui.allocate_exact_size(vec2(galley.size().x + 26.0, 22.0), Sense::hover());
    marks::paint(
        ui.painter(),
        pos2(rect.left(), rect.center().y - 8.0),
        14.0,
        mark,
        t,
    );
    let top = rect.center().y - galley.size().y / 2.0;
    ui.painter()
        .galley(pos2(rect.left() + 18.0, top), galley, t.ink2);
}

/// One night; whether it was clicked.
fn night(ui: &mut Ui, t: &Tokens, recent: &Recent) -> bool {
    let (rect, response) =
        ui.allocate_exact_size(vec2(ui.available_width(), NIGHT), Sense::click());
    let purpose = recent.purpose.label();
    response.widget_info(|| {
        let name = format!(
            "Open {}, {}, {purpose}, {}",
            recent.title, recent.day, recent.outcome
        );
        WidgetInfo::labeled(Role::Button, true, name)
    });
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    let over = response.hovered();
    if over {
        painter.rect_filled(rect.shrink2(vec2(0.0, 1.0)), 4.0, t.hover);
    }
    widgets::focus_ring(ui, rect.shrink(4.0), &response, t);
    let inner = rect.shrink2(vec2(if over { 8.0 } else { 0.0 }, 0.0));
    let quiet = if over { t.ink2 } else { t.ink3 };
    let text = |words: &str, points: f32, ink| {
        painter.layout_no_wrap(words.to_owned(), theme::words(points), ink)
    };
    let title = text(&recent.title, 16.0, t.ink);
    let day = text(&recent.day, 13.0, t.ink2);
    let judged_as = text(purpose, size::SMALL, t.ink2);
    let outcome = text(&recent.outcome, size::SMALL, t.ink2);
    let base = rect.top() + 10.0 + title.size().y;
    let place = |galley: &egui::Galley| base - galley.size().y;
    let day_left = inner.left() + title.size().x + 8.0;
    let purpose_left = inner.right() - judged_as.size().x;
    // A long folder name pushes the day out rather than running into the purpose.
    if day_left + day.size().x + 8.0 < purpose_left {
        painter.galley(pos2(day_left, place(&day) - 1.5), day, t.ink2);
    }
    let mut clip = rect;
    clip.max.x = purpose_left - 8.0;
    painter
        .with_clip_rect(clip.intersect(painter.clip_rect()))
        .galley(pos2(inner.left(), rect.top() + 10.0), title, t.ink);
    painter.galley(
        pos2(purpose_left, place(&judged_as) - 1.5),
        judged_as,
        quiet,
    );
    let ribbon = Rect::from_min_size(pos2(inner.left(), base + 6.0), vec2(inner.width(), RIBBON));
    paint_ribbon(&painter, ribbon, &recent.ribbon, t);
    painter.galley(pos2(inner.left(), ribbon.bottom() + 3.0), outcome, t.ink2);
    let rule = Stroke::new(1.0, t.line);
    painter.hline(rect.x_range(), rect.bottom() - 0.5, rule);
    let places: Vec<String> = recent
        .paths
        .iter()
        .map(|p| p.display().to_string())
        .collect();
    response.on_hover_text(places.join("\n")).clicked()
}

/// Verdicts as runs: k, d, r and . (not measured).
fn paint_ribbon(painter: &egui::Painter, rect: Rect, verdicts: &str, t: &Tokens) {
    let line = rect.bottom() - BELOW;
    let high = line - rect.top();
    let letters: Vec<char> = verdicts.chars().collect();
    let step = rect.width() / letters.len().max(1) as f32;
    painter.hline(rect.x_range(), line, Stroke::new(1.0, t.line2));
    let mut at = 0;
    for run in letters.chunk_by(|a, b| a == b) {
        let left = rect.left() + at as f32 * step;
        at += run.len();
        let right = (rect.left() + at as f32 * step).max(left + 2.0);
        let bar = |top: f32, bottom: f32| Rect::from_min_max(pos2(left, top), pos2(right, bottom));
        match run[0] {
            'k' => {
                let body = bar(rect.top(), line);
                painter.rect_filled(body, 0.0, t.keep.gamma_multiply(0.42));
                painter.rect_filled(bar(rect.top(), rect.top() + 2.0), 0.0, t.keep);
            }
            'd' => {
                painter.rect_filled(bar(rect.top(), line), 0.0, t.bg);
                painter.rect_filled(bar(line - high * 0.24, line), 0.0, t.doubt);
                painter.rect_filled(bar(line - high * 0.56, line - high * 0.38), 0.0, t.doubt);
            }
            'r' => {
                painter.rect_filled(bar(line, line + BELOW), 0.0, t.rej);
            }
            _ => {}
        }
    }
}
