//! Building a picture from many files, one at a time.

use super::composite::{Blend, Composite};
use crate::frame::Colour;

/// A built picture and what went into it.
#[derive(Debug, Clone, PartialEq)]
pub struct Built {
    /// The picture, linear light, sensor orientation.
    pub colour: Colour,
    /// How many frames are in it.
    pub frames: usize,
    /// Frames that could not go in: place in the input, and why.
    pub left_out: Vec<(usize, String)>,
}

/// Why there is no picture.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BuildError {
    /// Stopped from outside.
    #[error("stopped before it was done")]
    Cancelled,
    /// No frame could be used; the first one's reason, if there was a frame at all.
    #[error("no frame could be used{}", .0.as_ref().map_or_else(String::new, |why| format!(": {why}")))]
    NoFrames(Option<String>),
}

/// Opens `frames` one after the other and puts them together. The first that opens sets the size;
/// frames that do not open or have another size are left out and listed. `progress` hears how many
/// frames are done after each; `cancelled` is asked before each.
///
/// # Errors
/// [`BuildError::Cancelled`], and [`BuildError::NoFrames`] when nothing could be used.
pub fn build<F, E: std::fmt::Display>(
    frames: impl IntoIterator<Item = F>,
    blend: Blend,
    mut open: impl FnMut(F) -> Result<Colour, E>,
    mut progress: impl FnMut(usize),
    cancelled: impl Fn() -> bool,
) -> Result<Built, BuildError> {
    let mut composite: Option<Composite> = None;
    let mut left_out = Vec::new();
    for (place, frame) in frames.into_iter().enumerate() {
        if cancelled() {
            return Err(BuildError::Cancelled);
        }
        let added = open(frame)
            .map_err(|why| why.to_string())
            .and_then(|colour| {
                composite
                    .get_or_insert_with(|| Composite::new(colour.width, colour.height, blend))
                    .add(&colour)
                    .map_err(|why| why.to_string())
            });
        if let Err(why) = added {
            left_out.push((place, why));
        }
        progress(place + 1);
    }
    match composite {
        Some(composite) => Ok(Built {
            frames: composite.frames() as usize,
            colour: composite.finish(),
            left_out,
        }),
        None => Err(BuildError::NoFrames(
            left_out.into_iter().next().map(|(_, why)| why),
        )),
    }
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use super::*;

    fn open(level: i32) -> Result<Colour, String> {
        match level {
            -1 => Err("damaged".to_owned()),
            -2 => Ok(Colour {
                width: 2,
                height: 2,
                rgb: vec![[9; 3]; 4],
            }),
            level => Ok(Colour {
                width: 1,
                height: 1,
                rgb: vec![[level as u16; 3]],
            }),
        }
    }

    #[test]
    fn bad_frames_are_left_out_and_listed() {
        let mut heard = Vec::new();
        let inputs = [-1, 5, 9, -2, 7];
        let built = build(
            inputs,
            Blend::Brightest,
            open,
            |done| heard.push(done),
            || false,
        )
        .unwrap();
        assert_eq!(built.frames, 3);
        assert_eq!(built.colour.rgb, [[9; 3]]);
        assert_eq!(built.left_out[0], (0, "damaged".to_owned()));
        assert_eq!(built.left_out[1].0, 3);
        assert_eq!(heard, [1, 2, 3, 4, 5]);
    }

    #[test]
    fn stops_when_asked() {
        let done = Cell::new(0);
        let result = build(
            [1; 100],
            Blend::Average,
            open,
            |n| done.set(n),
            || done.get() >= 3,
        );
        assert_eq!(result, Err(BuildError::Cancelled));
        assert_eq!(done.get(), 3);
    }

    #[test]
    fn nothing_usable_says_why() {
        let none = build([-1], Blend::Brightest, open, |_| (), || false).unwrap_err();
        assert_eq!(none.to_string(), "no frame could be used: damaged");
    }
}
