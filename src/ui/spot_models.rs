//! What a frame's stars say by themselves, in words: the path they share, and which explanation of
//! trails and widths over the frame leaves least. The five spots show it; all stars tell it.

use super::spots::{Meaning, range_px, say};
use crate::measure::{FieldModels, FrameMeasure, PathKind, TrailCause, WidthPlane};

/// Widths over the frame are worth a word when they stand this many standard errors clear…
const CLEAR: f64 = 5.0;
/// …and differ by this share of the width at the centre.
const WIDTH_SHARE: f64 = 0.15;
/// Blur in the corners is worth a word from this length on, px.
const BLUR_PX: f64 = 1.0;

/// A motion of the camera within the exposure, which no comparison with the sky is needed to tell.
pub(super) fn of_path(measure: &FrameMeasure) -> Option<Meaning> {
    let path = measure.path?;
    match path.kind {
        PathKind::Even => None,
        PathKind::TwoStop => Some(say(
            format!("Most stars show two peaks {:.1} px apart.", path.shake_px),
            "So: a knock during the exposure.",
        )),
        PathKind::Wavy => Some(say(
            format!("All trails waver alike, by {:.1} px rms.", path.shake_px),
            "So: wind, or a head that is not tight.",
        )),
    }
}

/// What drew the trails, where no turning of the sky is known to compare them with.
pub(super) fn of_trails(
    models: &FieldModels,
    lengths_px: impl Iterator<Item = f64>,
) -> Option<Meaning> {
    let long = range_px(lengths_px);
    let (seen, so) = match models.best {
        TrailCause::Still => ("Stars are round all over the frame.".to_owned(), ""),
        TrailCause::Uniform => (
            format!("Trails are {long} long and run the same way everywhere."),
            "So: the mount, wind or a knock; through a long lens the sky too.",
        ),
        TrailCause::Turning => (
            format!("Trails are {long} long and turn about one point."),
            "So: the sky’s turning, though its pole is not known for this night.",
        ),
        TrailCause::Lens | TrailCause::TurningAndLens => return of_lens(models),
    };
    Some(say(seen, so))
}

/// Blur that grows from the centre, where the stars show it clearly.
pub(super) fn of_lens(models: &FieldModels) -> Option<Meaning> {
    let is_lens = matches!(models.best, TrailCause::Lens | TrailCause::TurningAndLens);
    let growth2 = models.lens_growth_px2;
    let clear = growth2.abs() >= CLEAR * models.lens_growth_error_px2;
    let blur_px = growth2.abs().sqrt();
    (is_lens && clear && blur_px >= BLUR_PX).then(|| {
        let way = if growth2 > 0.0 {
            "away from the centre"
        } else {
            "round the centre"
        };
        say(
            format!("Stars draw out {way}, by {blur_px:.1} px in the corners."),
            "So: the lens; a smaller aperture helps.",
        )
    })
}

/// Widths that differ over the frame: a tilt, or corners that focus elsewhere.
pub(super) fn of_widths(width: &WidthPlane) -> Option<Meaning> {
    let least = WIDTH_SHARE * width.centre_px;
    let is_clear = |change: f64, error: f64| change.abs() >= (CLEAR * error).max(least);
    let tilted = is_clear(width.right_px, width.right_error_px)
        || is_clear(width.down_px, width.down_error_px);
    let tilt_px = width.right_px.hypot(width.down_px);
    if tilted && tilt_px >= width.corner_px.abs() {
        return Some(say(
            format!("Stars are {tilt_px:.1} px wider on one side than on the other."),
            "So: lens or sensor is tilted, or dew began on one side.",
        ));
    }
    let bowl = is_clear(width.corner_px, width.corner_error_px);
    (bowl && width.corner_px > 0.0).then(|| {
        say(
            format!(
                "Stars are {:.1} px wider in the corners than at the centre.",
                width.corner_px
            ),
            "So: the lens; a smaller aperture helps.",
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Spin2;
    use crate::frame::Light;
    use crate::measure::Path;

    fn models(best: TrailCause) -> FieldModels {
        FieldModels {
            best,
            still: 9.0,
            uniform: 1.0,
            lens: 9.0,
            turning: 1.0,
            turning_and_lens: 1.0,
            uniform_trail: Spin2::new(6.0, 20.0),
            pole_px: None,
            lens_growth_px2: 9.0,
            lens_growth_error_px2: 1.0,
            width: WidthPlane {
                centre_px: 2.5,
                right_px: 0.1,
                right_error_px: 0.05,
                down_px: 0.0,
                down_error_px: 0.05,
                corner_px: 0.1,
                corner_error_px: 0.05,
                flat_misfit: 1.0,
            },
        }
    }

    #[test]
    fn each_cause_has_its_words() {
        let lengths = || [6.0, 6.1].into_iter();
        let words = |best| of_trails(&models(best), lengths()).unwrap().words();
        assert!(words(TrailCause::Still).contains("round"));
        assert!(words(TrailCause::Uniform).contains("6.0 to 6.1 px long and run the same way"));
        assert!(words(TrailCause::Turning).contains("turn about one point"));
        assert!(words(TrailCause::Lens).contains("away from the centre, by 3.0 px"));
        // Blur that chance may make is not told.
        let mut faint = models(TrailCause::TurningAndLens);
        faint.lens_growth_error_px2 = 3.0;
        assert_eq!(of_lens(&faint), None);
    }

    #[test]
    fn paths_and_widths_have_theirs() {
        let mut measure = FrameMeasure::empty(600, 400, Light::Linear);
        assert_eq!(of_path(&measure), None);
        for (kind, word) in [
            (PathKind::TwoStop, Some("knock")),
            (PathKind::Wavy, Some("wind")),
            (PathKind::Even, None),
        ] {
            measure.path = Some(Path {
                kind,
                shake_px: 1.2,
                sigma: 9.0,
                stars: 40,
            });
            let words = of_path(&measure).map(|meaning| meaning.words());
            assert_eq!(words.is_some(), word.is_some());
            assert!(word.is_none_or(|word| words.unwrap().contains(word)));
        }
        let mut width = models(TrailCause::Still).width;
        assert_eq!(of_widths(&width), None);
        width.corner_px = 0.9;
        assert!(of_widths(&width).unwrap().words().contains("corners"));
        width.down_px = -1.5;
        assert!(of_widths(&width).unwrap().words().contains("tilted"));
    }
}
