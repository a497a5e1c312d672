//! What is drawn on a frame: the ground's outline, streaks, clipped stars, the sky's pole, the places of the five spots,
//! and (see `whiskers`) lines along the trails.

use egui::{Align2, Color32, Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};

use super::frame_window::FrameWindow;
use super::spots::{Prediction, Spot};
use super::theme::{self, Tokens, size};
use super::whiskers;
use crate::app::{Mark, Marks};
use crate::measure::{FrameMeasure, Star};
use crate::night::Foreground;
use crate::picture::Turn;

/// Clipped stars marked while all of the frame is seen.
const CLIPPED_AT_FIT: usize = 5;
/// Everything the marks are drawn from.
#[derive(Clone, Copy)]
pub(super) struct Scene<'a> {
    pub window: FrameWindow,
    pub turn: &'a Turn,
    pub measure: &'a FrameMeasure,
    pub prediction: Option<&'a Prediction>,
    /// The ground as told over the night, where it was.
    pub foreground: Option<&'a Foreground>,
    pub t: &'a Tokens,
}

impl Scene<'_> {
    pub(super) fn at(&self, x: f64, y: f64) -> Pos2 {
        self.window.to_screen(self.turn.to_display(x, y))
    }

    fn is_fit(&self) -> bool {
        let fit = FrameWindow::fit(self.window.rect, self.window.size, self.window.scale);
        self.window.zoom <= fit.zoom * 1.01
    }
}

/// Draws the marks that are ticked.
pub(super) fn paint(painter: &Painter, scene: &Scene<'_>, marks: Marks) {
    if marks.is_drawn(Mark::Ground) {
        ground(painter, scene);
    }
    if marks.is_drawn(Mark::Trails) {
        whiskers::paint(painter, scene);
    }
    if marks.is_drawn(Mark::Streaks) {
        streaks(painter, scene);
    }
    if marks.is_drawn(Mark::Clipped) {
        clipped(painter, scene);
    }
    if marks.is_drawn(Mark::Pole) {
        pole(painter, scene);
    }
}

/// The edges between cells of ground and of sky, and the lamps.
fn ground(painter: &Painter, scene: &Scene<'_>) {
    let Some(found) = scene.foreground else {
        return;
    };
    let cell = (
        scene.measure.width_px as f64 / found.cols.max(1) as f64,
        scene.measure.height_px as f64 / found.rows.max(1) as f64,
    );
    let corner =
        |col: usize, row: usize| scene.at(col as f64 * cell.0 - 0.5, row as f64 * cell.1 - 0.5);
    let is_ground =
        |col: usize, row: usize| found.ground.get(row * found.cols + col) == Some(&true);
    for row in 0..found.rows {
        for col in 0..found.cols {
            let here = is_ground(col, row);
            if col + 1 < found.cols && is_ground(col + 1, row) != here {
                let edge = [corner(col + 1, row), corner(col + 1, row + 1)];
                with_halo(painter, &edge, 1.3, scene.t.over);
            }
            if row + 1 < found.rows && is_ground(col, row + 1) != here {
                let edge = [corner(col, row + 1), corner(col + 1, row + 1)];
                with_halo(painter, &edge, 1.3, scene.t.over);
            }
        }
    }
    for &(x, y) in &found.lamps_px {
        let centre = scene.at(x, y);
        if scene.window.rect.contains(centre) {
            let square = Rect::from_center_size(centre, Vec2::splat(11.0));
            let corners = [
                square.left_top(),
                square.right_top(),
                square.right_bottom(),
                square.left_bottom(),
                square.left_top(),
            ];
            with_halo(painter, &corners, 1.3, scene.t.over);
        }
    }
}

fn streaks(painter: &Painter, scene: &Scene<'_>) {
    for streak in &scene.measure.streaks {
        let from = scene.at(f64::from(streak.x0_px), f64::from(streak.y0_px));
        let to = scene.at(f64::from(streak.x1_px), f64::from(streak.y1_px));
        let along = (to - from).normalized();
        if along == Vec2::ZERO {
            continue;
        }
        let half = (streak.width_px * scene.window.zoom / 2.0).max(1.0) + 4.0;
        let across = along.rot90() * half;
        let ends = along * 4.0;
        let corners = [
            from - ends - across,
            to + ends - across,
            to + ends + across,
            from - ends + across,
            from - ends - across,
        ];
        with_halo(painter, &corners, 1.3, scene.t.over_doubt);
        // The name stands over the middle of it, where that is in sight.
        let middle = from + (to - from) / 2.0;
        if scene.window.rect.contains(middle) {
            let above = middle - vec2(0.0, half + 12.0);
            label(painter, scene, above, "streak", scene.t.over_doubt);
        }
    }
}

