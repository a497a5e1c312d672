//! Lines across frames: linked from frame to frame, and told apart by how their light runs.
//!
//! Lamps of an aircraft flash evenly. A satellite draws an even line that the shutter or the frame's
//! edge cuts off and that goes on in the next frame. A meteor is over within one frame: its line swells
//! and fades between its own ends. What shows none of these stays a line.

use super::signs::{Sign, Strip};
use super::standing::{Standing, middle};
use super::{Cause, Happening, Moment, Shown, Surety};
use crate::base::robust::quantile;
use crate::base::spin2::angle_between_deg;
use crate::measure::Streak;

/// Lines of two frames run the same way within this, degrees…
const SAME_WAY_DEG: f64 = 4.0;
/// …and on one line when the second's middle is off the first by less than this share of the diagonal
/// plus what the angle may make…
const OFF_LINE_SHARE: f64 = 0.01;
/// …with a gap of no more than this many times the longer one between them.
const GAP_LENGTHS: f64 = 1.2;
/// Nor do they lie on each other by more than this share of the shorter: that is something that stays.
const OVERLAP_SHARE: f64 = 0.3;
/// An end this near the frame's edge, as a share of the diagonal, was cut off by it.
const EDGE_SHARE: f64 = 0.02;
/// An end whose light is below this share of the line's brightest part fades out.
const FADES_SHARE: f64 = 0.5;
/// A line whose inner parts differ by less than this factor is even.
const EVEN_FACTOR: f64 = 2.5;
/// A line that does not rise this far over its ends does not swell.
const SWELLS: f64 = 1.8;
/// Meteors cross no more of the diagonal in an ordinary frame.
const METEOR_SHARE: f64 = 0.5;
/// Short lines in so many directions are insects.
const LEAST_INSECTS: usize = 3;
/// They are shorter than this share of the diagonal…
const INSECT_SHARE: f64 = 0.2;
/// …and spread over more than this, degrees.
const INSECT_SPREAD_DEG: f64 = 25.0;

/// One line of one frame.
struct Line<'a> {
    /// Place in the strip.
    place: usize,
    streak: &'a Streak,
    /// Diagonal and size of its frame, px.
    diagonal: f64,
    size: (f64, f64),
}

impl Line<'_> {
    fn angle_deg(&self) -> f64 {
        let s = self.streak;
        let (dx, dy) = (f64::from(s.x1_px - s.x0_px), f64::from(s.y1_px - s.y0_px));
        (-dy).atan2(dx).to_degrees().rem_euclid(180.0)
    }

    fn ends(&self) -> [(f64, f64); 2] {
        let s = self.streak;
        [(s.x0_px, s.y0_px), (s.x1_px, s.y1_px)].map(|(x, y)| (f64::from(x), f64::from(y)))
    }

    fn share(&self) -> f64 {
        self.streak.length_px() / self.diagonal.max(1.0)
    }

    /// Which ends the frame's edge cuts off.
    fn cut(&self) -> [bool; 2] {
        let near = EDGE_SHARE * self.diagonal;
        self.ends()
            .map(|(x, y)| x < near || y < near || x > self.size.0 - near || y > self.size.1 - near)
    }

    /// Whether `next`, in a later frame, goes on where this one ends.
    fn goes_on_in(&self, next: &Self) -> bool {
        let [a, b] = self.ends();
        let long = self.streak.length_px().max(1e-9);
        let (ux, uy) = ((b.0 - a.0) / long, (b.1 - a.1) / long);
        let along = |p: (f64, f64)| (p.0 - a.0) * ux + (p.1 - a.1) * uy;
        let off = |p: (f64, f64)| ((p.0 - a.0) * uy - (p.1 - a.1) * ux).abs();
        let [c, d] = next.ends();
        let (from, to) = (along(c).min(along(d)), along(c).max(along(d)));
        let longer = long.max(next.streak.length_px());
        let shorter = long.min(next.streak.length_px());
        // Behind this line's end, or before its beginning; below 0 they overlap.
        let gap = (from - long).max(-to);
        let middle = (0.5 * (c.0 + d.0), 0.5 * (c.1 + d.1));
        let lean = SAME_WAY_DEG.to_radians().sin() * (gap.max(0.0) + 0.5 * longer);
        angle_between_deg(self.angle_deg(), next.angle_deg()) < SAME_WAY_DEG
            && off(middle) < OFF_LINE_SHARE * self.diagonal + lean
            && gap < GAP_LENGTHS * longer
            && gap > -OVERLAP_SHARE * shorter
    }
}

pub(super) fn happenings(strip: &Strip<'_>, standing: &Standing) -> Vec<Happening> {
    let lines = lines(strip, standing);
    let mut all = Vec::new();
    let tracks = tracks(&lines);
    let mut single: Vec<&Line<'_>> = Vec::new();
    for track in &tracks {
        let of: Vec<&Line<'_>> = track.iter().filter_map(|&at| lines.get(at)).collect();
        match object(&of) {
            Some((cause, sure, evidence)) => {
                all.push(happening(strip, &of, (cause, sure, evidence)));
            }
            None if of.len() == 1 => single.extend(of),
            None => {}
        }
    }
    all.extend(insects(strip, &single));
    all
}

fn lines<'a>(strip: &Strip<'a>, standing: &Standing) -> Vec<Line<'a>> {
    let of = |(place, sign): (usize, &Sign<'a>)| -> Vec<Line<'a>> {
        let measure = sign.measure;
        let size = (measure.width_px as f64, measure.height_px as f64);
        let group = sign.row.group.unwrap_or(0);
        let frames = strip.night.groups.get(group).map_or(0, |g| g.rows.len());
        let moves = |streak: &&Streak| {
            let at = middle(streak.x0_px, streak.x1_px, streak.y0_px, streak.y1_px);
            !standing.holds(group, frames, at)
        };
        let line = |streak: &'a Streak| Line {
            place,
            streak,
            diagonal: size.0.hypot(size.1),
            size,
        };
        measure.streaks.iter().filter(moves).map(line).collect()
    };
    strip.signs.iter().enumerate().flat_map(of).collect()
}

