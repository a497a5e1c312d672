//! What is kept of a result between two recipes: blocks of neighbouring frames, so that only those
//! are put together again that a change touches.

use std::collections::{BTreeSet, VecDeque};

use super::composite::{Blend, Composite};
use super::ground::Ground;
use super::motion::Moved;
use super::pass::{Sink, Step};
use super::piece::Piece;
use super::recipe::{Part, Recipe};
use crate::frame::Colour;

/// A block that is complete: 12 bytes a px.
#[derive(Debug, Clone)]
struct Block {
    parts: Vec<Part>,
    brightest: Colour,
    mean: Colour,
    frames: u32,
}

/// The pictures of all frames and of the used ones, at one piece.
#[derive(Debug)]
pub struct Blocks {
    piece: Piece,
    /// Shots in the picture of all frames.
    in_all: BTreeSet<usize>,
    all: [Composite; 2],
    kept: Vec<Block>,
    /// The block under way, and its parts.
    making: [Composite; 2],
    /// Parts of the blocks a pass will end, in order.
    to_end: VecDeque<Vec<Part>>,
}

/// Both pictures of a result, linear light, sensor orientation.
#[derive(Debug, Clone, PartialEq)]
pub struct Sides {
    /// What part of the frame they show.
    pub piece: Piece,
    /// Of all frames.
    pub all: Colour,
    /// Of the used ones; `None` when no frame is used or none is in it yet.
    pub used: Option<Colour>,
    /// Frames in `all` so far.
    pub frames_of_all: u32,
    /// Frames in `used` so far.
    pub frames_of_used: u32,
}

fn both(piece: &Piece) -> [Composite; 2] {
    let (width, height) = piece.size();
    [Blend::Brightest, Blend::Average].map(|blend| Composite::new(width, height, blend))
}

impl Blocks {
    /// Nothing yet, at `piece`.
    #[must_use]
    pub fn new(piece: Piece) -> Self {
        Self {
            piece,
            in_all: BTreeSet::new(),
            all: both(&piece),
            kept: Vec::new(),
            making: both(&piece),
            to_end: VecDeque::new(),
        }
    }

    /// What they show of the frame.
    #[must_use]
    pub const fn piece(&self) -> Piece {
        self.piece
    }

    /// Frames in the picture of all frames.
    #[must_use]
    pub fn frames_in(&self) -> usize {
        self.in_all.len()
    }

    /// What is to be done for `recipe`, in order of capture, and after it for the shots of `film`.
    /// Blocks that `recipe` has no use for are forgotten.
    pub fn steps<'a>(&mut self, recipe: &'a Recipe, film: &[usize]) -> Vec<Step<'a>> {
        let all: BTreeSet<usize> = recipe.all.iter().copied().collect();
        if !self.in_all.is_subset(&all) {
            // What is in a picture cannot be taken out of it again.
            self.in_all.clear();
            self.all = both(&self.piece);
        }
        self.kept
            .retain(|block| recipe.blocks.contains(&block.parts));
        self.making = both(&self.piece);
        let is_kept = |parts: &Vec<Part>| self.kept.iter().any(|block| block.parts == *parts);
        let missing: Vec<&'a Vec<Part>> = recipe.blocks.iter().filter(|b| !is_kept(b)).collect();
        self.to_end = missing.iter().map(|parts| (*parts).clone()).collect();
        let film: BTreeSet<usize> = film.iter().copied().collect();
        let mut parts = (missing.into_iter())
            .flat_map(|block| {
                let ends = std::iter::once(Step::End);
                block.iter().map(Step::Part).chain(ends)
            })
            .peekable();
        let mut steps = Vec::new();
        for &shot in &recipe.all {
            if !self.in_all.contains(&shot) {
                steps.push(Step::All(shot));
            } else if film.contains(&shot) {
                steps.push(Step::Look(shot));
            }
            let begins = |step: &Step<'_>| match step {
                Step::Part(part) => part.frames.first().is_some_and(|f| f.shot == shot),
                _ => true,
            };
            while let Some(step) = parts.next_if(begins) {
                steps.push(step);
            }
        }
        steps.extend(parts);
        steps
    }

    /// Whether most blocks of `recipe` are here, so that its pictures are worth a look.
    #[must_use]
    pub fn has_most(&self, recipe: &Recipe) -> bool {
        2 * self.kept.len() > recipe.blocks.len()
    }

    /// Both pictures as far as they are, put together as `recipe` says.
    #[must_use]
    pub fn sides(&self, recipe: &Recipe) -> Sides {
        let place = usize::from(recipe.blend == Blend::Average);
        let (all, used) = (&self.all[place], self.used(recipe));
        Sides {
            piece: self.piece,
            all: all.clone().finish(),
            frames_of_all: all.frames(),
            frames_of_used: used.as_ref().map_or(0, |(_, frames)| *frames),
            used: used.map(|(picture, _)| picture),
        }
    }

    fn used(&self, recipe: &Recipe) -> Option<(Colour, u32)> {
        let blocks: Vec<&Block> = (self.kept.iter())
            .filter(|block| recipe.blocks.contains(&block.parts))
            .collect();
        let frames = blocks.iter().map(|block| block.frames).sum();
        let mut picture = match recipe.blend {
            Blend::Brightest => brightest(&blocks)?,
            Blend::Average => mean(&blocks)?,
        };
        if let Some(ground) = &recipe.ground {
            lay_ground(&mut picture, &self.piece, ground, |at| {
                let means = blocks.iter().filter_map(|block| block.mean.rgb.get(at));
                means
                    .copied()
                    .reduce(|a, b| [0, 1, 2].map(|c| a[c].min(b[c])))
            });
        }
        Some((picture, frames))
    }
}

