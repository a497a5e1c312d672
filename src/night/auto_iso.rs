//! Whether a camera chose the ISO by itself. Exif has no tag that says so: it is told from how the
//! values run.

use super::types::{Kind, Night};

/// Fewer changes than this are a person trying settings.
const LEAST_CHANGES: usize = 4;
/// How far a written value may stand from its third of a stop, in thirds: makers round (1000, 1250,
/// 1600), by 2 % at most.
const ROUNDED_THIRDS: f64 = 0.1;

/// The sentence, where one camera's frames of one exposure change their ISO to and fro with no order,
/// or have values that no dial offers.
pub(super) fn warning(night: &Night) -> Option<String> {
    night.sets.iter().find_map(|set| {
        let isos: Vec<u32> = (set.rows.iter().map(|&row| &night.rows[row]))
            .filter(|row| row.kind == Some(Kind::Sky))
            .filter_map(|row| row.facts.iso.filter(|&iso| iso > 0))
            .collect();
        chosen_by_camera(&isos).then(|| {
            let (low, high) = (isos.iter().min()?, isos.iter().max()?);
            Some(format!(
                "The ISO wanders between {low} and {high}: the camera seems to have chosen it (auto ISO). \
                 Frames are compared within one ISO only; set it by hand next time."
            ))
        })?
    })
}

/// Whether ISO values in order of capture are a camera's choice and not a person's.
fn chosen_by_camera(isos: &[u32]) -> bool {
    let changes = isos.windows(2).filter(|pair| pair[0] != pair[1]).count();
    if changes < LEAST_CHANGES {
        return false;
    }
    let mut values = isos.to_vec();
    values.sort_unstable();
    values.dedup();
    // A series shot on purpose changes once a value, or goes round and round in one order.
    let once_each = changes < values.len();
    let round = |length: usize| (length..isos.len()).all(|k| isos[k] == isos[k - length]);
    let repeats = (2..=isos.len() / 2).any(round);
    let off_dial = values.iter().any(|&iso| !on_dial(iso));
    off_dial || !(once_each || repeats)
}

/// Whether a dial with thirds of a stop from ISO 100 offers the value.
fn on_dial(iso: u32) -> bool {
    let thirds = 3.0 * (f64::from(iso) / 100.0).log2();
    (thirds - thirds.round()).abs() <= ROUNDED_THIRDS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_persons_series_is_not_the_cameras() {
        let ladder: Vec<u32> = [400, 800, 1600, 3200, 6400]
            .iter()
            .flat_map(|&iso| [iso; 3])
            .collect();
        let round = [800, 1600, 3200].repeat(4);
        let thirds = [
            100, 125, 160, 200, 250, 320, 400, 500, 640, 1000, 1250, 2000,
        ];
        for isos in [&ladder[..], &round, &thirds, &[1600; 40], &[800, 1600, 800]] {
            assert!(!chosen_by_camera(isos), "{isos:?}");
        }
    }

    #[test]
    fn wandering_and_odd_values_are_the_cameras() {
        let wandering = [1600, 1600, 2000, 1600, 2500, 2000, 2000, 1600, 3200];
        let odd = [1600, 1720, 1850, 1990, 2140];
        for isos in [&wandering[..], &odd] {
            assert!(chosen_by_camera(isos), "{isos:?}");
        }
    }
}
