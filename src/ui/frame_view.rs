//! The picture of a frame, looked at through a rectangle: zoom, pan, marks, and what is shown while
//! it is being read or could not be.

use egui::{Align2, Rect, Response, Role, Sense, Stroke, StrokeKind, Ui, Vec2, WidgetInfo, vec2};

use super::frame_marks::{self, Scene};
use super::frame_textures::{Slot, Source, Textures};
use super::frame_window::FrameWindow;
use super::spots::{self, Prediction, Spot};
use super::theme::{self, Tokens, size};
use super::{Cx, frame_words};
use crate::app::{Action, Mark, OpenNight, PictureState, PictureZoom};
use crate::engine::Picture;
use crate::night::{Foreground, Row};
use crate::picture::Turn;

/// For this long the picture before stays as it is while the next is read, s.
const PATIENCE_S: f64 = 0.15;
/// Scrolled points that double the zoom.
const SCROLL_PER_DOUBLE: f32 = 160.0;

/// The frame that is looked at, with what is needed to draw it.
pub(super) struct Seen<'a> {
    pub night: &'a OpenNight,
    /// Index into the night's rows.
    pub index: usize,
    pub row: &'a Row,
    /// Frame number, from 1.
    pub number: usize,
    /// `None` until its size is known.
    pub turn: Option<Turn>,
    pub prediction: Option<Prediction>,
}

impl<'a> Seen<'a> {
    /// The frame that is looked at: the chosen one, or the best while that is held up beside it.
    pub(super) fn looked_at(night: &'a OpenNight) -> Option<Self> {
        let place = night.looked_at();
        let (index, row) = night.row_at(place)?;
        let size = size_of(night, row);
        let orientation = night.shown_set()?.orientation;
        let group = row.group.and_then(|group| night.night().groups.get(group));
        let prediction = (group.and_then(|group| group.turn))
            .zip(row.facts.exposure_s)
            .zip(size)
            .and_then(|((turn, exposure), (w, h))| Prediction::new(turn, exposure, w, h));
        Some(Self {
            night,
            index,
            row,
            number: place + 1,
            turn: size.map(|(width, height)| Turn::new(orientation, width, height)),
            prediction,
        })
    }

    /// Its picture, once it is here.
    pub(super) fn picture(&self) -> Option<&'a Picture> {
        match self.night.picture_of(self.row.shot)? {
            PictureState::Ready(picture) => Some(picture),
            _ => None,
        }
    }

    /// The ground in its group's frames, as told over the night.
    fn foreground(&self) -> Option<&'a Foreground> {
        let group = self.night.night().groups.get(self.row.group?)?;
        group.foreground.as_ref()
    }

    fn source<'b>(&'b self, picture: &'b Picture, turn: &'b Turn, cx: Cx<'_>) -> Source<'b> {
        let group = self
            .row
            .group
            .and_then(|group| self.night.night().groups.get(group));
        Source {
            night: self.night.id,
            picture,
            turn,
            group: self.row.group,
            usual_level: group.and_then(|g| g.sky).map(|sky| sky.median / 100.0),
            like: None,
            theme: cx.model.comfort.theme,
        }
    }

    /// Its five spots.
    pub(super) fn spots(&self, turn: &Turn) -> [Spot; 5] {
        match &self.row.measure {
            Some(measure) => spots::spots(measure, turn, self.prediction.as_ref()),
            None => spots::unmeasured(turn),
        }
    }
}

/// Width and height on the sensor, from whatever is known first.
fn size_of(night: &OpenNight, row: &Row) -> Option<(usize, usize)> {
    if let Some(PictureState::Ready(picture)) = night.picture_of(row.shot) {
        return Some((picture.colour.width, picture.colour.height));
    }
    let measured = row.measure.as_ref().map(|m| (m.width_px, m.height_px));
    let stated = (row.facts.width_px as usize, row.facts.height_px as usize);
    measured.or(Some(stated)).filter(|(w, h)| *w > 0 && *h > 0)
}

/// How the frame is looked at, and its textures.
#[derive(Debug, Default)]
pub struct State {
    pub(super) textures: Textures,
    /// The model's zoom when it was last looked at.
    mode: PictureZoom,
    /// The zoom made by scrolling, screen px per frame px.
    own_zoom: Option<f32>,
    /// What is looked at, when it was moved.
    centre: Option<Vec2>,
    /// Size of the frame the above are for.
    size: Vec2,
    /// The shot being waited for, and since when.
    waiting: Option<(usize, f64)>,
}

impl State {
    /// Which of Fit and 1:1 is in force, if either is.
    pub(super) fn zoom_in_force(&self) -> Option<PictureZoom> {
        self.own_zoom.is_none().then_some(self.mode)
    }

    /// Back to the model's zoom.
    pub(super) fn forget_own_zoom(&mut self) {
        self.own_zoom = None;
        self.centre = None;
    }

    /// Looks at a point of the displayed frame at 1:1.
    pub(super) fn look_at(&mut self, point: (f64, f64)) {
        self.own_zoom = Some(1.0);
        self.centre = Some(vec2(point.0 as f32, point.1 as f32));
    }

