//! One tile of a pair: sums over the difference and the sum of both frames, and what they tell.

use super::background::{Mesh, SkyRows, Tile};
use super::pair::{PairOf, true_columns};
use crate::base::Estimate;
use crate::frame::Samples;

/// Steps to neighbours that are true samples of a Bayer mosaic too, two directions to each squared
/// distance of 2, 4 and 8.
const STEPS: [[(isize, usize); 2]; 3] = [[(1, 1), (-1, 1)], [(2, 0), (0, 2)], [(2, 2), (-2, 2)]];

/// Lagrange's polynomial in the squared distance, through 2, 4 and 8, read at 0.
const TO_ZERO: [f64; 3] = [8.0 / 3.0, -2.0, 1.0 / 3.0];

/// Differences beyond this many σ are cosmic rays or faults.
const CUT_DIFFERENCE: f32 = 6.0;

/// Sums beyond this many σ are hot pixels. Cutting by the sum leaves the difference unbiased, since
/// the two are independent.
const CUT_SUM: f32 = 4.5;

/// A tile counts with this share of its true samples free …
const LEAST_FREE: f64 = 0.25;

/// … and at least so many.
const LEAST_SAMPLES: usize = 200;

/// Sums over samples. `d` is the difference of the frames, `s` their sum, each with the tile's mean
/// taken off.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct PairSums {
    tiles: f64,
    count: f64,
    levels: f64,
    dd: f64,
    ss: f64,
    near: [Products; 3],
    /// The nearest neighbours, where all samples are true.
    beside: Products,
}

/// Products of neighbours at one distance.
#[derive(Debug, Clone, Copy, Default)]
struct Products {
    count: f64,
    dd: f64,
    ss: f64,
}

impl Products {
    fn add(&mut self, other: &Self) {
        self.count += other.count;
        self.dd += other.dd;
        self.ss += other.ss;
    }
}

impl PairSums {
    pub(super) fn add(&mut self, other: &Self) {
        self.tiles += other.tiles;
        self.count += other.count;
        self.levels += other.levels;
        self.dd += other.dd;
        self.ss += other.ss;
        for (near, other) in self.near.iter_mut().zip(&other.near) {
            near.add(other);
        }
        self.beside.add(&other.beside);
    }

    /// Mean level of a sample.
    pub(super) fn level(&self) -> f64 {
        self.levels / self.count
    }

    /// Variance of one sample, the light of unseen stars in it. Each tile's mean was taken off.
    pub(super) fn variance(&self) -> f64 {
        0.5 * self.dd / (self.count - self.tiles)
    }

    /// Standard error of [`Self::variance`] as a share of it, by the number of samples alone.
    pub(super) fn least_share(&self) -> f64 {
        (2.0 / self.count).sqrt()
    }

    /// Covariance of nearest neighbours over the variance of the difference.
    pub(super) fn tied(&self) -> f64 {
        let nearest = match self.near.first() {
            Some(near) if self.beside.count == 0.0 => near,
            _ => &self.beside,
        };
        nearest.dd / nearest.count.max(1.0) / (self.dd / self.count)
    }

    /// Covariance at no distance that the ties of neighbours tell of, for a kind of product.
    fn tie(&self, of: fn(&Products) -> f64) -> f64 {
        let ties = self.near.iter().zip(TO_ZERO);
        ties.map(|(near, factor)| factor * of(near) / near.count.max(1.0))
            .sum()
    }

    /// Standard error of a tie as a share of the variance.
    fn tie_share(&self) -> f64 {
        let ties = self.near.iter().zip(TO_ZERO);
        let squares = ties.map(|(near, factor)| factor * factor / near.count.max(1.0));
        squares.sum::<f64>().sqrt()
    }

    /// The part of a variance that neighbours do not share, with its standard error.
    fn untied(&self, sum: f64, tie: f64) -> Estimate {
        let variance = sum / self.count;
        Estimate {
            value: variance - tie,
            error: variance * self.least_share().hypot(self.tie_share()),
        }
    }

    /// Temporal variance of one sample, over all tiles.
    pub(super) fn temporal(&self, of: PairOf) -> Estimate {
        match of {
            PairOf::Sky => self.untied(self.dd, self.tie(|near| near.dd)).times(0.5),
            PairOf::Dark => {
                let variance = self.variance();
                Estimate {
                    value: variance,
                    error: variance * self.least_share(),
                }
            }
        }
    }

