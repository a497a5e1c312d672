//! What goes into a result and what is done to it: data, so that two results can be compared and
//! only what differs is put together again.

use std::sync::Arc;

use super::composite::Blend;
use super::ground::Ground;
use super::motion::SkyMotion;
use super::repair::{Excess, Outline};

/// One frame as it could go into a result.
#[derive(Debug, Clone, PartialEq)]
pub struct Exposure {
    /// Which shot.
    pub shot: usize,
    /// When the shutter opened, s.
    pub start_s: f64,
    /// When it closed, s.
    pub end_s: f64,
    /// Whether it is used.
    pub is_used: bool,
    /// Streaks that can be painted out.
    pub streaks: Vec<Outline>,
    /// What its sky has over its neighbours', where that is much.
    pub excess: Option<Arc<Excess>>,
}

/// A repair in the result, by choice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Repair {
    /// Short pauses between frames are bridged along the sky's motion.
    Bridge,
    /// A sky brightened by thin cloud is brought to its neighbours'.
    Level,
    /// Streaks are filled from the frames before and after.
    Paint,
    /// The ground is taken from the frames where it is darkest.
    Ground,
}

impl Repair {
    /// All of them, in the order of the check boxes.
    pub const ALL: [Self; 4] = [Self::Bridge, Self::Level, Self::Paint, Self::Ground];
}

/// Which repairs are made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Repairs([bool; 4]);

impl Repairs {
    /// Whether `repair` is made.
    #[must_use]
    pub const fn has(self, repair: Repair) -> bool {
        self.0[repair as usize]
    }

    /// Makes `repair`, or no longer.
    pub const fn toggle(&mut self, repair: Repair) {
        self.0[repair as usize] = !self.0[repair as usize];
    }
}

/// Which of the used frames are put together, to try another way of working on these frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Thin {
    /// All of them.
    #[default]
    AsTaken,
    /// Every second one: an interval twice as long.
    EverySecond,
    /// Neighbours summed two by two: an exposure twice as long.
    Pairs,
}

impl Thin {
    /// All of them, in the order of the switch.
    pub const ALL: [Self; 3] = [Self::AsTaken, Self::EverySecond, Self::Pairs];
}

/// What the person chose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Choices {
    /// How px are put together.
    pub blend: Blend,
    /// Which frames are tried.
    pub thin: Thin,
    /// What is repaired.
    pub repairs: Repairs,
}

/// A frame with what is done to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Repaired {
    /// Which shot.
    pub shot: usize,
    /// What is taken off its sky.
    pub excess: Option<Arc<Excess>>,
    /// What is painted out.
    pub outlines: Vec<Outline>,
    /// Frames it is painted out from.
    pub near: Vec<Near>,
}

/// A frame near another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Near {
    /// Which shot.
    pub shot: usize,
    /// How much later the frame it is near to was taken, s.
    pub later_s: f64,
}

/// One exposure of the result: a frame, or two summed.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// What is summed.
    pub frames: Vec<Repaired>,
    /// How the pause after it is bridged.
    pub bridge: Option<Bridge>,
}

/// A bridge over the pause between two frames: both moved to the middle of the pause.
#[derive(Debug, Clone, PartialEq)]
pub struct Bridge {
    /// The frame after.
    pub next: Repaired,
    /// From the middle of either exposure to the middle of the pause, s.
    pub half_s: f64,
}

/// A result.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recipe {
    /// Size of the frames, px.
    pub frame: (usize, usize),
    /// Shots of all frames, in order of capture.
    pub all: Vec<usize>,
    /// The used ones, in blocks of neighbouring frames.
    pub blocks: Vec<Vec<Part>>,
    /// How px are put together.
    pub blend: Blend,
    /// How the sky moves, where that is known.
    pub motion: Option<SkyMotion>,
    /// Where the ground is, when it is to be taken from the frames where it is darkest.
    pub ground: Option<Arc<Ground>>,
}

/// Most blocks of a result, so that what is kept of them does not grow with the night.
const MOST_BLOCKS: usize = 24;
/// Fewest frames in a block: below this keeping them saves nothing.
const LEAST_IN_BLOCK: usize = 8;
/// A pause longer than this share of the exposures about it is a gap and stays one.
const LONGEST_PAUSE: f64 = 0.5;

