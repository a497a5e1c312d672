//! Building results for the screen, on a thread of their own. The newest request wins; what it has in
//! common with the one before is not built again.
//!
//! In memory: blocks and pictures at [`PREVIEW_SIDE`] (at most 24 blocks and both blends: 0.3 GB,
//! whatever the number of frames), as many frames as there are cores, and for a part at full size two
//! pictures of that part.

use std::collections::{HashMap, HashSet};
use std::io;
use std::num::NonZero;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded};

use super::outbox::Outbox;
use super::pace::Speed;
use super::source::{Source, guarded};
use super::{FilmPicture, NightId, Progress, Report, ResultRequest, threads};
use crate::frame::{Colour, OpenOptions};
use crate::picture::{film, reduce_to};
use crate::result::pass::Sink;
use crate::result::{Blocks, Folded, Pass, Piece, Recipe, Sides, Step, Stopped, shots_of};

/// Longest side of a result on the screen, px.
pub(super) const PREVIEW_SIDE: usize = 1280;
/// How often a result that grows is shown.
const SHOWN_EVERY: Duration = Duration::from_millis(900);

/// What to build, with the file of every shot.
#[derive(Debug)]
pub(super) struct Order {
    pub(super) id: NightId,
    pub(super) request: Arc<ResultRequest>,
    pub(super) paths: Arc<HashMap<usize, PathBuf>>,
    pub(super) options: OpenOptions,
}

/// The thread of results. Dropping it waits for the frames it is at.
pub(super) struct Results {
    orders: Option<Sender<(u64, Order)>>,
    waiting: Receiver<(u64, Order)>,
    asked: u64,
    /// Orders up to this one are to stop.
    stopped: Arc<AtomicU64>,
    thread: Option<JoinHandle<()>>,
}

impl Results {
    pub(super) fn start<S: Source>(source: &Arc<S>, outbox: &Arc<Outbox>) -> io::Result<Self> {
        let (orders, waiting) = bounded::<(u64, Order)>(1);
        let stopped = Arc::new(AtomicU64::new(0));
        let (source, outbox, incoming) = (Arc::clone(source), Arc::clone(outbox), waiting.clone());
        let its = Arc::clone(&stopped);
        let thread = threads::spawn("nightloupe-result", move || {
            let mut bench = Bench::default();
            for (number, order) in &incoming {
                let is_stopped = || its.load(Ordering::Relaxed) >= number;
                let is_over = || is_stopped() || !incoming.is_empty();
                let done = bench.serve(&order, source.as_ref(), &outbox, &is_over);
                // Another request in its place is no stop that anyone asked for.
                if done.is_err() && is_stopped() {
                    outbox.push(Report::ResultStopped { id: order.id });
                }
                outbox.push(Report::Building {
                    id: order.id,
                    progress: None,
                });
            }
        })?;
        Ok(Self {
            orders: Some(orders),
            waiting,
            asked: 0,
            stopped,
            thread: Some(thread),
        })
    }

    /// Asks for a result in place of the one asked for before.
    pub(super) fn ask(&mut self, order: Order) {
        while self.waiting.try_recv().is_ok() {}
        self.asked += 1;
        if let Some(orders) = &self.orders
            && orders.try_send((self.asked, order)).is_err()
        {
            tracing::error!("the thread of results is gone");
        }
    }

    /// Stops what is built; whole blocks stay for the next time.
    pub(super) fn stop(&self) {
        while self.waiting.try_recv().is_ok() {}
        self.stopped.store(self.asked, Ordering::Relaxed);
    }
}

impl Drop for Results {
    fn drop(&mut self) {
        self.stop();
        self.orders = None;
        if let Some(thread) = self.thread.take() {
            threads::join(thread);
        }
    }
}

/// What is kept from one request to the next.
#[derive(Default)]
struct Bench {
    id: NightId,
    frame: (usize, usize),
    blocks: Option<Blocks>,
    /// Shots whose picture for the film was made, and how large.
    film: HashSet<usize>,
    film_side: usize,
    /// The part at full size that was built last, and of what.
    detail: Option<(Recipe, Piece)>,
}

impl Bench {
    fn serve<S: Source>(
        &mut self,
        order: &Order,
        source: &S,
        outbox: &Outbox,
        is_over: &(dyn Fn() -> bool + Sync),
    ) -> Result<(), Stopped> {
        let (id, recipe) = (order.id, &order.request.recipe);
        if self.id != id || self.frame != recipe.frame {
            *self = Self {
                id,
                frame: recipe.frame,
                ..Self::default()
            };
        }
        let job = Job {
            order,
            source,
            outbox,
            is_over,
            started: Instant::now(),
        };
        job.preview(self)?;
        job.detail(self)
    }
}

/// One request under way.
struct Job<'a, S> {
    order: &'a Order,
    source: &'a S,
    outbox: &'a Outbox,
    is_over: &'a (dyn Fn() -> bool + Sync),
    started: Instant,
}

