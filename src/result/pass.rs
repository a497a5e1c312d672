//! One pass over the frames: each is opened once, in order, kept as long as something needs it, and
//! handed on repaired.

use std::collections::HashMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::motion::{Moved, Shift, SkyMotion};
use super::piece::Piece;
use super::recipe::{Part, Repaired};
use super::repair::{Neighbour, level, paint_out};
use crate::frame::Colour;

/// What is done with a frame, in order of capture.
#[derive(Debug, Clone)]
pub enum Step<'a> {
    /// It goes into the picture of all frames, as it is.
    All(usize),
    /// It is only to be opened: whoever opens it takes from it what is needed.
    Look(usize),
    /// A part of a block goes into the used frames' picture.
    Part(&'a Part),
    /// A block ends; the next part belongs to another.
    End,
}

/// Where the frames of a pass go.
pub trait Sink {
    /// A frame for the picture of all frames.
    fn all(&mut self, shot: usize, frame: &Colour);
    /// A part for the block under way.
    fn part(&mut self, part: &Colour);
    /// Two frames moved to the middle of the pause between them.
    fn bridge(&mut self, before: &Moved<'_>, after: &Moved<'_>);
    /// The block under way is complete.
    fn end(&mut self);
}

/// Stopped from outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("stopped before it was done")]
pub struct Stopped;

/// Opens a shot and cuts the pass's piece out of it, or says why it cannot.
pub type OpenPiece<'a> = &'a (dyn Fn(usize) -> Result<Colour, String> + Sync);

/// How a pass runs.
pub struct Pass<'a> {
    /// What is cut out of every frame.
    pub piece: Piece,
    /// How the sky moves.
    pub motion: Option<SkyMotion>,
    /// Frames opened at once, each on a core of its own.
    pub at_once: usize,
    /// How.
    pub open: OpenPiece<'a>,
    /// Whether to stop; asked before frames are opened.
    pub stopped: &'a dyn Fn() -> bool,
}

impl Pass<'_> {
    /// Takes the steps one by one; `hear` is told how many frames are opened so far, with the sink as
    /// it is then. Frames that do not open are left out of whatever needed them, and
    /// come back with why.
    ///
    /// At any time only the frames of the steps under way, their neighbours, and those opened ahead
    /// are in memory.
    ///
    /// # Errors
    /// [`Stopped`]; what the sink has got until then is complete up to the last block ended.
    pub fn run<S: Sink>(
        &self,
        steps: &[Step<'_>],
        sink: &mut S,
        mut hear: impl FnMut(&S, usize),
    ) -> Result<Vec<(usize, String)>, Stopped> {
        let mut shelf = Shelf::new(steps);
        let mut finished: Option<(&Repaired, Arc<Colour>)> = None;
        for (number, step) in steps.iter().enumerate() {
            for shot in needs(step) {
                if shelf.is_missing(shot) {
                    if (self.stopped)() {
                        return Err(Stopped);
                    }
                    shelf.open(self, shot);
                    hear(sink, shelf.opened);
                }
            }
            match step {
                Step::All(shot) => {
                    if let Some(frame) = shelf.frame(*shot) {
                        sink.all(*shot, &frame);
                    }
                }
                Step::Look(_) => {}
                Step::Part(part) => self.part(part, &shelf, &mut finished, sink),
                Step::End => sink.end(),
            }
            shelf.drop_after(number);
        }
        Ok(shelf.left_out)
    }

    fn part<'p>(
        &self,
        part: &'p Part,
        shelf: &Shelf,
        finished: &mut Option<(&'p Repaired, Arc<Colour>)>,
        sink: &mut dyn Sink,
    ) {
        let known = finished.take();
        let made = |frame: &Repaired| match &known {
            Some((of, picture)) if *of == frame => Some(Arc::clone(picture)),
            _ => self.repaired(frame, shelf),
        };
        let pictures: Vec<_> = part.frames.iter().filter_map(made).collect();
        let Some(first) = pictures.first() else {
            return;
        };
        if pictures.len() > 1 {
            // Half of a double exposure would be darker than all others.
            sink.part(&sum(&pictures));
        } else if part.frames.len() == 1 {
            sink.part(first);
        }
        let (Some(bridge), Some(motion)) = (&part.bridge, &self.motion) else {
            return;
        };
        let Some(next) = self.repaired(&bridge.next, shelf) else {
            return;
        };
        let on = motion.shift(&self.piece, bridge.half_s);
        let back = motion.shift(&self.piece, -bridge.half_s);
        sink.bridge(&Moved::new(first, &on), &Moved::new(&next, &back));
        *finished = Some((&bridge.next, next));
    }

    /// A frame with what is to be done to it done.
    fn repaired(&self, frame: &Repaired, shelf: &Shelf) -> Option<Arc<Colour>> {
        let taken = shelf.frame(frame.shot)?;
        if frame.excess.is_none() && frame.outlines.is_empty() {
            return Some(taken);
        }
        let mut picture = Colour::clone(&taken);
        if let Some(excess) = &frame.excess {
            level(&mut picture, &self.piece, excess);
        }
        let near: Vec<(Arc<Colour>, Option<Shift>)> = (frame.near.iter())
            .filter_map(|near| {
                let shift = self.motion.map(|m| m.shift(&self.piece, near.later_s));
                Some((shelf.frame(near.shot)?, shift))
            })
            .collect();
        let neighbours: Vec<_> = (near.iter())
            .map(|(picture, shift)| Neighbour {
                picture,
                shift: shift.as_ref(),
            })
            .collect();
        paint_out(&mut picture, &self.piece, &frame.outlines, &neighbours);
        Some(Arc::new(picture))
    }
}