    /// Variance of what is the same in both frames: a quarter of what their sum has over their
    /// difference.
    pub(super) fn fixed(&self) -> Estimate {
        let sum = self.untied(self.ss, self.tie(|near| near.ss));
        let difference = self.untied(self.dd, self.tie(|near| near.dd));
        Estimate {
            value: 0.25 * (sum.value - difference.value),
            error: 0.25 * sum.error.hypot(difference.error),
        }
    }
}

/// A tile that counts.
pub(super) struct TileSums {
    pub(super) sums: PairSums,
    /// Share of the first frame's samples that hold its lowest number in the tile.
    pub(super) lowest_share: f64,
}

/// Work space: one row of tiles of both frames above their skies, then one tile's samples.
pub(super) struct TileWork<'a> {
    frames: (&'a Samples, &'a Samples),
    meshes: (&'a Mesh, &'a Mesh),
    masked: &'a [bool],
    above: (Vec<f32>, Vec<f32>),
    sky: SkyRows,
    /// Bounds of the tile that is loaded.
    pub(super) bounds: Tile,
    difference: Vec<f32>,
    sum: Vec<f32>,
    /// The first frame alone, its tile's mean off.
    pub(super) first: Vec<f32>,
    /// 1 where a sample counts, else 0.
    pub(super) counts: Vec<f32>,
}

impl<'a> TileWork<'a> {
    pub(super) fn new(
        a: &'a Samples,
        b: &'a Samples,
        meshes: (&'a Mesh, &'a Mesh),
        masked: &'a [bool],
    ) -> Self {
        Self {
            frames: (a, b),
            meshes,
            masked,
            above: (Vec::new(), Vec::new()),
            sky: SkyRows::default(),
            bounds: Tile {
                x0: 0,
                x1: 0,
                y0: 0,
                y1: 0,
            },
            difference: Vec::new(),
            sum: Vec::new(),
            first: Vec::new(),
            counts: Vec::new(),
        }
    }

    /// Loads one row of tiles.
    pub(super) fn load(&mut self, row: usize) {
        let width = self.meshes.0.width;
        let bounds = self.meshes.0.tile(0, row);
        let size = width * (bounds.y1 - bounds.y0);
        for (samples, mesh, above) in [
            (self.frames.0, self.meshes.0, &mut self.above.0),
            (self.frames.1, self.meshes.1, &mut self.above.1),
        ] {
            above.resize(size, 0.0);
            for (y, out) in (bounds.y0..).zip(above.chunks_exact_mut(width)) {
                mesh.subtract_row(samples, y, &mut self.sky, out);
            }
        }
    }

    /// Sums of tile (`col`, `row`) of the loaded row; `None` when too little of it is free.
    pub(super) fn tile(&mut self, col: usize, row: usize) -> Option<TileSums> {
        self.bounds = self.meshes.0.tile(col, row);
        let (true_samples, lowest_share) = self.fill();
        self.settle();
        let free = self.counts.iter().filter(|&&c| c > 0.0).count();
        if free < LEAST_SAMPLES || (free as f64) < LEAST_FREE * true_samples as f64 {
            return None;
        }
        let mut sums = self.products();
        sums.levels = self.level() * sums.count;
        (sums.dd > 0.0).then_some(TileSums { sums, lowest_share })
    }

    /// Fills the tile's samples; how many were truly taken, and the share that is lowest.
    fn fill(&mut self) -> (usize, f64) {
        let Tile { x0, x1, y0, y1 } = self.bounds;
        let (wide, size) = (x1 - x0, (x1 - x0) * (y1 - y0));
        for buffer in [
            &mut self.difference,
            &mut self.sum,
            &mut self.first,
            &mut self.counts,
        ] {
            buffer.clear();
            buffer.resize(size, 0.0);
        }
        let width = self.meshes.0.width;
        let (mut taken, mut lowest, mut at_lowest) = (0_usize, f32::INFINITY, 0_usize);
        for y in y0..y1 {
            let (row_a, row_b) = (self.frames.0.green.row(y), self.frames.1.green.row(y));
            let masked = self.masked.get(y * width..(y + 1) * width);
            let line = (y - y0) * width;
            for x in true_columns(self.frames.0, y, x0, x1) {
                taken += 1;
                let (Some(&raw_a), Some(&raw_b)) = (row_a.get(x), row_b.get(x)) else {
                    continue;
                };
                if raw_a < lowest {
                    (lowest, at_lowest) = (raw_a, 0);
                }
                at_lowest += usize::from(raw_a <= lowest);
                let free = raw_a < self.frames.0.clip_level
                    && raw_b < self.frames.1.clip_level
                    && masked.is_none_or(|masked| masked.get(x) == Some(&false));
                let above = self.above.0.get(line + x).zip(self.above.1.get(line + x));
                let (Some((&a, &b)), true) = (above, free) else {
                    continue;
                };
                let at = (y - y0) * wide + x - x0;
                self.put(at, a, b);
            }
        }
        (taken, at_lowest as f64 / taken.max(1) as f64)
    }

