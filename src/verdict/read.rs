//! What a rule compares: one value of a frame, and what it is compared with.

use std::collections::BTreeMap;

use super::jumps::{Jump, jumps};
use super::types::Reason;
use crate::base::robust::{median, median_and_sigma, quantile};
use crate::night::happenings::standing::{Standing, middle};
use crate::night::{Group, Kind, Night, Row, Series, lamplight_pct, lost_mag};

/// Width of a common film, px: pointing jumps in a time-lapse are told in its pixels.
const FILM_WIDTH_PX: f64 = 1920.0;
/// Groups smaller than this have no level of their own to be out of line with.
const LEAST_GROUP: usize = 5;
/// A second group with at least this share of a set's frames was a choice, not an oddity.
const CHOSEN_SHARE: f64 = 0.25;
/// A stack of at least so many frames averages a streak away.
const STREAK_SAFE_STACK: usize = 10;

/// Quantity of a trail that is held against the sky's turning.
pub(super) const PREDICTED_TRAIL: &str = "trail length";
/// Quantity of light lost by the same stars.
pub(super) const FADING: &str = "light lost by stars";
/// Quantity of stars against the frames around.
pub(super) const STARS: &str = "stars";
/// Quantity of a width against the night's sharp frames.
pub(super) const WIDTH: &str = "star width";
/// Quantity of light on the ground.
pub(super) const GROUND_LIGHT: &str = "light on the ground";
/// Stars that lost so much are behind cloud.
const CLOUDED_MAG: f64 = 0.2;
/// A calm ground scatters by this share of the sky's level, whatever the night's own scatter says.
const GROUND_FLOOR_SHARE: f64 = 0.02;
/// Quantity of a line that is no star.
pub(super) const LINE: &str = "longest streak";
/// Quantity of a jump that lasts.
pub(super) const LASTING_JUMP: &str = "lasting pointing jump";
/// Quantity of a knock while the shutter was open.
pub(super) const DOUBLED_STARS: &str = "distance between doubled stars";
/// Quantity of a sky held against its neighbours.
pub(super) const SKY_NEAR: &str = "sky level";
/// From this share of its stars on a frame is doubled as a whole.
const DOUBLED_SHARE: f64 = 0.3;
/// Most by which a prediction is taken to be off by itself, px…
const MODEL_ERROR_PX: f64 = 1.0;
/// …and as a share (the larger of the two counts).
const MODEL_ERROR_SHARE: f64 = 0.15;

/// One comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reading {
    pub(super) quantity: &'static str,
    pub(super) unit: &'static str,
    pub(super) measured: f64,
    pub(super) baseline: f64,
    /// σ of the difference expected of a good frame; 0 where a limit needs none.
    pub(super) scatter: f64,
}

/// Levels of one group that the night's table does not hold.
#[derive(Debug, Clone, Copy, Default)]
struct Levels {
    /// Usual elongation of its better frames.
    elongation: Option<f64>,
    /// Usual share of clipped samples, percent.
    clipped_pct: Option<f64>,
    /// Usual trail over the predicted one, px.
    excess_px: Option<f64>,
}

/// The night as the rules read it.
pub(super) struct Context<'a> {
    night: &'a Night,
    levels: Vec<Levels>,
    /// By shot: how the pointing jumps there.
    jumps: BTreeMap<usize, Jump>,
    standing: Standing,
}

impl<'a> Context<'a> {
    pub(super) fn new(night: &'a Night) -> Self {
        Self {
            night,
            levels: night.groups.iter().map(|g| levels(night, g)).collect(),
            jumps: jumps(night),
            standing: Standing::of(night),
        }
    }

    fn group(&self, row: &Row) -> Option<&'a Group> {
        self.night.groups.get(row.group?)
    }

    /// A series of the row's group, when the group is large enough to have one.
    fn series(&self, row: &Row, of: fn(&Group) -> Option<Series>) -> Option<Series> {
        let group = self.group(row)?;
        (group.rows.len() >= LEAST_GROUP)
            .then(|| of(group))
            .flatten()
    }
}

