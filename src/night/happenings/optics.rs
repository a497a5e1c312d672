//! What dims or swells stars: cloud, dew, focus.
//!
//! Widths that swell come first: with light lost and growing they are dew, at once and with the light
//! kept focus. Light lost while widths are kept is cloud.

use std::ops::Range;

use super::runs::{runs, widened};
use super::signs::{Sign, Strip};
use super::{Cause, Happening, Moment, Shown, Surety};

/// Widths are swollen past this, over the sharp frames'…
const WIDE: f64 = 1.12;
/// …and so many scatters of a calm night's.
const WIDE_SCATTERS: f64 = 5.0;
/// Light is lost past this, mag.
const LOST_MAG: f64 = 0.15;
/// Less is part of a loss that is there before or after, mag.
const SOME_LOST_MAG: f64 = 0.07;
/// Without matched stars: the share of stars around below which a sky out of line may be cloud.
const FEW: f64 = 0.75;
/// A sky so far off its neighbours' goes with them.
const SKY_OFF: f64 = 0.05;
/// Where a width's rise reaches this share of its later level in its first frames, it came at once.
const AT_ONCE: f64 = 0.7;
/// A width that grows by this from the first to the last third of its run grows.
const GROWS: f64 = 1.35;
/// Fewer frames do not creep.
const LEAST_CREEP: usize = 8;
/// A loss so deep for a single frame is told.
const DEEP_MAG: f64 = 0.5;
/// Parts of the sky that differ so much are under broken cloud, mag.
const UNEVEN_MAG: f64 = 0.15;

pub(super) fn happenings(strip: &Strip<'_>) -> Vec<Happening> {
    let limit = WIDE.max(1.0 + WIDE_SCATTERS * strip.width_scatter);
    let wide = strip.flags(|sign| sign.wide.is_some_and(|wide| wide > limit));
    let mut taken = vec![false; strip.signs.len()];
    let mut all = Vec::new();
    for run in runs(&wide, 2).into_iter().filter(|run| run.len() >= 2) {
        let Some(swelling) = swelling(strip, &run) else {
            continue;
        };
        let run = match swelling.cause {
            Cause::Dew => widened(&run, strip.signs.len(), run.len(), |at| {
                let begins = |sign: &Sign<'_>| {
                    sign.lost_mag.is_some_and(|mag| mag > SOME_LOST_MAG)
                        && sign.wide.is_some_and(|wide| wide > 1.03)
                };
                strip.signs.get(at).is_some_and(begins)
            }),
            _ => run,
        };
        taken
            .iter_mut()
            .take(run.end)
            .skip(run.start)
            .for_each(|t| *t = true);
        all.push(told(strip, run, swelling));
    }
    all.extend(clouds(strip, &taken));
    all
}

/// What a run of frames is of, and why.
struct Told {
    cause: Cause,
    shown: Shown,
    sure: Surety,
    evidence: String,
}

fn told(strip: &Strip<'_>, run: Range<usize>, told: Told) -> Happening {
    let value = |sign: &Sign<'_>| -> Option<(f64, f64)> {
        match told.shown {
            Shown::Fading => Some((sign.lost_mag?, 0.0)),
            Shown::Width => Some((sign.measure.fwhm_px?, sign.sharp_px?)),
            _ => Some((f64::from(sign.measure.star_count), sign.row.typical.stars?)),
        }
    };
    let moments = strip
        .signs
        .get(run)
        .unwrap_or(&[])
        .iter()
        .filter_map(|sign| {
            let (measured, usual) = value(sign)?;
            Some(Moment {
                row: sign.at,
                measured,
                usual,
            })
        });
    Happening {
        cause: told.cause,
        set: strip.which,
        shown: told.shown,
        moments: moments.collect(),
        sure: told.sure,
        evidence: told.evidence,
    }
}

