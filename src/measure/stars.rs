//! From detections to stars with shapes, and what the frame's stars say together.

use super::background::Mesh;
use super::blobs::Blob;
use super::field::SmoothField;
use super::lens::{self, Lens, Reading};
use super::long::{self, Profile};
use super::path::Wave;
use super::profile::Fitted;
use super::shape::{Moments, Shape, measure_held, measure_shape};
use super::types::{Star, StarErrors, StarFlags};
use super::{fair, hot};
use crate::base::Spin2;
use crate::base::robust::{median, median_and_sigma, quantile};
use crate::frame::Samples;

/// FWHM of a Gaussian over its σ.
pub(super) const SIGMA_TO_FWHM: f64 = 2.354_820_045;

/// Most stars whose shape is measured; a crowded frame says no more with more of them.
pub(super) const MOST_SHAPES: usize = 3000;

/// Below this signal-to-noise a shape says nothing of its own.
const LEAST_SNR: f32 = 10.0;

/// A profile fit that leaves more than this, in units of the noise, has a second star in it.
const MISFIT: f32 = 1.6;

/// A shape that comes to rest farther from its detection than this, squared and in units of the
/// detection's own spread, is another star's.
const FARTHEST2: f64 = 4.0;

/// A shape whose long moment is this many times its detection's has another star in it …
const LONGEST: f64 = 2.5;

/// … where the detection is this many σ high, so not a piece of a star.
const WHOLE_SIGMA: f32 = 10.0;

/// This many objects of which eight in ten are as bright as each other …
const DRAWING_LEAST: usize = 20;

/// … to this factor are no stars.
const DRAWING_SPAN: f64 = 1.06;

/// What is sharper than the lens allows: this share of the usual moment across a star …
const SHARP_SHARE: f64 = 0.5;

/// … lowered by this over the signal-to-noise, which the narrower of a faint star's two axes
/// scatters by.
const SHARP_SCATTER: f64 = 3.0;

/// What is this many times as wide as the frame's usual star is none.
const WIDEST: f64 = 2.2;

/// Largest half-window, px.
const LARGEST_WINDOW: f64 = 160.0;

/// Stars with shapes.
#[derive(Debug, Default)]
pub(super) struct Shaped {
    /// Every star that was measured.
    pub(super) stars: Vec<Measured>,
    /// Detections among the sample that turned out sharper than the optics.
    pub(super) too_sharp: usize,
    /// Detections among the sample that turned out far wider than the frame's stars.
    pub(super) too_wide: usize,
    /// Detections that turned out to be parts of others.
    pub(super) repeats: usize,
    /// What the lens's shape, as far as it is known, leaves open of the frame's trail, px.
    pub(super) lens_doubt_px: f64,
    /// The same of the frame's width, as a share of it.
    pub(super) width_doubt: f64,
    /// How light lies beside the paths of the long trails.
    pub(super) waves: Vec<Wave>,
    /// Detections whose shape was tried.
    pub(super) tried: usize,
}

impl Shaped {
    /// Whether many objects are all equally bright: stars never are.
    pub(super) fn is_drawing(&self) -> bool {
        let mut peaks: Vec<f64> = self.stars.iter().map(|m| f64::from(m.star.peak)).collect();
        let bounds = quantile(&mut peaks, 0.1).zip(quantile(&mut peaks, 0.9));
        peaks.len() >= DRAWING_LEAST && bounds.is_some_and(|(low, high)| high < DRAWING_SPAN * low)
    }
}

/// A star and its moments, which say its width along any direction.
#[derive(Debug, Clone, Copy)]
pub(super) struct Measured {
    pub(super) star: Star,
    pub(super) moments: Moments,
    /// FWHM behind this frame's lens over the moments' short axis.
    pub(super) width_factor: f64,
}

impl Measured {
    /// Whether this star may speak for the frame's shape.
    pub(super) fn is_used(&self) -> bool {
        let StarFlags {
            clipped,
            at_edge,
            unsettled,
            blended: _,
        } = self.star.flags;
        !clipped && !at_edge && !unsettled && self.star.snr >= LEAST_SNR
    }
}

