//! The field check: what the first frames of a night say while everything can still be changed.

use std::fmt::Write as _;

use crate::base::robust::median;
use crate::measure::FrameMeasure;
use crate::night::{Group, Night, Row, Set};
use crate::verdict::words::{figure, frames, number, plural};

/// A marked exposure and the true one that differ by less are the same, as a share.
const SAME_EXPOSURE: f64 = 0.01;
/// Widths that differ by less than this and by less than two standard errors are even, px.
const EVEN_PX: f64 = 0.3;
/// Seconds of an hour, and how far the sky turns in one, degrees.
const HOUR_S: f64 = 3600.0;
const HOUR_DEG: f64 = 15.041;

/// What the frames of `set` say, each as a heading and words: true exposure, missed frames, focus, tilt
/// and corners, clipping, sky, and what an hour like this will show. What cannot be told is left out.
#[must_use]
pub fn field_check(night: &Night, set: &Set) -> Vec<(&'static str, String)> {
    let rows: Vec<&Row> = set
        .frames
        .iter()
        .filter_map(|&row| night.rows.get(row))
        .collect();
    let measured: Vec<&FrameMeasure> = rows
        .iter()
        .filter_map(|row| row.measure.as_deref())
        .collect();
    let Some(group) = set.main_group.and_then(|group| night.groups.get(group)) else {
        return Vec::new();
    };
    if measured.is_empty() {
        return Vec::new();
    }
    [
        ("True exposure", true_exposure(group)),
        ("Missed", Some(missed(&rows))),
        ("Focus", focus(&measured)),
        ("Tilt", tilt(&measured)),
        (
            "Clipping",
            middle(&measured, |m| Some(m.saturated_pct)).map(clipping),
        ),
        ("Sky", middle(&measured, |m| Some(m.sky.level_pct)).map(sky)),
        ("In an hour", hour(group, set)),
    ]
    .into_iter()
    .filter_map(|(heading, words)| Some((heading, words?)))
    .collect()
}

/// The median over the frames that tell it.
fn middle(measured: &[&FrameMeasure], value: impl Fn(&FrameMeasure) -> Option<f64>) -> Option<f64> {
    let mut values: Vec<f64> = measured.iter().filter_map(|m| value(m)).collect();
    median(&mut values)
}

fn true_exposure(group: &Group) -> Option<String> {
    let marked = group.settings.exposure_s?;
    let turn = group.turn.filter(crate::night::SkyTurn::is_plausible)?;
    let real = marked * turn.length_ratio;
    Some(if (turn.length_ratio - 1.0).abs() < SAME_EXPOSURE {
        format!("{} s, as marked.", figure(marked))
    } else {
        format!(
            "{} s where {} s is marked, by the length of the trails: set the interval for that.",
            number(real, 1),
            figure(marked)
        )
    })
}

fn missed(rows: &[&Row]) -> String {
    let missing: u32 = rows.iter().map(|row| row.derived.missing_before).sum();
    match missing {
        0 => format!("none in {}.", frames(rows.len())),
        n => format!(
            "{} did not come: allow more time between exposures.",
            frames(n as usize)
        ),
    }
}

fn focus(measured: &[&FrameMeasure]) -> Option<String> {
    let centre = middle(measured, |m| m.fwhm_px)?;
    Some(format!(
        "stars {} px wide; try a hair either way and keep the least.",
        number(centre, 1)
    ))
}

fn tilt(measured: &[&FrameMeasure]) -> Option<String> {
    let plane = |value: fn(&crate::measure::WidthPlane) -> (f64, f64)| {
        let one = |m: &FrameMeasure| Some(value(&m.models.as_ref()?.width));
        let change = middle(measured, |m| Some(one(m)?.0))?;
        let error = middle(measured, |m| Some(one(m)?.1))?;
        let is_even = change.abs() < EVEN_PX || change.abs() < 2.0 * error;
        Some((change, is_even))
    };
    let (right, is_right_even) = plane(|w| (w.right_px, w.right_error_px))?;
    let (down, is_down_even) = plane(|w| (w.down_px, w.down_error_px))?;
    let (corner, is_corner_even) = plane(|w| (w.corner_px, w.corner_error_px))?;
    let mut parts = Vec::new();
    let side = |change: f64, more: &'static str, less: &'static str| {
        let side = if change > 0.0 { more } else { less };
        format!("{} px wider {side}", number(change.abs(), 1))
    };
    if !is_right_even {
        parts.push(side(right, "on the right", "on the left"));
    }
    if !is_down_even {
        parts.push(side(down, "at the bottom", "at the top"));
    }
    if !is_corner_even {
        parts.push(side(corner, "in the corners", "in the middle"));
    }
    Some(if parts.is_empty() {
        "none: stars are as wide on every side and in the corners.".to_owned()
    } else {
        format!("stars {}.", parts.join(", "))
    })
}

