//! The sample night: made once, kept in the cache folder, then opened like any other.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use super::Progress;
use crate::sim::{self, SimError, SimOptions};

/// The folder of the sample night in the cache folder `cache`, made if it is not there, or no longer
/// whole. `tell` hears how far it is, from several threads; setting `called_off` stops it.
pub(super) fn make_once(
    cache: &Path,
    tell: impl Fn(Progress) + Sync,
    called_off: &AtomicBool,
) -> Result<PathBuf, String> {
    make(cache, &SimOptions::default(), tell, called_off)
}

fn make(
    cache: &Path,
    options: &SimOptions,
    tell: impl Fn(Progress) + Sync,
    called_off: &AtomicBool,
) -> Result<PathBuf, String> {
    let folder = sim::sample_dir(cache, options);
    let told = |done, total| {
        tell(Progress {
            job: "Making the sample night".to_owned(),
            done,
            total,
            ..Progress::default()
        });
    };
    let make = || sim::simulate(&folder, options, &told, called_off);
    let made = match make() {
        // Whoever was killed while frames were put in place left some of them.
        Err(SimError::Occupied { .. }) => {
            set_aside(&folder).map_err(|fault| {
                format!(
                    "The sample night in {} is no longer complete and cannot be made again: \
                     {fault}. Move that folder away.",
                    folder.display()
                )
            })?;
            make()
        }
        made => made,
    };
    made.map(|made| made.folder)
        .map_err(|fault| format!("The sample night could not be made: {fault}"))
}

/// Renames an incomplete sample night out of the way: somebody may have put something in it.
fn set_aside(folder: &Path) -> io::Result<()> {
    let name = folder.file_name().unwrap_or_default().to_string_lossy();
    let aside = (1..1000)
        .map(|n| folder.with_file_name(format!("{name}, incomplete {n}")))
        .find(|aside| !aside.exists());
    match aside {
        Some(aside) => std::fs::rename(folder, aside),
        None => Err(io::ErrorKind::AlreadyExists.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::atomic::{Existing, write};

    #[test]
    fn an_incomplete_sample_night_is_made_anew_beside_what_is_left_of_it() {
        let cache = tempfile::tempdir().unwrap();
        let options = SimOptions {
            frames: 3,
            width: 96,
            height: 64,
            ..SimOptions::default()
        };
        let make = || make(cache.path(), &options, |_| (), &AtomicBool::new(false));
        let folder = make().unwrap();
        let second = folder.join(options.file_name(1));
        let whole = std::fs::read(&second).unwrap();
        write(&second, Existing::Replace, |out| {
            out.write_all(&whole[..99])
        })
        .unwrap();

        assert_eq!(make().unwrap(), folder);
        assert_eq!(std::fs::read(&second).unwrap(), whole);
        let beside = std::fs::read_dir(folder.parent().unwrap()).unwrap();
        assert_eq!(beside.count(), 2, "what was left of it is still there");
        assert_eq!(make().unwrap(), folder);
    }
}
