//! Exposure, ISO and aperture: how long stars stay points, and where the sky's level lies.

use super::compare::Comparison;
use super::facts::Facts;
use super::scales::{exposure_within, nearest_iso};
use super::sensor::Sensor;
use super::types::{AdviceOptions, SettingAdvice};
use crate::verdict::Purpose;
use crate::verdict::words::{figure, number, with_unit};

/// Sky levels to aim at, percent of full scale in linear light: high enough that the sky covers the
/// read noise, low enough that stars keep room. Common practice puts the sky's peak between a fifth
/// and a half of the camera's histogram, which the sRGB curve makes 3.3 to 21 % of linear light.
const SKY_BAND_PCT: (f64, f64) = (4.0, 20.0);
/// The same in files put through a tone curve, taken back through the sRGB curve: their levels are
/// relative, so only extremes are told.
const TONE_MAPPED_BAND_PCT: (f64, f64) = (2.0, 25.0);
/// Most stops to change at once: the level then says how to go on.
const MOST_STOPS: f64 = 2.0;
/// Past this a higher ISO buys little but clipped stars on most cameras (common practice).
const HIGHEST_ISO: u32 = 6400;
/// A trail up to this share of the width still reads as round (elongation 1.2).
const ROUND_SHARE: f64 = 0.9;
/// A trail shorter than this in a film passes as a point.
const FILM_WIDTH_PX: f64 = 1920.0;

/// Rows on light: exposure first, as ISO follows it. Where several ISO settings were tried tonight,
/// `tried` says which was best.
pub(super) fn rows(
    facts: &Facts<'_>,
    options: AdviceOptions,
    tried: &Comparison,
) -> Vec<SettingAdvice> {
    let mut rows = Vec::new();
    let exposure = exposure(facts, options);
    let shorter = match (&exposure, facts.exposure_s) {
        (Some(advice), Some(tonight)) => tonight / advice.next_s,
        _ => 1.0,
    };
    rows.extend(exposure.map(|advice| advice.row));
    let iso = iso(facts, shorter, tried);
    let open_wider = iso.as_ref().is_some_and(|advice| advice.still_dark);
    rows.extend(iso.map(|advice| advice.row));
    rows.extend(aperture(facts, open_wider));
    rows
}

struct Exposure {
    row: SettingAdvice,
    next_s: f64,
}

fn exposure(facts: &Facts<'_>, options: AdviceOptions) -> Option<Exposure> {
    let tonight = facts.exposure_s?;
    let nothing_more = String::new;
    let (next_s, why, mut detail) = match facts.purpose {
        Purpose::Trails => (tonight, trails_why(facts)?, nothing_more()),
        Purpose::Timelapse => (tonight, timelapse_why(facts, options)?, nothing_more()),
        Purpose::Still => still(facts, options, tonight)?,
        Purpose::Tracked => {
            let (next_s, why) = tracked(facts, tonight)?;
            (next_s, why, nothing_more())
        }
    };
    if let Some(sensor) = Sensor::of(facts) {
        let words = sensor.words();
        detail = if detail.is_empty() {
            words
        } else {
            format!("{detail} {words}")
        };
    }
    let changed = (next_s / tonight - 1.0).abs() > 0.03;
    Some(Exposure {
        next_s: if changed { next_s } else { tonight },
        row: SettingAdvice {
            setting: "Exposure",
            tonight: with_unit(tonight, "s"),
            next: if changed {
                with_unit(next_s, "s")
            } else {
                "the same".to_owned()
            },
            changed,
            why,
            detail,
        },
    })
}

fn trails_why(facts: &Facts<'_>) -> Option<String> {
    match (facts.dwell_s(), facts.exposure_s) {
        (Some(dwell), Some(t)) if dwell < t => Some(format!(
            "a star crosses its width in {}; longer brightens only sky",
            with_unit(dwell.round().max(1.0), "s")
        )),
        (Some(dwell), _) => Some(format!(
            "a star crosses its width in {}: longer still brightens",
            with_unit(dwell.round(), "s")
        )),
        _ => facts.exposure_s.map(|t| {
            format!(
                "{} an hour back to back; 30 s is common for trails",
                number(3600.0 / t, 0)
            )
        }),
    }
}

