//! The ribbon: every frame's verdict at its time, by shape and place as much as by hue.

use egui::{Align2, Painter, Rect, Response, Stroke, StrokeKind, Ui, pos2, vec2};

use super::Cx;
use super::chart_view::{self, GUTTER, Places};
use super::theme::{self, Tokens, size};
use crate::app::OpenNight;
use crate::chart::ribbon::{Bar, Piece, PieceKind, is_wide, pieces};
use crate::verdict::Verdict;

/// Share of the height that hangs below the line.
const BELOW: f32 = 0.28;

pub(super) fn paint(ui: &Ui, cx: Cx<'_>, open: &OpenNight, places: &Places, response: &Response) {
    let rect = places.ribbon;
    let t = cx.t;
    let gutter_left = rect.left() - GUTTER + 8.0;
    let name = pos2(
        gutter_left,
        rect.center().y - if cx.fold.low { 0.0 } else { 8.0 },
    );
    let font = theme::words(size::BODY - 0.5);
    ui.painter()
        .text(name, Align2::LEFT_CENTER, "Frames", font, t.ink);
    if !cx.fold.low {
        let text = format!("1 to {}", open.frames().len());
        let at = pos2(gutter_left, rect.center().y + 9.0);
        let font = theme::words(size::SMALL);
        ui.painter()
            .text(at, Align2::LEFT_CENTER, text, font, t.ink2);
    }
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.rect_filled(rect, 0.0, t.plot);
    let ranges = chart_view::range_rects(open, places);
    for range in &ranges {
        painter.rect_filled(range.intersect(rect), 0.0, t.hover);
    }
    let bars: Vec<Bar> = (open.frames().iter().zip(&open.times))
        .map(|(&row, &time_s)| {
            let is_known = !open.is_pending(row) || open.is_set_by_you(row);
            Bar {
                time_s,
                verdict: is_known.then(|| open.verdict_of(row)),
            }
        })
        .collect();
    let interval = chart_view::interval(open);
    for piece in pieces(&bars, interval, places.axis) {
        paint_piece(&painter, t, rect, &piece, interval, places);
    }
    set_by_you(&painter, t, open, rect, places);
    for range in &ranges {
        let edge = Stroke::new(1.0, t.ink2);
        painter.vline(range.left(), rect.y_range(), edge);
        painter.vline(range.right(), rect.y_range(), edge);
    }
    if is_wide(places.axis, interval) && !response.has_focus() {
        outline_chosen(&painter, t, open, rect, places);
    }
}

/// The height of the line that bars stand on.
fn line_y(rect: Rect) -> f32 {
    (rect.bottom() - rect.height() * BELOW).round() - 0.5
}

fn paint_piece(
    painter: &Painter,
    t: &Tokens,
    rect: Rect,
    piece: &Piece,
    interval_s: f64,
    places: &Places,
) {
    let line = line_y(rect);
    let full = line - rect.top() - 1.0;
    if piece.is_widened {
        let ground = Rect::from_min_max(
            pos2(piece.left - 1.5, rect.top()),
            pos2(piece.right + 1.5, line),
        );
        painter.rect_filled(ground, 0.0, t.plot);
    }
    let bar = |from: f32, to: f32, colour| {
        let bar = Rect::from_min_max(
            pos2(piece.left, line - to * full),
            pos2(piece.right, line - from * full),
        );
        painter.rect_filled(bar, 0.0, colour);
    };
    let ink = match piece.kind {
        PieceKind::Judged(verdict) => t.verdict(verdict),
        PieceKind::Pending => t.line2,
    };
    match piece.kind {
        PieceKind::Judged(Verdict::Keep) => {
            bar(0.0, 1.0, t.keep.gamma_multiply(0.42));
            let edge = 2.5 / full;
            bar(1.0 - edge, 1.0, t.keep);
        }
        PieceKind::Judged(Verdict::Doubtful) => {
            bar(0.0, 0.24, t.doubt);
            bar(0.38, 0.56, t.doubt);
        }
        PieceKind::Judged(Verdict::Reject) => {
            let hang = Rect::from_min_max(
                pos2(piece.left, line),
                pos2(piece.right, line + rect.height() * BELOW),
            );
            painter.rect_filled(hang, 0.0, t.rej);
        }
        PieceKind::Pending => pending_dots(painter, t, piece, line, interval_s, places),
    }
    painter.hline(piece.left..=piece.right, line, Stroke::new(1.0, ink));
}

/// A dot a frame, or as many as fit.
fn pending_dots(
    painter: &Painter,
    t: &Tokens,
    piece: &Piece,
    line: f32,
    interval_s: f64,
    places: &Places,
) {
    let step = ((places.axis.per_second() * interval_s) as f32).max(4.0);
    let mut x = piece.left + step / 2.0;
    while x < piece.right {
        let dot = Rect::from_center_size(pos2(x, line - 2.0), vec2(2.0, 2.0));
        painter.rect_filled(dot, 0.0, t.ink3);
        x += step;
    }
}

fn set_by_you(painter: &Painter, t: &Tokens, open: &OpenNight, rect: Rect, places: &Places) {
    let y = line_y(rect) - 5.0;
    let mut last_x = f32::NEG_INFINITY;
    for (place, &row) in open.frames().iter().enumerate() {
        if !open.is_set_by_you(row) {
            continue;
        }
        let Some(x) = chart_view::middle_x(open, place, places.axis) else {
            continue;
        };
        if x - last_x < 3.0 {
            continue;
        }
        last_x = x;
        painter.circle_filled(pos2(x, y), 2.9, t.plot);
        painter.circle_filled(pos2(x, y), 1.6, t.ink);
    }
}

fn outline_chosen(painter: &Painter, t: &Tokens, open: &OpenNight, rect: Rect, places: &Places) {
    let Some(&from) = open.times.get(open.chosen) else {
        return;
    };
    let Some(to) = chart_view::end_of(open, open.chosen) else {
        return;
    };
    let outline = Rect::from_min_max(
        pos2(places.axis.x(from) as f32 - 1.0, rect.top()),
        pos2(places.axis.x(to) as f32, rect.bottom()),
    );
    painter.rect_stroke(outline, 0.0, Stroke::new(1.5, t.ink), StrokeKind::Inside);
}
