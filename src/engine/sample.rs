//! The sample night: made once, kept in the cache folder, then opened like any other.

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use super::Progress;
use crate::sim::{self, SimError, SimOptions};

/// The folder of the sample night in the cache folder `cache`, made if it is not there yet. `tell`
/// hears how far it is, from several threads; setting `called_off` stops it.
pub(super) fn make_once(
    cache: &Path,
    tell: impl Fn(Progress) + Sync,
    called_off: &AtomicBool,
) -> Result<PathBuf, String> {
    let options = SimOptions::default();
    let folder = sim::sample_dir(cache, &options);
    let told = |done, total| {
        tell(Progress {
            job: "Making the sample night".to_owned(),
            done,
            total,
            ..Progress::default()
        });
    };
    match sim::simulate(&folder, &options, &told, called_off) {
        Ok(made) => Ok(made.folder),
        Err(SimError::Occupied { .. }) => Err(format!(
            "The sample night in {} is no longer complete. Move that folder away and try again.",
            folder.display()
        )),
        Err(fault) => Err(format!("The sample night could not be made: {fault}")),
    }
}
