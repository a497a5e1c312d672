//! The chart: events, lanes, clock, ribbon and legend on one time axis, and what the pointer does
//! there.

use std::sync::Arc;

use egui::{CursorIcon, PointerButton, Rect, Response, Role, Sense, Stroke, Ui, WidgetInfo};
use egui::{pos2, vec2};

use super::lane_paint::{self, LanePaint};
use super::{Cx, Fold, chart_tip, event_marks, glossary, legend, range_bar, ribbon_view};
use crate::app::{Action, OpenNight};
use crate::chart::lanes::lanes;
use crate::chart::{Lane, LaneKind, TimeAxis, axis};
use crate::night::Night;
use crate::verdict::Purpose;

/// Left of the lanes: names and values, points.
pub(super) const GUTTER: f32 = 142.0;
/// Right of the lanes: tick numbers, points.
pub(super) const TICKS: f32 = 46.0;

/// Height of the events' two rows, points.
const EVENTS: f32 = 44.0;
/// Height of the clock row.
const CLOCK: f32 = 22.0;
/// Height of the legend.
const LEGEND: f32 = 26.0;
/// Between lanes.
const BETWEEN: f32 = 6.0;
/// How near to an edge of the choice a drag takes hold of it, points.
const EDGE: f32 = 5.0;

/// What the chart keeps from one pass to the next.
#[derive(Debug, Default)]
pub(super) struct State {
    cached: Option<Cached>,
    /// The place a drag began at.
    drag_from: Option<usize>,
    /// Whether the three lower lanes are shown in a very low window.
    lower_shown: bool,
}

#[derive(Debug)]
struct Cached {
    night: Arc<Night>,
    set: usize,
    purpose: Purpose,
    lanes: Arc<[Lane]>,
}

impl State {
    fn lanes(&mut self, open: &OpenNight, purpose: Purpose) -> Arc<[Lane]> {
        let is_fresh = self.cached.as_ref().is_some_and(|cached| {
            Arc::ptr_eq(&cached.night, &open.derived.night)
                && cached.set == open.set
                && cached.purpose == purpose
        });
        if !is_fresh {
            let lanes =
                (open.shown_set()).map_or_else(Vec::new, |set| lanes(open.night(), set, purpose));
            self.cached = Some(Cached {
                night: Arc::clone(&open.derived.night),
                set: open.set,
                purpose,
                lanes: lanes.into(),
            });
        }
        (self.cached.as_ref()).map_or_else(|| Arc::from([]), |cached| Arc::clone(&cached.lanes))
    }
}

/// Where everything lies.
#[derive(Debug, Clone)]
pub(super) struct Places {
    pub(super) axis: TimeAxis,
    pub(super) events: Rect,
    pub(super) lanes: Vec<Rect>,
    pub(super) clock: Rect,
    pub(super) ribbon: Rect,
    pub(super) legend: Rect,
}

/// Height of each lane.
fn heights(lanes: &[Lane], fold: Fold, lower_shown: bool) -> Vec<f32> {
    (lanes.iter())
        .map(|lane| match lane.kind {
            LaneKind::Noise | LaneKind::Stars | LaneKind::Shift
                if fold.very_low && !lower_shown =>
            {
                0.0
            }
            _ if lane.missing.is_some() => 24.0,
            LaneKind::Shape if fold.low => 62.0,
            LaneKind::Shape => 80.0,
            LaneKind::Sky if fold.low => 50.0,
            LaneKind::Sky => 66.0,
            _ if fold.low => 24.0,
            LaneKind::Stars => 44.0,
            LaneKind::Noise | LaneKind::Shift => 40.0,
        })
        .collect()
}

