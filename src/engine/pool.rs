//! The measuring workers: a bounded queue of jobs in, a bounded queue of what came of them out.
//!
//! A worker holds at most one decoded frame, or two while it measures a pair, so memory depends on
//! the number of workers and not on the number of frames.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

use crossbeam_channel::{Receiver, Sender, TryRecvError, TrySendError, bounded, select};

use super::source::{Source, guarded};
use super::threads;
use crate::frame::{Facts, OpenOptions};
use crate::measure::{FrameMeasure, PairMeasure, Scratch};
use crate::night::PairWanted;
use crate::store::{ContentKey, Store};

/// Jobs waiting for each worker: enough that none idles while the conductor derives the night.
const JOBS_AHEAD: usize = 8;

/// One go at a night's frames, from start or resume until done or cancelled.
#[derive(Debug)]
pub(super) struct Run {
    /// Tells its results from those of an earlier one.
    pub(super) number: u64,
    pub(super) options: OpenOptions,
    /// Ignore what is kept.
    pub(super) fresh: bool,
    cancelled: AtomicBool,
}

impl Run {
    pub(super) fn new(number: u64, options: OpenOptions, fresh: bool) -> Self {
        Self {
            number,
            options,
            fresh,
            cancelled: AtomicBool::new(false),
        }
    }

    pub(super) fn cancel(&self) {
        self.cancelled.store(true, Ordering::Relaxed);
    }

