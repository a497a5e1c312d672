//! Building a picture or a film to save, on a thread of its own: a few frames in memory at a time
//! beside the picture, so that memory does not depend on their number.

use std::collections::HashMap;
use std::io;
use std::num::NonZero;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Instant;

use super::films::Film;
use super::outbox::Outbox;
use super::pace::Speed;
use super::results::open_piece;
use super::source::Source;
use super::{Existing, ExportWhat, NightId, Progress, Report, saving, threads};
use crate::base::atomic;
use crate::frame::{Colour, OpenOptions, Orientation};
use crate::picture::{PictureFormat, Turn, encode_picture};
use crate::result::{Folded, Pass, Piece, Recipe, shots_of};
use crate::verdict::words::plural;

/// Opens a file of a frame of so many px and cuts a piece out of it.
type Open = Arc<dyn Fn(&Job, usize, Piece) -> Result<Colour, String> + Send + Sync>;

/// Larger frames are opened one at a time, px: two of them and what is built would not fit into the
/// memory of a small machine.
const LARGE_PX: usize = 30_000_000;

/// What to build, and where to save it.
#[derive(Debug)]
pub(super) struct Job {
    pub(super) id: NightId,
    pub(super) what: ExportWhat,
    pub(super) work: Work,
    /// The file of every shot.
    pub(super) paths: Arc<HashMap<usize, PathBuf>>,
    pub(super) options: OpenOptions,
    /// Size of the frames, px.
    pub(super) frame: (usize, usize),
    pub(super) orientation: Orientation,
    pub(super) to: PathBuf,
    pub(super) existing: Existing,
}

/// What is built.
#[derive(Debug)]
pub(super) enum Work {
    /// A picture at full size.
    Picture(Box<Recipe>),
    /// The numbered frames of a film.
    Film(Film),
}

impl Job {
    /// "the trails picture".
    const fn name(&self) -> &'static str {
        match (&self.work, self.what) {
            (Work::Film(_), _) => "film",
            (_, ExportWhat::Result) => "result",
            _ => "trails picture",
        }
    }

    fn at_once(&self) -> usize {
        let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
        if self.frame.0 * self.frame.1 > LARGE_PX {
            1
        } else {
            cores
        }
    }
}

