//! The five spots of a frame: what is measured there, what the sky's turning predicts, and what
//! the five mean together.

use super::spot_models;
use crate::base::Spin2;
use crate::base::spin2::angle_between_deg;
use crate::measure::{FieldCell, FieldModels, FrameMeasure};
use crate::night::SkyTurn;
use crate::picture::Turn;
use crate::sky::{Camera, Motion, trail_at};

/// Lengths within this share of the prediction match…
const BAND_SHARE: f64 = 0.10;
/// …or within this many px, for short trails.
const BAND_PX: f64 = 0.5;
/// Trails shorter than this have no direction worth comparing.
pub(super) const DIRECTION_PX: f64 = 3.0;
/// Directions within this of each other match.
pub(super) const DIRECTION_DEG: f64 = 12.0;
/// Stars this much wider than typical are called wide (see `Thresholds::width_doubt`).
const WIDE: f64 = 1.4;
/// Spots lie this far in from the edges, as a share of the frame.
const INSET: f64 = 0.13;

/// Names of the spots as they lie in the displayed frame.
pub(super) const NAMES: [&str; 5] = [
    "top left",
    "centre",
    "top right",
    "bottom left",
    "bottom right",
];
/// Where they lie, as shares of the displayed frame.
const PLACES: [(f64, f64); 5] = [
    (INSET, INSET),
    (0.5, 0.5),
    (1.0 - INSET, INSET),
    (INSET, 1.0 - INSET),
    (1.0 - INSET, 1.0 - INSET),
];

/// One spot. Angles and positions are those of the sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spot {
    /// As displayed ("top left").
    pub name: &'static str,
    /// Centre on the displayed frame, px.
    pub shown: (f64, f64),
    /// Measured there by the field map.
    pub measured: Option<Spin2>,
    /// What the sky's turning predicts there.
    pub predicted: Option<Spin2>,
}

impl Spot {
    /// Measured minus predicted length, px.
    fn excess_px(&self) -> Option<f64> {
        Some(self.measured?.length_px() - self.predicted?.length_px())
    }

    fn length_matches(&self) -> Option<bool> {
        Some(within_band(
            self.measured?.length_px(),
            self.predicted?.length_px(),
        ))
    }

    fn direction_matches(&self) -> Option<bool> {
        let (measured, predicted) = (self.measured?, self.predicted?);
        let long = measured.length_px().min(predicted.length_px()) >= DIRECTION_PX;
        long.then(|| {
            angle_between_deg(measured.angle_deg(), predicted.angle_deg()) <= DIRECTION_DEG
        })
    }
}

/// Whether a measured trail is as long as predicted, to 10 % or half a px.
#[must_use]
pub(super) fn within_band(measured_px: f64, predicted_px: f64) -> bool {
    (measured_px - predicted_px).abs() <= (BAND_SHARE * predicted_px).max(BAND_PX)
}

/// The sky's turning as it bears on one frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Prediction {
    camera: Camera,
    turn: SkyTurn,
    seconds: f64,
}

impl Prediction {
    /// For a frame of this size and marked exposure; `None` when the numbers make no camera.
    #[must_use]
    pub(super) fn new(turn: SkyTurn, exposure_s: f64, width: usize, height: usize) -> Option<Self> {
        Some(Self {
            camera: Camera::new(turn.focal_px, width as f64, height as f64)?,
            turn,
            seconds: exposure_s * turn.length_ratio,
        })
    }

    /// The trail predicted at a sensor px.
    #[must_use]
    pub(super) fn at(&self, x: f64, y: f64) -> Option<Spin2> {
        trail_at(&self.camera, self.turn.pole, x, y, self.seconds).map(Motion::trail)
    }

    /// The celestial pole on the sensor, if it is in the frame.
    #[must_use]
    pub(super) fn pole_px(&self) -> Option<(f64, f64)> {
        let pole = self.turn.pole;
        // The one of the two poles that is in front of the lens.
        let ahead = if pole[2] < 0.0 {
            pole.map(|v| -v)
        } else {
            pole
        };
        let (x, y) = self.camera.pixel(ahead)?;
        let inside =
            (0.0..self.camera.width_px).contains(&x) && (0.0..self.camera.height_px).contains(&y);
        inside.then_some((x, y))
    }
}

