//! What can be done about a finding, each with its cost said before the button is pressed.

use super::cost::drop_cost;
use super::findings::{Cluster, Told};
use super::types::{Offer, Purpose, Reason, Verdict};

/// What can be done about a cluster, the advised first.
pub(super) fn offers(told: &Told<'_>, cluster: &Cluster, verdict: Verdict) -> Vec<Offer> {
    let rows_with = |wanted: &[Verdict]| -> Vec<usize> {
        cluster
            .frames
            .iter()
            .filter(|&&at| {
                told.judgement(at)
                    .is_some_and(|j| wanted.contains(&j.verdict))
            })
            .filter_map(|&at| told.row(at))
            .collect()
    };
    let nothing = verdict == Verdict::Keep
        || told.purpose == Purpose::Still
        || matches!(cluster.reason, Reason::Gap | Reason::Unreadable);
    if nothing {
        return Vec::new();
    }
    let worst = rows_with(&[Verdict::Reject]);
    let doubtful = rows_with(&[Verdict::Doubtful]);
    let mut offers = Vec::new();
    if !worst.is_empty() {
        offers.push(Offer {
            label: if doubtful.is_empty() {
                these("Reject", worst.len())
            } else {
                format!("Reject the worst {}", worst.len())
            },
            cost: cost_of(told, &worst),
            verdict: Verdict::Reject,
            rows: worst.clone(),
            advised: true,
        });
    }
    if !doubtful.is_empty() {
        let ends = is_at_end(told, &doubtful);
        let all: Vec<usize> = rows_with(&[Verdict::Reject, Verdict::Doubtful]);
        let word = if ends { "Trim" } else { "Reject" };
        offers.push(Offer {
            label: these(word, all.len()),
            cost: cost_of(told, &all),
            verdict: Verdict::Reject,
            rows: all,
            advised: false,
        });
        // At an end it is a trade-off for the person; in the middle of a trail or a film a hole costs
        // more than the fault.
        let whole = matches!(told.purpose, Purpose::Trails | Purpose::Timelapse);
        offers.push(Offer {
            label: these("Keep", doubtful.len()),
            cost: match told.purpose {
                Purpose::Trails => "used as they are: no gap".to_owned(),
                Purpose::Timelapse => "used as they are: no jump".to_owned(),
                Purpose::Still | Purpose::Tracked => "used as they are".to_owned(),
            },
            verdict: Verdict::Keep,
            rows: doubtful,
            advised: whole && !ends && worst.is_empty(),
        });
    }
    offers.sort_by_key(|offer| !offer.advised);
    offers
}

/// "Reject these 4", "Reject this one".
fn these(word: &str, count: usize) -> String {
    match count {
        1 => format!("{word} this one"),
        n => format!("{word} these {n}"),
    }
}

/// What rejecting `rows` costs, seen from the advised verdicts without that rejection.
pub(super) fn cost_of(told: &Told<'_>, rows: &[usize]) -> String {
    let mut before = told.verdicts.to_vec();
    for &row in rows {
        if let Some(slot) = before.get_mut(row) {
            *slot = Verdict::Keep;
        }
    }
    drop_cost(told.night, told.which, &before, rows).words(told.purpose)
}

/// Whether leaving out `rows` tears nothing open between frames that are used as advised.
fn is_at_end(told: &Told<'_>, rows: &[usize]) -> bool {
    drop_cost(told.night, told.which, told.verdicts, rows).only_ends
}
