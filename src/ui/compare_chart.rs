//! Signal-to-noise against ISO with its knee, and what a higher ISO costs in clipped stars.

use egui::{Align2, Color32, Painter, Pos2, Rect, Role, Sense, Shape, Stroke, Ui, WidgetInfo};
use egui::{pos2, vec2};

use super::Cx;
use super::theme::{self, size};
use crate::advice::Comparison;
use crate::advice::compare::Curve;
use crate::chart::axis::{Span, Ticks, number};
use crate::verdict::words::{figure, with_unit};

/// Room left of a plot for its numbers, and right of it for a curve's name, points.
const GUTTER: (f32, f32) = (34.0, 12.0);
/// Room under a plot for its ISO numbers, points.
const BELOW: f32 = 20.0;
/// Least span of the chart, as a share of its upper end.
const LEAST_SPAN: f64 = 0.15;
/// Half the width of the knee's band, points.
const BAND: f32 = 20.0;

/// How a curve is drawn: exposures of single frames solid with discs, then dashed with squares;
/// stacked ones dotted with triangles.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Style {
    Disc,
    Square,
    Triangle,
}

/// The ISO settings of all curves, lowest first.
fn isos(curves: &[Curve]) -> Vec<u32> {
    let mut isos: Vec<u32> = (curves.iter())
        .flat_map(|curve| curve.points.iter().map(|point| point.0))
        .collect();
    isos.sort_unstable();
    isos.dedup();
    isos
}

/// The curves drawn: single frames of the two longest exposures, and the stacks where exposures
/// differ; with `equal_time` only what is of equal total time.
fn chosen(comparison: &Comparison, equal_time: bool) -> Vec<(&Curve, Style)> {
    let mut curves = Vec::new();
    let mut single = 0;
    for curve in &comparison.curves {
        if curve.stacked > 1.0 {
            curves.push((curve, Style::Triangle));
            continue;
        }
        let is_longest = single == 0;
        single += 1;
        if !equal_time || is_longest {
            let style = if is_longest {
                Style::Disc
            } else {
                Style::Square
            };
            curves.push((curve, style));
        }
    }
    curves.truncate(5);
    curves
}

fn name(curve: &Curve) -> String {
    let exposure = with_unit(curve.exposure_s, "s");
    if curve.stacked > 1.0 {
        format!("{} × {exposure}", figure(curve.stacked))
    } else {
        exposure
    }
}

/// Draws the chart in the rest of `ui`, `height` points high.
pub(super) fn signal(ui: &mut Ui, cx: Cx<'_>, comparison: &Comparison, height: f32, equal: bool) {
    let wanted = vec2(ui.available_width(), height);
    let (rect, response) = ui.allocate_exact_size(wanted, Sense::hover());
    let curves = chosen(comparison, equal);
    response.widget_info(|| {
        let words = spoken(&curves, comparison);
        WidgetInfo::labeled(Role::Image, true, words)
    });
    let isos = isos(&comparison.curves);
    let values = || curves.iter().flat_map(|(curve, _)| curve.points.iter());
    let reach = values().flat_map(|(_, value, _)| {
        let error = value.error.unwrap_or(0.0);
        [value.value - error, value.value + error]
    });
    let Some(span) = Span::around(reach, 0.12) else {
        return;
    };
    // What hardly differs is to look so.
    let span = Span {
        low: span.low.min((1.0 - LEAST_SPAN) * span.high),
        ..span
    };
    let painter = ui.painter();
    let head = if comparison.knee.is_some() { 18.0 } else { 2.0 };
    let names = curves
        .iter()
        .map(|(curve, _)| text_width(painter, &name(curve)));
    let right = GUTTER.1 + names.fold(0.0, f32::max);
    let plot = Rect::from_min_max(
        pos2(rect.left() + GUTTER.0, rect.top() + head),
        pos2(rect.right() - right, rect.bottom() - BELOW),
    );
    painter.rect_filled(plot, 0.0, cx.t.plot);
    let x_of = |iso: u32| across(plot, &isos, iso);
    knee(painter, cx, comparison, plot, &x_of);
    let y_of = |value: f64| plot.bottom() - span.share(value) as f32 * plot.height();
    let ticks = Ticks::within(span, 5);
    for &value in &ticks.values {
        let y = y_of(value);
        painter.hline(plot.x_range(), y, Stroke::new(1.0, cx.t.line));
        painter.text(
            pos2(plot.left() - 6.0, y),
            Align2::RIGHT_CENTER,
            ticks.text(value),
            theme::numbers(size::TICK),
            cx.t.ink3,
        );
    }
    iso_numbers(painter, cx, plot, &isos, &x_of);
    let mut taken: Vec<f32> = Vec::new();
    for (curve, style) in &curves {
        let points: Vec<Pos2> = (curve.points.iter())
            .map(|(iso, value, _)| pos2(x_of(*iso), y_of(value.value)))
            .collect();
        let colour = if *style == Style::Disc {
            cx.t.ink
        } else {
            cx.t.ink2
        };
        line(painter, &points, *style, colour);
        for ((_, value, _), at) in curve.points.iter().zip(&points) {
            if let Some(error) = value.error {
                let (low, high) = (y_of(value.value - error), y_of(value.value + error));
                painter.vline(
                    at.x,
                    low.min(high)..=low.max(high),
                    Stroke::new(1.0, colour),
                );
            }
            point(painter, *at, *style, colour, cx.t.plot);
        }
        if let Some(last) = points.last() {
            let mut y = last.y;
            while taken.iter().any(|other| (other - y).abs() < 14.0) {
                y += 2.0;
            }
            taken.push(y);
            let at = pos2(plot.right() + 4.0, y);
            let font = theme::words(size::SMALL);
            painter.text(at, Align2::LEFT_CENTER, name(curve), font, cx.t.ink2);
        }
    }
}

