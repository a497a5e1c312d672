//! Frames in words and in runs, and what giving the chosen ones up would cost.

use crate::verdict::words::frame_ranges_in_short;
use crate::verdict::{Purpose, drop_cost};

use super::open_night::OpenNight;

/// Most runs of frames that are named one by one.
const MOST_RUNS: usize = 4;

/// The runs of places in `places`, which rise: first and last of each.
#[must_use]
pub fn runs(places: &[usize]) -> Vec<(usize, usize)> {
    places
        .chunk_by(|a, b| a + 1 == *b)
        .filter_map(|run| Some((*run.first()?, *run.last()?)))
        .collect()
}

/// Places as frame numbers ("1–4, 93 and 312–360"); beyond four runs, the first ones and how many
/// more frames.
#[must_use]
pub fn numbers_of(places: &[usize]) -> String {
    let numbers: Vec<usize> = places.iter().map(|place| place + 1).collect();
    frame_ranges_in_short(&numbers, MOST_RUNS)
}

impl OpenNight {
    /// What rejecting the frames at `places` would mean, in a sentence.
    #[must_use]
    pub fn cost_of_rejecting(&self, places: &[usize], purpose: Purpose) -> String {
        let rows: Vec<usize> = (places.iter())
            .filter_map(|&place| self.frames().get(place).copied())
            .collect();
        let cost = drop_cost(self.night(), self.set, &self.verdicts, &rows);
        format!("Rejecting: {}.", cost.words(purpose))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_are_told_by_their_ends() {
        let places = [0, 1, 2, 3, 92, 200, 201];
        assert_eq!(runs(&places), [(0, 3), (92, 92), (200, 201)]);
        assert_eq!(numbers_of(&places), "1–4, 93 and 201–202");
        assert!(runs(&[]).is_empty());
    }

    #[test]
    fn many_runs_are_not_all_named() {
        let places: Vec<usize> = (0..20).step_by(2).collect();
        assert_eq!(numbers_of(&places), "1, 3, 5, 7 and 6 more");
    }
}
