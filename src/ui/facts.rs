//! The night's facts as words: the title row.

use crate::app::OpenNight;
use crate::chart::{axis::number, clock};
use crate::night::{Group, Night, Set};

use super::Fold;

/// Facts of the night in the order they are written; fewer where there is little room.
pub(super) fn of_night(open: &OpenNight, fold: Fold) -> Vec<String> {
    let night = open.night();
    let Some(set) = open.shown_set() else {
        return Vec::new();
    };
    let group = set.main_group.and_then(|index| night.groups.get(index));
    let mut facts = Vec::new();
    facts.extend(day(night, set));
    if !fold.short_facts {
        facts.extend(from_to(open));
    }
    facts.push(count(set, fold));
    if let Some(group) = group {
        facts.extend(settings(group, fold));
    }
    facts
}

/// What the files do not say that predicting trails needs, in a sentence.
pub(super) fn unknown(open: &OpenNight) -> Option<&'static str> {
    let set = open.shown_set()?;
    let group = open.night().groups.get(set.main_group?)?;
    let s = &group.settings;
    match (s.focal_length_mm, s.pixel_um) {
        (Some(_), Some(_)) => None,
        (None, None) => {
            Some("No focal length and pixel pitch in these files: no trails predicted.")
        }
        (None, Some(_)) => Some("No focal length in these files: no trails predicted."),
        (Some(_), None) => Some("No pixel pitch in these files: no trails predicted."),
    }
}

fn day(night: &Night, set: &Set) -> Option<String> {
    let row = night.rows.get(*set.frames.first()?)?;
    Some(row.facts.taken_at?.local.date().to_string())
}

fn from_to(open: &OpenNight) -> Option<String> {
    let start = open.night().start_clock_s?;
    let (from, to) = open.whole_times();
    let from = clock::to_the_minute(start, from);
    let to = clock::to_the_minute(start, to);
    Some(format!("{from} to {to}"))
}

fn count(set: &Set, fold: Fold) -> String {
    let frames = set.frames.len();
    match set.interval_s {
        Some(interval) if !fold.short_facts => {
            format!("{frames} frames every {} s", short(interval))
        }
        _ => format!("{frames} frames"),
    }
}

fn settings(group: &Group, fold: Fold) -> Vec<String> {
    let s = &group.settings;
    let mut optics = Vec::new();
    let (width, height) = s.size_px;
    let megapixels = f64::from(width) * f64::from(height) / 1e6;
    if !fold.short_facts && megapixels > 0.0 {
        optics.push(format!("{} MP", short(megapixels.max(0.1))));
    }
    let focal = s.focal_length_mm.map(|mm| format!("{} mm", short(mm)));
    let f_number = s.f_number.map(|n| format!("f/{}", short(n)));
    let lens: Vec<String> = focal.into_iter().chain(f_number).collect();
    if !lens.is_empty() {
        optics.push(lens.join(" "));
    }
    let mut facts = Vec::new();
    if !optics.is_empty() {
        facts.push(optics.join(", "));
    }
    facts.extend(s.exposure_s.map(exposure));
    facts.extend(s.iso.map(|iso| format!("ISO {iso}")));
    facts
}

/// An exposure as photographers write it: "30 s", "2.5 s", "1/60 s".
#[must_use]
pub(super) fn exposure(seconds: f64) -> String {
    if seconds > 0.0 && seconds < 0.4 {
        format!("1/{:.0} s", 1.0 / seconds)
    } else {
        format!("{} s", short(seconds))
    }
}

/// A number with one digit after the point, or none when that says it all.
#[must_use]
pub(super) fn short(value: f64) -> String {
    if value >= 100.0 || (value - value.round()).abs() < 0.05 {
        number(value, 0)
    } else {
        number(value, 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_as_short_as_they_may_be() {
        assert_eq!(short(32.0), "32");
        assert_eq!(short(2.8), "2.8");
        assert_eq!(exposure(1.0 / 60.0), "1/60 s");
        assert_eq!(exposure(30.0), "30 s");
    }
}
