//! Faint long trails: a second look through a kernel that is as long as the frame's trails.
//!
//! The small kernel of the first look sees of a trail only as much light as fits in it, so the
//! signal-to-noise of a 12 px trail is halved. Where the bright stars trail, their map says how long
//! and which way a faint one must be at any place; sums along that line are matched to it. The frame
//! is halved in size for it, which costs a few per cent of the signal and three quarters of the work,
//! and a sum of 2ⁿ pixels along a line is n sums of two sums.

use super::background::{Mesh, SkyRows, Tile};
use super::blobs::Blob;
use super::clip::clipped;
use super::fair;
use super::field::SmoothField;
use super::shape::{Moments, measure_shape};
use super::stars::SIGMA_TO_FWHM;
use super::types::{Star, StarErrors, StarFlags, Streak};
use crate::base::Spin2;
use crate::base::robust::median;
use crate::frame::Samples;

/// Shorter trails than this, px, fit the small kernel well enough.
const LEAST_TRAIL: f64 = 4.5;

/// Stars that tell the trails, and fewest of them.
const GUIDES: usize = 120;
const LEAST_GUIDES: usize = 12;

/// Guides stand out by this many σ.
const GUIDE_SIGMA: f32 = 15.0;

/// Objects of the first look that stand out by this much are whole; lesser ones may be pieces of one
/// trail, or noise on one, and are looked for again.
const WHOLE_SIGMA: f32 = 10.0;

/// Most pixels of the halved frame along a line.
const MOST_STEPS: usize = 64;

/// L² over the difference of the adaptive moments along and across a trail, to a tenth (trail of 4
/// to 20 σ).
const LENGTH2: f64 = 8.5;

/// Distance to what lies beside a star, in units of its σ: a twentieth of its light is there.
const BESIDE: f64 = 3.7;

/// σ of a rise over that of a value: the mean of two others is taken off.
const RISE_NOISE: f64 = 1.225;

/// Pixels around a tile that are blurred with it.
const TAPS: usize = 2;

/// Buffers reused from frame to frame.
#[derive(Debug, Default)]
pub(super) struct Work {
    /// The halved frame above its sky.
    halved: Vec<f32>,
    patch: Vec<f32>,
    other: Vec<f32>,
    values: Vec<f32>,
    starters: Vec<i32>,
    sky: SkyRows,
}

/// A place where the matched plane stands out.
#[derive(Debug, Clone, Copy)]
struct Peak {
    x: f64,
    y: f64,
    significance: f32,
    /// The same against the mean of what lies on either side of the line: the wing of another star
    /// is hollow, a star is not.
    rise: f32,
}

/// What the bright stars say of the others.
struct Guide {
    field: SmoothField,
    /// σ across a trail, px.
    sigma: f64,
}

/// What is already known to be there.
pub(super) struct Known<'a> {
    /// Hot pixels.
    pub(super) hot: &'a [Blob],
    /// Streaks.
    pub(super) streaks: &'a [Streak],
    /// Tiles that are sky.
    pub(super) is_sky: &'a [bool],
}

/// Looks again for stars where trails are long: lesser objects in `blobs` give way to what the
/// matched kernel finds above `level(length)` σ for a trail of that length.
pub(super) fn look_again(
    samples: &Samples,
    mesh: &Mesh,
    noise: &Mesh,
    blobs: &mut Vec<Blob>,
    known: &Known,
    level: impl Fn(f64) -> f32,
    work: &mut Work,
) {
    let Some(guide) = guide(samples, mesh, noise, blobs) else {
        return;
    };
    halve(samples, mesh, &mut work.halved, &mut work.sky);
    let peaks = peaks(mesh, noise, &guide, known, &level, work);
    let mut taken: Vec<(Peak, Spin2)> = Vec::new();
    let mut rows = Rows::new(mesh.height);
    let whole = |blob: &Blob| {
        blob.peak >= WHOLE_SIGMA || guide.field.at(blob.x, blob.y).length_px() < LEAST_TRAIL
    };
    // The whole ones, and what is known to be no star, hide what is beside them.
    for blob in blobs.iter().filter(|b| whole(b)).chain(known.hot) {
        let trail = guide.field.at(blob.x, blob.y);
        // The same light seen through the longer kernel.
        let gain = (1.0 + trail.length_px() / (2.0 * guide.sigma)).sqrt();
        rows.add(blob.y, taken.len());
        taken.push((
            Peak {
                x: blob.x,
                y: blob.y,
                significance: blob.peak * gain as f32,
                rise: 0.0,
            },
            trail,
        ));
    }
    blobs.retain(whole);
    for peak in peaks {
        let trail = guide.field.at(peak.x, peak.y);
        let reach = 1.5 * trail.length_px() + 60.0;
        let (mut core, mut wings) = (0.0, 0.0);
        for index in rows.near(peak.y, reach) {
            if let Some((other, trail)) = taken.get(index) {
                let spilled = spill(other, *trail, &peak, guide.sigma);
                core += spilled.0;
                wings += spilled.1;
            }
        }
        let clear = f64::from(peak.significance) - core - wings;
        let risen = (f64::from(peak.rise) - core) / RISE_NOISE;
        if clear.max(risen) < f64::from(level(trail.length_px())) {
            continue;
        }
        rows.add(peak.y, taken.len());
        taken.push((peak, trail));
        blobs.push(blob_of(&peak, trail, guide.sigma));
    }
}