/// Measures shapes of a fair sample of `blobs`.
pub(super) fn shapes(samples: &Samples, mesh: &Mesh, noise: &Mesh, blobs: &[Blob]) -> Shaped {
    let size = (mesh.width, mesh.height);
    let items = blobs.iter().map(|b| (b.x, b.y, f64::from(b.sum)));
    let picked = fair::pick(items, size, MOST_SHAPES);
    let mut by_row: Vec<&Blob> = blobs.iter().collect();
    by_row.sort_by(|a, b| a.y.total_cmp(&b.y));
    let mut shaped = Shaped {
        tried: picked.len(),
        ..Shaped::default()
    };
    let hot_floor = (0.8 * hot::SHARPEST_SIGMA).powi(2);
    let mut found: Vec<(Shape, bool)> = Vec::with_capacity(picked.len());
    for blob in picked.into_iter().filter_map(|index| blobs.get(index)) {
        let window = (1.5 * blob.length()).clamp(12.0, LARGEST_WINDOW);
        let Some(shape) = shape_of(samples, mesh, noise, blob, window) else {
            continue;
        };
        let floor = hot_floor * sharp_share(shape.snr) / SHARP_SHARE;
        if shape.settled && shape.moments.axes().1 < floor {
            shaped.too_sharp += 1;
            continue;
        }
        let blended = is_blended(blob, &shape, &by_row);
        found.push((shape, blended));
    }
    look_narrower(samples, mesh, noise, &mut found);
    let good: Vec<Shape> = found
        .iter()
        .filter(|(shape, blended)| !blended && is_good(shape))
        .map(|(shape, _)| *shape)
        .collect();
    let lens = Lens::learn(samples, mesh, noise, &good);
    shaped.lens_doubt_px = lens.doubt_px;
    shaped.width_doubt = lens.width_doubt;
    let mut allowance = long::Allowance::of(&lens, &good);
    let mut waves = Vec::new();
    shaped.stars = found
        .iter()
        .map(|(shape, blended)| {
            let place = (shape.x, shape.y);
            let reading = lens.read(shape.moments);
            let (sigma, photon) = (noise.at(place.0, place.1), lens::photon(mesh, noise, place));
            let mut star = star_of(shape, *blended, &reading);
            star.errors = long::moment_errors(&lens, shape, &reading, sigma, photon);
            match long::fitted(samples, (mesh, noise), &lens, shape, &mut allowance) {
                Profile::Fitted(fit, wave) => {
                    take_fit(&mut star, &fit, &lens);
                    waves.extend(wave.map(|wave| *wave));
                }
                Profile::Lost => star.flags.unsettled = true,
                Profile::Short => {}
            }
            Measured {
                star,
                moments: shape.moments,
                width_factor: reading.fwhm / shape.moments.axes().1.max(1e-6).sqrt(),
            }
        })
        .collect();
    shaped.waves = waves;
    drop_misfits(&mut shaped);
    drop_repeats(&mut shaped);
    shaped
}

/// The shape of a detection; the light under its own moments where its shape does not settle, or
/// strays to a brighter neighbour.
fn shape_of(
    samples: &Samples,
    mesh: &Mesh,
    noise: &Mesh,
    blob: &Blob,
    window: f64,
) -> Option<Shape> {
    let sky = mesh.plane_at(blob.x, blob.y);
    let place = (blob.x, blob.y);
    let sigma = noise.at(blob.x, blob.y);
    let strays = |shape: &Shape| {
        let moved = blob
            .moments
            .distance2(shape.x - blob.x, shape.y - blob.y)
            .unwrap_or(0.0);
        // What stands out well is whole, and a shape much longer has another star in it.
        let whole = blob.peak >= WHOLE_SIGMA;
        let longer = shape.moments.axes().0 / blob.moments.axes().0.max(1e-6);
        !shape.settled || moved > FARTHEST2 || (whole && longer > LONGEST)
    };
    measure_shape(samples, sky, place, blob.moments, sigma, window)
        .filter(|shape| !strays(shape))
        .or_else(|| {
            let least = hot::SHARPEST_SIGMA.powi(2);
            let Moments { xx, xy, yy } = blob.moments;
            let held = Moments {
                xx: xx.max(least),
                xy,
                yy: yy.max(least),
            };
            measure_held(samples, sky, place, held, sigma, window)
        })
}

