//! What the verdicts lead to on the disk, and the report: on a thread of its own, since a far disk may
//! take its time, and a report decodes frames.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Instant;

use super::outbox::Outbox;
use super::pace::Speed;
use super::source::{Source, guarded};
use super::{Derived, Existing, ExportWhat, HandOver, NightId, Progress, Report, saving, threads};
use crate::base::atomic;
use crate::export::Table;
use crate::export::handover::{self, Done, Links, LinksMade, Moves, Preview, Ratings};
use crate::export::report;
use crate::frame::{Colour, OpenOptions};
use crate::verdict::Decisions;

type OpenColour = Arc<dyn Fn(&Path, &OpenOptions) -> Option<Colour> + Send + Sync>;
/// Called with the files that were moved.
type Moved = Box<dyn FnOnce(Vec<(PathBuf, PathBuf)>) + Send>;

/// What to do.
#[derive(Debug, Clone)]
pub(super) enum Work {
    /// Say what would be done.
    Plan(HandOver),
    /// Do it.
    Do(HandOver),
    /// Take back what was done last of this.
    TakeBack(HandOver),
    /// Write the report.
    Report { to: PathBuf, existing: Existing },
}

/// It, and the night it is about.
pub(super) struct Job {
    pub(super) id: NightId,
    pub(super) title: String,
    /// The folder that names are relative to.
    pub(super) root: PathBuf,
    pub(super) derived: Derived,
    pub(super) decisions: Decisions,
    pub(super) options: OpenOptions,
    pub(super) work: Work,
}

/// What it takes to take something back.
enum Receipt {
    Ratings(Ratings),
    Moves(Moves),
    Links(LinksMade),
}

impl Receipt {
    const fn what(&self) -> HandOver {
        match self {
            Self::Ratings(_) => HandOver::Ratings,
            Self::Moves(_) => HandOver::SetAside,
            Self::Links(_) => HandOver::Links,
        }
    }
}

/// Does one thing at a time. Dropping it waits for that: a frame decoded, or the files that are moved.
pub(super) struct HandingOver {
    open: OpenColour,
    outbox: Arc<Outbox>,
    receipts: Arc<Mutex<Vec<(NightId, Receipt)>>>,
    running: Option<(Arc<AtomicBool>, JoinHandle<()>)>,
    stopped: Arc<AtomicBool>,
}

impl HandingOver {
    pub(super) fn new<S: Source>(source: &Arc<S>, outbox: &Arc<Outbox>) -> Self {
        let source = Arc::clone(source);
        Self {
            open: Arc::new(move |path, options| {
                guarded(path, || source.colour(path, options).ok()).ok()?
            }),
            outbox: Arc::clone(outbox),
            receipts: Arc::default(),
            running: None,
            stopped: Arc::default(),
        }
    }

    /// Starts a job, or says why not.
    pub(super) fn start(&mut self, job: Job, moved: Moved) -> Result<(), String> {
        if let Some((ended, thread)) = self.running.take() {
            if !ended.load(Ordering::Acquire) {
                self.running = Some((ended, thread));
                return Err("Files are being handed over already: wait for that.".to_owned());
            }
            threads::join(thread);
        }
        self.stopped = Arc::default();
        let ended = Arc::new(AtomicBool::new(false));
        let worker = Worker {
            open: Arc::clone(&self.open),
            outbox: Arc::clone(&self.outbox),
            receipts: Arc::clone(&self.receipts),
            stopped: Arc::clone(&self.stopped),
        };
        let its = Arc::clone(&ended);
        let thread = threads::spawn("nightloupe-hand-over", move || {
            worker.work(&job, moved);
            its.store(true, Ordering::Release);
        });
        let thread = thread.map_err(|fault| format!("Nothing could be done: {fault}"))?;
        self.running = Some((ended, thread));
        Ok(())
    }

    /// Stops a report that is being drawn. Files that are being moved all arrive.
    pub(super) fn stop(&self) {
        self.stopped.store(true, Ordering::Relaxed);
    }
}

impl Drop for HandingOver {
    fn drop(&mut self) {
        self.stop();
        if let Some((_, thread)) = self.running.take() {
            threads::join(thread);
        }
    }
}

struct Worker {
    open: OpenColour,
    outbox: Arc<Outbox>,
    receipts: Arc<Mutex<Vec<(NightId, Receipt)>>>,
    stopped: Arc<AtomicBool>,
}

