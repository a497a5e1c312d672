//! What to simulate, and why it could not be.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::scenes::{FELL, Scene};

/// What kind of file a frame becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Format {
    /// 8-bit sRGB, demosaiced bilinearly in the "camera", quality 93.
    Jpeg,
    /// 16-bit colour mosaic (RGGB) with 14-bit numbers, black 512, white 16383.
    Dng,
    /// 16-bit linear grey from a camera without a colour mosaic, black 0, white 65535.
    Tiff,
}

impl Format {
    /// The ending of file names, as cameras write it.
    #[must_use]
    pub const fn extension(self) -> &'static str {
        match self {
            Self::Jpeg => "JPG",
            Self::Dng => "DNG",
            Self::Tiff => "TIF",
        }
    }
}

/// What to simulate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SimOptions {
    /// The scene; [`super::scene`] finds one by its name.
    pub scene: Scene,
    /// How many frames, 1 to 9999.
    pub frames: usize,
    /// Frame width in px, 64 to 12000. The pixel pitch stays, so a smaller frame is a crop.
    pub width: usize,
    /// Frame height in px, 64 to 12000.
    pub height: usize,
    /// Where all chance comes from: equal options give equal files.
    pub seed: u64,
    /// Kind of file.
    pub format: Format,
}

impl Default for SimOptions {
    /// The sample night: 120 JPEG frames of 1600 × 1067.
    fn default() -> Self {
        Self {
            scene: FELL,
            frames: 120,
            width: 1600,
            height: 1067,
            seed: 1,
            format: Format::Jpeg,
        }
    }
}

impl SimOptions {
    /// Name of frame `index`, counted from 0: `TL24_0001.JPG`.
    #[must_use]
    pub fn file_name(&self, index: usize) -> String {
        format!("TL24_{:04}.{}", index + 1, self.format.extension())
    }

    pub(super) fn check(&self) -> Result<(), SimError> {
        let wrong = |what: String| Err(SimError::Options { what });
        if !(1..=9999).contains(&self.frames) {
            return wrong(format!("{} frames: ask for 1 to 9999", self.frames));
        }
        if !(64..=12_000).contains(&self.width) || !(64..=12_000).contains(&self.height) {
            let (w, h) = (self.width, self.height);
            return wrong(format!("{w}x{h} px: each side is 64 to 12000"));
        }
        Ok(())
    }
}

/// Why a night was not simulated. The path comes last.
#[derive(Debug, thiserror::Error)]
pub enum SimError {
    /// Options that make no night.
    #[error("cannot simulate {what}")]
    Options {
        /// Which, and what would do.
        what: String,
    },
    /// A file of the same name is there and is not from the same options.
    #[error("there is a file of that name already; choose another folder: {}", .path.display())]
    Occupied {
        /// That file.
        path: PathBuf,
    },
    /// The operating system refused.
    #[error("{source}: {}", .path.display())]
    Io {
        /// What it said.
        source: io::Error,
        /// About which file.
        path: PathBuf,
    },
    /// The caller asked to stop; nothing was left behind.
    #[error("cancelled")]
    Cancelled,
}

impl SimError {
    pub(super) fn io(path: &Path, source: io::Error) -> Self {
        let path = path.to_owned();
        if source.kind() == io::ErrorKind::AlreadyExists {
            Self::Occupied { path }
        } else {
            Self::Io { source, path }
        }
    }
}