/// Drops the lesser of two whose shapes came to rest on the same light: pieces of one faint trail.
fn drop_repeats(shaped: &mut Shaped) {
    let mut order: Vec<Measured> = std::mem::take(&mut shaped.stars);
    let before = order.len();
    order.sort_by(|a, b| b.star.flux.total_cmp(&a.star.flux));
    let mut rows: Vec<(f32, usize)> = order.iter().map(|m| m.star.y_px).zip(0..).collect();
    rows.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let mut repeated = vec![false; before];
    for (index, m) in order.iter().enumerate() {
        if repeated.get(index) == Some(&true) {
            continue;
        }
        let reach = m.moments.yy.max(0.0).sqrt() as f32;
        let from = rows.partition_point(|row| row.0 < m.star.y_px - reach);
        let near = rows
            .iter()
            .skip(from)
            .take_while(|row| row.0 <= m.star.y_px + reach);
        for &(_, other) in near.filter(|row| row.1 > index) {
            let Some(star) = order.get(other).map(|o| o.star) else {
                continue;
            };
            let (dx, dy) = (star.x_px - m.star.x_px, star.y_px - m.star.y_px);
            if m.moments
                .distance2(f64::from(dx), f64::from(dy))
                .is_some_and(|q| q < 1.0)
                && let Some(flag) = repeated.get_mut(other)
            {
                *flag = true;
            }
        }
    }
    let mut flags = repeated.iter();
    order.retain(|_| flags.next() == Some(&false));
    shaped.repeats = before - order.len();
    shaped.stars = order;
}

/// Drops what is far sharper than the frame's own stars, or far wider: gaps between leaves, lamps
/// behind branches, ringing round the bright.
fn drop_misfits(shaped: &mut Shaped) {
    let narrow = |m: &Measured| m.moments.axes().1;
    let mut used: Vec<f64> = shaped
        .stars
        .iter()
        .filter(|m| m.is_used())
        .map(narrow)
        .collect();
    if used.len() < 10 {
        return;
    }
    let usual = median(&mut used).unwrap_or(0.0);
    let before = shaped.stars.len();
    shaped.stars.retain(|m| {
        let floor = usual * sharp_share(m.star.snr.into());
        narrow(m) >= floor || m.star.flags.clipped || m.star.flags.unsettled
    });
    shaped.too_sharp += before - shaped.stars.len();
    let before = shaped.stars.len();
    let widest = WIDEST * WIDEST * usual;
    shaped
        .stars
        .retain(|m| narrow(m) <= widest || m.star.flags.clipped);
    shaped.too_wide = before - shaped.stars.len();
}

/// Least moment across a star over the usual one.
fn sharp_share(snr: f64) -> f64 {
    SHARP_SHARE * (1.0 - SHARP_SCATTER / snr.max(2.0 * SHARP_SCATTER))
}

/// Looks once more at what did not settle and came out wide: its own moments are those of the area
/// above the floor, which grows with a star's light. Seen better through the shape of the nearest
/// good star, it is one.
fn look_narrower(samples: &Samples, mesh: &Mesh, noise: &Mesh, found: &mut [(Shape, bool)]) {
    let good: Vec<Shape> = found
        .iter()
        .filter(|(shape, blended)| !blended && is_good(shape))
        .map(|(shape, _)| *shape)
        .collect();
    let mut across: Vec<f64> = good.iter().map(|shape| shape.moments.axes().1).collect();
    let usual = median(&mut across).unwrap_or(f64::INFINITY);
    let wide = |shape: &Shape| !shape.settled && shape.moments.axes().1 > WIDEST * WIDEST * usual;
    for (shape, _) in found.iter_mut().filter(|found| wide(&found.0)) {
        let place = (shape.x, shape.y);
        let far = |other: &&Shape| (other.x - place.0).hypot(other.y - place.1);
        let Some(nearest) = good.iter().min_by(|a, b| far(a).total_cmp(&far(b))) else {
            return;
        };
        let like = nearest.moments;
        let window = (5.0 * like.axes().0.sqrt()).clamp(12.0, LARGEST_WINDOW);
        let (sky, sigma) = (mesh.plane_at(place.0, place.1), noise.at(place.0, place.1));
        let again = measure_held(samples, sky, place, like, sigma, window);
        if let Some(again) = again.filter(|again| again.snr >= shape.snr) {
            *shape = again;
        }
    }
}

