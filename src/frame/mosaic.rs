//! Which colour lies where in a mosaic, and filling in what lies between.

use super::GreenLayout;

/// The three colours of the screen, as indices.
pub(super) const GREEN: u8 = 1;

/// Largest pattern that [`GreenLayout::Mosaic`] can hold.
const MOST_SIDE: usize = 6;
/// Beyond this, no colour of a pattern is farther away.
const REACH: isize = 6;

/// A repeating pattern of colour filters: 0 red, 1 green, 2 blue; larger numbers are other colours,
/// of which nothing is made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Pattern {
    width: usize,
    height: usize,
    colors: Vec<u8>,
}

/// For one place in the pattern: where the nearest samples of a colour are.
type Steps = Vec<(isize, isize)>;

impl Pattern {
    /// A pattern given row by row; `None` when its size does not fit or nothing in it is green.
    pub(super) fn new(width: usize, height: usize, colors: Vec<u8>) -> Option<Self> {
        let sane = (1..=MOST_SIDE).contains(&width) && (1..=MOST_SIDE).contains(&height);
        let fits = sane && colors.len() == width * height && colors.contains(&GREEN);
        fits.then_some(Self {
            width,
            height,
            colors,
        })
    }

    /// The pattern as seen by a picture whose first sample lies at (`x`, `y`) of this one.
    pub(super) fn from(&self, x: usize, y: usize) -> Self {
        let places = (0..self.height).flat_map(|row| (0..self.width).map(move |col| (row, col)));
        let colors = places
            .map(|(row, col)| self.color(col + x, row + y))
            .collect();
        Self {
            colors,
            ..self.clone()
        }
    }

    /// The same pattern with its `rows` rows in reverse order.
    pub(super) fn upside_down(&self, rows: usize) -> Self {
        // Row 0 of the result is row rows − 1, and rows run the other way from there.
        let places = (0..self.height).flat_map(|row| (0..self.width).map(move |col| (row, col)));
        let last = rows + self.height * MOST_SIDE - 1;
        let colors = places
            .map(|(row, col)| self.color(col, last - row))
            .collect();
        Self {
            colors,
            ..self.clone()
        }
    }

    /// The colour at (`x`, `y`).
    pub(super) fn color(&self, x: usize, y: usize) -> u8 {
        self.colors[(y % self.height) * self.width + x % self.width]
    }

    /// The first place of a colour at or right of and below (`x`, `y`); `None` when the pattern has
    /// none of it.
    pub(super) fn next(&self, color: u8, x: usize, y: usize) -> Option<(usize, usize)> {
        let mut places = (0..self.height).flat_map(|dy| (0..self.width).map(move |dx| (dx, dy)));
        let (dx, dy) = places.find(|(dx, dy)| self.color(x + dx, y + dy) == color)?;
        Some((x + dx, y + dy))
    }

    /// Where the true green samples are.
    pub(super) fn green_layout(&self) -> GreenLayout {
        let green = self
            .colors
            .iter()
            .enumerate()
            .filter(|(_, color)| **color == GREEN);
        GreenLayout::Mosaic {
            width: self.width as u8,
            height: self.height as u8,
            green: green.fold(0, |bits, (place, _)| bits | 1 << place),
        }
    }

    /// For each place of the pattern, row by row: the steps to the nearest samples of `color`,
    /// all those at the least distance. Empty where the place has the colour itself.
    pub(super) fn nearest(&self, color: u8) -> Fill {
        let places = (0..self.height).flat_map(|y| (0..self.width).map(move |x| (x, y)));
        let steps = places.map(|(x, y)| self.nearest_at(color, x, y)).collect();
        Fill {
            width: self.width,
            height: self.height,
            steps,
        }
    }

