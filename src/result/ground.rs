//! Where the ground is: below where stars were ever seen.

use std::collections::VecDeque;

use super::grid::Grid;

/// Stars to a cell of sky, about: with 6 one cell of sky in 400 holds none by chance (Poisson), and
/// one such cell is sky still unless it touches the ground.
const STARS_A_CELL: usize = 6;
/// Fewer stars than this in all, and the edge would be too coarse to use.
const LEAST_STARS: usize = 1500;
/// More of the frame than this without stars is no ground but a cloudy night.
const MOST_GROUND: f64 = 0.75;

/// An edge of the sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edge {
    /// Where y is 0.
    Top,
    /// Where x is largest.
    Right,
    /// Where y is largest.
    Bottom,
    /// Where x is 0.
    Left,
}

/// The ground: how much of a px is ground, 0 to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    grid: Grid,
    /// Share of the frame.
    pub share: f64,
}

impl Ground {
    /// By the places of stars in all frames of a camera that stood still, px, and the edge of the
    /// sensor that is down: cells where no star was ever seen, as far as they hang together with that
    /// edge. The more stars, the finer the cells.
    ///
    /// `None` with too few stars, and where no ground is in the frame.
    #[must_use]
    pub fn below_stars(frame: (usize, usize), stars: &[(f32, f32)], down: Edge) -> Option<Self> {
        if stars.len() < LEAST_STARS || frame.0 == 0 || frame.1 == 0 {
            return None;
        }
        let cells = (stars.len() / STARS_A_CELL) as f64;
        let side = (frame.0 as f64 * frame.1 as f64 / cells).sqrt();
        let cols = (frame.0 as f64 / side).round().max(1.0) as usize;
        let rows = (frame.1 as f64 / side).round().max(1.0) as usize;
        let mut has_star = vec![false; cols * rows];
        for &(x, y) in stars {
            let cell = |at: f32, side: usize, cells: usize| {
                ((at + 0.5).max(0.0) as usize * cells / side).min(cells - 1)
            };
            let at = cell(y, frame.1, rows) * cols + cell(x, frame.0, cols);
            if let Some(seen) = has_star.get_mut(at) {
                *seen = true;
            }
        }
        let ground = flooded(&has_star, cols, rows, down);
        let count = ground.iter().filter(|is_ground| **is_ground).count();
        let share = count as f64 / (cols * rows) as f64;
        let values = ground
            .iter()
            .map(|&is_ground| f32::from(u8::from(is_ground)));
        (count > 0 && share <= MOST_GROUND).then(|| Self {
            grid: Grid::new(cols, rows, values.collect(), frame),
            share,
        })
    }

    /// How much of a point of the sensor is ground, 0 to 1.
    #[must_use]
    pub fn at(&self, x: f64, y: f64) -> f32 {
        self.grid.at(x, y)
    }
}

/// Cells without a star that hang together with the edge.
fn flooded(has_star: &[bool], cols: usize, rows: usize, down: Edge) -> Vec<bool> {
    let mut ground = vec![false; has_star.len()];
    let first: Vec<(usize, usize)> = match down {
        Edge::Top => (0..cols).map(|col| (col, 0)).collect(),
        Edge::Bottom => (0..cols).map(|col| (col, rows - 1)).collect(),
        Edge::Left => (0..rows).map(|row| (0, row)).collect(),
        Edge::Right => (0..rows).map(|row| (cols - 1, row)).collect(),
    };
    let mut queue = VecDeque::from(first);
    while let Some((col, row)) = queue.pop_front() {
        if col >= cols || row >= rows {
            continue;
        }
        let at = row * cols + col;
        let is_new = has_star.get(at) == Some(&false) && ground.get(at) == Some(&false);
        if let Some(cell) = ground.get_mut(at).filter(|_| is_new) {
            *cell = true;
            queue.extend([
                (col.wrapping_sub(1), row),
                (col + 1, row),
                (col, row.wrapping_sub(1)),
                (col, row + 1),
            ]);
        }
    }
    ground
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stars over a frame of 900 × 600 px, above a hill that is highest on the right.
    fn stars(count: u32) -> Vec<(f32, f32)> {
        let mut seed = 5u32;
        let mut next = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 8) as f32 / (1 << 24) as f32
        };
        (0..count)
            .map(|_| (900.0 * next(), 600.0 * next()))
            .filter(|&(x, y)| y < skyline(x))
            .collect()
    }

    fn skyline(x: f32) -> f32 {
        550.0 - 150.0 * x / 900.0
    }

    #[test]
    fn the_ground_is_what_lies_below_the_stars() {
        let ground = Ground::below_stars((900, 600), &stars(40_000), Edge::Bottom).unwrap();
        assert!((ground.share - 0.21).abs() < 0.02, "{}", ground.share);
        let mut wrong = 0;
        for y in 0..600 {
            for x in 0..900 {
                let off = y as f32 - skyline(x as f32);
                let is_ground = ground.at(f64::from(x), f64::from(y)) > 0.5;
                // A cell is 9 px wide: the edge is known to that.
                wrong += u32::from(off.abs() > 18.0 && is_ground != (off > 0.0));
            }
        }
        assert!(wrong < 900, "{wrong} of 540,000 px");
    }

    #[test]
    fn few_stars_and_no_ground_tell_nothing() {
        assert_eq!(
            Ground::below_stars((900, 600), &stars(900), Edge::Bottom),
            None
        );
        let all_sky: Vec<_> = (0..20_000u32)
            .map(|n| ((n % 150) as f32 * 6.0, (n / 150) as f32 * 4.6))
            .collect();
        assert_eq!(
            Ground::below_stars((900, 600), &all_sky, Edge::Bottom),
            None
        );
    }
}