fn brightest(blocks: &[&Block]) -> Option<Colour> {
    let (first, others) = blocks.split_first()?;
    let (width, height) = (first.brightest.width, first.brightest.height);
    let mut most = Composite::new(width, height, Blend::Brightest);
    for block in std::iter::once(first).chain(others) {
        most.add(&block.brightest).ok()?;
    }
    Some(most.finish())
}

/// The mean of all frames from the means of blocks: rounded twice, good to one step of 65,535.
fn mean(blocks: &[&Block]) -> Option<Colour> {
    let first = blocks.first()?;
    let frames: u64 = blocks.iter().map(|block| u64::from(block.frames)).sum();
    let mut sums = vec![[0u64; 3]; first.mean.rgb.len()];
    for block in blocks {
        for (sum, px) in sums.iter_mut().zip(&block.mean.rgb) {
            for (sum, &sample) in sum.iter_mut().zip(px) {
                *sum += u64::from(sample) * u64::from(block.frames);
            }
        }
    }
    let rounded = |sum: u64| ((sum + frames / 2) / frames.max(1)) as u16;
    Some(Colour {
        width: first.mean.width,
        height: first.mean.height,
        rgb: sums.into_iter().map(|px| px.map(rounded)).collect(),
    })
}

/// Puts the ground in: `darkest` tells a px of it, by its place in the picture.
pub(super) fn lay_ground(
    picture: &mut Colour,
    piece: &Piece,
    ground: &Ground,
    darkest: impl Fn(usize) -> Option<[u16; 3]>,
) {
    let width = picture.width.max(1);
    for (at, px) in picture.rgb.iter_mut().enumerate() {
        let (x, y) = piece.to_sensor((at % width) as f64, (at / width) as f64);
        let share = ground.at(x, y);
        if share <= 0.0 {
            continue;
        }
        if let Some(ground) = darkest(at) {
            for (sample, ground) in px.iter_mut().zip(ground) {
                let (sky, ground) = (f32::from(*sample), f32::from(ground));
                *sample = (sky + (ground - sky) * share + 0.5) as u16;
            }
        }
    }
}

impl Sink for Blocks {
    fn all(&mut self, shot: usize, frame: &Colour) {
        // The pass only hands on pictures of the piece's size.
        let added = self.all.iter_mut().all(|light| light.add(frame).is_ok());
        if added {
            self.in_all.insert(shot);
        }
    }

    fn part(&mut self, part: &Colour) {
        for light in &mut self.making {
            if let Err(why) = light.add(part) {
                tracing::error!(%why, "a part of another size");
            }
        }
    }

    fn bridge(&mut self, before: &Moved<'_>, after: &Moved<'_>) {
        self.making[0].raise(before, after);
    }

    fn end(&mut self) {
        let Some(parts) = self.to_end.pop_front() else {
            return;
        };
        let [brightest, mean] = std::mem::replace(&mut self.making, both(&self.piece));
        let frames = brightest.frames();
        if frames > 0 {
            self.kept.push(Block {
                parts,
                brightest: brightest.finish(),
                mean: mean.finish(),
                frames,
            });
        }
    }
}
