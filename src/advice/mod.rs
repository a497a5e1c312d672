//! From causes to changes: what to set next time, and what the night will give.
//!
//! In: the night, its verdicts, the purpose, the user's tolerance. Out: [`NextTime`], a table of
//! settings each with a reason that carries a number, [`Outcome`], what the used frames make, and
//! [`Comparison`], its settings side by side. [`Plan`] is for another night.

pub mod compare;
pub mod plan;
pub mod types;

mod care;
mod facts;
mod light;
mod notes;
mod outcome;
mod pace;
mod points;
mod scales;
mod sensor;
#[cfg(test)]
mod plan_tests;
#[cfg(test)]
mod tests;

pub use compare::{Comparison, compare};
pub use outcome::{FILM_RATES, outcome};
pub use plan::{Plan, PlanAsked, PlanLens, PlanSky, plan};
pub use types::{AdviceOptions, FilmLength, NextTime, Outcome, SettingAdvice};

use crate::night::Night;
use crate::verdict::Judged;

/// The table of what to set next time, for the frames of `set`: changed settings first.
///
/// Empty when nothing of the set is measured.
#[must_use]
pub fn next_time(night: &Night, set: usize, judged: &Judged, options: &AdviceOptions) -> NextTime {
    let Some(facts) = facts::Facts::of(night, set, judged) else {
        return NextTime::default();
    };
    let mut settings = care::rows(&facts);
    settings.extend(light::rows(&facts, *options, &compare(night, set, judged)));
    settings.extend(points::row(&facts, *options));
    settings.extend(pace::rows(&facts));
    settings.sort_by_key(|row| !row.changed);
    let notes = notes::notes(&facts, &settings);
    NextTime { settings, notes }
}
