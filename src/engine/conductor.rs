//! The thread that owns the open night: takes effects and results, hands out jobs, reports.
//!
//! It never waits for anything but its own inbox, the workers' results and the clock, so that a
//! cancel is heard at once.

mod requests;
mod watched;

use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, at, never, select};

use super::crops::{self, Crops};
use super::handing_over::{HandingOver, Work};
use super::opening::{Context, Found, Opening};
use super::outbox::Outbox;
use super::pace::Spacing;
use super::pictures::Pictures;
use super::pool::{Done, Pool};
use super::results::Results;
use super::session::{Judging, Session};
use super::trails::Trails;
use super::watching::{Seen, Watch};
use super::{Effect, NightId, OpenRequest, Report, ResultRequest, dialogs, threads};
use crate::store::{Store, StoreError};

/// What arrives in the conductor's inbox.
pub(super) enum Note {
    Effect(Effect),
    /// An opening found something, or a sentence on why not.
    Found(NightId, Result<Box<Found>, String>),
    /// A watched folder has something new.
    Seen(NightId, Seen),
    /// Files of a night were moved: from where, to where.
    Moved(NightId, Vec<(PathBuf, PathBuf)>),
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
    pub(super) crops: Crops,
    pub(super) results: Results,
    pub(super) trails: Trails,
    /// The result asked for last.
    pub(super) result: Option<Arc<ResultRequest>>,
    pub(super) handing: HandingOver,
    watch: Option<Watch>,
    /// The cache folder, where the sample night is kept.
    pub(super) cache: PathBuf,
    session: Option<Session>,
    opening: Option<(NightId, Opening)>,
    /// Openings that were called off and have perhaps not ended yet.
    called_off: Vec<JoinHandle<()>>,
    runs: u64,
    /// Whether the person asked for something that shows only once the night is derived again.
    is_asked: bool,
    deriving: Spacing,
    telling: Spacing,
}

impl Conductor {
    pub(super) fn new(
        (own, inbox): (Sender<Note>, Receiver<Note>),
        store: Arc<Store>,
        outbox: Arc<Outbox>,
        pool: Pool,
        (pictures, crops, results, trails, handing): (
            Pictures,
            Crops,
            Results,
            Trails,
            HandingOver,
        ),
        cache: PathBuf,
    ) -> Self {
        Self {
            inbox,
            own,
            store,
            outbox,
            pool,
            pictures,
            crops,
            results,
            trails,
            result: None,
            handing,
            watch: None,
            cache,
            session: None,
            opening: None,
            called_off: Vec::new(),
            runs: 0,
            is_asked: false,
            deriving: Spacing::new(Duration::from_millis(200)),
            telling: Spacing::new(Duration::from_millis(100)),
        }
    }

