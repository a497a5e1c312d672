//! Smaller pictures by averaging areas.

use rayon::prelude::*;

use crate::frame::Colour;

/// Reduces `colour` by the least whole number that brings its longer side to at most `max_side`
/// px, each output px being the mean (in linear light, rounded) of the square it covers; squares
/// cut by the right and lower edge average what they have. Returns the picture and that number:
/// output px (X, Y) covers the input px from (X·n, Y·n) on.
///
/// A whole factor gives every output px the same weight of input px, so noise and stars look
/// alike all over the frame. A `max_side` of 0 is taken as 1.
#[must_use]
pub fn reduce_to(colour: &Colour, max_side: usize) -> (Colour, f64) {
    let factor = factor_to(colour.width.max(colour.height), max_side);
    (reduce_by(colour, factor), factor as f64)
}

/// The same by a given whole number, taken as at least 1.
#[must_use]
pub fn reduce_by(colour: &Colour, factor: usize) -> Colour {
    if factor <= 1 {
        return colour.clone();
    }
    let width = colour.width.div_ceil(factor);
    let height = colour.height.div_ceil(factor);
    let mut rgb = vec![[0u16; 3]; width * height];
    let band = colour.width * factor;
    rgb.par_chunks_mut(width.max(1))
        .zip(colour.rgb.par_chunks(band.max(1)))
        .for_each_init(
            || vec![[0u64; 3]; width],
            |sums, (out, rows)| mean_of_band(rows, colour.width, factor, sums, out),
        );
    Colour { width, height, rgb }
}

/// The least whole factor that brings `side` to at most `max_side`.
fn factor_to(side: usize, max_side: usize) -> usize {
    side.div_ceil(max_side.max(1)).max(1)
}

/// One output row from up to `factor` input rows.
fn mean_of_band(
    rows: &[[u16; 3]],
    in_width: usize,
    factor: usize,
    sums: &mut [[u64; 3]],
    out: &mut [[u16; 3]],
) {
    sums.fill([0; 3]);
    let height = rows.len() / in_width;
    for row in rows.chunks_exact(in_width) {
        for (sum, square) in sums.iter_mut().zip(row.chunks(factor)) {
            for px in square {
                for (total, &sample) in sum.iter_mut().zip(px) {
                    *total += u64::from(sample);
                }
            }
        }
    }
    for (x, (px, sum)) in out.iter_mut().zip(sums).enumerate() {
        let across = factor.min(in_width - x * factor);
        let count = (across * height) as u64;
        *px = sum.map(|total| ((total + count / 2) / count) as u16);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(width: usize, height: usize) -> Colour {
        let rgb = (0..width * height)
            .map(|i| [(i % width) as u16, (i / width) as u16, 7])
            .collect();
        Colour { width, height, rgb }
    }

    #[test]
    fn whole_squares_and_cut_squares_are_means() {
        // 5 x 3 by 2: columns {0,1} {2,3} {4}, rows {0,1} {2}; means of 0.5 round up.
        let (small, scale) = reduce_to(&ramp(5, 3), 3);
        assert_eq!((small.width, small.height, scale), (3, 2, 2.0));
        assert_eq!(small.rgb[0], [1, 1, 7]);
        assert_eq!(small.rgb[2], [4, 1, 7]);
        assert_eq!(small.rgb[5], [4, 2, 7]);
    }

    #[test]
    fn light_is_kept() {
        let mut colour = ramp(64, 64);
        colour.rgb.fill([0, 0, 0]);
        colour.rgb[64 * 9 + 9] = [64_000, 6_400, 0];
        let (small, _) = reduce_to(&colour, 8);
        let total: u64 = small.rgb.iter().map(|px| u64::from(px[0])).sum();
        assert_eq!(total * 64, 64_000);
    }

    #[test]
    fn small_enough_stays_as_it_is() {
        let colour = ramp(4, 4);
        assert_eq!(reduce_to(&colour, 4), (colour, 1.0));
        let nothing = Colour {
            width: 0,
            height: 0,
            rgb: Vec::new(),
        };
        assert_eq!(reduce_to(&nothing, 0).0, nothing);
    }
}
