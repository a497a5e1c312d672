//! From what a value shows to what caused it, where the night tells.

use std::collections::BTreeMap;

use super::read::{
    DOUBLED_STARS, FADING, GROUND_LIGHT, LASTING_JUMP, LINE, PREDICTED_TRAIL, Reading, SKY_NEAR,
    STARS, WIDTH,
};
use super::types::{Purpose, Reason};
use crate::night::{Cause, Happening, Moment, Shown};

/// What happened, by row.
pub(super) struct Causes<'a> {
    by_row: BTreeMap<usize, Vec<&'a Happening>>,
}

impl<'a> Causes<'a> {
    pub(super) fn of(happened: &'a [Happening], purpose: Purpose) -> Self {
        let mut by_row: BTreeMap<usize, Vec<&Happening>> = BTreeMap::new();
        let told = happened.iter().filter(|one| is_told(one.cause, purpose));
        for one in told {
            for moment in &one.moments {
                by_row.entry(moment.row).or_default().push(one);
            }
        }
        Self { by_row }
    }

    /// The causes of a row that are told.
    pub(super) fn in_row(&self, row: usize) -> impl Iterator<Item = &'a Happening> {
        let all = self.by_row.get(&row).map_or(&[][..], Vec::as_slice);
        all.iter().copied()
    }

    /// What caused that a value of this row shows `sign`, where that is known.
    pub(super) fn cause(&self, row: usize, sign: Reason, reading: &Reading) -> Option<Reason> {
        let all = self.in_row(row);
        let told = all.filter(|one| explains(one.cause, sign, reading));
        // Where two explain it, what comes and goes at once is nearer to one frame's value.
        told.map(|one| one.cause)
            .max_by_key(|cause| rank(*cause))
            .map(Reason::of)
    }
}

/// A film may be paced as slowly as dark subtraction would; for one picture no pace matters.
fn is_told(cause: Cause, purpose: Purpose) -> bool {
    let paced = matches!(purpose, Purpose::Timelapse | Purpose::Still);
    cause != Cause::DarkSubtraction || !paced
}

const fn rank(cause: Cause) -> u8 {
    match cause {
        Cause::Aircraft => 3,
        Cause::StrayLight | Cause::Lightning | Cause::Settling | Cause::Meteor => 2,
        Cause::Dew | Cause::Aurora | Cause::Satellite => 1,
        _ => 0,
    }
}

/// Whether a cause makes a value out of line in this way.
fn explains(cause: Cause, sign: Reason, reading: &Reading) -> bool {
    let brighter = sign == Reason::Sky && reading.measured > reading.baseline;
    // Light raises the noise and drowns stars.
    let lit = brighter || matches!(sign, Reason::Noise | Reason::FewStars | Reason::StrayLight);
    match cause {
        // Behind cloud hot pixels are left, which do not trail.
        Cause::Cloud => {
            let short = sign == Reason::Trailed && reading.measured < reading.baseline;
            short || matches!(sign, Reason::FewStars | Reason::Sky | Reason::Noise)
        }
        Cause::Dew => matches!(
            sign,
            Reason::Defocus | Reason::FewStars | Reason::Sky | Reason::Noise
        ),
        Cause::Defocus | Cause::FocusDrift => matches!(sign, Reason::Defocus | Reason::FewStars),
        Cause::Wind | Cause::Settling => {
            let shorter = reading.measured < reading.baseline;
            let stays = matches!(reading.quantity, LASTING_JUMP | DOUBLED_STARS);
            matches!(sign, Reason::Trailed | Reason::Knock) && !stays && !shorter
        }
        Cause::StrayLight | Cause::Lightning | Cause::Aurora | Cause::Airglow => lit,
        Cause::Insects | Cause::Aircraft | Cause::Satellite | Cause::Meteor => {
            sign == Reason::Streak
        }
        Cause::Moonrise | Cause::DarkSubtraction | Cause::EarlyStop => false,
    }
}

/// What shows a happening in one of its frames, and the reason that goes with such a value.
pub(super) fn note(one: &Happening, moment: &Moment) -> (Reason, Reading) {
    let (sign, quantity, unit) = match one.shown {
        Shown::Fading => (Reason::FewStars, FADING, "mag"),
        Shown::Stars => (Reason::FewStars, STARS, ""),
        Shown::Width => (Reason::Defocus, WIDTH, "px"),
        Shown::Trail => (Reason::Trailed, PREDICTED_TRAIL, "px"),
        Shown::Sky => (Reason::Sky, SKY_NEAR, "%"),
        Shown::Ground => (Reason::StrayLight, GROUND_LIGHT, "%"),
        Shown::Line => (Reason::Streak, LINE, "% of the diagonal"),
        Shown::Pace => (Reason::of(one.cause), "time from frame to frame", "s"),
    };
    let reading = Reading {
        quantity,
        unit,
        measured: moment.measured,
        baseline: moment.usual,
        scatter: 0.0,
    };
    (sign, reading)
}
