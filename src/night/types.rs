//! What a night is made of.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use super::foreground::Foreground;
use crate::base::Estimate;
use crate::frame::{CameraKey, Facts, Orientation, Supplied};
use crate::measure::FrameMeasure;
use crate::sky::Site;

/// What is known of one shot.
#[derive(Debug, Clone)]
pub struct FrameInput {
    /// Its place in the listing; stays the same whatever order frames end up in.
    pub shot: usize,
    /// Name relative to the night's folder.
    pub name: String,
    /// The file that is measured.
    pub path: PathBuf,
    /// Facts, once read.
    pub facts: Option<Facts>,
    /// How far it is.
    pub state: FrameState,
}

/// How far a frame is.
#[derive(Debug, Clone, Default)]
pub enum FrameState {
    /// Not measured yet.
    #[default]
    Pending,
    /// Measured.
    Measured(Arc<FrameMeasure>),
    /// Could not be read, and why.
    Failed(String),
}

/// What the user says about the night.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct NightOptions {
    /// Facts supplied for each camera.
    pub supplied: BTreeMap<CameraKey, Supplied>,
    /// Facts supplied for every camera (command line); they win over `supplied`.
    pub supplied_for_all: Supplied,
    /// Where the night was shot (command line): wins over what the frames say.
    pub site: Option<Site>,
    /// Where the user shoots, kept from before: for nights whose frames do not say.
    pub usual_site: Option<Site>,
    /// What to add to sky brightness by camera and lens, mag: kept calibrations.
    pub sky_offsets: BTreeMap<OpticsKey, f64>,
    /// What a sky meter read during this night, mag per square arcsecond; wins over `sky_offsets`.
    pub meter_mag: Option<f64>,
}

/// Which camera and lens a sky calibration is for.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct OpticsKey {
    /// The camera.
    pub camera: CameraKey,
    /// The lens by its name, else by its focal length ("530 mm"); empty when neither is known.
    pub lens: String,
}

/// How it is known where a night was shot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaceFrom {
    /// Said for this night.
    Given,
    /// Written in the frames.
    Frames,
    /// The user's usual place.
    Usual,
}

impl PlaceFrom {
    /// The word in tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Given => "given",
            Self::Frames => "frames",
            Self::Usual => "usual",
        }
    }
}

/// Where a night was shot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The place.
    pub site: Site,
    /// How it is known.
    pub from: PlaceFrom,
}

/// From when to when, seconds like [`Row::time_s`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeSpan {
    /// Its beginning.
    pub from_s: f64,
    /// Its end.
    pub to_s: f64,
}

/// Sun and Moon from the noon before a night to the noon after it.
///
/// Accuracy: the Sun to 0.01°, the Moon to 0.02°, times to 15 s at middle latitudes (the clock's own
/// error comes on top).
#[derive(Debug, Clone, PartialEq)]
pub struct Heavens {
    /// UTC at `time_s` = 0, s since 1970.
    pub start_utc_s: f64,
    /// When the Sun is so far down, for each of [`crate::sky::Depth::ALL`]: the last is when it is dark.
    pub sun_down: [Vec<TimeSpan>; 4],
    /// When the Moon is up.
    pub moon_up: Vec<TimeSpan>,
    /// Share of the Moon's disc that is lit in the middle of the frames, 0 to 1.
    pub moon_lit: f64,
}

/// What a frame is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// Sky: the only kind that is judged.
    Sky,
    /// Cap on, exposed like the sky frames.
    Dark,
    /// Cap on, shortest exposure.
    Bias,
    /// An evenly lit field.
    Flat,
    /// A framing shot at a high ISO or short exposure.
    Test,
}

impl Kind {
    /// The word in the table's `kind` column.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sky => "sky",
            Self::Dark => "dark",
            Self::Bias => "bias",
            Self::Flat => "flat",
            Self::Test => "test",
        }
    }
}

/// The settings that make two frames comparable.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// Camera.
    pub camera: CameraKey,
    /// Lens, or empty.
    pub lens: String,
    /// Exposure as marked.
    pub exposure_s: Option<f64>,
    /// Aperture number.
    pub f_number: Option<f64>,
    /// ISO setting.
    pub iso: Option<u32>,
    /// Focal length, mm.
    pub focal_length_mm: Option<f64>,
    /// Pixel pitch, µm.
    pub pixel_um: Option<f64>,
    /// Frame size, px.
    pub size_px: (u32, u32),
}

