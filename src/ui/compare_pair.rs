//! Two frames side by side with one zoom and one place: the same stars in both.

use egui::{Align, Layout, Popup, Rect, Response, Role, Sense, Stroke, StrokeKind, Ui};
use egui::{Vec2, WidgetInfo, vec2};

use super::compare_crops::level;
use super::frame_textures::{Slot, Source, Textures};
use super::frame_window::FrameWindow;
use super::theme::{self, size};
use super::widgets::{self, Button};
use super::{Cx, inside};
use crate::advice::Comparison;
use crate::app::{Action, OpenNight, PictureState, PictureZoom, Side};
use crate::engine::{NightId, Picture};
use crate::night::{FieldOf, SameField};
use crate::picture::{SkyStats, Turn};

/// Scrolled points that double the zoom.
const SCROLL_PER_DOUBLE: f32 = 160.0;
/// Height of the line over a picture, points.
const HEAD: f32 = 34.0;
/// Names of the sides.
const SIDES: [&str; 2] = ["left", "right"];

/// How the two are looked at: zoom and place are those of the left picture.
#[derive(Debug, Default)]
pub(super) struct State {
    textures: Textures,
    /// The model's zoom when it was last looked at.
    mode: PictureZoom,
    /// The zoom made by scrolling, screen px per frame px.
    own_zoom: Option<f32>,
    /// What is looked at on the left, when it was moved.
    centre: Option<Vec2>,
    /// Where the place of the left one is in the right one.
    link: Option<((NightId, usize, usize), SameField)>,
    /// The sky of the left picture, which both are stretched by.
    sky: Option<((NightId, usize), SkyStats)>,
}

/// One side, ready to draw.
struct Half<'a> {
    which: usize,
    side: Side,
    row: usize,
    name: String,
    picture: Option<&'a Picture>,
    state: Option<&'a PictureState>,
}

pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    pair: [Side; 2],
    state: &mut State,
    actions: &mut Vec<Action>,
) {
    let (Some(comparison), Some(set)) = (night.comparison(), night.shown_set()) else {
        return;
    };
    let area = ui.max_rect();
    let middle = area.center().x;
    let rects = [area.with_max_x(middle - 4.0), area.with_min_x(middle + 4.0)];
    let halves: Vec<Half<'_>> = (pair.iter().enumerate())
        .filter_map(|(which, side)| half(night, comparison, which, *side))
        .collect();
    let [left, right] = halves.as_slice() else {
        return;
    };
    let pictures = rects.map(|rect| rect.with_min_y(rect.top() + HEAD));
    let sized = [left, right].map(|half| size_of(night, half));
    let turns = sized.map(|size| Turn::new(set.orientation, size.0, size.1));
    let scale = ui.pixels_per_point();
    let mut responses = Vec::new();
    for (half, rect) in halves.iter().zip(rects) {
        let head = rect.with_max_y(rect.top() + HEAD);
        inside(ui, SIDES[half.which], head, |ui| {
            heading(ui, cx, comparison, half, actions);
        });
        let picture = rect.with_min_y(rect.top() + HEAD);
        let id = ui.scope_id().with(("half", half.which));
        let response = ui.interact(picture, id, Sense::click_and_drag());
        response.widget_info(|| WidgetInfo::labeled(Role::Image, true, spoken(half)));
        responses.push(response);
    }
    let window = state.window(pictures[0], &turns[0], scale, cx.model.picture_zoom);
    let window = state.take_input(ui, &responses, window);
    let other = state.linked(night, window, [left, right], (&turns, pictures[1]));
    for (half, (window, turn)) in halves.iter().zip([window, other].iter().zip(&turns)) {
        draw(ui, cx, night, half, (window, turn), state);
    }
    for response in &responses {
        if response.has_focus() {
            let ring = Stroke::new(2.0, cx.t.ink);
            (ui.painter()).rect_stroke(response.rect, 2.0, ring, StrokeKind::Inside);
        }
        if response.double_clicked() {
            state.forget_own_look();
            actions.push(Action::TogglePictureZoom);
        }
    }
}

fn half<'a>(
    night: &'a OpenNight,
    comparison: &Comparison,
    which: usize,
    side: Side,
) -> Option<Half<'a>> {
    let row = night.row_of_side(side)?;
    let state = night.picture_of(night.night().rows.get(row)?.shot);
    Some(Half {
        which,
        side,
        row,
        name: comparison.name(side.column),
        picture: match state {
            Some(PictureState::Ready(picture)) => Some(picture),
            _ => None,
        },
        state,
    })
}

