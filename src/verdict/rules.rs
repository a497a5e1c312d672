//! The rules as data: for each purpose, what is compared and past what it is doubtful or rejected.
//!
//! One rule is one line of [`rules`]; how values are read off the night is in `read`, how places
//! in the sequence count is in `apply`.

use super::read::{self, Context, Reading};
use super::types::{Purpose, Reason, Thresholds};
use crate::night::Row;

/// Past which value a rule speaks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Limit {
    /// The baseline and the largest of: so much, this share of the baseline, so many scatters.
    Beyond { least: f64, share: f64, sigmas: f64 },
    /// This value.
    Value(f64),
    /// This value, and as much more as the baseline is over `fair`: so a lens that never draws round
    /// stars does not cost the whole night.
    Scaled { value: f64, fair: f64 },
    /// This many, or half the baseline where that is fewer; five at the least. So a night that
    /// never shows many stars is not rejected whole.
    Fewest(f64),
}

impl Limit {
    /// The value past which it speaks.
    pub(super) fn past(self, reading: &Reading, worse: Worse) -> f64 {
        match self {
            Self::Value(value) => value,
            Self::Scaled { value, fair } => value * (reading.baseline / fair).max(1.0),
            Self::Fewest(least) => (0.5 * reading.baseline).clamp(5.0_f64.min(least), least),
            Self::Beyond {
                least,
                share,
                sigmas,
            } => {
                let room = least
                    .max(share * reading.baseline.abs())
                    .max(sigmas * reading.scatter);
                match worse {
                    Worse::Higher => reading.baseline + room,
                    Worse::Lower => reading.baseline - room,
                }
            }
        }
    }
}

/// Which side is bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Worse {
    Higher,
    Lower,
}

/// Where in the sequence a step of a rule counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// In every frame.
    Anywhere,
    /// Only in a run that reaches an end of the set.
    AtEnds,
    /// There, or in a run of at most two frames.
    EndsOrShort,
}

/// One step of a rule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Step {
    pub(super) limit: Limit,
    pub(super) place: Place,
}

