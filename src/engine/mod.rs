//! What runs it all: a bounded pipeline of named workers, cancellation, progress, and every
//! [`Effect`] the window or the command line asks for.
//!
//! In: effects. Out: [`Report`]s on a bounded queue, and a wake-up call for the window. Only here
//! do threads, files, the store and the pure rooms meet; what is computed belongs to those rooms.
//!
//! The threads: `conductor` owns the open night; `measure-n` read and measure frames; `picture`
//! decodes for the screen; `crops` cuts pieces; `open` looks what there is; `result` builds results
//! for the screen, `trails` what is saved of them; `hand-over` moves and writes files; `watch` looks for
//! new frames; dialogs have one each while they are open.

mod conductor;
mod crops;
mod dialogs;
mod films;
pub mod effect;
mod handing_over;
mod opening;
mod outbox;
mod pace;
mod pictures;
mod pool;
mod results;
mod sample;
mod saving;
mod session;
mod source;
#[cfg(test)]
mod tests;
mod threads;
mod trails;
mod watching;

pub use effect::{
    CropPart, CropRequest, Derived, Effect, Existing, ExportWhat, FilmFiles, FilmFrameOf,
    FilmPicture, HandOver, NightId, OpenRequest, Picture, Preview, Progress, Recent, Report,
    ResultRequest, Watching,
};

/// Types of the frame room that the engine's effects and reports carry, so that the window needs
/// no other room for them.
pub use crate::frame::{CameraKey, Colour, Supplied};

use std::num::NonZero;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;

use crossbeam_channel::{Sender, bounded};

pub use crate::store::Places;
use crate::store::Store;
use conductor::{Conductor, Note};
use crops::Crops;
use handing_over::HandingOver;
use outbox::Outbox;
use pictures::Pictures;
use pool::Pool;
use results::Results;
use source::{Files, Source};
use trails::Trails;

/// Called from the engine's threads whenever a report is waiting.
pub type Wake = Arc<dyn Fn() + Send + Sync>;

/// Effects that may wait to be heard: more than a person asks for while one is being done.
const INBOX: usize = 64;

/// The engine. Dropping it cancels what runs and waits for its threads, at most as long as one
/// frame takes.
pub struct Engine {
    inbox: Option<Sender<Note>>,
    outbox: Arc<Outbox>,
    conductor: Option<JoinHandle<()>>,
}

impl Engine {
    /// An engine with `workers` measuring threads (0: as many as there are cores), which keeps
    /// things in the user's folders.
    ///
    /// What kept it from starting, or from keeping things, is its first report.
    #[must_use]
    pub fn new(workers: usize, wake: Wake) -> Self {
        Self::start(workers, wake, Places::of_user(), Files)
    }

    /// The same, keeping things in `places`.
    #[must_use]
    pub fn with_places(workers: usize, wake: Wake, places: Places) -> Self {
        Self::start(workers, wake, Some(places), Files)
    }

    fn start<S: Source>(workers: usize, wake: Wake, places: Option<Places>, source: S) -> Self {
        let outbox = Arc::new(Outbox::new(wake));
        let cache = places
            .as_ref()
            .map_or_else(std::env::temp_dir, |places| places.cache.clone());
        let store = Arc::new(open_store(places, &outbox));
        match store.preferences() {
            Ok(preferences) => outbox.push(Report::Preferences(preferences)),
            Err(fault) => outbox.trouble(format!("Preferences could not be read back: {fault}")),
        }
        let mut engine = Self {
            inbox: None,
            outbox,
            conductor: None,
        };
        if let Err(fault) = engine.start_threads(workers, source, store, cache) {
            engine.outbox.push(Report::Trouble {
                text: format!("The system gives no more threads ({fault}). Close other programs."),
                fatal_to_open: true,
            });
        }
        engine
    }

    fn start_threads<S: Source>(
        &mut self,
        workers: usize,
        source: S,
        store: Arc<Store>,
        cache: PathBuf,
    ) -> std::io::Result<()> {
        let workers = match workers {
            0 => std::thread::available_parallelism().map_or(1, NonZero::get),
            some => some,
        };
        let source = Arc::new(source);
        let pool = Pool::start(workers, &source, &store)?;
        let pictures = Pictures::start(&source, &self.outbox)?;
        let crops = Crops::start(&source, &self.outbox)?;
        let results = Results::start(&source, &self.outbox)?;
        let trails = Trails::new(&source, &self.outbox);
        let handing = HandingOver::new(&source, &self.outbox);
        let (sender, receiver) = bounded(INBOX);
        let conductor = Conductor::new(
            (sender.clone(), receiver),
            store,
            Arc::clone(&self.outbox),
            pool,
            (pictures, crops, results, trails, handing),
            cache,
        );
        let thread = threads::spawn("nightloupe-conductor", move || conductor.conduct())?;
        self.inbox = Some(sender);
        self.conductor = Some(thread);
        Ok(())
    }

    /// Starts an effect and returns at once; what comes of it arrives as reports.
    pub fn run(&self, effect: Effect) {
        let sent = (self.inbox.as_ref()).map(|inbox| inbox.send(Note::Effect(effect)));
        if !matches!(sent, Some(Ok(()))) {
            self.outbox
                .trouble("This can't be done any more: start nightloupe again.");
        }
    }

    /// The reports that have arrived, without waiting.
    #[must_use]
    pub fn reports(&self) -> Vec<Report> {
        self.outbox.take()
    }
}

impl Drop for Engine {
    fn drop(&mut self) {
        if let Some(inbox) = self.inbox.take()
            && inbox.send(Note::Quit).is_err()
        {
            tracing::error!("the conductor ended early");
        }
        if let Some(conductor) = self.conductor.take() {
            threads::join(conductor);
        }
    }
}

fn open_store(places: Option<Places>, outbox: &Outbox) -> Store {
    let Some(places) = places else {
        outbox.trouble("There is no home folder: nothing will be remembered.");
        return Store::without();
    };
    let (store, warnings) = Store::open(&places);
    for warning in warnings {
        outbox.trouble(warning);
    }
    store
}