/// "Left: ISO 1600, 30 s, frame 3".
fn spoken(half: &Half<'_>) -> String {
    let side = if half.which == 0 { "Left" } else { "Right" };
    let how = match half.state {
        Some(PictureState::Ready(_)) => "",
        Some(PictureState::Failed(_)) => ", could not be read",
        _ => ", being read",
    };
    format!(
        "{side}: {}, its frame {}{how}",
        half.name,
        half.side.frame + 1
    )
}

fn size_of(night: &OpenNight, half: &Half<'_>) -> (usize, usize) {
    if let Some(picture) = half.picture {
        return (picture.colour.width, picture.colour.height);
    }
    let measured = (night.night().rows.get(half.row)).and_then(|row| row.measure.as_deref());
    measured.map_or((3, 2), |m| (m.width_px.max(1), m.height_px.max(1)))
}

/// Which setting, and which of its frames.
fn heading(
    ui: &mut Ui,
    cx: Cx<'_>,
    comparison: &Comparison,
    half: &Half<'_>,
    actions: &mut Vec<Action>,
) {
    let side = SIDES[half.which];
    let count = (comparison.columns.get(half.side.column)).map_or(0, |column| column.rows.len());
    ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
        let button = Button::new(&half.name)
            .menu()
            .name(format!("Setting on the {side}: {}", half.name))
            .show(ui, cx.t);
        Popup::menu(&button).show(|ui| {
            for column in 0..comparison.columns.len() {
                let is_chosen = column == half.side.column;
                if (ui.selectable_label(is_chosen, comparison.name(column))).clicked() {
                    actions.push(Action::SetSide(half.which, column));
                }
            }
        });
        let words = format!("frame {} of {count}", half.side.frame + 1);
        widgets::text(ui, words, size::SMALL, cx.t.ink2);
        for (label, name, by, able) in [
            ("Previous", "Previous frame", -1, half.side.frame > 0),
            ("Next", "Next frame", 1, half.side.frame + 1 < count),
        ] {
            let button = Button::new(label)
                .name(format!("{name} on the {side}"))
                .enabled(able);
            if button.show(ui, cx.t).clicked() {
                actions.push(Action::StepSide(half.which, by));
            }
        }
        if comparison.best == Some(half.side.column) {
            widgets::text(ui, "best here", size::SMALL, cx.t.ink);
        }
    });
}

fn draw(
    ui: &Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    half: &Half<'_>,
    (window, turn): (&FrameWindow, &Turn),
    state: &mut State,
) {
    let rect = window.rect;
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.rect_filled(rect, 2.0, cx.t.plot);
    let slot = Slot::Half(half.which);
    let Some(picture) = half.picture else {
        let words = match half.state {
            Some(PictureState::Failed(why)) => why.clone(),
            _ => "reading…".to_owned(),
        };
        state
            .textures
            .paint_last(&painter, slot, window, turn, 0.35);
        let width = (rect.width() - 40.0).max(40.0);
        let galley = painter.layout(words, theme::words(size::BODY), cx.t.ink2, width);
        let plate = Rect::from_center_size(rect.center(), galley.size() + vec2(24.0, 12.0));
        painter.rect_filled(plate, 6.0, cx.t.panel);
        painter.galley(plate.min + vec2(12.0, 6.0), galley, cx.t.ink2);
        return;
    };
    let source = Source {
        night: night.id,
        picture,
        turn,
        group: (night.night().rows.get(half.row)).and_then(|row| row.group),
        usual_level: None,
        like: state.look_of(night, half),
        theme: cx.model.comfort.theme,
    };
    state.textures.paint(&painter, slot, window, source);
}

impl State {
    pub(super) fn forget_own_look(&mut self) {
        self.own_zoom = None;
        self.centre = None;
    }

    /// Which of Fit and 1:1 is in force, if either is.
    pub(super) fn zoom_in_force(&self) -> Option<PictureZoom> {
        self.own_zoom.is_none().then_some(self.mode)
    }

    fn window(&mut self, rect: Rect, turn: &Turn, scale: f32, mode: PictureZoom) -> FrameWindow {
        if self.mode != mode {
            self.own_zoom = None;
            self.mode = mode;
        }
        let size = turn.size();
        let size = vec2(size.0 as f32, size.1 as f32);
        let centre = self.centre.unwrap_or(size / 2.0);
        match (self.own_zoom, mode) {
            (Some(zoom), _) => FrameWindow::at(rect, size, scale, zoom, centre),
            (None, PictureZoom::OneToOne) => FrameWindow::at(rect, size, scale, 1.0, centre),
            (None, PictureZoom::Fit) => FrameWindow::fit(rect, size, scale),
        }
    }

