//! The folder watched while frames arrive, and what sets in said at once.

use std::collections::BTreeSet;

use crate::engine::{Effect, NightId, Watching};
use crate::export::field_check;
use crate::verdict::Reason;

use super::model::Model;
use super::open_night::OpenNight;

/// What is worth a word while something can still be done about it.
const ALERTS: [Reason; 8] = [
    Reason::Dew,
    Reason::Cloud,
    Reason::FocusDrift,
    Reason::Defocus,
    Reason::Knock,
    Reason::Wind,
    Reason::OverExposed,
    Reason::Gap,
];
/// Only what the last so many frames show sets in now.
const LATEST: usize = 6;

/// How the open night's folder is watched.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Watch {
    /// How.
    pub state: Watching,
    /// Frames there were when it began: what was there before alerts nobody.
    from: usize,
    /// Whether the field check was said.
    is_checked: bool,
    /// What was said already.
    alerted: BTreeSet<Reason>,
}

impl Watch {
    /// Whether it is on, though the folder may be gone.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.state != Watching::Off
    }
}

impl Model {
    pub(super) fn toggle_watch(&mut self, effects: &mut Vec<Effect>) {
        if let Some(night) = &self.night {
            effects.push(Effect::Watch(!night.watch.is_on()));
        }
    }

    pub(super) fn hear_of_watch(&mut self, id: NightId, watching: Watching) {
        let Some(night) = self.night_of(id) else {
            return;
        };
        let from = night.night().rows.len();
        let watch = &mut night.watch;
        if !watch.is_on() {
            (watch.from, watch.alerted) = (from, BTreeSet::new());
        }
        let before = std::mem::replace(&mut watch.state, watching.clone());
        match (before, watching) {
            (_, Watching::Gone(why)) => self.tell(
                format!(
                    "The folder cannot be read any more: {why}. What is measured stays; plug it in \
                     again and watching goes on."
                ),
                true,
            ),
            (Watching::Gone(_), Watching::On) => self.tell("The folder is back.", false),
            _ => {}
        }
    }
}

/// Frames that the field check waits for.
const FIRST: usize = 5;

impl OpenNight {
    /// What the first frames of a watched night say, once.
    pub(super) fn first_check(&mut self) -> Option<String> {
        let set = self.night().sets.get(self.set)?;
        let is_measured = |row: &&usize| !self.is_pending(**row);
        let measured = set.frames.iter().filter(is_measured).count();
        let is_due = self.watch.is_on()
            && !self.watch.is_checked
            && self.watch.from < FIRST
            && measured >= FIRST;
        if !is_due {
            return None;
        }
        let said = field_check(self.night(), set);
        self.watch.is_checked = true;
        let parts = said
            .into_iter()
            .map(|(heading, words)| format!("{heading}: {words}"));
        Some(format!(
            "Field check. {}",
            parts.collect::<Vec<_>>().join(" ")
        ))
    }

    /// What has set in on frames that arrived since the watch began, each said once until it is over.
    pub(super) fn alerts(&mut self) -> Vec<String> {
        if !self.watch.is_on() {
            return Vec::new();
        }
        let rows = &self.derived.night.rows;
        let latest = self.frames().iter().rev().take(LATEST);
        let fresh: BTreeSet<usize> = latest
            .copied()
            .filter(|&row| rows.get(row).is_some_and(|row| row.shot >= self.watch.from))
            .collect();
        let judged = &self.derived.judged;
        let now = judged.findings.iter().filter(|finding| {
            ALERTS.contains(&finding.reason) && finding.rows.iter().any(|row| fresh.contains(row))
        });
        let now: Vec<(Reason, String)> = now
            .map(|finding| {
                let (title, evidence) = (&finding.title, &finding.evidence);
                (finding.reason, format!("{title}: {evidence}"))
            })
            .collect();
        let said = std::mem::take(&mut self.watch.alerted);
        self.watch.alerted = now.iter().map(|(reason, _)| *reason).collect();
        now.into_iter()
            .filter(|(reason, _)| !said.contains(reason))
            .map(|(_, words)| words)
            .collect()
    }
}
