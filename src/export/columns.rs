//! The registry of columns: name, unit, meaning and value, in the order in which they are written.

use super::table::Table;
use crate::measure::{FieldModels, FrameMeasure};
use crate::night::Row;
use crate::verdict::Reason;

/// One value of the table.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Could not be measured, or is not known.
    Empty,
    /// Words.
    Text(String),
    /// A whole number.
    Count(u64),
    /// A finite number, written to so many decimals.
    Number(f64, usize),
    /// Yes or no.
    Flag(bool),
}

impl Cell {
    /// A number, or nothing where it is missing or not finite.
    pub(super) fn number(value: Option<f64>, places: usize) -> Self {
        match value {
            Some(value) if value.is_finite() => Self::Number(value, places),
            _ => Self::Empty,
        }
    }

    fn text(value: Option<String>) -> Self {
        value
            .filter(|text| !text.is_empty())
            .map_or(Self::Empty, Self::Text)
    }

    pub(super) fn count(value: Option<impl Into<u64>>) -> Self {
        value.map_or(Self::Empty, |n| Self::Count(n.into()))
    }

    /// As it stands in a CSV file: empty where there is nothing, a decimal point, no thousands.
    ///
    /// Words that a spreadsheet would run as a formula get an apostrophe in front.
    #[must_use]
    pub fn csv(&self) -> String {
        match self {
            Self::Empty => String::new(),
            Self::Text(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r']) => {
                format!("'{text}")
            }
            Self::Text(text) => text.clone(),
            Self::Count(n) => n.to_string(),
            Self::Number(value, places) => decimal(*value, *places),
            Self::Flag(yes) => yes.to_string(),
        }
    }
}