    fn nearest_at(&self, color: u8, x: usize, y: usize) -> Steps {
        // Moved by whole patterns so that steps never go below zero.
        let (x, y) = (x + self.width * MOST_SIDE, y + self.height * MOST_SIDE);
        let reach = || -REACH..=REACH;
        let has = |dx: isize, dy: isize| {
            self.color(x.saturating_add_signed(dx), y.saturating_add_signed(dy)) == color
        };
        let all = reach().flat_map(|dy| reach().map(move |dx| (dx, dy)));
        let found: Vec<_> = all.filter(|(dx, dy)| has(*dx, *dy)).collect();
        let least = found.iter().map(distance_squared).min();
        let nearest = found
            .into_iter()
            .filter(|step| Some(distance_squared(step)) == least);
        nearest.filter(|step| *step != (0, 0)).collect()
    }
}

const fn distance_squared(step: &(isize, isize)) -> isize {
    step.0 * step.0 + step.1 * step.1
}

/// How to fill one colour of a mosaic: bilinear for a Bayer pattern, the mean of the nearest true
/// samples for any other.
pub(super) struct Fill {
    width: usize,
    height: usize,
    steps: Vec<Steps>,
}

impl Fill {
    /// Rows above and below that filling a row looks at.
    pub(super) fn reach(&self) -> usize {
        let rows = self.steps.iter().flatten().map(|(_, dy)| dy.unsigned_abs());
        rows.max().unwrap_or(0)
    }

    /// Hands `put` the mean of the nearest true samples for every place of row `y` that has not the
    /// colour itself. `data` is the whole mosaic, scaled, `size` its width and height.
    pub(super) fn row(
        &self,
        data: &[f32],
        size: (usize, usize),
        y: usize,
        mut put: impl FnMut(usize, f32),
    ) {
        let (width, height) = size;
        let row = y % self.height * self.width;
        for place in 0..self.width.min(width) {
            let steps = &self.steps[row + place];
            if steps.is_empty() {
                continue;
            }
            let reach = |axis: fn(&(isize, isize)) -> isize| {
                let far = |sign: isize| steps.iter().map(|s| axis(s) * sign).max().unwrap_or(0);
                (far(-1).max(0) as usize, far(1).max(0) as usize)
            };
            let (left, right) = reach(|step| step.0);
            let (up, down) = reach(|step| step.1);
            // Where all nearest samples lie in the picture; only the rim has to ask for each.
            let rows_inside = y >= up && y + down < height;
            let first = place + left.saturating_sub(place).next_multiple_of(self.width);
            let end = if rows_inside {
                width.saturating_sub(right).max(first)
            } else {
                first
            };
            let rim = (place..first.min(width)).chain(end..width);
            for x in rim.filter(|x| x % self.width == place) {
                put(x, mean_inside(data, size, (x, y), steps));
            }
            let shifted: Vec<&[f32]> = steps
                .iter()
                .map(|(dx, dy)| {
                    let step = dy * width.cast_signed() + dx;
                    let start = (y * width + first).wrapping_add_signed(step);
                    data.get(start..start + (end - first)).unwrap_or_default()
                })
                .collect();
            let places = (0..end - first).step_by(self.width);
            match *shifted.as_slice() {
                // The two cases of a Bayer pattern, which are nearly all there are.
                [a, b] => places.for_each(|i| put(first + i, f32::midpoint(a[i], b[i]))),
                [a, b, c, d] => {
                    places.for_each(|i| put(first + i, (a[i] + b[i] + c[i] + d[i]) / 4.0));
                }
                ref all => places.for_each(|i| {
                    let sum: f32 = all.iter().map(|samples| samples[i]).sum();
                    put(first + i, sum / all.len() as f32);
                }),
            }
        }
    }
}

