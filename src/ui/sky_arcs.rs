//! Arcs about a pole, as decoration of the first page: neutral, still, the same every time.

use egui::{Painter, Pos2, Rect, Shape, Stroke, pos2, vec2};

use super::theme::Tokens;

/// How many.
const ARCS: u32 = 72;

/// Paints them in `rect`, about a point in its upper half.
pub(super) fn paint(painter: &Painter, rect: Rect, t: &Tokens) {
    let pole = pos2(rect.center().x, rect.top() + rect.height() * 0.36);
    let reach = (rect.right_bottom() - pole).length();
    let painter = painter.with_clip_rect(rect.intersect(painter.clip_rect()));
    for number in 0..ARCS {
        let radius = reach * (0.06 + 0.94 * share(number, 1).sqrt());
        let from = std::f32::consts::TAU * share(number, 2);
        let turn = 0.25 + 0.55 * share(number, 3);
        let strength = 0.25 + 0.75 * share(number, 4).powi(3);
        let colour = t.line2.gamma_multiply(0.55 * strength);
        let width = if strength > 0.75 { 2.0 } else { 1.2 };
        painter.add(arc(pole, radius, from, turn, Stroke::new(width, colour)));
    }
}

fn arc(centre: Pos2, radius: f32, from: f32, turn: f32, stroke: Stroke) -> Shape {
    // A step every 6 px keeps the largest arc round.
    let steps = ((radius * turn / 6.0).ceil() as u32).clamp(4, 200);
    let points = (0..=steps).map(|step| {
        let angle = from + turn * step as f32 / steps as f32;
        centre + vec2(angle.cos(), angle.sin()) * radius
    });
    Shape::line(points.collect(), stroke)
}

/// A number in [0, 1) that looks random and is always the same (a multiplicative hash).
fn share(number: u32, of: u32) -> f32 {
    let mixed = (number * 8 + of).wrapping_mul(0x9E37_79B1);
    let mixed = (mixed ^ (mixed >> 15)).wrapping_mul(0x85EB_CA77);
    ((mixed ^ (mixed >> 13)) >> 8) as f32 / (1u32 << 24) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_spread_over_the_range() {
        let shares: Vec<f32> = (0..1000).map(|n| share(n, 1)).collect();
        assert!(shares.iter().all(|v| (0.0..1.0).contains(v)));
        let mean = shares.iter().sum::<f32>() / 1000.0;
        assert!((mean - 0.5).abs() < 0.05, "{mean}");
    }
}
