//! The registry of formats, and opening a file by what is in it.

use std::path::Path;

use super::guard::guarded;
use super::input::Input;
use super::raster::Raster;
use super::sensor::Sensor;
use super::{Colour, Facts, Frame, FrameError, OpenOptions, Samples, fits, jpeg, png, raw, tiff};

/// One file format: adding one is one entry in [`FORMATS`].
pub struct Format {
    /// What people call it.
    pub name: &'static str,
    /// File endings in lower case, for listing a folder. Content decides when a file is opened.
    pub endings: &'static [&'static str],
    /// Whether it holds sensor data that a JPEG of the same name was made from.
    pub is_raw: bool,
    sniff: fn(&Input<'_>) -> bool,
    facts: fn(&Input<'_>) -> Result<Facts, FrameError>,
    decode: fn(&Input<'_>) -> Result<(Facts, Decoded), FrameError>,
}

/// All formats, in the order in which content is tried.
pub static FORMATS: &[Format] = &[
    Format {
        name: "JPEG",
        endings: &["jpg", "jpeg", "jpe", "jfif"],
        is_raw: false,
        sniff: |input| jpeg::sniff(input.head()),
        facts: jpeg::facts,
        decode: |input| jpeg::decode(input).map(picture),
    },
    Format {
        name: "PNG",
        endings: &["png"],
        is_raw: false,
        sniff: |input| png::sniff(input.head()),
        facts: png::facts,
        decode: |input| png::decode(input).map(picture),
    },
    // Before TIFF, since most raw files are TIFF inside.
    Format {
        name: "raw",
        endings: &[
            "dng", "nef", "nrw", "cr2", "cr3", "crw", "arw", "raf", "orf", "ori", "rw2", "rwl",
            "raw", "pef", "srw", "3fr", "fff", "iiq", "erf", "mef", "mos", "mrw", "dcr", "dcs",
            "kdc", "x3f", "ari",
        ],
        is_raw: true,
        sniff: raw::sniff,
        facts: raw::facts,
        decode: |input| raw::decode(input).map(sensor),
    },
    Format {
        name: "TIFF",
        endings: &["tif", "tiff"],
        is_raw: false,
        sniff: tiff::sniff,
        facts: tiff::facts,
        decode: |input| tiff::decode(input).map(picture),
    },
    Format {
        name: "FITS",
        endings: &["fits", "fit", "fts"],
        is_raw: false,
        sniff: |input| fits::sniff(input.head()),
        facts: fits::facts,
        decode: |input| {
            let (facts, image) = fits::decode(input)?;
            Ok(match image {
                fits::Image::Mosaic(sensor) => (facts, Decoded::Sensor(sensor)),
                fits::Image::Picture(raster) => (facts, Decoded::Picture(raster)),
            })
        },
    },
];

/// What a format's decoder hands over: enough to make green samples or colours of.
enum Decoded {
    Picture(Raster),
    Sensor(Sensor),
}

fn picture((facts, raster): (Facts, Raster)) -> (Facts, Decoded) {
    (facts, Decoded::Picture(raster))
}

fn sensor((facts, sensor): (Facts, Sensor)) -> (Facts, Decoded) {
    (facts, Decoded::Sensor(sensor))
}

impl Decoded {
    fn into_samples(self) -> Option<Samples> {
        match self {
            Self::Picture(raster) => raster.into_samples(),
            Self::Sensor(sensor) => sensor.into_samples(),
        }
    }

    fn into_colour(self) -> Option<Colour> {
        match self {
            Self::Picture(raster) => Some(raster.into_colour()),
            Self::Sensor(sensor) => sensor.into_colour(),
        }
    }
}

/// The format that a file's ending promises.
pub(super) fn by_ending(path: &Path) -> Option<&'static Format> {
    let ending = path.extension()?.to_str()?.to_ascii_lowercase();
    FORMATS
        .iter()
        .find(|format| format.endings.contains(&ending.as_str()))
}

/// Whether a file of this name holds a sensor's own numbers with their black level.
#[must_use]
pub fn is_raw(path: &Path) -> bool {
    by_ending(path).is_some_and(|format| format.is_raw)
}

/// Reads capture facts only.
///
/// # Errors
/// As [`open`]; a file without facts gives empty ones.
pub fn read_facts(path: &Path, options: &OpenOptions) -> Result<Facts, FrameError> {
    guarded(path, || {
        let input = Input::open(path, options)?;
        (by_content(&input)?.facts)(&input)
    })
}

/// Reads facts and green samples, by content rather than by the file's ending.
///
/// # Errors
/// A [`FrameError`] that names the file and what is wrong. A panic in a foreign decoder becomes
/// [`FrameError::Damaged`].
pub fn open(path: &Path, options: &OpenOptions) -> Result<Frame, FrameError> {
    guarded(path, || {
        let (facts, decoded) = decode(path, options)?;
        let samples = decoded.into_samples().ok_or_else(|| misfit(path))?;
        Ok(Frame { facts, samples })
    })
}

/// Reads the colours for the screen.
///
/// # Errors
/// As [`open`].
pub fn open_colour(path: &Path, options: &OpenOptions) -> Result<Colour, FrameError> {
    guarded(path, || {
        let (_, decoded) = decode(path, options)?;
        decoded.into_colour().ok_or_else(|| misfit(path))
    })
}

fn misfit(path: &Path) -> FrameError {
    FrameError::damaged(path, "the decoded size is not the declared one")
}

fn decode(path: &Path, options: &OpenOptions) -> Result<(Facts, Decoded), FrameError> {
    let input = Input::open(path, options)?;
    (by_content(&input)?.decode)(&input)
}

fn by_content(input: &Input<'_>) -> Result<&'static Format, FrameError> {
    if let Some(format) = FORMATS.iter().find(|format| (format.sniff)(input)) {
        return Ok(format);
    }
    let head = input.head();
    let brand = head.get(4..12).unwrap_or_default();
    if [&b"ftyphei"[..], b"ftyphev", b"ftypmif", b"ftypavi"]
        .iter()
        .any(|b| brand.starts_with(b))
    {
        return Err(input.unsupported("HEIF and AVIF are not read; save it as JPEG or TIFF"));
    }
    Err(match by_ending(input.path) {
        Some(format) => input.damaged(format!(
            "its name says {}, but what is in it is something else",
            format.name
        )),
        None => input.unsupported("not a kind of picture that is read"),
    })
}
