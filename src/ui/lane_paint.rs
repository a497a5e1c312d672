//! One lane: its name and values on the left, ticks on the right, points between.

use egui::{Align2, Color32, Mesh, Painter, Pos2, Rect, Shape, Stroke, Ui, pos2, vec2};

use super::Cx;
use super::chart_view::{GUTTER, TICKS};
use super::lane_bands;
use super::theme::{self, size};
use crate::app::OpenNight;
use crate::chart::lanes::{BAND_SHARE, Predicted};
use crate::chart::reduce::{Dot, keep_extremes};
use crate::chart::{Lane, LaneKind, Point, TimeAxis};
use crate::verdict::Verdict;

/// Room for each tick's number from top to bottom, points.
const TICK_APART: f32 = 18.0;

/// What is painted where.
pub(super) struct LanePaint<'a> {
    pub(super) cx: Cx<'a>,
    pub(super) open: &'a OpenNight,
    pub(super) lane: &'a Lane,
    pub(super) rect: Rect,
    pub(super) axis: TimeAxis,
}

/// A lane's name for a screen reader, with the chosen frame's values.
pub(super) fn name(lane: &Lane, open: &OpenNight) -> String {
    let name = format!("{} lane", lane.kind.name());
    if let Some(why) = &lane.missing {
        return format!("{name}, not measured: {why}");
    }
    let value = lane.value_at(open.chosen).map_or_else(
        || "not measured".to_owned(),
        |value| format!("{} {}", lane.quantity, lane.say(value)),
    );
    let mut parts = vec![name, format!("chosen frame {}", open.chosen + 1), value];
    parts.extend(predicted(lane, open).map(|p| format!("predicted {}", lane.say(p.value))));
    let width = lane.line_at(open.chosen);
    parts.extend(width.map(|width| format!("width {}", lane.say(width))));
    parts.extend(lane.bands.iter().map(|band| band.words.clone()));
    parts.join(", ")
}

/// What is predicted for the chosen frame.
fn predicted(lane: &Lane, open: &OpenNight) -> Option<Predicted> {
    let time = open.chosen_time()?;
    (lane.band.iter())
        .find(|p| (p.time_s - time).abs() < 1e-6)
        .copied()
}

pub(super) fn paint(ui: &Ui, paint: &LanePaint<'_>) {
    let whole = Rect::from_min_max(
        paint.rect.min - vec2(GUTTER, 6.0),
        paint.rect.max + vec2(TICKS, 6.0),
    );
    let painter = ui.painter().with_clip_rect(whole.intersect(ui.clip_rect()));
    if let Some(why) = &paint.lane.missing {
        missing(&painter, paint, why);
        return;
    }
    let inner = painter.with_clip_rect(paint.rect.expand(1.0).intersect(ui.clip_rect()));
    lane_bands::grounds(&inner, paint);
    grid(&painter, paint);
    gutter(&painter, paint);
    band(&inner, paint);
    line(&inner, paint);
    points(&inner, paint);
    words_inside(&inner, paint);
    lane_bands::words(&inner, paint);
}

impl LanePaint<'_> {
    /// The height of a value.
    fn y(&self, value: f64) -> f32 {
        let share = self.lane.range.share(value) as f32;
        let inner = self.rect.shrink2(vec2(0.0, 3.0));
        inner.bottom() - share * inner.height()
    }

    /// Where a frame beginning at `time_s` is drawn: in the middle of its time.
    fn x(&self, time_s: f64) -> f32 {
        let half = super::chart_view::interval(self.open) / 2.0;
        self.axis.x(time_s + half) as f32
    }

    fn is_one_line(&self) -> bool {
        self.rect.height() <= 26.0
    }
}

