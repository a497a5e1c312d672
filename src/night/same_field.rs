//! Where the field seen at one place of a frame is in another frame, also of other settings.

use super::groups::near;
use super::matching::{Point, StarList, common_stars};
use super::stars::{Frame, frames, points, reach_px, sense, turn_stars};
use super::turn::optics;
use super::types::{Group, Night, Row};
use crate::base::robust;
use crate::measure::FrameMeasure;
use crate::sky::Camera;
use crate::sky::projection::Ray;

/// Stars of a frame that are matched.
const MOST_STARS: usize = 200;
/// Matched stars around a place that say how far it is off.
const NEAREST: usize = 8;

/// Ties the places of one frame to those of another that show the same stars: the sky's turning
/// between the two, where it is known, and the stars they have in common.
///
/// Without enough common stars the turning alone is followed; with neither, places stay.
#[derive(Debug, Clone, Default)]
pub struct SameField {
    /// Lens, pole the sky turns right-handed about, and the time between the frames, s.
    turn: Option<(Camera, Ray, f64)>,
    /// Where common stars are predicted, and how far off they are seen, px.
    seen_off: Vec<[f64; 4]>,
}

/// One frame whose field is sought in others.
#[derive(Debug)]
pub struct FieldOf<'a> {
    night: &'a Night,
    /// Middle of its exposure, s.
    time_s: Option<f64>,
    /// Lens, and pole the sky turns right-handed about.
    turning: Option<(Camera, Ray)>,
    stars: StarList,
    width_px: f64,
}

impl<'a> FieldOf<'a> {
    /// Of the frame at `row`; without stars when that is not measured.
    #[must_use]
    pub fn row(night: &'a Night, row: usize) -> Self {
        let frame = night.rows.get(row);
        let measure = frame.and_then(|frame| frame.measure.as_deref());
        Self {
            night,
            time_s: frame.and_then(middle_s),
            turning: frame.and_then(|frame| turning(night, frame.group?)),
            stars: measure.map(list).unwrap_or_default(),
            width_px: measure.map_or(0.0, |measure| measure.width_px as f64),
        }
    }

    /// Ties it to the frame at row `to`.
    #[must_use]
    pub fn in_row(&self, to: usize) -> SameField {
        let Some(other) = self.night.rows.get(to) else {
            return SameField::default();
        };
        let seconds = self.time_s.zip(middle_s(other)).map(|(a, b)| b - a);
        let turn = (self.turning.zip(seconds)).map(|((lens, pole), s)| (lens, pole, s));
        let predicted = match &turn {
            Some((camera, pole, seconds)) => turn_stars(&self.stars, camera, *pole, *seconds),
            None => self.stars.brightest_first().to_vec(),
        };
        let seen = other.measure.as_deref().map(list).unwrap_or_default();
        let common = common_stars(&predicted, &seen, reach_px(self.width_px)).unwrap_or_default();
        let off = |(a, b): &(Point, Point)| [a.x_px, a.y_px, b.x_px - a.x_px, b.y_px - a.y_px];
        SameField {
            turn,
            seen_off: common.iter().map(off).collect(),
        }
    }
}

impl SameField {
    /// Whether stars were matched: else places follow from the turning or stay.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        !self.seen_off.is_empty()
    }

    /// Where the field at (`x_px`, `y_px`) of the first frame is in the second, px: to a px or so
    /// where stars are matched around it.
    #[must_use]
    pub fn at(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let (x, y) = self.turned(x_px, y_px).unwrap_or((x_px, y_px));
        let mut stars: Vec<&[f64; 4]> = self.seen_off.iter().collect();
        let away = |star: &[f64; 4]| (star[0] - x).hypot(star[1] - y);
        if stars.len() > NEAREST {
            stars.select_nth_unstable_by(NEAREST, |a, b| away(a).total_cmp(&away(b)));
            stars.truncate(NEAREST);
        }
        let middle = |part: usize| {
            let mut values: Vec<f64> = stars.iter().map(|star| star[part]).collect();
            robust::median(&mut values).unwrap_or(0.0)
        };
        (x + middle(2), y + middle(3))
    }

    fn turned(&self, x_px: f64, y_px: f64) -> Option<(f64, f64)> {
        let (camera, pole, seconds) = self.turn.as_ref()?;
        let place = Point {
            x_px,
            y_px,
            ln_flux: None,
        };
        let place = StarList::new(vec![place]);
        let moved = turn_stars(&place, camera, *pole, *seconds);
        moved.first().map(|moved| (moved.x_px, moved.y_px))
    }
}

