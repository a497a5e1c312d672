//! The pictures of a report: small views across the night, and what is worth a look by itself.

use std::io;
use std::path::Path;

use crate::export::Table;
use crate::frame::Colour;
use crate::measure::Streak;
use crate::picture::{SkyStats, Stretch, Turn, View, encode, render};
use crate::verdict::reasons::News;
use crate::verdict::{Reason, Verdict};

/// Small views of frames in a report, at most.
const MOST_VIEWS: usize = 8;
/// Pieces of frames of each kind, at most.
const MOST_PIECES: usize = 12;
/// Longer side of a small view, px, and of a piece.
const VIEW_PX: usize = 320;
const PIECE_PX: usize = 480;

/// What a picture of a report is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sheet {
    /// A small view of the frame.
    View,
    /// Good news: a meteor, aurora, lightning.
    Gift(Reason),
    /// A long streak, to look at.
    Streak,
}

/// A picture that a report shows.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureWanted {
    /// Its row, an index into the night's rows.
    pub row: usize,
    /// What it is for.
    pub sheet: Sheet,
    /// The part of the frame: left, top, width, height, sensor px; `None` for all of it.
    part: Option<[usize; 4]>,
}

/// The pictures to show of a night, in order.
#[must_use]
pub(super) fn pictures_wanted(table: &Table<'_>) -> Vec<PictureWanted> {
    let mut wanted = Vec::new();
    for set in &table.night.sets {
        wanted.extend(views(table, &set.frames));
    }
    let rows = || table.night.rows.iter().enumerate();
    let good = |reason: Reason| reason.info().news == News::Good;
    let findings = table
        .judged
        .findings
        .iter()
        .filter(|finding| good(finding.reason));
    let mut gifts: Vec<(usize, Reason)> = findings
        .flat_map(|finding| finding.rows.iter().map(|&row| (row, finding.reason)))
        .collect();
    gifts.sort_by_key(|(row, _)| *row);
    for (row, reason) in spread(&gifts, MOST_PIECES) {
        let measure = table
            .night
            .rows
            .get(row)
            .and_then(|row| row.measure.as_deref());
        let part = measure
            .filter(|_| reason == Reason::Meteor)
            .and_then(|measure| {
                let size = [measure.width_px, measure.height_px];
                longest(&measure.streaks).map(|streak| part_about(streak, size))
            });
        let sheet = Sheet::Gift(reason);
        wanted.push(PictureWanted { row, sheet, part });
    }
    let is_gift = |wanted: &[PictureWanted], row| {
        wanted
            .iter()
            .any(|w| w.row == row && matches!(w.sheet, Sheet::Gift(_)))
    };
    let mut streaks: Vec<(f64, PictureWanted)> = Vec::new();
    for (row, of) in rows().filter(|(_, row)| row.is_judged()) {
        let Some(measure) = of.measure.as_deref().filter(|_| !is_gift(&wanted, row)) else {
            continue;
        };
        if let Some(streak) = longest(&measure.streaks) {
            let size = [measure.width_px, measure.height_px];
            let part = Some(part_about(streak, size));
            let sheet = Sheet::Streak;
            streaks.push((streak.length_px(), PictureWanted { row, sheet, part }));
        }
    }
    streaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    streaks.truncate(MOST_PIECES);
    streaks.sort_by_key(|(_, wanted)| wanted.row);
    wanted.extend(streaks.into_iter().map(|(_, wanted)| wanted));
    wanted
}

/// At most `most` of them, evenly from the first to the last: an aurora may last for hours.
fn spread<T: Copy>(all: &[T], most: usize) -> impl Iterator<Item = T> {
    let count = all.len().min(most);
    let place = move |at: usize| at * all.len().saturating_sub(1) / (count.max(2) - 1);
    (0..count).filter_map(move |at| all.get(place(at)).copied())
}

