//! From options to a folder of frames.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use rayon::prelude::*;
use tempfile::TempPath;

use super::camera::PIXEL_UM;
use super::options::{SimError, SimOptions};
use super::plan::plan;
use super::render::Studio;
use super::truth::{FrameTruth, SIM_VERSION, StarTruth, TRUTH_FILE, Truth};
use crate::base::atomic::{self, Existing};

/// What was made.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// The folder of the frames.
    pub folder: PathBuf,
    /// What is true about them; also in [`TRUTH_FILE`].
    pub truth: Truth,
    /// Whether a complete earlier run of the same options was found and nothing was made.
    pub reused: bool,
}

impl SimOptions {
    /// The options and the whole scene, to tell runs apart.
    pub(super) fn as_json(&self) -> serde_json::Value {
        serde_json::json!({
            "scene": self.scene,
            "frames": self.frames,
            "width": self.width,
            "height": self.height,
            "seed": self.seed,
            "format": self.format,
        })
    }
}

/// Writes a night's frames into `folder`, which is made when it is not there, and their truth
/// beside them.
///
/// Frames are rendered on rayon's current pool into a hidden folder inside `folder` and put in
/// place at the end, so a run that is cancelled or fails leaves nothing. A folder that already
/// holds the same run is left as it is. `progress` is called from the pool's threads with frames
/// done and frames in all; `cancel` is looked at before each frame.
///
/// # Errors
/// [`SimError::Options`] for impossible options, [`SimError::Occupied`] when a file of the same
/// name is there, [`SimError::Cancelled`], and [`SimError::Io`].
pub fn simulate(
    folder: &Path,
    options: &SimOptions,
    progress: &(dyn Fn(usize, usize) + Sync),
    cancel: &AtomicBool,
) -> Result<Report, SimError> {
    options.check()?;
    fs::create_dir_all(folder).map_err(|error| SimError::io(folder, error))?;
    let report = |truth: Truth, reused: bool| Report {
        folder: folder.to_owned(),
        truth,
        reused,
    };
    if let Some(truth) = Truth::read(folder)
        && truth.is_complete(folder, options)
    {
        return Ok(report(truth, true));
    }
    let names = (0..options.frames).map(|index| options.file_name(index));
    for name in names.chain([TRUTH_FILE.to_owned()]) {
        let path = folder.join(name);
        if fs::symlink_metadata(&path).is_ok() {
            return Err(SimError::Occupied { path });
        }
    }
    let workshop = tempfile::Builder::new()
        .prefix(".nightloupe-")
        .tempdir_in(folder)
        .map_err(|error| SimError::io(folder, error))?;

    let studio = Studio::new(options);
    let done = AtomicUsize::new(0);
    let frames: Vec<FrameTruth> = plan(options)
        .par_iter()
        .map(|frame| {
            if cancel.load(Ordering::Relaxed) {
                return Err(SimError::Cancelled);
            }
            let path = workshop.path().join(options.file_name(frame.index));
            let shot = studio
                .shoot(frame)
                .map_err(|error| SimError::io(&path, std::io::Error::other(error)))?;
            atomic::write(&path, Existing::Keep, |out| out.write_all(&shot.bytes))
                .map_err(|error| SimError::io(&path, error))?;
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, options.frames);
            Ok(shot.truth)
        })
        .collect::<Result<_, _>>()?;

    for frame in &frames {
        let target = folder.join(&frame.file);
        TempPath::try_from_path(workshop.path().join(&frame.file))
            .and_then(|made| {
                made.persist_noclobber(&target)
                    .map_err(|failure| failure.error)
            })
            .map_err(|error| SimError::io(&target, error))?;
    }
    let truth = Truth {
        sim_version: SIM_VERSION,
        options: options.as_json(),
        notes: NOTES.map(str::to_owned).to_vec(),
        pole_px: studio.view.pole_px(),
        focal_px: studio.view.focal_px,
        pixel_um: PIXEL_UM,
        frames,
    };
    let path = folder.join(TRUTH_FILE);
    let text = truth.to_json()?;
    atomic::write(&path, Existing::Keep, |out| out.write_all(&text))
        .map_err(|error| SimError::io(&path, error))?;
    Ok(report(truth, false))
}

/// The stars of frame `index`, counted from 0, whose middle lies in its sky, brightest first: too
/// many for the truth's file.
///
/// # Errors
/// [`SimError::Options`] for impossible options and for a frame that they do not have.
pub fn stars_of(options: &SimOptions, index: usize) -> Result<Vec<StarTruth>, SimError> {
    options.check()?;
    let frames = plan(options);
    let frame = frames.get(index).ok_or_else(|| SimError::Options {
        what: format!("frame {index} of {}", options.frames),
    })?;
    Ok(Studio::new(options).stars_in(frame))
}

const NOTES: [&str; 4] = [
    "Simulated: the place, the camera and the night are invented.",
    "Lengths in px of the frame; x right, y down, from the centre of the first pixel.",
    "Levels and noise in percent of full scale above black, green, in linear light.",
    "Refraction and lens distortion are left out; the optical axis is the frame's centre.",
];

/// Where a sample night of these options is kept in the cache folder `cache`: a folder that is
/// named after the place and keyed by version and options.
#[must_use]
pub fn sample_dir(cache: &Path, options: &SimOptions) -> PathBuf {
    let text = format!("{SIM_VERSION} {}", options.as_json());
    let key = blake3::hash(text.as_bytes()).to_hex();
    let short = key.get(..12).unwrap_or_default();
    cache.join("sample").join(short).join(options.scene.place)
}
