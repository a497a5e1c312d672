//! What two frames of equal settings tell of noise: how much differs from one to the other at each
//! level of light, what stays the same, and whether whole rows or columns waver.
//!
//! σ² of one sample is half the variance of the difference, in which fixed pattern cancels (EMVA
//! Standard 1288). Stars are masked in both frames, since the sky moves; what of them is too faint
//! to be seen is told by its ties: light of a star falls on neighbours alike, noise does not, so the
//! covariance of near neighbours, carried on to no distance, is what the stars add. Ground is left
//! out. A change of level from one frame to the next shifts a tile as a whole and is taken off.

use serde::{Deserialize, Serialize};

use super::background::{self, Mesh};
use super::banding::Bands;
use super::pair_tile::{PairSums, TileWork};
use super::{Scratch, blobs, detect, greens, ground, noise};
use crate::base::Estimate;
use crate::base::robust::median_and_sigma;
use crate::frame::{Light, Samples};

/// Raised whenever [`pair`] may answer differently for the same files.
pub const PAIR_VERSION: u32 = 1;

/// Pixels around what stands out by more than this many σ of the filtered frame are left out …
const MASK_SIGMA: f32 = 3.5;

/// … this far.
const MASK_REACH: usize = 5;

/// Noise of neighbours more alike than this is no sensor's: the file was demosaiced or smoothed.
const MOST_TIED: f64 = 0.12;

/// A tile in which more than this share of samples holds the lowest number is cut off at black.
const MOST_LOWEST: f64 = 0.02;

/// Fewer tiles say nothing.
const LEAST_TILES: usize = 12;

/// Tiles are put together by level into at most so many groups …
const MOST_LEVELS: usize = 16;

/// … of at least so many tiles.
const TILES_A_LEVEL: usize = 8;

/// A tile whose variance is this many σ off its group's median is out: a passing light, leaves.
const WILD: f64 = 5.0;

/// What a pair is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum PairOf {
    /// Sky: stars and ground are to be left out.
    Sky,
    /// Frames with the cap on.
    Dark,
}

/// Why a pair tells nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum PairFault {
    /// Levels are not proportional to light.
    ToneMapped,
    /// The frames differ in size or colour pattern.
    Unlike,
    /// Both hold the same numbers.
    Copies,
    /// Neighbouring pixels share their noise: demosaiced, resized or smoothed.
    Tied,
    /// Numbers are cut off at black.
    BlackCut,
    /// Nothing but stars, ground or clipped light.
    TooFew,
}

/// One level of light.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PairLevel {
    /// Mean level of both frames, fraction of full scale.
    pub level: f64,
    /// Temporal variance of one sample there, (fraction of full scale)².
    pub variance: Estimate,
}

/// Waver of whole rows or columns, in variances of their means, (fraction of full scale)².
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Banding {
    /// Variance of a row's offset against its neighbours beyond what `random` explains; may be
    /// negative by chance.
    pub excess: f64,
    /// Variance of a row's mean by the noise of its pixels alone.
    pub random: f64,
}

impl Banding {
    /// Whether it exceeds the random part.
    #[must_use]
    pub fn shows(&self) -> bool {
        self.excess > self.random
    }
}

/// What a pair gives. Levels are fractions of full scale above black, variances their squares.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PairMeasure {
    /// Numbers of the file from black to full scale; `None` where they have no unit.
    pub dn_full_scale: Option<f64>,
    /// Levels of light in the frame, darkest first; empty with a fault.
    pub levels: Vec<PairLevel>,
    /// Mean level over all of them.
    pub level: f64,
    /// Temporal variance of one sample, mean over all of them.
    pub temporal: Estimate,
    /// Variance from pixel to pixel of what is the same in both frames.
    pub fixed: Estimate,
    /// Rows; `None` when too few were free.
    pub rows: Option<Banding>,
    /// Columns.
    pub columns: Option<Banding>,
    /// Why it tells nothing.
    pub fault: Option<PairFault>,
}

impl PairMeasure {
    fn failed(samples: &Samples, fault: PairFault) -> Self {
        let nothing = Estimate {
            value: 0.0,
            error: 0.0,
        };
        Self {
            dn_full_scale: samples.dn_full_scale(),
            levels: Vec::new(),
            level: 0.0,
            temporal: nothing,
            fixed: nothing,
            rows: None,
            columns: None,
            fault: Some(fault),
        }
    }
}

/// Measures a pair. Never fails: a pair that tells nothing says why in [`PairMeasure::fault`].
#[must_use]
pub fn pair(a: &Samples, b: &Samples, of: PairOf, scratch: &mut Scratch) -> PairMeasure {
    let fault = |fault| PairMeasure::failed(a, fault);
    if a.light != Light::Linear || b.light != Light::Linear {
        return fault(PairFault::ToneMapped);
    }
    let size = |s: &Samples| (s.green.width(), s.green.height());
    if size(a) != size(b) || a.layout != b.layout || size(a).0 == 0 || size(a).1 == 0 {
        return fault(PairFault::Unlike);
    }
    if a.green.data() == b.green.data() {
        return fault(PairFault::Copies);
    }
    let Some(scene) = Scene::of(a, b, of, scratch) else {
        return fault(PairFault::TooFew);
    };
    scene.measure(a, b, of)
}

/// What is known of both frames before their difference is looked at.
struct Scene {
    mesh_a: Mesh,
    mesh_b: Mesh,
    /// One flag a tile: whether it counts.
    is_sky: Vec<bool>,
    /// One flag a pixel: whether a star is near; empty when none is looked for.
    masked: Vec<bool>,
}

