//! The sky under the stars: a mesh of tiles, each the clipped mean of its true samples, put
//! through a 3 × 3 median and read bilinearly.
//!
//! A tile filled by a bright star, a lamp or a streak stands alone among its neighbours and falls
//! to the median; a gradient passes.

use super::clip::{Clipped, clipped};
use super::{greens, lanes};
use crate::frame::{Light, Samples};

/// About how many samples of a tile are looked at: the mean is then good to σ/30.
const SAMPLES_PER_TILE: f64 = 1000.0;

/// Levels over the frame, in cells of equal size.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Mesh {
    /// Frame width, px.
    pub(super) width: usize,
    /// Frame height, px.
    pub(super) height: usize,
    /// Tiles across.
    pub(super) cols: usize,
    /// Tiles down.
    pub(super) rows: usize,
    /// Level of each tile, row order, fraction of full scale; finite.
    pub(super) levels: Vec<f32>,
}

/// Bounds of a tile in px.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Tile {
    pub(super) x0: usize,
    pub(super) x1: usize,
    pub(super) y0: usize,
    pub(super) y1: usize,
}

/// The sky near a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SkyPlane {
    x: f64,
    y: f64,
    level: f64,
    /// Change per px to the right.
    pub(super) slope_x: f64,
    slope_y: f64,
}

impl SkyPlane {
    /// The level at (`x`, `y`) px.
    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        self.level + self.slope_x * (x - self.x) + self.slope_y * (y - self.y)
    }
}

impl Mesh {
    /// A mesh without levels over a frame; tiles are some 64 px, less in small frames.
    pub(super) fn over(width: usize, height: usize) -> Self {
        let tile = (width.min(height) / 24).clamp(32, 64);
        let tiles = |length: usize| ((length + tile / 2) / tile).max(1);
        let (cols, rows) = (tiles(width), tiles(height));
        Self {
            width,
            height,
            cols,
            rows,
            levels: vec![0.0; cols * rows],
        }
    }

    /// Bounds of tile (`col`, `row`).
    pub(super) fn tile(&self, col: usize, row: usize) -> Tile {
        Tile {
            x0: col * self.width / self.cols,
            x1: (col + 1) * self.width / self.cols,
            y0: row * self.height / self.rows,
            y1: (row + 1) * self.height / self.rows,
        }
    }

    /// The level in the middle of a tile.
    pub(super) fn middle(&self, tile: Tile) -> f32 {
        let middle = |from: usize, to: usize| (from + to) as f64 / 2.0;
        self.at(middle(tile.x0, tile.x1), middle(tile.y0, tile.y1)) as f32
    }

    /// How many rows to step so that about [`SAMPLES_PER_TILE`] true samples of a tile are seen;
    /// odd, so that both kinds of row of a mosaic are.
    pub(super) fn row_stride(&self, density: f64) -> usize {
        let samples = (self.width * self.height / (self.cols * self.rows)) as f64 * density;
        let stride = (samples / SAMPLES_PER_TILE) as usize;
        if stride < 3 {
            1
        } else {
            stride - (stride + 1) % 2
        }
    }

    /// Index of the tile that holds (`x`, `y`) px.
    pub(super) fn tile_at(&self, x: f64, y: f64) -> usize {
        let along = |at: f64, length: usize, tiles: usize| {
            let tile = (at + 0.5).max(0.0) * tiles as f64 / length.max(1) as f64;
            (tile as usize).min(tiles - 1)
        };
        along(y, self.height, self.rows) * self.cols + along(x, self.width, self.cols)
    }