    fn put(&mut self, at: usize, a: f32, b: f32) {
        for (buffer, value) in [
            (&mut self.difference, a - b),
            (&mut self.sum, a + b),
            (&mut self.first, a),
            (&mut self.counts, 1.0),
        ] {
            if let Some(slot) = buffer.get_mut(at) {
                *slot = value;
            }
        }
    }

    /// Takes means off and wild samples out until nothing changes.
    fn settle(&mut self) {
        for _ in 0..6 {
            let counts = &self.counts;
            let [difference, sum, _] = [&mut self.difference, &mut self.sum, &mut self.first]
                .map(|values| centre(values, counts));
            let reach = (CUT_DIFFERENCE * difference, CUT_SUM * sum);
            let mut dropped = false;
            let samples = self.difference.iter_mut().zip(&mut self.sum);
            for (((d, s), first), count) in samples.zip(&mut self.first).zip(&mut self.counts) {
                if *count > 0.0 && (d.abs() > reach.0 || s.abs() > reach.1) {
                    (*d, *s, *first, *count) = (0.0, 0.0, 0.0, 0.0);
                    dropped = true;
                }
            }
            if !dropped {
                return;
            }
        }
    }

    /// Mean level of both frames where samples count.
    fn level(&self) -> f64 {
        let Tile { x0, x1, y0, .. } = self.bounds;
        let (mut sum, mut count) = (0.0_f64, 0.0_f64);
        for (y, counts) in (y0..).zip(self.counts.chunks_exact(x1 - x0)) {
            let rows = [self.frames.0, self.frames.1].map(|s| s.green.row(y).get(x0..x1));
            let [Some(a), Some(b)] = rows else { continue };
            for ((a, b), &counts) in a.iter().zip(b).zip(counts) {
                if counts > 0.0 {
                    sum += 0.5 * f64::from(a + b);
                    count += 1.0;
                }
            }
        }
        sum / count.max(1.0)
    }

    fn products(&self) -> PairSums {
        let wide = self.bounds.x1 - self.bounds.x0;
        let here = self.step((0, 0), wide);
        let mut sums = PairSums {
            tiles: 1.0,
            count: here.count,
            dd: here.dd,
            ss: here.ss,
            ..PairSums::default()
        };
        for (near, steps) in sums.near.iter_mut().zip(STEPS) {
            for step in steps {
                near.add(&self.step(step, wide));
            }
        }
        for step in [(1, 0), (0, 1)] {
            sums.beside.add(&self.step(step, wide));
        }
        sums
    }

    /// Products of every sample with the one a step (right, down) away.
    fn step(&self, (right, down): (isize, usize), wide: usize) -> Products {
        let mut out = Products::default();
        let (from, to) = if right < 0 {
            (right.unsigned_abs(), 0)
        } else {
            (0, right.unsigned_abs())
        };
        let pairs = |values: &[f32]| -> f64 {
            let rows = values.chunks_exact(wide);
            let lower = values.chunks_exact(wide).skip(down);
            rows.zip(lower)
                .map(|(row, lower)| {
                    let row = row.get(from..wide - to).unwrap_or_default();
                    let lower = lower.get(to..wide - from).unwrap_or_default();
                    let product: f32 = row.iter().zip(lower).map(|(a, b)| a * b).sum();
                    f64::from(product)
                })
                .sum()
        };
        out.count = pairs(&self.counts);
        out.dd = pairs(&self.difference);
        out.ss = pairs(&self.sum);
        out
    }
}

/// Takes the mean of the samples that count off them; gives their standard deviation.
fn centre(values: &mut [f32], counts: &[f32]) -> f32 {
    let count: f32 = counts.iter().sum::<f32>().max(1.0);
    let sum: f64 = values.iter().map(|&v| f64::from(v)).sum();
    let mean = (sum / f64::from(count)) as f32;
    let mut squares = 0.0_f64;
    for (value, &counts) in values.iter_mut().zip(counts) {
        *value -= mean * counts;
        squares += f64::from(*value * *value);
    }
    (squares / f64::from(count)).sqrt() as f32
}
