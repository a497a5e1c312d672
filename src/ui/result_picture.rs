//! The large picture: all frames left of a divider, the used ones right of it.

use std::sync::Arc;

use egui::{
    Align2, Color32, ColorImage, CornerRadius, CursorIcon, Painter, Rect, Role, Sense, Stroke,
    TextureHandle, TextureOptions, Ui, Vec2, WidgetInfo, pos2, vec2,
};

use super::frame_textures::to_red;
use super::frame_window::FrameWindow;
use super::theme::{self, size};
use super::{Cx, marks, result_notes, result_page, widgets};
use crate::app::{Action, OpenNight, PictureZoom, ResultAction, Theme};
use crate::engine::Colour;
use crate::picture::{Rgba, SkyStats, Stretch, Turn};
use crate::result::{Piece, Sides, Thin};

/// How near the divider the pointer takes hold of it, points.
const REACH: f32 = 12.0;
/// The divider's knob, points.
const KNOB: Vec2 = vec2(42.0, 28.0);

/// What the picture keeps from one pass to the next.
#[derive(Default)]
pub(super) struct State {
    small: Option<Textures>,
    close: Option<Textures>,
    /// The point looked at closely, px of the displayed frame.
    look: Option<Vec2>,
}

impl std::fmt::Debug for State {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("State")
            .field("look", &self.look)
            .finish_non_exhaustive()
    }
}

/// Both pictures on the graphics card.
struct Textures {
    of: Arc<Sides>,
    red: bool,
    all: TextureHandle,
    used: Option<TextureHandle>,
}

pub(super) fn show(
    ui: &mut Ui,
    cx: Cx<'_>,
    night: &OpenNight,
    state: &mut State,
    actions: &mut Vec<Action>,
) {
    let resulting = &night.resulting;
    let frame = resulting.sources.frame;
    let shown = resulting
        .shown
        .as_ref()
        .filter(|shown| shown.request.recipe.frame == frame);
    let (Some(shown), Some(set), false) = (shown, night.shown_set(), night.progress.is_some())
    else {
        result_page::instead(ui, cx, night, actions);
        return;
    };
    if shown.sides.frames_of_all == 0 {
        result_page::instead(ui, cx, night, actions);
        return;
    }
    let turn = Turn::new(set.orientation, frame.0, frame.1);
    let (width, height) = turn.size();
    let whole = vec2(width as f32, height as f32);
    let scale = ui.pixels_per_point();
    let area = ui.max_rect();
    let is_close = cx.model.picture_zoom == PictureZoom::OneToOne;
    let window = if is_close {
        let look = state.look.unwrap_or(whole / 2.0);
        FrameWindow::at(area, whole, scale, 1.0, look)
    } else {
        let shape = whole * (area.width() / whole.x).min(area.height() / whole.y);
        let left_top = pos2(area.center().x - shape.x / 2.0, area.top());
        FrameWindow::fit(Rect::from_min_size(left_top, shape), whole, scale)
    };
    let rect = window.rect;
    let looked = pan(ui, &window, &turn, is_close, state);
    if let Some((x, y)) = looked {
        actions.push(ResultAction::LookAt(x, y).into());
    }
    let red = cx.model.comfort.theme == Theme::Red;
    let stretch = || Stretch::new(like(&shown.sides, resulting.choices.thin));
    Textures::keep(
        &mut state.small,
        ui,
        &shown.sides,
        &turn,
        red,
        "result",
        stretch,
    );
    let close = resulting
        .close
        .as_ref()
        .filter(|(request, _)| is_close && request.recipe == shown.request.recipe);
    if let Some((_, sides)) = close {
        Textures::keep(
            &mut state.close,
            ui,
            sides,
            &turn,
            red,
            "result close",
            stretch,
        );
    }
    let divider = if resulting.only_used {
        rect.left()
    } else {
        rect.left() + rect.width() * resulting.divider
    };
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.rect_filled(rect, 2.0, cx.t.plot);
    let (left, right) = rect.split_left_right_at_x(divider);
    let near = state.close.as_ref().filter(|_| close.is_some());
    for textures in state.small.iter().chain(near) {
        textures.paint(&painter.with_clip_rect(left), &window, &turn, false);
        textures.paint(&painter.with_clip_rect(right), &window, &turn, true);
    }
    let with_used = shown.sides.used.is_some();
    if !with_used {
        let words = if resulting.is_current() {
            "no frame is used"
        } else {
            "being built"
        };
        label(&painter, cx, right.center(), Align2::CENTER_CENTER, words);
    }
    if resulting.notes {
        result_notes::paint(&painter, cx, night, &window, &turn, divider);
    }
    feet(&painter, cx, night, rect, divider);
    if !resulting.only_used {
        divide(ui, cx, night, rect, divider, actions);
    }
    let name = "What the frames make together".to_owned();
    let id = ui.scope_id().with("result picture");
    let response = ui.interact(rect, id, Sense::hover());
    response.widget_info(|| {
        WidgetInfo::labeled(Role::Image, true, format!("{name}: {}", describe(night)))
    });
}