fn places(area: Rect, open: &OpenNight, heights: &[f32], fold: Fold) -> Places {
    let (left, right) = (area.left() + GUTTER, area.right() - TICKS);
    let row = |top: f32, height: f32| {
        Rect::from_min_max(pos2(left, top), pos2(right.max(left + 1.0), top + height))
    };
    let (from_s, to_s) = open.shown_times();
    let axis = TimeAxis {
        from_s,
        to_s,
        left: f64::from(left),
        right: f64::from(right.max(left + 1.0)),
    };
    let between = if fold.low { BETWEEN - 4.0 } else { BETWEEN };
    let events = row(area.top(), EVENTS);
    let mut y = events.bottom() + between;
    let mut lanes = Vec::with_capacity(heights.len());
    for &height in heights {
        lanes.push(row(y, height));
        if height > 0.0 {
            y += height + between;
        }
    }
    let clock = row(y, CLOCK);
    let ribbon = row(clock.bottom(), if fold.low { 32.0 } else { 44.0 });
    let legend = Rect::from_min_max(
        pos2(left, ribbon.bottom() + 4.0),
        pos2(area.right() - 12.0, ribbon.bottom() + 4.0 + LEGEND),
    );
    Places {
        axis,
        events,
        lanes,
        clock,
        ribbon,
        legend,
    }
}

/// Draws the chart at the top of `ui`; how high it is comes back.
pub(super) fn show(ui: &mut Ui, cx: Cx<'_>, state: &mut State, actions: &mut Vec<Action>) -> f32 {
    let Some(open) = &cx.model.night else {
        return 0.0;
    };
    let area = ui.max_rect();
    let lower_shown = state.lower_shown;
    let lanes = state.lanes(open, cx.model.purpose);
    let heights = heights(&lanes, cx.fold, lower_shown);
    let places = places(area, open, &heights, cx.fold);
    let body = Rect::from_min_max(places.events.min, places.clock.max);

    let id = ui.scope_id();
    let canvas = ui.interact(body, id.with("lanes"), Sense::click_and_drag());
    canvas.widget_info(|| {
        let name = format!("Lanes of the night, frame {} chosen", open.chosen + 1);
        WidgetInfo::labeled(Role::GenericContainer, true, name)
    });
    let ribbon = ui.interact(places.ribbon, id.with("ribbon"), Sense::click_and_drag());
    ribbon.widget_info(|| WidgetInfo::slider(true, open.chosen as f64 + 1.0, ribbon_name(open)));

    paint_choice(ui, cx, open, &places);
    for (lane, rect) in lanes.iter().zip(&places.lanes) {
        if rect.height() <= 0.0 {
            continue;
        }
        let paint = LanePaint {
            cx,
            open,
            lane,
            rect: *rect,
            axis: places.axis,
        };
        lane_paint::paint(ui, &paint);
        let named_at = Rect::from_min_max(
            pos2(area.left(), rect.top()),
            pos2(rect.left() - 2.0, rect.bottom()),
        );
        let named = ui.interact(named_at, id.with(lane.kind), Sense::hover());
        named.widget_info(|| WidgetInfo::labeled(Role::Label, true, lane_paint::name(lane, open)));
        named.on_hover_text(glossary::meaning(lane.kind.name()));
    }
    ribbon_view::paint(ui, cx, open, &places, &ribbon);
    let event = event_marks::show(ui, cx, open, &places, &canvas, actions);
    paint_clock(ui, cx, open, &places);
    chart_tip::show(ui, cx, open, &lanes, &places, &canvas, &ribbon, event);
    for response in [&canvas, &ribbon] {
        if !event || response.id == ribbon.id {
            pointer(ui, open, state, &places, response, actions);
        }
        super::widgets::focus_ring(ui, response.rect, response, cx.t);
    }
    legend::show(ui, cx, open, places.legend, actions);
    if !open.range.is_empty() {
        range_bar::show(ui, cx, open, &places, actions);
    }
    if cx.fold.very_low {
        more_lanes(ui, cx, state, area, &places);
    }
    places.legend.bottom() + 6.0 - area.top()
}

fn ribbon_name(open: &OpenNight) -> String {
    let Some((row, _)) = open.chosen_row() else {
        return "No frame".to_owned();
    };
    let time = open
        .chosen_time()
        .map_or_else(String::new, |t| open.clock(t));
    let verdict = if open.is_pending(row) {
        "not measured yet"
    } else {
        open.verdict_of(row).word()
    };
    let frame = format!("Frame {} of {}", open.chosen + 1, open.frames().len());
    let mut parts = vec![frame, time, verdict.to_owned()];
    parts.extend(chart_tip::why(open, row));
    parts.retain(|part| !part.is_empty());
    parts.join(", ")
}