fn text_width(painter: &Painter, text: &str) -> f32 {
    let font = theme::words(size::SMALL);
    painter
        .layout_no_wrap(text.to_owned(), font, Color32::WHITE)
        .size()
        .x
}

/// ISO settings at even steps: each is a stop or a part of one from the next.
fn across(plot: Rect, isos: &[u32], iso: u32) -> f32 {
    let place = isos.iter().position(|other| *other == iso).unwrap_or(0);
    let step = plot.width() / isos.len().max(1) as f32;
    plot.left() + step * (place as f32 + 0.5)
}

fn iso_numbers(painter: &Painter, cx: Cx<'_>, plot: Rect, isos: &[u32], x_of: &dyn Fn(u32) -> f32) {
    for &iso in isos {
        painter.text(
            pos2(x_of(iso), plot.bottom() + 4.0),
            Align2::CENTER_TOP,
            iso.to_string(),
            theme::numbers(size::TICK),
            cx.t.ink2,
        );
    }
}

/// The band of the knee, with its words.
fn knee(
    painter: &Painter,
    cx: Cx<'_>,
    comparison: &Comparison,
    plot: Rect,
    x_of: &dyn Fn(u32) -> f32,
) {
    let Some(knee) = comparison.knee else {
        return;
    };
    let x = x_of(knee.iso);
    let band = Rect::from_min_max(pos2(x - BAND, plot.top()), pos2(x + BAND, plot.bottom()));
    painter.rect_filled(band.intersect(plot), 0.0, cx.t.band);
    let words = knee_words(comparison);
    let galley = painter.layout_no_wrap(words, theme::words(size::SMALL), cx.t.ink2);
    let room = (plot.right() - galley.size().x).max(plot.left());
    let left = (x - galley.size().x / 2.0).clamp(plot.left(), room);
    painter.galley(pos2(left, plot.top() - 17.0), galley, cx.t.ink2);
}

/// "knee: ISO 3200 adds 2 %".
fn knee_words(comparison: &Comparison) -> String {
    comparison.knee.map_or_else(String::new, |knee| {
        let (iso, gain) = knee.next;
        if gain < 0.005 {
            format!("knee: ISO {iso} adds nothing")
        } else {
            format!("knee: ISO {iso} adds {} %", number(100.0 * gain, 0))
        }
    })
}

fn line(painter: &Painter, points: &[Pos2], style: Style, colour: Color32) {
    let stroke = Stroke::new(1.5, colour);
    match style {
        Style::Disc => painter.add(Shape::line(points.to_vec(), stroke)),
        Style::Square => painter.add(Shape::Vec(Shape::dashed_line(points, stroke, 5.0, 4.0))),
        Style::Triangle => painter.add(Shape::Vec(Shape::dashed_line(points, stroke, 1.5, 3.5))),
    };
}

fn point(painter: &Painter, at: Pos2, style: Style, colour: Color32, ground: Color32) {
    let edge = Stroke::new(1.2, colour);
    match style {
        Style::Disc => painter.circle_filled(at, 3.5, colour),
        Style::Square => painter.rect(
            Rect::from_center_size(at, vec2(6.5, 6.5)),
            0.0,
            ground,
            edge,
            egui::StrokeKind::Middle,
        ),
        Style::Triangle => {
            let corners = [vec2(0.0, -4.6), vec2(4.2, 3.2), vec2(-4.2, 3.2)].map(|by| at + by);
            painter.add(Shape::convex_polygon(corners.to_vec(), ground, edge))
        }
    };
}

