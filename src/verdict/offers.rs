//! What can be done about a finding, each with its cost said before the button is pressed.

use super::cost::drop_cost;
use super::findings::{Cluster, Told};
use super::types::{Offer, Purpose, Reason, Verdict};
use super::words::{number, with_unit};

/// With "Show" and "Leave" a card has room for so many more.
const MOST_OFFERS: usize = 2;

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
    let reject = |label: String, rows: Vec<usize>, advised| Offer {
        label,
        cost: cost_of(told, &rows),
        verdict: Verdict::Reject,
        rows,
        advised,
    };
    let mut offers = Vec::new();
    if !worst.is_empty() {
        let label = match (doubtful.is_empty(), worst.len()) {
            (true, n) => these("Reject", n),
            (false, 1) => "Reject the worst".to_owned(),
            (false, n) => format!("Reject the worst {n}"),
        };
        offers.push(reject(label, worst.clone(), true));
    }
    if doubtful.is_empty() {
        return offers;
    }
    // In the middle of a trail or a film a hole costs more than the fault.
    let whole = matches!(told.purpose, Purpose::Trails | Purpose::Timelapse);
    let end = trim(told, cluster);
    match &end {
        Some((side, rows)) => {
            let label = format!("Trim the {side} {}", rows.len());
            offers.push(reject(label, rows.clone(), false));
        }
        None if worst.is_empty() => {
            let label = these("Reject", doubtful.len());
            offers.push(reject(label, doubtful.clone(), false));
        }
        None if !whole => {
            let all = rows_with(&[Verdict::Reject, Verdict::Doubtful]);
            offers.push(reject(format!("Reject all {}", all.len()), all, false));
        }
        None => {}
    }
    if offers.len() < MOST_OFFERS {
        let label = if worst.is_empty() {
            these("Keep", doubtful.len())
        } else {
            format!("Keep the other {}", doubtful.len())
        };
        offers.push(Offer {
            label,
            cost: match told.purpose {
                Purpose::Trails => "used as they are: no gap".to_owned(),
                Purpose::Timelapse => "used as they are: no jump".to_owned(),
                Purpose::Still | Purpose::Tracked => "used as they are".to_owned(),
            },
            verdict: Verdict::Keep,
            rows: doubtful,
            advised: whole && worst.is_empty() && end.is_none(),
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

/// For doubtful frames at an end of the night, where nothing is kept beyond them: which end, and all
/// rows from it up to them. What to do about those is for the person to say: a trade-off.
fn trim(told: &Told<'_>, cluster: &Cluster) -> Option<(&'static str, Vec<usize>)> {
    let frames = &told.set.frames;
    let verdict = |row: usize| told.verdicts.get(row).copied().unwrap_or_default();
    let doubts = |&&at: &&usize| told.row(at).map(verdict) == Some(Verdict::Doubtful);
    let first = *cluster.frames.iter().find(doubts)?;
    let last = *cluster.frames.iter().rfind(doubts)?;
    let sides = [
        ("first", frames.get(..=last)?),
        ("last", frames.get(first..)?),
    ];
    // Half a night is no end of it.
    let is_end = |rows: &[usize]| {
        let none_kept = rows.iter().all(|&row| verdict(row) != Verdict::Keep);
        none_kept && 2 * rows.len() <= frames.len()
    };
    let side = sides.into_iter().find(|(_, rows)| is_end(rows));
    side.map(|(side, rows)| (side, rows.to_vec()))
}

/// What a trade-off costs, in a sentence; nothing where there is none.
pub(super) fn trade_off(told: &Told<'_>, cluster: &Cluster) -> Option<String> {
    let judged = cluster.frames.iter().filter_map(|&at| told.judgement(at));
    let only_doubtful = judged.map(|j| j.verdict).max() == Some(Verdict::Doubtful);
    let (_, rows) = trim(told, cluster).filter(|_| only_doubtful)?;
    let cost = drop_cost(told.night, told.which, told.verdicts, &rows);
    let arc = cost
        .arc_deg
        .filter(|arc| *arc >= 0.05)
        .map(|arc| number(arc, 1));
    match told.purpose {
        Purpose::Trails => Some(format!("Trimming costs {}° of arc, no gap.", arc?)),
        Purpose::Timelapse => {
            let film = with_unit(cost.lost as f64 / 24.0, "s");
            Some(format!("Trimming costs {film} of film, no jump."))
        }
        Purpose::Still | Purpose::Tracked => None,
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