/// What is chosen: a ground under the lanes, a line for the chosen frame.
fn paint_choice(ui: &Ui, cx: Cx<'_>, open: &OpenNight, places: &Places) {
    let painter = ui
        .painter()
        .with_clip_rect(Rect::from_min_max(places.events.min, places.ribbon.max));
    for rect in range_rects(open, places) {
        painter.rect_filled(rect, 0.0, cx.t.hover);
    }
}

/// The chosen frames' runs, over lanes and ribbon.
pub(super) fn range_rects(open: &OpenNight, places: &Places) -> Vec<Rect> {
    let top = places.lanes.first().map_or(places.clock.top(), Rect::top);
    crate::app::answer::runs(&open.range)
        .into_iter()
        .filter_map(|(first, last)| {
            let from = *open.times.get(first)?;
            let to = end_of(open, last)?;
            let (left, right) = (places.axis.x(from) as f32, places.axis.x(to) as f32);
            let right = right.max(left + 2.0);
            Some(Rect::from_min_max(
                pos2(left, top),
                pos2(right, places.ribbon.bottom()),
            ))
        })
        .collect()
}

/// When a frame's turn ends: at the next frame's start, or an interval on.
pub(super) fn end_of(open: &OpenNight, place: usize) -> Option<f64> {
    let from = *open.times.get(place)?;
    let interval = interval(open);
    let end = from + interval;
    Some(open.times.get(place + 1).map_or(end, |next| next.min(end)))
}

/// The usual time from frame to frame, s.
pub(super) fn interval(open: &OpenNight) -> f64 {
    (open.shown_set())
        .and_then(|set| set.interval_s)
        .filter(|s| *s > 0.0)
        .unwrap_or(1.0)
}

/// Where the chosen frame's line stands: in the middle of the frame's time.
pub(super) fn middle_x(open: &OpenNight, place: usize, axis: TimeAxis) -> Option<f32> {
    let from = *open.times.get(place)?;
    let to = end_of(open, place)?;
    Some(axis.x(f64::midpoint(from, to)) as f32)
}

/// The place under a pointer.
pub(super) fn place_at(open: &OpenNight, axis: TimeAxis, x: f32) -> Option<usize> {
    let time = axis.time(f64::from(x)) - interval(open) / 2.0;
    axis::nearest(&open.times, time)
}

fn paint_clock(ui: &Ui, cx: Cx<'_>, open: &OpenNight, places: &Places) {
    use super::theme::numbers;
    let t = cx.t;
    let (row, axis) = (places.clock, places.axis);
    let clip = Rect::from_min_max(
        pos2(row.left() - 40.0, places.events.top()),
        pos2(row.right() + 40.0, places.ribbon.bottom()),
    );
    let painter = ui.painter().with_clip_rect(clip);
    let chosen_x = middle_x(open, open.chosen, axis)
        .filter(|x| (row.left() - 0.5..=row.right() + 0.5).contains(x));
    let chip = chosen_x.map(|x| {
        let time = open
            .chosen_time()
            .map_or_else(String::new, |time| open.clock(time));
        let text = if time.is_empty() {
            format!("{}", open.chosen + 1)
        } else {
            format!("{} · {time}", open.chosen + 1)
        };
        let galley = painter.layout_no_wrap(text, numbers(12.0), t.prim_ink);
        let width = galley.size().x + 20.0;
        let left = (x - width / 2.0).clamp(row.left() - 30.0, row.right() + 30.0 - width);
        let rect = Rect::from_min_size(pos2(left, row.top() + 2.0), vec2(width, 18.0));
        (rect, galley)
    });
    let ticks = match open.night().start_clock_s {
        Some(start) => crate::chart::clock::ticks(start, axis, 84.0),
        None => Vec::new(),
    };
    for (time, text) in ticks {
        let x = axis.x(time) as f32;
        let galley = painter.layout_no_wrap(text, numbers(12.0), t.ink2);
        let rect = Rect::from_center_size(pos2(x, row.top() + 11.0), galley.size());
        let is_covered = chip
            .as_ref()
            .is_some_and(|(chip, _)| chip.expand(4.0).intersects(rect));
        if is_covered {
            continue;
        }
        painter.vline(x, row.top()..=row.top() + 3.0, Stroke::new(1.0, t.line2));
        painter.galley(rect.min, galley, t.ink2);
    }
    if let (Some(x), Some((rect, galley))) = (chosen_x, chip) {
        let line = Stroke::new(1.5, t.ink);
        painter.vline(x, places.events.top() + 20.0..=rect.top(), line);
        painter.vline(x, rect.bottom()..=places.ribbon.bottom(), line);
        painter.rect_filled(rect, 3.0, t.prim);
        painter.galley(rect.center() - galley.size() / 2.0, galley, t.prim_ink);
    }
}

