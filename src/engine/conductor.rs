//! The thread that owns the open night: takes effects and results, hands out jobs, reports.
//!
//! It never waits for anything but its own inbox, the workers' results and the clock, so that a
//! cancel is heard at once.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, at, never, select};

use super::opening::{Context, Found, Opening};
use super::outbox::Outbox;
use super::pace::Spacing;
use super::pictures::{Pictures, Request};
use super::pool::Pool;
use super::session::{Judging, Session};
use super::{Effect, ExportWhat, NightId, OpenRequest, Report, dialogs, saving, threads};
use crate::frame::{CameraKey, Supplied};
use crate::store::{Store, StoreError};
use crate::verdict::Decisions;

/// What arrives in the conductor's inbox.
pub(super) enum Note {
    Effect(Effect),
    /// An opening found something, or a sentence on why not.
    Found(NightId, Result<Box<Found>, String>),
    Quit,
}

pub(super) struct Conductor {
    pub(super) inbox: Receiver<Note>,
    /// For threads that answer later. The conductor itself must not send: it could not take.
    pub(super) own: Sender<Note>,
    pub(super) store: Arc<Store>,
    pub(super) outbox: Arc<Outbox>,
    pub(super) pool: Pool,
    pub(super) pictures: Pictures,
    /// The cache folder, where the sample night is kept.
    pub(super) cache: PathBuf,
    session: Option<Session>,
    opening: Option<(NightId, Opening)>,
    /// Openings that were called off and have perhaps not ended yet.
    called_off: Vec<JoinHandle<()>>,
    runs: u64,
    deriving: Spacing,
    telling: Spacing,
}

impl Conductor {
    pub(super) fn new(
        (own, inbox): (Sender<Note>, Receiver<Note>),
        store: Arc<Store>,
        outbox: Arc<Outbox>,
        pool: Pool,
        pictures: Pictures,
        cache: PathBuf,
    ) -> Self {
        Self {
            inbox,
            own,
            store,
            outbox,
            pool,
            pictures,
            cache,
            session: None,
            opening: None,
            called_off: Vec::new(),
            runs: 0,
            deriving: Spacing::new(Duration::from_millis(200)),
            telling: Spacing::new(Duration::from_millis(100)),
        }
    }

    /// Works until told to quit.
    pub(super) fn conduct(mut self) {
        loop {
            let due = self.next_due().map_or_else(never, at);
            select! {
                recv(self.inbox) -> note => match note {
                    Ok(Note::Quit) | Err(_) => break,
                    Ok(note) => self.hear(note),
                },
                recv(self.pool.done) -> done => if let (Ok(done), Some(session)) = (done, &mut self.session) {
                    session.take(done);
                },
                recv(due) -> _ => {}
            }
            while let Ok(done) = self.pool.done.try_recv() {
                if let Some(session) = &mut self.session {
                    session.take(done);
                }
            }
            self.go_on();
        }
        if let Some(session) = &mut self.session {
            session.cancel();
        }
        self.call_off();
        // Whoever still wants to put something in the inbox must not wait for us.
        self.inbox = never();
        for thread in self.called_off.drain(..) {
            threads::join(thread);
        }
    }

    /// Calls off an opening under way; whether there was one.
    fn call_off(&mut self) -> bool {
        self.called_off.retain(|thread| !thread.is_finished());
        let opening = self.opening.take();
        let was_opening = opening.is_some();
        self.called_off
            .extend(opening.map(|(_, opening)| opening.call_off()));
        was_opening
    }

    /// When to look again if nothing arrives.
    fn next_due(&self) -> Option<Instant> {
        let session = self.session.as_ref()?;
        session.is_stale.then(|| self.deriving.next(Instant::now()))
    }

    fn hear(&mut self, note: Note) {
        match note {
            Note::Effect(effect) => self.run(effect),
            Note::Found(id, found) => self.found(id, found),
            Note::Quit => {}
        }
    }

