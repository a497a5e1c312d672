//! What stands out: the frame above its sky, seen through a small matched kernel, strip by strip.
//!
//! The kernel's own noise is taken from the filtered pixels of each tile, so it is right too where
//! demosaicing or JPEG have tied neighbours together, and grows where the ground is rough. A strip
//! is one row of tiles, so all buffers stay in the processor's cache.

use super::background::{Mesh, Tile, row_stride, step_at};
use super::clip::{Clipped, clipped};
use super::greens;
use crate::frame::Samples;

/// σ of the kernel, px: stars of FWHM 2 to 4 px lose less than a tenth of their signal by it.
const KERNEL_SIGMA: f64 = 1.2;

/// Taps on either side.
const RADIUS: usize = 3;

/// Pixels above this many σ belong to what a peak above the detection level stands on.
const FLOOR_SIGMA: f32 = 3.0;

/// Pixels this near to something above [`MASK_SIGMA`] are kept out of sky and noise.
const MASK_REACH: usize = 4;

/// See [`MASK_REACH`].
const MASK_SIGMA: f32 = 4.0;

/// A tile speaks for sky and noise while at least one sample in this many is free.
const LEAST_FREE: usize = 8;

/// Consecutive pixels of a row above the floor, with their significance in
/// [`Found::significance`] from `at` on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) y: usize,
    pub(super) x0: usize,
    pub(super) x1: usize,
    pub(super) at: usize,
}

/// What the strips gave; reused from frame to frame.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// Runs in row order.
    pub(super) runs: Vec<Run>,
    /// Filtered signal over its σ, for the pixels of the runs.
    pub(super) significance: Vec<f32>,
    /// Sky above the first mesh and σ of one true sample by tile, stars out; `None` where too few
    /// samples are free.
    pub(super) sky: Vec<Option<Clipped>>,
    /// Why the search was given up, when it was.
    pub(super) overfull: bool,
}

/// Work space of one strip.
#[derive(Debug, Default)]
pub(super) struct Strip {
    above: Vec<f32>,
    across: Vec<f32>,
    filtered: Vec<f32>,
    masked: Vec<bool>,
    knots: Vec<f32>,
    values: Vec<f32>,
    starters: Vec<f32>,
    sigmas: Vec<f32>,
}