/// What the picture shows, for who cannot see it.
fn describe(night: &OpenNight) -> String {
    let resulting = &night.resulting;
    let shown = resulting.shown.as_ref();
    let (all, used) = shown.map_or((0, 0), |shown| {
        (shown.sides.frames_of_all, shown.sides.frames_of_used)
    });
    if resulting.only_used {
        format!("{used} used frames")
    } else {
        format!("{all} frames left, {used} used frames right")
    }
}

/// One stretch for both, so that they compare: that of the used frames' sky, and of all frames' when
/// the used ones are summed, which shows how much brighter that is.
fn like(small: &Sides, thin: Thin) -> SkyStats {
    let used = small.used.as_ref().filter(|_| thin != Thin::Pairs);
    SkyStats::of(used.unwrap_or(&small.all))
}

/// Moves what is looked at closely; the sensor's point to build, once it is let go.
fn pan(
    ui: &Ui,
    window: &FrameWindow,
    turn: &Turn,
    is_close: bool,
    state: &mut State,
) -> Option<(f64, f64)> {
    if !is_close {
        state.look = None;
        return None;
    }
    let id = ui.scope_id().with("pan");
    let response = ui.interact(window.rect, id, Sense::drag());
    let is_new = state.look.is_none();
    if response.dragged() {
        state.look = Some(window.panned(response.drag_delta()).centre);
    } else if is_new {
        state.look = Some(window.centre);
    }
    let look = state.look.unwrap_or(window.centre);
    (is_new || response.drag_stopped())
        .then(|| turn.to_sensor(f64::from(look.x), f64::from(look.y)))
}

/// What each side holds, at its foot.
fn feet(painter: &Painter, cx: Cx<'_>, night: &OpenNight, rect: Rect, divider: f32) {
    let Some(shown) = &night.resulting.shown else {
        return;
    };
    let sides = &shown.sides;
    let asked = &shown.request.recipe;
    let so_far = if shown.is_done { "" } else { " so far" };
    let all = format!("with all {} frames{so_far}", sides.frames_of_all);
    let used = match night.resulting.choices.thin {
        Thin::AsTaken => format!("with the {} used frames", sides.frames_of_used),
        Thin::EverySecond => format!("with every second: {} frames", sides.frames_of_used),
        Thin::Pairs => format!("with {} pairs summed", sides.frames_of_used),
    };
    let more = if (sides.frames_of_used as usize) < asked.parts() && !shown.is_done {
        format!("{used} of {} so far", asked.parts())
    } else {
        used
    };
    let room = |words: &str| {
        let font = theme::words(size::BODY);
        painter
            .layout_no_wrap(words.to_owned(), font, cx.t.over)
            .size()
            .x
            + 32.0
    };
    let y = rect.bottom() - 10.0;
    if !night.resulting.only_used && divider - rect.left() > room(&all) {
        label(
            painter,
            cx,
            pos2(rect.left() + 10.0, y),
            Align2::LEFT_BOTTOM,
            &all,
        );
    }
    if rect.right() - divider > room(&more) {
        label(
            painter,
            cx,
            pos2(rect.right() - 10.0, y),
            Align2::RIGHT_BOTTOM,
            &more,
        );
    }
}

/// Words on a dark ground on the picture.
pub(super) fn label(
    painter: &Painter,
    cx: Cx<'_>,
    at: egui::Pos2,
    anchor: Align2,
    words: &str,
) -> Rect {
    let font = theme::words(size::BODY);
    let galley = painter.layout_no_wrap(words.to_owned(), font, cx.t.over);
    let rect = anchor.anchor_size(at, galley.size() + vec2(14.0, 6.0));
    painter.rect_filled(rect, CornerRadius::same(3), Color32::from_black_alpha(190));
    painter.galley(rect.min + vec2(7.0, 3.0), galley, cx.t.over);
    rect
}

