//! Red and blue over the frame, coarsely: enough to tell the colour of the sky.

/// Tiles along the longer and the shorter side, at most.
const TILES: (usize, usize) = (24, 16);
/// Least side of a tile, px.
const LEAST_SIDE: usize = 12;
/// Samples looked at along each side of a tile.
const SITES: usize = 16;

/// One of the colours that measuring does not look at otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Other {
    Red,
    Blue,
}

/// Red and blue levels on a grid of equal tiles, row order, linear light, fraction of full scale
/// above black. As the sensor or the saved file has them: nothing is balanced.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Hues {
    /// Tiles across.
    pub cols: usize,
    /// Tiles down.
    pub rows: usize,
    /// Red level of each tile.
    pub red: Vec<f32>,
    /// Blue level of each tile.
    pub blue: Vec<f32>,
}

impl Hues {
    /// From a picture of this size: `level` gives the sample of a colour nearest to a place, `None`
    /// where there is none.
    pub(super) fn collect(
        (width, height): (usize, usize),
        level: impl Fn(Other, usize, usize) -> Option<f32>,
    ) -> Option<Self> {
        let (long, short) = TILES;
        let (most_cols, most_rows) = if width >= height {
            (long, short)
        } else {
            (short, long)
        };
        let cols = (width / LEAST_SIDE).clamp(1, most_cols);
        let rows = (height / LEAST_SIDE).clamp(1, most_rows);
        let mut values = Vec::with_capacity(SITES * SITES);
        let mut tile = |color, col: usize, row: usize| {
            values.clear();
            // Places spread evenly over the tile: place i of n lies at (i + ½)/n of it.
            let at = |tile: usize, site: usize, tiles: usize, length: usize| {
                (2 * (tile * SITES + site) + 1) * length / (2 * SITES * tiles)
            };
            for y in (0..SITES).map(|site| at(row, site, rows, height)) {
                for x in (0..SITES).map(|site| at(col, site, cols, width)) {
                    values.extend(level(color, x, y));
                }
            }
            middle(&mut values)
        };
        let mut grid = |color| -> Option<Vec<f32>> {
            let places = (0..rows).flat_map(|row| (0..cols).map(move |col| (col, row)));
            places.map(|(col, row)| tile(color, col, row)).collect()
        };
        Some(Self {
            cols,
            rows,
            red: grid(Other::Red)?,
            blue: grid(Other::Blue)?,
        })
    }
}

/// Mean of the middle half: as deaf to stars as the median, but not held to the steps of an 8-bit
/// file.
fn middle(values: &mut [f32]) -> Option<f32> {
    values.sort_unstable_by(f32::total_cmp);
    let quarter = values.len() / 4;
    let half = values.get(quarter..values.len() - quarter)?;
    (!half.is_empty()).then(|| half.iter().sum::<f32>() / half.len() as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_tile_has_its_own_colour_whatever_stars_lie_in_it() {
        let star = |x: usize, y: usize| x.is_multiple_of(37) && y.is_multiple_of(3);
        let hues = Hues::collect((600, 400), |color, x, y| {
            let level = match color {
                Other::Red => 0.1 + 0.2 * x as f32 / 600.0,
                Other::Blue => 0.05,
            };
            Some(if star(x, y) { 1.0 } else { level })
        })
        .unwrap();
        assert_eq!((hues.cols, hues.rows), (24, 16));
        let last = hues.red[23];
        assert!((last - (0.3 - 0.2 / 48.0)).abs() < 0.003, "{last}");
        assert!(hues.blue.iter().all(|level| (level - 0.05).abs() < 1e-6));
    }

    #[test]
    fn steps_of_a_file_do_not_show() {
        // Levels 10.3 steps high, noise of one step: sevenths of a step apart, evenly.
        let step = 0.01_f32;
        let hues = Hues::collect((600, 400), |_, x, y| {
            let noise = ((x * 31 + y * 17) % 101) as f32 / 101.0 * 3.0 - 1.5;
            Some((10.3 + noise).round() * step)
        })
        .unwrap();
        let mean = hues.red.iter().sum::<f32>() / hues.red.len() as f32;
        assert!((mean / step - 10.3).abs() < 0.1, "{}", mean / step);
    }

    #[test]
    fn small_and_empty_pictures() {
        let small = Hues::collect((3, 2), |_, _, _| Some(0.5)).unwrap();
        assert_eq!((small.cols, small.rows), (1, 1));
        assert_eq!(small.red, [0.5]);
        assert_eq!(Hues::collect((30, 20), |_, _, _| None), None);
    }
}
