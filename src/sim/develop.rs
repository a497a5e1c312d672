//! What the camera does to make a JPEG: bilinear demosaicing, white balance, the sRGB curve,
//! 8 bits, compression; and what noise is left in the saved file.

use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::{ExtendedColorType, ImageDecoder, ImageEncoder, ImageResult};

use super::camera::{BLACK_DN, NEUTRAL, RANGE_DN, WHITE_DN, bayer};
use crate::base::Plane;

/// Variance that bilinear interpolation of green adds to a star, px², as a mean over pixels: none
/// on a green pixel, ½ along each axis on the others.
pub(crate) const DEMOSAIC_VARIANCE: f64 = 0.25;

/// The sRGB curve, IEC 61966-2-1: linear share to encoded share.
fn to_srgb(linear: f64) -> f64 {
    if linear <= 0.003_130_8 {
        12.92 * linear
    } else {
        1.055 * linear.powf(1.0 / 2.4) - 0.055
    }
}

fn from_srgb(encoded: f64) -> f64 {
    if encoded <= 0.040_45 {
        encoded / 12.92
    } else {
        ((encoded + 0.055) / 1.055).powf(2.4)
    }
}

/// Raw numbers to 8-bit values, for each colour.
pub(crate) struct Curves {
    tables: [Vec<u8>; 3],
}

impl Curves {
    pub(crate) fn new() -> Self {
        let table = |colour: usize| {
            (0..=WHITE_DN)
                .map(|dn| {
                    let linear = (f64::from(dn) - f64::from(BLACK_DN)) / RANGE_DN;
                    let balanced = (linear / f64::from(NEUTRAL[colour])).clamp(0.0, 1.0);
                    (255.0 * to_srgb(balanced)).round() as u8
                })
                .collect()
        };
        Self {
            tables: [0, 1, 2].map(table),
        }
    }

    /// Demosaics and tone-maps a frame: three bytes a pixel in row order.
    pub(crate) fn develop(&self, mosaic: &[u16], width: usize, height: usize) -> Vec<u8> {
        let mut rgb = vec![0; 3 * width * height];
        let row = |y: usize| mosaic.get(y * width..(y + 1) * width).unwrap_or(&[]);
        for (y, out) in rgb.chunks_exact_mut(3 * width).enumerate() {
            // Mirrored at the edges, which keeps the colours of the mosaic in step.
            let (above, here, below) = (row(mirror(y, height).0), row(y), row(mirror(y, height).1));
            for (x, pixel) in out.chunks_exact_mut(3).enumerate() {
                let (l, r) = mirror(x, width);
                let at = |line: &[u16], i: usize| line.get(i).map_or(0, |&v| u32::from(v));
                let centre = at(here, x);
                let sides = at(here, l) + at(here, r);
                let ends = at(above, x) + at(below, x);
                let [red, green, blue] = match (y & 1, x & 1) {
                    (0, 1) => [sides.div_ceil(2), centre, ends.div_ceil(2)],
                    (1, 0) => [ends.div_ceil(2), centre, sides.div_ceil(2)],
                    (row_kind, _) => {
                        let cross = (sides + ends + 2) / 4;
                        let corners = at(above, l) + at(above, r) + at(below, l) + at(below, r);
                        let corners = (corners + 2) / 4;
                        if row_kind == 0 {
                            [centre, cross, corners]
                        } else {
                            [corners, cross, centre]
                        }
                    }
                };
                for (i, value) in [red, green, blue].into_iter().enumerate() {
                    if let (Some(to), Some(&v)) =
                        (pixel.get_mut(i), self.tables[i].get(value as usize))
                    {
                        *to = v;
                    }
                }
            }
        }
        rgb
    }
}

/// The neighbours of `i` below `n`, reflected at both ends.
fn mirror(i: usize, n: usize) -> (usize, usize) {
    let before = if i == 0 { 1 } else { i - 1 };
    let after = if i + 1 == n { n - 2 } else { i + 1 };
    (before, after)
}

/// Encodes 8-bit RGB with an Exif block at a quality of 1 to 100.
pub(crate) fn encode(
    rgb: &[u8],
    width: usize,
    height: usize,
    quality: u8,
    exif: Vec<u8>,
) -> ImageResult<Vec<u8>> {
    let mut file = Vec::with_capacity(width * height);
    let mut encoder = JpegEncoder::new_with_quality(&mut file, quality);
    if !exif.is_empty() && encoder.set_exif_metadata(exif).is_err() {
        tracing::debug!("this JPEG encoder takes no Exif");
    }
    encoder.write_image(rgb, width as u32, height as u32, ExtendedColorType::Rgb8)?;
    Ok(file)
}

