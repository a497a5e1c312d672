//! Reports waiting to be taken.

use std::collections::VecDeque;
use std::sync::{Mutex, MutexGuard, PoisonError};

use super::{FilmPicture, NightId, Report, Wake};

/// Most sentences about trouble that wait; of more, the oldest are dropped.
const MOST_TROUBLES: usize = 50;

/// Reports waiting to be taken, in order. Whoever reports never waits, and the queue stays short
/// even when nobody takes from it: a newer report of a kind that only the latest matters of takes
/// the older one's place.
pub(super) struct Outbox {
    waiting: Mutex<VecDeque<Report>>,
    wake: Wake,
}

impl Outbox {
    pub(super) fn new(wake: Wake) -> Self {
        Self {
            waiting: Mutex::default(),
            wake,
        }
    }

    fn lock(&self) -> MutexGuard<'_, VecDeque<Report>> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn push(&self, report: Report) {
        {
            let mut waiting = self.lock();
            waiting.retain(|older| !supersedes(&report, older));
            if matches!(report, Report::Trouble { .. }) {
                bound_troubles(&mut waiting);
            }
            waiting.push_back(report);
        }
        (self.wake)();
    }

    /// Says that something went wrong which ends nothing.
    pub(super) fn trouble(&self, text: impl Into<String>) {
        self.push(Report::Trouble {
            text: text.into(),
            fatal_to_open: false,
        });
    }

    pub(super) fn take(&self) -> Vec<Report> {
        self.lock().drain(..).collect()
    }
}

fn bound_troubles(waiting: &mut VecDeque<Report>) {
    let is_trouble = |report: &Report| matches!(report, Report::Trouble { .. });
    if waiting.iter().filter(|report| is_trouble(report)).count() >= MOST_TROUBLES
        && let Some(oldest) = waiting.iter().position(is_trouble)
    {
        waiting.remove(oldest);
    }
}

/// Which night a report is about.
const fn night_of(report: &Report) -> Option<NightId> {
    match report {
        Report::Opened { id, .. }
        | Report::Derived { id, .. }
        | Report::Progress { id, .. }
        | Report::Building { id, .. }
        | Report::Finished { id, .. }
        | Report::Picture { id, .. }
        | Report::Crop { id, .. }
        | Report::Result { id, .. }
        | Report::ResultDetail { id, .. }
        | Report::ResultStopped { id }
        | Report::Film(FilmPicture { id, .. })
        | Report::Planned { id, .. }
        | Report::Watching { id, .. }
        | Report::HandedOver { id, .. } => Some(*id),
        Report::Chosen(_)
        | Report::Saved { .. }
        | Report::Recents(_)
        | Report::Preferences(_)
        | Report::Trouble { .. } => None,
    }
}

fn supersedes(newer: &Report, older: &Report) -> bool {
    match newer {
        Report::Opened { .. } => night_of(older).is_some(),
        Report::Trouble { .. } | Report::HandedOver { .. } | Report::Watching { .. } => false,
        // A list of crops is asked for at once, and each of them is wanted.
        Report::Crop { request, .. } => {
            matches!(older, Report::Crop { request: other, .. } if other == request)
        }
        // The pictures of a film come one by one.
        Report::Film(newer) => matches!(older, Report::Film(other) if other.shot == newer.shot),
        _ => std::mem::discriminant(newer) == std::mem::discriminant(older),
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;
    use crate::engine::Progress;

    fn progress(done: usize) -> Report {
        Report::Progress {
            id: NightId(1),
            progress: Progress {
                done,
                ..Progress::default()
            },
        }
    }

    #[test]
    fn the_latest_progress_takes_the_place_of_older_ones() {
        let woken = Arc::new(AtomicUsize::new(0));
        let count = Arc::clone(&woken);
        let outbox = Outbox::new(Arc::new(move || {
            count.fetch_add(1, Ordering::Relaxed);
        }));
        for done in 0..1000 {
            outbox.push(progress(done));
            outbox.trouble("something");
        }
        assert_eq!(woken.load(Ordering::Relaxed), 2000);
        let reports = outbox.take();
        assert_eq!(reports.len(), MOST_TROUBLES + 1);
        let last = reports.iter().find_map(|report| match report {
            Report::Progress { progress, .. } => Some(progress.done),
            _ => None,
        });
        assert_eq!(last, Some(999));
        assert!(outbox.take().is_empty());
    }
}