/// Lines that go on from frame to frame, each as places in `lines`; every line is in one track.
fn tracks(lines: &[Line<'_>]) -> Vec<Vec<usize>> {
    let mut tracks: Vec<Vec<usize>> = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        let home = tracks.iter_mut().rev().find(|track| {
            let last = track.last().and_then(|&last| lines.get(last));
            last.is_some_and(|last| {
                (1..=2).contains(&(line.place - last.place)) && last.goes_on_in(line)
            })
        });
        match home {
            Some(track) => track.push(at),
            None => tracks.push(vec![at]),
        }
    }
    tracks
}

/// What drew these lines, where they tell.
fn object(lines: &[&Line<'_>]) -> Option<(Cause, Surety, String)> {
    let longest = lines
        .iter()
        .map(|line| 100.0 * line.share())
        .fold(0.0, f64::max);
    let over = format!("over {longest:.0} % of the diagonal");
    let frames = lines.len();
    if lines.iter().any(|line| line.streak.beat_px > 0.0) {
        let by = format!("A line with lamps that flash evenly, {over}.");
        return Some((Cause::Aircraft, Surety::Sure, by));
    }
    let even = lines.iter().filter(|line| is_even(line.streak)).count();
    if frames > 1 {
        let by = format!("A line that goes on through {frames} frames, {over}.");
        return (2 * even >= frames).then_some((Cause::Satellite, Surety::Sure, by));
    }
    let line = lines.first()?;
    if swells_and_fades(line) {
        let by = format!("A line in this frame only, {over}, that swells and fades at both ends.");
        return Some((Cause::Meteor, Surety::Likely, by));
    }
    let cut = line.cut();
    let sharp = ends(line.streak).map(|light| light > FADES_SHARE);
    let bounded = cut.iter().zip(sharp).all(|(&cut, sharp)| cut || sharp);
    (even == 1 && bounded).then(|| {
        let by = format!("An even line, {over}, cut off by the shutter or the frame's edge.");
        (Cause::Satellite, Surety::Likely, by)
    })
}

/// Light at either end over the brightest part.
fn ends(streak: &Streak) -> [f64; 2] {
    let most = streak
        .parts
        .iter()
        .copied()
        .fold(f32::MIN_POSITIVE, f32::max);
    [streak.parts.first(), streak.parts.last()]
        .map(|part| part.map_or(0.0, |&light| f64::from(light / most)))
}

/// Whether the light is the same all along, the ends and a star on the line apart.
fn is_even(streak: &Streak) -> bool {
    let inner = streak.parts.get(1..Streak::PARTS - 1).unwrap_or(&[]);
    let mut inner: Vec<f64> = inner.iter().map(|&light| f64::from(light)).collect();
    let low = quantile(&mut inner, 0.15).unwrap_or(0.0);
    let high = quantile(&mut inner, 0.85).unwrap_or(0.0);
    low > 0.0 && high < EVEN_FACTOR * low
}

fn swells_and_fades(line: &Line<'_>) -> bool {
    let ends_inside = !line.cut().contains(&true);
    let streak = line.streak;
    let fades = ends(streak).iter().all(|&light| light < FADES_SHARE);
    let mut parts: Vec<f64> = streak.parts.iter().map(|&light| f64::from(light)).collect();
    let at_ends = 0.5 * (parts.first().unwrap_or(&0.0) + parts.last().unwrap_or(&0.0));
    let high = quantile(&mut parts, 0.75).unwrap_or(0.0);
    ends_inside && fades && high > SWELLS * at_ends.max(0.0) && line.share() < METEOR_SHARE
}

fn happening(
    strip: &Strip<'_>,
    lines: &[&Line<'_>],
    (cause, sure, evidence): (Cause, Surety, String),
) -> Happening {
    let mut moments: Vec<Moment> = Vec::new();
    for line in lines {
        let Some(sign) = strip.signs.get(line.place) else {
            continue;
        };
        let measured = 100.0 * line.share();
        match moments.last_mut() {
            Some(last) if last.row == sign.at => last.measured = last.measured.max(measured),
            _ => moments.push(Moment {
                row: sign.at,
                measured,
                usual: 0.0,
            }),
        }
    }
    Happening {
        cause,
        set: strip.which,
        shown: Shown::Line,
        moments,
        sure,
        evidence,
    }
}

/// Frames with several short lines that run every way.
fn insects(strip: &Strip<'_>, single: &[&Line<'_>]) -> Vec<Happening> {
    let mut all = Vec::new();
    for frame in single.chunk_by(|a, b| a.place == b.place) {
        let short: Vec<&Line<'_>> = (frame.iter().copied())
            .filter(|line| line.share() < INSECT_SHARE)
            .collect();
        let angles: Vec<f64> = short.iter().map(|line| line.angle_deg()).collect();
        let spread = angles
            .iter()
            .flat_map(|a| angles.iter().map(|b| angle_between_deg(*a, *b)))
            .fold(0.0, f64::max);
        if short.len() >= LEAST_INSECTS && spread > INSECT_SPREAD_DEG {
            let by = format!(
                "{} short lines that run every way in one frame.",
                short.len()
            );
            all.push(happening(
                strip,
                &short,
                (Cause::Insects, Surety::Possible, by),
            ));
        }
    }
    all
}
