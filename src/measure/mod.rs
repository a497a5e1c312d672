//! One frame's numbers.
//!
//! In: green samples in linear light, and the kernel sizes to look for. Out: [`FrameMeasure`], with
//! what `night` needs to derive final values without decoding again: sky by cell, the field map
//! and up to 400 stars. Verdicts, other frames and files do not belong here.
//!
//! The stages, in order: the sky's mesh (background), what stands out of it together with
//! saturation, sky and noise (detect), objects (blobs), the ground, streaks, hot pixels, sky values, shapes, trails, the
//! field map and the frame's values from it.

mod background;
mod banding;
mod blobs;
mod clip;
mod detect;
mod doubles;
mod exponent;
mod fair;
pub mod field;
mod filter;
mod greens;
mod ground;
mod hot;
mod lanes;
mod lens;
mod levels;
mod long;
mod matched;
mod matched_plane;
mod noise;
pub mod pair;
mod pair_tile;
mod path;
mod profile;
mod profile_lanes;
mod saturation;
mod scatter;
mod shape;
mod sky;
mod spread;
mod stars;
mod streaks;
pub mod transfer;
pub mod types;

#[cfg(test)]
mod arcs;
#[cfg(test)]
mod accuracy;
#[cfg(test)]
mod finding;
#[cfg(test)]
mod heldout;
#[cfg(test)]
mod odd;
#[cfg(test)]
mod one_star;
#[cfg(test)]
mod pair_tests;
#[cfg(test)]
mod reference;
#[cfg(test)]
mod scene;

pub use pair::{Banding, PAIR_VERSION, PairFault, PairLevel, PairMeasure, PairOf, pair};
pub use types::{
    DoublePeak, FieldCell, FieldMap, FieldModels, FrameMeasure, Glow, Levels, Path, PathKind,
    SkyValues, Star, StarErrors, StarFlags, Streak, TrailCause, TrailValues, WidthPlane,
};

use crate::frame::{Light, Samples};

/// Raised whenever a number in [`FrameMeasure`] may change for the same file; kept measurements of
/// another version are not used.
pub const MEASURE_VERSION: u32 = 23;

/// What a saved picture's demosaicing takes from the square of a trail's length, px² …
const DEMOSAIC_DOUBT_PX2: f64 = 0.2;

/// … and its compression, px² for each percent of the standard's example table: in files of the
/// simulator 0.4 px² at quality 95, 1.2 at 80. Which way and how far differs from camera to camera, so
/// it is no correction.
const COMPRESSION_DOUBT_PX2: f64 = 0.025;

/// Most stars kept in [`FrameMeasure::stars`].
const KEPT_STARS: usize = 400;

/// Stars are peaks above this many σ of the filtered frame …
const DETECTION_SIGMA: f32 = 5.0;

/// … or more where chance alone makes such peaks: expected false ones in a frame without stars, …
const FALSE_PEAKS: f64 = 0.02;

/// … and their share of the stars in a frame with many.
const FALSE_SHARE: f64 = 0.003;

/// Hollows may be this share of the peaks above the level …
const MIRRORED_SHARE: f64 = 0.005;

/// … which is raised no higher than this, because twigs before the sky make hollows too, …
const MIRRORED_MOST: f32 = 9.0;

/// … and a peak falls where this many as deep lie within a tile of it.
const MIRRORED_NEAR: usize = 3;

/// With more than one tile in this many of heavy tails ([`detect::Found`]) a frame is flattened.
const HEAVY_SHARE: usize = 5;

/// Peaks per pixel of noise smoothed by the detection kernel, over u·exp(−u²/2).
///
/// λ/(2π)^{3/2} with λ = 1/(2·1.2²) the curvature of its correlation: maxima of a Gaussian field,
/// Adler 1981, The Geometry of Random Fields, ch. 6.
const PEAK_RATE: f64 = 0.022;

/// Buffers that one worker reuses from frame to frame. What they held before has no effect.
#[derive(Debug, Default)]
pub struct Scratch {
    values: Vec<f32>,
    starters: Vec<i32>,
    strip: detect::Strip,
    found: detect::Found,
    flood: blobs::Flood,
    matched: matched_plane::Work,
}