/// The divider: drag it, or use the arrows, Home and End.
fn divide(ui: &Ui, cx: Cx<'_>, night: &OpenNight, rect: Rect, x: f32, actions: &mut Vec<Action>) {
    let reach = Rect::from_min_max(pos2(x - REACH, rect.top()), pos2(x + REACH, rect.bottom()));
    let knob = Rect::from_center_size(pos2(x, rect.top() + rect.height() * 0.6), KNOB);
    let id = ui.scope_id().with("divider");
    let response = ui.interact(reach.union(knob), id, Sense::click_and_drag());
    let share = night.resulting.divider;
    response.widget_info(|| {
        let name = format!(
            "Divider, {:.0} percent, all frames left, used frames right",
            100.0 * share
        );
        WidgetInfo::slider(true, f64::from(share) * 100.0, name)
    });
    let response = response.on_hover_cursor(CursorIcon::ResizeHorizontal);
    if response.is_pointer_button_down_on() {
        response.request_focus();
    }
    if let Some(pointer) = response
        .interact_pointer_pos()
        .filter(|_| response.dragged())
    {
        let share = (pointer.x - rect.left()) / rect.width().max(1.0);
        actions.push(ResultAction::Divider(share).into());
    }
    if response.gained_focus() {
        actions.push(ResultAction::Hold(None).into());
    }
    let painter = ui.painter();
    painter.vline(
        x,
        rect.y_range(),
        Stroke::new(4.0, Color32::from_black_alpha(120)),
    );
    painter.vline(x, rect.y_range(), Stroke::new(2.0, cx.t.over));
    let black = Color32::from_black_alpha(230);
    let edge = Stroke::new(2.0, cx.t.over);
    painter.rect(
        knob,
        CornerRadius::same(5),
        black,
        edge,
        egui::StrokeKind::Inside,
    );
    for (side, towards) in [(-9.0, Vec2::LEFT), (9.0, Vec2::RIGHT)] {
        marks::triangle(
            painter,
            knob.center() + vec2(side, 0.0),
            9.0,
            towards,
            cx.t.over,
        );
    }
    widgets::focus_ring(ui, knob, &response, cx.t);
}

impl Textures {
    /// Makes the textures of `sides` unless they are made.
    fn keep(
        kept: &mut Option<Self>,
        ui: &Ui,
        sides: &Arc<Sides>,
        turn: &Turn,
        red: bool,
        name: &str,
        stretch: impl Fn() -> Stretch,
    ) {
        if (kept.as_ref()).is_some_and(|made| Arc::ptr_eq(&made.of, sides) && made.red == red) {
            return;
        }
        let stretch = stretch();
        let make = |colour: &Colour, side: &str| {
            let image = image_of(colour, turn, &stretch, red);
            let options = if sides.piece.factor == 1 {
                TextureOptions::NEAREST
            } else {
                TextureOptions::LINEAR
            };
            ui.ctx()
                .load_texture(format!("{name} {side}"), image, options)
        };
        *kept = Some(Self {
            of: Arc::clone(sides),
            red,
            all: make(&sides.all, "all"),
            used: sides.used.as_ref().map(|used| make(used, "used")),
        });
    }

    /// Paints one side where it lies in the window.
    fn paint(&self, painter: &Painter, window: &FrameWindow, turn: &Turn, used: bool) {
        let texture = if used {
            self.used.as_ref()
        } else {
            Some(&self.all)
        };
        let Some(texture) = texture else {
            return;
        };
        let place = place_of(&self.of.piece, window, turn);
        let all = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
        painter.image(texture.id(), place, all, Color32::WHITE);
    }
}

/// Where a piece of the frame falls on the screen.
fn place_of(piece: &Piece, window: &FrameWindow, turn: &Turn) -> Rect {
    let (left, top) = (piece.left as f64, piece.top as f64);
    // Squares cut by the frame's edge are whole px of the picture.
    let (width, height) = piece.size();
    let right = left + (width * piece.factor) as f64;
    let bottom = top + (height * piece.factor) as f64;
    let corner = |x: f64, y: f64| window.to_screen(turn.to_display(x - 0.5, y - 0.5));
    Rect::from_two_pos(corner(left, top), corner(right, bottom))
}

fn image_of(colour: &Colour, turn: &Turn, stretch: &Stretch, red: bool) -> ColorImage {
    let (width, px) = turn.picture(colour.width, &stretch.apply(&colour.rgb));
    let height = px.len().checked_div(width).unwrap_or(0);
    let mut rgba = Rgba { width, height, px };
    if red {
        to_red(&mut rgba);
    }
    ColorImage::from_rgba_unmultiplied([width, height], rgba.px.as_flattened())
}
