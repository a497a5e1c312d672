//! The halved frame through a line kernel, patch by patch: the arithmetic of the second look.

use super::background::{SkyRows, Tile};
use super::clip::clipped;
use crate::base::Spin2;

/// Distance to what lies beside a star, in units of its σ: a twentieth of its light is there.
const BESIDE: f64 = 3.7;

/// Most pixels of the halved frame along a line.
const MOST_STEPS: usize = 64;

/// Pixels around a tile that are blurred with it.
pub(super) const TAPS: usize = 2;

/// Buffers reused from frame to frame.
#[derive(Debug, Default)]
pub(super) struct Work {
    /// The halved frame above its sky.
    pub(super) halved: Vec<f32>,
    pub(super) patch: Vec<f32>,
    pub(super) other: Vec<f32>,
    pub(super) values: Vec<f32>,
    pub(super) starters: Vec<i32>,
    pub(super) sky: SkyRows,
}

/// A place where the matched plane stands out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peak {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) significance: f32,
    /// The same against the mean of what lies on either side of the line: the wing of another star
    /// is hollow, a star is not.
    pub(super) rise: f32,
}

/// A rectangle of the halved frame that may reach beyond it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Patch {
    x: isize,
    y: isize,
    width: usize,
    height: usize,
}

impl Patch {
    /// A tile of the whole frame with a margin of halved pixels.
    pub(super) fn around(tile: Tile, margin: usize, (cols, rows): (usize, usize)) -> Self {
        let (x0, x1) = (tile.x0 / 2, (tile.x1 / 2).min(cols));
        let (y0, y1) = (tile.y0 / 2, (tile.y1 / 2).min(rows));
        Self {
            x: x0.cast_signed() - margin.cast_signed(),
            y: y0.cast_signed() - margin.cast_signed(),
            width: x1.saturating_sub(x0) + 2 * margin,
            height: y1.saturating_sub(y0) + 2 * margin,
        }
    }

    /// Root of the sum of squares of the whole kernel, for noise of unit variance in single samples
    /// that know nothing of each other.
    pub(super) fn norm(&self, kernel: &[f32; TAPS + 1], line: &Line, work: &mut Work) -> f32 {
        work.patch.clear();
        work.patch.resize(self.width * self.height, 0.0);
        let middle = self.height / 2 * self.width + self.width / 2;
        if let Some(one) = work.patch.get_mut(middle) {
            *one = 1.0;
        }
        self.filter(kernel, line, work);
        // A halved pixel is the mean of four.
        0.5 * work.patch.iter().map(|v| v * v).sum::<f32>().sqrt()
    }

    /// Blurs and sums along the line.
    pub(super) fn filter(&self, kernel: &[f32; TAPS + 1], line: &Line, work: &mut Work) {
        self.blur(kernel, &mut work.patch, &mut work.other);
        self.sum_line(line, &mut work.patch, &mut work.other);
    }

    /// Middle and σ of the values inside the margin, σ from the lower side.
    pub(super) fn spread(&self, margin: usize, work: &mut Work) -> Option<(f32, f32)> {
        work.values.clear();
        let lines = work.patch.chunks_exact(self.width);
        for line in lines.skip(margin).take(self.height - 2 * margin) {
            let cells = line.get(margin..self.width - margin).unwrap_or_default();
            work.values.extend_from_slice(cells);
        }
        let middle = clipped(&work.values, 0.0, &mut work.starters)?.mean;
        let values = work.values.as_mut_slice();
        let place = |q: f64| (q * values.len() as f64) as usize;
        let (upper, lower) = (place(0.1587), place(0.0228));
        // One σ of a Gaussian lies between these.
        let (below, &mut a, _) = values.select_nth_unstable_by(upper, f32::total_cmp);
        let b = if lower < upper {
            *below.select_nth_unstable_by(lower, f32::total_cmp).1
        } else {
            a
        };
        // Where stars crowd they lift the mean, the lower side less.
        Some((middle.min(2.0 * a - b), a - b))
    }

    /// Adds the maxima inside the margin that rise above `middle` by `least` × `sigma`.
    pub(super) fn note_peaks(
        &self,
        margin: usize,
        line: &Line,
        (middle, sigma): (f32, f32),
        least: f32,
        values: &[f32],
        out: &mut Vec<Peak>,
    ) {
        for row in margin..self.height - margin {
            let first = row * self.width + margin;
            let cells = values.get(first..(row + 1) * self.width - margin);
            for (at, &here) in (first..).zip(cells.unwrap_or_default()) {
                if here - middle <= least * sigma {
                    continue;
                }
                let w = self.width;
                let before = [at - w - 1, at - w, at - w + 1, at - 1];
                let after = [at + 1, at + w - 1, at + w, at + w + 1];
                let value = |i: &usize| values.get(*i).copied().unwrap_or(f32::MIN);
                // Of equal ones the first is the peak.
                if before.iter().all(|i| here > value(i)) && after.iter().all(|i| here >= value(i))
                {
                    let aside = line.beside.1 * w.cast_signed() + line.beside.0;
                    let side = |by: isize| at.checked_add_signed(by).map_or(here, |i| value(&i));
                    let sides = 0.5 * (side(aside) + side(-aside));
                    let (x, y) = ((at % w).cast_signed(), (at / w).cast_signed());
                    out.push(Peak {
                        x: 2.0 * (self.x + x) as f64 + 0.5,
                        y: 2.0 * (self.y + y) as f64 + 0.5,
                        significance: (here - middle) / sigma,
                        rise: (here - sides) / sigma,
                    });
                }
            }
        }
    }