/// One comparison, with up to three steps: worth a note, doubtful, reject.
pub(super) struct Rule {
    pub(super) reason: Reason,
    pub(super) worse: Worse,
    pub(super) read: fn(&Context<'_>, &Row) -> Option<Reading>,
    pub(super) note: Option<Step>,
    pub(super) doubt: Option<Step>,
    pub(super) reject: Option<Step>,
}

/// So many times the scatter of the pointing a jump has to be.
const JUMP_SIGMAS: f64 = 6.0;

/// Light on the ground is a lamp's past so many scatters of a calm night's.
const LAMP_SIGMAS: f64 = 6.0;

type Read = fn(&Context<'_>, &Row) -> Option<Reading>;

const fn rule(reason: Reason, worse: Worse, read: Read) -> Rule {
    Rule {
        reason,
        worse,
        read,
        note: None,
        doubt: None,
        reject: None,
    }
}

const fn higher(reason: Reason, read: Read) -> Rule {
    rule(reason, Worse::Higher, read)
}

const fn lower(reason: Reason, read: Read) -> Rule {
    rule(reason, Worse::Lower, read)
}

impl Rule {
    const fn note(mut self, limit: Limit) -> Self {
        let place = Place::Anywhere;
        self.note = Some(Step { limit, place });
        self
    }

    const fn doubt(mut self, place: Place, limit: Limit) -> Self {
        self.doubt = Some(Step { limit, place });
        self
    }

    const fn reject(mut self, place: Place, limit: Limit) -> Self {
        self.reject = Some(Step { limit, place });
        self
    }
}

/// So many times the baseline.
fn times(k: f64) -> Limit {
    Limit::Beyond {
        least: 0.0,
        share: k - 1.0,
        sigmas: 0.0,
    }
}

/// The rules of `purpose`, after the table of thresholds in docs/decisions.md.
#[expect(
    clippy::too_many_lines,
    reason = "one table, read and compared as a whole"
)]
pub(super) fn rules(purpose: Purpose, t: &Thresholds) -> Vec<Rule> {
    use Place::{Anywhere, AtEnds, EndsOrShort};
    let over = |px, share| Limit::Beyond {
        least: px,
        share,
        sigmas: 3.0,
    };
    let out_of_line = Limit::Beyond {
        least: 0.0,
        share: t.outlier_share,
        sigmas: t.outlier_z,
    };
    let fewer = Limit::Beyond {
        least: 0.0,
        share: 1.0 - t.stars_doubt_share,
        sigmas: t.outlier_z,
    };
    // Counts also follow the season's slow change, so against the night's best only half of that
    // share is told.
    let far_fewer = Limit::Value(0.5 * t.stars_doubt_share);
    let by = |least| Limit::Beyond {
        least,
        share: 0.0,
        sigmas: 0.0,
    };
    let rounder = |value| Limit::Scaled { value, fair: 1.1 };
    // A camera that stands still scatters about its pointing; a jump must stand out of that.
    let jump = Limit::Beyond {
        least: t.shift_doubt_px,
        share: 0.0,
        sigmas: JUMP_SIGMAS,
    };
    let doubled = Limit::Value(t.shift_doubt_px);
    let lamp = Limit::Beyond {
        least: 0.0,
        share: 0.0,
        sigmas: LAMP_SIGMAS,
    };
    let step = |share| Limit::Beyond {
        least: 0.0,
        share,
        sigmas: t.outlier_z,
    };

    let mut table = vec![
        higher(Reason::OverExposed, read::clipped_all)
            .reject(Anywhere, Limit::Value(t.clipped_reject_pct)),
        higher(Reason::Gap, read::missing_before).note(Limit::Value(0.0)),
    ];
    match purpose {
        Purpose::Trails => table.extend([
            higher(Reason::Trailed, read::trail)
                .doubt(Anywhere, over(t.trail_doubt_px, t.trail_doubt_share))
                .reject(AtEnds, over(t.trail_reject_px, t.trail_reject_share)),
            // Shorter is a push against the sky's turning, or a shutter that closed early; it darkens
            // a trail and tears nothing, so only twice as much is told.
            lower(Reason::Trailed, read::trail).doubt(
                Anywhere,
                over(2.0 * t.trail_doubt_px, 2.0 * t.trail_doubt_share),
            ),
            higher(Reason::Knock, read::doubled_stars).doubt(Anywhere, doubled),
            higher(Reason::Knock, read::lasting_jump).note(jump),
            higher(Reason::Defocus, read::width)
                .doubt(Anywhere, times(t.width_doubt))
                .reject(AtEnds, times(t.width_reject)),
            higher(Reason::FewStars, read::fading)
                .doubt(Anywhere, by(t.flux_doubt_mag))
                .reject(AtEnds, by(t.flux_reject_mag)),
            lower(Reason::FewStars, read::stars_least)
                .reject(Anywhere, Limit::Fewest(f64::from(t.stars_least))),
            lower(Reason::FewStars, read::stars).doubt(Anywhere, fewer),
            lower(Reason::FewStars, read::stars_of_best).doubt(Anywhere, far_fewer),
            higher(Reason::Sky, read::sky).doubt(Anywhere, out_of_line),
            lower(Reason::Sky, read::sky).doubt(Anywhere, out_of_line),
            higher(Reason::Sky, read::sky_over_darkest).doubt(AtEnds, times(t.sky_doubt)),
            higher(Reason::StrayLight, read::ground_light).doubt(Anywhere, lamp),
            higher(Reason::Noise, read::noise).doubt(Anywhere, out_of_line),
            higher(Reason::OverExposed, read::clipped).doubt(Anywhere, by(t.clipped_doubt_pct)),
            higher(Reason::Streak, read::bright_streak)
                .doubt(Anywhere, Limit::Value(t.streak_doubt_pct)),
            higher(Reason::Streak, read::streak).note(Limit::Value(0.0)),
            higher(Reason::SettingsChanged, read::other_settings)
                .doubt(Anywhere, Limit::Value(f64::NEG_INFINITY)),
        ]),
        Purpose::Timelapse => table.extend([
            higher(Reason::Sky, read::sky).doubt(Anywhere, step(t.step_doubt_share)),
            lower(Reason::Sky, read::sky).doubt(Anywhere, step(t.step_doubt_share)),
            higher(Reason::Sky, read::sky_with_lost_stars)
                .reject(EndsOrShort, step(t.step_reject_share)),
            lower(Reason::Sky, read::sky_with_lost_stars)
                .reject(EndsOrShort, step(t.step_reject_share)),
            higher(Reason::Knock, read::pointing_jump)
                .doubt(Anywhere, Limit::Value(t.shift_doubt_px))
                .reject(EndsOrShort, Limit::Value(t.shift_reject_px)),
            higher(Reason::Knock, read::doubled_stars).doubt(Anywhere, doubled),
            higher(Reason::Knock, read::lasting_jump).note(jump),
            higher(Reason::Trailed, read::trail)
                .doubt(Anywhere, over(t.trail_reject_px, t.trail_reject_share)),
            lower(Reason::FewStars, read::stars).doubt(Anywhere, fewer),
            higher(Reason::Defocus, read::width).note(times(t.width_doubt)),
            higher(Reason::Noise, read::noise).note(out_of_line),
            higher(Reason::OverExposed, read::clipped).doubt(Anywhere, by(t.clipped_doubt_pct)),
            higher(Reason::Streak, read::streak).note(Limit::Value(0.0)),
            higher(Reason::SettingsChanged, read::other_settings)
                .note(Limit::Value(f64::NEG_INFINITY)),
        ]),
        Purpose::Still => table.extend([
            higher(Reason::Knock, read::doubled_stars).doubt(Anywhere, doubled),
            higher(Reason::Trailed, read::trail)
                .doubt(Anywhere, over(t.trail_doubt_px, t.trail_doubt_share)),
            higher(Reason::Defocus, read::width).doubt(Anywhere, times(t.width_doubt)),
            higher(Reason::FewStars, read::fading).doubt(Anywhere, by(t.flux_doubt_mag)),
            lower(Reason::FewStars, read::stars_least)
                .doubt(Anywhere, Limit::Fewest(f64::from(t.stars_least))),
            lower(Reason::FewStars, read::stars).doubt(Anywhere, fewer),
            lower(Reason::FewStars, read::stars_of_best).doubt(Anywhere, far_fewer),
            higher(Reason::Sky, read::sky).doubt(Anywhere, out_of_line),
            lower(Reason::Sky, read::sky).doubt(Anywhere, out_of_line),
            higher(Reason::Noise, read::noise).doubt(Anywhere, out_of_line),
            higher(Reason::OverExposed, read::clipped).doubt(Anywhere, by(t.clipped_doubt_pct)),
            higher(Reason::Streak, read::bright_streak)
                .doubt(Anywhere, Limit::Value(t.streak_doubt_pct)),
            higher(Reason::Streak, read::streak).note(Limit::Value(0.0)),
            higher(Reason::SettingsChanged, read::other_settings)
                .note(Limit::Value(f64::NEG_INFINITY)),
        ]),
        Purpose::Tracked => table.extend([
            higher(Reason::Knock, read::doubled_stars).reject(Anywhere, doubled),
            higher(Reason::Trailed, read::elongation)
                .doubt(Anywhere, rounder(t.elongation_doubt))
                .reject(Anywhere, rounder(t.elongation_reject)),
            higher(Reason::Defocus, read::width)
                .doubt(Anywhere, times(t.tracked_width_doubt))
                .reject(Anywhere, times(t.tracked_width_reject)),
            higher(Reason::FewStars, read::fading)
                .doubt(Anywhere, by(t.tracked_flux_doubt_mag))
                .reject(Anywhere, by(t.tracked_flux_reject_mag)),
            lower(Reason::FewStars, read::stars_least)
                .reject(Anywhere, Limit::Fewest(f64::from(t.stars_least))),
            lower(Reason::FewStars, read::stars).doubt(Anywhere, fewer),
            lower(Reason::FewStars, read::stars_of_best).doubt(Anywhere, far_fewer),
            higher(Reason::Sky, read::sky).doubt(Anywhere, out_of_line),
            higher(Reason::Sky, read::sky_over_darkest)
                .doubt(Anywhere, times(t.sky_doubt))
                .reject(Anywhere, times(t.tracked_sky_reject)),
            higher(Reason::Noise, read::noise).doubt(Anywhere, out_of_line),
            higher(Reason::OverExposed, read::clipped).doubt(Anywhere, by(t.clipped_doubt_pct)),
            higher(Reason::Streak, read::streak_in_small_stack)
                .doubt(Anywhere, Limit::Value(t.streak_doubt_pct)),
            higher(Reason::Streak, read::streak).note(Limit::Value(0.0)),
            higher(Reason::SettingsChanged, read::other_settings)
                .doubt(Anywhere, Limit::Value(f64::NEG_INFINITY)),
        ]),
    }
    table
}