    fn run(&mut self, effect: Effect) {
        match effect {
            Effect::Open(request) => self.open(*request),
            Effect::Cancel => self.cancel(),
            Effect::Resume { failed_too } => {
                self.runs += 1;
                if let Some(session) = &mut self.session {
                    session.resume(failed_too, self.runs);
                }
            }
            Effect::Derive {
                purpose,
                thresholds,
                advice,
            } => {
                if let Some(session) = &mut self.session {
                    session.judging = Judging {
                        purpose,
                        thresholds: *thresholds,
                        advice,
                    };
                    self.derive();
                    self.remember();
                }
            }
            Effect::Supply { camera, supplied } => self.supply(camera, supplied),
            Effect::KeepDecisions(decisions) => self.decide(decisions),
            Effect::LoadPicture { shot } => self.load_picture(shot),
            Effect::ChooseFolder => {
                let outbox = Arc::clone(&self.outbox);
                dialogs::choose_folder(move |folder| outbox.push(Report::Chosen(vec![folder])));
            }
            Effect::ChooseAndExport(what) => self.choose_and_export(what),
            Effect::Export { what, to } => self.export(what, &to),
            Effect::ListRecents => self.list_recents(),
            Effect::ClearRecents => {
                let done = self.store.clear_recents();
                self.tell_fault("Recent nights could not be forgotten", done);
                self.list_recents();
            }
            Effect::KeepPreference { name, value } => {
                let done = self.store.keep_preference(name, &value);
                self.tell_fault("A preference could not be kept", done);
            }
        }
    }

    fn open(&mut self, request: OpenRequest) {
        if let Some(mut before) = self.session.take() {
            before.cancel();
        }
        self.call_off();
        let id = request.id;
        let context = Context {
            store: Arc::clone(&self.store),
            outbox: Arc::clone(&self.outbox),
            cache: self.cache.clone(),
        };
        let own = self.own.clone();
        let started = Opening::start(request, context, move |found| {
            if own.send(Note::Found(id, found)).is_err() {
                tracing::debug!("opened after the engine was closed");
            }
        });
        match started {
            Ok(opening) => self.opening = Some((id, opening)),
            Err(fault) => self.not_opened(format!("Nothing could be opened: {fault}")),
        }
    }

    fn not_opened(&self, text: String) {
        self.outbox.push(Report::Trouble {
            text,
            fatal_to_open: true,
        });
    }

    fn found(&mut self, id: NightId, found: Result<Box<Found>, String>) {
        if self.opening.as_ref().is_none_or(|(of, _)| *of != id) {
            return;
        }
        self.opening = None;
        let found = match found {
            Ok(found) => *found,
            Err(text) => return self.not_opened(text),
        };
        let supplied = self.store.supplied();
        let supplied = self.tell_fault("Supplied facts could not be read back", supplied);
        self.runs += 1;
        let session = Session::new(found, &supplied, self.runs);
        self.outbox.push(Report::Opened {
            id: session.id,
            title: session.title.clone(),
            paths: session.paths.clone(),
            decisions: session.decisions.clone(),
            supplied,
        });
        self.session = Some(session);
        self.derive();
    }

    fn cancel(&mut self) {
        if self.call_off() {
            self.not_opened("Opening was called off.".to_owned());
        }
        if self.session.as_ref().is_some_and(|s| s.is_running) {
            self.finish(true);
        }
    }

    /// Hands out jobs, and tells what is new as often as it may.
    fn go_on(&mut self) {
        let Some(session) = &mut self.session else {
            return;
        };
        session.feed(|job| self.pool.offer(job));
        if session.is_done() {
            return self.finish(false);
        }
        let now = Instant::now();
        if session.is_running && session.is_stale && self.telling.is_due(now) {
            let (id, progress) = (session.id, session.progress());
            self.outbox.push(Report::Progress { id, progress });
            self.telling.done(now, now);
        }
        if session.is_stale && self.deriving.is_due(now) {
            self.derive();
        }
    }

