//! From causes to changes: what to set next time, and what the night will give.
//!
//! In: the night, its verdicts, the purpose, the user's tolerance. Out: [`NextTime`], a table of
//! settings each with a reason that carries a number, and [`Outcome`], what the used frames make.

pub mod types;

pub use types::{AdviceOptions, FilmLength, NextTime, Outcome, SettingAdvice};

use crate::night::Night;
use crate::verdict::{Judged, Purpose, Verdict};

/// The table of what to set next time, for the frames of `set`.
#[must_use]
pub fn next_time(night: &Night, set: usize, judged: &Judged, options: &AdviceOptions) -> NextTime {
    let _ = (night, set, judged, options);
    NextTime::default()
}

/// What the used frames of `set` give, with `verdicts` one for each row of the night.
#[must_use]
pub fn outcome(night: &Night, set: usize, verdicts: &[Verdict], purpose: Purpose) -> Outcome {
    let _ = (night, set, verdicts, purpose);
    Outcome::default()
}
