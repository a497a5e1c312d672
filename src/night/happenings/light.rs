//! Light that the night itself has not: lamps, lightning, aurora, airglow, the rising Moon.
//!
//! Stars keep their light under it. What was added is told by its colour against the dark sky's, each
//! as a ratio to green, so that neither filters nor white balance matter: lamps are warm, lightning is
//! not, aurora and airglow are green.

use std::ops::Range;

use super::super::types::Row;
use super::runs::runs;
use super::signs::{Sign, Strip};
use super::{Cause, Happening, Moment, Shown, Surety};
use crate::base::robust::median;
use crate::sky::{self, Standing};

/// A sky this much over its neighbours' was lit…
const LIT: f64 = 1.06;
/// …if it also stands out by so many scatters.
const LIT_SCATTERS: f64 = 5.0;
/// Lamps and lightning pass within so many frames.
const SHORT: usize = 5;
/// A lamp that stays longer belongs to the place.
const LONGEST_LAMP: usize = 20;
/// Lightning lights one frame, or two where it strikes twice.
const FLASH: usize = 2;
/// So many flashes make a storm.
const LEAST_FLASHES: usize = 2;
/// Red and blue over green of what was added, against the dark sky's: warm past these…
const WARM: (f64, f64) = (1.2, 0.9);
/// …cold past this red and from this blue on…
const COLD: (f64, f64) = (1.15, 0.9);
/// …green below both of these.
const GREEN: (f64, f64) = (0.87, 0.87);
/// A sky this much over the night's darkest tenth glows.
const GLOWS: f64 = 1.08;
/// Fewer frames do not glow.
const LEAST_GLOW: usize = 4;
/// Airglow changes over so many frames at least.
const LEAST_AIRGLOW: usize = 10;
/// Aurora is off the frames before and after by this share.
const UNSTEADY: f64 = 0.02;
/// Stars that lost more than this are behind cloud, mag.
const KEPT_MAG: f64 = 0.2;
/// The Sun adds nothing below this, degrees.
const DARK_DEG: f64 = -18.0;
/// Moonlight that adds nothing to speak of, in units of a dark sky.
const LITTLE_MOONLIGHT: f64 = 0.05;
/// A Moon lit less than this is no light.
const LEAST_LIT: f64 = 0.1;
/// Light on the ground past this share of the sky's level…
const GROUND_SHARE: f64 = 0.08;
/// …and so many scatters of a calm night's is a lamp's.
const GROUND_SCATTERS: f64 = 6.0;
/// A sky so much brighter brightens the ground by this many times as much: it may come from where it
/// lights the ground more than the frame shows.
const SKY_ON_GROUND: f64 = 2.0;
/// Frames on either side that say what was there without the light.
const SIDE: usize = 6;

pub(super) fn happenings(strip: &Strip<'_>, seen: &[Happening]) -> Vec<Happening> {
    let clouded = |sign: &Sign<'_>| {
        let veils = |one: &&Happening| matches!(one.cause, Cause::Cloud | Cause::Dew);
        sign.lost_mag.is_some_and(|mag| mag > KEPT_MAG)
            || seen
                .iter()
                .filter(veils)
                .any(|one| one.moment(sign.at).is_some())
    };
    let lamps = lamps_on_the_ground(strip, &clouded);
    let mut all = short_lights(strip, &clouded);
    let on_ground = |one: &Happening| {
        one.cause == Cause::StrayLight
            && one
                .moments
                .iter()
                .any(|m| lamps.iter().any(|lamp| lamp.moment(m.row).is_some()))
    };
    all.retain(|one| !on_ground(one));
    all.extend(lamps);
    all.extend(glows(strip, &clouded));
    all.extend(moonrise(strip));
    all
}

