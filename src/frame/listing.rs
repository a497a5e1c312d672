//! What lies at the paths the user gave.

use std::path::{Path, PathBuf};

use super::FrameError;

/// One press of the shutter: the file that is measured, and what belongs to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shot {
    /// Path relative to the folder the user gave, or the file name.
    pub name: String,
    /// The file that is measured: the raw file when there is one.
    pub path: PathBuf,
    /// Other files of the same shot: its JPEG, its sidecar.
    pub companions: Vec<PathBuf>,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Listing {
    /// The folder that names are relative to.
    pub root: PathBuf,
    /// Shots in natural order of their names.
    pub shots: Vec<Shot>,
    /// Files that are no frames (by their ending), not counted as errors.
    pub passed_over: usize,
}

/// Lists the frames in `paths` (folders without their subfolders, or files), raw and JPEG of one
/// shot as one, in natural order.
///
/// # Errors
/// When a path does not exist or cannot be read. An empty listing is no error here.
pub fn list(paths: &[PathBuf]) -> Result<Listing, FrameError> {
    let _ = paths;
    Err(FrameError::unsupported(Path::new(""), "listing"))
}
