//! Files to samples and facts.
//!
//! In: paths the user gave. Out: the list of shots found there, and for each file its capture
//! facts, its green samples in linear light, and its colours for the screen. One file per format,
//! all entered in [`formats`]. What is measured in the samples belongs to `measure`.

pub mod error;
pub mod facts;
pub mod formats;
pub mod listing;
pub mod samples;

mod clock;
mod clock_shift;
mod exif;
mod fits;
mod fits_header;
mod guard;
mod hues;
mod icc;
mod ifd;
mod input;
mod jpeg;
mod mosaic;
mod png;
mod raster;
mod raw;
mod sensor;
mod tiff;
mod tone;

pub use clock_shift::{clock_shift_words, parse_clock_shift};
pub use error::FrameError;
pub use facts::{CameraKey, Facts, Gps, Orientation, Supplied, TakenAt};
pub use formats::{open, open_colour, read_facts};
pub use hues::Hues;
pub use listing::{Listing, Shot, list};
pub use samples::{Colour, Frame, GreenLayout, Light, Samples};

/// Raised whenever [`read_facts`] may answer differently for the same file; kept facts of another
/// version are not used.
pub const FACTS_VERSION: u32 = 1;

/// What bounds one file's reading, so that a damaged or hostile one cannot fill the memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Most pixels a frame may declare, checked before any buffer is made.
    pub max_pixels: u64,
    /// Largest file in bytes that is read.
    pub max_file_bytes: u64,
}

impl Default for Limits {
    /// 200 megapixels and 2 GiB: above any camera of the trade, below what hurts.
    fn default() -> Self {
        Self {
            max_pixels: 200_000_000,
            max_file_bytes: 2 << 30,
        }
    }
}

/// How frames are opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct OpenOptions {
    /// The user's word on whether TIFF and PNG samples are linear; `None` follows the file.
    pub linear: Option<bool>,
    /// Size limits.
    pub limits: Limits,
}

#[cfg(test)]
mod tests;
