//! The decoded frames at hand: the chosen one's, and the one the person will want next, so that
//! stepping through a night does not wait.

use std::sync::Arc;

use crate::engine::Picture;

/// How far a frame's picture is.
#[derive(Debug, Clone)]
pub enum PictureState {
    /// Asked for.
    Loading,
    /// Here.
    Ready(Arc<Picture>),
    /// Could not be read, and why.
    Failed(String),
}

/// Bytes of pictures kept, but never fewer than two pictures. One of 24 megapixels is 150 MB.
const MOST_BYTES: usize = 460 << 20;
/// Most pictures kept: one on either side of the chosen.
const MOST: usize = 3;

/// Which way the person goes through the night: the next step is likely the same again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Heading {
    /// So many frames on.
    Steps(isize),
    /// To the next frame in doubt, or (false) the one before.
    Doubtful(bool),
}

/// The pictures at hand, by shot, the one wanted last at the end.
#[derive(Debug)]
pub struct Pictures {
    kept: Vec<(usize, PictureState)>,
    /// The shot asked for last. The engine may have dropped what was asked for before it.
    asked: Option<usize>,
    pub(super) heading: Heading,
}

impl Default for Pictures {
    fn default() -> Self {
        Self {
            kept: Vec::new(),
            asked: None,
            heading: Heading::Steps(1),
        }
    }
}

impl Pictures {
    /// How far the picture of a shot is; `None` when it was not asked for.
    #[must_use]
    pub fn of(&self, shot: usize) -> Option<&PictureState> {
        (self.kept.iter()).find_map(|(kept, state)| (*kept == shot).then_some(state))
    }

    /// The shot to ask for now, if any: the chosen one's picture, or once that is here the picture
    /// of `next`.
    pub(super) fn want(&mut self, chosen: usize, next: Option<usize>) -> Option<usize> {
        if let Some(at) = self.kept.iter().position(|(kept, _)| *kept == chosen) {
            let latest = self.kept.remove(at);
            self.kept.push(latest);
        }
        match self.of(chosen) {
            Some(PictureState::Ready(_) | PictureState::Failed(_)) => {
                let next = next.filter(|&next| next != chosen)?;
                let at = self.kept.len().saturating_sub(1);
                self.ask(next, at)
            }
            Some(PictureState::Loading) | None => self.ask(chosen, self.kept.len()),
        }
    }

    /// Asks for a shot unless it is here or on its way; a new one is put at `at`.
    fn ask(&mut self, shot: usize, at: usize) -> Option<usize> {
        match self.of(shot) {
            Some(PictureState::Ready(_) | PictureState::Failed(_)) => return None,
            Some(PictureState::Loading) if self.asked == Some(shot) => return None,
            Some(PictureState::Loading) => {}
            None => {
                self.kept.insert(at, (shot, PictureState::Loading));
                self.trim();
            }
        }
        self.asked = Some(shot);
        Some(shot)
    }

    /// Takes in what was asked for; what is no longer wanted is dropped: it is large.
    pub(super) fn take(&mut self, shot: usize, state: &PictureState) {
        for slot in self.kept.iter_mut().filter(|(kept, _)| *kept == shot) {
            slot.1 = state.clone();
        }
        if self.asked == Some(shot) {
            self.asked = None;
        }
        self.trim();
    }

    fn trim(&mut self) {
        while self.kept.len() > MOST || (self.kept.len() > 2 && self.bytes() > MOST_BYTES) {
            self.kept.remove(0);
        }
    }

    fn bytes(&self) -> usize {
        let px: usize = (self.kept.iter())
            .map(|(_, state)| match state {
                PictureState::Ready(picture) => {
                    picture.colour.rgb.len() + picture.overview.rgb.len()
                }
                _ => 0,
            })
            .sum();
        px * size_of::<[u16; 3]>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Colour;

    fn ready(shot: usize, px: usize) -> PictureState {
        let colour = Arc::new(Colour {
            width: px,
            height: 1,
            rgb: vec![[0; 3]; px],
        });
        PictureState::Ready(Arc::new(Picture {
            shot,
            overview: Arc::clone(&colour),
            colour,
            overview_scale: 1.0,
        }))
    }

    #[test]
    fn the_next_one_is_asked_for_once_the_chosen_is_here() {
        let mut pictures = Pictures::default();
        assert_eq!(pictures.want(5, Some(6)), Some(5));
        assert_eq!(pictures.want(5, Some(6)), None, "on its way");
        pictures.take(5, &ready(5, 1));
        assert_eq!(pictures.want(5, Some(6)), Some(6));
        pictures.take(6, &ready(6, 1));
        // Stepping on: the picture is here, and the one after it is asked for.
        assert_eq!(pictures.want(6, Some(7)), Some(7));
        assert!(matches!(pictures.of(6), Some(PictureState::Ready(_))));
        // At the end of the night there is none.
        pictures.take(7, &ready(7, 1));
        assert_eq!(pictures.want(7, None), None);
    }

    #[test]
    fn one_that_was_asked_for_and_dropped_is_asked_for_again() {
        let mut pictures = Pictures::default();
        assert_eq!(pictures.want(1, None), Some(1));
        assert_eq!(pictures.want(2, None), Some(2));
        assert_eq!(pictures.want(1, None), Some(1));
    }

    #[test]
    fn only_so_many_are_kept_and_never_the_chosen_dropped() {
        let mut pictures = Pictures::default();
        for shot in 0..9 {
            pictures.want(shot, Some(shot + 1));
            pictures.take(shot, &ready(shot, 1));
            pictures.want(shot, Some(shot + 1));
            assert!(pictures.kept.len() <= MOST);
            assert!(pictures.of(shot).is_some() && pictures.of(shot + 1).is_some());
        }
    }
}