/// Measures one frame. Never fails: what cannot be measured is `None`, with the reason in
/// [`FrameMeasure::remarks`].
#[must_use]
pub fn measure(samples: &Samples, scratch: &mut Scratch) -> FrameMeasure {
    let size = (samples.green.width(), samples.green.height());
    let mut out = FrameMeasure::empty(size.0, size.1, samples.light);
    if size.0 == 0 || size.1 == 0 {
        out.remarks.push("The frame has no pixels.".into());
        return out;
    }
    let mut mesh = background::first_mesh(samples, &mut scratch.values, &mut scratch.starters);
    let found = &mut scratch.found;
    let counts = detect::find(samples, &mesh, &mut scratch.strip, found);
    out.saturated_pct = 100.0 * counts.clipped_share();
    if counts.lost > 0 {
        out.remarks.push(format!(
            "{} samples are not numbers and were left out.",
            counts.lost
        ));
    }
    // The mesh again with the stars out.
    let corrections: Vec<Option<f32>> = found.sky.iter().map(|t| t.map(|c| c.mean)).collect();
    let corrections = background::fill(corrections, mesh.cols, mesh.rows);
    for (level, correction) in mesh.levels.iter_mut().zip(corrections) {
        *level += correction;
    }
    mesh.smooth();
    let noise = noise::noise_mesh(&mesh, &found.sky);
    let mut blobs = blobs::blobs(found, DETECTION_SIGMA, &mut scratch.flood);
    drop_chance_peaks(&mut blobs, (size.0 * size.1) as f64);
    let is_sky = ground::sky_tiles(&mesh, &noise, &blobs);
    drop_mirrored(&mut blobs, &found.hollows, &mesh, &is_sky);
    let guide = matched::guide(samples, &mesh, &noise, &blobs);
    let sight = streaks::Sight {
        samples,
        mesh: &mesh,
        is_sky: &is_sky,
        guide: guide.as_ref(),
    };
    out.streaks = streaks::take_streaks(&mut blobs, &sight);
    blobs.retain(|blob| !ground::is_ground(&mesh, &is_sky, blob.x, blob.y));
    let hot: Vec<blobs::Blob> = blobs
        .extract_if(.., |blob| hot::is_hot(samples, &mesh, blob))
        .collect();
    out.hot_pixels = hot.len() as u32;

    out.sky = sky::sky_values(&mesh, &is_sky, samples.hues.as_ref());
    out.levels = levels::levels(&mesh, &is_sky);
    out.noise_pct = noise::noise_pct(&found.sky, &found.neighbours, &is_sky);
    if out.noise_pct.is_none() {
        out.remarks
            .push("No part of the frame is free enough to measure its noise.".into());
    }
    if found.overfull {
        out.remarks.push(
            "More than a quarter of the frame stands out from its surroundings; this is no night \
             sky, and stars were not looked for."
                .into(),
        );
        return out;
    }
    out.double_peak = doubles::double_peak(&blobs);
    // What compression left of the noise is no measure for sums along lines.
    let flattened = HEAVY_SHARE * found.heavy_tiles > mesh.levels.len();
    let looked_through = out.double_peak.is_none() && !flattened;
    if let Some(guide) = guide.as_ref().filter(|_| looked_through) {
        let known = matched::Known {
            guide,
            hot: &hot,
            streaks: &out.streaks,
            is_sky: &is_sky,
            coarse: 2 * found.coarse_tiles > mesh.levels.len(),
        };
        let sure = blobs.len();
        let level = |length: f64| {
            level_for(
                FALSE_PEAKS.max(FALSE_SHARE * sure as f64),
                (size.0 * size.1) as f64 / (1.0 + length / 4.0).sqrt(),
            )
        };
        let work = &mut scratch.matched;
        matched::look_again(samples, &mesh, &noise, &mut blobs, &known, level, work);
    }
    let shaped = stars::shapes(samples, &mesh, &noise, &blobs);
    if shaped.is_drawing() {
        out.double_peak = None;
        out.streaks.clear();
        out.remarks.push(
            "All that stands out is equally bright, as in text or a drawing: no stars.".into(),
        );
        return out;
    }
    let stars = match out.double_peak {
        Some(double) => doubles::joined(&shaped.stars, double),
        None => shaped.stars.iter().map(|m| m.star).collect(),
    };
    note_stars(&mut out, samples, blobs.len(), (&shaped, &stars));
    out
}