/// Side of a patch: a whole number of JPEG blocks, so a patch cut out of the frame is compressed
/// exactly as it is within the frame.
const PATCH: usize = 64;
/// Most patches looked at.
const MOST_PATCHES: usize = 24;

/// Standard deviation of green in the sky of the saved file, as a share of full scale in linear
/// light: patches of the developed frame are compressed, decoded and compared with the same
/// patches of the noise-free frame. `quiet` says which pixels are sky without stars. The median
/// over patches; `None` without enough sky.
pub(crate) fn saved_noise(
    rgb: &[u8],
    light_e: &Plane,
    gain: f64,
    quality: u8,
    quiet: &dyn Fn(usize, usize) -> bool,
) -> Option<f64> {
    let (w, h) = (light_e.width(), light_e.height());
    let (cols, rows) = (w / PATCH, h / PATCH);
    let step = (cols * rows).div_ceil(MOST_PATCHES).max(1);
    let mut sigmas = Vec::new();
    for k in (step / 2..cols * rows).step_by(step) {
        let (x0, y0) = (k % cols * PATCH, k / cols * PATCH);
        sigmas.extend(patch_noise(rgb, light_e, gain, quality, quiet, (x0, y0)));
    }
    crate::base::robust::median(&mut sigmas)
}

fn patch_noise(
    rgb: &[u8],
    light_e: &Plane,
    gain: f64,
    quality: u8,
    quiet: &dyn Fn(usize, usize) -> bool,
    (x0, y0): (usize, usize),
) -> Option<f64> {
    let width = light_e.width();
    let mut patch = Vec::with_capacity(3 * PATCH * PATCH);
    for y in y0..y0 + PATCH {
        let at = 3 * (y * width + x0);
        patch.extend_from_slice(rgb.get(at..at + 3 * PATCH)?);
    }
    let file = encode(&patch, PATCH, PATCH, quality, Vec::new()).ok()?;
    let decoder = JpegDecoder::new(std::io::Cursor::new(file)).ok()?;
    let mut saved = vec![0; usize::try_from(decoder.total_bytes()).ok()?];
    decoder.read_image(&mut saved).ok()?;
    let mut residuals = Vec::with_capacity(PATCH * PATCH);
    for (i, pixel) in saved.chunks_exact(3).enumerate() {
        let (x, y) = (x0 + i % PATCH, y0 + i / PATCH);
        let inner = x > 0 && y > 0 && x + 1 < width && y + 1 < light_e.height();
        if inner && quiet(x, y) {
            let truth = clean_green(light_e, x, y) * gain / RANGE_DN;
            residuals.push(from_srgb(f64::from(*pixel.get(1)?) / 255.0) - truth);
        }
    }
    if residuals.len() < PATCH * PATCH / 3 {
        return None;
    }
    let (_, sigma, _) = crate::base::robust::clipped_mean(&residuals, 4.0)?;
    Some(sigma)
}

/// Green of the noise-free frame as the camera interpolates it.
fn clean_green(light_e: &Plane, x: usize, y: usize) -> f64 {
    let at = |x: usize, y: usize| f64::from(light_e.get(x, y).unwrap_or(0.0));
    if bayer(x, y) == 1 {
        at(x, y)
    } else {
        (at(x - 1, y) + at(x + 1, y) + at(x, y - 1) + at(x, y + 1)) / 4.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_and_its_inverse_agree() {
        for v in [0.0, 0.002, 0.1, 0.5, 1.0] {
            assert!((from_srgb(to_srgb(v)) - v).abs() < 1e-6);
        }
        // IEC 61966-2-1: 18 % grey is 118 of 255.
        assert_eq!((255.0 * to_srgb(0.18)).round() as u8, 118);
    }

    #[test]
    fn an_even_grey_stays_even_and_neutral() {
        let (w, h) = (7, 5);
        let mosaic: Vec<u16> = (0..w * h)
            .map(|i| {
                let share = NEUTRAL[bayer(i % w, i / w)];
                BLACK_DN + (f64::from(share) * 0.2 * RANGE_DN) as u16
            })
            .collect();
        let rgb = Curves::new().develop(&mosaic, w, h);
        let (low, high) = (rgb.iter().min().unwrap(), rgb.iter().max().unwrap());
        assert!(high - low <= 1, "{low} to {high}");
    }
}