/// The chart in words: each curve's values, and the knee.
fn spoken(curves: &[(&Curve, Style)], comparison: &Comparison) -> String {
    let each = curves.iter().map(|(curve, _)| {
        let points = (curve.points.iter())
            .map(|(iso, value, _)| format!("{} at {iso}", figure(value.value)))
            .collect::<Vec<_>>();
        format!("{}: {}", name(curve), points.join(", "))
    });
    let mut words = vec!["Signal-to-noise against ISO".to_owned()];
    words.extend(each);
    if let Some(knee) = comparison.knee {
        words.push(format!("knee at ISO {}", knee.iso));
    }
    words.join(". ")
}

/// What a higher ISO costs: clipped stars at the recommended exposure, as bars.
pub(super) fn cost(ui: &mut Ui, cx: Cx<'_>, comparison: &Comparison, height: f32) {
    let bars = bars(comparison);
    let wanted = vec2(ui.available_width(), height);
    let (rect, response) = ui.allocate_exact_size(wanted, Sense::hover());
    response.widget_info(|| {
        let each: Vec<String> = (bars.iter())
            .map(|(iso, stars)| format!("{} at {iso}", number(*stars, 0)))
            .collect();
        let words = format!("Clipped stars against ISO: {}", each.join(", "));
        WidgetInfo::labeled(Role::Image, true, words)
    });
    let painter = ui.painter();
    let plot = Rect::from_min_max(
        pos2(rect.left() + GUTTER.0, rect.top()),
        pos2(rect.right() - GUTTER.1, rect.bottom() - BELOW),
    );
    painter.rect_filled(plot, 0.0, cx.t.plot);
    let isos: Vec<u32> = bars.iter().map(|(iso, _)| *iso).collect();
    let x_of = |iso: u32| across(plot, &isos, iso);
    iso_numbers(painter, cx, plot, &isos, &x_of);
    let most = bars.iter().map(|(_, stars)| *stars).fold(1.0, f64::max);
    for (iso, stars) in &bars {
        let tall = (stars / most) as f32 * (plot.height() - 20.0);
        let top = plot.bottom() - tall.max(1.0);
        let bar = Rect::from_min_max(
            pos2(x_of(*iso) - 14.0, top),
            pos2(x_of(*iso) + 14.0, plot.bottom()),
        );
        painter.rect_filled(bar, 0.0, cx.t.ink2);
        painter.text(
            pos2(bar.center().x, bar.top() - 3.0),
            Align2::CENTER_BOTTOM,
            number(*stars, 0),
            theme::numbers(size::TICK),
            cx.t.ink,
        );
    }
}

/// ISO and clipped stars at the exposure that is recommended, or the longest.
fn bars(comparison: &Comparison) -> Vec<(u32, f64)> {
    let at = comparison.best.unwrap_or(0);
    let Some(like) = comparison.columns.get(at) else {
        return Vec::new();
    };
    let same = |c: &&crate::advice::compare::Column| {
        c.exposure_s == like.exposure_s && c.f_number == like.f_number
    };
    (comparison.columns.iter())
        .filter(same)
        .filter_map(|column| Some((column.iso?, column.clipped_stars?.value)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::compare::Value;

    fn curve(exposure_s: f64, stacked: f64) -> Curve {
        let value = |value| Value { value, error: None };
        Curve {
            exposure_s,
            stacked,
            points: vec![(800, value(18.0), 0), (1600, value(19.5), 1)],
        }
    }

    #[test]
    fn equal_time_leaves_the_longest_and_the_stacks() {
        let comparison = Comparison {
            curves: vec![curve(30.0, 1.0), curve(15.0, 1.0), curve(15.0, 2.0)],
            ..Comparison::default()
        };
        let names = |equal| {
            let curves = chosen(&comparison, equal);
            curves.iter().map(|(c, _)| name(c)).collect::<Vec<_>>()
        };
        assert_eq!(names(false), ["30 s", "15 s", "2 × 15 s"]);
        assert_eq!(names(true), ["30 s", "2 × 15 s"]);
        let words = spoken(&chosen(&comparison, true), &comparison);
        assert!(words.contains("30 s: 18 at 800, 19.5 at 1600"), "{words}");
    }
}