fn happening(
    strip: &Strip<'_>,
    places: impl IntoIterator<Item = usize>,
    (cause, sure, evidence): (Cause, Surety, String),
    usual: impl Fn(&Sign<'_>) -> Option<f64>,
) -> Happening {
    let moments = places.into_iter().filter_map(|at| {
        let sign = strip.signs.get(at)?;
        Some(Moment {
            row: sign.at,
            measured: sign.measure.sky.level_pct,
            usual: usual(sign)?,
        })
    });
    Happening {
        cause,
        set: strip.which,
        shown: Shown::Sky,
        moments: moments.collect(),
        sure,
        evidence,
    }
}

/// Light on the ground that the sky does not explain, percent of full scale: a sky brighter than its
/// neighbours' lights the ground, too.
#[must_use]
pub fn lamplight_pct(row: &Row) -> Option<f64> {
    let light = row.derived.ground_light_pct?;
    let level = row.measure.as_deref()?.sky.level_pct;
    let more = row
        .typical
        .sky_pct
        .filter(|usual| *usual > 0.0)
        .map_or(0.0, |usual| level / usual - 1.0);
    let ground = row.derived.ground_level_pct.unwrap_or(0.0);
    Some(light - SKY_ON_GROUND * ground * more.max(0.0))
}

/// Light on the ground for a few frames.
fn lamps_on_the_ground(strip: &Strip<'_>, clouded: &dyn Fn(&Sign<'_>) -> bool) -> Vec<Happening> {
    let is_lit = |sign: &Sign<'_>| {
        let group = sign
            .row
            .group
            .and_then(|group| strip.night.groups.get(group));
        let scatter = group
            .and_then(|g| g.ground_light)
            .map_or(0.0, |light| light.scatter);
        let least = (GROUND_SHARE * sign.measure.sky.level_pct).max(GROUND_SCATTERS * scatter);
        lamplight_pct(sign.row).is_some_and(|light| light > least) && !clouded(sign)
    };
    let lit = strip.flags(is_lit);
    let mut all = Vec::new();
    for run in runs(&lit, 0)
        .into_iter()
        .filter(|run| run.len() <= LONGEST_LAMP)
    {
        let moments = strip
            .signs
            .get(run)
            .unwrap_or(&[])
            .iter()
            .filter_map(|sign| {
                let light = lamplight_pct(sign.row)?;
                Some(Moment {
                    row: sign.at,
                    measured: light,
                    usual: 0.0,
                })
            });
        all.push(Happening {
            cause: Cause::StrayLight,
            set: strip.which,
            shown: Shown::Ground,
            moments: moments.collect(),
            sure: Surety::Sure,
            evidence: "The ground was lit and dark again after: headlights or a torch.".to_owned(),
        });
    }
    all
}

/// Red and blue over green of what a run has more than `usual`, against the same of `usual`.
fn added(strip: &Strip<'_>, run: &Range<usize>, usual: [f64; 3]) -> Option<(f64, f64)> {
    let channel = |c: usize| strip.middle(run.clone(), |sign| sign.colour.map(|rgb| rgb[c]));
    let more = [0, 1, 2].map(|c| channel(c).map(|level| (level - usual[c]) / usual[c].max(1e-9)));
    let [Some(red), Some(green), Some(blue)] = more else {
        return None;
    };
    (green > 0.02).then(|| (red / green, blue / green))
}

/// The sky's colour without the light, from frames on both sides.
fn around(strip: &Strip<'_>, run: &Range<usize>, lit: &[bool]) -> Option<[f64; 3]> {
    let count = strip.signs.len();
    let near = run.start.saturating_sub(SIDE)..(run.end + SIDE).min(count);
    let others: Vec<usize> = near.filter(|at| lit.get(*at) == Some(&false)).collect();
    let channel =
        |c: usize| strip.middle(others.iter().copied(), |sign| sign.colour.map(|rgb| rgb[c]));
    Some([channel(0)?, channel(1)?, channel(2)?])
}

fn short_lights(strip: &Strip<'_>, clouded: &dyn Fn(&Sign<'_>) -> bool) -> Vec<Happening> {
    let limit = LIT.max(1.0 + LIT_SCATTERS * strip.sky_scatter);
    let lit =
        strip.flags(|sign| sign.bright.is_some_and(|bright| bright > limit) && !clouded(sign));
    let mut flashes: Vec<usize> = Vec::new();
    let mut all = Vec::new();
    for run in runs(&lit, 0).into_iter().filter(|run| run.len() <= SHORT) {
        let colour = around(strip, &run, &lit).and_then(|usual| added(strip, &run, usual));
        let Some((red, blue)) = colour else { continue };
        if red > WARM.0 && blue < WARM.1 {
            let by = "Warm light came and went within a few frames, and stars kept theirs: lamps.";
            let told = (Cause::StrayLight, Surety::Likely, by.to_owned());
            all.push(happening(strip, run, told, |sign| sign.row.typical.sky_pct));
        } else if red < COLD.0 && blue > COLD.1 && run.len() <= FLASH {
            flashes.extend(run);
        }
    }
    if flashes.len() >= LEAST_FLASHES {
        let by = format!(
            "Cold light in {} single frames, none before or after each: flashes.",
            flashes.len()
        );
        let told = (Cause::Lightning, Surety::Likely, by);
        all.push(happening(strip, flashes, told, |sign| {
            sign.row.typical.sky_pct
        }));
    }
    all
}

