//! What dims or swells stars: cloud, dew, focus.
//!
//! Widths that swell come first: with light lost and growing they are dew, at once and with the light
//! kept focus. Light lost while widths are kept is cloud.

use std::ops::Range;

use super::runs::{runs, widened};
use super::signs::{Sign, Strip};
use super::swelling::{Swelling, swelling};
use super::{Cause, Happening, Moment, Shown, Surety};

/// Widths are swollen past this, over the sharp frames'…
const WIDE: f64 = 1.12;
/// …and so many scatters of a calm night's.
const WIDE_SCATTERS: f64 = 5.0;
/// Light is lost past this, mag.
pub(super) const LOST_MAG: f64 = 0.15;
/// Less is part of a loss that is there before or after, mag.
const SOME_LOST_MAG: f64 = 0.07;
/// Without matched stars: the share of stars around below which a sky out of line may be cloud.
pub(super) const FEW: f64 = 0.75;
/// A sky so far off its neighbours' goes with them.
const SKY_OFF: f64 = 0.05;
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
        let take = |taken: &mut [bool], run: &Range<usize>| {
            let own = taken.iter_mut().take(run.end).skip(run.start);
            own.for_each(|t| *t = true);
        };
        let swelling = match swelling(strip, &run) {
            Swelling::Told(told) => told,
            Swelling::Unclear => {
                take(&mut taken, &run);
                continue;
            }
            Swelling::Unnamed => continue,
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
        take(&mut taken, &run);
        all.push(told(strip, run, swelling));
    }
    all.extend(clouds(strip, &taken));
    all
}

/// What a run of frames is of, and why.
pub(super) struct Told {
    pub(super) cause: Cause,
    pub(super) shown: Shown,
    pub(super) sure: Surety,
    pub(super) evidence: String,
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
            (Some(mag), Some(spread)) => {
                let thickest = thickest(part)
                    .map_or_else(String::new, |place| format!(", most at the {place}"));
                format!(
                    "The same stars lost {mag:.1} mag and kept their width; parts of the sky differ by \
                     {spread:.1} mag{thickest}."
                )
            }
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

/// Parts of a frame in row order, as seen.
const PARTS: [&str; 9] = [
    "upper left",
    "top",
    "upper right",
    "left",
    "centre",
    "right",
    "lower left",
    "foot",
    "lower right",
];

/// Where most light was lost in the frame that lost most; frames that are shown turned are left out.
fn thickest(part: &[Sign<'_>]) -> Option<&'static str> {
    let upright = part.iter().filter(|sign| sign.row.facts.orientation.0 == 1);
    let lost = |sign: &&Sign<'_>| sign.lost_mag.unwrap_or(0.0);
    let deepest = upright.max_by(|a, b| lost(a).total_cmp(&lost(b)))?;
    let parts = deepest.row.derived.clear_parts.iter().zip(PARTS);
    let known = parts.filter_map(|(left, name)| Some(((*left)?, name)));
    known
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}