impl<S: Source> Job<'_, S> {
    /// Both pictures, small, and the pictures of the film.
    fn preview(&self, bench: &mut Bench) -> Result<(), Stopped> {
        let request = &self.order.request;
        let recipe = &request.recipe;
        let piece = Piece::whole(recipe.frame.0, recipe.frame.1, PREVIEW_SIDE);
        let blocks = bench.blocks.get_or_insert_with(|| Blocks::new(piece));
        let side = film::side_for(recipe.all.len());
        if bench.film_side != side {
            bench.film.clear();
            bench.film_side = side;
        }
        let wanted = request.film.iter().map(|frame| frame.shot);
        let missing: Vec<usize> = wanted.filter(|shot| !bench.film.contains(shot)).collect();
        let is_missing: HashSet<usize> = missing.iter().copied().collect();
        let steps = blocks.steps(recipe, &missing);
        let filmed = Mutex::new(Vec::new());
        let open = |shot: usize| {
            let picture = self.cut(shot, piece)?;
            if is_missing.contains(&shot) {
                self.film_picture(shot, &picture, side);
                filmed
                    .lock()
                    .unwrap_or_else(PoisonError::into_inner)
                    .push(shot);
            }
            Ok(picture)
        };
        if !steps.is_empty() && blocks.has_most(recipe) {
            self.show(blocks.sides(recipe), false, Vec::new());
        }
        let mut shown = Instant::now();
        let done = self.run(piece, &steps, &open, blocks, |blocks: &Blocks, _| {
            if shown.elapsed() >= SHOWN_EVERY {
                self.show(blocks.sides(recipe), false, Vec::new());
                shown = Instant::now();
            }
        });
        // Also when it was stopped: what is told need not be read again.
        bench
            .film
            .extend(filmed.into_inner().unwrap_or_else(PoisonError::into_inner));
        let left_out = done?;
        self.show(blocks.sides(recipe), true, left_out);
        Ok(())
    }

    fn show(&self, sides: Sides, is_done: bool, left_out: Vec<(usize, String)>) {
        self.outbox.push(Report::Result {
            id: self.order.id,
            request: Arc::clone(&self.order.request),
            sides: Arc::new(sides),
            is_done,
            left_out,
            took_s: self.started.elapsed().as_secs_f64(),
        });
    }

    /// A part of both at full size, where one is asked for.
    fn detail(&self, bench: &mut Bench) -> Result<(), Stopped> {
        let recipe = &self.order.request.recipe;
        let Some(piece) = self.order.request.detail else {
            return Ok(());
        };
        if (bench.detail.as_ref()).is_some_and(|(of, at)| of == recipe && *at == piece) {
            return Ok(());
        }
        let mut folded = Folded::new(piece, recipe, true);
        let steps = folded.steps(recipe);
        let open = |shot: usize| self.cut(shot, piece);
        self.run(piece, &steps, &open, &mut folded, |_, _| ())?;
        let frames_of_used = folded.frames();
        let (all, used) = folded.finish(recipe);
        if let Some(all) = all {
            self.outbox.push(Report::ResultDetail {
                id: self.order.id,
                request: Arc::clone(&self.order.request),
                sides: Arc::new(Sides {
                    piece,
                    all,
                    used,
                    frames_of_all: recipe.all.len() as u32,
                    frames_of_used,
                }),
            });
            bench.detail = Some((recipe.clone(), piece));
        }
        Ok(())
    }

    /// Runs a pass and tells how far it is.
    fn run<K: Sink>(
        &self,
        piece: Piece,
        steps: &[Step<'_>],
        open: &(dyn Fn(usize) -> Result<Colour, String> + Sync),
        sink: &mut K,
        mut hear: impl FnMut(&K, usize),
    ) -> Result<Vec<(usize, String)>, Stopped> {
        let total = shots_of(steps).len();
        let mut speed = Speed::new(Instant::now());
        let mut tell = |done: usize| {
            let now = Instant::now();
            speed.note(now, done);
            let progress = Progress {
                job: if piece.factor == 1 && piece.area() < self.frame_area() {
                    "Building the result at full size".to_owned()
                } else {
                    "Building the result".to_owned()
                },
                done,
                total,
                kept: 0,
                per_second: speed.per_second(),
                left_s: speed.left_s(now, total - done.min(total)),
            };
            let (id, progress) = (self.order.id, Some(progress));
            self.outbox.push(Report::Building { id, progress });
        };
        if total > 0 {
            tell(0);
        }
        let pass = Pass {
            piece,
            motion: self.order.request.recipe.motion,
            at_once: std::thread::available_parallelism().map_or(1, NonZero::get),
            open,
            stopped: self.is_over,
        };
        pass.run(steps, sink, |sink, done| {
            tell(done);
            hear(sink, done);
        })
    }

    fn frame_area(&self) -> usize {
        let (width, height) = self.order.request.recipe.frame;
        width * height
    }

    /// Opens a shot and cuts a piece out of it.
    fn cut(&self, shot: usize, piece: Piece) -> Result<Colour, String> {
        let frame = self.order.request.recipe.frame;
        let path = self.order.paths.get(&shot);
        open_piece(self.source, path, &self.order.options, frame, piece)
    }

    /// Tells a picture of the film, made from a result's picture of a frame.
    fn film_picture(&self, shot: usize, picture: &Colour, side: usize) {
        let (small, _) = reduce_to(picture, side);
        let made = film::encode(&small, self.order.request.usual_level);
        let picture = made.map(Arc::new).map_err(|why| why.to_string());
        self.outbox.push(Report::Film(FilmPicture {
            id: self.order.id,
            shot,
            picture,
        }));
    }
}

/// Opens a file and cuts a piece out of it; one of another size than `frame` is said to be.
pub(super) fn open_piece<S: Source>(
    source: &S,
    path: Option<&PathBuf>,
    options: &OpenOptions,
    frame: (usize, usize),
    piece: Piece,
) -> Result<Colour, String> {
    let path = path.ok_or("there is no such frame")?;
    let colour = guarded(path, || {
        source.colour(path, options).map_err(|why| why.to_string())
    })??;
    let found = (colour.width, colour.height);
    if found != frame {
        return Err(format!(
            "the frame is {}×{} px, the others are {}×{}: {}",
            found.0,
            found.1,
            frame.0,
            frame.1,
            path.display()
        ));
    }
    piece
        .of(colour)
        .ok_or_else(|| format!("the part lies off the frame: {}", path.display()))
}