    /// The look in force through `rect`.
    pub(super) fn window(
        &mut self,
        rect: Rect,
        turn: &Turn,
        scale: f32,
        mode: PictureZoom,
    ) -> FrameWindow {
        let size = turn.size();
        let size = vec2(size.0 as f32, size.1 as f32);
        if self.size != size || self.mode != mode {
            self.forget_own_zoom();
            (self.size, self.mode) = (size, mode);
        }
        let centre = self.centre.unwrap_or(size / 2.0);
        match (self.own_zoom, mode) {
            (Some(zoom), _) => FrameWindow::at(rect, size, scale, zoom, centre),
            (None, PictureZoom::OneToOne) => FrameWindow::at(rect, size, scale, 1.0, centre),
            (None, PictureZoom::Fit) => FrameWindow::fit(rect, size, scale),
        }
    }

    fn take_input(&mut self, ui: &Ui, response: &Response, window: FrameWindow) -> FrameWindow {
        let mut moved = window;
        if let Some(pointer) = response.hover_pos() {
            let (scroll, pinch) = ui.input(|i| (i.smooth_scroll_delta().y, i.zoom_delta()));
            let factor = (scroll / SCROLL_PER_DOUBLE).exp2() * pinch;
            if (factor - 1.0).abs() > 1e-4 {
                moved = moved.zoomed(factor, pointer);
                self.own_zoom = Some(moved.screen_zoom());
            }
        }
        if response.dragged() {
            moved = moved.panned(response.drag_delta());
        }
        if moved != window {
            self.centre = Some(moved.centre);
        }
        moved
    }
}

/// Draws the frame in `rect` with its marks, and takes in scrolling, dragging and double clicks.
pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    rect: Rect,
    state: &mut State,
    seen: &Seen<'_>,
    actions: &mut Vec<Action>,
) {
    let response = ui.interact(
        rect,
        ui.scope_id().with("frame picture"),
        Sense::click_and_drag(),
    );
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, name(cx, seen)));
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.rect_filled(rect, 2.0, cx.t.plot);
    let Some(turn) = &seen.turn else {
        no_picture(ui, cx, rect, state, seen);
        return;
    };
    let scale = ui.pixels_per_point();
    let window = state.window(rect, turn, scale, cx.model.picture_zoom);
    let window = state.take_input(ui, &response, window);
    if let Some(picture) = seen.picture() {
        state.waiting = None;
        state.textures.paint(
            &painter,
            Slot::Frame,
            &window,
            seen.source(picture, turn, cx),
        );
        if let Some(measure) = &seen.row.measure {
            let scene = Scene {
                window,
                turn,
                measure,
                prediction: seen.prediction.as_ref(),
                foreground: seen.foreground(),
                t: cx.t,
            };
            frame_marks::paint(&painter, &scene, cx.model.marks);
        }
    } else {
        let waited = waited_s(ui, state, seen.row.shot);
        let failed = matches!(
            seen.night.picture_of(seen.row.shot),
            Some(PictureState::Failed(_))
        );
        if !failed {
            let opacity = if waited < PATIENCE_S { 1.0 } else { 0.35 };
            state
                .textures
                .paint_last(&painter, Slot::Frame, &window, turn, opacity);
        }
        no_picture(ui, cx, rect, state, seen);
    }
    if response.double_clicked() {
        state.forget_own_zoom();
        actions.push(Action::TogglePictureZoom);
    }
    ring(ui, rect, &response, cx.t);
}

/// Paints the five spots' places on the frame; `crop` is their size in frame px.
pub(super) fn show_spot_places(
    ui: &Ui,
    cx: Cx<'_>,
    rect: Rect,
    state: &mut State,
    seen: &Seen<'_>,
    crop: Vec2,
) {
    let (Some(turn), Some(_)) = (&seen.turn, seen.picture()) else {
        return;
    };
    let window = state.window(rect, turn, ui.pixels_per_point(), cx.model.picture_zoom);
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    frame_marks::spot_places(&painter, window, &seen.spots(turn), crop, cx.t);
}

/// Draws all of the frame small, with its marks, as a picture without zoom.
pub(super) fn show_small(ui: &mut Ui, cx: Cx<'_>, rect: Rect, state: &mut State, seen: &Seen<'_>) {
    let response = ui.interact(rect, ui.scope_id().with("small picture"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, name(cx, seen)));
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.rect_filled(rect, 2.0, cx.t.plot);
    let (Some(turn), Some(picture)) = (&seen.turn, seen.picture()) else {
        no_picture(ui, cx, rect, state, seen);
        return;
    };
    state.waiting = None;
    let (width, height) = turn.size();
    let window = FrameWindow::fit(
        rect,
        vec2(width as f32, height as f32),
        ui.pixels_per_point(),
    );
    state.textures.paint(
        &painter,
        Slot::Side,
        &window,
        seen.source(picture, turn, cx),
    );
    if let Some(measure) = &seen.row.measure {
        let scene = Scene {
            window,
            turn,
            measure,
            prediction: seen.prediction.as_ref(),
            foreground: seen.foreground(),
            t: cx.t,
        };
        frame_marks::paint(&painter, &scene, cx.model.marks);
    }
}