    /// Works until told to quit.
    pub(super) fn conduct(mut self) {
        'working: loop {
            let due = self.next_due().map_or_else(never, at);
            select! {
                recv(self.inbox) -> note => match note {
                    Ok(Note::Quit) | Err(_) => break,
                    Ok(note) => self.hear(note),
                },
                recv(self.pool.done) -> done => self.take(done.ok()),
                recv(due) -> _ => {}
            }
            // All that has arrived, before the night is derived again: once for all of it.
            loop {
                match self.inbox.try_recv() {
                    Ok(Note::Quit) => break 'working,
                    Ok(note) => self.hear(note),
                    Err(_) => break,
                }
            }
            while let Ok(done) = self.pool.done.try_recv() {
                self.take(Some(done));
            }
            self.go_on();
        }
        if let Some(session) = &mut self.session {
            session.cancel();
        }
        self.call_off();
        self.end_watch();
        // Whoever still wants to put something in the inbox must not wait for us.
        self.inbox = never();
        for thread in self.called_off.drain(..) {
            threads::join(thread);
        }
    }

    /// Calls off an opening under way. Whoever asked for that knows, so nothing is said.
    fn call_off(&mut self) {
        self.called_off.retain(|thread| !thread.is_finished());
        let opening = self.opening.take();
        self.called_off
            .extend(opening.map(|(_, opening)| opening.call_off()));
    }

    fn take(&mut self, done: Option<Done>) {
        if let (Some(done), Some(session)) = (done, &mut self.session) {
            session.take(done);
        }
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
            Note::Moved(id, moved) => self.moved(id, &moved),
            Note::Seen(id, seen) => self.seen(id, seen),
            Note::Quit => {}
        }
    }

    fn run(&mut self, effect: Effect) {
        match effect {
            Effect::Open(request) => self.open(*request),
            Effect::Cancel => self.cancel(),
            Effect::Resume { failed_too } => {
                self.runs += 1;
                self.trails.stop();
                if let Some(session) = &mut self.session {
                    session.resume(failed_too, self.runs);
                    self.tell_progress();
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
                    self.is_asked = true;
                }
            }
            Effect::Supply { camera, supplied } => self.supply(camera, supplied),
            Effect::KeepSite(site) => self.keep_site(site),
            Effect::KeepSkyOffset { optics, mag } => self.keep_sky_offset(optics, mag),
            Effect::KeepDecisions(decisions) => self.decide(decisions),
            Effect::LoadPicture { shot } => self.load_picture(shot),
            Effect::LoadCrops(wishes) => self.load_crops(wishes),
            Effect::BuildResult(request) => self.build_result(request),
            Effect::ChooseFolder => {
                let outbox = Arc::clone(&self.outbox);
                dialogs::choose_folder(move |folder| outbox.push(Report::Chosen(vec![folder])));
            }
            Effect::ChooseAndExport(what) => self.choose_and_export(what),
            Effect::Export { what, to, existing } => self.export(what, to, existing),
            Effect::PlanHandOver(what) => self.hand_over(Work::Plan(what)),
            Effect::HandOver(what) => self.hand_over(Work::Do(what)),
            Effect::TakeBack(what) => self.hand_over(Work::TakeBack(what)),
            Effect::Watch(is_on) => self.watch(is_on),
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
        self.trails.stop();
        self.results.stop();
        self.result = None;
        self.end_watch();
        self.crops.ask(crops::Job::default());
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
        let usual_site = self.usual_site();
        self.runs += 1;
        let mut session = Session::new(found, &supplied, usual_site, self.runs);
        let offsets = self.store.sky_offsets();
        session.options.sky_offsets =
            self.tell_fault("Sky calibrations could not be read back", offsets);
        self.outbox.push(Report::Opened {
            id: session.id,
            title: session.title.clone(),
            paths: session.paths.clone(),
            decisions: session.decisions.clone(),
            supplied,
            usual_site,
        });
        self.session = Some(session);
        self.derive();
        self.tell_progress();
    }

    fn cancel(&mut self) {
        self.trails.stop();
        self.results.stop();
        self.handing.stop();
        self.call_off();
        if self.session.as_ref().is_some_and(|s| s.is_running) {
            self.finish(true);
        }
    }

    /// Hands out jobs, and tells what is new as often as it may.
    fn go_on(&mut self) {
        let Some(session) = &mut self.session else {
            return;
        };
        session.ask_for_pairs();
        session.feed(|job| self.pool.offer(job));
        let (is_done, is_stale) = (session.is_done(), session.is_stale);
        self.answer();
        if is_done {
            return self.finish(false);
        }
        let now = Instant::now();
        if is_stale && self.telling.is_due(now) {
            self.tell_progress();
            self.telling.done(now, now);
        }
        if is_stale && self.deriving.is_due(now) {
            self.derive();
        }
    }

    /// Derives the night if the person asked for something that changes it.
    fn answer(&mut self) {
        if std::mem::take(&mut self.is_asked) {
            self.derive();
            self.remember();
        }
    }

    fn tell_progress(&self) {
        if let Some(session) = self.session.as_ref().filter(|session| session.is_running) {
            let (id, progress) = (session.id, session.progress());
            self.outbox.push(Report::Progress { id, progress });
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
        self.outbox.push(Report::Progress { id, progress });
        self.derive();
        self.keep_readings();
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

    /// The value, or after a fault that is told to the person, nothing.
    fn tell_fault<T: Default>(&self, what: &str, done: Result<T, StoreError>) -> T {
        done.unwrap_or_else(|fault| {
            self.outbox.trouble(format!("{what}: {fault}"));
            T::default()
        })
    }
}