impl Worker {
    fn work(&self, job: &Job, moved: Moved) {
        let id = job.id;
        match job.work.clone() {
            Work::Plan(what) => {
                let preview = Plan::of(what, job).preview();
                self.outbox.push(Report::Planned { id, what, preview });
            }
            Work::Do(what) => {
                let made = Plan::of(what, job).carry_out();
                self.tell(
                    id,
                    what,
                    false,
                    made.map(|(done, receipt)| {
                        self.lock().push((id, receipt));
                        done
                    }),
                    moved,
                );
            }
            Work::TakeBack(what) => {
                let receipt = {
                    let mut receipts = self.lock();
                    let is_it =
                        |(of, receipt): &(NightId, Receipt)| *of == id && receipt.what() == what;
                    receipts
                        .iter()
                        .rposition(is_it)
                        .map(|at| receipts.remove(at).1)
                };
                let nothing = || "There is nothing to take back.".to_owned();
                let done = receipt
                    .ok_or_else(nothing)
                    .and_then(|receipt| take_back(&receipt));
                self.tell(id, what, true, done, moved);
            }
            Work::Report { to, existing } => {
                let report = self.report(job, &to, existing);
                self.outbox.push(report);
                let progress = None;
                self.outbox.push(Report::Building { id, progress });
            }
        }
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Vec<(NightId, Receipt)>> {
        self.receipts.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn tell(
        &self,
        id: NightId,
        what: HandOver,
        is_back: bool,
        done: Result<Done, String>,
        moved: Moved,
    ) {
        let (mut done, is_done) = match done {
            Ok(done) => (done, true),
            Err(sentence) => {
                let troubles = vec![sentence];
                (
                    Done {
                        troubles,
                        ..Done::default()
                    },
                    false,
                )
            }
        };
        moved(std::mem::take(&mut done.moved));
        self.outbox.push(Report::HandedOver {
            id,
            what,
            is_back,
            is_done,
            sentence: done.sentence,
            troubles: done.troubles,
            notes: done.notes,
        });
    }

    fn report(&self, job: &Job, to: &Path, existing: Existing) -> Report {
        let table = Table::new(&job.derived.night, &job.derived.judged, &job.decisions);
        let mut speed = Speed::new(Instant::now());
        let pictures = report::draw_all(
            &table,
            |path| (self.open)(path, &job.options),
            |done, total| {
                let now = Instant::now();
                speed.note(now, done);
                let progress = Progress {
                    job: "Drawing the report".to_owned(),
                    done,
                    total,
                    kept: 0,
                    per_second: speed.per_second(),
                    left_s: speed.left_s(now, total - done),
                };
                let (id, progress) = (job.id, Some(progress));
                self.outbox.push(Report::Building { id, progress });
                !self.stopped.load(Ordering::Relaxed)
            },
        );
        if self.stopped.load(Ordering::Relaxed) {
            return Report::Trouble {
                text: "The report is not saved: it was cancelled.".to_owned(),
                fatal_to_open: false,
            };
        }
        let report = report::Report {
            title: &job.title,
            table: &table,
            decisions: &job.decisions,
            next_time: &job.derived.next_time,
            pictures: &pictures,
            with_place: false,
        };
        match atomic::write(to, existing, |out| report::write_report(&report, out)) {
            Ok(()) => Report::Saved {
                what: ExportWhat::Report,
                to: to.to_owned(),
            },
            Err(fault) => saving::not_saved(to, &fault),
        }
    }
}

/// A hand-over, planned.
enum Plan {
    Ratings(Ratings),
    Moves(Moves),
    Links(Links),
}

impl Plan {
    fn of(what: HandOver, job: &Job) -> Self {
        let table = Table::new(&job.derived.night, &job.derived.judged, &job.decisions);
        let files = handover::files_of(&table);
        match what {
            HandOver::Ratings => Self::Ratings(Ratings::plan(&files, None)),
            HandOver::SetAside => Self::Moves(Moves::plan(&files)),
            HandOver::Links => Self::Links(Links::plan(&files, &links_folder(job))),
        }
    }

    fn preview(&self) -> Preview {
        match self {
            Self::Ratings(ratings) => {
                let mut preview = ratings.preview();
                if !preview.is_empty && !ratings.can_be_written() {
                    preview.is_empty = true;
                    preview.notes.push(
                        "The frames' folder cannot be written. On the command line, export \
                         --sidecars writes them into another folder."
                            .to_owned(),
                    );
                }
                preview
            }
            Self::Moves(moves) => moves.preview(),
            Self::Links(links) => links.preview(),
        }
    }

    fn carry_out(self) -> Result<(Done, Receipt), String> {
        match self {
            Self::Ratings(ratings) => {
                let done = ratings.carry_out(&mut quietly);
                Ok((done, Receipt::Ratings(ratings)))
            }
            Self::Moves(moves) => {
                let done = moves.carry_out(&mut quietly);
                if done.moved.is_empty() {
                    return Err(done.troubles.join(" "));
                }
                Ok((done, Receipt::Moves(moves)))
            }
            Self::Links(links) => {
                let (done, made) = links.carry_out(&mut quietly)?;
                Ok((done, Receipt::Links(made)))
            }
        }
    }
}

fn quietly(_: handover::Change) {}

/// A new folder beside the night's, for its used frames.
fn links_folder(job: &Job) -> PathBuf {
    let beside = job.root.parent().unwrap_or(&job.root);
    let named = |n: usize| match n {
        1 => beside.join(format!("{} used", job.title)),
        n => beside.join(format!("{} used {n}", job.title)),
    };
    // Nobody numbers the same night a thousand times.
    (1..1000)
        .map(named)
        .find(|folder| !folder.exists())
        .unwrap_or_else(|| named(1))
}

fn take_back(receipt: &Receipt) -> Result<Done, String> {
    match receipt {
        Receipt::Links(made) => Ok(made.take_back(&mut quietly)),
        Receipt::Ratings(ratings) => {
            let folders = ratings.folders();
            let back = |(folder, files): (&PathBuf, &Vec<PathBuf>)| {
                handover::take_back_ratings(folder, Some(files), &mut quietly)
            };
            together(folders.iter().map(back))
        }
        Receipt::Moves(moves) => {
            let firsts = moves.firsts();
            let back = |(folder, firsts): (&PathBuf, &Vec<PathBuf>)| {
                handover::restore_these(folder, firsts, &mut quietly)
            };
            together(firsts.iter().map(back))
        }
    }
}

/// What was done in several folders, as one.
fn together(all: impl Iterator<Item = Result<Done, String>>) -> Result<Done, String> {
    let mut whole = Done::default();
    let mut sentences = Vec::new();
    for done in all {
        let done = done?;
        sentences.push(done.sentence);
        whole.moved.extend(done.moved);
        whole.troubles.extend(done.troubles);
        whole.notes.extend(done.notes);
    }
    whole.sentence = sentences.join(" ");
    Ok(whole)
}