/// Enters counts, shapes and trails, and the best of `stars`: those of `shaped`, or the pairs among
/// them where stars show two peaks.
fn note_stars(
    out: &mut FrameMeasure,
    samples: &Samples,
    detections: usize,
    (shaped, stars): (&stars::Shaped, &[Star]),
) {
    let size = (out.width_px, out.height_px);
    // Where only a sample was shaped, the rest holds as many sharp ones and repeats in proportion.
    let of_all = |part: usize| {
        (part as f64 * detections as f64 / shaped.tried.max(1) as f64).round() as usize
    };
    let pairs = out.double_peak.map_or(0, |_| stars.len());
    let (sharp, repeats) = (of_all(shaped.too_sharp), of_all(shaped.repeats + pairs));
    let wide = of_all(shaped.too_wide);
    out.star_count = detections.saturating_sub(sharp + repeats + wide) as u32;
    out.hot_pixels += sharp as u32;
    if shaped.tried < detections {
        out.remarks.push(format!(
            "{detections} stars: shapes are from a fair sample of {}.",
            shaped.tried
        ));
    }
    let used: Vec<stars::Measured> = shaped
        .stars
        .iter()
        .copied()
        .filter(stars::Measured::is_used)
        .collect();
    let used_stars: Vec<Star> = used.iter().map(|m| m.star).collect();
    out.stars_used = used.len() as u32;
    out.field = field::field_map(&used_stars, size);
    let (map, models) = field::map_and_models(&used_stars, size);
    out.models = models;
    out.path = path::common(&shaped.waves, map.as_ref());
    let widths = stars::widths(&used, map.as_ref());
    (out.fwhm_px, out.elongation) = (widths.fwhm_px, widths.elongation);
    let by_wings = widths.fwhm_px.map(|fwhm| shaped.width_doubt * fwhm);
    let by_stars = widths.fwhm_error_px.zip(by_wings);
    out.fwhm_error_px = by_stars.map(|(stars, wings)| stars.hypot(wings));
    out.trail = map.as_ref().map(|map| {
        let mut trail = map.values(&used_stars, size);
        // Where there is no trail, wings cannot make it longer.
        if trail.length_px > 0.0 {
            let doubt = shaped.lens_doubt_px;
            let saved = saved_doubt(samples);
            // A doubt of the square is half of it over the length, and never more than its root.
            let of_square = |length: f64| (0.5 * saved / length.max(1e-6)).min(saved.sqrt());
            let whole = |error: f64, length: f64| error.hypot(doubt).hypot(of_square(length));
            trail.length_error_px = whole(trail.length_error_px, trail.length_px);
            trail.centre_error_px = whole(trail.centre_error_px, trail.centre_px);
        }
        trail
    });
    if out.star_count == 0 {
        out.remarks.push("No stars stand out from the sky.".into());
    } else if map.is_none() {
        out.remarks.push(format!(
            "Only {} of {} stars carry a shape; a trail needs {}.",
            used.len(),
            out.star_count,
            field::LEAST_STARS
        ));
    }
    if let Some(double) = out.double_peak {
        note_double_peak(out, double, stars.len());
    }
    let items = stars.iter().map(|star| {
        (
            f64::from(star.x_px),
            f64::from(star.y_px),
            f64::from(star.flux),
        )
    });
    let kept = fair::pick(items, size, KEPT_STARS);
    out.stars = kept.iter().filter_map(|&i| stars.get(i)).copied().collect();
    out.stars.sort_by(|a, b| b.flux.total_cmp(&a.flux));
}

