//! Faint long trails: a second look through a kernel that is as long as the frame's trails.
//!
//! The small kernel of the first look sees of a trail only as much light as fits in it, so the
//! signal-to-noise of a 12 px trail is halved. Where the bright stars trail, their map says how long
//! and which way a faint one must be at any place; sums along that line are matched to it. The frame
//! is halved in size for it, which costs a few per cent of the signal and three quarters of the work,
//! and a sum of 2ⁿ pixels along a line is n sums of two sums.

use super::background::{Mesh, SkyRows};
use super::blobs::Blob;
use super::fair;
use super::field::SmoothField;
use super::matched_plane::{Line, Patch, Peak, TAPS, Work, taps};
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

/// Guides stand out by this many σ, …
const GUIDE_SIGMA: f32 = 15.0;

/// … or by this many where those are fewer than [`ENOUGH_GUIDES`].
const FAINT_GUIDE_SIGMA: f32 = 7.0;

/// See [`FAINT_GUIDE_SIGMA`].
const ENOUGH_GUIDES: usize = 40;

/// Objects of the first look that stand out by this much are whole; lesser ones may be pieces of one
/// trail, or noise on one, and are looked for again.
const WHOLE_SIGMA: f32 = 10.0;

/// L² over the difference of the adaptive moments along and across a trail, to a tenth (trail of 4
/// to 20 σ).
const LENGTH2: f64 = 8.5;

/// In a coarse frame the level is raised up to here.
const MOST_MIRRORED: f32 = 60.0;

/// σ of a rise over that of a value: the mean of two others is taken off.
const RISE_NOISE: f64 = 1.225;

/// What the bright stars say of the others.
pub(super) struct Guide {
    field: SmoothField,
    /// σ across a trail, px.
    sigma: f64,
}

impl Guide {
    /// A star's trail at a place.
    pub(super) fn trail(&self, x: f64, y: f64) -> Spin2 {
        self.field.at(x, y)
    }
}

/// What is already known to be there.
pub(super) struct Known<'a> {
    /// How stars trail.
    pub(super) guide: &'a Guide,
    /// Hot pixels.
    pub(super) hot: &'a [Blob],
    /// Streaks.
    pub(super) streaks: &'a [Streak],
    /// Tiles that are sky.
    pub(super) is_sky: &'a [bool],
    /// Whether noise is what compression made of it.
    pub(super) coarse: bool,
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
    let guide = known.guide;
    halve(samples, mesh, &mut work.halved, &mut work.sky);
    let (peaks, hollows) = peaks(mesh, noise, known, &level, work);
    let mirrored = if known.coarse {
        let heights = peaks.iter().map(|peak| peak.significance).collect();
        super::mirrored_level(hollows, heights, MOST_MIRRORED)
    } else {
        0.0
    };
    let mut taken: Vec<(Peak, Along)> = Vec::new();
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
            Along::of(trail),
        ));
    }
    blobs.retain(whole);
    for peak in peaks {
        let trail = guide.field.at(peak.x, peak.y);
        let reach = 1.5 * trail.length_px() + 60.0;
        let (mut core, mut wings) = (0.0, 0.0);
        for index in rows.near(peak.y, reach) {
            let other = taken.get(index);
            // The bands are as wide as the frame; further off than they are high, nothing spills.
            if let Some((other, trail)) = other.filter(|(o, _)| (o.x - peak.x).abs() <= reach) {
                let spilled = spill(other, *trail, &peak, guide.sigma);
                core += spilled.0;
                wings += spilled.1;
            }
        }
        let clear = f64::from(peak.significance) - core - wings;
        let risen = (f64::from(peak.rise) - core) / RISE_NOISE;
        let least = level(trail.length_px()).max(mirrored);
        if clear.max(risen) < f64::from(least) || peak.significance < mirrored {
            continue;
        }
        rows.add(peak.y, taken.len());
        taken.push((peak, Along::of(trail)));
        blobs.push(blob_of(&peak, trail, guide.sigma));
    }
}

/// The trails of the bright stars; `None` where they are too few or too short.
pub(super) fn guide(samples: &Samples, mesh: &Mesh, noise: &Mesh, blobs: &[Blob]) -> Option<Guide> {
    let over = |sigma: f32| blobs.iter().filter(move |b| b.peak >= sigma);
    let least = if over(GUIDE_SIGMA).count() < ENOUGH_GUIDES {
        FAINT_GUIDE_SIGMA
    } else {
        GUIDE_SIGMA
    };
    let bright: Vec<&Blob> = over(least).collect();
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

/// Peaks of the matched plane above its level, highest first, and how deep its hollows are.
///
/// Stars too faint to be told crowd the plane where trails are long, and a spread taken of it would
/// be theirs. So its σ is what the noise of single samples becomes under the kernel, times one
/// factor for the frame by which demosaicing and compression tie neighbours, from the side of the
/// plane's values on which stars do not lie.
fn peaks(
    mesh: &Mesh,
    noise: &Mesh,
    known: &Known,
    level: &impl Fn(f64) -> f32,
    work: &mut Work,
) -> (Vec<Peak>, Vec<f32>) {
    let guide = known.guide;
    let size = (mesh.width / 2, mesh.height / 2);
    blank_streaks(&mut work.halved, size, known.streaks, guide.sigma);
    let kernel = taps(0.5 * guide.sigma);
    let (mut out, mut hollows) = (Vec::new(), Vec::new());
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
        let scale = (own.0, white);
        patch.note_peaks(margin, &line, scale, least, &work.patch, &mut out);
        if known.coarse {
            patch.note_hollows(margin, scale, least, &work.patch, &mut hollows);
        }
    }
    let tied = median(&mut ties).unwrap_or(1.0).max(0.5) as f32;
    for peak in &mut out {
        peak.significance /= tied;
        peak.rise /= tied;
    }
    for hollow in &mut hollows {
        *hollow /= tied;
    }
    out.sort_by(|a, b| {
        let by_place = || a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x));
        b.significance
            .total_cmp(&a.significance)
            .then_with(by_place)
    });
    (out, hollows)
}

/// Sets pixels near streaks to sky.
fn blank_streaks(halved: &mut [f32], (cols, rows): (usize, usize), streaks: &[Streak], sigma: f64) {
    for streak in streaks {
        let reach = 0.25 * f64::from(streak.width_px) + 1.5 * sigma + 1.0;
        let steps = streak.length_px().ceil().max(1.0);
        let mut along = 0.0;
        while along <= steps {
            let part = along / steps;
            let at = |a: f32, b: f32| 0.5 * (f64::from(a) + part * f64::from(b - a));
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
fn spill(other: &Peak, trail: Along, peak: &Peak, sigma: f64) -> (f64, f64) {
    let (dx, dy) = (peak.x - other.x, peak.y - other.y);
    let along = (dx * trail.cos - dy * trail.sin).abs();
    let across = (dx * trail.sin + dy * trail.cos).abs();
    let length = trail.length + 2.0 * sigma;
    let overlap = (1.0 - along / length).max(0.0);
    let beyond = (along - 0.5 * length).max(0.0);
    let distance = (across * across + beyond * beyond).sqrt() / (1.5 * sigma);
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
        component: usize::MAX,
    }
}

/// A trail's length and direction, worked out once for the many that it is compared with.
#[derive(Debug, Clone, Copy)]
struct Along {
    length: f64,
    sin: f64,
    cos: f64,
}

impl Along {
    fn of(trail: Spin2) -> Self {
        let (sin, cos) = trail.angle_deg().to_radians().sin_cos();
        Self {
            length: trail.length_px(),
            sin,
            cos,
        }
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