impl Settings {
    /// Which camera and lens these are of.
    #[must_use]
    pub fn optics(&self) -> OpticsKey {
        let by_focal = || self.focal_length_mm.map(|mm| format!("{mm:.0} mm"));
        let named = (!self.lens.is_empty()).then(|| self.lens.clone());
        OpticsKey {
            camera: self.camera.clone(),
            lens: named.or_else(by_focal).unwrap_or_default(),
        }
    }
}

/// Values one frame has by being part of a night. `None` is "cannot be told".
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Derived {
    /// What the sky's turning predicts for the same stars, px (fixed tripod).
    pub expected_trail_px: Option<f64>,
    /// Measured trail minus expected (or, with nothing to predict from, minus typical), px.
    pub excess_px: Option<f64>,
    /// Time between the end of the exposure before and this one's start, s.
    pub pause_before_s: Option<f64>,
    /// Frames that seem to be missing before this one.
    pub missing_before: u32,
    /// Pointing change against the group's first frame once the sky's motion is out, px.
    pub shift_px: Option<f64>,
    /// The same by axis, x right and y down: two pointings equally far from the first frame's differ
    /// here.
    pub shift_xy_px: Option<[f64; 2]>,
    /// Flux of matched stars against the group's clear frames, 1 = clear.
    pub transparency: Option<f64>,
    /// Median level of the ground, percent of full scale, where the frame shows ground.
    pub ground_level_pct: Option<f64>,
    /// Light on the ground beyond what is typical of the frames around, percent of full scale: what
    /// three quarters of the ground stay below. Dusk and a rising Moon are typical of their frames.
    pub ground_light_pct: Option<f64>,
    /// The same by part of the frame, three by three in row order; told where the frame shows signs
    /// of cloud or dew, and `None` in parts with too few stars.
    pub clear_parts: [Option<f32>; 9],
    /// Sky brightness, mag per square arcsecond.
    pub sky_mag_arcsec2: Option<f64>,
    /// How far off `sky_mag_arcsec2` may be, mag: 0.7, or 0.2 once calibrated by a sky meter. Between
    /// frames of one group differences hold to 0.02.
    pub sky_mag_error: Option<f64>,
    /// How high the Sun stood in the middle of the exposure, degrees, air left out of account.
    pub sun_altitude_deg: Option<f64>,
    /// The same of the Moon.
    pub moon_altitude_deg: Option<f64>,
    /// Which way the sky brightens as displayed, anticlockwise from image right, [0, 360).
    pub sky_brightens_deg: Option<f64>,
    /// Trail angle as displayed, anticlockwise from image right, [0, 180).
    pub trail_angle_deg: Option<f64>,
}

impl Derived {
    /// Between the clearest and the dimmest part of the frame, mag.
    #[must_use]
    pub fn uneven_mag(&self) -> Option<f64> {
        let known = || {
            self.clear_parts
                .iter()
                .flatten()
                .map(|&part| f64::from(part.max(1e-4)))
        };
        let (least, most) = (known().reduce(f64::min)?, known().reduce(f64::max)?);
        (known().count() >= 3).then(|| 2.5 * (most / least).log10())
    }
}

/// What is typical of a row's neighbours: robust, slow change followed, the row's own oddity out.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Typical {
    /// Trail length, px.
    pub trail_px: Option<f64>,
    /// Width across the trail, px.
    pub fwhm_px: Option<f64>,
    /// Elongation.
    pub elongation: Option<f64>,
    /// Sky level, percent.
    pub sky_pct: Option<f64>,
    /// Noise, percent.
    pub noise_pct: Option<f64>,
    /// Stars counted.
    pub stars: Option<f64>,
}

/// Robust values over a whole group, for thresholds that ask for the night's own level.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Series {
    /// Median.
    pub median: f64,
    /// Robust σ about the slow trend.
    pub scatter: f64,
    /// The darkest (lowest) tenth's upper edge.
    pub low_tenth: f64,
    /// The highest tenth's lower edge.
    pub high_tenth: f64,
}

/// Distance in σ from the median to the tenth of a Gaussian.
const TENTH_SIGMAS: f64 = 1.2816;

impl Series {
    /// The level of sharp or dark frames when a long fault has moved the median: the lower tenth,
    /// moved up by what the scatter of good frames puts between a tenth and the median.
    #[must_use]
    pub fn lower_level(self) -> f64 {
        (self.low_tenth + TENTH_SIGMAS * self.scatter).min(self.median)
    }

