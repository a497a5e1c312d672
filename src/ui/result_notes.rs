//! Notes on the result: streaks and meteors with their frames, the sky's pole, and the arc the trails
//! span about it.

use egui::{Align2, Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};

use super::Cx;
use super::frame_window::FrameWindow;
use super::result_picture::label;
use super::status::duration;
use super::theme::Tokens;
use crate::app::OpenNight;
use crate::chart::axis::number;
use crate::picture::Turn;
use crate::result::{Repair, SkyMotion};
use crate::sky::turning::arc_deg;

/// Most notes on streaks and meteors: more would hide the picture.
const MOST_NOTES: usize = 6;
/// From a thing to its note, points.
const LEADER: Vec2 = vec2(34.0, 30.0);
/// Points of the arc.
const ARC_POINTS: u32 = 48;
/// Where the middle of the arc may lie, shares of the picture: right of the middle first.
const ARC_MIDDLES: [(f32, f32); 16] = [
    (0.78, 0.45),
    (0.72, 0.60),
    (0.80, 0.30),
    (0.85, 0.60),
    (0.65, 0.35),
    (0.70, 0.20),
    (0.60, 0.55),
    (0.88, 0.42),
    (0.75, 0.75),
    (0.55, 0.40),
    (0.50, 0.60),
    (0.45, 0.30),
    (0.35, 0.55),
    (0.25, 0.40),
    (0.30, 0.70),
    (0.20, 0.25),
];

/// Paints the notes; what is used stands right of `divider`.
pub(super) fn paint(
    painter: &Painter,
    cx: Cx<'_>,
    night: &OpenNight,
    window: &FrameWindow,
    turn: &Turn,
    divider: f32,
) {
    let mut taken = Vec::new();
    let sources = &night.resulting.sources;
    if let Some(motion) = &sources.motion {
        pole(painter, cx.t, motion, window, turn);
        arc(
            painter, cx, night, motion, window, turn, divider, &mut taken,
        );
    }
    let is_painted = night.resulting.choices.repairs.has(Repair::Paint);
    let is_used = |place: usize| {
        let at = sources.places.binary_search(&place).ok();
        let exposure = at.and_then(|at| night.resulting.chosen.get(at));
        exposure.is_some_and(|exposure| exposure.is_used)
    };
    let meteors = (sources.meteors.iter())
        .map(|(place, streak)| ("meteor", *place, *streak, is_used(*place)));
    let streaks =
        (sources.exposures.iter().zip(&sources.places)).filter_map(|(exposure, place)| {
            let in_used = is_used(*place) && !is_painted;
            Some(("streak", *place, *exposure.streaks.first()?, in_used))
        });
    let mut told = 0;
    for (word, place, streak, in_used) in meteors.chain(streaks) {
        // A place on it that is seen on a side that holds it.
        let at = |share: f32| {
            let x = streak.from.0 + (streak.to.0 - streak.from.0) * share;
            let y = streak.from.1 + (streak.to.1 - streak.from.1) * share;
            window.to_screen(turn.to_display(f64::from(x), f64::from(y)))
        };
        let seen = [0.5, 0.3, 0.7, 0.15, 0.85]
            .map(at)
            .into_iter()
            .find(|spot| {
                window.rect.shrink(12.0).contains(*spot) && (spot.x < divider - 8.0 || in_used)
            });
        let Some(spot) = seen.filter(|_| told < MOST_NOTES) else {
            continue;
        };
        told += 1;
        let words = format!("{word}, frame {}", place + 1);
        let side = if spot.x < divider {
            window.rect.with_max_x(divider)
        } else {
            window.rect.with_min_x(divider)
        };
        note(painter, cx, side, spot, &words, &mut taken);
    }
}

