//! Values a frame has by being part of a night: excess over what is expected, angle as displayed.

use super::baseline::trail_px;
use super::types::{Night, Row, Set};
use crate::frame::Orientation;

/// Fills the derived values of every sky row, once series and turning are known.
pub(super) fn fill(night: &mut Night) {
    let Night { rows, sets, .. } = night;
    for row in rows.iter_mut() {
        let Some(measure) = row.measure.clone() else {
            continue;
        };
        row.derived.trail_angle_deg = displayed_angle(row, &sets[row.set]);
        let orientation = sets[row.set].orientation;
        row.derived.sky_brightens_deg =
            (measure.sky.brightens_deg).map(|angle| displayed_direction(angle, orientation));
        let baseline = row.derived.expected_trail_px.or(row.typical.trail_px);
        row.derived.excess_px = match (trail_px(row), baseline) {
            (Some(trail), Some(baseline)) => Some(trail - baseline),
            _ => None,
        };
    }
}

/// The trail's angle as the set is displayed: by the orientation most of its frames have, so that
/// a tag that flips near the zenith makes no jump.
fn displayed_angle(row: &Row, set: &Set) -> Option<f64> {
    let sensor = row.measure.as_ref()?.trail?.angle_deg?;
    Some(displayed(sensor, set.orientation))
}

/// A headless angle, anticlockwise from image right, after turning the picture for display.
fn displayed(angle_deg: f64, orientation: Orientation) -> f64 {
    displayed_direction(angle_deg, orientation).rem_euclid(180.0)
}

/// A direction, anticlockwise from image right, after turning the picture for display.
///
/// Source: Exif 2.32 (CIPA DC-008), tag Orientation: where the stored first row and first column
/// lie in the picture as seen.
fn displayed_direction(angle_deg: f64, orientation: Orientation) -> f64 {
    let angle = match orientation.0 {
        2 => 180.0 - angle_deg,
        3 => angle_deg + 180.0,
        4 => -angle_deg,
        5 => 270.0 - angle_deg,
        6 => angle_deg - 90.0,
        7 => 90.0 - angle_deg,
        8 => angle_deg + 90.0,
        _ => angle_deg,
    };
    angle.rem_euclid(360.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn directions_in_every_orientation() {
        // Stored right: by hand from where row 0 and column 0 are seen (5: left and top; 6: right
        // and top; 7: right and bottom; 8: left and bottom).
        let by_hand = [0.0, 180.0, 180.0, 0.0, 270.0, 270.0, 90.0, 90.0];
        // Stored up.
        let up = [90.0, 90.0, 270.0, 270.0, 180.0, 0.0, 0.0, 180.0];
        for (tag, (right, up)) in (1..=8).zip(by_hand.into_iter().zip(up)) {
            let turned = |angle| displayed_direction(angle, Orientation(tag));
            assert!((turned(0.0) - right).abs() < 1e-9, "{tag}");
            assert!((turned(90.0) - up).abs() < 1e-9, "{tag}");
        }
    }

    #[test]
    fn every_orientation() {
        // A trail 30° above image right, by hand for Exif 1 to 8.
        let by_hand = [30.0, 150.0, 30.0, 150.0, 60.0, 120.0, 60.0, 120.0];
        for (tag, angle) in (1..=8).zip(by_hand) {
            assert!(
                (displayed(30.0, Orientation(tag)) - angle).abs() < 1e-9,
                "{tag}"
            );
        }
        assert!(
            displayed(0.0, Orientation(2)).abs() < 1e-9,
            "stays in [0, 180)"
        );
    }
}
