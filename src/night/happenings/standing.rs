//! Lines that are on the ground: what stays at its place while the sky moves is no streak.

use std::collections::{BTreeMap, BTreeSet};

use super::super::types::Night;

/// Lines whose middles lie in one cell of this size, or the next, are at one place.
const STANDING_CELL_PX: f32 = 16.0;
/// A line at one place in so many frames stands…
const STANDING_FRAMES: usize = 3;
/// …and in this percentage of them (the larger of the two counts).
const STANDING_PCT: usize = 3;

/// Lines that stay at their place while the sky moves: roofs, wires, gaps between trees. By group
/// and cell of the frame, the shots that have a line with its middle there.
pub(crate) struct Standing(BTreeMap<(usize, i32, i32), BTreeSet<usize>>);

impl Standing {
    pub(crate) fn of(night: &Night) -> Self {
        let mut cells: BTreeMap<(usize, i32, i32), BTreeSet<usize>> = BTreeMap::new();
        for row in &night.rows {
            let (Some(group), Some(measure)) = (row.group, row.measure.as_deref()) else {
                continue;
            };
            for streak in &measure.streaks {
                let (x, y) = cell(middle(
                    streak.x0_px,
                    streak.x1_px,
                    streak.y0_px,
                    streak.y1_px,
                ));
                cells.entry((group, x, y)).or_default().insert(row.shot);
            }
        }
        Self(cells)
    }

    /// Whether a line with its middle there is in several frames of the group.
    pub(crate) fn holds(&self, group: usize, frames: usize, at: (f32, f32)) -> bool {
        let (x, y) = cell(at);
        let near = (x - 1..=x + 1).flat_map(|x| (y - 1..=y + 1).map(move |y| (x, y)));
        let shots: BTreeSet<usize> = near
            .filter_map(|(x, y)| self.0.get(&(group, x, y)))
            .flatten()
            .copied()
            .collect();
        shots.len() >= STANDING_FRAMES.max(frames * STANDING_PCT / 100)
    }
}

/// The middle of a line.
pub(crate) fn middle(x0: f32, x1: f32, y0: f32, y1: f32) -> (f32, f32) {
    (0.5 * (x0 + x1), 0.5 * (y0 + y1))
}

fn cell((x, y): (f32, f32)) -> (i32, i32) {
    (
        (x / STANDING_CELL_PX).floor() as i32,
        (y / STANDING_CELL_PX).floor() as i32,
    )
}