/// A dot, a line and words, where there is room.
fn note(painter: &Painter, cx: Cx<'_>, area: Rect, spot: Pos2, words: &str, taken: &mut Vec<Rect>) {
    let sides = [
        (vec2(LEADER.x, -LEADER.y), Align2::LEFT_BOTTOM),
        (vec2(LEADER.x, LEADER.y), Align2::LEFT_TOP),
        (vec2(-LEADER.x, -LEADER.y), Align2::RIGHT_BOTTOM),
        (vec2(-LEADER.x, LEADER.y), Align2::RIGHT_TOP),
    ];
    let font = super::theme::words(super::theme::size::BODY);
    let wanted = painter
        .layout_no_wrap(words.to_owned(), font, cx.t.over)
        .size()
        + vec2(14.0, 6.0);
    let fits = sides.into_iter().find(|(off, anchor)| {
        let rect = anchor.anchor_size(spot + *off, wanted);
        area.shrink(6.0).contains_rect(rect) && !taken.iter().any(|other| other.intersects(rect))
    });
    let Some((off, anchor)) = fits else {
        return;
    };
    let end = spot + off;
    painter.line_segment([spot, end], Stroke::new(1.5, cx.t.over));
    painter.circle_filled(spot, 2.5, cx.t.over);
    taken.push(label(painter, cx, end, anchor, words));
}

fn pole(painter: &Painter, t: &Tokens, motion: &SkyMotion, window: &FrameWindow, turn: &Turn) {
    let Some((x, y)) = motion.pole_px() else {
        return;
    };
    let at = window.to_screen(turn.to_display(x, y));
    if !window.rect.contains(at) {
        return;
    }
    for off in [vec2(7.0, 0.0), vec2(0.0, 7.0)] {
        painter.line_segment(
            [at - off, at + off],
            Stroke::new(3.5, egui::Color32::from_black_alpha(150)),
        );
    }
    for off in [vec2(7.0, 0.0), vec2(0.0, 7.0)] {
        painter.line_segment([at - off, at + off], Stroke::new(1.5, t.over));
    }
}

/// The way of one star from the first used frame to the last, with what it spans.
#[expect(
    clippy::too_many_arguments,
    reason = "what is drawn, where, and beside what"
)]
fn arc(
    painter: &Painter,
    cx: Cx<'_>,
    night: &OpenNight,
    motion: &SkyMotion,
    window: &FrameWindow,
    turn: &Turn,
    divider: f32,
    taken: &mut Vec<Rect>,
) {
    let exposures = &night.resulting.chosen;
    let used = || exposures.iter().filter(|exposure| exposure.is_used);
    let (Some(first), Some(last)) = (used().next(), used().next_back()) else {
        return;
    };
    let seconds = last.end_s - first.start_s;
    if seconds <= 0.0 || seconds > 12.0 * 3600.0 {
        return;
    }
    let area = window.rect.shrink(14.0);
    let room = area.with_min_x((divider + 14.0).min(area.right()));
    let way = |share: (f32, f32)| {
        let (width, height) = turn.size();
        let from = (width * f64::from(share.0), height * f64::from(share.1));
        let (x, y) = turn.to_sensor(from.0, from.1);
        let points = (0..=ARC_POINTS).map(|step| {
            let after = seconds * (f64::from(step) / f64::from(ARC_POINTS) - 0.5);
            let (x, y) = motion.moved(x, y, after)?;
            Some(window.to_screen(turn.to_display(x, y)))
        });
        points.collect::<Option<Vec<Pos2>>>()
    };
    let fits = |points: &Vec<Pos2>| points.iter().all(|point| room.contains(*point));
    let Some(points) = ARC_MIDDLES.into_iter().filter_map(way).find(fits) else {
        return;
    };
    let halo = Stroke::new(4.0, egui::Color32::from_black_alpha(140));
    painter.add(Shape::line(points.clone(), halo));
    let line = Stroke::new(1.5, cx.t.over);
    let end = |at: usize, near: usize| {
        let (Some(at), Some(near)) = (points.get(at), points.get(near)) else {
            return;
        };
        let across = (*at - *near).normalized().rot90() * 7.0;
        painter.line_segment([*at - across, *at + across], line);
    };
    end(0, 1);
    end(points.len() - 1, points.len() - 2);
    let middle = points.get(points.len() / 2).copied();
    painter.add(Shape::line(points.clone(), line));
    let words = format!(
        "{}° of arc, {}",
        number(arc_deg(seconds), 1),
        duration(seconds)
    );
    if let Some(middle) = middle {
        let anchor = if middle.x > window.rect.right() - 210.0 {
            Align2::RIGHT_CENTER
        } else {
            Align2::LEFT_CENTER
        };
        let off = if anchor == Align2::LEFT_CENTER {
            12.0
        } else {
            -12.0
        };
        taken.push(label(
            painter,
            cx,
            pos2(middle.x + off, middle.y),
            anchor,
            &words,
        ));
    }
}