fn levels(night: &Night, group: &Group) -> Levels {
    let measures = || {
        let rows = group.rows.iter().filter_map(|&row| night.rows.get(row));
        rows.filter_map(|row| row.measure.as_deref())
    };
    let rows = group.rows.iter().filter_map(|&row| night.rows.get(row));
    let mut excess: Vec<f64> = rows
        .filter_map(|row| {
            let trail = row.measure.as_deref()?.trail?;
            Some(trail.length_px - row.derived.expected_trail_px?)
        })
        .collect();
    let mut elongations: Vec<f64> = measures().filter_map(|m| m.elongation).collect();
    let mut clipped: Vec<f64> = measures().map(|m| m.saturated_pct).collect();
    Levels {
        elongation: quantile(&mut elongations, 0.25),
        clipped_pct: median(&mut clipped),
        excess_px: median(&mut excess),
    }
}

/// The trail against what the sky's turning predicts, or without a prediction against the usual.
///
/// A prediction that is off by the same little in every frame (a lens that is not rectilinear) is a
/// matter of the model and taken out; where it is off by more, the night was.
pub(super) fn trail(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let trail = row.measure.as_deref()?.trail?;
    let usual = row.group.and_then(|g| context.levels.get(g)?.excess_px);
    let predicted = row.derived.expected_trail_px.map(|expected| {
        let model = MODEL_ERROR_PX.max(MODEL_ERROR_SHARE * expected);
        expected + usual.unwrap_or(0.0).clamp(-model, model)
    });
    Some(Reading {
        quantity: if predicted.is_some() {
            PREDICTED_TRAIL
        } else {
            "trail length against the usual"
        },
        unit: "px",
        measured: trail.length_px,
        baseline: predicted.or(row.typical.trail_px)?,
        scatter: trail.length_error_px,
    })
}

pub(super) fn elongation(context: &Context<'_>, row: &Row) -> Option<Reading> {
    Some(Reading {
        quantity: "elongation",
        unit: "",
        measured: row.measure.as_deref()?.elongation?,
        baseline: context.levels.get(row.group?)?.elongation?,
        scatter: 0.0,
    })
}

pub(super) fn width(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let series = context.series(row, |group| group.fwhm)?;
    Some(Reading {
        quantity: WIDTH,
        unit: "px",
        measured: row.measure.as_deref()?.fwhm_px?,
        baseline: series.lower_level(),
        scatter: series.scatter,
    })
}

pub(super) fn fading(context: &Context<'_>, row: &Row) -> Option<Reading> {
    row.derived.transparency?;
    Some(Reading {
        quantity: FADING,
        unit: "mag",
        measured: lost_mag(context.night, row)?,
        baseline: 0.0,
        scatter: 0.0,
    })
}

fn count(row: &Row) -> Option<f64> {
    Some(f64::from(row.measure.as_deref()?.star_count))
}

pub(super) fn stars_least(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let usual = context.group(row)?.stars.map_or(0.0, |s| s.median);
    Some(Reading {
        quantity: STARS,
        unit: "",
        measured: count(row)?,
        baseline: usual,
        scatter: 0.0,
    })
}

pub(super) fn stars(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let usual = row.typical.stars?;
    let series = context.series(row, |group| group.stars)?;
    Some(Reading {
        quantity: STARS,
        unit: "",
        measured: count(row)?,
        baseline: usual,
        // Counting itself scatters by the square root, however calm the night.
        scatter: series.scatter.max(usual.max(0.0).sqrt()),
    })
}

pub(super) fn stars_of_best(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let best = context.series(row, |group| group.stars)?.upper_level();
    // Below a few dozen stars the share is all scatter.
    (best >= 60.0).then_some(())?;
    Some(Reading {
        quantity: "share of the night's best star count",
        unit: "",
        measured: count(row)? / best,
        baseline: 1.0,
        scatter: 0.0,
    })
}

pub(super) fn sky(context: &Context<'_>, row: &Row) -> Option<Reading> {
    Some(Reading {
        quantity: SKY_NEAR,
        unit: "%",
        measured: row.measure.as_deref()?.sky.level_pct,
        baseline: row.typical.sky_pct?,
        scatter: context.series(row, |group| group.sky)?.scatter,
    })
}

/// Light on the ground beyond what is usual, as lamps make it.
pub(super) fn ground_light(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let scatter = context.group(row)?.ground_light?.scatter;
    // Cloud throws the light of towns on the ground as well.
    let clouded = lost_mag(context.night, row).is_some_and(|mag| mag > CLOUDED_MAG);
    (!clouded).then_some(())?;
    Some(Reading {
        quantity: GROUND_LIGHT,
        unit: "%",
        measured: lamplight_pct(row)?,
        baseline: 0.0,
        scatter: scatter.max(GROUND_FLOOR_SHARE * row.measure.as_deref()?.sky.level_pct),
    })
}

