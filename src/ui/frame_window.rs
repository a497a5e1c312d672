//! Where a frame's px fall in a rectangle of the window, and what part of the frame is seen.

use egui::{Pos2, Rect, Vec2, pos2, vec2};

use crate::picture::{Turn, View};

/// Least and largest zoom, screen px per frame px.
const ZOOMS: (f32, f32) = (0.125, 8.0);

/// A look at a displayed frame through a rectangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct FrameWindow {
    /// The rectangle, points.
    pub rect: Rect,
    /// Size of the displayed frame, px.
    pub size: Vec2,
    /// Points per frame px.
    pub zoom: f32,
    /// The frame's point (edge coordinates, px) at the rectangle's centre.
    pub centre: Vec2,
    /// Screen px per point.
    pub scale: f32,
}

impl FrameWindow {
    /// All of the frame in `rect`.
    pub(super) fn fit(rect: Rect, size: Vec2, scale: f32) -> Self {
        let zoom = fit_zoom(rect, size);
        Self {
            rect,
            size,
            zoom,
            centre: size / 2.0,
            scale,
        }
    }

    /// At `zoom` screen px per frame px, looking at `centre` as far as the edges let it.
    pub(super) fn at(rect: Rect, size: Vec2, scale: f32, zoom: f32, centre: Vec2) -> Self {
        Self {
            rect,
            size,
            zoom: zoom / scale,
            centre,
            scale,
        }
        .kept_inside()
    }

    /// Screen px per frame px.
    pub(super) fn screen_zoom(&self) -> f32 {
        self.zoom * self.scale
    }

    /// Zoomed by `factor` so that the frame's point under `pointer` stays there.
    pub(super) fn zoomed(self, factor: f32, pointer: Pos2) -> Self {
        let least = ZOOMS.0.min(fit_zoom(self.rect, self.size) * self.scale);
        let zoom = (self.screen_zoom() * factor).clamp(least, ZOOMS.1) / self.scale;
        let from_centre = pointer - self.rect.center();
        let held = self.centre + from_centre / self.zoom;
        Self {
            zoom,
            centre: held - from_centre / zoom,
            ..self
        }
        .kept_inside()
    }

    /// Moved with the pointer by `delta` points.
    pub(super) fn panned(self, delta: Vec2) -> Self {
        Self {
            centre: self.centre - delta / self.zoom,
            ..self
        }
        .kept_inside()
    }

    fn kept_inside(mut self) -> Self {
        let half = self.rect.size() / (2.0 * self.zoom);
        for axis in 0..2 {
            self.centre[axis] = if self.size[axis] <= 2.0 * half[axis] {
                self.size[axis] / 2.0
            } else {
                self.centre[axis].clamp(half[axis], self.size[axis] - half[axis])
            };
        }
        self
    }

    /// Where the frame's upper left corner falls, on whole screen px so that px stay square.
    fn origin(&self) -> Pos2 {
        let exact = self.rect.center() - self.centre * self.zoom;
        let whole = |v: f32| (v * self.scale).round() / self.scale;
        pos2(whole(exact.x), whole(exact.y))
    }

    /// Where a px of the displayed frame (its first px's centre at (0, 0)) falls.
    pub(super) fn to_screen(self, (x, y): (f64, f64)) -> Pos2 {
        self.origin() + vec2(x as f32 + 0.5, y as f32 + 0.5) * self.zoom
    }

    /// The part that is seen, in whole px of the displayed frame: left, top, right, bottom.
    fn visible(&self) -> [usize; 4] {
        let origin = self.origin();
        let low = ((self.rect.min - origin) / self.zoom)
            .max(Vec2::ZERO)
            .min(self.size);
        let high = ((self.rect.max - origin) / self.zoom)
            .max(Vec2::ZERO)
            .min(self.size);
        [
            low.x.floor() as usize,
            low.y.floor() as usize,
            high.x.ceil() as usize,
            high.y.ceil() as usize,
        ]
    }