/// The five spots of a measured frame.
#[must_use]
pub(super) fn spots(
    measure: &FrameMeasure,
    turn: &Turn,
    prediction: Option<&Prediction>,
) -> [Spot; 5] {
    let (width, height) = turn.size();
    std::array::from_fn(|i| {
        let shown = (PLACES[i].0 * width, PLACES[i].1 * height);
        let (x, y) = turn.to_sensor(shown.0, shown.1);
        let measured = cell_near(measure, x, y).map(|cell| cell.trail);
        Spot {
            name: NAMES[i],
            shown,
            measured,
            predicted: prediction.and_then(|p| p.at(x, y)),
        }
    })
}

/// Where the five spots lie on the displayed frame of this size, for a frame not yet measured.
#[must_use]
pub(super) fn unmeasured(turn: &Turn) -> [Spot; 5] {
    let (width, height) = turn.size();
    std::array::from_fn(|i| Spot {
        name: NAMES[i],
        shown: (PLACES[i].0 * width, PLACES[i].1 * height),
        measured: None,
        predicted: None,
    })
}

/// The field cell a sensor px lies in, or else the nearest filled one beside it.
fn cell_near(measure: &FrameMeasure, x: f64, y: f64) -> Option<&FieldCell> {
    let field = &measure.field;
    if field.cols == 0 || field.rows == 0 {
        return None;
    }
    let place = |v: f64, size: usize, count: usize| (v / size as f64) * count as f64;
    let column = place(x, measure.width_px.max(1), field.cols);
    let row = place(y, measure.height_px.max(1), field.rows);
    let mut nearest: Option<(f64, &FieldCell)> = None;
    for (index, cell) in field.cells.iter().enumerate() {
        let Some(cell) = cell else { continue };
        let across = (index % field.cols) as f64 + 0.5 - column;
        let down = (index / field.cols) as f64 + 0.5 - row;
        let (distance, off) = (across.hypot(down), across.abs().max(down.abs()));
        // A neighbour counts only where the spot lies by its border.
        if off <= 0.75 && nearest.is_none_or(|(best, _)| distance < best) {
            nearest = Some((distance, cell));
        }
    }
    nearest.map(|(_, cell)| cell)
}

/// What the five spots mean together: what is seen, and what follows from it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Meaning {
    /// What is seen.
    pub seen: String,
    /// What follows, or empty.
    pub so: String,
}

impl Meaning {
    /// All of it.
    pub(super) fn words(&self) -> String {
        format!("{} {}", self.seen, self.so).trim_end().to_owned()
    }
}

/// Reads the five spots together, with what all the frame's stars say. `width_ratio` is the stars'
/// width over what is typical.
#[must_use]
pub(super) fn meaning(
    spots: &[Spot; 5],
    measure: Option<&FrameMeasure>,
    width_ratio: Option<f64>,
) -> Meaning {
    if let Some(shaken) = measure.and_then(spot_models::of_path) {
        return shaken;
    }
    let models = measure.and_then(|m| m.models.as_ref());
    let measured: Vec<&Spot> = spots
        .iter()
        .filter(|spot| spot.measured.is_some())
        .collect();
    if measured.is_empty() {
        return say("Too few stars at the five spots to measure trails.", "");
    }
    let wide = width_ratio.filter(|ratio| *ratio >= WIDE);
    let compared: Vec<&Spot> = (measured.iter().copied())
        .filter(|spot| spot.predicted.is_some())
        .collect();
    if compared.is_empty() {
        let lengths = || {
            let vectors = measured.iter().filter_map(|s| s.measured);
            vectors.map(Spin2::length_px)
        };
        let by_stars = models.and_then(|models| spot_models::of_trails(models, lengths()));
        let plain = || {
            let seen = format!("Trails are {} long.", range_px(lengths()));
            let so = "The sky’s turning is not known for this night, so nothing predicts them.";
            say(seen, so)
        };
        return with_width(by_stars.unwrap_or_else(plain), wide);
    }
    with_width(against_the_sky(&compared, models), wide)
}