/// The trails of the bright stars; `None` where they are too few or too short.
fn guide(samples: &Samples, mesh: &Mesh, noise: &Mesh, blobs: &[Blob]) -> Option<Guide> {
    let bright: Vec<&Blob> = blobs.iter().filter(|b| b.peak >= GUIDE_SIGMA).collect();
    let items = bright.iter().map(|b| (b.x, b.y, f64::from(b.sum)));
    let size = (mesh.width, mesh.height);
    let picked = fair::pick(items, size, GUIDES);
    let mut widths = Vec::with_capacity(picked.len());
    let stars: Vec<Star> = picked
        .into_iter()
        .filter_map(|index| bright.get(index))
        .filter_map(|blob| {
            let window = (1.5 * blob.length()).clamp(12.0, 160.0);
            let sigma = noise.at(blob.x, blob.y);
            let sky = mesh.plane_at(blob.x, blob.y);
            let place = (blob.x, blob.y);
            let shape = measure_shape(samples, sky, place, blob.moments, sigma, window)?;
            if !shape.settled || shape.clipped || shape.at_edge {
                return None;
            }
            let short2 = shape.moments.axes().1.max(0.0);
            widths.push(short2.sqrt());
            Some(Star {
                x_px: shape.x as f32,
                y_px: shape.y as f32,
                flux: shape.flux as f32,
                peak: shape.peak as f32,
                snr: shape.snr as f32,
                fwhm_px: (SIGMA_TO_FWHM * short2.sqrt()) as f32,
                elongation: 1.0,
                trail: Spin2 {
                    cos: LENGTH2 * (shape.moments.xx - shape.moments.yy),
                    sin: -LENGTH2 * 2.0 * shape.moments.xy,
                },
                flags: StarFlags::default(),
                errors: StarErrors::default(),
            })
        })
        .collect();
    if stars.len() < LEAST_GUIDES {
        return None;
    }
    let field = SmoothField::fit(&stars, size)?;
    let long = field.values(&stars, size).length_px >= LEAST_TRAIL;
    let sigma = median(&mut widths)?;
    long.then_some(Guide { field, sigma })
}

/// Means of two by two pixels above the sky, row order.
fn halve(samples: &Samples, mesh: &Mesh, halved: &mut Vec<f32>, sky: &mut SkyRows) {
    let (cols, rows) = (mesh.width / 2, mesh.height / 2);
    halved.clear();
    halved.reserve(cols * rows);
    let mut upper = vec![0.0; mesh.width];
    let mut lower = vec![0.0; mesh.width];
    for row in 0..rows {
        mesh.subtract_row(samples, 2 * row, sky, &mut upper);
        mesh.subtract_row(samples, 2 * row + 1, sky, &mut lower);
        let pairs = upper.chunks_exact(2).zip(lower.chunks_exact(2));
        halved.extend(pairs.map(|(a, b)| 0.25 * (a[0] + a[1] + b[0] + b[1])));
    }
}

