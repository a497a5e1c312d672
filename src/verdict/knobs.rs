//! The thresholds as a person edits them: each by its name, in words, with its bounds.

use std::ops::RangeInclusive;

use super::types::{Purpose, Thresholds};

/// One threshold that can be edited.
pub struct Knob {
    /// Its name where thresholds are kept: that of the field.
    pub name: &'static str,
    /// What it limits.
    pub label: &'static str,
    /// Its unit; "×" is a factor, "" a plain number.
    pub unit: &'static str,
    /// From where to where it makes sense.
    pub bounds: RangeInclusive<f64>,
    /// A step that makes a difference.
    pub step: f64,
    /// For what it counts.
    pub purposes: &'static [Purpose],
    /// Reads it.
    pub get: fn(&Thresholds) -> f64,
    /// Writes it; what lies outside the bounds is for [`Knob::set_within`].
    pub set: fn(&mut Thresholds, f64),
}

impl Knob {
    /// Writes a value, held to the bounds; what is no number changes nothing.
    pub fn set_within(&self, thresholds: &mut Thresholds, value: f64) {
        if value.is_finite() {
            let held = value.clamp(*self.bounds.start(), *self.bounds.end());
            (self.set)(thresholds, held);
        }
    }
}

/// Thresholds with every value within its bounds, as for those read from a file.
#[must_use]
pub fn held(mut thresholds: Thresholds) -> Thresholds {
    let usual = Thresholds::default();
    for knob in &KNOBS {
        let value = (knob.get)(&thresholds);
        let value = if value.is_finite() {
            value
        } else {
            (knob.get)(&usual)
        };
        knob.set_within(&mut thresholds, value);
    }
    thresholds
}

const ALL: &[Purpose] = &Purpose::ALL;
const TRAILS: &[Purpose] = &[Purpose::Trails];
const FIXED: &[Purpose] = &[Purpose::Trails, Purpose::Still];
const TRAILS_AND_FILM: &[Purpose] = &[Purpose::Trails, Purpose::Timelapse];
const FILM: &[Purpose] = &[Purpose::Timelapse];
const TRACKED: &[Purpose] = &[Purpose::Tracked];
const NO_FILM: &[Purpose] = &[Purpose::Trails, Purpose::Still, Purpose::Tracked];

macro_rules! knob {
    ($field:ident, $label:expr, $unit:expr, $bounds:expr, $step:expr, $purposes:expr) => {
        Knob {
            name: stringify!($field),
            label: $label,
            unit: $unit,
            bounds: $bounds,
            step: $step,
            purposes: $purposes,
            get: |t| t.$field,
            set: |t, value| t.$field = value,
        }
    };
}

