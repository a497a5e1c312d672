//! What could go into a result: the frames of the camera shown with their times, streaks and clouds,
//! how their sky moves, and where their ground is.

use std::collections::HashMap;
use std::sync::Arc;

use crate::night::{Night, Row};
use crate::picture::Turn;
use crate::result::{Edge, Excess, Exposure, Grid, Ground, Outline, SkyMotion};
use crate::verdict::cost::Timeline;
use crate::verdict::{Judged, Reason};

use super::open_night::OpenNight;

/// A sky this many times as bright as its neighbours' is levelled.
const CLOUDY: f64 = 1.04;

/// What could go into a result.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    /// Size of the frames, px: that of the camera's main group. Frames of other sizes are left out.
    pub frame: (usize, usize),
    /// The frames, in order of capture; `is_used` is not set here.
    pub exposures: Vec<Exposure>,
    /// The place of each among the frames shown.
    pub places: Vec<usize>,
    /// The sky's level of each, percent.
    pub levels: Vec<Option<f64>>,
    /// Frames shown that have another size, or none.
    pub other_size: usize,
    /// Meteors, with the place of their frame.
    pub meteors: Vec<(usize, Outline)>,
    /// How the sky moves.
    pub motion: Option<SkyMotion>,
    /// Where the ground is.
    pub ground: Option<Arc<Ground>>,
    /// The usual level of the sky, fraction of full scale; 0 when not known.
    pub usual_level: f64,
}

impl Sources {
    /// Of the camera shown. Streaks count from `streak_pct` of the frame's diagonal on.
    pub(super) fn of(open: &OpenNight, streak_pct: f64) -> Self {
        let night = open.night();
        let Some(set) = open.shown_set() else {
            return Self::default();
        };
        let main = set.main_group.and_then(|group| night.groups.get(group));
        let frame = main.map_or((0, 0), |group| {
            let (width, height) = group.settings.size_px;
            (width as usize, height as usize)
        });
        let timeline = Timeline::of(night, set);
        let times: HashMap<usize, (f64, f64)> = (timeline.open.iter())
            .map(|&(row, start, end)| (row, (start, end)))
            .collect();
        let mut sources = Self {
            frame,
            motion: main.and_then(SkyMotion::of),
            usual_level: main
                .and_then(|g| g.sky)
                .map_or(0.0, |sky| sky.median / 100.0),
            ..Self::default()
        };
        let excesses = excesses(night, &set.frames, frame);
        for (place, &at) in set.frames.iter().enumerate() {
            let Some(row) = night.rows.get(at).filter(|row| row.error.is_none()) else {
                continue;
            };
            if size_of(row) != frame {
                sources.other_size += 1;
                continue;
            }
            if is_meteor(open.judged(), at) {
                let longest = outlines(row, 0.0).into_iter().next();
                sources
                    .meteors
                    .extend(longest.map(|meteor| (place, meteor)));
            }
            // Without times frames stand apart, so that nothing is bridged.
            let (start_s, end_s) = times
                .get(&at)
                .copied()
                .unwrap_or((place as f64, place as f64));
            sources.exposures.push(Exposure {
                shot: row.shot,
                start_s,
                end_s,
                is_used: true,
                streaks: streaks(row, open.judged(), at, streak_pct),
                excess: excesses.get(&at).cloned(),
            });
            sources.places.push(place);
            let level = row.measure.as_deref().map(|measure| measure.sky.level_pct);
            sources.levels.push(level.filter(|level| *level > 0.0));
        }
        sources.ground = ground(night, &set.frames, frame, set.orientation).map(Arc::new);
        sources
    }
}

fn size_of(row: &Row) -> (usize, usize) {
    (row.measure.as_deref()).map_or(
        (row.facts.width_px as usize, row.facts.height_px as usize),
        |measure| (measure.width_px, measure.height_px),
    )
}

/// Whether a frame holds a meteor: what it drew stays.
pub(super) fn is_meteor(judged: &Judged, row: usize) -> bool {
    has_reason(judged, row, Reason::Meteor)
}

/// Whether something in a row speaks for a reason.
pub(super) fn has_reason(judged: &Judged, row: usize, reason: Reason) -> bool {
    (judged.judgements.get(row)).is_some_and(|judgement| {
        let mut evidence = judgement.evidence.iter();
        evidence.any(|evidence| evidence.reason == reason)
    })
}

fn streaks(row: &Row, judged: &Judged, at: usize, streak_pct: f64) -> Vec<Outline> {
    if is_meteor(judged, at) {
        return Vec::new();
    }
    outlines(row, streak_pct)
}