/// Peaks of the matched plane above its level, highest first.
///
/// Stars too faint to be told crowd the plane where trails are long, and a spread taken of it would
/// be theirs. So its σ is what the noise of single samples becomes under the kernel, times one
/// factor for the frame by which demosaicing and compression tie neighbours, from the side of the
/// plane's values on which stars do not lie.
fn peaks(
    mesh: &Mesh,
    noise: &Mesh,
    guide: &Guide,
    known: &Known,
    level: &impl Fn(f64) -> f32,
    work: &mut Work,
) -> Vec<Peak> {
    let size = (mesh.width / 2, mesh.height / 2);
    blank_streaks(&mut work.halved, size, known.streaks, guide.sigma);
    let kernel = taps(0.5 * guide.sigma);
    let mut out = Vec::new();
    let mut ties = Vec::with_capacity(mesh.levels.len());
    let mut norm = (Vec::new(), 0.0_f32);
    for index in 0..mesh.levels.len() {
        if known.is_sky.get(index) == Some(&false) {
            continue;
        }
        let tile = mesh.tile(index % mesh.cols, index / mesh.cols);
        let centre = (
            (tile.x0 + tile.x1) as f64 / 2.0,
            (tile.y0 + tile.y1) as f64 / 2.0,
        );
        let trail = guide.field.at(centre.0, centre.1);
        let line = Line::of(trail, guide.sigma);
        // One more on every side, to tell a peak from a flank.
        let margin = line.reach + TAPS + 1;
        let patch = Patch::around(tile, margin, size);
        if norm.0 != line.doublings {
            norm = (line.doublings.clone(), patch.norm(&kernel, &line, work));
        }
        let white = norm.1 * noise.at(centre.0, centre.1) as f32;
        if white <= 0.0 {
            continue;
        }
        patch.cut(&work.halved, size, &mut work.patch);
        patch.filter(&kernel, &line, work);
        let Some(own) = patch.spread(margin, work) else {
            continue;
        };
        ties.push(f64::from(own.1 / white));
        let least = 0.7 * level(trail.length_px());
        patch.note_peaks(margin, &line, (own.0, white), least, &work.patch, &mut out);
    }
    let tied = median(&mut ties).unwrap_or(1.0).max(0.5) as f32;
    for peak in &mut out {
        peak.significance /= tied;
        peak.rise /= tied;
    }
    out.sort_by(|a, b| {
        let by_place = || a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x));
        b.significance
            .total_cmp(&a.significance)
            .then_with(by_place)
    });
    out
}

/// A rectangle of the halved frame that may reach beyond it.
#[derive(Debug, Clone, Copy)]
struct Patch {
    x: isize,
    y: isize,
    width: usize,
    height: usize,
}

