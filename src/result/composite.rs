//! Many frames of one size to one picture, frame by frame.

use rayon::prelude::*;

use super::motion::{Moved, raise_to_common};
use crate::frame::Colour;

/// How the frames' light is put together, px by px and channel by channel, in linear light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Blend {
    /// The most light any frame had there: stars draw trails, the sky stays dark.
    #[default]
    Brightest,
    /// The mean, rounded: noise falls with the square root of the frames, trails grow faint.
    Average,
}

/// A frame whose size is not that of the first one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the frame is {}×{} px, the others are {}×{}", found.0, found.1, expected.0, expected.1)]
pub struct SizeDiffers {
    /// Width and height so far, px.
    pub expected: (usize, usize),
    /// Width and height of the frame that was left out, px.
    pub found: (usize, usize),
}

/// A picture that grows frame by frame: 6 bytes a px for [`Blend::Brightest`], 12 for
/// [`Blend::Average`], whatever the number of frames (up to 65,537, where sums could overflow;
/// further frames are then left out of the average).
#[derive(Debug, Clone)]
pub struct Composite {
    width: usize,
    height: usize,
    frames: u32,
    light: Accumulated,
}

#[derive(Debug, Clone)]
enum Accumulated {
    Brightest(Vec<[u16; 3]>),
    Sum(Vec<[u32; 3]>),
}

/// Most frames whose 16-bit samples a 32-bit sum holds: 65,537 · 65,535 = 2³² − 1.
const MOST_SUMMED: u32 = 65_537;

impl Composite {
    /// An empty picture of `width` × `height` px: black until a frame is added.
    #[must_use]
    pub fn new(width: usize, height: usize, blend: Blend) -> Self {
        let size = width * height;
        Self {
            width,
            height,
            frames: 0,
            light: match blend {
                Blend::Brightest => Accumulated::Brightest(vec![[0; 3]; size]),
                Blend::Average => Accumulated::Sum(vec![[0; 3]; size]),
            },
        }
    }

    /// Frames added so far.
    #[must_use]
    pub const fn frames(&self) -> u32 {
        self.frames
    }

    /// Adds a frame, on all cores.
    ///
    /// # Errors
    /// When its size differs; the picture is then unchanged.
    pub fn add(&mut self, frame: &Colour) -> Result<(), SizeDiffers> {
        let expected = (self.width, self.height);
        let found = (frame.width, frame.height);
        if expected != found {
            return Err(SizeDiffers { expected, found });
        }
        match &mut self.light {
            Accumulated::Brightest(most) => join(most, frame, |most, px| {
                for (most, &sample) in most.iter_mut().zip(px) {
                    *most = (*most).max(sample);
                }
            }),
            Accumulated::Sum(_) if self.frames >= MOST_SUMMED => return Ok(()),
            Accumulated::Sum(sums) => join(sums, frame, |sums, px| {
                for (sum, &sample) in sums.iter_mut().zip(px) {
                    *sum += u32::from(sample);
                }
            }),
        }
        self.frames += 1;
        Ok(())
    }

    /// Raises the brightest to what two moved frames have in common; an average is left as it is.
    pub fn raise(&mut self, a: &Moved<'_>, b: &Moved<'_>) {
        if let Accumulated::Brightest(most) = &mut self.light {
            raise_to_common(most, a, b);
        }
    }

    /// The picture so far.
    #[must_use]
    pub fn finish(self) -> Colour {
        let count = self.frames.max(1);
        let rgb = match self.light {
            Accumulated::Brightest(most) => most,
            Accumulated::Sum(sums) => sums
                .par_iter()
                .map(|px| {
                    px.map(|sum| {
                        ((u64::from(sum) + u64::from(count / 2)) / u64::from(count)) as u16
                    })
                })
                .collect(),
        };
        Colour {
            width: self.width,
            height: self.height,
            rgb,
        }
    }
}

/// Runs `put` over every px of the picture and the frame's px at the same place.
fn join<T: Send>(light: &mut [T], frame: &Colour, put: impl Fn(&mut T, &[u16; 3]) + Sync) {
    light
        .par_iter_mut()
        .with_min_len(1 << 15)
        .zip(&frame.rgb)
        .for_each(|(at, px)| put(at, px));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A frame of one row whose sample in column `at` is `level` over a floor of 10.
    fn frame(width: usize, at: usize, level: u16) -> Colour {
        let mut rgb = vec![[10; 3]; width];
        rgb[at] = [level, level / 2, 10];
        Colour {
            width,
            height: 1,
            rgb,
        }
    }

    #[test]
    fn a_moving_star_draws_its_trail() {
        let mut trail = Composite::new(8, 1, Blend::Brightest);
        for step in 0..6 {
            trail.add(&frame(8, step + 1, 1_000)).unwrap();
        }
        let picture = trail.finish();
        assert_eq!(picture.rgb[0], [10; 3]);
        assert!(picture.rgb[1..7].iter().all(|px| *px == [1_000, 500, 10]));
        assert_eq!(picture.rgb[7], [10; 3]);
    }

    #[test]
    fn order_does_not_matter_and_the_average_is_exact() {
        let frames: Vec<_> = (0..5).map(|i| frame(5, i, 1_000 + i as u16)).collect();
        for blend in [Blend::Brightest, Blend::Average] {
            let build = |frames: &mut dyn Iterator<Item = &Colour>| {
                let mut sum = Composite::new(5, 1, blend);
                frames.for_each(|frame| sum.add(frame).unwrap());
                assert_eq!(sum.frames(), 5);
                sum.finish()
            };
            let forwards = build(&mut frames.iter());
            assert_eq!(forwards, build(&mut frames.iter().rev()));
            if blend == Blend::Average {
                // (4 · 10 + 1003) / 5 = 208.6, rounded.
                assert_eq!(forwards.rgb[3], [209, 108, 10]);
            }
        }
    }

    #[test]
    fn another_size_is_left_out() {
        let mut trail = Composite::new(8, 1, Blend::Brightest);
        let error = trail.add(&frame(7, 0, 5)).unwrap_err();
        assert_eq!(error.to_string(), "the frame is 7×1 px, the others are 8×1");
        assert_eq!(trail.frames(), 0);
    }

    #[test]
    fn full_scale_stays_full_scale() {
        let mut mean = Composite::new(1, 1, Blend::Average);
        for _ in 0..3 {
            mean.add(&frame(1, 0, u16::MAX)).unwrap();
        }
        assert_eq!(mean.finish().rgb[0][0], u16::MAX);
    }
}
