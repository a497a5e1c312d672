//! Keep, doubtful, reject: for a purpose, with reasons and evidence.
//!
//! In: the night's table, a purpose and thresholds. Out: [`Judged`]: one judgement a row, findings
//! sorted by what they cost, events for the chart. Rules are data in `rules`, reasons one registry
//! in `reasons`. What to change next time belongs to `advice`; what the person decided, to `app`.

pub mod types;

pub use types::{
    Decisions, Event, Evidence, Finding, Judged, Judgement, Offer, Purpose, Reason, Tally,
    Thresholds, Verdict,
};

use crate::night::Night;

/// Judges every row of `night` for `purpose`.
#[must_use]
pub fn judge(night: &Night, purpose: Purpose, thresholds: &Thresholds) -> Judged {
    let _ = thresholds;
    Judged {
        purpose,
        judgements: vec![Judgement::default(); night.rows.len()],
        findings: Vec::new(),
        events: Vec::new(),
    }
}