fn clipping(saturated_pct: f64) -> String {
    if saturated_pct < 0.01 {
        "less than 0.01 % of the frame is at full scale.".to_owned()
    } else {
        format!("{} % of the frame is at full scale.", figure(saturated_pct))
    }
}

fn sky(level_pct: f64) -> String {
    let hint = match level_pct {
        level if level < 2.0 => ": so dark that reading noise counts; expose longer or raise ISO",
        level if level > 25.0 => ": bright; less exposure or ISO leaves stars their colour",
        _ => "",
    };
    format!("{} % of full scale{hint}.", figure(level_pct))
}

fn hour(group: &Group, set: &Set) -> Option<String> {
    let (interval, marked) = (set.interval_s?, group.settings.exposure_s?);
    let factor = group
        .turn
        .as_ref()
        .map_or(1.0, crate::night::SkyTurn::exposure_factor);
    let pause = (interval - marked * factor).max(0.0);
    let count = plural((HOUR_S / interval) as usize, "frame", "frames");
    let mut words = format!("{count}, {}° of arc", number(HOUR_DEG, 0));
    if let Some(rate) = group.largest_rate_px_s {
        let (gap, shut) = (number(rate * pause, 1), number(pause, 1));
        let _ = write!(
            words,
            ", and a gap of up to {gap} px after every frame ({shut} s shut)"
        );
    }
    Some(words + ".")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verdict::testkit::{Calm, put};

    #[test]
    fn what_the_first_frames_say() {
        let mut inputs = Calm::default().inputs();
        inputs.truncate(6);
        inputs.remove(3);
        let night = put(&inputs, false);
        let said = field_check(&night, &night.sets[0]);
        let of = |heading: &str| {
            said.iter()
                .find(|(of, _)| *of == heading)
                .map(|(_, words)| words.as_str())
        };
        assert_eq!(
            of("Missed"),
            Some("1 frame did not come: allow more time between exposures.")
        );
        assert!(of("Focus").unwrap().starts_with("stars 2."), "{said:?}");
        assert!(of("Clipping").is_some() && of("Sky").unwrap().ends_with("% of full scale."));
        assert!(of("In an hour").unwrap().contains("° of arc"), "{said:?}");
        assert!(field_check(&Night::default(), &Set::default()).is_empty());
    }

    #[test]
    fn tilt_is_said_only_past_its_error() {
        let plane = crate::measure::WidthPlane {
            centre_px: 2.5,
            right_px: 1.2,
            right_error_px: 0.1,
            down_px: 1.2,
            down_error_px: 0.9,
            corner_px: 0.1,
            corner_error_px: 0.01,
            flat_misfit: 1.0,
        };
        let mut inputs = Calm::default().inputs();
        inputs.truncate(5);
        let night = put(&inputs, false);
        let mut measure = night.rows[0].measure.as_deref().unwrap().clone();
        measure.models = None;
        assert_eq!(tilt(&[&measure]), None);
        measure.models = Some(crate::measure::FieldModels {
            best: crate::measure::TrailCause::Still,
            still: 1.0,
            uniform: 1.0,
            lens: 1.0,
            turning: 1.0,
            turning_and_lens: 1.0,
            uniform_trail: crate::base::spin2::Spin2::default(),
            pole_px: None,
            lens_growth_px2: 0.0,
            lens_growth_error_px2: 1.0,
            width: plane,
        });
        assert_eq!(
            tilt(&[&measure]).unwrap(),
            "stars 1.2 px wider on the right."
        );
    }
}
