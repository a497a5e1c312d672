//! Twilight and the Moon behind a lane: shade under a pattern, words outside beside the edge.

use egui::{Painter, Rect, Shape, Stroke, pos2, vec2};

use super::lane_paint::LanePaint;
use super::theme::{self, size};
use crate::chart::bands::{Band, BandKind, WordsAt};

/// From one hatch line, or dot, to the next, points.
const APART: f32 = 7.0;

/// Paints the grounds; the lane's grid and points come over them.
pub(super) fn grounds(painter: &Painter, paint: &LanePaint<'_>) {
    for band in &paint.lane.bands {
        let rect = rect_of(band, paint);
        if rect.width() <= 0.0 {
            continue;
        }
        painter.rect_filled(rect, 0.0, paint.cx.t.shade);
        let inner = painter.with_clip_rect(rect.intersect(painter.clip_rect()));
        match band.kind {
            BandKind::Twilight => hatch(&inner, rect, paint),
            BandKind::Moon => dots(&inner, rect, paint),
        }
    }
}

/// Writes what the bands are, where there is room.
pub(super) fn words(painter: &Painter, paint: &LanePaint<'_>) {
    let t = paint.cx.t;
    // Neighbours share a line only where they do not touch.
    let mut taken: Vec<Rect> = Vec::new();
    for band in &paint.lane.bands {
        let rect = rect_of(band, paint);
        let font = theme::words(size::SMALL);
        let galley = painter.layout_no_wrap(band.words.clone(), font, t.ink);
        let width = galley.size().x;
        let left = match band.at {
            WordsAt::End => rect.right() + 6.0,
            WordsAt::Start => rect.left() - 6.0 - width,
            WordsAt::Inside => rect.left() + 6.0,
        };
        for line in 0..2 {
            let top = paint.rect.top() + 2.0 + line as f32 * (galley.size().y + 1.0);
            let at = Rect::from_min_size(pos2(left, top), galley.size());
            let ground = at.expand2(vec2(3.0, 0.0));
            let is_free = taken.iter().all(|other| !other.intersects(ground));
            if paint.rect.expand(1.0).contains_rect(at) && is_free {
                painter.rect_filled(ground, 0.0, t.bg);
                painter.galley(at.min, galley, t.ink);
                taken.push(ground);
                break;
            }
        }
    }
}

fn rect_of(band: &Band, paint: &LanePaint<'_>) -> Rect {
    let x = |time_s| paint.axis.x(time_s) as f32;
    let (left, right) = (paint.rect.left(), paint.rect.right());
    Rect::from_x_y_ranges(
        x(band.from_s).clamp(left, right)..=x(band.to_s).clamp(left, right),
        paint.rect.y_range(),
    )
}

/// Lines at 45°, upward to the right, in step with the window so that neighbours join.
fn hatch(painter: &Painter, rect: Rect, paint: &LanePaint<'_>) {
    let stroke = Stroke::new(1.0, paint.cx.t.line2.gamma_multiply(0.6));
    // Lines x + y = const, this far apart along x.
    let step = APART * std::f32::consts::SQRT_2;
    let first = ((rect.left() + rect.top()) / step).floor() as i32;
    let last = ((rect.right() + rect.bottom()) / step).ceil() as i32;
    for n in first..=last {
        let sum = n as f32 * step;
        let line = [
            pos2(sum - rect.top(), rect.top()),
            pos2(sum - rect.bottom(), rect.bottom()),
        ];
        painter.line_segment(line, stroke);
    }
}

fn dots(painter: &Painter, rect: Rect, paint: &LanePaint<'_>) {
    let ink = paint.cx.t.line2;
    let from = |low: f32| (low / APART).ceil() as i32;
    let to = |high: f32| (high / APART).floor() as i32;
    for row in from(rect.top())..=to(rect.bottom()) {
        for column in from(rect.left())..=to(rect.right()) {
            let at = pos2(column as f32 * APART, row as f32 * APART);
            let dot = Rect::from_center_size(at, vec2(1.5, 1.5));
            painter.add(Shape::rect_filled(dot, 0.0, ink));
        }
    }
}