    /// Adds the depths of the minima inside the margin, in units of `sigma`, from `least` on.
    pub(super) fn note_hollows(
        &self,
        margin: usize,
        (middle, sigma): (f32, f32),
        least: f32,
        values: &[f32],
        out: &mut Vec<f32>,
    ) {
        let w = self.width;
        let value = |i: usize| values.get(i).copied().unwrap_or(f32::MAX);
        for row in margin..self.height - margin {
            for at in row * w + margin..(row + 1) * w - margin {
                let here = value(at);
                let near = [at - w - 1, at - w, at - w + 1, at - 1];
                let after = [at + 1, at + w - 1, at + w, at + w + 1];
                if middle - here > least * sigma
                    && near.iter().chain(&after).all(|&i| here <= value(i))
                {
                    out.push((middle - here) / sigma);
                }
            }
        }
    }

    /// Copies it; outside the frame counts as sky.
    pub(super) fn cut(&self, halved: &[f32], (cols, rows): (usize, usize), patch: &mut Vec<f32>) {
        patch.clear();
        patch.resize(self.width * self.height, 0.0);
        let first = usize::try_from(-self.x).unwrap_or(0);
        let left = usize::try_from(self.x).unwrap_or(0);
        for (line, y) in patch.chunks_exact_mut(self.width).zip(self.y..) {
            let Some(row) = usize::try_from(y).ok().filter(|&y| y < rows) else {
                continue;
            };
            let source = halved.get(row * cols + left..(row + 1) * cols);
            let target = line.get_mut(first..);
            if let (Some(source), Some(target)) = (source, target) {
                for (to, from) in target.iter_mut().zip(source) {
                    *to = *from;
                }
            }
        }
    }

    /// Blurs along rows and columns.
    fn blur(&self, kernel: &[f32; TAPS + 1], patch: &mut Vec<f32>, other: &mut Vec<f32>) {
        for stride in [1, self.width] {
            other.clear();
            other.extend(patch.iter().map(|v| kernel[0] * v));
            for (i, tap) in kernel.iter().enumerate().skip(1) {
                add_shifted(other, patch, (i * stride).cast_signed(), *tap);
                add_shifted(other, patch, -(i * stride).cast_signed(), *tap);
            }
            std::mem::swap(patch, other);
        }
    }

    /// Sums along the line.
    fn sum_line(&self, line: &Line, patch: &mut Vec<f32>, other: &mut Vec<f32>) {
        for &(dx, dy) in &line.doublings {
            let shift = dy * self.width.cast_signed() + dx;
            other.clear();
            other.extend_from_slice(patch);
            add_shifted(other, patch, shift, 1.0);
            std::mem::swap(patch, other);
        }
        // From the first pixel of the line to its middle.
        let (dx, dy) = line.to_middle;
        let shift = dy * self.width.cast_signed() + dx;
        other.clear();
        other.resize(patch.len(), 0.0);
        add_shifted(other, patch, -shift, 1.0);
        std::mem::swap(patch, other);
    }
}

/// `to[i] += factor · from[i + shift]` where that exists.
fn add_shifted(to: &mut [f32], from: &[f32], shift: isize, factor: f32) {
    let ahead = usize::try_from(shift).unwrap_or(0);
    let behind = usize::try_from(-shift).unwrap_or(0);
    let (Some(to), Some(from)) = (to.get_mut(behind..), from.get(ahead..)) else {
        return;
    };
    for (to, from) in to.iter_mut().zip(from) {
        *to += factor * from;
    }
}

/// A line of 2ⁿ pixels of the halved frame.
#[derive(Debug, Clone)]
pub(super) struct Line {
    /// Offsets between the halves of each doubling.
    pub(super) doublings: Vec<(isize, isize)>,
    to_middle: (isize, isize),
    /// Offset to what lies beside a star on the line.
    beside: (isize, isize),
    /// Farthest offset along either axis.
    pub(super) reach: usize,
}

impl Line {
    pub(super) fn of(trail: Spin2, sigma: f64) -> Self {
        let (sin, cos) = trail.angle_deg().to_radians().sin_cos();
        // A little shorter than the trail with its ends: there is less light in them.
        let length = 0.5 * (trail.length_px() + 0.7 * sigma);
        let mut steps = 1;
        while 2 * steps <= MOST_STEPS && (steps as f64) < length / 1.5 {
            steps *= 2;
        }
        // The doublings have the pixels at equal steps of length / steps, y down.
        let step = length / steps as f64;
        let offset = |part: f64| {
            (
                (part * cos).round() as isize,
                (-part * sin).round() as isize,
            )
        };
        let mut doublings = Vec::new();
        let mut end = (0, 0);
        let mut half = 1;
        while half < steps {
            let by = offset(step * half as f64);
            doublings.push(by);
            end = (end.0 + by.0, end.1 + by.1);
            half *= 2;
        }
        let across = 0.5 * BESIDE * sigma;
        let beside = (
            (across * sin).round() as isize,
            (across * cos).round() as isize,
        );
        let longest = [end.0, end.1, beside.0, beside.1];
        let longest = longest.iter().map(|o| o.unsigned_abs()).max();
        let reach = longest.unwrap_or(0) + 1;
        Self {
            beside,
            to_middle: (end.0 / 2, end.1 / 2),
            doublings,
            reach,
        }
    }
}

pub(super) fn taps(sigma: f64) -> [f32; TAPS + 1] {
    let sigma = sigma.max(0.5);
    let mut taps = [0.0; TAPS + 1];
    for (i, tap) in taps.iter_mut().enumerate() {
        *tap = (-0.5 * (i * i) as f64 / (sigma * sigma)).exp() as f32;
    }
    taps
}