fn clipped(painter: &Painter, scene: &Scene<'_>) {
    let mut stars: Vec<&Star> = (scene.measure.stars.iter())
        .filter(|star| star.flags.clipped)
        .collect();
    stars.sort_by(|a, b| b.flux.total_cmp(&a.flux));
    let count = if scene.is_fit() {
        CLIPPED_AT_FIT
    } else {
        stars.len()
    };
    for star in stars.into_iter().take(count) {
        let centre = scene.at(f64::from(star.x_px), f64::from(star.y_px));
        if !scene.window.rect.contains(centre) {
            continue;
        }
        diamond(
            painter,
            centre,
            star.fwhm_px * scene.window.zoom * 1.5,
            scene.t,
        );
    }
}

/// About a star whose core is at full scale, `reach` points about it but no less than can be seen.
pub(super) fn diamond(painter: &Painter, centre: Pos2, reach: f32, t: &Tokens) {
    let reach = reach.max(5.5);
    let corners = [
        centre - vec2(0.0, reach),
        centre + vec2(reach, 0.0),
        centre + vec2(0.0, reach),
        centre - vec2(reach, 0.0),
        centre - vec2(0.0, reach),
    ];
    with_halo(painter, &corners, 1.3, t.over);
}

fn pole(painter: &Painter, scene: &Scene<'_>) {
    let Some((x, y)) = scene.prediction.and_then(Prediction::pole_px) else {
        return;
    };
    let centre = scene.at(x, y);
    if !scene.window.rect.contains(centre) {
        return;
    }
    let arm = 8.0;
    with_halo(
        painter,
        &[centre - vec2(arm, 0.0), centre + vec2(arm, 0.0)],
        1.3,
        scene.t.over,
    );
    with_halo(
        painter,
        &[centre - vec2(0.0, arm), centre + vec2(0.0, arm)],
        1.3,
        scene.t.over,
    );
    label(
        painter,
        scene,
        centre + vec2(0.0, 19.0),
        "sky pole",
        scene.t.over,
    );
}

/// Corner brackets about each spot's crop of `crop` frame px.
pub(super) fn spot_places(
    painter: &Painter,
    window: FrameWindow,
    spots: &[Spot; 5],
    crop: Vec2,
    t: &Tokens,
) {
    for spot in spots {
        let centre = window.to_screen(spot.shown);
        let size = (crop * window.zoom).max(Vec2::splat(18.0));
        let rect = Rect::from_center_size(centre, size);
        if !window.rect.intersects(rect) {
            continue;
        }
        let arm = (size.min_elem() / 3.0).min(7.0);
        for (corner, x, y) in [
            (rect.left_top(), 1.0, 1.0),
            (rect.right_top(), -1.0, 1.0),
            (rect.left_bottom(), 1.0, -1.0),
            (rect.right_bottom(), -1.0, -1.0),
        ] {
            let bend = [
                corner + vec2(arm * x, 0.0),
                corner,
                corner + vec2(0.0, arm * y),
            ];
            with_halo(painter, &bend, 1.3, t.over);
        }
    }
}

/// A line over a dark halo, to be seen on sky and ground alike.
pub(super) fn with_halo(painter: &Painter, points: &[Pos2], width: f32, colour: Color32) {
    let halo = Stroke::new(width + 2.6, Color32::from_black_alpha(153));
    painter.add(Shape::line(points.to_vec(), halo));
    painter.add(Shape::line(points.to_vec(), Stroke::new(width, colour)));
}

/// Words on a picture, on a dark plate, moved so that they stay inside it.
fn label(painter: &Painter, scene: &Scene<'_>, near: Pos2, words: &str, colour: Color32) {
    let galley = painter.layout_no_wrap(words.to_owned(), theme::words(size::SMALL), colour);
    let inside = scene.window.rect.shrink(6.0);
    let half = galley.size() / 2.0 + vec2(4.0, 1.0);
    let within = |v: f32, low: f32, high: f32| if low > high { v } else { v.clamp(low, high) };
    let centre = pos2(
        within(near.x, inside.left() + half.x, inside.right() - half.x),
        within(near.y, inside.top() + half.y, inside.bottom() - half.y),
    );
    let plate = Align2::CENTER_CENTER.anchor_size(centre, half * 2.0);
    painter.rect_filled(plate, 3.0, Color32::from_black_alpha(190));
    painter.galley(plate.min + vec2(4.0, 1.0), galley, colour);
}