fn list(measure: &FrameMeasure) -> StarList {
    points(measure, MOST_STARS)
}

/// Middle of a frame's exposure, s: where a trail's centre is.
fn middle_s(row: &Row) -> Option<f64> {
    Some(row.time_s? + 0.5 * row.facts.exposure_s.unwrap_or(0.0))
}

/// The lens of a group and the pole its sky turns right-handed about: its own, or that of the
/// group with the most frames that looks through the same lens.
fn turning(night: &Night, group: usize) -> Option<(Camera, Ray)> {
    let settings = &night.groups.get(group)?.settings;
    let same_lens = |other: &Group| {
        let s = &other.settings;
        s.camera == settings.camera
            && s.size_px == settings.size_px
            && near(s.focal_length_mm, settings.focal_length_mm)
            && near(s.pixel_um, settings.pixel_um)
    };
    let with_turn = |&(_, other): &(usize, &Group)| other.turn.is_some() && same_lens(other);
    let (index, best) = (night.groups.iter().enumerate())
        .filter(with_turn)
        .max_by_key(|(index, other)| (*index == group, other.rows.len()))?;
    let camera = optics(night, index)?;
    // All frames through this lens: two of one setting may not be enough to tell the sense.
    let mut all: Vec<Frame> = (0..night.groups.len())
        .filter(|&other| same_lens(&night.groups[other]))
        .flat_map(|other| frames(night, other))
        .filter(|frame| frame.time_s.is_some())
        .collect();
    all.sort_by(|a, b| a.time_s.unwrap_or(0.0).total_cmp(&b.time_s.unwrap_or(0.0)));
    let pole = sense(&all, &camera, best.turn?.pole)?;
    Some((camera, pole))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::super::{FrameInput, FrameState, NightOptions, assemble};
    use super::*;
    use crate::base::Spin2;
    use crate::frame::{Facts, Light};
    use crate::measure::{FrameMeasure, Star, StarErrors, StarFlags};

    /// Two frames of different ISO: in the second all stars are 24 px right and 12 px up.
    fn pushed() -> Night {
        let input = |shot: usize, by: (f32, f32)| {
            let mut measure = FrameMeasure::empty(3000, 2000, Light::Linear);
            measure.star_count = 60;
            measure.stars = (0..60u16)
                .map(|n| Star {
                    x_px: 60.0 + f32::from(n * 977 % 2800) + by.0,
                    y_px: 60.0 + f32::from(n * 613 % 1800) + by.1,
                    flux: 9.0 - 0.1 * f32::from(n),
                    peak: 0.3,
                    snr: 80.0,
                    fwhm_px: 2.5,
                    elongation: 1.0,
                    trail: Spin2::default(),
                    flags: StarFlags::default(),
                    errors: StarErrors::default(),
                })
                .collect();
            FrameInput {
                shot,
                name: format!("{shot}.dng"),
                path: format!("{shot}.dng").into(),
                facts: Some(Facts {
                    iso: Some(800 << shot),
                    width_px: 3000,
                    height_px: 2000,
                    ..Facts::default()
                }),
                state: FrameState::Measured(Arc::new(measure)),
            }
        };
        let inputs = [input(0, (0.0, 0.0)), input(1, (24.0, -12.0))];
        assemble(&inputs, &NightOptions::default())
    }

    #[test]
    fn a_push_between_settings_is_followed() {
        let night = pushed();
        let link = FieldOf::row(&night, 0).in_row(1);
        assert!(link.is_sure());
        let (x, y) = link.at(1500.0, 1000.0);
        // The reach is 1 % of the width: 30 px.
        assert!(
            (x - 1524.0).abs() < 0.1 && (y - 988.0).abs() < 0.1,
            "{x} {y}"
        );
    }

    #[test]
    fn without_stars_places_stay() {
        let night = Night::default();
        let link = FieldOf::row(&night, 0).in_row(1);
        assert!(!link.is_sure());
        assert_eq!(link.at(10.0, 20.0), (10.0, 20.0));
    }
}