impl Scene {
    /// `None` when a frame is no night sky.
    fn of(a: &Samples, b: &Samples, of: PairOf, scratch: &mut Scratch) -> Option<Self> {
        let mut mesh_a = background::first_mesh(a, &mut scratch.values, &mut scratch.starters);
        let mut mesh_b = background::first_mesh(b, &mut scratch.values, &mut scratch.starters);
        let mut is_sky = vec![true; mesh_a.levels.len()];
        let mut masked = Vec::new();
        if of == PairOf::Sky {
            masked.resize(a.green.data().len(), false);
            stand_out(a, &mut mesh_a, scratch, &mut masked)?;
            let noise = noise::noise_mesh(&mesh_a, &scratch.found.sky);
            let blobs = blobs::blobs(&scratch.found, super::DETECTION_SIGMA, &mut scratch.flood);
            is_sky = ground::sky_tiles(&mesh_a, &noise, &blobs);
            stand_out(b, &mut mesh_b, scratch, &mut masked)?;
        }
        Some(Self {
            mesh_a,
            mesh_b,
            is_sky,
            masked,
        })
    }

    fn measure(&self, a: &Samples, b: &Samples, of: PairOf) -> PairMeasure {
        let mesh = &self.mesh_a;
        let mut work = TileWork::new(a, b, (&self.mesh_a, &self.mesh_b), &self.masked);
        let mut bands = Bands::new(mesh.width, mesh.height);
        let (mut tiles, mut cut) = (Vec::new(), 0_usize);
        for row in 0..mesh.rows {
            work.load(row);
            for col in 0..mesh.cols {
                if self.is_sky.get(row * mesh.cols + col) != Some(&true) {
                    continue;
                }
                let Some(tile) = work.tile(col, row) else {
                    continue;
                };
                if tile.lowest_share > MOST_LOWEST {
                    cut += 1;
                    continue;
                }
                bands.add(&work);
                tiles.push(tile.sums);
            }
        }
        if cut > tiles.len() {
            return PairMeasure::failed(a, PairFault::BlackCut);
        }
        if tiles.len() < LEAST_TILES {
            return PairMeasure::failed(a, PairFault::TooFew);
        }
        let groups = by_level(tiles);
        let mut sums = PairSums::default();
        for group in &groups {
            sums.add(group);
        }
        if sums.tied() > MOST_TIED {
            return PairMeasure::failed(a, PairFault::Tied);
        }
        let levels = groups.iter().map(|group| PairLevel {
            level: group.level(),
            variance: group.temporal(of),
        });
        PairMeasure {
            dn_full_scale: a.dn_full_scale(),
            levels: levels.collect(),
            level: sums.level(),
            temporal: sums.temporal(of),
            fixed: sums.fixed(),
            rows: bands.rows(),
            columns: bands.columns(),
            fault: None,
        }
    }
}

/// The tiles' sums put together by level, wild tiles left out. Unseen stars are told for each level
/// by itself, since vignetting dims them with the sky.
fn by_level(mut tiles: Vec<PairSums>) -> Vec<PairSums> {
    tiles.sort_by(|a, b| a.level().total_cmp(&b.level()));
    let count = (tiles.len() / TILES_A_LEVEL).clamp(1, MOST_LEVELS);
    let groups = (0..count).map(|k| {
        let (from, to) = (k * tiles.len() / count, (k + 1) * tiles.len() / count);
        let group = tiles.get(from..to).unwrap_or_default();
        let variances: Vec<f64> = group.iter().map(PairSums::variance).collect();
        let (centre, sigma) = median_and_sigma(&variances).unwrap_or_default();
        let mut sum = PairSums::default();
        // The scatter of few tiles may by chance be far under what their samples make of it.
        let near = |tile: &&PairSums| {
            (tile.variance() - centre).abs() <= WILD * sigma.max(centre * tile.least_share())
        };
        group.iter().filter(near).for_each(|tile| sum.add(tile));
        sum
    });
    groups.collect()
}

/// Takes the stars out of `mesh` and marks their pixels; `None` when no sky is left.
fn stand_out(
    samples: &Samples,
    mesh: &mut Mesh,
    scratch: &mut Scratch,
    masked: &mut [bool],
) -> Option<()> {
    let found = &mut scratch.found;
    detect::find(samples, mesh, &mut scratch.strip, found);
    if found.overfull {
        return None;
    }
    let corrections: Vec<Option<f32>> = found.sky.iter().map(|t| t.map(|c| c.mean)).collect();
    let corrections = background::fill(corrections, mesh.cols, mesh.rows);
    for (level, correction) in mesh.levels.iter_mut().zip(corrections) {
        *level += correction;
    }
    mesh.smooth();
    for run in &found.runs {
        let heights = found.significance.get(run.at..run.at + (run.x1 - run.x0));
        if heights.unwrap_or_default().iter().all(|&s| s < MASK_SIGMA) {
            continue;
        }
        let columns = run.x0.saturating_sub(MASK_REACH)..(run.x1 + MASK_REACH).min(mesh.width);
        for y in run.y.saturating_sub(MASK_REACH)..(run.y + MASK_REACH + 1).min(mesh.height) {
            let span = y * mesh.width + columns.start..y * mesh.width + columns.end;
            if let Some(cells) = masked.get_mut(span) {
                cells.fill(true);
            }
        }
    }
    Some(())
}

/// Columns of true samples of a tile's row, for the rooms of a pair.
pub(super) fn true_columns(
    samples: &Samples,
    y: usize,
    from: usize,
    to: usize,
) -> impl Iterator<Item = usize> {
    greens::columns(samples.layout, y, from)
        .flat_map(move |(first, step)| (first..to).step_by(step))
}
