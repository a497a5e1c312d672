//! What a file holds once it is read: green samples to measure, colours to look at.

use serde::{Deserialize, Serialize};

use super::{Facts, Hues};
use crate::base::Plane;

/// One frame, read.
#[derive(Debug, Clone)]
pub struct Frame {
    /// Capture facts of this file.
    pub facts: Facts,
    /// Its green samples.
    pub samples: Samples,
}

/// Whether a level in the file is proportional to light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Light {
    /// Proportional: raw, FITS, files that say so.
    Linear,
    /// Put through a tone curve; taken back through the sRGB curve, so levels are relative.
    ToneMapped,
}

/// Where in the plane a green sample was truly taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum GreenLayout {
    /// Everywhere: a monochrome or already demosaiced frame.
    Every,
    /// In a repeating pattern of a colour mosaic; elsewhere the plane holds the mean of the
    /// nearest true samples.
    Mosaic {
        /// Width of the pattern, at most 6.
        width: u8,
        /// Height of the pattern, at most 6.
        height: u8,
        /// Bit `y * width + x` is set where the pattern is green.
        green: u64,
    },
}

impl GreenLayout {
    /// Whether the sample at (`x`, `y`) was truly taken.
    #[must_use]
    pub const fn is_green(self, x: usize, y: usize) -> bool {
        match self {
            Self::Every => true,
            Self::Mosaic {
                width,
                height,
                green,
            } => {
                let (w, h) = (width as usize, height as usize);
                green >> ((y % h) * w + x % w) & 1 == 1
            }
        }
    }
}

/// The green samples of a frame in sensor coordinates (never rotated), in linear light.
///
/// A level of 0 is black, 1 is full scale (the white level of a raw file, the largest value of a
/// format). Levels below black are kept: noise needs both sides.
#[derive(Debug, Clone)]
pub struct Samples {
    /// Width and height are the frame's full resolution.
    pub green: Plane,
    /// Where samples are true.
    pub layout: GreenLayout,
    /// Whether levels are proportional to light in the scene.
    pub light: Light,
    /// Levels at or above this are clipped; ≤ 1.
    pub clip_level: f32,
    /// The least step between levels near black, as the file stores them (0 for float files).
    pub step: f32,
    /// Red and blue, coarsely; `None` of a frame without colours.
    pub hues: Option<Hues>,
    /// How coarsely a JPEG was compressed: its first table over the example of the standard (ITU-T
    /// T.81, annex K.1), percent; 10 at the quality that is commonly called 95, 40 at 80.
    pub quantised_pct: Option<f32>,
}

impl Samples {
    /// Numbers of the file between black and full scale, of linear integer files: white minus black
    /// of a raw file, the largest value of a format. `None` where numbers have no unit (floats) or a
    /// tone curve spreads them.
    #[must_use]
    pub fn dn_full_scale(&self) -> Option<f64> {
        let counted = self.light == Light::Linear && self.step > 0.0;
        counted.then(|| 1.0 / f64::from(self.step))
    }
}

/// A frame's colours for the screen: linear light, three 16-bit samples a pixel (0 black, 65535
/// full scale), full resolution, sensor orientation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Colour {
    /// Width in px.
    pub width: usize,
    /// Height in px.
    pub height: usize,
    /// Row order, red green blue.
    pub rgb: Vec<[u16; 3]>,
}
