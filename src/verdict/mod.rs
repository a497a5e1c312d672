//! Keep, doubtful, reject: for a purpose, with reasons and evidence.
//!
//! In: the night's table, a purpose and thresholds. Out: [`Judged`]: one judgement a row, findings
//! sorted by what they cost, events for the chart. Rules are data in `rules`, reasons one registry
//! in `reasons`. What to change next time belongs to `advice`; what the person decided, to `app`.

pub mod cost;
pub mod decide;
pub mod knobs;
pub mod reasons;
pub mod trial;
pub mod types;
pub mod words;

mod apply;
mod causes;
mod detail;
mod explain;
mod findings;
mod jumps;
mod lights;
mod offers;
mod rank;
mod read;
mod rules;
mod tell;
#[cfg(test)]
pub(crate) mod testkit;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod tests_of_causes;
#[cfg(test)]
mod tests_of_purposes;
#[cfg(test)]
mod traps;

pub use cost::{DropCost, drop_cost};
pub use decide::{Answer, answer, longest_clean_run, tally};
pub use explain::explain;
pub use knobs::{KNOBS, Knob};
pub use rank::best_row;
pub use reasons::{News, REASONS, ReasonInfo};
pub use trial::{Trial, Tried};
pub use types::{
    Decisions, Event, Evidence, Finding, Judged, Judgement, Offer, Purpose, Reason, Tally,
    Thresholds, Verdict,
};

use crate::night::{Night, happenings};

/// Judges every row of `night` for `purpose`.
///
/// Frames still to be measured are kept without evidence. A gap is told with the frame after it and
/// does not weigh against that frame: what costs is what is not there.
#[must_use]
pub fn judge(night: &Night, purpose: Purpose, thresholds: &Thresholds) -> Judged {
    let happened = happenings(night);
    let mut judgements = apply::judgements(night, purpose, thresholds, &happened);
    if purpose == Purpose::Still {
        rank::rank(night, &mut judgements);
    }
    let (findings, events) = findings::findings(night, purpose, &judgements, &happened);
    Judged {
        purpose,
        judgements,
        findings,
        events,
    }
}
