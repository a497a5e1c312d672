//! Building the trails picture, on a thread of its own: one frame in memory at a time beside the
//! picture, so that memory does not depend on the number of frames.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Instant;

use super::outbox::Outbox;
use super::pace::Speed;
use super::source::{Source, guarded};
use super::{Existing, ExportWhat, NightId, Progress, Report, saving, threads};
use crate::base::atomic;
use crate::frame::{Colour, FrameError, OpenOptions, Orientation};
use crate::picture::{Deep, Turn, encode_deep};
use crate::result::{Blend, BuildError, Built, build};
use crate::verdict::words::plural;

type OpenColour = Arc<dyn Fn(&Path, &OpenOptions) -> Result<Colour, FrameError> + Send + Sync>;

/// What to build, and where to save it.
#[derive(Debug)]
pub(super) struct Job {
    pub(super) id: NightId,
    pub(super) what: ExportWhat,
    /// The used frames.
    pub(super) frames: Vec<PathBuf>,
    pub(super) options: OpenOptions,
    pub(super) orientation: Orientation,
    pub(super) to: PathBuf,
    pub(super) existing: Existing,
}

/// Builds one picture at a time. Dropping it stops that, and waits as long as one frame takes.
pub(super) struct Trails {
    open: OpenColour,
    outbox: Arc<Outbox>,
    running: Option<(Arc<Signals>, JoinHandle<()>)>,
}

#[derive(Default)]
struct Signals {
    /// It is to stop.
    stopped: AtomicBool,
    /// It has nothing more to do but tell so.
    ended: AtomicBool,
}

impl Trails {
    pub(super) fn new<S: Source>(source: &Arc<S>, outbox: &Arc<Outbox>) -> Self {
        let source = Arc::clone(source);
        Self {
            open: Arc::new(move |path, options| source.colour(path, options)),
            outbox: Arc::clone(outbox),
            running: None,
        }
    }

    /// Starts building, or says why not.
    pub(super) fn start(&mut self, job: Job) -> Result<(), String> {
        let is_ended = |(signals, _): &(Arc<Signals>, _)| signals.ended.load(Ordering::Acquire);
        if !self.running.as_ref().is_none_or(is_ended) {
            return Err("A trails picture is being built already: wait, or cancel it.".to_owned());
        }
        let format = Deep::of(&job.to).ok_or_else(|| {
            format!(
                "{} is not saved: a trails picture is a PNG or TIFF file, so end its name in .png \
                 or .tif.",
                job.to.display()
            )
        })?;
        let signals = Arc::new(Signals::default());
        let (open, outbox) = (Arc::clone(&self.open), Arc::clone(&self.outbox));
        let its = Arc::clone(&signals);
        let thread = threads::spawn("nightloupe-trails", move || {
            for report in make(&job, format, &open, &outbox, &its.stopped) {
                outbox.push(report);
            }
            its.ended.store(true, Ordering::Release);
            let (id, progress) = (job.id, None);
            outbox.push(Report::Building { id, progress });
        });
        let thread = thread.map_err(|fault| format!("Nothing could be built: {fault}"))?;
        self.running = Some((signals, thread));
        Ok(())
    }

    /// Stops what is being built, after the frame it is at. Nothing is saved then.
    pub(super) fn stop(&self) {
        if let Some((signals, _)) = &self.running {
            signals.stopped.store(true, Ordering::Relaxed);
        }
    }
}

impl Drop for Trails {
    fn drop(&mut self) {
        self.stop();
        if let Some((_, thread)) = self.running.take() {
            threads::join(thread);
        }
    }
}

/// Builds and saves; what is to be told about it comes back.
fn make(
    job: &Job,
    format: Deep,
    open: &OpenColour,
    outbox: &Outbox,
    stopped: &AtomicBool,
) -> Vec<Report> {
    let trouble = |text: String| Report::Trouble {
        text,
        fatal_to_open: false,
    };
    let built = match put_together(job, open, outbox, stopped) {
        Ok(built) => built,
        Err(why) => return vec![trouble(format!("The trails picture is not saved: {why}."))],
    };
    let left_out = built.left_out.first().map(|(_, why)| {
        let frames = plural(built.left_out.len(), "frame", "frames");
        trouble(format!(
            "{frames} could not go into the trails picture: {why}"
        ))
    });
    let mut reports = Vec::from_iter(left_out);
    reports.push(match save(job, format, built.colour, stopped) {
        Ok(()) => Report::Saved {
            what: job.what,
            to: job.to.clone(),
        },
        Err(fault) if fault.kind() == io::ErrorKind::Interrupted => trouble(format!(
            "The trails picture is not saved: {}.",
            BuildError::Cancelled
        )),
        Err(fault) => saving::not_saved(&job.to, &fault),
    });
    reports
}

fn put_together(
    job: &Job,
    open: &OpenColour,
    outbox: &Outbox,
    stopped: &AtomicBool,
) -> Result<Built, BuildError> {
    let total = job.frames.len();
    let mut speed = Speed::new(Instant::now());
    let mut tell = |done: usize| {
        let now = Instant::now();
        speed.note(now, done);
        let progress = Progress {
            job: "Building the trails picture".to_owned(),
            done,
            total,
            kept: 0,
            per_second: speed.per_second(),
            left_s: speed.left_s(now, total - done),
        };
        outbox.push(Report::Building {
            id: job.id,
            progress: Some(progress),
        });
    };
    tell(0);
    build(
        &job.frames,
        Blend::Brightest,
        |path| {
            guarded(path, || {
                open(path, &job.options).map_err(|why| why.to_string())
            })?
        },
        tell,
        || stopped.load(Ordering::Relaxed),
    )
}

fn save(job: &Job, format: Deep, colour: Colour, stopped: &AtomicBool) -> io::Result<()> {
    let turn = Turn::new(job.orientation, colour.width, colour.height);
    let (width, rgb) = turn.picture(colour.width, &colour.rgb);
    let height = rgb.len() / width.max(1);
    drop(colour);
    let colour = Colour { width, height, rgb };
    let file = encode_deep(colour, format)?;
    // Encoding takes a second or two; whoever cancelled meanwhile wants no file.
    if stopped.load(Ordering::Relaxed) {
        return Err(io::ErrorKind::Interrupted.into());
    }
    atomic::write(&job.to, job.existing, |out| out.write_all(&file))
}