/// "NPF (k = 2) passes 8.1 s".
fn stops_words(stops: f64) -> String {
    let unit = if (stops - 1.0).abs() < 0.05 {
        "stop"
    } else {
        "stops"
    };
    format!("{} {unit}", figure(stops))
}

fn npf_words(k: f64, limit: f64) -> String {
    format!("NPF (k = {}) passes {}", figure(k), with_unit(limit, "s"))
}

/// What the NPF rule was computed from.
fn lens_words(facts: &Facts<'_>) -> String {
    let lens = [
        facts.focal_mm.map(|f| with_unit(f, "mm")),
        facts.f_number.map(|n| format!("f/{}", figure(n))),
        facts.pixel_um.map(|p| with_unit(p, "µm")),
    ];
    let lens: Vec<String> = lens.into_iter().flatten().collect();
    format!("NPF from {}.", lens.join(", "))
}

fn timelapse_why(facts: &Facts<'_>, options: AdviceOptions) -> Option<String> {
    let width = f64::from(facts.group.settings.size_px.0.max(1));
    let film = facts.trail_px.map(|trail| {
        let in_film = with_unit(trail * (FILM_WIDTH_PX / width).min(1.0), "px");
        format!("trails of {in_film} in a film 1920 px wide")
    });
    // Where trails were not measured; the row "As points" has it otherwise.
    let npf = facts.npf_s(options.npf_k);
    film.or_else(|| npf.map(|limit| npf_words(options.npf_k, limit)))
}

/// The longest exposure whose trails pass as points, by NPF and by what was measured.
fn still(facts: &Facts<'_>, options: AdviceOptions, tonight: f64) -> Option<(f64, String, String)> {
    let by_trail = facts.trail_px.zip(facts.width_px).map(|(trail, width)| {
        let words = format!("trails {}, width {}", with_unit(trail, "px"), figure(width));
        // Below half a pixel a trail's length is noise.
        let limit = (trail > 0.5).then(|| tonight * ROUND_SHARE * width / trail);
        (limit, words)
    });
    let npf = facts.npf_s(options.npf_k);
    match (npf, by_trail) {
        (Some(limit), by_trail) => {
            let mut why = npf_words(options.npf_k, limit);
            if let Some((_, words)) = by_trail {
                why = format!("{why}; {words}");
            }
            Some((exposure_within(limit.min(tonight)), why, lens_words(facts)))
        }
        (None, Some((Some(limit), words))) => {
            let why = format!("{words}: round up to {}", with_unit(limit, "s"));
            Some((exposure_within(limit.min(tonight)), why, String::new()))
        }
        (None, Some((None, words))) => Some((tonight, words, String::new())),
        (None, None) => None,
    }
}

fn tracked(facts: &Facts<'_>, tonight: f64) -> Option<(f64, String)> {
    let elongation = facts.elongation?;
    let round = format!("stars {} times as long as wide", number(elongation, 2));
    let trail = facts.trail_px.zip(facts.width_px);
    match trail.filter(|(trail, width)| *trail > ROUND_SHARE * width) {
        Some((trail, width)) => {
            let next = exposure_within(tonight * ROUND_SHARE * width / trail);
            let drift = with_unit(trail, "px");
            let why = format!("{round}: {drift} of drift in {}", with_unit(tonight, "s"));
            Some((next, why))
        }
        None => Some(long_enough(facts, tonight, trail, round)),
    }
}

/// Round stars leave room for a longer exposure, if read noise asks for one.
fn long_enough(
    facts: &Facts<'_>,
    tonight: f64,
    trail: Option<(f64, f64)>,
    round: String,
) -> (f64, String) {
    let Some(sensor) = Sensor::of(facts).filter(|sensor| sensor.adds(tonight) > 0.05) else {
        return (tonight, round);
    };
    // Drift grows with the exposure.
    let still_round = trail.map_or(f64::INFINITY, |(trail, width)| {
        tonight * ROUND_SHARE * width / trail.max(0.1)
    });
    let next = sensor
        .exposure_s()
        .min(exposure_within(still_round))
        .max(tonight);
    let adds = number(100.0 * sensor.adds(tonight), 0);
    (
        next,
        format!("stars are round, read noise adds {adds} % to the sky’s"),
    )
}

