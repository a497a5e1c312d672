//! The registry of formats, and opening a file by what is in it.

use std::path::Path;

use super::{Colour, Facts, Frame, FrameError, OpenOptions};

/// Reads capture facts only.
///
/// # Errors
/// As [`open`]; a file without facts gives empty ones.
pub fn read_facts(path: &Path, options: &OpenOptions) -> Result<Facts, FrameError> {
    let _ = options;
    Err(FrameError::unsupported(path, "facts"))
}

/// Reads facts and green samples, by content rather than by the file's ending.
///
/// # Errors
/// A [`FrameError`] that names the file and what is wrong. A panic in a foreign decoder becomes
/// [`FrameError::Damaged`].
pub fn open(path: &Path, options: &OpenOptions) -> Result<Frame, FrameError> {
    let _ = options;
    Err(FrameError::unsupported(path, "open"))
}

/// Reads the colours for the screen.
///
/// # Errors
/// As [`open`].
pub fn open_colour(path: &Path, options: &OpenOptions) -> Result<Colour, FrameError> {
    let _ = options;
    Err(FrameError::unsupported(path, "colour"))
}