/// The sky's step, but only where stars were lost with it: levelling mends a step alone.
pub(super) fn sky_with_lost_stars(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let stars = stars(context, row)?;
    (stars.measured < 0.7 * stars.baseline).then_some(())?;
    sky(context, row)
}

pub(super) fn sky_over_darkest(context: &Context<'_>, row: &Row) -> Option<Reading> {
    Some(Reading {
        quantity: "sky level against the night's darkest tenth",
        unit: "%",
        measured: row.measure.as_deref()?.sky.level_pct,
        baseline: context.series(row, |group| group.sky)?.low_tenth,
        scatter: 0.0,
    })
}

pub(super) fn noise(context: &Context<'_>, row: &Row) -> Option<Reading> {
    // A tone curve makes noise a matter of the level it falls on, so there it says nothing.
    context.group(row)?.linear.then_some(())?;
    Some(Reading {
        quantity: "noise",
        unit: "%",
        measured: row.measure.as_deref()?.noise_pct?,
        baseline: row.typical.noise_pct?,
        scatter: context.series(row, |group| group.noise)?.scatter,
    })
}

pub(super) fn clipped(context: &Context<'_>, row: &Row) -> Option<Reading> {
    Some(Reading {
        quantity: "samples at full scale",
        unit: "%",
        measured: row.measure.as_deref()?.saturated_pct,
        baseline: context.levels.get(row.group?)?.clipped_pct?,
        scatter: 0.0,
    })
}

pub(super) fn clipped_all(_: &Context<'_>, row: &Row) -> Option<Reading> {
    Some(Reading {
        quantity: "samples at full scale",
        unit: "%",
        measured: row.measure.as_deref()?.saturated_pct,
        baseline: 0.0,
        scatter: 0.0,
    })
}

pub(super) fn missing_before(_: &Context<'_>, row: &Row) -> Option<Reading> {
    let missing = row.derived.missing_before;
    (missing > 0).then_some(Reading {
        quantity: "frames missing before this one",
        unit: "",
        measured: f64::from(missing),
        baseline: 0.0,
        scatter: 0.0,
    })
}

fn longest_streak(context: &Context<'_>, row: &Row, brighter_than: f64) -> Option<Reading> {
    let group = row.group?;
    let frames = context.group(row)?.rows.len();
    let measure = row.measure.as_deref()?;
    let diagonal = (measure.width_px as f64).hypot(measure.height_px as f64);
    let longest = measure
        .streaks
        .iter()
        .filter(|streak| f64::from(streak.brightness) > brighter_than)
        .filter(|s| {
            let at = middle(s.x0_px, s.x1_px, s.y0_px, s.y1_px);
            !context.standing.holds(group, frames, at)
        })
        .map(|streak| 100.0 * streak.length_px() / diagonal.max(1.0))
        .reduce(f64::max)?;
    Some(Reading {
        quantity: LINE,
        unit: "% of the diagonal",
        measured: longest,
        baseline: 0.0,
        scatter: 0.0,
    })
}

pub(super) fn streak(context: &Context<'_>, row: &Row) -> Option<Reading> {
    longest_streak(context, row, f64::NEG_INFINITY)
}

/// Streaks that outshine the tenth-brightest star: fainter ones drown among the trails.
pub(super) fn bright_streak(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let tenth = row.measure.as_deref()?.stars.get(9);
    longest_streak(context, row, tenth.map_or(0.0, |star| f64::from(star.peak)))
}

pub(super) fn streak_in_small_stack(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let stack = context.group(row)?.rows.len();
    (stack < STREAK_SAFE_STACK).then_some(())?;
    bright_streak(context, row)
}

pub(super) fn pointing_jump(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let width = row.measure.as_deref()?.width_px as f64;
    let jump = context.jumps.get(&row.shot)?.stray_px;
    Some(Reading {
        quantity: "pointing jump in a film 1920 px wide",
        unit: "px",
        measured: jump * (FILM_WIDTH_PX / width.max(1.0)).min(1.0),
        baseline: 0.0,
        scatter: 0.0,
    })
}

