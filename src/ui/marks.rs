//! Verdict marks, painted as shapes in a 14-unit box.

use egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, pos2, vec2};

use super::theme::Tokens;
use crate::verdict::Verdict;

/// A mark beside words or in a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkKind {
    /// A verdict.
    Verdict(Verdict),
    /// Not measured yet.
    Pending,
    /// Good news.
    Good,
    /// Worth knowing, and no verdict.
    Note,
    /// Frames are missing here: the line has a hole.
    Missing,
    /// Set by the person.
    ByYou,
}

/// Paints `kind` in the square of `size` with its top left at `at`.
pub fn paint(painter: &Painter, at: Pos2, size: f32, kind: MarkKind, t: &Tokens) {
    let unit = size / 14.0;
    let point = |x: f32, y: f32| at + vec2(x, y) * unit;
    let bar = |x: f32, y: f32, w: f32, h: f32, colour: Color32| {
        painter.rect_filled(
            Rect::from_min_size(point(x, y), vec2(w, h) * unit),
            0.0,
            colour,
        );
    };
    let line = |colour: Color32| {
        painter.line_segment(
            [point(1.0, 9.5), point(13.0, 9.5)],
            Stroke::new(1.2 * unit, colour),
        );
    };
    match kind {
        MarkKind::Verdict(Verdict::Keep) => {
            bar(3.0, 0.5, 8.0, 9.0, t.keep);
            line(t.keep);
        }
        MarkKind::Verdict(Verdict::Doubtful) => {
            bar(3.0, 7.0, 8.0, 2.5, t.doubt);
            bar(3.0, 3.3, 8.0, 2.0, t.doubt);
            line(t.doubt);
        }
        MarkKind::Verdict(Verdict::Reject) => {
            bar(3.0, 9.5, 8.0, 4.0, t.rej);
            line(t.rej);
        }
        MarkKind::Pending => {
            bar(6.0, 7.5, 2.0, 2.0, t.ink3);
            line(t.ink3);
        }
        MarkKind::Good => {
            painter.add(stroke_shape(at, unit, t.ink));
        }
        MarkKind::Note => line(t.ink2),
        MarkKind::Missing => {
            for (from, to) in [(1.0, 4.5), (9.5, 13.0)] {
                let part = [point(from, 9.5), point(to, 9.5)];
                painter.line_segment(part, Stroke::new(1.2 * unit, t.ink2));
                // A piece of bar on either side, so that the hole reads as one in the ribbon.
                let x = if from < 7.0 { from } else { to - 2.0 };
                bar(x, 3.0, 2.0, 6.5, t.ink3);
            }
        }
        MarkKind::ByYou => {
            painter.circle_filled(point(7.0, 3.5), 1.9 * unit, t.ink);
            bar(4.0, 7.0, 6.0, 2.5, t.ink2);
            line(t.ink2);
        }
    }
}

/// The meteor stroke: two quadratic curves from (1, 13) to (13, 1), pointed at both ends.
pub fn stroke_shape(at: Pos2, unit: f32, colour: Color32) -> Shape {
    const STEPS: usize = 8;
    let (from, to) = (pos2(1.0, 13.0), pos2(13.0, 1.0));
    let curve = |control: Pos2, part: f32| {
        let rest = 1.0 - part;
        let x = rest * rest * from.x + 2.0 * rest * part * control.x + part * part * to.x;
        let y = rest * rest * from.y + 2.0 * rest * part * control.y + part * part * to.y;
        at + vec2(x, y) * unit
    };
    let parts = (0..=STEPS).map(|i| i as f32 / STEPS as f32);
    let upper = parts.clone().map(|part| curve(pos2(5.0, 5.0), part));
    let lower = parts.rev().map(|part| curve(pos2(9.0, 9.0), part));
    Shape::convex_polygon(upper.chain(lower).collect(), colour, Stroke::NONE)
}

/// A triangle in the square of `size` about `centre`; what opens and what is up or down.
pub fn triangle(painter: &Painter, centre: Pos2, size: f32, towards: egui::Vec2, colour: Color32) {
    let along = towards * size / 2.0;
    let across = towards.rot90() * size / 2.0;
    let points = vec![
        centre + along,
        centre - along + across,
        centre - along - across,
    ];
    painter.add(Shape::convex_polygon(points, colour, Stroke::NONE));
}