/// Whether another detection lies within the window that shaped this star.
fn is_blended(blob: &Blob, shape: &Shape, by_row: &[&Blob]) -> bool {
    let m = shape.moments;
    let reach = 3.0 * m.yy.max(0.0).sqrt();
    let from = by_row.partition_point(|other| other.y < shape.y - reach);
    by_row
        .iter()
        .skip(from)
        .take_while(|other| other.y <= shape.y + reach)
        .filter(|other| (other.peak_x, other.peak_y) != (blob.peak_x, blob.peak_y))
        .any(|other| {
            m.distance2(other.x - shape.x, other.y - shape.y)
                .is_some_and(|q| q < 9.0)
        })
}

/// Whether a shape may speak for the lens.
fn is_good(shape: &Shape) -> bool {
    shape.settled && !shape.clipped && !shape.at_edge && shape.snr >= f64::from(LEAST_SNR)
}

/// Puts what the profile says in place of what the moments said.
fn take_fit(star: &mut Star, fit: &Fitted, lens: &Lens) {
    let trail = fit.trail;
    let fwhm = lens.spread.fwhm(trail.scale);
    star.x_px = trail.x as f32;
    star.y_px = trail.y as f32;
    star.flux = trail.flux as f32;
    star.fwhm_px = fwhm as f32;
    star.trail = Spin2::new(trail.length, trail.angle.to_degrees());
    star.errors = long::fit_errors(fit, fwhm);
    star.flags.unsettled = false;
    // A lens that is a fiftieth off the profile leaves this much of a bright star.
    let lens_off = 1.0_f32.hypot(0.02 * star.snr);
    if star.errors.misfit > MISFIT.max(lens_off) {
        star.flags.blended = true;
        star.flags.unsettled = true;
    }
}

fn star_of(shape: &Shape, blended: bool, reading: &Reading) -> Star {
    let (long, short) = shape.moments.axes();
    Star {
        x_px: shape.x as f32,
        y_px: shape.y as f32,
        flux: (reading.light * shape.flux) as f32,
        peak: shape.peak as f32,
        snr: shape.snr as f32,
        fwhm_px: reading.fwhm as f32,
        elongation: (long / short).sqrt() as f32,
        trail: reading.trail,
        flags: StarFlags {
            clipped: shape.clipped,
            at_edge: shape.at_edge,
            blended,
            unsettled: !shape.settled,
        },
        errors: StarErrors::default(),
    }
}

/// What the stars used say of width and elongation.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Widths {
    /// Median FWHM across the trail, px.
    pub(super) fwhm_px: Option<f64>,
    /// Its standard error by the stars' scatter, px.
    pub(super) fwhm_error_px: Option<f64>,
    /// Median long axis over short.
    pub(super) elongation: Option<f64>,
}

/// Width and elongation of the stars used.
///
/// Both are read along and across the map's direction, not each star's own: the narrow axis of a
/// noisy round star reads low, and its long axis high, by chance alone.
pub(super) fn widths(used: &[Measured], field: Option<&SmoothField>) -> Widths {
    let (mut across, mut along, mut factors) = (Vec::new(), Vec::new(), Vec::new());
    for m in used {
        factors.push(m.width_factor);
        let (x, y) = (f64::from(m.star.x_px), f64::from(m.star.y_px));
        let angle = field.map_or(0.0, |f| f.at(x, y).angle_deg());
        along.push(m.moments.along(angle));
        across.push(m.moments.along(angle + 90.0));
    }
    let mut fitted: Vec<f64> = used
        .iter()
        .filter(|m| m.star.errors.misfit > 0.0)
        .map(|m| f64::from(m.star.fwhm_px))
        .collect();
    // Moments of paths that bend are wide by the bend; profiles are not.
    let by_profiles = 2 * fitted.len() > used.len();
    let factor = median(&mut factors).unwrap_or(0.0);
    let mut by_moments: Vec<f64> = across
        .iter()
        .filter(|across| **across > 0.0)
        .map(|across| factor * across.sqrt())
        .collect();
    let all = if by_profiles {
        &mut fitted
    } else {
        &mut by_moments
    };
    let spread = median_and_sigma(all).map(|(_, sigma)| sigma);
    let fwhm_px = median(all);
    let (across, along) = (median(&mut across), median(&mut along));
    Widths {
        fwhm_px,
        // A median scatters by √(π/2) more than a mean.
        fwhm_error_px: spread.map(|s| (0.5 * std::f64::consts::PI / all.len() as f64).sqrt() * s),
        elongation: across
            .zip(along)
            .filter(|(across, _)| *across > 0.0)
            .map(|(across, along)| (along / across).sqrt().max(1.0)),
    }
}