    /// The level at (`x`, `y`) px.
    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        let (col, part_x) = place(x, self.width, self.cols);
        let (row, part_y) = place(y, self.height, self.rows);
        let level = |c: usize, r: usize| {
            let index = r.min(self.rows - 1) * self.cols + c.min(self.cols - 1);
            self.levels.get(index).copied().map_or(0.0, f64::from)
        };
        let top = level(col, row) * (1.0 - part_x) + level(col + 1, row) * part_x;
        let low = level(col, row + 1) * (1.0 - part_x) + level(col + 1, row + 1) * part_x;
        top * (1.0 - part_y) + low * part_y
    }

    /// The sky round a place as a plane, for windows smaller than a tile or two.
    pub(super) fn plane_at(&self, x: f64, y: f64) -> SkyPlane {
        let reach = 8.0;
        let slope =
            |dx: f64, dy: f64| (self.at(x + dx, y + dy) - self.at(x - dx, y - dy)) / (2.0 * reach);
        SkyPlane {
            x,
            y,
            level: self.at(x, y),
            slope_x: slope(reach, 0.0),
            slope_y: slope(0.0, reach),
        }
    }

    /// Writes row `y` of the frame above the sky into `out`; what is no number becomes 0.
    pub(super) fn subtract_row(
        &self,
        samples: &Samples,
        y: usize,
        sky: &mut SkyRows,
        out: &mut [f32],
    ) {
        let (row, part_y) = place(y as f64, self.height, self.rows);
        sky.lie_between(self, row, (row + 1).min(self.rows - 1));
        let values = samples.green.row(y);
        lanes::subtract_sky(values, &sky.level, &sky.rise, part_y as f32, out);
    }

    /// Puts the levels through a 3 × 3 median (fewer at the rim).
    pub(super) fn smooth(&mut self) {
        let old = self.levels.clone();
        let mut near = Vec::with_capacity(9);
        for row in 0..self.rows {
            for col in 0..self.cols {
                near.clear();
                for r in row.saturating_sub(1)..=(row + 1).min(self.rows - 1) {
                    let cols = col.saturating_sub(1)..=(col + 1).min(self.cols - 1);
                    near.extend(cols.filter_map(|c| old.get(r * self.cols + c)));
                }
                near.sort_unstable_by(f32::total_cmp);
                // The mean of the middle two for the even counts at the rim.
                let middle = (near.get((near.len() - 1) / 2), near.get(near.len() / 2));
                if let (Some(low), Some(high)) = middle
                    && let Some(level) = self.levels.get_mut(row * self.cols + col)
                {
                    *level = 0.5 * (low + high);
                }
            }
        }
    }
}

/// The sky sample by sample along the middles of two rows of tiles; reused from row to row.
#[derive(Debug, Default)]
pub(super) struct SkyRows {
    /// The levels of both rows of tiles that the rest was made from.
    knots: (Vec<f32>, Vec<f32>),
    /// Along the middle of the upper row.
    level: Vec<f32>,
    /// From there to the middle of the lower.
    rise: Vec<f32>,
}

impl SkyRows {
    /// Makes these rows of `mesh` the two, unless they are already.
    fn lie_between(&mut self, mesh: &Mesh, upper: usize, lower: usize) {
        let knots = |row: usize| {
            let span = row * mesh.cols..(row + 1) * mesh.cols;
            mesh.levels.get(span).unwrap_or_default()
        };
        let (upper, lower) = (knots(upper), knots(lower));
        if self.knots.0 == upper && self.knots.1 == lower && self.level.len() == mesh.width {
            return;
        }
        self.knots.0.clear();
        self.knots.0.extend_from_slice(upper);
        self.knots.1.clear();
        self.knots.1.extend_from_slice(lower);
        self.level.clear();
        self.rise.clear();
        for x in 0..mesh.width {
            let (col, part) = place(x as f64, mesh.width, mesh.cols);
            let along = |knots: &[f32]| {
                let knot = |col: usize| knots.get(col.min(mesh.cols - 1)).copied().unwrap_or(0.0);
                knot(col) + (knot(col + 1) - knot(col)) * part as f32
            };
            let level = along(upper);
            self.level.push(level);
            self.rise.push(along(lower) - level);
        }
    }
}

/// The tile whose centre is at or before `x`, and how far towards the next (0 to 1).
fn place(x: f64, length: usize, tiles: usize) -> (usize, f64) {
    let along =
        ((x + 0.5) * tiles as f64 / length.max(1) as f64 - 0.5).clamp(0.0, (tiles - 1) as f64);
    let tile = along.floor();
    (tile as usize, along - tile)
}

/// The least difference between stored levels near `level`.
///
/// A tone curve spreads the steps: they grow with the slope of the sRGB curve (IEC 61966-2-1).
pub(super) fn step_at(samples: &Samples, level: f32) -> f32 {
    match samples.light {
        Light::Linear => samples.step,
        Light::ToneMapped => {
            let level = level.clamp(0.0, 1.0);
            let slope = if level <= 0.003_130_8 {
                1.0
            } else {
                let coded = 1.055 * level.powf(1.0 / 2.4) - 0.055;
                12.92 * 2.4 / 1.055 * ((coded + 0.055) / 1.055).powf(1.4)
            };
            samples.step * slope
        }
    }
}

