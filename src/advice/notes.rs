//! Cautions and caveats that fit this night.

use super::facts::Facts;
use super::types::SettingAdvice;
use crate::verdict::Purpose;

/// Focal lengths up to this are usual for star trails, mm (common practice).
const WIDE_LENS_MM: f64 = 50.0;

pub(super) fn notes(facts: &Facts<'_>, rows: &[SettingAdvice]) -> Vec<String> {
    let changed = |setting: &str| rows.iter().any(|r| r.setting == setting && r.changed);
    let mut notes = Vec::new();
    let mut note = |text: &str| notes.push(text.to_owned());
    if facts.night.pending > 0 {
        note("From the frames measured so far.");
    }
    if !facts.group.linear {
        note(
            "Levels are relative: these files went through the camera's tone curve, so they compare \
             within this night only, and noise drives no advice.",
        );
    }
    if facts.focal_mm.is_none() || facts.pixel_um.is_none() {
        note(
            "Focal length or pixel pitch is not in the files; supply them for the exposure limit and \
             the size of gaps.",
        );
    }
    if facts.exposure_s.is_none() {
        note("The files do not say how long they were exposed.");
    }
    if facts.purpose == Purpose::Trails {
        if facts.iso.is_none() {
            note("Not in the files: ISO. ISO 1600 is a common middle ground to start from.");
        }
        if facts.focal_mm.is_some_and(|f| f > WIDE_LENS_MM) {
            note("Star trails are commonly made with lenses of 50 mm or wider.");
        }
    }
    if changed("Lens warmer") {
        note("Wire a lens warmer and its battery as their makers say.");
    }
    if changed("End") && facts.purpose == Purpose::Timelapse {
        note("Never point an unfiltered lens at the Sun: stop before sunrise.");
    }
    if changed("Duration") {
        note(
            "A longer night outside: know the ground by day, mind the cold, tell someone where you \
             are. Local law and site rules come first.",
        );
    }
    notes
}