    /// The pieces to render for what is seen, none wider or higher than `side` output px: for
    /// each the view on the sensor, and where it goes.
    pub(super) fn tiles(&self, turn: &Turn, side: usize) -> Vec<(View, Rect)> {
        let [left, top, right, bottom] = self.visible();
        let zoom = f64::from(self.screen_zoom()).min(1.0);
        let step = ((side as f64 / zoom).floor() as usize).max(1);
        let mut tiles = Vec::new();
        for y in (top..bottom).step_by(step) {
            for x in (left..right).step_by(step) {
                let (x1, y1) = ((x + step).min(right), (y + step).min(bottom));
                tiles.push((
                    sensor_view(turn, [x, y, x1, y1], zoom),
                    self.place(x, y, x1, y1),
                ));
            }
        }
        tiles
    }

    fn place(&self, x0: usize, y0: usize, x1: usize, y1: usize) -> Rect {
        let corner = |x: usize, y: usize| self.origin() + vec2(x as f32, y as f32) * self.zoom;
        Rect::from_min_max(corner(x0, y0), corner(x1, y1))
    }
}

fn fit_zoom(rect: Rect, size: Vec2) -> f32 {
    let zoom = rect.size() / size.max(Vec2::splat(1.0));
    zoom.x.min(zoom.y).max(1e-4)
}

/// A rectangle of displayed px as a view on the sensor.
fn sensor_view(turn: &Turn, [x0, y0, x1, y1]: [usize; 4], zoom: f64) -> View {
    let a = turn.to_sensor(x0 as f64, y0 as f64);
    let b = turn.to_sensor((x1 - 1) as f64, (y1 - 1) as f64);
    let (left, right) = (a.0.min(b.0), a.0.max(b.0));
    let (top, bottom) = (a.1.min(b.1), a.1.max(b.1));
    View {
        left: left as usize,
        top: top as usize,
        width: (right - left) as usize + 1,
        height: (bottom - top) as usize + 1,
        zoom,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Orientation;

    const RECT: Rect = Rect {
        min: pos2(100.0, 50.0),
        max: pos2(500.0, 350.0),
    };

    #[test]
    fn fit_shows_all_of_it_in_the_middle() {
        let window = FrameWindow::fit(RECT, vec2(1600.0, 1000.0), 1.0);
        assert_eq!(window.zoom, 0.25);
        assert_eq!(window.visible(), [0, 0, 1600, 1000]);
        assert_eq!(window.to_screen((-0.5, -0.5)), pos2(100.0, 75.0));
    }

    #[test]
    fn the_point_under_the_pointer_stays() {
        let window =
            FrameWindow::fit(RECT, vec2(1600.0, 1000.0), 1.0).zoomed(6.0, pos2(300.0, 200.0));
        let pointer = pos2(210.0, 160.0);
        let before = window.centre + (pointer - RECT.center()) / window.zoom;
        let window = window.zoomed(1.5, pointer);
        let after = window.centre + (pointer - RECT.center()) / window.zoom;
        assert!((before - after).length() < 1e-3);
        assert_eq!(window.zoomed(1e9, pointer).screen_zoom(), 8.0);
        assert_eq!(window.zoomed(1e-9, pointer).screen_zoom(), 0.125);
    }

    #[test]
    fn panning_stops_at_the_edge() {
        let window = FrameWindow::at(RECT, vec2(1600.0, 1000.0), 2.0, 1.0, vec2(800.0, 500.0));
        let window = window.panned(vec2(1e6, 1e6));
        assert_eq!(window.visible(), [0, 0, 800, 600]);
    }

    #[test]
    fn tiles_cover_what_is_seen_and_follow_the_turn() {
        let turn = Turn::new(Orientation(6), 6000, 4000);
        let rect = Rect::from_min_size(pos2(0.0, 0.0), vec2(3000.0, 2500.0));
        let window = FrameWindow::at(rect, vec2(4000.0, 6000.0), 1.0, 1.0, vec2(1500.0, 1250.0));
        let tiles = window.tiles(&turn, 2048);
        assert_eq!(tiles.len(), 4);
        let area: f32 = tiles.iter().map(|(_, rect)| rect.area()).sum();
        assert_eq!(area, 3000.0 * 2500.0);
        // Shown upper left is sensor (0, 3999): the first tile lies along the sensor's bottom.
        let (view, _) = tiles[0];
        assert_eq!((view.left, view.top + view.height), (0, 4000));
        assert_eq!((view.width, view.height), (2048, 2048));
    }
}