fn missing(painter: &Painter, paint: &LanePaint<'_>, why: &str) {
    let t = paint.cx.t;
    let left = paint.rect.left() - GUTTER + 8.0;
    let y = paint.rect.center().y;
    let font = theme::words(size::BODY - 0.5);
    let name = paint.lane.kind.short_name();
    painter.text(pos2(left, y), Align2::LEFT_CENTER, name, font, t.ink);
    let text = format!("not measured: {why}");
    let font = theme::words(size::SMALL);
    painter.hline(paint.rect.x_range(), y, Stroke::new(1.0, t.line));
    let galley = painter.layout_no_wrap(text, font, t.ink3);
    let at = pos2(paint.rect.left() + 8.0, y - galley.size().y / 2.0);
    let ground = Rect::from_min_size(at, galley.size()).expand2(vec2(6.0, 0.0));
    painter.rect_filled(ground, 0.0, t.bg);
    painter.galley(at, galley, t.ink3);
}

fn grid(painter: &Painter, paint: &LanePaint<'_>) {
    let t = paint.cx.t;
    // Each number has its own height and a little more; a one-line lane picks one of two.
    let most = ((paint.rect.height() / TICK_APART) as usize).max(2);
    let mut ticks = paint.lane.ticks(most);
    if paint.is_one_line() && ticks.values.len() > 1 {
        // One tick says enough: the one nearest the middle.
        let middle = f64::midpoint(paint.lane.range.low, paint.lane.range.high);
        let far = |v: &f64| (v - middle).abs();
        let best = (ticks.values.iter().copied()).min_by(|a, b| far(a).total_cmp(&far(b)));
        ticks.values = best.into_iter().collect();
    }
    let top = ticks.values.last().copied();
    for &value in &ticks.values {
        let y = paint.y(value).round() + 0.5;
        painter.hline(paint.rect.x_range(), y, Stroke::new(1.0, t.line));
        let mut text = ticks.text(value);
        if Some(value) == top {
            text.push_str(paint.lane.unit);
        }
        let at = pos2(paint.rect.right() + 6.0, y);
        let font = theme::numbers(size::TICK);
        painter.text(at, Align2::LEFT_CENTER, text, font, t.ink3);
    }
}

/// A row of the gutter: a mark, what it is, its value at the chosen frame.
struct GutterRow {
    mark: Option<GutterMark>,
    quantity: &'static str,
    value: String,
}

enum GutterMark {
    Dot,
    Band,
    Line,
}

fn gutter_rows(paint: &LanePaint<'_>) -> Vec<GutterRow> {
    let (lane, open) = (paint.lane, paint.open);
    let say = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |v| lane.say(v));
    let is_shape = lane.kind == LaneKind::Shape;
    let mut rows = vec![GutterRow {
        mark: is_shape.then_some(GutterMark::Dot),
        quantity: lane.quantity,
        value: say(lane.value_at(open.chosen)),
    }];
    let has_room = paint.rect.height() >= 70.0;
    if is_shape && !lane.band.is_empty() && has_room {
        let value = if lane.quantity == "length" {
            say(predicted(lane, open).map(|p| p.value))
        } else {
            "1–1.2".to_owned()
        };
        rows.push(GutterRow {
            mark: Some(GutterMark::Band),
            quantity: "predicted",
            value,
        });
    }
    if !lane.line.is_empty() {
        rows.push(GutterRow {
            mark: Some(GutterMark::Line),
            quantity: "width",
            value: say(lane.line_at(open.chosen)),
        });
    }
    rows
}