/// Builds one picture at a time. Dropping it stops that, and waits as long as one frame takes.
pub(super) struct Trails {
    open: Open,
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
            open: Arc::new(move |job, shot, piece| {
                let path = job.paths.get(&shot);
                open_piece(source.as_ref(), path, &job.options, job.frame, piece)
            }),
            outbox: Arc::clone(outbox),
            running: None,
        }
    }

    /// Starts building, or says why not.
    pub(super) fn start(&mut self, job: Job) -> Result<(), String> {
        let is_ended = |(signals, _): &(Arc<Signals>, _)| signals.ended.load(Ordering::Acquire);
        if !self.running.as_ref().is_none_or(is_ended) {
            return Err("A picture is being saved already: wait, or cancel it.".to_owned());
        }
        let format = PictureFormat::of(&job.to);
        if format.is_none() && matches!(job.work, Work::Picture(_)) {
            return Err(format!(
                "{} is not saved: end its name in .png or .tif for 16 bits a sample, or in .jpg.",
                job.to.display()
            ));
        }
        let signals = Arc::new(Signals::default());
        let (open, outbox) = (Arc::clone(&self.open), Arc::clone(&self.outbox));
        let its = Arc::clone(&signals);
        let thread = threads::spawn("nightloupe-trails", move || {
            for report in make(&job, &open, &outbox, &its.stopped) {
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
fn make(job: &Job, open: &Open, outbox: &Outbox, stopped: &AtomicBool) -> Vec<Report> {
    let done = match &job.work {
        Work::Picture(recipe) => picture(job, recipe, open, outbox, stopped),
        Work::Film(film) => self::film(job, film, open, outbox, stopped),
    };
    let trouble = |text: String| Report::Trouble {
        text,
        fatal_to_open: false,
    };
    let name = job.name();
    match done {
        Ok((left_out, why)) => {
            let told = why.map(|why| {
                let frames = plural(left_out, "frame", "frames");
                trouble(format!("{frames} could not go into the {name}: {why}"))
            });
            let (what, to) = (job.what, job.to.clone());
            told.into_iter()
                .chain([Report::Saved { what, to }])
                .collect()
        }
        Err(fault) if fault.kind() == io::ErrorKind::Interrupted => {
            vec![trouble(format!(
                "The {name} is not saved: stopped before it was done."
            ))]
        }
        Err(fault) if fault.kind() == io::ErrorKind::InvalidInput => {
            vec![trouble(format!("The {name} is not saved: {fault}."))]
        }
        Err(fault) => vec![saving::not_saved(&job.to, &fault)],
    }
}

/// Tells how far it is, of `total` frames.
fn teller<'a>(job: &'a Job, outbox: &'a Outbox, total: usize) -> impl FnMut(usize) + 'a {
    let mut speed = Speed::new(Instant::now());
    let words = match &job.work {
        Work::Film(_) => "Saving the film".to_owned(),
        Work::Picture(_) => format!("Building the {}", job.name()),
    };
    move |done| {
        let now = Instant::now();
        speed.note(now, done);
        let progress = Progress {
            job: words.clone(),
            done,
            total,
            kept: 0,
            per_second: speed.per_second(),
            left_s: speed.left_s(now, total - done.min(total)),
        };
        outbox.push(Report::Building {
            id: job.id,
            progress: Some(progress),
        });
    }
}

/// Builds a picture at full size and saves it. How many frames were left out comes back, with why.
fn picture(
    job: &Job,
    recipe: &Recipe,
    open: &Open,
    outbox: &Outbox,
    stopped: &AtomicBool,
) -> io::Result<(usize, Option<String>)> {
    let piece = Piece::whole(job.frame.0, job.frame.1, usize::MAX);
    let mut folded = Folded::new(piece, recipe, false);
    let steps = folded.steps(recipe);
    let mut tell = teller(job, outbox, shots_of(&steps).len());
    tell(0);
    let pass = Pass {
        piece,
        motion: recipe.motion,
        at_once: job.at_once(),
        open: &|shot| open(job, shot, piece),
        stopped: &|| stopped.load(Ordering::Relaxed),
    };
    let left_out = pass
        .run(&steps, &mut folded, |_, done| tell(done))
        .map_err(|_| io::ErrorKind::Interrupted)?;
    let why = left_out.first().map(|(_, why)| why.clone());
    let Some(colour) = folded.finish(recipe).1 else {
        let why = why.map_or_else(String::new, |why| format!(": {why}"));
        let words = format!("no frame could be used{why}");
        return Err(io::Error::new(io::ErrorKind::InvalidInput, words));
    };
    save(job, colour, stopped)?;
    Ok((left_out.len(), why))
}

/// Saves the frames of a film.
fn film(
    job: &Job,
    film: &Film,
    open: &Open,
    outbox: &Outbox,
    stopped: &AtomicBool,
) -> io::Result<(usize, Option<String>)> {
    let mut tell = teller(job, outbox, film.frames.len());
    tell(0);
    let piece = Piece::whole(job.frame.0, job.frame.1, usize::MAX);
    film.save(
        &job.to,
        job.at_once(),
        &|shot| open(job, shot, piece),
        &mut tell,
        &|| stopped.load(Ordering::Relaxed),
    )
}

fn save(job: &Job, colour: Colour, stopped: &AtomicBool) -> io::Result<()> {
    let format = PictureFormat::of(&job.to).unwrap_or(PictureFormat::Png);
    let turn = Turn::new(job.orientation, colour.width, colour.height);
    let (width, rgb) = turn.picture(colour.width, &colour.rgb);
    let height = rgb.len() / width.max(1);
    drop(colour);
    let colour = Colour { width, height, rgb };
    let file = encode_picture(colour, format)?;
    // Encoding takes a second or two; whoever cancelled meanwhile wants no file.
    if stopped.load(Ordering::Relaxed) {
        return Err(io::ErrorKind::Interrupted.into());
    }
    atomic::write(&job.to, job.existing, |out| out.write_all(&file))
}