/// `value` to `places` decimals; a zero has no sign.
pub(super) fn decimal(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

/// One column.
pub struct Column {
    /// Its name, in the CSV header and as the JSON key.
    pub name: &'static str,
    /// Unit of its values, empty for words, counts and ratios.
    pub unit: &'static str,
    /// One sentence on what it is.
    pub meaning: &'static str,
    /// Its value for a row of the night (an index into its rows).
    pub value: fn(&Table<'_>, usize) -> Cell,
}

/// Every column, in order.
pub const COLUMNS: [Column; 29] = [
    column(
        "file",
        "",
        "Name relative to the night's folder.",
        |t, at| Cell::text(t.row(at).map(|row| row.name.clone())),
    ),
    column(
        "taken_at",
        "",
        "When the shutter opened, ISO 8601, with the offset where it is known.",
        |t, at| {
            let taken = t.row(at).and_then(|row| row.facts.taken_at);
            Cell::text(taken.map(|taken| taken.iso8601()))
        },
    ),
    column(
        "group",
        "",
        "Number of the group of equal camera, lens and settings, from 1.",
        |t, at| {
            let group = t.row(at).and_then(|row| row.group);
            Cell::count(group.map(|group| group as u64 + 1))
        },
    ),
    column(
        "kind",
        "",
        "sky, dark, bias, flat or test (a framing shot); only sky is judged.",
        |t, at| {
            let kind = t.row(at).and_then(|row| row.kind);
            Cell::text(kind.map(|kind| kind.word().to_owned()))
        },
    ),
    column("exposure_s", "s", "Exposure as marked.", |t, at| {
        let exposure = t.row(at).and_then(|row| row.facts.exposure_s);
        Cell::number(exposure, exposure_places(exposure))
    }),
    column("iso", "", "ISO setting.", |t, at| {
        Cell::count(t.row(at).and_then(|row| row.facts.iso))
    }),
    column("f_number", "", "Aperture number.", |t, at| {
        Cell::number(t.row(at).and_then(|row| row.facts.f_number), 1)
    }),
    column("focal_length_mm", "mm", "True focal length.", |t, at| {
        Cell::number(t.row(at).and_then(|row| row.facts.focal_length_mm), 1)
    }),
    column(
        "pixel_um",
        "µm",
        "Pixel pitch, from the file or given.",
        |t, at| Cell::number(t.row(at).and_then(|row| row.facts.pixel_um), 3),
    ),
    column(
        "linear",
        "",
        "Whether levels in the file are proportional to light; if not, levels are relative.",
        |t, at| {
            t.measure(at).map_or(Cell::Empty, |m| {
                Cell::Flag(m.light == crate::frame::Light::Linear)
            })
        },
    ),
    column(
        "star_count",
        "",
        "Stars above 5 σ, hot pixels and streaks out.",
        |t, at| Cell::count(t.measure(at).map(|m| m.star_count)),
    ),
    column(
        "fwhm_px",
        "px",
        "Star width across the trail as sampled, median of the stars used.",
        |t, at| measured(t, at, |m| m.fwhm_px, 2),
    ),
    column(
        "elongation",
        "",
        "Long axis over short, at least 1.",
        |t, at| measured(t, at, |m| m.elongation, 3),
    ),
    column(
        "trail_length_px",
        "px",
        "Motion from shutter open to shutter close, star width not in it.",
        |t, at| measured(t, at, |m| Some(m.trail?.length_px), 2),
    ),
    column(
        "trail_centre_px",
        "px",
        "The field map's trail at the frame's centre.",
        |t, at| measured(t, at, |m| Some(m.trail?.centre_px), 2),
    ),
    column(
        "trail_max_px",
        "px",
        "The field map's largest trail over the sky.",
        |t, at| measured(t, at, |m| Some(m.trail?.max_px), 2),
    ),
    column(
        "trail_angle_deg",
        "°",
        "Trail angle at the frame's centre as displayed, anticlockwise from image right, 0 to below 180.",
        |t, at| derived(t, at, |row| row.derived.trail_angle_deg, 1),
    ),
    column(
        "expected_trail_px",
        "px",
        "What the sky's turning predicts for the same stars on a fixed tripod.",
        |t, at| derived(t, at, |row| row.derived.expected_trail_px, 2),
    ),
    column(
        "sky_level_pct",
        "%",
        "Median over the sky, percent of full scale above black, linear light, green.",
        |t, at| measured(t, at, |m| Some(m.sky.level_pct), 3),
    ),
    column(
        "sky_gradient_pct",
        "%",
        "Brightest minus darkest tenth of the sky.",
        |t, at| measured(t, at, |m| Some(m.sky.gradient_pct), 3),
    ),
    column(
        "sky_mag_arcsec2",
        "mag/arcsec²",
        "Sky brightness, ±0.7, or ±0.2 once calibrated by a sky meter; only of linear files.",
        |t, at| derived(t, at, |row| row.derived.sky_mag_arcsec2, 2),
    ),
    column(
        "noise_pct",
        "%",
        "Robust σ of one green sample of sky; in a JPEG, of what the saved file holds.",
        |t, at| measured(t, at, |m| m.noise_pct, 4),
    ),
    column(
        "saturated_pct",
        "%",
        "Share of the samples at full scale.",
        |t, at| measured(t, at, |m| Some(m.saturated_pct), 3),
    ),
    column(
        "streak_count",
        "",
        "Long lines that are not stars.",
        |t, at| Cell::count(t.measure(at).map(|m| m.streaks.len() as u64)),
    ),
    column(
        "transparency",
        "",
        "Light of matched stars against the group's clear frames, 1 is clear.",
        |t, at| derived(t, at, |row| row.derived.transparency, 3),
    ),
    column(
        "shift_px",
        "px",
        "Pointing change against the group's first frame once the sky's motion is out.",
        |t, at| derived(t, at, |row| row.derived.shift_px, 2),
    ),
    column(
        "verdict",
        "",
        "keep, doubtful or reject, for the purpose judged; the person's where there is one.",
        |t, at| Cell::Text(t.verdict(at).word().to_owned()),
    ),
    column(
        "reasons",
        "",
        "Codes of what was found, weightiest first, joined by semicolons.",
        |t, at| Cell::text(Some(reason_codes(t, at).join(";"))),
    ),
    column(
        "error",
        "",
        "What was wrong with a frame that could not be read.",
        |t, at| Cell::text(t.row(at).and_then(|row| row.error.clone())),
    ),
];

/// What the JSON has beside them: the colour of the sky. The CSV's columns are fixed.
pub const SKY_COLOUR: [Column; 5] = [
    column(
        "sky_red_pct",
        "%",
        "Median red of the sky, as the sensor or the saved file has it.",
        |t, at| measured(t, at, |m| m.sky.red_pct, 3),
    ),
    column(
        "sky_blue_pct",
        "%",
        "Median blue of the sky, the same.",
        |t, at| measured(t, at, |m| m.sky.blue_pct, 3),
    ),
    column(
        "sky_brightens_deg",
        "deg",
        "Which way the sky brightens as displayed, anticlockwise from image right.",
        |t, at| derived(t, at, |row| row.derived.sky_brightens_deg, 0),
    ),
    column(
        "glow_red",
        "",
        "Red over green of what is added in the brightest tenth, against the same of the darkest.",
        |t, at| measured(t, at, |m| m.sky.glow.map(|glow| glow.red), 2),
    ),
    column(
        "glow_blue",
        "",
        "Blue over green of it, the same.",
        |t, at| measured(t, at, |m| m.sky.glow.map(|glow| glow.blue), 2),
    ),
];

/// What explains a frame's trails and widths, beside [`COLUMNS`] in the JSON. A misfit is what an
/// explanation leaves over what single stars scatter: 1 says all there is.
pub const FIELD: [Column; 14] = [
    column(
        "path",
        "",
        "How stars ran during the exposure: even, wavy (wind) or two-stop (a knock).",
        |t, at| {
            let path = t.measure(at).and_then(|m| m.path);
            Cell::text(path.map(|path| path.kind.word().to_owned()))
        },
    ),
    column(
        "shake_px",
        "px",
        "How far stars left the even path, rms across it; of two stops, their distance.",
        |t, at| measured(t, at, |m| m.path.map(|path| path.shake_px), 3),
    ),
    column(
        "trail_cause",
        "",
        "The simplest explanation of the trails: still, uniform, lens, turning or turning-and-lens.",
        |t, at| {
            let models = t.measure(at).and_then(|m| m.models);
            Cell::text(models.map(|models| models.best.word().to_owned()))
        },
    ),
    column("misfit_still", "", "Misfit of no trail.", |t, at| {
        models(t, at, |m| m.still, 2)
    }),
    column(
        "misfit_uniform",
        "",
        "Misfit of one motion everywhere.",
        |t, at| models(t, at, |m| m.uniform, 2),
    ),
    column(
        "misfit_lens",
        "",
        "Misfit of blur growing from the centre.",
        |t, at| models(t, at, |m| m.lens, 2),
    ),
    column(
        "misfit_turning",
        "",
        "Misfit of a turning camera.",
        |t, at| models(t, at, |m| m.turning, 2),
    ),
    column(
        "misfit_turning_and_lens",
        "",
        "Misfit of a turning camera with blur growing from the centre.",
        |t, at| models(t, at, |m| m.turning_and_lens, 2),
    ),
    column(
        "lens_growth_px2",
        "px2",
        "Square of the length that blur adds at the corners: radial above 0, tangential below.",
        |t, at| models(t, at, |m| m.lens_growth_px2, 2),
    ),
    column(
        "lens_growth_error_px2",
        "px2",
        "Its standard error.",
        |t, at| models(t, at, |m| m.lens_growth_error_px2, 2),
    ),
    column(
        "width_right_px",
        "px",
        "Change of star width from the left edge to the right, of the sensor: tilt.",
        |t, at| models(t, at, |m| m.width.right_px, 3),
    ),
    column(
        "width_down_px",
        "px",
        "Change of star width from the top edge to the bottom.",
        |t, at| models(t, at, |m| m.width.down_px, 3),
    ),
    column(
        "width_corner_px",
        "px",
        "Change of star width from the centre to the corners, tilt apart.",
        |t, at| models(t, at, |m| m.width.corner_px, 3),
    ),
    column(
        "fwhm_error_px",
        "px",
        "Standard error of fwhm_px.",
        |t, at| measured(t, at, |m| m.fwhm_error_px, 3),
    ),
];

fn models(table: &Table<'_>, at: usize, of: fn(&FieldModels) -> f64, places: usize) -> Cell {
    let models = table.measure(at).and_then(|m| m.models.as_ref());
    Cell::number(models.map(of), places)
}

const fn column(
    name: &'static str,
    unit: &'static str,
    meaning: &'static str,
    value: fn(&Table<'_>, usize) -> Cell,
) -> Column {
    Column {
        name,
        unit,
        meaning,
        value,
    }
}

fn measured(
    table: &Table<'_>,
    at: usize,
    of: fn(&FrameMeasure) -> Option<f64>,
    places: usize,
) -> Cell {
    Cell::number(table.measure(at).and_then(of), places)
}

fn derived(table: &Table<'_>, at: usize, of: fn(&Row) -> Option<f64>, places: usize) -> Cell {
    Cell::number(table.row(at).and_then(of), places)
}

/// Enough decimals that 1/8000 s is not 0 and 30 s is 30.
pub(super) fn exposure_places(exposure_s: Option<f64>) -> usize {
    match exposure_s {
        Some(t) if t >= 1.0 && t.fract() == 0.0 => 0,
        Some(t) if t >= 0.1 => 2,
        _ => 6,
    }
}

/// The codes of a row's reasons, each once, weightiest first.
#[must_use]
pub fn reason_codes(table: &Table<'_>, at: usize) -> Vec<&'static str> {
    let mut codes: Vec<&'static str> = Vec::new();
    let evidence = table.judgement(at).map_or(&[][..], |j| &j.evidence);
    for code in evidence.iter().map(|e| Reason::code(e.reason)) {
        if !codes.contains(&code) {
            codes.push(code);
        }
    }
    codes
}