fn gutter(painter: &Painter, paint: &LanePaint<'_>) {
    let t = paint.cx.t;
    let left = paint.rect.left() - GUTTER + 8.0;
    let right = paint.rect.left() - 8.0;
    let name_font = theme::words(size::BODY - 0.5);
    let number_font = theme::numbers(size::SMALL - 0.5);
    let rows = gutter_rows(paint);
    if paint.is_one_line() {
        let y = paint.rect.center().y;
        let name = paint.lane.kind.short_name();
        painter.text(pos2(left, y), Align2::LEFT_CENTER, name, name_font, t.ink);
        if let Some(row) = rows.first() {
            painter.text(
                pos2(right, y),
                Align2::RIGHT_CENTER,
                &row.value,
                number_font,
                t.ink,
            );
        }
        return;
    }
    let step = 16.0;
    let height = 18.0 + step * rows.len() as f32;
    let mut y = paint.rect.center().y - height / 2.0 + 9.0;
    painter.text(
        pos2(left, y),
        Align2::LEFT_CENTER,
        paint.lane.kind.name(),
        name_font,
        t.ink,
    );
    y += 1.0;
    for row in rows {
        y += step;
        let mut x = left;
        if let Some(mark) = row.mark {
            gutter_mark(painter, pos2(x, y), &mark, paint);
            x += 14.0;
        }
        let font = theme::words(size::SMALL);
        painter.text(pos2(x, y), Align2::LEFT_CENTER, row.quantity, font, t.ink2);
        painter.text(
            pos2(right, y),
            Align2::RIGHT_CENTER,
            &row.value,
            number_font.clone(),
            t.ink,
        );
    }
}

fn gutter_mark(painter: &Painter, at: Pos2, mark: &GutterMark, paint: &LanePaint<'_>) {
    let t = paint.cx.t;
    match mark {
        GutterMark::Dot => {
            painter.circle_filled(at + vec2(4.0, 0.0), 1.8, t.keep);
        }
        GutterMark::Band => {
            let rect = Rect::from_center_size(at + vec2(4.0, 0.0), vec2(9.0, 7.0));
            let edge = Stroke::new(1.0, t.line2);
            painter.rect(rect, 0.0, t.band, edge, egui::StrokeKind::Inside);
        }
        GutterMark::Line => {
            let line = [at, at + vec2(9.0, 0.0)];
            painter.line_segment(line, Stroke::new(1.5, t.ink));
        }
    }
}

/// One prediction a pixel column is enough.
fn band_columns(paint: &LanePaint<'_>) -> Vec<(f32, f32, f32)> {
    let mut columns: Vec<(f32, f32, f32)> = Vec::new();
    for predicted in &paint.lane.band {
        let x = paint.x(predicted.time_s);
        let column = (x, paint.y(predicted.low), paint.y(predicted.high));
        if columns.last().is_none_or(|last| x - last.0 >= 1.0) {
            columns.push(column);
        }
    }
    columns
}

fn band(painter: &Painter, paint: &LanePaint<'_>) {
    let t = paint.cx.t;
    let columns = band_columns(paint);
    let mut mesh = Mesh::default();
    for &(x, low, high) in &columns {
        mesh.colored_vertex(pos2(x, low), t.band);
        mesh.colored_vertex(pos2(x, high), t.band);
    }
    for i in 1..columns.len() as u32 {
        let at = 2 * i;
        mesh.add_triangle(at - 2, at - 1, at);
        mesh.add_triangle(at - 1, at, at + 1);
    }
    painter.add(Shape::mesh(mesh));
    let edge = Stroke::new(1.0, t.line2);
    for pick in [|c: &(f32, f32, f32)| c.1, |c: &(f32, f32, f32)| c.2] {
        let points: Vec<Pos2> = columns.iter().map(|c| pos2(c.0, pick(c))).collect();
        if points.len() > 1 {
            painter.line(points, edge);
        }
    }
}

fn dots(paint: &LanePaint<'_>, points: &[Point], with_verdict: bool) -> Vec<Dot> {
    let (from, to) = (paint.axis.from_s, paint.axis.to_s);
    // One frame beyond either edge, so that a line goes on to the edge.
    let room = 2.0 * super::chart_view::interval(paint.open);
    (points.iter())
        .filter(|p| p.time_s >= from - room && p.time_s <= to + room)
        .map(|point| {
            let row = paint.open.frames().get(point.place).copied();
            let verdict = row.map_or(Verdict::Keep, |row| paint.open.verdict_of(row));
            Dot {
                x: paint.x(point.time_s),
                y: paint.y(point.value),
                class: if with_verdict { verdict as u8 } else { 0 },
            }
        })
        .collect()
}