/// The mesh of a frame before its stars are known.
pub(super) fn first_mesh(
    samples: &Samples,
    values: &mut Vec<f32>,
    starters: &mut Vec<i32>,
) -> Mesh {
    let mut mesh = Mesh::over(samples.green.width(), samples.green.height());
    let mut levels = Vec::with_capacity(mesh.cols * mesh.rows);
    let stride = mesh.row_stride(greens::density(samples.layout));
    for row in 0..mesh.rows {
        for col in 0..mesh.cols {
            let tile = mesh.tile(col, row);
            let found = tile_level(samples, tile, stride, values, starters);
            levels.push(found.map(|c| c.mean));
        }
    }
    mesh.levels = fill(levels, mesh.cols, mesh.rows);
    mesh.smooth();
    mesh
}

fn tile_level(
    samples: &Samples,
    tile: Tile,
    stride: usize,
    values: &mut Vec<f32>,
    starters: &mut Vec<i32>,
) -> Option<Clipped> {
    values.clear();
    for y in (tile.y0..tile.y1).step_by(stride) {
        let span = tile.x0..tile.x1;
        greens::extend(values, samples.layout, samples.green.row(y), y, span);
    }
    let level = values
        .iter()
        .copied()
        .find(|v| v.is_finite())
        .unwrap_or(0.0);
    clipped(values, step_at(samples, level), starters)
}

/// Fills tiles without a level from their neighbours, ring by ring; all 0 when there is none.
pub(super) fn fill(levels: Vec<Option<f32>>, cols: usize, rows: usize) -> Vec<f32> {
    let mut levels = levels;
    while levels.iter().any(Option::is_none) {
        let old = levels.clone();
        let mut found = false;
        for row in 0..rows {
            for col in 0..cols {
                if old.get(row * cols + col).is_none_or(Option::is_some) {
                    continue;
                }
                let (mut sum, mut count) = (0.0, 0.0);
                for r in row.saturating_sub(1)..=(row + 1).min(rows - 1) {
                    for c in col.saturating_sub(1)..=(col + 1).min(cols - 1) {
                        if let Some(Some(level)) = old.get(r * cols + c) {
                            sum += level;
                            count += 1.0;
                        }
                    }
                }
                if let Some(level) = levels.get_mut(row * cols + col)
                    && count > 0.0
                {
                    *level = Some(sum / count);
                    found = true;
                }
            }
        }
        if !found {
            break;
        }
    }
    levels.into_iter().map(Option::unwrap_or_default).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Plane;
    use crate::frame::GreenLayout;

    fn ramp(layout: GreenLayout) -> Samples {
        let (width, height) = (320, 256);
        let mut green = Plane::new(width, height);
        for y in 0..height {
            for (x, value) in green.row_mut(y).iter_mut().enumerate() {
                *value = 0.1 + 1e-4 * x as f32 + 5e-5 * y as f32;
                if !layout.is_green(x, y) {
                    *value = 0.9; // must not be looked at
                }
            }
        }
        Samples {
            green,
            layout,
            light: Light::Linear,
            clip_level: 1.0,
            step: 0.0,
            hues: None,
            quantised_pct: None,
        }
    }

    #[test]
    fn follows_a_ramp_on_true_samples_only() {
        for layout in [GreenLayout::Every, greens::BAYER] {
            let samples = ramp(layout);
            let mesh = first_mesh(&samples, &mut Vec::new(), &mut Vec::new());
            for (x, y) in [(100.0, 100.0), (160.0, 60.5), (250.0, 200.0)] {
                let want = 0.1 + 1e-4 * x + 5e-5 * y;
                assert!((mesh.at(x, y) - want).abs() < 1e-4, "{x} {y}");
            }
        }
    }

    #[test]
    fn a_row_and_a_point_agree() {
        let mut samples = ramp(GreenLayout::Every);
        let mesh = first_mesh(&samples, &mut Vec::new(), &mut Vec::new());
        if let Some(value) = samples.green.row_mut(77).get_mut(5) {
            *value = f32::NAN;
        }
        let mut out = vec![9.0; 320];
        let mut sky = SkyRows::default();
        mesh.subtract_row(&samples, 20, &mut sky, &mut out);
        mesh.subtract_row(&samples, 77, &mut sky, &mut out);
        assert!(out[5].abs() < f32::EPSILON);
        for x in [0, 3, 15, 16, 100, 319] {
            let want = f64::from(samples.green.row(77)[x]) - mesh.at(x as f64, 77.0);
            assert!((f64::from(out[x]) - want).abs() < 1e-6, "{x}");
        }
    }

    #[test]
    fn empty_tiles_take_their_neighbours() {
        let filled = fill(vec![None, Some(2.0), None, None], 4, 1);
        assert_eq!(filled, [2.0; 4]);
        assert_eq!(fill(vec![None; 4], 2, 2), [0.0; 4]);
    }
}