    /// The same from above.
    #[must_use]
    pub fn upper_level(self) -> f64 {
        (self.high_tenth - TENTH_SIGMAS * self.scatter).max(self.median)
    }
}

/// The sky's turning over the frame of one group, fitted to its field maps.
///
/// Focal length and pixel pitch come from facts; the fit gives the pole's direction in the
/// camera's frame and how much longer trails are than the marked exposure says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SkyTurn {
    /// Focal length in px.
    pub focal_px: f64,
    /// Unit vector to the celestial pole in camera axes: x right, y down, z forward.
    pub pole: [f64; 3],
    /// Trails measured over trails predicted from the marked exposure (1 when it is true).
    pub length_ratio: f64,
    /// Robust residual of the field cells about the fit, px.
    pub residual_px: f64,
}

impl SkyTurn {
    /// Ratios that a shutter can have: marked 15 and 30 s are commonly 16 and 32 s (1.067; Exif
    /// 2.32 annex C), and focal lengths are rounded. Outside, something else moved.
    pub const PLAUSIBLE_RATIO: std::ops::RangeInclusive<f64> = 0.9..=1.12;

    /// Whether `length_ratio` is one that a shutter can have.
    #[must_use]
    pub fn is_plausible(&self) -> bool {
        Self::PLAUSIBLE_RATIO.contains(&self.length_ratio)
    }

    /// What to multiply the marked exposure with to predict trails: `length_ratio` where it is
    /// plausible, else 1, so that a night of wind is not taken for the sky's turning.
    #[must_use]
    pub fn exposure_factor(&self) -> f64 {
        if self.is_plausible() {
            self.length_ratio
        } else {
            1.0
        }
    }
}

/// One row of the night's table.
#[derive(Debug, Clone)]
pub struct Row {
    /// Place in the listing (see [`FrameInput::shot`]).
    pub shot: usize,
    /// Name relative to the night's folder.
    pub name: String,
    /// The file that is measured.
    pub path: PathBuf,
    /// Facts with what the user supplied.
    pub facts: Facts,
    /// Start of the exposure, seconds since the night's first frame, on the cameras' clocks (and
    /// between whole-second clock steps, from the series). `None` when the file has no time.
    pub time_s: Option<f64>,
    /// Which set, an index into [`Night::sets`].
    pub set: usize,
    /// Which group, an index into [`Night::groups`]; `None` when unreadable.
    pub group: Option<usize>,
    /// What it is of; `None` when unreadable or not measured yet.
    pub kind: Option<Kind>,
    /// Measured values.
    pub measure: Option<Arc<FrameMeasure>>,
    /// Why it could not be read.
    pub error: Option<String>,
    /// Values from the night.
    pub derived: Derived,
    /// What is typical here.
    pub typical: Typical,
}

impl Row {
    /// Whether this row is judged: a sky frame, an unreadable one, or one still to be measured.
    #[must_use]
    pub fn is_judged(&self) -> bool {
        matches!(self.kind, None | Some(Kind::Sky))
    }
}

/// Frames of one camera.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Set {
    /// The camera.
    pub camera: CameraKey,
    /// Its rows, in order.
    pub rows: Vec<usize>,
    /// Rows that are judged, in order: frame number n of the window is `frames[n - 1]`.
    pub frames: Vec<usize>,
    /// Usual time from one exposure's start to the next, s.
    pub interval_s: Option<f64>,
    /// Usual pause between exposures, s: interval minus marked exposure, never below 0.
    pub pause_s: Option<f64>,
    /// What was added to the times its camera wrote, s, where the user put its clock right.
    pub clock_added_s: Option<f64>,
    /// Orientation most of its frames share.
    pub orientation: Orientation,
    /// The group with the most sky frames.
    pub main_group: Option<usize>,
}