fn line(painter: &Painter, paint: &LanePaint<'_>) {
    let dots = dots(paint, &paint.lane.line, false);
    let points: Vec<Pos2> = (keep_extremes(&dots).into_iter())
        .filter_map(|i| dots.get(i))
        .map(|dot| pos2(dot.x, dot.y))
        .collect();
    if points.len() > 1 {
        painter.line(points, Stroke::new(1.5, paint.cx.t.ink));
    }
}

fn points(painter: &Painter, paint: &LanePaint<'_>) {
    let t = paint.cx.t;
    let dots = dots(paint, &paint.lane.points, true);
    let mut kept: Vec<&Dot> = (keep_extremes(&dots).into_iter())
        .filter_map(|i| dots.get(i))
        .collect();
    // What needs the eye is painted last.
    kept.sort_by_key(|dot| dot.class);
    for dot in kept {
        let at = pos2(dot.x, dot.y);
        match dot.class {
            c if c == Verdict::Keep as u8 => {
                painter.circle_filled(at, 1.25, t.keep);
            }
            c if c == Verdict::Doubtful as u8 => {
                painter.circle_stroke(at, 2.3, Stroke::new(1.1, t.doubt));
            }
            _ => cross(painter, at, t.rej),
        }
    }
}

fn cross(painter: &Painter, at: Pos2, colour: Color32) {
    let stroke = Stroke::new(1.1, colour);
    painter.line_segment([at - vec2(2.2, 2.2), at + vec2(2.2, 2.2)], stroke);
    painter.line_segment([at - vec2(2.2, -2.2), at + vec2(2.2, -2.2)], stroke);
}

/// Names of band and line, where they touch neither each other nor the points.
fn words_inside(painter: &Painter, paint: &LanePaint<'_>) {
    let lane = paint.lane;
    if lane.kind != LaneKind::Shape || lane.quantity != "length" {
        return;
    }
    let middle = lane.band.get(lane.band.len() / 2);
    if let Some(predicted) = middle {
        let share = BAND_SHARE * 100.0;
        let text = if paint.cx.fold.low {
            format!("predicted: {} ± {share:.0} %", lane.say(predicted.value))
        } else {
            let value = lane.say(predicted.value);
            format!("predicted by the sky’s turning: {value} ± {share:.0} %")
        };
        caption(painter, paint, &text, &lane.points, paint.y(predicted.high));
    }
    if let Some(width) = lane.line.get(lane.line.len() / 3) {
        let above = paint.y(width.value);
        let free = middle.is_none_or(|p| above - paint.y(p.low) > 22.0);
        if free && !paint.cx.fold.low {
            caption(painter, paint, "width across the trail", &lane.line, above);
        }
    }
}

/// Words above height `y`, where no point of `points` lies higher.
fn caption(painter: &Painter, paint: &LanePaint<'_>, text: &str, points: &[Point], y: f32) {
    let t = paint.cx.t;
    let galley = painter.layout_no_wrap(text.to_owned(), theme::words(size::SMALL), t.ink2);
    let (width, height) = (galley.size().x, galley.size().y);
    let top = y - height - 1.0;
    if top < paint.rect.top() - 4.0 {
        return;
    }
    let is_free = |left: f32| {
        points.iter().all(|point| {
            let x = paint.x(point.time_s);
            let inside = x > left - 4.0 && x < left + width + 4.0;
            let at = paint.y(point.value);
            !inside || at > y - 3.5 || at < top - 3.0
        })
    };
    let room = paint.rect.width() - width - 20.0;
    let starts = (0..12).map(|i| paint.rect.left() + 20.0 + room * (i as f32 * 5.0 % 12.0) / 12.0);
    let Some(left) = starts.into_iter().find(|&left| is_free(left)) else {
        return;
    };
    let at = pos2(left, top);
    let ground = Rect::from_min_size(at, galley.size()).expand2(vec2(4.0, -2.0));
    painter.rect_filled(ground, 0.0, t.bg);
    painter.galley(at, galley, t.ink2);
}