fn against_the_sky(compared: &[&Spot], models: Option<&FieldModels>) -> Meaning {
    let count = compared.len();
    let lengths = compared
        .iter()
        .filter(|s| s.length_matches() == Some(true))
        .count();
    let turned: Vec<&Spot> = (compared.iter().copied())
        .filter(|spot| spot.direction_matches() == Some(false))
        .collect();
    let all = spots_in_words(count);
    if lengths == count && turned.is_empty() {
        let directed = compared.iter().any(|s| s.direction_matches() == Some(true));
        let along = if directed {
            ", along circles about the pole"
        } else {
            ""
        };
        let matched = say(
            format!("Lengths match the sky’s turning at {all}{along}."),
            "So: not wind, not a knock, not the lens.",
        );
        let widths = models.and_then(|models| spot_models::of_widths(&models.width));
        return match widths {
            Some(widths) => Meaning {
                seen: format!("{} {}", matched.seen, widths.seen),
                ..widths
            },
            None => matched,
        };
    }
    let excess: Vec<(&Spot, f64)> = (compared.iter())
        .filter_map(|spot| Some((*spot, spot.excess_px()?)))
        .collect();
    if same_direction_everywhere(compared) && !turned.is_empty() {
        return say(
            "Trails run the same way at every spot, not along circles about the pole.",
            "So: the camera moved, by wind, a knock or its mount.",
        );
    }
    let longer: Vec<_> = excess.iter().filter(|(s, e)| *e > 0.0 && off(s)).collect();
    let shorter: Vec<_> = excess.iter().filter(|(s, e)| *e < 0.0 && off(s)).collect();
    if longer.len() == count {
        let by = range_px(longer.iter().map(|(_, e)| *e));
        return say(
            format!("Trails are {by} longer than the sky’s turning at {all}."),
            "So: the camera moved, by wind or a knock.",
        );
    }
    if shorter.len() == count {
        let by = range_px(shorter.iter().map(|(_, e)| -e));
        return say(
            format!("Trails are {by} shorter than the sky’s turning at {all}."),
            "So: cloud cut the exposure short, or the focal length is not the one given.",
        );
    }
    let centre_fits = compared.iter().any(|s| s.name == NAMES[1] && !off(s));
    let corners = longer.iter().filter(|(s, _)| s.name != NAMES[1]).count();
    if centre_fits && corners + 1 == count && corners >= 2 {
        let by = range_px(longer.iter().map(|(_, e)| *e));
        return say(
            format!("Right at the centre, {by} longer in the corners."),
            "So: the lens draws stars out there.",
        );
    }
    // No one cause by the five spots: all the stars together may have one.
    if let Some(lens) = models.and_then(spot_models::of_lens) {
        return lens;
    }
    let names: Vec<&str> = (excess.iter())
        .filter(|(spot, _)| off(spot))
        .map(|(spot, _)| spot.name)
        .collect();
    if names.is_empty() {
        let turned: Vec<&str> = turned.iter().map(|spot| spot.name).collect();
        return say(
            format!(
                "Lengths match, but not the direction at {}.",
                joined(&turned)
            ),
            "So: look at the spots; no single cause fits.",
        );
    }
    say(
        format!("Off the sky’s turning at {} only.", joined(&names)),
        "So: look there; no single cause fits all five.",
    )
}

fn off(spot: &Spot) -> bool {
    spot.length_matches() == Some(false)
}

/// Whether long trails point one way although the sky's would not.
fn same_direction_everywhere(compared: &[&Spot]) -> bool {
    let long: Vec<(Spin2, Spin2)> = (compared.iter())
        .filter_map(|spot| Some((spot.measured?, spot.predicted?)))
        .filter(|(measured, _)| measured.length_px() >= DIRECTION_PX)
        .collect();
    let spread = |pick: fn(&(Spin2, Spin2)) -> Spin2| {
        long.iter()
            .flat_map(|a| long.iter().map(move |b| (a, b)))
            .map(|(a, b)| angle_between_deg(pick(a).angle_deg(), pick(b).angle_deg()))
            .fold(0.0, f64::max)
    };
    long.len() >= 3 && spread(|p| p.0) <= DIRECTION_DEG && spread(|p| p.1) > 2.0 * DIRECTION_DEG
}

fn with_width(mut meaning: Meaning, wide: Option<f64>) -> Meaning {
    if let Some(ratio) = wide {
        meaning.seen = format!("{} Stars are {ratio:.1} × as wide as usual.", meaning.seen);
        "So: focus, dew or thin cloud.".clone_into(&mut meaning.so);
    }
    meaning
}

pub(super) fn say(seen: impl Into<String>, so: &str) -> Meaning {
    Meaning {
        seen: seen.into(),
        so: so.to_owned(),
    }
}

fn spots_in_words(count: usize) -> String {
    match count {
        5 => "all five spots".to_owned(),
        1 => "the one spot with stars".to_owned(),
        n => format!("the {n} spots with stars"),
    }
}