/// The streaks of a frame from `least_pct` of its diagonal on.
fn outlines(row: &Row, least_pct: f64) -> Vec<Outline> {
    let Some(measure) = row.measure.as_deref() else {
        return Vec::new();
    };
    let diagonal = (measure.width_px as f64).hypot(measure.height_px as f64);
    (measure.streaks.iter())
        .filter(|streak| streak.length_px() >= least_pct / 100.0 * diagonal)
        .map(|streak| Outline {
            from: (streak.x0_px, streak.y0_px),
            to: (streak.x1_px, streak.y1_px),
            width_px: streak.width_px,
        })
        .collect()
}

/// What the skies of cloudy frames have over those of the clear ones before and after, by row.
fn excesses(night: &Night, rows: &[usize], frame: (usize, usize)) -> HashMap<usize, Arc<Excess>> {
    let is_cloudy = |row: &Row| {
        let level = row.measure.as_deref().map(|measure| measure.sky.level_pct);
        level
            .zip(row.typical.sky_pct)
            .is_some_and(|(level, typical)| typical > 0.0 && level > CLOUDY * typical)
    };
    let measured: Vec<(usize, &Row)> = (rows.iter())
        .filter_map(|&at| Some((at, night.rows.get(at)?)))
        .filter(|(_, row)| row.measure.is_some() && size_of(row) == frame)
        .collect();
    let clear: Vec<usize> = (0..measured.len())
        .filter(|&n| measured.get(n).is_some_and(|(_, row)| !is_cloudy(row)))
        .collect();
    (measured.iter().enumerate())
        .filter(|(_, (_, row))| is_cloudy(row))
        .filter_map(|(n, &(at, row))| {
            let after = clear.partition_point(|&other| other < n);
            let near = |place: Option<usize>| {
                let other = *clear.get(place?)?;
                Some((n.abs_diff(other) as f64, measured.get(other)?.1))
            };
            let near = [near(after.checked_sub(1)), near(Some(after))];
            let near: Vec<(f64, &Row)> = near.into_iter().flatten().collect();
            Some((at, Arc::new(excess(row, &near, frame)?)))
        })
        .collect()
}

/// What a sky has over that of the frames near it, each so many frames away.
fn excess(row: &Row, near: &[(f64, &Row)], frame: (usize, usize)) -> Option<Excess> {
    let sky = &row.measure.as_deref()?.sky;
    let whole: f64 = near.iter().map(|(away, _)| 1.0 / away.max(1.0)).sum();
    let mut usual = vec![0f64; sky.cells_pct.len()];
    let (mut level, mut red, mut blue) = (0.0, 0.0, 0.0);
    for (away, other) in near {
        let other = &other.measure.as_deref()?.sky;
        if (other.cols, other.rows, other.cells_pct.len()) != (sky.cols, sky.rows, usual.len()) {
            return None;
        }
        let weight = 1.0 / away.max(1.0) / whole;
        for (usual, cell) in usual.iter_mut().zip(&other.cells_pct) {
            *usual += weight * f64::from(*cell);
        }
        level += weight * other.level_pct;
        red += weight * other.red_pct.unwrap_or(other.level_pct);
        blue += weight * other.blue_pct.unwrap_or(other.level_pct);
    }
    let over = sky.level_pct - level;
    // Of what is added, against the same of this sky.
    let hue = |own: Option<f64>, usual: f64| {
        let own = own.filter(|own| *own > 0.0 && over > 0.0);
        own.map_or(1.0, |own| {
            let added = ((own - usual) / over).max(0.0);
            (added / (own / sky.level_pct)).clamp(0.3, 3.0) as f32
        })
    };
    let green = (sky.cells_pct.iter().zip(&usual))
        .map(|(own, usual)| ((f64::from(*own) - usual) / 100.0) as f32)
        .collect();
    (!near.is_empty()).then(|| Excess {
        green: Grid::new(sky.cols, sky.rows, green, frame),
        hue: [hue(sky.red_pct, red), hue(sky.blue_pct, blue)],
    })
}

fn ground(
    night: &Night,
    rows: &[usize],
    frame: (usize, usize),
    orientation: crate::frame::Orientation,
) -> Option<Ground> {
    let rows = rows.iter().filter_map(|&at| night.rows.get(at));
    let measures = rows
        .filter(|row| size_of(row) == frame)
        .filter_map(|row| row.measure.as_deref());
    let stars: Vec<(f32, f32)> = measures
        .flat_map(|measure| measure.stars.iter().map(|star| (star.x_px, star.y_px)))
        .collect();
    let turn = Turn::new(orientation, frame.0, frame.1);
    let (width, height) = turn.size();
    // The middle of the displayed picture's lower edge, on the sensor.
    let (x, y) = turn.to_sensor(width / 2.0, height - 1.0);
    let (w, h) = (frame.0 as f64, frame.1 as f64);
    let edges = [
        (y, Edge::Top),
        (w - 1.0 - x, Edge::Right),
        (h - 1.0 - y, Edge::Bottom),
        (x, Edge::Left),
    ];
    let down = edges.into_iter().min_by(|a, b| a.0.total_cmp(&b.0))?.1;
    Ground::below_stars(frame, &stars, down)
}