/// Frames spread evenly over the night, and the first of each verdict.
fn views(table: &Table<'_>, frames: &[usize]) -> Vec<PictureWanted> {
    let readable = |row: &&usize| {
        table
            .night
            .rows
            .get(**row)
            .is_some_and(|r| r.measure.is_some())
    };
    let frames: Vec<usize> = frames.iter().filter(readable).copied().collect();
    let mut rows: Vec<usize> = spread(&frames, MOST_VIEWS).collect();
    for verdict in [Verdict::Doubtful, Verdict::Reject] {
        let is_it = |row: &&usize| table.verdicts.get(**row) == Some(&verdict);
        if !rows.iter().any(|row| is_it(&row)) {
            rows.extend(frames.iter().find(is_it));
        }
    }
    rows.sort_unstable();
    rows.dedup();
    let sheet = Sheet::View;
    let part = None;
    rows.into_iter()
        .map(|row| PictureWanted { row, sheet, part })
        .collect()
}

fn longest(streaks: &[Streak]) -> Option<&Streak> {
    streaks
        .iter()
        .max_by(|a, b| a.length_px().total_cmp(&b.length_px()))
}

/// The part of a frame that holds a streak with room about it, about 3:2.
fn part_about(streak: &Streak, [width, height]: [usize; 2]) -> [usize; 4] {
    let ends = |a: f32, b: f32| (f64::from(a.min(b)), f64::from(a.max(b)));
    let (left, right) = ends(streak.x0_px, streak.x1_px);
    let (top, bottom) = ends(streak.y0_px, streak.y1_px);
    let tall = ((bottom - top) * 1.4)
        .max((right - left) * 1.4 / 1.5)
        .max(120.0);
    let span = |middle: f64, long: f64, all: usize| {
        let long = (long as usize).min(all);
        let from = (middle - long as f64 / 2.0).max(0.0) as usize;
        (from.min(all - long), long)
    };
    let (left, wide) = span(f64::midpoint(left, right), tall * 1.5, width);
    let (top, tall) = span(f64::midpoint(top, bottom), tall, height);
    [left, top, wide, tall]
}

/// A picture as JPEG, from its frame's colours. It carries no facts of the frame: neither place nor
/// camera.
///
/// # Errors
/// When the encoder refuses.
pub(super) fn draw(
    wanted: &PictureWanted,
    table: &Table<'_>,
    colour: &Colour,
) -> io::Result<Vec<u8>> {
    let set = table.night.rows.get(wanted.row).map_or(0, |row| row.set);
    let orientation = table
        .night
        .sets
        .get(set)
        .map_or_else(Default::default, |set| set.orientation);
    let most = match wanted.sheet {
        Sheet::View => VIEW_PX,
        Sheet::Gift(_) | Sheet::Streak => PIECE_PX,
    };
    let [left, top, width, height] = wanted.part.unwrap_or([0, 0, colour.width, colour.height]);
    let view = View {
        left,
        top,
        width,
        height,
        zoom: View::fit(width, height, most, most).zoom,
    };
    let stretch = Stretch::new(SkyStats::of(colour));
    let turn = Turn::new(orientation, colour.width, colour.height);
    let view = view.within(colour.width, colour.height);
    encode::jpeg8(&render(colour, 1.0, view, &stretch, &turn))
}

/// Draws all that is wanted, each frame opened once; what cannot be opened is left out. `go_on` is asked
/// before each frame with how many are done.
pub fn draw_all(
    table: &Table<'_>,
    mut open: impl FnMut(&Path) -> Option<Colour>,
    mut go_on: impl FnMut(usize, usize) -> bool,
) -> Vec<(PictureWanted, Vec<u8>)> {
    let wanted = pictures_wanted(table);
    let mut rows: Vec<usize> = wanted.iter().map(|wanted| wanted.row).collect();
    rows.sort_unstable();
    rows.dedup();
    let mut drawn: Vec<Option<Vec<u8>>> = vec![None; wanted.len()];
    for (done, &row) in rows.iter().enumerate() {
        if !go_on(done, rows.len()) {
            break;
        }
        let path = table.night.rows.get(row).map(|row| row.path.as_path());
        let Some(colour) = path.and_then(&mut open) else {
            continue;
        };
        for (wanted, drawn) in wanted.iter().zip(&mut drawn) {
            if wanted.row == row {
                *drawn = draw(wanted, table, &colour).ok();
            }
        }
    }
    let both = wanted.into_iter().zip(drawn);
    both.filter_map(|(wanted, drawn)| Some((wanted, drawn?)))
        .collect()
}