impl Recipe {
    /// Of `exposures` in order of capture.
    #[must_use]
    pub fn new(
        frame: (usize, usize),
        exposures: &[Exposure],
        choices: Choices,
        motion: Option<SkyMotion>,
        ground: Option<&Arc<Ground>>,
    ) -> Self {
        let per_block = exposures.len().div_ceil(MOST_BLOCKS).max(LEAST_IN_BLOCK);
        let used: Vec<usize> = (0..exposures.len())
            .filter(|&at| exposures.get(at).is_some_and(|exposure| exposure.is_used))
            .collect();
        let (step, summed) = match choices.thin {
            Thin::AsTaken => (1, 1),
            Thin::EverySecond => (2, 1),
            Thin::Pairs => (2, 2),
        };
        let mut blocks = vec![Vec::new(); exposures.len().div_ceil(per_block)];
        for group in used.chunks(step) {
            let frames = group.iter().take(summed);
            let frames =
                frames.filter_map(|&at| repaired(exposures, at, choices, motion.is_some()));
            let first = group.first().copied().unwrap_or(0);
            let bridges = choices.repairs.has(Repair::Bridge)
                && choices.thin == Thin::AsTaken
                && choices.blend == Blend::Brightest
                && motion.is_some();
            let part = Part {
                frames: frames.collect(),
                bridge: bridges.then(|| bridge(exposures, first, choices)).flatten(),
            };
            if let Some(block) = blocks.get_mut(first / per_block) {
                block.push(part);
            }
        }
        blocks.retain(|block| !block.is_empty());
        Self {
            frame,
            all: exposures.iter().map(|exposure| exposure.shot).collect(),
            blocks,
            blend: choices.blend,
            motion,
            ground: (ground.filter(|_| choices.repairs.has(Repair::Ground))).map(Arc::clone),
        }
    }

    /// Exposures put together: frames, or pairs of them.
    #[must_use]
    pub fn parts(&self) -> usize {
        self.blocks.iter().map(Vec::len).sum()
    }

    /// Pauses that are bridged.
    #[must_use]
    pub fn bridges(&self) -> usize {
        let parts = self.blocks.iter().flatten();
        parts.filter(|part| part.bridge.is_some()).count()
    }
}

/// The exposure at `at` with the repairs chosen.
fn repaired(exposures: &[Exposure], at: usize, choices: Choices, moves: bool) -> Option<Repaired> {
    let exposure = exposures.get(at)?;
    let outlines = if choices.repairs.has(Repair::Paint) {
        exposure.streaks.clone()
    } else {
        Vec::new()
    };
    let near = if outlines.is_empty() {
        Vec::new()
    } else {
        // A used frame is a better source than a rejected one.
        let good = |other: &&Exposure| other.is_used;
        let before = exposures.get(..at).unwrap_or_default().iter();
        let after = exposures.get(at + 1..).unwrap_or_default().iter();
        let sides = [before.clone().rev().find(good), after.clone().find(good)];
        let near = sides.into_iter().flatten().map(|other| Near {
            shot: other.shot,
            later_s: if moves {
                exposure.start_s - other.start_s
            } else {
                0.0
            },
        });
        near.collect()
    };
    Some(Repaired {
        shot: exposure.shot,
        excess: (exposure.excess.as_ref())
            .filter(|_| choices.repairs.has(Repair::Level))
            .map(Arc::clone),
        outlines,
        near,
    })
}

