//! One frame's numbers.
//!
//! In: green samples in linear light, and the kernel sizes to look for. Out: [`FrameMeasure`], with
//! what `night` needs to derive final values without decoding again: sky by cell, the field map
//! and up to 400 stars. Verdicts, other frames and files do not belong here.

pub mod types;

pub use types::{
    FieldCell, FieldMap, FrameMeasure, SkyValues, Star, StarFlags, Streak, TrailValues,
};

use crate::frame::Samples;

/// Raised whenever a number in [`FrameMeasure`] may change for the same file; kept measurements of
/// another version are not used.
pub const MEASURE_VERSION: u32 = 1;

/// Buffers that one worker reuses from frame to frame.
#[derive(Debug, Default)]
pub struct Scratch {}

/// Measures one frame. Never fails: what cannot be measured is `None`, with the reason in
/// [`FrameMeasure::remarks`].
#[must_use]
pub fn measure(samples: &Samples, scratch: &mut Scratch) -> FrameMeasure {
    let _ = scratch;
    FrameMeasure::empty(samples.green.width(), samples.green.height(), samples.light)
}