/// What the making of a saved picture may have taken from the square of its trails' length, px².
fn saved_doubt(samples: &Samples) -> f64 {
    if samples.light == Light::Linear {
        return 0.0;
    }
    let quantised = samples.quantised_pct.map_or(0.0, f64::from);
    DEMOSAIC_DOUBT_PX2 + COMPRESSION_DOUBT_PX2 * quantised
}

/// Takes back what was read of the path inside each peak: it is not the path from the shutter's
/// opening to its closing, and which peak came first, so whether the sky's own turning adds to the
/// way between them or takes from it, a frame cannot say.
fn note_double_peak(out: &mut FrameMeasure, double: DoublePeak, pairs: usize) {
    out.trail = None;
    out.field = FieldMap::default();
    out.models = None;
    out.elongation = None;
    out.path = Some(Path {
        kind: PathKind::TwoStop,
        shake_px: double.length_px(),
        sigma: 0.0,
        stars: pairs as u32,
    });
    out.remarks.push(format!(
        "Most stars show two peaks {:.1} px apart: the camera moved during the exposure, and no \
         trail is read.",
        double.length_px()
    ));
}

/// Raises the detection level until noise peaks are as rare as this frame can bear: in a frame of
/// many stars 5 σ will do, in an empty one of many pixels it would invent a few.
fn drop_chance_peaks(blobs: &mut Vec<blobs::Blob>, pixels: f64) {
    let strict = level_for(FALSE_PEAKS, pixels);
    let sure = blobs.iter().filter(|blob| blob.peak >= strict).count();
    let level = level_for(FALSE_PEAKS.max(FALSE_SHARE * sure as f64), pixels);
    blobs.retain(|blob| blob.peak >= level);
}

/// Raises the level where compression made peaks of noise: it makes as many hollows, and a peak is
/// believed where hollows as deep are far fewer than peaks as high, in the whole sky and round it.
fn drop_mirrored(
    blobs: &mut Vec<blobs::Blob>,
    hollows: &[detect::Hollow],
    mesh: &background::Mesh,
    is_sky: &[bool],
) {
    if hollows.is_empty() {
        return;
    }
    let mut by_tile = vec![Vec::new(); mesh.levels.len()];
    for hollow in hollows.iter().filter(|h| is_sky.get(h.tile) == Some(&true)) {
        if let Some(depths) = by_tile.get_mut(hollow.tile) {
            depths.push(hollow.depth);
        }
    }
    let depths = by_tile.iter().flatten().copied().collect();
    let peaks = blobs.iter().map(|blob| blob.peak).collect();
    let level = mirrored_level(depths, peaks, MIRRORED_MOST);
    blobs.retain(|blob| {
        let (tile, cols) = (mesh.tile_at(blob.x, blob.y), mesh.cols);
        let (col, row) = (tile % cols, tile / cols);
        let rows = row.saturating_sub(1)..(row + 2).min(mesh.rows);
        let near = rows.flat_map(|r| {
            let columns = r * cols + col.saturating_sub(1)..r * cols + (col + 2).min(cols);
            by_tile.get(columns).unwrap_or_default().iter().flatten()
        });
        blob.peak >= level && near.filter(|depth| **depth >= blob.peak).count() < MIRRORED_NEAR
    });
}

/// The level, up to `most`, above which hollows are far fewer than peaks.
fn mirrored_level(mut depths: Vec<f32>, mut peaks: Vec<f32>, most: f32) -> f32 {
    depths.sort_unstable_by(|a, b| b.total_cmp(a));
    peaks.sort_unstable_by(|a, b| b.total_cmp(a));
    let mut level = DETECTION_SIGMA;
    while level < most {
        let deep = depths.partition_point(|&depth| depth >= level);
        let high = peaks.partition_point(|&peak| peak >= level);
        if deep as f64 <= MIRRORED_SHARE * high as f64 {
            break;
        }
        level += 0.1;
    }
    level
}

/// The level in σ, at least 5, above which noise in a frame of this many pixels makes no more than
/// `expected` peaks.
fn level_for(expected: f64, pixels: f64) -> f32 {
    let mut level = f64::from(DETECTION_SIGMA);
    while PEAK_RATE * level * (-0.5 * level * level).exp() * pixels > expected {
        level += 0.01;
    }
    level as f32
}