fn glows(strip: &Strip<'_>, clouded: &dyn Fn(&Sign<'_>) -> bool) -> Vec<Happening> {
    let Some(dark) = darkest(strip) else {
        return Vec::new();
    };
    let glows = |sign: &Sign<'_>| {
        let over = sign.over_dark.is_some_and(|over| over > GLOWS);
        over && !clouded(sign) && !sun_or_moon(strip, sign)
    };
    let flags = strip.flags(glows);
    let mut all = Vec::new();
    for run in runs(&flags, 2)
        .into_iter()
        .filter(|run| run.len() >= LEAST_GLOW)
    {
        let Some((red, blue)) = added(strip, &run, dark) else {
            continue;
        };
        if red > GREEN.0 || blue > GREEN.1 {
            continue;
        }
        let change = unsteadiness(strip, &run);
        let unsteady = change > UNSTEADY;
        let told = if unsteady {
            let by = format!(
                "Green light, changing by {:.0} % from frame to frame; stars kept theirs.",
                100.0 * change
            );
            (Cause::Aurora, Surety::Likely, by)
        } else if run.len() >= LEAST_AIRGLOW {
            let by = "Faint green light that changed slowly; stars kept theirs.".to_owned();
            (Cause::Airglow, Surety::Likely, by)
        } else {
            continue;
        };
        all.push(happening(strip, run, told, |_| Some(dark[1])));
    }
    all
}

/// Whether Sun or Moon stood so that they light the sky.
fn sun_or_moon(strip: &Strip<'_>, sign: &Sign<'_>) -> bool {
    let derived = &sign.row.derived;
    let moon = derived.moon_altitude_deg.zip(strip.night.heavens.as_ref());
    let moonlight = moon.map_or(0.0, |(altitude_deg, heavens)| {
        sky::moonlight(sky::Moon {
            standing: Standing {
                altitude_deg,
                azimuth_deg: 0.0,
            },
            lit: heavens.moon_lit,
        })
    });
    derived.sun_altitude_deg.is_some_and(|sun| sun > DARK_DEG) || moonlight > LITTLE_MOONLIGHT
}

/// The colour of the darkest tenth of the main group's frames.
fn darkest(strip: &Strip<'_>) -> Option<[f64; 3]> {
    let group = strip.night.groups.get(strip.set.main_group?)?;
    let level = group.sky?.low_tenth;
    let dark: Vec<usize> = (0..strip.signs.len())
        .filter(|&at| {
            let sign = strip.signs.get(at);
            sign.is_some_and(|s| {
                s.row.group == strip.set.main_group && s.measure.sky.level_pct <= level
            })
        })
        .collect();
    let channel =
        |c: usize| strip.middle(dark.iter().copied(), |sign| sign.colour.map(|rgb| rgb[c]));
    Some([channel(0)?, channel(1)?, channel(2)?])
}

/// How far the level is off the mean of the frames before and after, as a share, median: what changes
/// slowly, however far, is near it.
fn unsteadiness(strip: &Strip<'_>, run: &Range<usize>) -> f64 {
    let part = strip.signs.get(run.clone()).unwrap_or(&[]);
    let mut steps: Vec<f64> = part
        .windows(3)
        .filter_map(|three| {
            let [before, now, after] = three else {
                return None;
            };
            let level = |sign: &Sign<'_>| sign.measure.sky.level_pct.max(1e-9).ln();
            Some((level(now) - 0.5 * (level(before) + level(after))).abs())
        })
        .collect();
    median(&mut steps).unwrap_or(0.0)
}

/// The Moon's rising, where place and time tell it.
fn moonrise(strip: &Strip<'_>) -> Option<Happening> {
    let heavens = strip
        .night
        .heavens
        .as_ref()
        .filter(|h| h.moon_lit > LEAST_LIT)?;
    let times = || strip.signs.iter().filter_map(|sign| sign.row.time_s);
    let (first, last) = (times().next()?, times().next_back()?);
    let rises = heavens.moon_up.iter().map(|span| span.from_s);
    let rise = rises
        .into_iter()
        .find(|rise| (first..=last).contains(rise))?;
    let place = strip
        .signs
        .iter()
        .position(|sign| sign.row.time_s >= Some(rise))?;
    let by = format!(
        "The Moon rose, {:.0} % of it lit.",
        100.0 * heavens.moon_lit
    );
    let told = (Cause::Moonrise, Surety::Sure, by);
    Some(happening(strip, [place], told, |sign| {
        sign.row.typical.sky_pct
    }))
}