impl Patch {
    /// A tile of the whole frame with a margin of halved pixels.
    fn around(tile: Tile, margin: usize, (cols, rows): (usize, usize)) -> Self {
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
    fn norm(&self, kernel: &[f32; TAPS + 1], line: &Line, work: &mut Work) -> f32 {
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
    fn filter(&self, kernel: &[f32; TAPS + 1], line: &Line, work: &mut Work) {
        self.blur(kernel, &mut work.patch, &mut work.other);
        self.sum_line(line, &mut work.patch, &mut work.other);
    }

    /// Middle and σ of the values inside the margin, σ from the lower side.
    fn spread(&self, margin: usize, work: &mut Work) -> Option<(f32, f32)> {
        work.values.clear();
        let lines = work.patch.chunks_exact(self.width);
        for line in lines.skip(margin).take(self.height - 2 * margin) {
            let cells = line.get(margin..self.width - margin).unwrap_or_default();
            work.values.extend_from_slice(cells);
        }
        let middle = clipped(&work.values, 0.0, &mut work.starters)?.mean;
        work.values.sort_unstable_by(f32::total_cmp);
        let at = |q: f64| work.values.get((q * work.values.len() as f64) as usize);
        // One σ of a Gaussian lies between these.
        let (a, b) = at(0.1587).zip(at(0.0228))?;
        // Where stars crowd they lift the mean, the lower side less.
        Some((middle.min(2.0 * a - b), a - b))
    }

    /// Adds the maxima inside the margin that rise above `middle` by `least` × `sigma`.
    fn note_peaks(
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

    /// Copies it; outside the frame counts as sky.
    fn cut(&self, halved: &[f32], (cols, rows): (usize, usize), patch: &mut Vec<f32>) {
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
                add_shifted(other, patch, (i * stride) as isize, *tap);
                add_shifted(other, patch, -((i * stride) as isize), *tap);
            }
            std::mem::swap(patch, other);
        }
    }

    /// Sums along the line.
    fn sum_line(&self, line: &Line, patch: &mut Vec<f32>, other: &mut Vec<f32>) {
        for &(dx, dy) in &line.doublings {
            let shift = dy * self.width as isize + dx;
            other.clear();
            other.extend_from_slice(patch);
            add_shifted(other, patch, shift, 1.0);
            std::mem::swap(patch, other);
        }
        // From the first pixel of the line to its middle.
        let (dx, dy) = line.to_middle;
        let shift = dy * self.width as isize + dx;
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
struct Line {
    /// Offsets between the halves of each doubling.
    doublings: Vec<(isize, isize)>,
    to_middle: (isize, isize),
    /// Offset to what lies beside a star on the line.
    beside: (isize, isize),
    /// Farthest offset along either axis.
    reach: usize,
}

impl Line {
    fn of(trail: Spin2, sigma: f64) -> Self {
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

fn taps(sigma: f64) -> [f32; TAPS + 1] {
    let sigma = sigma.max(0.5);
    let mut taps = [0.0; TAPS + 1];
    for (i, tap) in taps.iter_mut().enumerate() {
        *tap = (-0.5 * (i * i) as f64 / (sigma * sigma)).exp() as f32;
    }
    taps
}

/// Sets pixels near streaks to sky.
fn blank_streaks(halved: &mut [f32], (cols, rows): (usize, usize), streaks: &[Streak], sigma: f64) {
    for streak in streaks {
        let reach = (0.5 * f64::from(streak.width_px) + 3.0 * sigma) / 2.0 + 1.0;
        let steps = streak.length_px().ceil().max(1.0);
        let mut along = 0.0;
        while along <= steps {
            let part = along / steps;
            let at = |a: f32, b: f32| (f64::from(a) + part * f64::from(b - a)) / 2.0;
            let (x, y) = (
                at(streak.x0_px, streak.x1_px),
                at(streak.y0_px, streak.y1_px),
            );
            let span = |c: f64, n: usize| {
                let first = (c - reach).max(0.0) as usize;
                first.min(n)..((c + reach + 1.0).max(0.0) as usize).min(n)
            };
            for row in span(y, rows) {
                let columns = span(x, cols);
                if let Some(cells) =
                    halved.get_mut(row * cols + columns.start..row * cols + columns.end)
                {
                    cells.fill(0.0);
                }
            }
            along += reach;
        }
    }
}

/// Significance at `peak` that comes from the core and the wings of another object with this trail.
///
/// Along a line two equal boxes overlap as a triangle, across it two Gaussians as a wider one; real
/// stars have wings.
fn spill(other: &Peak, trail: Spin2, peak: &Peak, sigma: f64) -> (f64, f64) {
    let (sin, cos) = trail.angle_deg().to_radians().sin_cos();
    let (dx, dy) = (peak.x - other.x, peak.y - other.y);
    let along = (dx * cos - dy * sin).abs();
    let across = (dx * sin + dy * cos).abs();
    let length = trail.length_px() + 2.0 * sigma;
    let overlap = (1.0 - along / length).max(0.0);
    let beyond = (along - 0.5 * length).max(0.0);
    let distance = across.hypot(beyond) / (1.5 * sigma);
    let core = overlap * (-0.5 * (across / (1.5 * sigma)).powi(2)).exp();
    let wings = (0.3 * distance.max(2.5).powi(-4) - core).max(0.0);
    let light = f64::from(other.significance);
    (light * core, light * wings)
}

fn blob_of(peak: &Peak, trail: Spin2, sigma: f64) -> Blob {
    let (sin, cos) = trail.angle_deg().to_radians().sin_cos();
    let (a, b) = (
        sigma * sigma + trail.length_px().powi(2) / LENGTH2,
        sigma * sigma,
    );
    Blob {
        x: peak.x,
        y: peak.y,
        peak_x: peak.x as usize,
        peak_y: peak.y as usize,
        peak: peak.significance,
        sum: peak.significance,
        area: ((trail.length_px() + 2.0 * sigma) * 3.0 * sigma) as usize,
        moments: Moments {
            xx: a * cos * cos + b * sin * sin,
            xy: (b - a) * sin * cos,
            yy: a * sin * sin + b * cos * cos,
        },
    }
}

/// Indices of things by row, in bands.
struct Rows {
    bands: Vec<Vec<usize>>,
}

impl Rows {
    const BAND: f64 = 32.0;

    fn new(height: usize) -> Self {
        Self {
            bands: vec![Vec::new(); (height as f64 / Self::BAND) as usize + 1],
        }
    }

    fn band(&self, y: f64) -> usize {
        ((y.max(0.0) / Self::BAND) as usize).min(self.bands.len() - 1)
    }

    fn add(&mut self, y: f64, index: usize) {
        let band = self.band(y);
        if let Some(band) = self.bands.get_mut(band) {
            band.push(index);
        }
    }

    fn near(&self, y: f64, reach: f64) -> impl Iterator<Item = usize> {
        let bands = self.bands.get(self.band(y - reach)..=self.band(y + reach));
        bands.unwrap_or_default().iter().flatten().copied()
    }
}