/// The bridge from the exposure at `at` to the one after it, where that is used and the pause short.
fn bridge(exposures: &[Exposure], at: usize, choices: Choices) -> Option<Bridge> {
    let (this, next) = (exposures.get(at)?, exposures.get(at + 1)?);
    let pause = next.start_s - this.end_s;
    let shorter = (this.end_s - this.start_s).min(next.end_s - next.start_s);
    let is_short = next.is_used && pause.abs() <= LONGEST_PAUSE * shorter;
    let middle = |exposure: &Exposure| f64::midpoint(exposure.start_s, exposure.end_s);
    is_short.then(|| {
        Some(Bridge {
            next: repaired(exposures, at + 1, choices, true)?,
            half_s: (middle(next) - middle(this)) / 2.0,
        })
    })?
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::result::motion::tests::motion;

    /// Frames of 30 s every 32 s.
    pub(in crate::result) fn exposures(count: usize) -> Vec<Exposure> {
        (0..count)
            .map(|shot| Exposure {
                shot,
                start_s: 32.0 * shot as f64,
                end_s: 32.0 * shot as f64 + 30.0,
                is_used: true,
                streaks: Vec::new(),
                excess: None,
            })
            .collect()
    }

    pub(in crate::result) fn choices(repairs: &[Repair], thin: Thin, blend: Blend) -> Choices {
        let mut chosen = Repairs::default();
        for &repair in repairs {
            chosen.toggle(repair);
        }
        Choices {
            blend,
            thin,
            repairs: chosen,
        }
    }

    fn recipe(exposures: &[Exposure], choices: Choices) -> Recipe {
        Recipe::new(
            (400, 300),
            exposures,
            choices,
            Some(motion((400, 300))),
            None,
        )
    }

    fn shots(recipe: &Recipe) -> Vec<Vec<usize>> {
        (recipe.blocks.iter().flatten())
            .map(|part| part.frames.iter().map(|frame| frame.shot).collect())
            .collect()
    }

    #[test]
    fn an_end_that_moves_changes_its_block_alone() {
        let mut frames = exposures(360);
        let choices = choices(&[Repair::Bridge], Thin::AsTaken, Blend::Brightest);
        let before = recipe(&frames, choices);
        assert_eq!((before.blocks.len(), before.parts()), (24, 360));
        for frame in &mut frames[340..] {
            frame.is_used = false;
        }
        let after = recipe(&frames, choices);
        let same = (after.blocks.iter())
            .filter(|block| before.blocks.contains(block))
            .count();
        assert_eq!((after.blocks.len(), same), (23, 22));
    }

    #[test]
    fn pauses_are_bridged_and_gaps_are_not() {
        let mut frames = exposures(10);
        frames[4].is_used = false;
        let bridged = choices(&[Repair::Bridge], Thin::AsTaken, Blend::Brightest);
        // Nine pauses between ten frames, less the two about the frame left out.
        assert_eq!(recipe(&frames, bridged).bridges(), 7);
        let first = recipe(&frames, bridged).blocks[0][0]
            .bridge
            .clone()
            .unwrap();
        assert_eq!((first.next.shot, first.half_s), (1, 16.0));
        let average = choices(&[Repair::Bridge], Thin::AsTaken, Blend::Average);
        assert_eq!(recipe(&frames, average).bridges(), 0);
        let unknown = Recipe::new((400, 300), &frames, bridged, None, None);
        assert_eq!(unknown.bridges(), 0, "without the sky's motion");
    }

    #[test]
    fn tries_take_every_second_frame_or_sum_two() {
        let mut frames = exposures(6);
        frames[0].is_used = false;
        let every = recipe(&frames, choices(&[], Thin::EverySecond, Blend::Brightest));
        assert_eq!(shots(&every), [[1], [3], [5]]);
        let pairs = recipe(&frames, choices(&[], Thin::Pairs, Blend::Brightest));
        assert_eq!(shots(&pairs), [vec![1, 2], vec![3, 4], vec![5]]);
        assert_eq!(pairs.parts(), 3);
    }

    #[test]
    fn a_streak_is_painted_out_from_the_nearest_used_frames() {
        let mut frames = exposures(6);
        frames[3].streaks.push(Outline {
            from: (0.0, 0.0),
            to: (9.0, 9.0),
            width_px: 2.0,
        });
        frames[2].is_used = false;
        let off = recipe(&frames, choices(&[], Thin::AsTaken, Blend::Brightest));
        assert!(off.blocks[0][2].frames[0].outlines.is_empty());
        let on = recipe(
            &frames,
            choices(&[Repair::Paint], Thin::AsTaken, Blend::Brightest),
        );
        let near = &on.blocks[0][2].frames[0].near;
        let near: Vec<_> = near.iter().map(|near| (near.shot, near.later_s)).collect();
        assert_eq!(near, [(1, 64.0), (4, -32.0)]);
    }
}
