//! Signal-to-noise against ISO, and the ISO past which nothing is gained.

use super::columns::is_same;
use super::types::{Column, Curve, Knee, Value};

/// A curve for each exposure and aperture at which two ISO settings or more were compared, the
/// longest exposure first, each followed by that of its frames stacked to equal time.
pub(super) fn curves(columns: &[Column]) -> Vec<Curve> {
    let mut curves = Vec::new();
    let mut done: Vec<&Column> = Vec::new();
    for first in columns {
        if done.iter().any(|other| is_alike(other, first)) {
            continue;
        }
        done.push(first);
        let Some(exposure_s) = first.exposure_s else {
            continue;
        };
        let frames = first.equal_time.map_or(1.0, |equal| equal.frames);
        let alike = |column: &&(usize, &Column)| is_alike(column.1, first);
        let points = |factor: f64| -> Vec<(u32, Value, usize)> {
            let all: Vec<(usize, &Column)> = columns.iter().enumerate().collect();
            (all.iter().filter(alike))
                .filter_map(|(at, column)| Some((column.iso?, column.star_snr?.times(factor), *at)))
                .collect()
        };
        if points(1.0).len() < 2 {
            continue;
        }
        let mut put = |stacked: f64| {
            curves.push(Curve {
                exposure_s,
                stacked,
                points: points(stacked.sqrt()),
            });
        };
        put(1.0);
        if frames > 1.05 {
            put(frames);
        }
    }
    curves
}

/// Whether two columns differ in ISO only.
pub(super) fn is_alike(a: &Column, b: &Column) -> bool {
    is_same(a.exposure_s, b.exposure_s) && is_same(a.f_number, b.f_number)
}

/// The lowest ISO over which no higher one adds [`Knee::NOTHING`]. `None` when the highest compared
/// still adds: the knee is not reached.
///
/// `worth` is signal-to-noise on any scale, by ISO in rising order with the column it is of.
pub(super) fn knee(worth: &[(u32, f64, usize)]) -> Option<Knee> {
    let gain = |from: f64, to: f64| to / from - 1.0;
    for (at, &(iso, snr, column)) in worth.iter().enumerate() {
        let higher = worth.get(at + 1..)?;
        let next = higher.first()?;
        if snr > 0.0 && (higher.iter()).all(|other| gain(snr, other.1) < Knee::NOTHING) {
            return Some(Knee {
                iso,
                column,
                next: (next.0, gain(snr, next.1)),
            });
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_knee_is_the_lowest_iso_that_none_betters() {
        // 18.3, 19.7, 20.0, 20.1: 1600 has 98 % of the best, 800 has 91 %.
        let worth = [
            (800, 18.3, 0),
            (1600, 19.7, 1),
            (3200, 20.0, 2),
            (6400, 20.1, 3),
        ];
        let found = knee(&worth).unwrap();
        assert_eq!((found.iso, found.column, found.next.0), (1600, 1, 3200));
        assert!((found.next.1 - 0.0152).abs() < 1e-3);
        // Still rising at the end: not reached.
        assert_eq!(
            knee(&[(400, 10.0, 0), (800, 14.0, 1), (1600, 17.0, 2)]),
            None
        );
        assert_eq!(knee(&[(400, 10.0, 0)]), None);
        assert_eq!(knee(&[]), None);
        // A dip between does not hide what a higher one adds.
        let dip = [
            (400, 10.0, 0),
            (800, 9.9, 1),
            (1600, 12.0, 2),
            (3200, 12.1, 3),
        ];
        assert_eq!(knee(&dip).unwrap().iso, 1600);
    }
}
