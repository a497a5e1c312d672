//! What swells stars, by the course of it: dew, focus that moved, focus that crept.

use std::ops::Range;

use super::optics::{FEW, LOST_MAG, Told};
use super::signs::{Sign, Strip};
use super::{Cause, Shown, Surety};

/// Where a width's rise reaches this share of its later level in its first frames, it came at once.
const AT_ONCE: f64 = 0.7;
/// A frame this far below the level of a run is still sharp.
const SHARP: f64 = 0.4;
/// A width that grows by this from the first to the last third of its run grows.
const GROWS: f64 = 1.35;
/// Fewer frames do not creep.
const LEAST_CREEP: usize = 8;
/// Fewer frames do not swell slowly.
const LEAST_DEW: usize = 3;

/// What a run of swollen stars is of.
pub(super) enum Swelling {
    /// A cause.
    Told(Told),
    /// Swollen and dimmed, but not growing: haze, dew that stays, cloud; none can be told.
    Unclear,
    /// Nothing is known but the widths.
    Unnamed,
}

pub(super) fn swelling(strip: &Strip<'_>, run: &Range<usize>) -> Swelling {
    let Some(course) = Course::of(strip, run) else {
        return Swelling::Unnamed;
    };
    let told = course.dew().or_else(|| course.focus());
    match told {
        Some(told) => Swelling::Told(told),
        None if course.fades => Swelling::Unclear,
        None => Swelling::Unnamed,
    }
}

/// How the widths of a run go.
#[expect(
    clippy::struct_excessive_bools,
    reason = "independent remarks about one run"
)]
struct Course {
    frames: usize,
    /// Widest third over the sharp width, percent.
    percent: f64,
    grows: bool,
    shrinks: bool,
    at_once_in: bool,
    at_once_out: bool,
    reaches_start: bool,
    reaches_end: bool,
    /// Light lost where it is widest, mag.
    lost_mag: Option<f64>,
    /// Whether light was lost, or stars where light is not known.
    fades: bool,
}

impl Course {
    fn of(strip: &Strip<'_>, run: &Range<usize>) -> Option<Self> {
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
            swell.is_some_and(|swell| swell < SHARP * level)
        };
        let late = run.end - third..run.end;
        let lost_mag = strip.middle(late.clone(), |sign| sign.lost_mag);
        let few = strip.middle(late, |sign| sign.stars_of_best);
        Some(Self {
            frames: run.len(),
            percent: (100.0 * last.max(first)).round(),
            grows: last > GROWS * first,
            shrinks: first > GROWS * last,
            at_once_in: came >= AT_ONCE * level && is_sharp(run.start.checked_sub(1)),
            at_once_out: went >= AT_ONCE * level && is_sharp(Some(run.end)),
            reaches_start: run.start <= 1,
            reaches_end: run.end + 1 >= strip.signs.len(),
            lost_mag,
            fades: lost_mag.map_or(few.is_some_and(|few| few < FEW), |mag| mag > LOST_MAG),
        })
    }

    fn dew(&self) -> Option<Told> {
        (self.grows && self.fades && self.frames >= LEAST_DEW).then_some(())?;
        let ends = self.reaches_end || self.at_once_out;
        let sure = match self.lost_mag {
            Some(_) if ends => Surety::Sure,
            None if !self.reaches_end => return None,
            _ => Surety::Likely,
        };
        let percent = self.percent;
        Some(told(
            Cause::Dew,
            sure,
            format!(
                "Stars swelled slowly, to {percent} % over their sharp width, and faded with it."
            ),
        ))
    }

    fn focus(&self) -> Option<Told> {
        (!self.fades).then_some(())?;
        let percent = self.percent;
        let steady = !self.grows && !self.shrinks;
        let sure = self.lost_mag.map_or(Surety::Likely, |_| Surety::Sure);
        if steady && self.at_once_in {
            let by = format!(
                "Stars are {percent} % wider from one frame to the next, and keep their light: focus \
                 moved."
            );
            return Some(told(Cause::Defocus, sure, by));
        }
        if steady && self.reaches_start && self.at_once_out {
            let by = format!(
                "Stars were {percent} % wider until the focus was set again, and kept their light."
            );
            return Some(told(Cause::Defocus, sure, by));
        }
        let creeps = (self.grows && self.reaches_end) || (self.shrinks && self.reaches_start);
        let known = self.frames >= LEAST_CREEP && self.lost_mag.is_some();
        (creeps && known).then(|| {
            let by = format!(
                "Stars widened slowly, to {percent} %, and kept their light: focus crept, as cooling \
                 makes it."
            );
            told(Cause::FocusDrift, Surety::Likely, by)
        })
    }
}

const fn told(cause: Cause, sure: Surety, evidence: String) -> Told {
    Told {
        cause,
        shown: Shown::Width,
        sure,
        evidence,
    }
}
