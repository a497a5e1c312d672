//! What is true about a simulated night: the file `truth.json`.

use std::fs;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::SimError;
use super::options::SimOptions;

/// Name of the truth's file beside the frames.
pub const TRUTH_FILE: &str = "truth.json";

/// Raised whenever equal options would give other files.
pub const SIM_VERSION: u32 = 4;

/// A night's truth. Pixel coordinates have their origin at the centre of the first pixel, x right,
/// y down; all numbers are exact unless they say how they were found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// [`SIM_VERSION`] of what wrote it.
    pub sim_version: u32,
    /// The options and the whole scene.
    pub options: serde_json::Value,
    /// Explanations for a reader of the file.
    pub notes: Vec<String>,
    /// The celestial pole above the horizon, while the camera rests where it was set up; it may be
    /// outside the frame. `None` behind the camera.
    pub pole_px: Option<[f64; 2]>,
    /// Focal length in pixels.
    pub focal_px: f64,
    /// Pixel pitch.
    pub pixel_um: f64,
    /// The frames in order of capture.
    pub frames: Vec<FrameTruth>,
}

/// What is true about one frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameTruth {
    /// File name.
    pub file: String,
    /// Length of the file.
    pub bytes: u64,
    /// Opening of the shutter, ISO 8601.
    pub taken_at: String,
    /// The same, since the first frame's.
    pub start_s: f64,
    /// Time the shutter was open.
    pub exposure_s: f64,
    /// ISO setting.
    pub iso: u32,
    /// What it is of, a word of the measurement table: `sky` or `dark`.
    pub kind: String,
    /// Raw numbers (of 14 bits) an electron.
    pub gain_dn_per_e: f64,
    /// Read noise.
    pub read_noise_e: f64,
    /// Motion by the sky's turning alone.
    pub expected: TrailTruth,
    /// Motion from opening to closing of the shutter, with the camera's own.
    pub trail: TrailTruth,
    /// Direction of `trail` at the frame's centre, anticlockwise from image right, [0, 180); `None`
    /// where it is under 0.05 px.
    pub trail_angle_deg: Option<f64>,
    /// Width (FWHM) of a star across its trail with the pixel's own width in it, and in a JPEG the
    /// mean widening by its demosaicing. That JPEG compression blurs faint stars is not in it.
    pub fwhm_px: f64,
    /// Median of the noise-free sky (no stars, no ground) in green, percent of full scale in linear
    /// light.
    pub sky_level_pct: f64,
    /// Standard deviation of one green pixel of sky, percent of full scale in linear light: for DNG
    /// and TIFF from the sensor's equation at `sky_level_pct`; for JPEG of what the saved file
    /// holds, as the difference between the file decoded and the same frame without noise.
    pub noise_pct: Option<f64>,
    /// Stars in the sky of the frame whose flux is over 5 × its matched-filter error.
    pub stars_snr5: usize,
    /// The same over 10 ×.
    pub stars_snr10: usize,
    /// Share of starlight that cloud and dew let through, median over the sky.
    pub transparency: f64,
    /// Where the camera points against where it was set up, mean over the exposure, px of the
    /// frame's centre on the sensor.
    pub shift_px: [f64; 2],
    /// What was done to the frame.
    pub faults: Vec<FaultTruth>,
}

/// Lengths of motion in px.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TrailTruth {
    /// Median over the stars over 5 σ.
    pub median_px: f64,
    /// At the frame's centre.
    pub centre_px: f64,
    /// Largest over the sky of the frame.
    pub max_px: f64,
}

/// One star of a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StarTruth {
    /// Where it is half-way through the exposure.
    pub x_px: f64,
    /// The same, down.
    pub y_px: f64,
    /// Flux over its matched-filter error, counting green pixels only.
    pub snr: f64,
    /// Motion from opening to closing of the shutter, to the right and down.
    pub motion_px: [f64; 2],
}

/// Something injected into a frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FaultTruth {
    /// Reason code of the measurement table.
    pub reason: String,
    /// How strong.
    pub strength: f64,
    /// In what.
    pub unit: String,
}

impl Truth {
    /// Reads the truth of the night in a folder; `None` when there is none that can be read.
    #[must_use]
    pub fn read(folder: &Path) -> Option<Self> {
        let text = fs::read(folder.join(TRUTH_FILE)).ok()?;
        serde_json::from_slice(&text).ok()
    }

    /// Whether this is of a run of the same options whose files are all there in full length.
    pub(super) fn is_complete(&self, folder: &Path, options: &SimOptions) -> bool {
        self.sim_version == SIM_VERSION
            && self.options == options.as_json()
            && self.frames.len() == options.frames
            && self.frames.iter().all(|frame| {
                fs::metadata(folder.join(&frame.file)).is_ok_and(|meta| meta.len() == frame.bytes)
            })
    }

    pub(super) fn to_json(&self) -> Result<Vec<u8>, SimError> {
        serde_json::to_vec_pretty(self).map_err(|error| SimError::Options {
            what: error.to_string(),
        })
    }
}