    fn derive(&mut self) {
        let Some(session) = &mut self.session else {
            return;
        };
        let begun = Instant::now();
        let derived = session.derive();
        self.deriving.done(begun, Instant::now());
        let id = session.id;
        self.outbox.push(Report::Derived { id, derived });
    }

    fn finish(&mut self, cancelled: bool) {
        let Some(session) = &mut self.session else {
            return;
        };
        let took_s = session.started.elapsed().as_secs_f64();
        session.cancel();
        let (id, progress) = (session.id, session.progress());
        self.derive();
        self.outbox.push(Report::Progress { id, progress });
        self.outbox.push(Report::Finished {
            id,
            took_s,
            cancelled,
        });
        self.remember();
    }

    /// Puts the night among the recent ones.
    fn remember(&self) {
        let Some(recent) = self.session.as_ref().and_then(Session::recent) else {
            return;
        };
        let done = self.store.keep_recent(&recent);
        self.tell_fault("This night could not be remembered", done);
    }

    fn supply(&mut self, camera: CameraKey, supplied: Supplied) {
        let done = self.store.keep_supplied(&camera, &supplied);
        self.tell_fault("Supplied facts could not be kept", done);
        if let Some(session) = &mut self.session {
            session.options.supplied.insert(camera, supplied);
            self.derive();
        }
    }

    fn decide(&mut self, decisions: Decisions) {
        let Some(session) = &mut self.session else {
            return;
        };
        let (changes, without_key) = session.decide(decisions, &self.store);
        let done = self.store.keep_decisions(&changes);
        self.tell_fault("Decisions could not be kept", done);
        if let Some(name) = without_key.first() {
            self.outbox.trouble(format!(
                "The decision on {name} holds until you close the night, but could not be kept: \
                 the file cannot be read."
            ));
        }
        self.remember();
    }

    fn load_picture(&self, shot: usize) {
        let Some(session) = &self.session else {
            return;
        };
        match session.path_of(shot) {
            Some(path) => self.pictures.ask(Request {
                id: session.id,
                shot,
                path,
                options: session.run.options,
            }),
            None => self.outbox.push(Report::Picture {
                id: session.id,
                shot,
                picture: Err("there is no such frame".to_owned()),
            }),
        }
    }

    fn choose_and_export(&self, what: ExportWhat) {
        let Some(session) = &self.session else {
            return;
        };
        let own = self.own.clone();
        let folder = Some(session.root.clone());
        dialogs::choose_file(
            folder,
            &saving::file_name(&session.title, what),
            move |to| {
                let effect = Effect::Export { what, to };
                if own.send(Note::Effect(effect)).is_err() {
                    tracing::debug!("a file was chosen after the engine was closed");
                }
            },
        );
    }

    fn export(&mut self, what: ExportWhat, to: &Path) {
        if self.session.as_ref().is_some_and(|s| s.is_stale) {
            self.derive();
        }
        let Some(session) = &self.session else {
            return;
        };
        let Some(derived) = &session.latest else {
            return;
        };
        match saving::save(what, to, derived, &session.decisions) {
            Ok(()) => self.outbox.push(Report::Saved {
                what,
                to: to.to_owned(),
            }),
            Err(fault) => self.outbox.trouble(format!(
                "{} could not be saved: {fault}. Choose another folder or free some space.",
                to.display()
            )),
        }
    }

    fn list_recents(&self) {
        let recents = self.store.recents();
        let recents = self.tell_fault("Recent nights could not be read back", recents);
        self.outbox.push(Report::Recents(recents));
    }

    /// The value, or after a fault that is told to the person, nothing.
    fn tell_fault<T: Default>(&self, what: &str, done: Result<T, StoreError>) -> T {
        done.unwrap_or_else(|fault| {
            self.outbox.trouble(format!("{what}: {fault}"));
            T::default()
        })
    }
}