struct Iso {
    row: SettingAdvice,
    /// Even the highest sensible ISO leaves the sky dark.
    still_dark: bool,
}

/// ISO that brings the sky into its band and keeps its level when the exposure gets `shorter` times
/// shorter. ISO does not make light: it places the level.
fn iso(facts: &Facts<'_>, shorter: f64, tried: &Comparison) -> Option<Iso> {
    let tonight = facts.iso?;
    let level = facts.sky_pct?;
    let linear = facts.group.linear;
    let (low, high) = if linear {
        SKY_BAND_PCT
    } else {
        TONE_MAPPED_BAND_PCT
    };
    let aim = (low * high).sqrt();
    let stops = if level > high || (level < low && level > 0.0) {
        (aim / level).log2().round().clamp(-MOST_STOPS, MOST_STOPS)
    } else {
        0.0
    };
    if let Some(row) = iso_tried(tonight, tried) {
        return Some(Iso {
            row,
            still_dark: false,
        });
    }
    let wanted = f64::from(tonight) * stops.exp2() * shorter;
    let highest = f64::from(HIGHEST_ISO.max(tonight));
    let next = nearest_iso(wanted.min(highest));
    let changed = next != tonight && (f64::from(next) / f64::from(tonight)).log2().abs() > 0.2;
    let level_words = format!("sky at {}", with_unit(level, "%"));
    let band = format!("{} to {} %", figure(low), figure(high));
    let why = if stops < 0.0 {
        let less = stops_words(-stops);
        format!("{level_words}, over {band}: {less} less for stars to have room")
    } else if stops > 0.0 {
        format!("{level_words}, under {band}: {} more", stops_words(stops))
    } else if changed {
        let exposure = if shorter < 1.0 { "longer" } else { "shorter" };
        format!("keeps the {level_words} with the {exposure} exposure")
    } else {
        (Sensor::of(facts).zip(facts.exposure_s)).map_or_else(
            || format!("{level_words}, within {band}"),
            |(sensor, exposure)| {
                let adds = number(100.0 * sensor.adds(exposure), 0);
                if sensor.adds(exposure) < 0.05 {
                    format!("read noise adds {adds} % to the sky’s: more ISO gains little")
                } else {
                    format!("{level_words}; read noise adds {adds} % to its noise")
                }
            },
        )
    };
    let relative = if linear {
        ""
    } else {
        " Levels of these files are relative: they went through a tone curve."
    };
    let detail = format!(
        "Percent of full scale, against what is common practice. ISO places the level; it makes no \
         light.{relative}"
    );
    Some(Iso {
        still_dark: wanted > 1.4 * highest,
        row: SettingAdvice {
            setting: "ISO",
            tonight: tonight.to_string(),
            next: if changed {
                next.to_string()
            } else {
                "the same".to_owned()
            },
            changed,
            why,
            detail,
        },
    })
}

/// The ISO that was best of those tried tonight.
fn iso_tried(tonight: u32, tried: &Comparison) -> Option<SettingAdvice> {
    let knee = tried.knee?;
    let (higher, adds) = knee.next;
    let changed = knee.iso != tonight;
    let adds = number(100.0 * adds.max(0.0), 0);
    Some(SettingAdvice {
        setting: "ISO",
        tonight: tonight.to_string(),
        next: if changed {
            knee.iso.to_string()
        } else {
            "the same".to_owned()
        },
        changed,
        why: format!("of those tried: ISO {higher} adds {adds} % to signal-to-noise"),
        detail: format!("{} See Compare.", tried.headline),
    })
}

/// A wider aperture only where neither exposure nor ISO can bring the light.
fn aperture(facts: &Facts<'_>, open_wider: bool) -> Option<SettingAdvice> {
    let f_number = facts.f_number.filter(|n| open_wider && *n > 2.0)?;
    Some(SettingAdvice {
        setting: "Aperture",
        tonight: format!("f/{}", figure(f_number)),
        next: format!("f/{} or wider", figure(f_number / std::f64::consts::SQRT_2)),
        changed: true,
        why: format!("ISO {HIGHEST_ISO} leaves the sky dark; a stop doubles the light"),
        detail: String::new(),
    })
}