/// Every threshold, in the order it is shown.
pub const KNOBS: [Knob; 27] = [
    knob!(
        trail_doubt_px,
        "Trail too long, doubtful",
        "px",
        0.2..=20.0,
        0.1,
        FIXED
    ),
    knob!(
        trail_doubt_share,
        "…or as a share",
        "×",
        0.02..=2.0,
        0.01,
        FIXED
    ),
    knob!(
        trail_reject_px,
        "Trail too long, reject",
        "px",
        0.5..=50.0,
        0.1,
        TRAILS_AND_FILM
    ),
    knob!(
        trail_reject_share,
        "…or as a share",
        "×",
        0.05..=5.0,
        0.05,
        TRAILS_AND_FILM
    ),
    knob!(
        width_doubt,
        "Stars wider, doubtful",
        "×",
        1.05..=5.0,
        0.05,
        &[Purpose::Trails, Purpose::Timelapse, Purpose::Still]
    ),
    knob!(
        width_reject,
        "Stars wider, reject",
        "×",
        1.1..=10.0,
        0.05,
        TRAILS
    ),
    knob!(
        sky_doubt,
        "Sky over the darkest tenth, doubtful",
        "×",
        1.05..=10.0,
        0.05,
        &[Purpose::Trails, Purpose::Tracked]
    ),
    knob!(
        step_doubt_share,
        "Step of light, doubtful",
        "×",
        0.005..=1.0,
        0.005,
        FILM
    ),
    knob!(
        step_reject_share,
        "Step of light, reject",
        "×",
        0.02..=3.0,
        0.01,
        FILM
    ),
    Knob {
        name: "stars_least",
        label: "Fewest stars to judge by",
        unit: "",
        bounds: 5.0..=500.0,
        step: 1.0,
        purposes: NO_FILM,
        get: |t| f64::from(t.stars_least),
        set: |t, value| t.stars_least = value.round() as u32,
    },
    knob!(
        stars_doubt_share,
        "Share of the usual stars, doubtful below",
        "×",
        0.05..=0.95,
        0.05,
        ALL
    ),
    knob!(
        outlier_z,
        "Out of line with the frames around from",
        "σ",
        2.0..=20.0,
        0.5,
        ALL
    ),
    knob!(
        outlier_share,
        "…and by at least this share",
        "×",
        0.0..=1.0,
        0.01,
        NO_FILM
    ),
    knob!(
        elongation_doubt,
        "Stars not round, doubtful",
        "×",
        1.05..=5.0,
        0.05,
        TRACKED
    ),
    knob!(
        elongation_reject,
        "Stars not round, reject",
        "×",
        1.1..=10.0,
        0.05,
        TRACKED
    ),
    knob!(
        clipped_doubt_pct,
        "At full scale, doubtful",
        "%",
        0.1..=100.0,
        0.5,
        ALL
    ),
    knob!(
        clipped_reject_pct,
        "At full scale, reject",
        "%",
        1.0..=100.0,
        1.0,
        ALL
    ),
    knob!(
        flux_doubt_mag,
        "Light lost by stars, doubtful",
        "mag",
        0.05..=5.0,
        0.05,
        FIXED
    ),
    knob!(
        flux_reject_mag,
        "Light lost by stars, reject",
        "mag",
        0.1..=10.0,
        0.05,
        TRAILS
    ),
    knob!(
        streak_doubt_pct,
        "Length of a line, doubtful",
        "% of the diagonal",
        0.5..=100.0,
        0.5,
        NO_FILM
    ),
    knob!(
        shift_doubt_px,
        "Jump of the pointing, doubtful",
        "px",
        0.2..=50.0,
        0.1,
        ALL
    ),
    knob!(
        shift_reject_px,
        "Jump of the pointing, reject",
        "px",
        0.5..=200.0,
        0.5,
        FILM
    ),
    knob!(
        tracked_width_doubt,
        "Stars wider, doubtful",
        "×",
        1.02..=5.0,
        0.05,
        TRACKED
    ),
    knob!(
        tracked_width_reject,
        "Stars wider, reject",
        "×",
        1.05..=10.0,
        0.05,
        TRACKED
    ),
    knob!(
        tracked_flux_doubt_mag,
        "Light lost by stars, doubtful",
        "mag",
        0.05..=5.0,
        0.05,
        TRACKED
    ),
    knob!(
        tracked_sky_reject,
        "Sky over the darkest tenth, reject",
        "×",
        1.5..=50.0,
        0.5,
        TRACKED
    ),
    knob!(
        tracked_flux_reject_mag,
        "Light lost by stars, reject",
        "mag",
        0.1..=10.0,
        0.05,
        TRACKED
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_threshold_has_its_knob_within_bounds() {
        let usual = Thresholds::default();
        let json = serde_json::to_value(usual).unwrap();
        let mut fields: Vec<&str> = json
            .as_object()
            .unwrap()
            .keys()
            .map(String::as_str)
            .collect();
        let mut named: Vec<&str> = KNOBS.iter().map(|knob| knob.name).collect();
        fields.sort_unstable();
        named.sort_unstable();
        assert_eq!(fields, named);
        for knob in &KNOBS {
            let value = (knob.get)(&usual);
            assert!(knob.bounds.contains(&value), "{}: {value}", knob.name);
            let mut other = usual;
            knob.set_within(&mut other, value + knob.step);
            assert_ne!(other, usual, "{}", knob.name);
        }
        assert_eq!(held(usual), usual);
    }

    #[test]
    fn what_is_out_of_bounds_or_no_number_is_held() {
        let wild = Thresholds {
            trail_doubt_px: -3.0,
            width_doubt: f64::NAN,
            outlier_z: f64::INFINITY,
            ..Thresholds::default()
        };
        let held = held(wild);
        assert_eq!(held.trail_doubt_px, 0.2);
        assert_eq!(held.width_doubt, 1.4);
        assert_eq!(held.outlier_z, 3.5);
    }
}
