//! What stands out: the frame above its sky, seen through a small matched kernel, strip by strip.
//!
//! The kernel's own noise is taken from the filtered pixels of each tile, so it is right too where
//! demosaicing or JPEG have tied neighbours together, and grows where the ground is rough. A strip
//! is one row of tiles, so all buffers stay in the processor's cache.

use super::background::{Mesh, Tile, step_at};
use super::clip::{Clipped, clipped};
use super::filter::Filtered;
use super::greens;
use super::lanes::{self, BLOCK};
use super::noise;
use super::saturation::Counts;
use crate::frame::{Light, Samples};

/// Pixels above this many σ belong to what a peak above the detection level stands on.
const FLOOR_SIGMA: f32 = 3.0;

/// Pixels this near to something above [`MASK_SIGMA`] are kept out of sky and noise.
const MASK_REACH: usize = 4;

/// See [`MASK_REACH`].
const MASK_SIGMA: f32 = 4.0;

/// A tile speaks for sky and noise while at least one sample in this many is free.
const LEAST_FREE: usize = 8;

/// Noise of a tone-mapped file under this many level steps is what compression made of it: blocks
/// flattened here, patterns kept there.
const COARSE_STEPS: f32 = 2.5;

/// Such a tile's filtered pixels below minus this many σ …
const TAIL_FROM: f32 = 3.5;

/// … are 0.02 % in Gaussian noise. From this share on its σ is told from the tail instead, …
const HEAVY_TAIL: f64 = 0.004;

/// … below minus this many σ of which …
const TAIL_SIGMA: f32 = 2.748;

/// … this share lies in Gaussian noise.
const TAIL_SHARE: f64 = 0.003;

/// Hollows at least this many σ deep are noted.
const HOLLOW_SIGMA: f32 = 4.5;

/// A hollow within this many px …
const HALO_REACH: usize = 8;

/// … of light this many times as high is a halo that sharpening made.
const HALO_TIMES: f32 = 3.0;

/// Most hollows noted in a tile.
const MOST_HOLLOWS: usize = 64;

/// Consecutive pixels of a row above the floor, with their significance in
/// [`Found::significance`] from `at` on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) y: usize,
    pub(super) x0: usize,
    pub(super) x1: usize,
    pub(super) at: usize,
}

/// A place in a coarse sky ([`COARSE_STEPS`]) as far below it as a star is above: compression makes
/// as many of either.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hollow {
    pub(super) tile: usize,
    /// Depth in σ.
    pub(super) depth: f32,
}

/// What the strips gave; reused from frame to frame.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// Runs in row order.
    pub(super) runs: Vec<Run>,
    /// Filtered signal over its σ, for the pixels of the runs.
    pub(super) significance: Vec<f32>,
    /// Every second pixel of every second row was looked at for them.
    pub(super) hollows: Vec<Hollow>,
    /// Tiles whose noise is what compression made of it.
    pub(super) coarse_tiles: usize,
    /// Those of them where it has heavy tails.
    pub(super) heavy_tiles: usize,
    /// Sky above the first mesh and σ of one true sample by tile, stars out; `None` where too few
    /// samples are free.
    pub(super) sky: Vec<Option<Clipped>>,
    /// How much of that σ neighbouring samples differ by, of every few tiles of linear frames.
    pub(super) neighbours: Vec<Option<f32>>,
    /// Why the search was given up, when it was.
    pub(super) overfull: bool,
}

/// Work space of one strip.
#[derive(Debug, Default)]
pub(super) struct Strip {
    rows: Filtered,
    values: Vec<f32>,
    differences: Vec<f32>,
    starters: Vec<i32>,
    /// σ of the filtered pixels, by tile as found and by column as used.
    own_sigmas: Vec<f32>,
    sigmas: Vec<f32>,
    bright: Vec<bool>,
    /// Hollows: tile, column, row of the strip.
    deep: Vec<(usize, usize, usize)>,
}