/// Clicks, drags and the wheel.
fn pointer(
    ui: &Ui,
    open: &OpenNight,
    state: &mut State,
    places: &Places,
    response: &Response,
    actions: &mut Vec<Action>,
) {
    let axis = places.axis;
    let at = response.interact_pointer_pos();
    let place = at.and_then(|at| place_at(open, axis, at.x));
    if response.double_clicked() {
        actions.push(Action::WholeNight);
    } else if response.clicked() {
        let shift = ui.input(|input| input.modifiers.shift);
        actions.extend(place.map(|place| {
            if shift {
                Action::ExtendTo(place)
            } else {
                Action::Choose(place)
            }
        }));
    }
    let edge = response
        .hover_pos()
        .and_then(|at| edge_anchor(open, places, at.x));
    if edge.is_some() && !response.dragged() {
        ui.set_cursor_icon(CursorIcon::ResizeHorizontal);
    }
    if response.drag_started_by(PointerButton::Primary) {
        let began = ui.input(|input| input.pointer.press_origin());
        let on_edge = began.and_then(|at| edge_anchor(open, places, at.x));
        state.drag_from = on_edge.or_else(|| began.and_then(|at| place_at(open, axis, at.x)));
    }
    if response.dragged_by(PointerButton::Primary)
        && let (Some(from), Some(to)) = (state.drag_from, place)
    {
        actions.push(Action::ChooseRange(from, to));
    }
    if response.drag_stopped() {
        state.drag_from = None;
    }
    if response.dragged_by(PointerButton::Middle) {
        let (from, to) = axis.panned(-f64::from(response.drag_delta().x));
        actions.push(Action::ZoomTo(from, to));
    }
    wheel(ui, axis, response, actions);
}

/// The place that stays when the edge of the choice at `x` is dragged.
fn edge_anchor(open: &OpenNight, places: &Places, x: f32) -> Option<usize> {
    let (&first, &last) = (open.range.first()?, open.range.last()?);
    if last - first + 1 != open.range.len() {
        return None;
    }
    let rect = range_rects(open, places).into_iter().next()?;
    if (x - rect.left()).abs() <= EDGE {
        Some(last)
    } else if (x - rect.right()).abs() <= EDGE {
        Some(first)
    } else {
        None
    }
}

fn wheel(ui: &Ui, axis: TimeAxis, response: &Response, actions: &mut Vec<Action>) {
    let Some(at) = response.hover_pos() else {
        return;
    };
    let (scroll, pinch) = ui.input(|input| (input.smooth_scroll_delta(), input.zoom_delta()));
    if scroll.x.abs() > scroll.y.abs() {
        let (from, to) = axis.panned(-f64::from(scroll.x));
        actions.push(Action::ZoomTo(from, to));
        return;
    }
    let factor = (-f64::from(scroll.y) * 0.004).exp() / f64::from(pinch);
    if (factor - 1.0).abs() > 1e-6 {
        let (from, to) = axis.zoomed(factor, f64::from(at.x));
        actions.push(Action::ZoomTo(from, to));
    }
}

fn more_lanes(ui: &mut Ui, cx: Cx<'_>, state: &mut State, area: Rect, places: &Places) {
    let at = pos2(area.left() + 8.0, places.clock.top() - 2.0);
    let rect = Rect::from_min_size(at, vec2(GUTTER - 12.0, 24.0));
    let label = if state.lower_shown {
        "fewer lanes"
    } else {
        "3 more lanes"
    };
    let button = super::widgets::Button::new(label).look(super::widgets::Look::Text);
    if super::inside(ui, "more lanes", rect, |ui| button.show(ui, cx.t)).clicked() {
        state.lower_shown = !state.lower_shown;
    }
}
