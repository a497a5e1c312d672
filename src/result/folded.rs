//! A result put together once, at full size, with nothing kept but the pictures themselves.

use super::blocks::lay_ground;
use super::composite::Composite;
use super::motion::Moved;
use super::pass::{Sink, Step};
use super::piece::Piece;
use super::recipe::Recipe;
use crate::frame::Colour;

/// The pictures of one pass: 6 bytes a px for each side of [`super::Blend::Brightest`], 12
/// for [`super::Blend::Average`], and 18 for the px of the ground's rows where it is laid.
#[derive(Debug)]
pub struct Folded {
    piece: Piece,
    all: Option<Composite>,
    used: Composite,
    ground: Option<Layer>,
}

/// The ground of the block under way and the darkest so far.
#[derive(Debug)]
struct Layer {
    /// First px of the picture that is kept.
    first: usize,
    sum: Vec<[u32; 3]>,
    frames: u32,
    darkest: Vec<[u16; 3]>,
}

impl Folded {
    /// Nothing yet; with the picture of all frames too, or only the used ones'.
    #[must_use]
    pub fn new(piece: Piece, recipe: &Recipe, with_all: bool) -> Self {
        let (width, height) = piece.size();
        let new = || Composite::new(width, height, recipe.blend);
        let is_ground = |at: usize| {
            let (x, y) = piece.to_sensor((at % width) as f64, (at / width) as f64);
            recipe
                .ground
                .as_ref()
                .is_some_and(|ground| ground.at(x, y) > 0.0)
        };
        let area = width * height;
        let first = recipe
            .ground
            .as_ref()
            .and_then(|_| (0..area).find(|&at| is_ground(at)));
        Self {
            piece,
            all: with_all.then(new),
            used: new(),
            ground: first.map(|first| Layer {
                first,
                sum: vec![[0; 3]; area - first],
                frames: 0,
                darkest: vec![[u16::MAX; 3]; area - first],
            }),
        }
    }

    /// What is to be done, in order of capture.
    #[must_use]
    pub fn steps<'a>(&self, recipe: &'a Recipe) -> Vec<Step<'a>> {
        let mut blocks = super::blocks::Blocks::new(Piece {
            width: 0,
            height: 0,
            ..self.piece
        });
        let steps = blocks.steps(recipe, &[]);
        let with_all = self.all.is_some();
        (steps.into_iter())
            .filter(|step| with_all || !matches!(step, Step::All(_)))
            .collect()
    }

    /// The picture of all frames, where it was asked for, and that of the used ones, when any is in
    /// it.
    #[must_use]
    pub fn finish(self, recipe: &Recipe) -> (Option<Colour>, Option<Colour>) {
        let all = self.all.map(Composite::finish);
        if self.used.frames() == 0 {
            return (all, None);
        }
        let mut used = self.used.finish();
        if let (Some(layer), Some(ground)) = (&self.ground, &recipe.ground) {
            lay_ground(&mut used, &self.piece, ground, |at| {
                let px = layer.darkest.get(at.checked_sub(layer.first)?)?;
                (*px != [u16::MAX; 3]).then_some(*px)
            });
        }
        (all, Some(used))
    }

    /// Frames in the used frames' picture.
    #[must_use]
    pub const fn frames(&self) -> u32 {
        self.used.frames()
    }
}

impl Sink for Folded {
    fn all(&mut self, _shot: usize, frame: &Colour) {
        if let Some(Err(why)) = self.all.as_mut().map(|all| all.add(frame)) {
            tracing::error!(%why, "a frame of another size");
        }
    }

    fn part(&mut self, part: &Colour) {
        if let Err(why) = self.used.add(part) {
            tracing::error!(%why, "a part of another size");
            return;
        }
        if let Some(layer) = &mut self.ground {
            let px = part.rgb.iter().skip(layer.first);
            for (sum, px) in layer.sum.iter_mut().zip(px) {
                for (sum, &sample) in sum.iter_mut().zip(px) {
                    *sum += u32::from(sample);
                }
            }
            layer.frames += 1;
        }
    }

    fn bridge(&mut self, before: &Moved<'_>, after: &Moved<'_>) {
        self.used.raise(before, after);
    }

    fn end(&mut self) {
        let Some(layer) = self.ground.as_mut().filter(|layer| layer.frames > 0) else {
            return;
        };
        let half = layer.frames / 2;
        for (darkest, sum) in layer.darkest.iter_mut().zip(&mut layer.sum) {
            for (darkest, sum) in darkest.iter_mut().zip(sum) {
                *darkest = (*darkest).min(((*sum + half) / layer.frames) as u16);
                *sum = 0;
            }
        }
        layer.frames = 0;
    }
}