/// Finds everything above the floor and measures sky and noise beside it, and counts what is
/// clipped while it passes.
pub(super) fn find(samples: &Samples, mesh: &Mesh, strip: &mut Strip, found: &mut Found) -> Counts {
    found.runs.clear();
    found.significance.clear();
    found.sky.clear();
    found.neighbours.clear();
    found.hollows.clear();
    found.coarse_tiles = 0;
    found.heavy_tiles = 0;
    found.overfull = false;
    let mut counts = Counts::over(samples);
    let stride = mesh.row_stride(greens::density(samples.layout));
    let compared = noise::compared_stride(mesh.cols * mesh.rows);
    // A sky with a quarter of its pixels above 3 σ is no sky; memory stays bounded too.
    let limit = samples.green.data().len() / 4;
    for row in 0..mesh.rows {
        let bounds = mesh.tile(0, row);
        let rows = bounds.y0..bounds.y1;
        strip.rows.fill(samples, mesh, rows, stride, &mut counts);
        tile_sigmas(samples, mesh, row, strip, found);
        note_hollows(mesh.width, strip, &mut found.hollows);
        collect_runs(mesh, bounds, stride, strip, found);
        for col in 0..mesh.cols {
            let tile = mesh.tile(col, row);
            let sky = tile_sky(samples, mesh, tile, stride, strip);
            let is_compared =
                samples.light == Light::Linear && found.sky.len().is_multiple_of(compared);
            let share = sky.filter(|_| is_compared).and_then(|sky| {
                let step = step_at(samples, mesh.middle(tile));
                let rows = strip.rows.above.chunks_exact(mesh.width);
                let pairs = &mut strip.differences;
                noise::differences(rows, samples.layout, tile, stride, pairs);
                noise::neighbours_share(pairs, sky, step, &mut strip.starters)
            });
            found.neighbours.push(share);
            found.sky.push(sky);
        }
        if found.significance.len() > limit {
            found.runs.clear();
            found.significance.clear();
            found.overfull = true;
        }
    }
    if found.overfull {
        found.runs.clear();
        found.significance.clear();
    }
    counts
}

/// σ of the filtered pixels by column: the median of its tile and the tile's neighbours in the row,
/// so that one crowded tile does not hide its own stars.
fn tile_sigmas(samples: &Samples, mesh: &Mesh, row: usize, strip: &mut Strip, found: &mut Found) {
    strip.own_sigmas.clear();
    strip.deep.clear();
    for col in 0..mesh.cols {
        let tile = mesh.tile(col, row);
        strip.values.clear();
        // Every second row and column: neighbours in the filtered plane say the same.
        for line in strip.rows.smooth.chunks_exact(mesh.width).step_by(2) {
            let (pairs, rest) = line.get(tile.x0..tile.x1).unwrap_or_default().as_chunks();
            strip.values.extend(pairs.iter().map(|[first, _]| *first));
            strip.values.extend(rest);
        }
        let step = step_at(samples, mesh.middle(tile));
        let free = clipped(&strip.values, 0.0, &mut strip.starters);
        // Where noise is below the level step, contours of the steps would pass for signal.
        let least = (0.3 * step).max(1e-7);
        let mut sigma = free.map_or(0.0, |c| c.sigma).max(least);
        if samples.light == Light::ToneMapped && sigma < COARSE_STEPS * step {
            found.coarse_tiles += 1;
            let mean = free.map_or(0.0, |c| c.mean);
            let index = row * mesh.cols + col;
            let across = (tile.x1 - tile.x0).div_ceil(2);
            let deep = strip.values.iter().enumerate();
            let deep = deep.filter(|(_, v)| **v < mean - HOLLOW_SIGMA * sigma);
            strip.deep.extend(
                deep.take(MOST_HOLLOWS)
                    .map(|(i, _)| (index, tile.x0 + i % across * 2, i / across * 2)),
            );
            if let Some(tail) = heavy_tail(&mut strip.values, mean, sigma) {
                found.heavy_tiles += 1;
                sigma = tail;
            }
        }
        strip.own_sigmas.push(sigma);
    }
    let own = &strip.own_sigmas;
    strip.sigmas.clear();
    for col in 0..own.len() {
        let near = own.get(col.saturating_sub(1)..(col + 2).min(own.len()));
        strip.values.clear();
        strip.values.extend_from_slice(near.unwrap_or_default());
        strip.values.sort_unstable_by(f32::total_cmp);
        let sigma = strip.values.get(strip.values.len() / 2).copied();
        strip
            .sigmas
            .resize(mesh.tile(col, row).x1, sigma.unwrap_or(1.0));
    }
}

