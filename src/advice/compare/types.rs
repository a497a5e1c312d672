//! What a comparison of settings is made of.

use crate::base::Estimate;
use crate::verdict::words::with_unit;

/// A number with its standard error where that can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    /// The number.
    pub value: f64,
    /// Its standard error, in the same unit.
    pub error: Option<f64>,
}

impl From<Estimate> for Value {
    fn from(known: Estimate) -> Self {
        Self {
            value: known.value,
            error: known.error.is_finite().then_some(known.error),
        }
    }
}

impl Value {
    /// Value and error times `factor`.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self {
            value: self.value * factor,
            error: self.error.map(|error| error * factor.abs()),
        }
    }

    /// The reciprocal, its error to first order.
    #[must_use]
    pub fn inverse(self) -> Self {
        Self {
            value: 1.0 / self.value,
            error: self.error.map(|error| error / self.value.powi(2)),
        }
    }
}

/// Frames of one setting, and what they measure to: medians over the frames that are used, with
/// the standard error of a median where there are three frames or more.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Column {
    /// The group, an index into `Night::groups`.
    pub group: usize,
    /// ISO setting.
    pub iso: Option<u32>,
    /// Exposure as marked, s.
    pub exposure_s: Option<f64>,
    /// Aperture number.
    pub f_number: Option<f64>,
    /// Rows of the night that count, in order of capture.
    pub rows: Vec<usize>,
    /// Whether levels are proportional to light.
    pub linear: bool,
    /// Sky level, percent of full scale.
    pub sky_level_pct: Option<Value>,
    /// Noise of one green pixel of sky, percent of full scale.
    pub noise_pct: Option<Value>,
    /// The same in electrons.
    pub noise_e: Option<Value>,
    /// Signal-to-noise of the stars that all settings show, in one frame.
    pub star_snr: Option<Value>,
    /// The same of as many frames, stacked star on star, as the longest exposure compared takes.
    pub equal_time: Option<EqualTime>,
    /// Stars counted in a frame.
    pub star_count: Option<Value>,
    /// Share of the stars kept of a frame whose cores are clipped, percent.
    pub clipped_pct: Option<Value>,
    /// How many those are.
    pub clipped_stars: Option<Value>,
    /// Trail length, px.
    pub trail_length_px: Option<Value>,
    /// Width across the trail, px.
    pub width_px: Option<Value>,
    /// Long axis of a star over its short one.
    pub elongation: Option<Value>,
    /// Numbers of the file an electron.
    pub gain_dn_per_e: Option<Value>,
    /// Noise of a pixel in the dark, e⁻.
    pub read_noise_e: Option<Value>,
    /// Light of the sky, e⁻ a pixel and second.
    pub sky_e_per_s: Option<Value>,
    /// The exposure past which read noise adds under 5 % to the sky's noise, s.
    pub sky_limited_s: Option<Value>,
}

impl Column {
    /// Signal-to-noise over the square root of the exposure in seconds: what an hour of such frames
    /// is worth, whatever their length.
    #[must_use]
    pub fn snr_per_root_s(&self) -> Option<Value> {
        let exposure = self.exposure_s.filter(|s| *s > 0.0)?;
        self.star_snr.map(|snr| snr.times(1.0 / exposure.sqrt()))
    }

    /// How much read noise adds to the sky's own noise, as a share.
    #[must_use]
    pub fn read_noise_adds(&self) -> Option<f64> {
        let sky = self.sky_e_per_s?.value * self.exposure_s?;
        let read = self.read_noise_e?.value;
        (sky > 0.0).then(|| (1.0 + read * read / sky).sqrt() - 1.0)
    }

    /// Time in which a star crosses its own width, s; `None` where trails are too short to tell.
    #[must_use]
    pub fn dwell_s(&self) -> Option<f64> {
        let trail = self.trail_length_px.filter(|trail| trail.value > 0.5)?;
        let rate = trail.value / self.exposure_s?;
        Some(crate::sky::limits::dwell_s(self.width_px?.value, rate))
    }
}