    /// Scrolling and dragging over either picture moves both.
    fn take_input(&mut self, ui: &Ui, responses: &[Response], window: FrameWindow) -> FrameWindow {
        let mut moved = window;
        for response in responses {
            let to_left = window.rect.min - response.rect.min;
            if let Some(pointer) = response.hover_pos() {
                let (scroll, pinch) = ui.input(|i| (i.smooth_scroll_delta().y, i.zoom_delta()));
                let factor = (scroll / SCROLL_PER_DOUBLE).exp2() * pinch;
                if (factor - 1.0).abs() > 1e-4 {
                    moved = moved.zoomed(factor, pointer + to_left);
                    self.own_zoom = Some(moved.screen_zoom());
                }
            }
            if response.dragged() {
                moved = moved.panned(response.drag_delta());
            }
        }
        if moved != window {
            self.centre = Some(moved.centre);
        }
        moved
    }

    /// The right picture's look: the same zoom, about the same stars.
    fn linked(
        &mut self,
        night: &OpenNight,
        left: FrameWindow,
        [a, b]: [&Half<'_>; 2],
        (turns, rect): (&[Turn; 2], Rect),
    ) -> FrameWindow {
        let key = (night.id, a.row, b.row);
        let is_current = self.link.as_ref().is_some_and(|(kept, _)| *kept == key);
        if !is_current {
            self.link = Some((key, FieldOf::row(night.night(), a.row).in_row(b.row)));
        }
        let size = turns[1].size();
        let size = vec2(size.0 as f32, size.1 as f32);
        let on_sensor = turns[0].to_sensor(
            f64::from(left.centre.x) - 0.5,
            f64::from(left.centre.y) - 0.5,
        );
        let there =
            (self.link.as_ref()).map_or(on_sensor, |(_, link)| link.at(on_sensor.0, on_sensor.1));
        let (x, y) = turns[1].to_display(there.0, there.1);
        FrameWindow {
            rect,
            size,
            centre: vec2(x as f32 + 0.5, y as f32 + 0.5),
            ..left
        }
    }

    /// The left picture's sky, in the numbers of `half`: both are stretched alike.
    fn look_of(&mut self, night: &OpenNight, half: &Half<'_>) -> Option<(usize, SkyStats)> {
        let group = |column: usize| Some(night.comparison()?.columns.get(column)?.group);
        if half.which == 0 {
            let key = (night.id, half.row);
            if self.sky.is_none_or(|(kept, _)| kept != key) {
                let stats = SkyStats::of(&half.picture?.colour);
                self.sky = Some((key, stats));
            }
        }
        let (_, stats) = self.sky?;
        let left = night.comparing.pair?[0].column;
        let brighter = level(night, half.side.column)
            .zip(level(night, left))
            .map_or(1.0, |(own, left)| own / left);
        Some((group(left)?, stats.amplified(brighter)))
    }

    /// Looks at a place of the left picture, as shares of the frame on the sensor, at 1:1 or nearer.
    pub(super) fn look_at(&mut self, night: &OpenNight, share: (f64, f64)) {
        let row = (night.comparing.pair).and_then(|pair| night.row_of_side(pair[0]));
        let measure = row.and_then(|row| night.night().rows.get(row)?.measure.as_deref());
        let (Some(measure), Some(set)) = (measure, night.shown_set()) else {
            return;
        };
        let turn = Turn::new(set.orientation, measure.width_px, measure.height_px);
        let (width, height) = (measure.width_px as f64, measure.height_px as f64);
        let (x, y) = turn.to_display(share.0 * width, share.1 * height);
        self.own_zoom = Some(self.own_zoom.unwrap_or(1.0).max(1.0));
        self.centre = Some(vec2(x as f32, y as f32));
    }
}

#[cfg(test)]
mod tests {
    use egui::pos2;

    use super::*;
    use crate::frame::Orientation;

    #[test]
    fn dragging_the_right_one_moves_the_left_one_too() {
        let turn = Turn::new(Orientation(1), 3000, 2000);
        let rect = Rect::from_min_size(pos2(0.0, 0.0), vec2(400.0, 300.0));
        let mut state = State::default();
        let window = state.window(rect, &turn, 1.0, PictureZoom::OneToOne);
        assert_eq!(window.centre, vec2(1500.0, 1000.0));
        state.centre = Some(window.panned(vec2(-100.0, 50.0)).centre);
        let moved = state.window(rect, &turn, 1.0, PictureZoom::OneToOne);
        assert_eq!(moved.centre, vec2(1600.0, 950.0));
        assert_eq!(state.zoom_in_force(), Some(PictureZoom::OneToOne));
        state.own_zoom = Some(2.0);
        // Another mode of the window takes the place of what was scrolled.
        let fit = state.window(rect, &turn, 1.0, PictureZoom::Fit);
        assert!(fit.zoom < 0.2 && state.own_zoom.is_none());
    }
}