/// The mean of those nearest samples that lie in the picture; 0 when none does.
fn mean_inside(
    data: &[f32],
    (width, height): (usize, usize),
    (x, y): (usize, usize),
    steps: &Steps,
) -> f32 {
    let inside = steps.iter().filter_map(|(dx, dy)| {
        let x = x.checked_add_signed(*dx).filter(|x| *x < width)?;
        let y = y.checked_add_signed(*dy).filter(|y| *y < height)?;
        data.get(y * width + x)
    });
    let (sum, count) = inside.fold((0.0, 0), |(sum, count), v| (sum + v, count + 1));
    if count == 0 { 0.0 } else { sum / count as f32 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rggb() -> Pattern {
        Pattern::new(2, 2, vec![0, 1, 1, 2]).unwrap()
    }

    #[test]
    fn a_crop_moves_the_pattern() {
        assert_eq!(
            rggb().from(1, 0),
            Pattern::new(2, 2, vec![1, 0, 2, 1]).unwrap()
        );
        assert_eq!(
            rggb().from(1, 1),
            Pattern::new(2, 2, vec![2, 1, 1, 0]).unwrap()
        );
        assert_eq!(rggb().from(4, 2), rggb());
    }

    #[test]
    fn turning_rows_over() {
        // 4 rows: the last is an odd one (GB). 3 rows: the last is an even one (RG).
        assert_eq!(
            rggb().upside_down(4),
            Pattern::new(2, 2, vec![1, 2, 0, 1]).unwrap()
        );
        assert_eq!(rggb().upside_down(3), rggb());
    }

    #[test]
    fn layout_bits() {
        let layout = rggb().green_layout();
        assert!(!layout.is_green(0, 0) && layout.is_green(1, 0));
        assert!(layout.is_green(0, 1) && !layout.is_green(1, 1));
    }

    #[test]
    fn green_in_bayer_is_the_mean_of_four() {
        let fill = rggb().nearest(GREEN);
        let data: Vec<f32> = (0..16).map(|v| v as f32).collect();
        let mut filled = Vec::new();
        fill.row(&data, (4, 4), 2, |x, v| filled.push((x, v)));
        // At (2, 2): 6, 9, 11, 14. At the edge (0, 2): 4, 9, 12.
        assert_eq!(filled, vec![(0, 25.0 / 3.0), (2, 10.0)]);
    }

    #[test]
    fn a_slope_is_filled_without_a_shift() {
        let (width, height) = (12, 12);
        let slope = |x: usize, y: usize| x as f32 + 10.0 * y as f32;
        let data: Vec<f32> = (0..width * height)
            .map(|i| slope(i % width, i / width))
            .collect();
        for color in 0..3 {
            let fill = rggb().nearest(color);
            for y in 1..height - 1 {
                fill.row(&data, (width, height), y, |x, v| {
                    if (1..width - 1).contains(&x) {
                        assert!((v - slope(x, y)).abs() < 1e-4);
                    }
                });
            }
        }
    }

    #[test]
    fn a_pattern_of_six_is_filled_to_the_corners() {
        // Green where x + y is a multiple of three or x equals y + 1 in the pattern: uneven enough.
        let green = |x: usize, y: usize| (x + y).is_multiple_of(3) || x == y + 1;
        let colors = (0..36).map(|i| u8::from(green(i % 6, i / 6))).collect();
        let pattern = Pattern::new(6, 6, colors).unwrap();
        let (fill, size) = (pattern.nearest(GREEN), (13, 11));
        let data: Vec<f32> = (0..size.0 * size.1)
            .map(|i| f32::from(pattern.color(i % size.0, i / size.0)))
            .collect();
        for y in 0..size.1 {
            let mut filled = Vec::new();
            fill.row(&data, size, y, |x, mean| filled.push((x, mean)));
            filled.sort_by_key(|(x, _)| *x);
            // Each place without green once, and only greens, which are 1, in the mean.
            let missing: Vec<_> = (0..size.0)
                .filter(|x| pattern.color(*x, y) != GREEN)
                .collect();
            assert_eq!(filled.iter().map(|(x, _)| *x).collect::<Vec<_>>(), missing);
            assert!(
                filled.iter().all(|(_, mean)| (mean - 1.0).abs() < 1e-6),
                "row {y}"
            );
        }
    }

    #[test]
    fn a_pattern_without_green_is_none() {
        assert!(Pattern::new(2, 2, vec![0, 2, 2, 0]).is_none());
        assert!(Pattern::new(7, 1, vec![1; 7]).is_none());
        assert!(Pattern::new(2, 2, vec![1; 3]).is_none());
    }
}
