//! The open night's folder, watched.

use super::super::watching::{Seen, Watch};
use super::super::{NightId, Report, Watching};
use super::{Conductor, Note};

impl Conductor {
    pub(super) fn watch(&mut self, is_on: bool) {
        self.end_watch();
        let Some(session) = &self.session else {
            return;
        };
        let (id, own) = (session.id, self.own.clone());
        let mut watching = Watching::Off;
        if is_on {
            let tell = move |seen| {
                if own.send(Note::Seen(id, seen)).is_err() {
                    tracing::debug!("a frame arrived after the engine was closed");
                }
            };
            let known = session.all_paths();
            match Watch::start(session.paths.clone(), known, tell) {
                Ok(watch) => {
                    self.watch = Some(watch);
                    watching = Watching::On;
                }
                Err(fault) => self.outbox.trouble(format!("Nothing is watched: {fault}.")),
            }
        }
        self.outbox.push(Report::Watching { id, watching });
    }

    pub(super) fn end_watch(&mut self) {
        let ended = self.watch.take().map(Watch::end);
        self.called_off.extend(ended);
    }

    /// Takes in what the watch has seen.
    pub(super) fn seen(&mut self, id: NightId, seen: Seen) {
        let is_watched = self.watch.is_some();
        let Some(session) = self.session.as_mut().filter(|s| s.id == id && is_watched) else {
            return;
        };
        match seen {
            Seen::Arrived(shots) => {
                self.runs += 1;
                session.arrive(shots, self.runs);
                self.tell_progress();
            }
            Seen::Gone(why) => {
                let watching = Watching::Gone(why);
                self.outbox.push(Report::Watching { id, watching });
            }
            Seen::Back => {
                let watching = Watching::On;
                self.outbox.push(Report::Watching { id, watching });
            }
        }
    }
}