/// σ from the tail of values of mean and clipped σ, where it is too heavy for a Gaussian; from the
/// side on which stars do not lie.
fn heavy_tail(values: &mut [f32], mean: f32, sigma: f32) -> Option<f32> {
    let from = mean - TAIL_FROM * sigma;
    let heavy = values.iter().filter(|&&v| v < from).count();
    if (heavy as f64) < HEAVY_TAIL * values.len() as f64 {
        return None;
    }
    let rank = (TAIL_SHARE * values.len() as f64) as usize;
    let (_, &mut tail, _) = values.select_nth_unstable_by(rank, f32::total_cmp);
    Some(sigma.max((mean - tail) / TAIL_SIGMA))
}

/// Notes hollows that are no halos.
fn note_hollows(width: usize, strip: &Strip, hollows: &mut Vec<Hollow>) {
    let smooth = &strip.rows.smooth;
    for &(tile, x, k) in &strip.deep {
        let (value, sigma) = (smooth.get(k * width + x), strip.sigmas.get(x));
        let Some((&value, &sigma)) = value.zip(sigma) else {
            continue;
        };
        let columns = x.saturating_sub(HALO_REACH)..(x + HALO_REACH + 1).min(width);
        let rows = smooth.chunks_exact(width);
        let rows = rows
            .skip(k.saturating_sub(HALO_REACH))
            .take(2 * HALO_REACH + 1);
        let mut near = rows.flat_map(|row| row.get(columns.clone()).unwrap_or_default());
        if near.all(|&light| light < -HALO_TIMES * value) {
            let depth = -value / sigma;
            hollows.push(Hollow { tile, depth });
        }
    }
}

/// Collects the runs of one strip, and makes NaN of the surroundings of what is bright in the rows
/// that sky and noise are taken from.
fn collect_runs(mesh: &Mesh, bounds: Tile, stride: usize, strip: &mut Strip, found: &mut Found) {
    let width = mesh.width;
    let first_run = found.runs.len();
    for (line, y) in strip.rows.smooth.chunks_exact(width).zip(bounds.y0..) {
        lanes::blocks_above(line, &strip.sigmas, FLOOR_SIGMA, &mut strip.bright);
        let mut open: Option<Run> = None;
        // Most blocks hold nothing.
        for (block, _) in strip
            .bright
            .iter()
            .enumerate()
            .filter(|(_, bright)| **bright)
        {
            let pixels = line.iter().zip(&strip.sigmas).enumerate();
            for (x, (&value, &sigma)) in pixels.skip(block * BLOCK).take(BLOCK) {
                if value > FLOOR_SIGMA * sigma {
                    if let Some(done) = open.take_if(|run| run.x1 < x) {
                        found.runs.push(done);
                    }
                    let run = open.get_or_insert(Run {
                        y,
                        x0: x,
                        x1: x,
                        at: found.significance.len(),
                    });
                    run.x1 = x + 1;
                    found.significance.push(value / sigma);
                }
            }
        }
        found.runs.extend(open);
    }
    for run in found.runs.get(first_run..).unwrap_or_default() {
        let values = found.significance.get(run.at..run.at + (run.x1 - run.x0));
        if values.unwrap_or_default().iter().all(|&s| s < MASK_SIGMA) {
            continue;
        }
        let k = run.y - bounds.y0;
        let columns = run.x0.saturating_sub(MASK_REACH)..(run.x1 + MASK_REACH).min(width);
        let kept = k.saturating_sub(MASK_REACH).div_ceil(stride)..(k + MASK_REACH) / stride + 1;
        let rows = strip.rows.above.chunks_exact_mut(width);
        for row in rows.skip(kept.start).take(kept.len()) {
            if let Some(cells) = row.get_mut(columns.clone()) {
                cells.fill(f32::NAN);
            }
        }
    }
}

/// Sky above the mesh and noise of a tile's free true samples; clipping leaves out what is NaN.
fn tile_sky(
    samples: &Samples,
    mesh: &Mesh,
    tile: Tile,
    stride: usize,
    strip: &mut Strip,
) -> Option<Clipped> {
    strip.values.clear();
    let rows = strip.rows.above.chunks_exact(mesh.width);
    for (row, y) in rows.zip((tile.y0..).step_by(stride)) {
        greens::extend(&mut strip.values, samples.layout, row, y, tile.x0..tile.x1);
    }
    let step = step_at(samples, mesh.middle(tile));
    clipped(&strip.values, step, &mut strip.starters)
        .filter(|free| free.count * LEAST_FREE >= strip.values.len())
}
