//! Small pictures of many frames for playing: as JPEG in memory, so that a whole night fits.

use std::io::Cursor;

use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::{DynamicImage, ExtendedColorType, ImageEncoder, ImageError};

use super::orient::Turn;
use super::stretch::Stretch;
use super::view::Rgba;
use crate::frame::Colour;

/// Bytes that the pictures of a film may take in all, about.
const MOST_BYTES: usize = 192 << 20;
/// Longest side of one, px, of a short film.
const MOST_SIDE: usize = 1280;
/// Bytes a px of a starry sky takes at [`QUALITY`].
const BYTES_A_PX: f64 = 0.5;
/// Quality of the JPEG, percent.
const QUALITY: u8 = 90;
/// Where a dark sky is put, share of full scale, so that 8 bits do not step in it. The brightest that
/// is shown is nine times the sky.
const SKY_AT: f64 = 0.1;

/// A frame of a film.
#[derive(Debug, Clone, PartialEq)]
pub struct FilmFrame {
    jpeg: Vec<u8>,
    /// What light was multiplied with.
    gain: f32,
}

/// Longest side of the pictures of a film of so many frames, px.
#[must_use]
pub fn side_for(frames: usize) -> usize {
    let px = MOST_BYTES as f64 / (BYTES_A_PX * frames.max(1) as f64);
    // Frames are 3 : 2.
    ((1.5 * px).sqrt() as usize).min(MOST_SIDE)
}

/// A frame of a film from a small picture in linear light, of a night whose sky usually has
/// `usual_level` (green, fraction of full scale; 0: not known).
///
/// # Errors
/// When the encoder refuses a picture of that size.
pub fn encode(small: &Colour, usual_level: f64) -> Result<FilmFrame, ImageError> {
    let gain = if usual_level > 0.0 {
        (SKY_AT / usual_level).max(1.0) as f32
    } else {
        1.0
    };
    let curve: Vec<u8> = (0..=u16::MAX)
        .map(|light| to_srgb8(f32::from(light) / 65_535.0 * gain))
        .collect();
    let rgb: Vec<u8> = (small.rgb.as_flattened().iter())
        .map(|&light| curve.get(usize::from(light)).copied().unwrap_or(u8::MAX))
        .collect();
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY).write_image(
        &rgb,
        small.width as u32,
        small.height as u32,
        ExtendedColorType::Rgb8,
    )?;
    Ok(FilmFrame { jpeg, gain })
}

impl FilmFrame {
    /// Bytes it takes.
    #[must_use]
    pub const fn bytes(&self) -> usize {
        self.jpeg.len()
    }

    /// The picture in linear light, `gain` times as bright.
    ///
    /// # Errors
    /// When what was encoded cannot be decoded.
    pub fn decode(&self, gain: f32) -> Result<Colour, ImageError> {
        let decoder = JpegDecoder::new(Cursor::new(&self.jpeg))?;
        let picture = DynamicImage::from_decoder(decoder)?.into_rgb8();
        let by = gain / self.gain;
        let mut light = [0u16; 256];
        for (value, light) in light.iter_mut().enumerate() {
            let level = from_srgb8(value as u8) * by;
            *light = (level * 65_535.0 + 0.5).clamp(0.0, 65_535.0) as u16;
        }
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let px = |px: &image::Rgb<u8>| {
            px.0.map(|v| light.get(usize::from(v)).copied().unwrap_or_default())
        };
        Ok(Colour {
            width,
            height,
            rgb: picture.pixels().map(px).collect(),
        })
    }

    /// The picture as shown: `gain` times as bright, stretched and turned.
    ///
    /// # Errors
    /// As [`Self::decode`].
    pub fn show(&self, gain: f32, stretch: &Stretch, turn: &Turn) -> Result<Rgba, ImageError> {
        let colour = self.decode(gain)?;
        let (width, px) = turn.picture(colour.width, &stretch.apply(&colour.rgb));
        let height = px.len().checked_div(width).unwrap_or(0);
        Ok(Rgba { width, height, px })
    }
}

/// IEC 61966-2-1.
pub(super) fn to_srgb8(linear: f32) -> u8 {
    let shown = if linear <= 0.003_130_8 {
        12.92 * linear
    } else {
        1.055 * linear.powf(1.0 / 2.4) - 0.055
    };
    (shown * 255.0 + 0.5).clamp(0.0, 255.0) as u8
}

fn from_srgb8(shown: u8) -> f32 {
    let shown = f32::from(shown) / 255.0;
    if shown <= 0.040_45 {
        shown / 12.92
    } else {
        ((shown + 0.055) / 1.055).powf(2.4)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dark_sky_comes_back_within_a_hundredth() {
        // A sky of 0.4 % of full scale, with a slope across.
        let level = |x: usize| 262 + (x / 4) as u16;
        let small = Colour {
            width: 160,
            height: 100,
            rgb: (0..16_000).map(|i| [level(i % 160); 3]).collect(),
        };
        let frame = encode(&small, 0.004).unwrap();
        let back = frame.decode(1.0).unwrap();
        assert_eq!((back.width, back.height), (160, 100));
        let mean =
            |colour: &Colour| colour.rgb.iter().map(|px| f64::from(px[1])).sum::<f64>() / 16_000.0;
        assert!((mean(&back) / mean(&small) - 1.0).abs() < 0.01);
        assert!((mean(&frame.decode(1.5).unwrap()) / mean(&small) - 1.5).abs() < 0.015);
    }

    #[test]
    fn a_longer_film_has_smaller_pictures_and_no_more_bytes() {
        assert_eq!(side_for(100), 1280);
        let side = side_for(2000) as f64;
        assert!(side < 600.0);
        assert!(2000.0 * BYTES_A_PX * side * side / 1.5 <= MOST_BYTES as f64);
    }
}