/// Frames exposed one after the other on one sensor: light adds, and stops at full scale.
fn sum(pictures: &[Arc<Colour>]) -> Colour {
    let mut pictures = pictures.iter();
    let mut sum = pictures.next().map_or_else(
        || Colour {
            width: 0,
            height: 0,
            rgb: Vec::new(),
        },
        |first| Colour::clone(first),
    );
    for picture in pictures {
        for (sum, px) in sum.rgb.iter_mut().zip(&picture.rgb) {
            for (sum, &sample) in sum.iter_mut().zip(px) {
                *sum = sum.saturating_add(sample);
            }
        }
    }
    sum
}

/// The shots a step cannot do without.
fn needs(step: &Step<'_>) -> Vec<usize> {
    fn of(frame: &Repaired) -> impl Iterator<Item = usize> {
        std::iter::once(frame.shot).chain(frame.near.iter().map(|near| near.shot))
    }
    match step {
        Step::All(shot) | Step::Look(shot) => vec![*shot],
        Step::Part(part) => {
            let next = part.bridge.iter().map(|bridge| &bridge.next);
            part.frames.iter().chain(next).flat_map(of).collect()
        }
        Step::End => Vec::new(),
    }
}

/// Shots in the order in which a pass over `steps` opens them.
#[must_use]
pub fn shots_of(steps: &[Step<'_>]) -> Vec<usize> {
    let mut seen = std::collections::HashSet::new();
    let all = steps.iter().flat_map(needs);
    all.filter(|shot| seen.insert(*shot)).collect()
}

/// Frames in memory.
struct Shelf {
    /// In the order in which they are needed.
    order: Vec<usize>,
    /// How many of `order` are opened.
    opened: usize,
    /// The last step that needs a shot.
    last_use: HashMap<usize, usize>,
    frames: HashMap<usize, Option<Arc<Colour>>>,
    left_out: Vec<(usize, String)>,
}

impl Shelf {
    fn new(steps: &[Step<'_>]) -> Self {
        let uses = steps.iter().enumerate();
        let last_use = uses
            .flat_map(|(number, step)| needs(step).into_iter().map(move |shot| (shot, number)))
            .collect();
        Self {
            order: shots_of(steps),
            opened: 0,
            last_use,
            frames: HashMap::new(),
            left_out: Vec::new(),
        }
    }

    fn is_missing(&self, shot: usize) -> bool {
        !self.frames.contains_key(&shot)
    }

    fn frame(&self, shot: usize) -> Option<Arc<Colour>> {
        self.frames.get(&shot).cloned().flatten()
    }

    /// Opens the next shots in order, until `shot` is among them.
    fn open(&mut self, pass: &Pass<'_>, shot: usize) {
        while self.is_missing(shot) {
            let to = (self.opened + pass.at_once.max(1)).min(self.order.len());
            let Some(batch) = self.order.get(self.opened..to).filter(|b| !b.is_empty()) else {
                return;
            };
            let opened: Vec<_> = (batch.par_iter())
                .map(|&shot| (shot, (pass.open)(shot)))
                .collect();
            for (shot, frame) in opened {
                let frame = match frame {
                    Ok(frame) if (frame.width, frame.height) == pass.piece.size() => {
                        Some(Arc::new(frame))
                    }
                    Ok(_) => {
                        let why = "it has another size than the others".to_owned();
                        self.left_out.push((shot, why));
                        None
                    }
                    Err(why) => {
                        self.left_out.push((shot, why));
                        None
                    }
                };
                self.frames.insert(shot, frame);
            }
            self.opened = to;
        }
    }

    /// Drops what no step after this one needs.
    fn drop_after(&mut self, step: usize) {
        let last_use = &self.last_use;
        self.frames
            .retain(|shot, _| last_use.get(shot).is_some_and(|last| *last > step));
    }
}