/// A new pointing that lasts: every trail has a kink there, whatever is done about the frame.
pub(super) fn lasting_jump(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let jump = context.jumps.get(&row.shot)?;
    Some(Reading {
        quantity: LASTING_JUMP,
        unit: "px",
        measured: jump.lasting_px,
        baseline: 0.0,
        scatter: jump.scatter_px,
    })
}

/// Stars seen twice: the camera was knocked while the shutter was open.
pub(super) fn doubled_stars(_: &Context<'_>, row: &Row) -> Option<Reading> {
    let pair = row.measure.as_deref()?.double_peak;
    let pair = pair.filter(|pair| pair.share >= DOUBLED_SHARE)?;
    Some(Reading {
        quantity: DOUBLED_STARS,
        unit: "px",
        measured: pair.length_px(),
        baseline: 0.0,
        scatter: 0.0,
    })
}

/// What differs most tellingly from the set's usual settings, when few frames are so.
pub(super) fn other_settings(context: &Context<'_>, row: &Row) -> Option<Reading> {
    let set = context.night.sets.get(row.set)?;
    let own = row.group?;
    let main = set.main_group?;
    let group = context.night.groups.get(own)?;
    // Exposures ramped through dusk have no usual setting to differ from.
    let usual = context.night.groups.get(main)?.rows.len();
    (2 * usual >= set.frames.len()).then_some(())?;
    let few = (group.rows.len() as f64) < CHOSEN_SHARE * set.frames.len() as f64;
    (own != main && few).then_some(())?;
    settings_difference(context.night, row)
}

/// The first capture setting that differs from the set's main group.
pub(super) fn settings_difference(night: &Night, row: &Row) -> Option<Reading> {
    let set = night.sets.get(row.set)?;
    let main = &night.groups.get(set.main_group?)?.settings;
    let facts = &row.facts;
    let both = |quantity, unit, here: Option<f64>, usual: Option<f64>| {
        let (measured, baseline) = (here?, usual?);
        ((measured - baseline).abs() > 1e-3 * baseline.abs()).then_some(Reading {
            quantity,
            unit,
            measured,
            baseline,
            scatter: 0.0,
        })
    };
    both("exposure", "s", facts.exposure_s, main.exposure_s)
        .or_else(|| both("ISO", "", facts.iso.map(f64::from), main.iso.map(f64::from)))
        .or_else(|| both("f-number", "", facts.f_number, main.f_number))
        .or_else(|| {
            let (here, usual) = (facts.focal_length_mm, main.focal_length_mm);
            both("focal length", "mm", here, usual)
        })
        .or_else(|| {
            let (here, usual) = (f64::from(facts.width_px), f64::from(main.size_px.0));
            both("frame width", "px", Some(here), Some(usual))
        })
}

/// What a frame that shows no sky is told by.
pub(super) fn not_sky(night: &Night, row: &Row, kind: Kind) -> (Reason, Reading) {
    let sky_usual = night
        .sets
        .get(row.set)
        .and_then(|set| night.groups.get(set.main_group?)?.sky);
    let level = row.measure.as_deref().map_or(0.0, |m| m.sky.level_pct);
    let dark = Reading {
        quantity: "sky level",
        unit: "%",
        measured: level,
        baseline: sky_usual.map_or(level, |s| s.median),
        scatter: 0.0,
    };
    match kind {
        Kind::Flat => (
            Reason::FewStars,
            Reading {
                quantity: "stars (an evenly lit field)",
                unit: "",
                measured: count(row).unwrap_or(0.0),
                baseline: 0.0,
                scatter: 0.0,
            },
        ),
        Kind::Test => {
            let same = Reading {
                quantity: "settings of a framing shot",
                ..dark
            };
            let reading = settings_difference(night, row).unwrap_or(same);
            (Reason::SettingsChanged, reading)
        }
        Kind::Sky | Kind::Dark | Kind::Bias => (Reason::DarkFrame, dark),
    }
}

/// The usual star width of a group, px: what a gap's depth is told by.
pub(super) fn usual_width(night: &Night, group: &Group) -> Option<f64> {
    group.fwhm.map(|series| series.median).or_else(|| {
        let rows = group.rows.iter().filter_map(|&row| night.rows.get(row));
        let widths: Vec<f64> = rows
            .filter_map(|row| row.measure.as_deref()?.fwhm_px)
            .collect();
        median_and_sigma(&widths).map(|(centre, _)| centre)
    })
}