/// Finds everything above the floor and measures sky and noise beside it.
pub(super) fn find(samples: &Samples, mesh: &Mesh, strip: &mut Strip, found: &mut Found) {
    found.runs.clear();
    found.significance.clear();
    found.sky.clear();
    found.overfull = false;
    let kernel = kernel();
    let density = greens::density(samples.layout);
    // A sky with a quarter of its pixels above 3 σ is no sky; memory stays bounded too.
    let limit = samples.green.data().len() / 4;
    for row in 0..mesh.rows {
        let bounds = mesh.tile(0, row);
        filter_strip(samples, mesh, bounds.y0..bounds.y1, &kernel, strip);
        tile_sigmas(samples, mesh, row, strip);
        collect_runs(mesh, bounds, strip, found);
        for col in 0..mesh.cols {
            let tile = mesh.tile(col, row);
            found
                .sky
                .push(tile_sky(samples, mesh, tile, density, strip));
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
}

fn kernel() -> [f32; 2 * RADIUS + 1] {
    let mut taps = [0.0_f64; 2 * RADIUS + 1];
    for (i, tap) in taps.iter_mut().enumerate() {
        let x = i as f64 - RADIUS as f64;
        *tap = (-0.5 * x * x / (KERNEL_SIGMA * KERNEL_SIGMA)).exp();
    }
    let sum: f64 = taps.iter().sum();
    taps.map(|tap| (tap / sum) as f32)
}

/// Fills `above` and `filtered` for the rows `rows`. Outside the frame counts as sky.
fn filter_strip(
    samples: &Samples,
    mesh: &Mesh,
    rows: std::ops::Range<usize>,
    kernel: &[f32; 2 * RADIUS + 1],
    strip: &mut Strip,
) {
    let width = mesh.width;
    let height = rows.len();
    // `above` is padded so that taps need no bounds at the ends of a row.
    let padded = width + 2 * RADIUS;
    strip.above.clear();
    strip.above.resize(padded * height, 0.0);
    strip.across.clear();
    strip.across.resize(width * (height + 2 * RADIUS), 0.0);
    strip.filtered.clear();
    strip.filtered.resize(width * height, 0.0);
    let mut outside = vec![0.0; padded];
    for (i, across) in strip.across.chunks_exact_mut(width).enumerate() {
        let Some(y) = (rows.start + i)
            .checked_sub(RADIUS)
            .filter(|&y| y < mesh.height)
        else {
            continue;
        };
        let line = match y.checked_sub(rows.start).filter(|&k| k < height) {
            Some(k) => strip.above.get_mut(k * padded..(k + 1) * padded),
            None => Some(outside.as_mut_slice()),
        };
        let Some(line) = line else { continue };
        if let Some(inner) = line.get_mut(RADIUS..RADIUS + width) {
            mesh.subtract_row(samples, y, &mut strip.knots, inner);
        }
        convolve_row(line, kernel, across);
    }
    for (k, out) in strip.filtered.chunks_exact_mut(width).enumerate() {
        for (tap, line) in kernel.iter().zip(strip.across.chunks_exact(width).skip(k)) {
            for (out, &value) in out.iter_mut().zip(line) {
                *out += tap * value;
            }
        }
    }
}

fn convolve_row(padded: &[f32], kernel: &[f32; 2 * RADIUS + 1], out: &mut [f32]) {
    for (i, &tap) in kernel.iter().enumerate() {
        let Some(shifted) = padded.get(i..) else {
            return;
        };
        for (out, &value) in out.iter_mut().zip(shifted) {
            *out += tap * value;
        }
    }
}

/// σ of the filtered pixels by tile: the median of the tile and its neighbours in the row, so that
/// one crowded tile does not hide its own stars.
fn tile_sigmas(samples: &Samples, mesh: &Mesh, row: usize, strip: &mut Strip) {
    let width = mesh.width;
    let mut own = Vec::with_capacity(mesh.cols);
    for col in 0..mesh.cols {
        let tile = mesh.tile(col, row);
        strip.values.clear();
        // Every second row and column: neighbours in the filtered plane say the same.
        for line in strip.filtered.chunks_exact(width).step_by(2) {
            let cells = line.get(tile.x0..tile.x1).unwrap_or_default();
            strip.values.extend(cells.iter().step_by(2));
        }
        let centre = (
            (tile.x0 + tile.x1) as f64 / 2.0,
            (tile.y0 + tile.y1) as f64 / 2.0,
        );
        let step = step_at(samples, mesh.at(centre.0, centre.1) as f32);
        let sigma = clipped(&strip.values, 0.0, &mut strip.starters).map_or(0.0, |c| c.sigma);
        // Where noise is below the level step, contours of the steps would pass for signal.
        own.push(sigma.max(0.3 * step).max(1e-7));
    }
    strip.sigmas.clear();
    for col in 0..own.len() {
        let near = own.get(col.saturating_sub(1)..(col + 2).min(own.len()));
        let mut near = near.unwrap_or_default().to_vec();
        near.sort_unstable_by(f32::total_cmp);
        strip
            .sigmas
            .push(near.get(near.len() / 2).copied().unwrap_or(1.0));
    }
}

/// Collects the runs of one strip and masks the surroundings of what is bright.
fn collect_runs(mesh: &Mesh, bounds: Tile, strip: &mut Strip, found: &mut Found) {
    let width = mesh.width;
    strip.masked.clear();
    strip.masked.resize(strip.filtered.len(), false);
    let first_run = found.runs.len();
    for (k, line) in strip.filtered.chunks_exact(width).enumerate() {
        let y = bounds.y0 + k;
        let mut open: Option<Run> = None;
        for (col, &sigma) in strip.sigmas.iter().enumerate() {
            let tile = mesh.tile(col, 0);
            let floor = FLOOR_SIGMA * sigma;
            let cells = line.get(tile.x0..tile.x1).unwrap_or_default();
            // Most chunks hold nothing: one comparison over eight pixels skips them.
            for (chunk_index, chunk) in cells.chunks(8).enumerate() {
                if open.is_none() && chunk.iter().all(|&v| v <= floor) {
                    continue;
                }
                for (i, &value) in chunk.iter().enumerate() {
                    let x = tile.x0 + chunk_index * 8 + i;
                    if value > floor {
                        let run = open.get_or_insert(Run {
                            y,
                            x0: x,
                            x1: x,
                            at: found.significance.len(),
                        });
                        run.x1 = x + 1;
                        found.significance.push(value / sigma);
                    } else if let Some(run) = open.take() {
                        found.runs.push(run);
                    }
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
        let rows = bounds.y1 - bounds.y0;
        let columns = run.x0.saturating_sub(MASK_REACH)..(run.x1 + MASK_REACH).min(width);
        for row in k.saturating_sub(MASK_REACH)..(k + MASK_REACH + 1).min(rows) {
            let span = row * width + columns.start..row * width + columns.end;
            if let Some(cells) = strip.masked.get_mut(span) {
                cells.fill(true);
            }
        }
    }
}

/// Sky above the mesh and noise of a tile's free true samples.
fn tile_sky(
    samples: &Samples,
    mesh: &Mesh,
    tile: Tile,
    density: f64,
    strip: &mut Strip,
) -> Option<Clipped> {
    let width = mesh.width;
    let padded = width + 2 * RADIUS;
    strip.values.clear();
    for y in (tile.y0..tile.y1).step_by(row_stride(tile, density)) {
        let k = y - tile.y0;
        let above = strip
            .above
            .get(k * padded + RADIUS..(k + 1) * padded - RADIUS)?;
        let masked = strip.masked.get(k * width..(k + 1) * width)?;
        for (first, step) in greens::columns(samples.layout, y, tile.x0) {
            let pair = above.get(first..tile.x1).zip(masked.get(first..tile.x1));
            let Some((above, masked)) = pair else {
                continue;
            };
            // Masked samples go in as NaN, which clipping leaves out, to keep this loop plain.
            let free = |(value, masked): (&f32, &bool)| if *masked { f32::NAN } else { *value };
            if step == 1 {
                strip.values.extend(above.iter().zip(masked).map(free));
            } else {
                let firsts = above.chunks(step).zip(masked.chunks(step));
                strip
                    .values
                    .extend(firsts.filter_map(|(a, m)| a.first().zip(m.first()).map(free)));
            }
        }
    }
    let centre = (
        (tile.x0 + tile.x1) as f64 / 2.0,
        (tile.y0 + tile.y1) as f64 / 2.0,
    );
    let step = step_at(samples, mesh.at(centre.0, centre.1) as f32);
    clipped(&strip.values, step, &mut strip.starters)
        .filter(|free| free.count * LEAST_FREE >= strip.values.len())
}