fn swelling(strip: &Strip<'_>, run: &Range<usize>) -> Option<Told> {
    let swell = |sign: &Sign<'_>| sign.wide.map(|wide| wide - 1.0);
    let third = run.len().div_ceil(3);
    let first = strip.middle(run.start..run.start + third, swell)?;
    let last = strip.middle(run.end - third..run.end, swell)?;
    let level = strip.middle(run.clone(), swell)?;
    // How wide the two frames at either end of the run are: what came or went at once.
    let edge = run.len().min(2);
    let came = strip.middle(run.start..run.start + edge, swell)?;
    let went = strip.middle(run.end - edge..run.end, swell)?;
    let is_sharp = |at: Option<usize>| {
        let swell = at.and_then(|at| strip.signs.get(at)).and_then(swell);
        swell.is_some_and(|swell| swell < 0.4 * level)
    };
    let reaches_end = run.end + 1 >= strip.signs.len();
    let reaches_start = run.start <= 1;
    let at_once_in = came >= AT_ONCE * level && is_sharp(run.start.checked_sub(1));
    let at_once_out = went >= AT_ONCE * level && is_sharp(Some(run.end));
    let grows = last > GROWS * first;
    let shrinks = first > GROWS * last;
    let late = run.end - third..run.end;
    let lost = strip.middle(late.clone(), |sign| sign.lost_mag);
    let few = strip.middle(late, |sign| sign.stars_of_best);
    let percent = (100.0 * last.max(first)).round();
    let fades = lost.map_or(few.is_some_and(|few| few < FEW), |mag| mag > LOST_MAG);
    let width = |cause, sure, evidence: String| Told {
        cause,
        shown: Shown::Width,
        sure,
        evidence,
    };
    if grows && fades && run.len() >= 3 {
        let sure = match lost {
            Some(_) if reaches_end || at_once_out => Surety::Sure,
            Some(_) => Surety::Likely,
            None if reaches_end => Surety::Likely,
            None => return None,
        };
        let by = format!(
            "Stars swelled slowly, to {percent} % over their sharp width, and faded with it."
        );
        return Some(width(Cause::Dew, sure, by));
    }
    if fades {
        // Swollen and dimmed, but not growing: haze, dew that stays, cloud; none can be told.
        return None;
    }
    let steady = !grows && !shrinks;
    if steady && (at_once_in || (reaches_start && at_once_out)) {
        let sure = if lost.is_some() {
            Surety::Sure
        } else {
            Surety::Likely
        };
        let by = if at_once_in {
            format!(
                "Stars are {percent} % wider from one frame to the next, and keep their light: focus moved."
            )
        } else {
            format!(
                "Stars were {percent} % wider until the focus was set again, and kept their light."
            )
        };
        return Some(width(Cause::Defocus, sure, by));
    }
    let creeps = (grows && reaches_end) || (shrinks && reaches_start);
    (creeps && run.len() >= LEAST_CREEP && lost.is_some()).then(|| {
        let by = format!("Stars widened slowly, to {percent} %, and kept their light: focus crept, as cooling makes it.");
        width(Cause::FocusDrift, Surety::Likely, by)
    })
}

fn clouds(strip: &Strip<'_>, taken: &[bool]) -> Vec<Happening> {
    let free = |at: usize| !taken.get(at).copied().unwrap_or(true);
    let sky_off = |sign: &Sign<'_>| sign.bright.is_some_and(|b| (b - 1.0).abs() > SKY_OFF);
    let dim = |sign: &Sign<'_>| match sign.lost_mag {
        Some(mag) => mag > LOST_MAG,
        None => sign.stars.is_some_and(|stars| stars < FEW) && sky_off(sign),
    };
    let dimmed: Vec<bool> = (strip.signs.iter().enumerate())
        .map(|(at, sign)| free(at) && dim(sign))
        .collect();
    let mut all = Vec::new();
    for run in runs(&dimmed, 2) {
        let part = strip.signs.get(run.clone()).unwrap_or(&[]);
        let deepest = part.iter().filter_map(|s| s.lost_mag).reduce(f64::max);
        let matched = deepest.is_some();
        let alone = run.len() < if matched { 2 } else { 3 };
        if alone && deepest.is_none_or(|mag| mag < DEEP_MAG) {
            continue;
        }
        let uneven = part
            .iter()
            .filter_map(|s| s.row.derived.uneven_mag())
            .reduce(f64::max);
        let lit = part.iter().any(|s| s.lost_mag.is_some() && sky_off(s));
        let sure = match (matched, uneven) {
            (true, Some(mag)) if mag > UNEVEN_MAG => Surety::Sure,
            (true, _) if lit => Surety::Sure,
            _ => Surety::Likely,
        };
        let evidence = match (deepest, uneven.filter(|mag| *mag > UNEVEN_MAG)) {
            (Some(mag), Some(spread)) => format!(
                "The same stars lost {mag:.1} mag and kept their width; parts of the sky differ by {spread:.1} mag."
            ),
            (Some(mag), None) => {
                format!("The same stars lost {mag:.1} mag and kept their width.")
            }
            (None, _) => "Fewer stars while the sky's level changed, widths kept.".to_owned(),
        };
        let run = widened(&run, strip.signs.len(), 3, |at| {
            let some = |s: &Sign<'_>| s.lost_mag.is_some_and(|mag| mag > SOME_LOST_MAG);
            free(at) && strip.signs.get(at).is_some_and(some)
        });
        let shown = if matched { Shown::Fading } else { Shown::Stars };
        let cause = Cause::Cloud;
        all.push(told(
            strip,
            run,
            Told {
                cause,
                shown,
                sure,
                evidence,
            },
        ));
    }
    all
}
