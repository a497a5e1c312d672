//! The sample night: made once, kept in the cache folder, then opened like any other.

use std::path::{Path, PathBuf};

use super::Progress;

/// The folder of the sample night under `folder`, made if it is not there yet. `tell` hears how far
/// it is and says whether to go on.
pub(super) fn make_once(
    folder: &Path,
    tell: impl FnMut(Progress) -> bool,
) -> Result<PathBuf, String> {
    let _ = (folder, tell);
    Err("There is no sample night yet.".to_owned())
}