fn joined(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

pub(super) fn range_px(values: impl Iterator<Item = f64>) -> String {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
        (low.min(v), high.max(v))
    });
    let (low, high) = (format!("{low:.1}"), format!("{high:.1}"));
    if low == high {
        format!("{low} px")
    } else {
        format!("{low} to {high} px")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Light, Orientation};
    use crate::measure::FieldMap;

    const SIZE: (usize, usize) = (1600, 1067);

    fn prediction() -> Prediction {
        let turn = SkyTurn {
            focal_px: 1300.0,
            pole: crate::sky::projection::unit([0.1, -0.6, 1.0]),
            length_ratio: 1.0,
            residual_px: 0.1,
        };
        Prediction::new(turn, 30.0, SIZE.0, SIZE.1).unwrap()
    }

    /// A field map whose cells are what `trail` makes of the prediction there.
    fn measured(trail: impl Fn(Spin2, f64, f64) -> Option<Spin2>) -> FrameMeasure {
        let mut measure = FrameMeasure::empty(SIZE.0, SIZE.1, Light::Linear);
        let (cols, rows) = (8, 6);
        let cells = (0..cols * rows)
            .map(|i| {
                let x = ((i % cols) as f64 + 0.5) / cols as f64 * SIZE.0 as f64;
                let y = ((i / cols) as f64 + 0.5) / rows as f64 * SIZE.1 as f64;
                trail(prediction().at(x, y).unwrap(), x, y).map(|trail| FieldCell {
                    trail,
                    trail_error: 0.1,
                    fwhm_px: 2.5,
                    stars: 9,
                })
            })
            .collect();
        measure.field = FieldMap { cols, rows, cells };
        measure
    }

    fn read(trail: impl Fn(Spin2, f64, f64) -> Option<Spin2>) -> Meaning {
        let turn = Turn::new(Orientation(1), SIZE.0, SIZE.1);
        meaning(
            &spots(&measured(trail), &turn, Some(&prediction())),
            None,
            None,
        )
    }

    #[test]
    fn the_skys_own_trails_match() {
        let read = read(|sky, _, _| Some(sky));
        assert!(
            read.seen
                .starts_with("Lengths match the sky’s turning at all five spots")
        );
        assert_eq!(read.so, "So: not wind, not a knock, not the lens.");
    }

    #[test]
    fn one_way_everywhere_is_the_camera() {
        let read = read(|_, _, _| Some(Spin2::new(9.0, 30.0)));
        assert!(read.so.contains("the camera moved"), "{read:?}");
    }

    #[test]
    fn longer_everywhere_is_a_knock() {
        let read = read(|sky, _, _| Some(Spin2::new(sky.length_px() + 4.0, sky.angle_deg())));
        assert!(
            read.seen
                .contains("longer than the sky’s turning at all five"),
            "{read:?}"
        );
    }

    #[test]
    fn drawn_out_corners_are_the_lens() {
        let read = read(|sky, x, y| {
            let from_centre = (x / 1600.0 - 0.5).hypot(y / 1067.0 - 0.5);
            let extra = if from_centre > 0.3 { 3.0 } else { 0.0 };
            Some(Spin2::new(sky.length_px() + extra, sky.angle_deg()))
        });
        assert!(read.so.contains("lens"), "{read:?}");
    }

    #[test]
    fn the_ground_has_no_stars_and_is_not_counted() {
        let read = read(|sky, _, y| (y < 700.0).then_some(sky));
        assert!(read.seen.contains("the 3 spots with stars"), "{read:?}");
    }

    #[test]
    fn nothing_predicted_is_said() {
        let turn = Turn::new(Orientation(1), SIZE.0, SIZE.1);
        let spots = spots(&measured(|sky, _, _| Some(sky)), &turn, None);
        assert!(meaning(&spots, None, None).so.contains("not known"));
        assert!(
            meaning(&spots, None, Some(1.6))
                .seen
                .contains("1.6 × as wide")
        );
    }

    #[test]
    fn names_follow_the_display() {
        // Stored upside down: what is shown top left lies bottom right on the sensor.
        let turn = Turn::new(Orientation(3), SIZE.0, SIZE.1);
        let all = spots(
            &measured(|_, x, y| (x > 800.0 && y > 533.0).then(|| Spin2::new(5.0, 0.0))),
            &turn,
            None,
        );
        assert!(all[0].measured.is_some() && all[4].measured.is_none());
    }
}