    pub(super) fn is_cancelled(&self) -> bool {
        self.cancelled.load(Ordering::Relaxed)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Task {
    /// Read capture facts only: quick, and they order the night.
    Facts,
    /// Decode and measure.
    Measure,
    /// Decode again, with the frame that makes the pair, and measure both together.
    Pair,
}

#[derive(Debug)]
pub(super) struct Job {
    pub(super) run: Arc<Run>,
    pub(super) shot: usize,
    pub(super) path: PathBuf,
    pub(super) task: Task,
    /// The pair and its second frame, where the task is one.
    pub(super) partner: Option<(PairWanted, PathBuf)>,
}

#[derive(Debug)]
pub(super) struct Done {
    pub(super) run: u64,
    pub(super) shot: usize,
    pub(super) task: Task,
    pub(super) key: Option<ContentKey>,
    pub(super) outcome: Outcome,
}

#[derive(Debug)]
pub(super) enum Outcome {
    /// Capture facts; `None` when they could not be read, which measuring the file will explain.
    Facts(Option<Facts>),
    Measured(Box<Facts>, Arc<FrameMeasure>),
    /// Measured before, and only read back.
    Kept(Box<Facts>, Arc<FrameMeasure>),
    Failed(String),
    /// What came of a pair; no measure when a frame could not be read again.
    Pair(PairWanted, Option<Arc<PairMeasure>>),
    /// Its run was cancelled.
    Dropped,
}

/// The workers and their queues. Dropping it lets them end after the frame they are at.
pub(super) struct Pool {
    facts: Option<Sender<Job>>,
    measure: Option<Sender<Job>>,
    pub(super) done: Receiver<Done>,
    workers: Vec<JoinHandle<()>>,
}

impl Pool {
    pub(super) fn start<S: Source>(
        workers: usize,
        source: &Arc<S>,
        store: &Arc<Store>,
    ) -> io::Result<Self> {
        let (facts, facts_in) = bounded(workers * JOBS_AHEAD);
        let (measure, measure_in) = bounded(workers * JOBS_AHEAD);
        let (done_out, done) = bounded(workers * JOBS_AHEAD);
        let mut pool = Self {
            facts: Some(facts),
            measure: Some(measure),
            done,
            workers: Vec::new(),
        };
        for number in 1..=workers {
            // The first worker reads facts while there are any to read, so that the night is in
            // order soon; the others measure from the start.
            let (first, second) = if number == 1 {
                (facts_in.clone(), measure_in.clone())
            } else {
                (measure_in.clone(), facts_in.clone())
            };
            let (source, store) = (Arc::clone(source), Arc::clone(store));
            let done = done_out.clone();
            let name = format!("nightloupe-measure-{number}");
            pool.workers.push(threads::spawn(&name, move || {
                serve(&first, &second, &done, source.as_ref(), &store);
            })?);
        }
        Ok(pool)
    }

    /// Queues a job, or gives it back when the queue is full.
    pub(super) fn offer(&self, job: Job) -> Result<(), Job> {
        let queue = match job.task {
            Task::Facts => &self.facts,
            Task::Measure | Task::Pair => &self.measure,
        };
        match queue {
            Some(queue) => queue.try_send(job).map_err(TrySendError::into_inner),
            None => Err(job),
        }
    }
}

impl Drop for Pool {
    fn drop(&mut self) {
        self.facts = None;
        self.measure = None;
        // Workers that wait to hand over a result must find that nobody takes it any more.
        self.done = crossbeam_channel::never();
        for worker in self.workers.drain(..) {
            threads::join(worker);
        }
    }
}

fn serve<S: Source>(
    first: &Receiver<Job>,
    second: &Receiver<Job>,
    done: &Sender<Done>,
    source: &S,
    store: &Store,
) {
    let mut scratch = Scratch::default();
    while let Some(job) = next(first, second) {
        let key = if job.run.is_cancelled() {
            None
        } else {
            store.key_of(&job.path)
        };
        let outcome = guarded(&job.path, || {
            work(&job, key.as_ref(), source, store, &mut scratch)
        })
        .unwrap_or_else(|words| {
            // Half-filled buffers of a measurement that panicked are not to be trusted.
            scratch = Scratch::default();
            match job.task {
                Task::Facts => Outcome::Facts(None),
                Task::Measure => Outcome::Failed(words),
                Task::Pair => job.without_pair(),
            }
        });
        let result = Done {
            run: job.run.number,
            shot: job.shot,
            task: job.task,
            key,
            outcome,
        };
        if done.send(result).is_err() {
            return;
        }
    }
}

/// The next job, from the first queue if it has any; `None` once both are closed and empty.
fn next(first: &Receiver<Job>, second: &Receiver<Job>) -> Option<Job> {
    match first.try_recv() {
        Ok(job) => return Some(job),
        Err(TryRecvError::Disconnected) => return second.recv().ok(),
        Err(TryRecvError::Empty) => {}
    }
    select! {
        recv(first) -> job => job.or_else(|_| second.recv()).ok(),
        recv(second) -> job => job.or_else(|_| first.recv()).ok(),
    }
}

fn work<S: Source>(
    job: &Job,
    key: Option<&ContentKey>,
    source: &S,
    store: &Store,
    scratch: &mut Scratch,
) -> Outcome {
    if job.run.is_cancelled() {
        return Outcome::Dropped;
    }
    match job.task {
        Task::Facts => Outcome::Facts(facts(job, key, source, store)),
        Task::Measure => measure(job, key, source, store, scratch),
        Task::Pair => pair(job, key, source, store, scratch).unwrap_or_else(|| job.without_pair()),
    }
}

impl Job {
    fn without_pair(&self) -> Outcome {
        let pair = self.partner.as_ref().map(|(pair, _)| *pair);
        pair.map_or(Outcome::Dropped, |pair| Outcome::Pair(pair, None))
    }
}

/// `None` when a frame could not be read again, of which was told when it was measured.
fn pair<S: Source>(
    job: &Job,
    key: Option<&ContentKey>,
    source: &S,
    store: &Store,
    scratch: &mut Scratch,
) -> Option<Outcome> {
    let (pair, second) = job.partner.as_ref()?;
    let linear = job.run.options.linear;
    let second_key = store.key_of(second);
    let keys = key.copied().zip(second_key);
    if !job.run.fresh
        && let Some(kept) = keys.and_then(|keys| store.pair(keys, pair.of, linear))
    {
        return Some(Outcome::Pair(*pair, Some(Arc::new(kept))));
    }
    let frames = [job.path.as_path(), second].map(|path| {
        let go_on = !job.run.is_cancelled();
        go_on.then(|| source.decode(path, &job.run.options).ok())
    });
    let [Some(first), Some(later)] = frames else {
        return Some(Outcome::Dropped);
    };
    let measured = source.pair(first?, later?, pair.of, scratch);
    let unchanged = |(a, b): &(ContentKey, ContentKey)| {
        is_unchanged(store, &job.path, a) && is_unchanged(store, second, b)
    };
    if let Some(keys) = keys.filter(unchanged) {
        store.keep_pair(keys, pair.of, linear, &measured);
    }
    Some(Outcome::Pair(*pair, Some(Arc::new(measured))))
}

fn facts<S: Source>(
    job: &Job,
    key: Option<&ContentKey>,
    source: &S,
    store: &Store,
) -> Option<Facts> {
    if !job.run.fresh
        && let Some(kept) = key.and_then(|key| store.facts(key))
    {
        return Some(kept);
    }
    let facts = source.facts(&job.path, &job.run.options).ok()?;
    if let Some(key) = key.filter(|key| is_unchanged(store, &job.path, key)) {
        store.keep_facts(key, &facts);
    }
    Some(facts)
}

fn measure<S: Source>(
    job: &Job,
    key: Option<&ContentKey>,
    source: &S,
    store: &Store,
    scratch: &mut Scratch,
) -> Outcome {
    let linear = job.run.options.linear;
    if !job.run.fresh
        && let Some(kept) = key.and_then(|key| store.measure(key, linear))
    {
        return Outcome::Kept(Box::new(kept.facts), Arc::new(kept.measure));
    }
    let decoded = match source.decode(&job.path, &job.run.options) {
        Ok(decoded) => decoded,
        Err(fault) => return Outcome::Failed(fault.to_string()),
    };
    if job.run.is_cancelled() {
        return Outcome::Dropped;
    }
    let (facts, measured) = source.measure(decoded, scratch);
    if let Some(key) = key.filter(|key| is_unchanged(store, &job.path, key)) {
        store.keep_measure(key, linear, &facts, &measured);
    }
    Outcome::Measured(Box::new(facts), Arc::new(measured))
}

/// Whether the file is still the one whose key was read: a file that was being copied while it was
/// measured must not be remembered as measured.
fn is_unchanged(store: &Store, path: &Path, key: &ContentKey) -> bool {
    store.known_key(path).is_none_or(|now| now == *key)
}
