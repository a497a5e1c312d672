//! What the pointer is over: a dashed line and a tip with frame, value, verdict and why.

use egui::{Color32, CornerRadius, Id, LayerId, Order, Painter, Pos2, Rect, Response, Shape};
use egui::{Stroke, StrokeKind, Ui, pos2, vec2};

use super::Cx;
use super::chart_view::{self, Places};
use super::theme::{self, size};
use crate::app::OpenNight;
use crate::chart::{Lane, LaneKind, electrons_a_percent};

/// Why a row has its verdict, in a few words: the event it belongs to, else its weightiest value.
pub(super) fn why(open: &OpenNight, row: usize) -> Option<String> {
    let judged = open.judged();
    if let Some(error) = open.night().rows.get(row).and_then(|r| r.error.clone()) {
        return Some(error);
    }
    let event = (judged.events.iter()).find(|event| (event.first..=event.last).contains(&row));
    if let Some(event) = event {
        return Some(event.label.clone());
    }
    let evidence = judged.judgements.get(row)?.evidence.first()?;
    Some(evidence.reason.info().label.to_owned())
}

/// Draws the dashed line and the tip while the pointer is over lanes or ribbon. Over an event
/// (`on_event`) the event's own tip shows instead.
#[expect(
    clippy::too_many_arguments,
    reason = "each is another part of the chart"
)]
pub(super) fn show(
    ui: &Ui,
    cx: Cx<'_>,
    open: &OpenNight,
    lanes: &[Lane],
    places: &Places,
    canvas: &Response,
    ribbon: &Response,
    on_event: bool,
) {
    if on_event || canvas.dragged() || ribbon.dragged() {
        return;
    }
    let Some(at) = canvas.hover_pos().or_else(|| ribbon.hover_pos()) else {
        return;
    };
    let Some(place) = chart_view::place_at(open, places.axis, at.x) else {
        return;
    };
    let Some(x) = chart_view::middle_x(open, place, places.axis) else {
        return;
    };
    let top = places.lanes.first().map_or(places.clock.top(), Rect::top);
    let line = [pos2(x, top), pos2(x, places.ribbon.bottom())];
    let dashes = Shape::dashed_line(&line, Stroke::new(1.0, cx.t.ink2), 3.0, 3.0);
    ui.painter().extend(dashes);
    let lane = (lanes.iter().zip(&places.lanes))
        .find(|(_, rect)| rect.y_range().contains(at.y))
        .map(|(lane, _)| lane);
    let lines = lines(cx, open, place, lane);
    tip(ui, cx, at, &lines);
}

fn lines(
    cx: Cx<'_>,
    open: &OpenNight,
    place: usize,
    lane: Option<&Lane>,
) -> Vec<(String, Color32)> {
    let t = cx.t;
    let time = (open.times.get(place)).map_or_else(String::new, |&time| open.clock(time));
    let mut lines = vec![(
        if time.is_empty() {
            format!("frame {}", place + 1)
        } else {
            format!("frame {}, {time}", place + 1)
        },
        t.ink,
    )];
    let Some((index, row)) = open.row_at(place) else {
        return lines;
    };
    if let Some((lane, value)) = lane.and_then(|lane| Some((lane, lane.value_at(place)?))) {
        let word = match lane.kind {
            LaneKind::Shape => lane.quantity,
            LaneKind::Sky => "sky",
            LaneKind::Noise => "noise",
            LaneKind::Stars => "stars",
            LaneKind::Shift => "shift",
        };
        let typical = match lane.kind {
            LaneKind::Shape if lane.quantity == "length" => row.typical.trail_px,
            LaneKind::Shape => row.typical.elongation,
            LaneKind::Sky => row.typical.sky_pct,
            LaneKind::Noise if lane.unit == " %" => row.typical.noise_pct,
            LaneKind::Noise => (row.typical.noise_pct)
                .zip(electrons_a_percent(open.night(), row))
                .map(|(noise, electrons)| noise * electrons),
            LaneKind::Stars => row.typical.stars,
            LaneKind::Shift => None,
        };
        let mut parts = vec![format!("{word} {}", lane.say(value))];
        parts.extend(typical.map(|typical| format!("typical {}", lane.say(typical))));
        lines.push((parts.join(", "), t.ink2));
    }
    if open.is_pending(index) {
        lines.push(("not measured yet".to_owned(), t.ink2));
        return lines;
    }
    let verdict = open.verdict_of(index);
    let by_you = if open.is_set_by_you(index) {
        ", set by you"
    } else {
        ""
    };
    let why = why(open, index).map_or_else(String::new, |why| format!(": {why}"));
    let text = format!("{}{by_you}{why}", verdict.word());
    lines.push((text, t.verdict(verdict)));
    lines
}

/// A tip of a few lines beside `at`, inside the window.
pub(super) fn tip(ui: &Ui, cx: Cx<'_>, at: Pos2, lines: &[(String, Color32)]) {
    let layer = LayerId::new(Order::Tooltip, Id::unique("chart tip"));
    let painter = Painter::new(ui.ctx().clone(), layer, ui.ctx().content_rect());
    let galleys: Vec<_> = (lines.iter())
        .map(|(text, ink)| painter.layout(text.clone(), theme::words(size::SMALL), *ink, 320.0))
        .collect();
    let width = galleys.iter().map(|g| g.size().x).fold(0.0, f32::max) + 20.0;
    let height: f32 = galleys.iter().map(|g| g.size().y + 2.0).sum::<f32>() + 12.0;
    let window = ui.ctx().content_rect();
    let mut min = at + vec2(14.0, -height - 8.0);
    if min.x + width > window.right() - 4.0 {
        min.x = at.x - 14.0 - width;
    }
    min.y = min.y.max(window.top() + 4.0);
    let rect = Rect::from_min_size(min, vec2(width, height));
    painter.rect(
        rect,
        CornerRadius::same(4),
        cx.t.raise,
        Stroke::new(1.0, cx.t.line2),
        StrokeKind::Inside,
    );
    let mut y = rect.top() + 7.0;
    for (galley, (_, ink)) in galleys.into_iter().zip(lines) {
        let step = galley.size().y + 2.0;
        painter.galley(pos2(rect.left() + 10.0, y), galley, *ink);
        y += step;
    }
}
