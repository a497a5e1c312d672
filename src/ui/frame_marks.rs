//! What is drawn on a frame: whiskers along the trails, streaks, clipped stars, the sky's pole, the
//! places of the five spots.

use egui::{Align2, Color32, Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};

use super::frame_window::FrameWindow;
use super::spots::{Prediction, Spot};
use super::theme::{self, Tokens, size};
use crate::app::{Mark, Marks};
use crate::measure::{FrameMeasure, Star};
use crate::picture::Turn;

/// Whiskers are at most this many times as long as the trails…
const MOST_TIMES: u32 = 24;
/// …and the usual one is no longer than this, points.
const WHISKER_LONG: f32 = 38.0;
/// Whiskers stand at least this far apart, points.
const WHISKER_APART: f32 = 40.0;
/// Clipped stars marked while all of the frame is seen.
const CLIPPED_AT_FIT: usize = 5;
/// A single star's trail is noisier than the field's: off is more than this share…
const STAR_OFF_SHARE: f64 = 0.15;
/// …and more than this many px from the prediction.
const STAR_OFF_PX: f64 = 1.0;

/// Everything the marks are drawn from.
#[derive(Clone, Copy)]
pub(super) struct Scene<'a> {
    pub window: FrameWindow,
    pub turn: &'a Turn,
    pub measure: &'a FrameMeasure,
    pub prediction: Option<&'a Prediction>,
    pub t: &'a Tokens,
}

impl Scene<'_> {
    fn at(&self, x: f64, y: f64) -> Pos2 {
        self.window.to_screen(self.turn.to_display(x, y))
    }

    fn is_fit(&self) -> bool {
        let fit = FrameWindow::fit(self.window.rect, self.window.size, self.window.scale);
        self.window.zoom <= fit.zoom * 1.01
    }
}

/// How many times longer than trails whiskers are drawn: 24 where that is short enough not to run
/// into the next, else less, and 1 at the least.
#[must_use]
pub(super) fn whisker_times(window: &FrameWindow, measure: &FrameMeasure) -> u32 {
    let trail = measure.trail.map_or(0.0, |trail| trail.length_px) as f32 * window.zoom;
    if trail <= 0.0 {
        return MOST_TIMES;
    }
    ((WHISKER_LONG / trail) as u32).clamp(1, MOST_TIMES)
}

/// Draws the marks that are ticked.
pub(super) fn paint(painter: &Painter, scene: &Scene<'_>, marks: Marks) {
    if marks.is_drawn(Mark::Trails) {
        whiskers(painter, scene);
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

fn whiskers(painter: &Painter, scene: &Scene<'_>) {
    let area = scene.window.rect.shrink(2.0);
    let times = whisker_times(&scene.window, scene.measure) as f32;
    let mut placed: Vec<Pos2> = Vec::new();
    for star in scene.measure.stars.iter().filter(|star| has_shape(star)) {
        let (x, y) = (f64::from(star.x_px), f64::from(star.y_px));
        let centre = scene.at(x, y);
        let apart = |other: &Pos2| other.distance(centre) >= WHISKER_APART;
        if !area.contains(centre) || !placed.iter().all(apart) {
            continue;
        }
        placed.push(centre);
        let angle = scene
            .turn
            .angle_to_display(star.trail.angle_deg())
            .to_radians() as f32;
        let half = star.trail.length_px() as f32 * times * scene.window.zoom / 2.0;
        // y runs down on the screen; angles run anticlockwise.
        let along = vec2(angle.cos(), -angle.sin()) * half;
        with_halo(
            painter,
            &[centre - along, centre + along],
            1.3,
            whisker_colour(scene, star),
        );
    }
}

fn has_shape(star: &Star) -> bool {
    let flags = star.flags;
    !(flags.clipped || flags.at_edge || flags.unsettled || flags.blended)
}

/// Hue means a verdict: as predicted, or not. With nothing predicted there is no verdict.
fn whisker_colour(scene: &Scene<'_>, star: &Star) -> Color32 {
    let predicted = (scene.prediction)
        .and_then(|p| p.at(f64::from(star.x_px), f64::from(star.y_px)))
        .map(crate::base::Spin2::length_px);
    predicted.map_or(scene.t.over, |predicted| {
        let off = (star.trail.length_px() - predicted).abs();
        if off > STAR_OFF_PX.max(STAR_OFF_SHARE * predicted) {
            scene.t.over_doubt
        } else {
            scene.t.over_keep
        }
    })
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
        let reach = 5.5f32.max(star.fwhm_px * scene.window.zoom * 1.5);
        let diamond = [
            centre - vec2(0.0, reach),
            centre + vec2(reach, 0.0),
            centre + vec2(0.0, reach),
            centre - vec2(reach, 0.0),
            centre - vec2(0.0, reach),
        ];
        with_halo(painter, &diamond, 1.3, scene.t.over);
    }
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