/// Draws a spot's crop at 1:1 in `rect`.
pub(super) fn show_crop(
    ui: &Ui,
    cx: Cx<'_>,
    rect: Rect,
    state: &mut State,
    seen: &Seen<'_>,
    spot: (usize, &Spot),
) {
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.rect_filled(rect, 2.0, cx.t.plot);
    let Some(turn) = &seen.turn else { return };
    let (width, height) = turn.size();
    let size = vec2(width as f32, height as f32);
    let (place, spot) = spot;
    let centre = vec2(spot.shown.0 as f32, spot.shown.1 as f32);
    let window = FrameWindow::at(rect, size, ui.pixels_per_point(), 1.0, centre);
    let slot = Slot::Spot(place);
    match seen.picture() {
        Some(picture) => {
            state
                .textures
                .paint(&painter, slot, &window, seen.source(picture, turn, cx));
        }
        None => state
            .textures
            .paint_last(&painter, slot, &window, turn, 0.35),
    }
}

/// Seconds this shot has been waited for; the window is drawn again when patience ends.
fn waited_s(ui: &Ui, state: &mut State, shot: usize) -> f64 {
    let now = ui.input(|input| input.time);
    let since = match state.waiting {
        Some((waiting, since)) if waiting == shot => since,
        _ => {
            state.waiting = Some((shot, now));
            now
        }
    };
    let waited = now - since;
    if waited < PATIENCE_S {
        ui.ctx()
            .request_repaint_after_secs((PATIENCE_S - waited) as f32);
    }
    waited
}

/// Says that the picture is being read, or why it could not be.
fn no_picture(ui: &Ui, cx: Cx<'_>, rect: Rect, state: &mut State, seen: &Seen<'_>) {
    let failed = match (seen.night.picture_of(seen.row.shot), &seen.row.error) {
        (Some(PictureState::Failed(why)), _) => Some(why.as_str()),
        (_, Some(error)) => Some(error.as_str()),
        _ => None,
    };
    let words = match failed {
        Some(why) => format!("Frame {} could not be read.\n{why}", seen.number),
        None if waited_s(ui, state, seen.row.shot) < PATIENCE_S => return,
        None => format!("reading frame {}…", seen.number),
    };
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    let width = (rect.width() - 48.0).max(40.0);
    let ink = if failed.is_some() {
        cx.t.ink
    } else {
        cx.t.ink2
    };
    let galley = painter.layout(words, theme::words(size::BODY), ink, width);
    let plate = Align2::CENTER_CENTER.anchor_size(rect.center(), galley.size() + vec2(24.0, 16.0));
    let border = if failed.is_some() {
        Stroke::new(1.0, cx.t.ink)
    } else {
        Stroke::NONE
    };
    painter.rect(plate, 6.0, cx.t.panel, border, StrokeKind::Inside);
    painter.galley(plate.min + vec2(12.0, 8.0), galley, ink);
}

fn ring(ui: &Ui, rect: Rect, response: &Response, t: &Tokens) {
    if response.has_focus() {
        ui.painter()
            .rect_stroke(rect, 2.0, Stroke::new(2.0, t.ink), StrokeKind::Inside);
    }
}

/// "Frame 201 with trails, one streak".
fn name(cx: Cx<'_>, seen: &Seen<'_>) -> String {
    let mut drawn: Vec<String> = Vec::new();
    let marks = cx.model.marks;
    if let Some(measure) = &seen.row.measure {
        let streaks = measure.streaks.len();
        let clipped = measure
            .stars
            .iter()
            .filter(|star| star.flags.clipped)
            .count();
        if marks.is_drawn(Mark::Ground) && seen.foreground().is_some_and(|f| f.ground_pct() > 0.0) {
            drawn.push("ground outline".to_owned());
        }
        if marks.is_drawn(Mark::Trails) && !measure.stars.is_empty() {
            drawn.push("trails".to_owned());
        }
        if marks.is_drawn(Mark::Streaks) && streaks > 0 {
            drawn.push(crate::verdict::words::plural(streaks, "streak", "streaks"));
        }
        if marks.is_drawn(Mark::Clipped) && clipped > 0 {
            drawn.push(crate::verdict::words::plural(
                clipped,
                "clipped star",
                "clipped stars",
            ));
        }
        let pole = seen.prediction.as_ref().and_then(Prediction::pole_px);
        if marks.is_drawn(Mark::Pole) && pole.is_some() {
            drawn.push("the sky pole".to_owned());
        }
    }
    let state = match seen.picture() {
        Some(_) => "",
        None if seen.row.error.is_some() => ", could not be read",
        None => ", being read",
    };
    let clock = frame_words::clock_of(seen.night, seen.row);
    let clock = clock.map_or_else(String::new, |clock| format!(" at {clock}"));
    if drawn.is_empty() {
        format!("Frame {}{clock}{state}", seen.number)
    } else {
        format!(
            "Frame {}{clock}{state} with {}",
            seen.number,
            drawn.join(", ")
        )
    }
}
