//! Interval and what an hour makes, how long to go on: the sequence arithmetic of common practice.

use super::facts::Facts;
use super::types::SettingAdvice;
use crate::sky::limits::{film_s, frames_per_hour};
use crate::sky::turning::arc_deg;
use crate::verdict::Purpose;
use crate::verdict::words::{frames, number, with_unit};

/// Seconds to leave for the camera to write a frame when nothing shorter was tried.
const WRITE_PAUSE_S: f64 = 1.0;
/// A pause longer than this share of the exposure is worth shortening.
const LONG_PAUSE_SHARE: f64 = 0.2;
/// From this share on the camera may be taking a dark frame after each exposure.
const DARK_AFTER_EACH_SHARE: f64 = 0.85;
/// Clocks of whole seconds are off by up to this between frames, s.
const LATE_S: f64 = 1.5;
/// About how long a long trail takes, s (common practice).
const LONG_TRAIL_S: f64 = 7200.0;
/// A film shorter than this hardly shows a night, s.
const SHORT_FILM_S: f64 = 10.0;

/// Rows on pace.
pub(super) fn rows(facts: &Facts<'_>) -> Vec<SettingAdvice> {
    if facts.purpose == Purpose::Still {
        return Vec::new();
    }
    let mut rows = Vec::new();
    let interval = interval(facts);
    let next_s = interval.as_ref().map(|advice| advice.next_s);
    rows.extend(interval.map(|advice| advice.row));
    rows.extend(duration(facts, next_s));
    rows
}

struct Interval {
    row: SettingAdvice,
    next_s: f64,
}

fn interval(facts: &Facts<'_>) -> Option<Interval> {
    let tonight = facts.set.interval_s?;
    let (open, measured) = facts.true_exposure_s()?;
    let marked = facts.exposure_s?;
    // What the trails show where they were fitted; else what the marks say, as is told elsewhere.
    let shut_from = if measured { open } else { marked };
    let pause = (tonight - shut_from).max(0.0);
    let missing: u32 = facts
        .set
        .frames
        .iter()
        .filter_map(|&at| facts.night.rows.get(at))
        .map(|row| row.derived.missing_before)
        .sum();
    let least = (open + WRITE_PAUSE_S).ceil();
    // What the camera once took to write it may take again.
    let longest = facts
        .longest_step_s()
        .map_or(pause, |step| step - shut_from);
    let late = longest - pause;
    let open_words = match (measured, open > 1.02 * marked) {
        (true, true) => format!(
            "The shutter was open {}, read off the trails.",
            with_unit(round1(open), "s")
        ),
        (false, true) => format!(
            "A marked {} may be {}.",
            with_unit(marked, "s"),
            with_unit(round1(open), "s")
        ),
        _ => format!("The shutter was open {}.", with_unit(marked, "s")),
    };
    let rate = facts.rate_px_s.filter(|_| facts.purpose == Purpose::Trails);
    let gap = rate.map_or_else(String::new, |rate| {
        let px = rate * pause;
        format!(", {} px in the trails", number(px, usize::from(px < 10.0)))
    });
    let pause_words = with_unit(round1(pause), "s");
    let missed = frames(missing as usize);
    // A film may be paced on purpose; elsewhere a pause only loses light.
    let paced = facts.purpose == Purpose::Timelapse;
    let half = (DARK_AFTER_EACH_SHARE * marked..=1.3 * marked).contains(&pause) && !paced;
    let (next_s, why) = if half {
        let why = format!("{pause_words} lost each time: dark subtraction on?");
        (least, why)
    } else if missing > 0 && pause < LONG_PAUSE_SHARE * open {
        let why = format!("{missed} missed at {}", with_unit(round1(tonight), "s"));
        ((tonight + WRITE_PAUSE_S).ceil().max(least), why)
    } else if pause > (LONG_PAUSE_SHARE * open).max(3.0) && !paced {
        (least, format!("{pause_words} lost each time{gap}"))
    } else if late > LATE_S && !paced {
        let why = format!("a write took {}", with_unit(round1(longest), "s"));
        ((shut_from + longest).ceil().max(least), why)
    } else if missing == 0 {
        (tonight, format!("no frame missed at a {pause_words} pause"))
    } else {
        (tonight, format!("{missed} missing tonight"))
    };
    let changed = (next_s - tonight).abs() > 0.5;
    let next_s = if changed { next_s } else { tonight };
    let hour = frames_per_hour(next_s).round();
    let advice = if half {
        " Half of the time nothing was exposed: turn off dark subtraction in the camera, or shorten the \
         interval."
    } else {
        ""
    };
    Some(Interval {
        next_s,
        row: SettingAdvice {
            setting: "Interval",
            tonight: with_unit(round1(tonight), "s"),
            next: if changed {
                with_unit(next_s, "s")
            } else {
                "the same".to_owned()
            },
            changed,
            why: format!("{why}; {hour} an hour"),
            detail: format!(
                "{open_words} A pause of {pause_words}{gap}.{advice} {}",
                hour_makes(facts, hour)
            ),
        },
    })
}

/// What an hour of `frames` makes.
fn hour_makes(facts: &Facts<'_>, frames: f64) -> String {
    let film = number(film_s(frames as usize, 24), 1);
    match facts.purpose {
        Purpose::Tracked => {
            let open = facts.exposure_s.unwrap_or(0.0) * frames / 60.0;
            format!("An hour makes {} minutes of open shutter.", number(open, 0))
        }
        Purpose::Timelapse => format!(
            "An hour makes {film} s of film at 24 a second; under 15 a second motion is not smooth."
        ),
        Purpose::Trails | Purpose::Still => {
            let arc = number(arc_deg(3600.0), 1);
            format!("An hour turns the sky by {arc}°, or makes {film} s of film at 24 a second.")
        }
    }
}

fn round1(value: f64) -> f64 {
    (10.0 * value).round() / 10.0
}

/// A longer night where this one makes a short trail or film.
fn duration(facts: &Facts<'_>, next_s: Option<f64>) -> Option<SettingAdvice> {
    let interval = facts.set.interval_s?;
    let count = facts.set.frames.len();
    let span = interval * count as f64;
    let advice = |next: f64, why: String| SettingAdvice {
        setting: "Duration",
        tonight: hours(span),
        next: hours(next),
        changed: true,
        why,
        detail: String::new(),
    };
    match facts.purpose {
        Purpose::Trails if span < 0.9 * LONG_TRAIL_S => Some(advice(
            LONG_TRAIL_S,
            format!(
                "{} make {}° of arc; long trails need 2 h, {}°",
                hours(span),
                number(arc_deg(span), 0),
                number(arc_deg(LONG_TRAIL_S), 0)
            ),
        )),
        Purpose::Timelapse if film_s(count, 24) < SHORT_FILM_S => {
            let wanted = SHORT_FILM_S * 24.0;
            Some(advice(
                wanted * next_s.unwrap_or(interval),
                format!(
                    "{} make {} s at 24 a second; {wanted} make {} s",
                    frames(count),
                    number(film_s(count, 24), 1),
                    number(SHORT_FILM_S, 0)
                ),
            ))
        }
        _ => None,
    }
}

/// "48 min", "2 h", "2 h 8 min".
fn hours(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round() as u64;
    match (minutes / 60, minutes % 60) {
        (0, min) => format!("{min} min"),
        (h, 0) => format!("{h} h"),
        (h, min) => format!("{h} h {min} min"),
    }
}
