//! What the pace of the frames tells: dark subtraction in the camera, an early end.

use super::super::types::{Night, Set};
use super::{Cause, Happening, Moment, Shown, Surety};

/// The shutter is shut about as long as it is open: the camera takes a dark frame after each.
const AS_LONG: std::ops::RangeInclusive<f64> = 0.85..=1.3;
/// Exposures shorter than this are paced by hand or by a timer, s.
const LEAST_EXPOSURE_S: f64 = 4.0;
/// Fewer frames show no pace.
const LEAST_FRAMES: usize = 5;

/// Happenings of one set.
pub(super) fn happenings(night: &Night, which: usize) -> Vec<Happening> {
    let Some(set) = night.sets.get(which) else {
        return Vec::new();
    };
    let dark = dark_subtraction(night, which, set);
    dark.into_iter()
        .chain(early_stop(night, which, set))
        .collect()
}

fn dark_subtraction(night: &Night, which: usize, set: &Set) -> Option<Happening> {
    let exposure = night.groups.get(set.main_group?)?.settings.exposure_s?;
    let (interval, pause) = (set.interval_s?, set.pause_s?);
    let is_so = AS_LONG.contains(&(pause / exposure)) && exposure >= LEAST_EXPOSURE_S;
    (is_so && set.frames.len() >= LEAST_FRAMES).then(|| Happening {
        cause: Cause::DarkSubtraction,
        set: which,
        shown: Shown::Pace,
        moments: moments(&set.frames, interval, exposure),
        sure: Surety::Likely,
        evidence: format!(
            "The shutter was open {exposure:.0} s of each {interval:.0} s: as with a dark frame taken \
             after each, which leaves out half of every trail."
        ),
    })
}

fn moments(rows: &[usize], measured: f64, usual: f64) -> Vec<Moment> {
    let one = |&row: &usize| Moment {
        row,
        measured,
        usual,
    };
    rows.iter().map(one).collect()
}

/// The last file broken off while it was written. That a camera merely stopped is no sign: so does one
/// that was switched off.
fn early_stop(night: &Night, which: usize, set: &Set) -> Option<Happening> {
    let last = *set.frames.last()?;
    let row = night.rows.get(last)?;
    let readable = set.frames.iter().filter_map(|&at| night.rows.get(at));
    let readable = readable.filter(|row| row.error.is_none()).count();
    (row.error.is_some() && readable >= LEAST_FRAMES).then(|| Happening {
        cause: Cause::EarlyStop,
        set: which,
        shown: Shown::Pace,
        moments: moments(&[last], 0.0, 0.0),
        sure: Surety::Possible,
        evidence: "The very last file cannot be read: card or battery may have ended while it was \
                   written."
            .to_owned(),
    })
}