/// Short frames stacked for as long as one long frame is open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EqualTime {
    /// How many frames that is: the longest exposure compared over this one.
    pub frames: f64,
    /// Their signal-to-noise: √frames times that of one.
    pub snr: Value,
}

/// Which settings differ between columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Varies {
    /// ISO.
    pub iso: bool,
    /// Exposure.
    pub exposure: bool,
    /// Aperture.
    pub aperture: bool,
}

/// Signal-to-noise against ISO at one exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// The exposure, s.
    pub exposure_s: f64,
    /// Frames stacked; 1 for a curve of single frames.
    pub stacked: f64,
    /// ISO, signal-to-noise and the column they are of, lowest ISO first.
    pub points: Vec<(u32, Value, usize)>,
}

/// The ISO past which nothing is gained.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knee {
    /// That ISO: none higher adds [`Knee::NOTHING`] or more to the signal-to-noise.
    pub iso: u32,
    /// Its column.
    pub column: usize,
    /// The next higher ISO compared, and what it adds, as a share.
    pub next: (u32, f64),
}

impl Knee {
    /// Less than this, as a share of signal-to-noise, is nothing: no eye tells it.
    pub const NOTHING: f64 = 0.03;
}

/// A reason with its number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    /// The number ("+23", "12").
    pub figure: String,
    /// Its unit ("%", "s"), or empty.
    pub unit: &'static str,
    /// What it says.
    pub words: String,
}

/// The settings of one camera's night side by side.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Comparison {
    /// One a setting: longest exposure first, within it lowest ISO first.
    pub columns: Vec<Column>,
    /// What differs between them.
    pub varies: Varies,
    /// Stars that all settings show and none clips: those that signal-to-noise is of.
    pub stars: usize,
    /// Signal-to-noise against ISO, where two ISO settings or more share an exposure.
    pub curves: Vec<Curve>,
    /// Of the curve of the recommended exposure.
    pub knee: Option<Knee>,
    /// The column recommended for the purpose.
    pub best: Option<usize>,
    /// The recommendation, a sentence; or why there is none.
    pub headline: String,
    /// What would be better still but needs another way of working.
    pub better: Option<String>,
    /// Up to four, with numbers.
    pub reasons: Vec<Reason>,
    /// Cautions: relative levels, a sky that changed.
    pub notes: Vec<String>,
}

impl Comparison {
    /// Whether there is anything to compare.
    #[must_use]
    pub fn has_several(&self) -> bool {
        self.columns.len() > 1
    }

    /// How many frames of a column take as long as one of the longest exposure compared: 1 where
    /// exposures are not known.
    #[must_use]
    pub fn frames_for_equal_time(&self, column: usize) -> f64 {
        let longest = self.columns.iter().filter_map(|c| c.exposure_s);
        let own = self.columns.get(column).and_then(|c| c.exposure_s);
        (longest.reduce(f64::max).zip(own)).map_or(1.0, |(longest, own)| longest / own)
    }

    /// What a column is called: the settings in which it differs from the others.
    #[must_use]
    pub fn name(&self, column: usize) -> String {
        let Some(of) = self.columns.get(column) else {
            return String::new();
        };
        let mut parts = Vec::new();
        let iso = of.iso.map(|iso| format!("ISO {iso}"));
        let exposure = of.exposure_s.map(|s| with_unit(s, "s"));
        let aperture = of.f_number.map(aperture_words);
        let unknown = |what: &str| format!("{what} not known");
        if self.varies.iso {
            parts.push(iso.unwrap_or_else(|| unknown("ISO")));
        }
        if self.varies.exposure {
            parts.push(exposure.unwrap_or_else(|| unknown("exposure")));
        }
        if self.varies.aperture {
            parts.push(aperture.unwrap_or_else(|| unknown("aperture")));
        }
        if parts.is_empty() {
            parts.push(format!("setting {}", column + 1));
        }
        parts.join(", ")
    }
}

/// "f/2.8".
pub(super) fn aperture_words(f_number: f64) -> String {
    format!("f/{}", crate::verdict::words::figure(f_number))
}