/// Frames of equal settings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Group {
    /// The settings they share.
    pub settings: Settings,
    /// Sky rows, in order of capture.
    pub rows: Vec<usize>,
    /// Dark frames that serve it.
    pub darks: Vec<usize>,
    /// What was added to its sky brightness, mag, by a sky meter's reading; `None`: not calibrated.
    pub sky_offset_mag: Option<f64>,
    /// Sky's turning, when it could be fitted.
    pub turn: Option<SkyTurn>,
    /// Largest speed of a star over the sky of this frame, px per second of true time: what a gap in
    /// the trails is told by. From the fitted turn or, without one, from the largest trail and the
    /// exposure; `None` when neither is known.
    pub largest_rate_px_s: Option<f64>,
    /// What of its frames is ground; `None` where that cannot be told.
    pub foreground: Option<Foreground>,
    /// Light on the ground, percent of full scale (see [`Derived::ground_light_pct`]).
    pub ground_light: Option<Series>,
    /// Trail lengths, px.
    pub trail: Option<Series>,
    /// Widths, px.
    pub fwhm: Option<Series>,
    /// Sky levels, percent.
    pub sky: Option<Series>,
    /// Noise, percent.
    pub noise: Option<Series>,
    /// Star counts.
    pub stars: Option<Series>,
    /// Whether all its measured frames are linear.
    pub linear: bool,
    /// What pairs of its frames, and dark frames, tell of the sensor at this ISO; `None` until they
    /// are measured. Once they are, it is there with its reasons even when it tells nothing.
    pub transfer: Option<Transfer>,
}

/// The photon transfer of a camera at one ISO setting: how light becomes numbers, green pixels.
///
/// From `σ² = K·(μ − μ_dark) + σ_dark²` over tiles of differing level (EMVA Standard 1288). Groups of
/// one camera at one ISO share it but for `sky`. All errors are standard errors.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Transfer {
    /// Gain K, numbers of the file an electron. `None` when it cannot be told, or the file's numbers
    /// have no unit (floats); [`Estimate::inverse`] makes it e⁻/DN.
    pub gain_dn_per_e: Option<Estimate>,
    /// Noise of a pixel in the dark, e⁻: reading out, with the dark current of the exposure.
    pub read_noise_e: Option<Estimate>,
    /// Electrons from black to full scale.
    pub full_scale_e: Option<Estimate>,
    /// Noise of one pixel of sky, split, at the level of this group's frames.
    pub sky: Option<SkyNoise>,
    /// Pairs of frames that went in, from all groups of this camera and ISO.
    pub pairs: usize,
    /// Dark (or bias) frames that went in.
    pub darks: usize,
    /// Why values are missing or uncertain, a sentence each, for a person.
    pub remarks: Vec<String>,
}

/// Noise of one green pixel of sky in e⁻, split into where it comes from. The parts add in squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SkyNoise {
    /// The sky's level above black, e⁻.
    pub level_e: f64,
    /// All of it in one frame.
    pub total_e: f64,
    /// Shot noise of the light: √level.
    pub shot_e: f64,
    /// Read noise with dark current; `None` when read noise is not known.
    pub read_e: Option<f64>,
    /// Fixed pattern: what is the same in both frames of a pair from pixel to pixel. `None` when the
    /// pairs cannot tell it from none.
    pub fixed_e: Option<f64>,
    /// σ of whole rows against their neighbours, when it exceeds what random noise makes of them.
    pub row_banding_e: Option<f64>,
    /// The same of columns.
    pub column_banding_e: Option<f64>,
}

/// The same stars seen at several settings: see [`super::star_light`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StarLight {
    /// Stars that were found in every group listed and clipped in none: those that `snr` is of.
    pub stars: usize,
    /// One entry a group asked for, in that order; `None` where its stars did not match.
    pub groups: Vec<Option<GroupStars>>,
}

/// What the common stars are in one group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupStars {
    /// Signal-to-noise of the median common star in one frame of this group.
    pub snr: Estimate,
    /// How much fainter a star this group shows than the first one listed, mag per frame (0 for
    /// itself): 2.5·log10 of the signal-to-noise ratio, median over the common stars.
    pub deeper_mag: Estimate,
    /// Share of the stars found in every group whose cores are clipped here, percent.
    pub clipped_pct: f64,
}

/// A night's table.
#[derive(Debug, Clone, Default)]
pub struct Night {
    /// All shots: sets one after the other, each in order of capture.
    pub rows: Vec<Row>,
    /// Sets, the one with the most frames first.
    pub sets: Vec<Set>,
    /// Groups, in order of their first frame.
    pub groups: Vec<Group>,
    /// Clock reading (see [`crate::frame::TakenAt::clock_s`]) at `time_s` = 0.
    pub start_clock_s: Option<f64>,
    /// Where it was shot, where that is known.
    pub place: Option<Place>,
    /// Sun and Moon, where place and time are known.
    pub heavens: Option<Heavens>,
    /// Frames not measured yet.
    pub pending: usize,
    /// What the user should know about the night as a whole: no time zone, mixed sizes, …
    pub warnings: Vec<String>,
}
