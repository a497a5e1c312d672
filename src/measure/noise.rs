//! Noise of one sample of sky.
//!
//! Stars too faint to be found lie all over a dark sky, and a clipped σ reads 1.5 to 4 % too high
//! where there are many. They are wider than a pixel, so two neighbours share most of their light,
//! while the noise of true samples is each one's own: σ of the differences of neighbours, over √2,
//! is nearer the truth. Where samples were interpolated or smoothed neighbours are alike in noise
//! too, which shows as differences far below the σ; there the clipped σ stands.

use super::background::{Mesh, Tile, fill};
use super::clip::{Clipped, clipped};
use crate::base::robust::median;
use crate::frame::GreenLayout;

/// Noise over the frame, as σ of one true sample in fractions of full scale: a mesh like the sky's.
///
/// Each tile's is a clipped standard deviation of true samples with the mesh and the stars out. MAD
/// would be quantised in 8-bit files, and a Laplacian misled where samples were interpolated.
pub(super) fn noise_mesh(mesh: &Mesh, sky: &[Option<Clipped>]) -> Mesh {
    let sigmas = sky.iter().map(|tile| tile.map(|c| c.sigma)).collect();
    let mut noise = Mesh {
        levels: fill(sigmas, mesh.cols, mesh.rows),
        ..mesh.clone()
    };
    noise.smooth();
    noise
}

/// Tiles whose neighbouring samples are compared, at most: a thousand samples each are plenty.
const MOST_COMPARED: usize = 400;

/// Fewer compared tiles do not tell what faint stars add.
const LEAST_COMPARED: usize = 20;

/// What differences of neighbours may be of the clipped σ and still be noise of their own.
const OWN_NOISE: std::ops::Range<f64> = 0.9..1.03;

/// One in how many tiles is compared.
pub(super) fn compared_stride(tiles: usize) -> usize {
    tiles.div_ceil(MOST_COMPARED).max(1)
}

/// σ of the differences of neighbours over √2, as a share of the clipped σ of their tile.
pub(super) fn neighbours_share(
    differences: &[f32],
    sky: Clipped,
    step: f32,
    starters: &mut Vec<i32>,
) -> Option<f32> {
    let own = clipped(differences, step, starters)?;
    (sky.sigma > 0.0).then(|| own.sigma / sky.sigma)
}

/// Differences over √2 of the nearest true samples of a tile, into `out`: of a full plane along the
/// row, of a mosaic along the diagonal. `rows` are lines of the frame from the tile's top, every
/// `stride`th.
pub(super) fn differences<'a>(
    rows: impl Iterator<Item = &'a [f32]> + Clone,
    layout: GreenLayout,
    tile: Tile,
    stride: usize,
    out: &mut Vec<f32>,
) {
    out.clear();
    let scaled = |a: f32, b: f32| (a - b) * std::f32::consts::FRAC_1_SQRT_2;
    if layout == GreenLayout::Every {
        for row in rows {
            let cells = row.get(tile.x0..tile.x1).unwrap_or_default();
            out.extend(cells.array_windows().map(|&[a, b]| scaled(a, b)));
        }
    } else if stride == 1 {
        for ((row, next), y) in rows.clone().zip(rows.skip(1)).zip(tile.y0..) {
            let below = next.get(tile.x0 + 1..tile.x1).unwrap_or_default();
            let cells = row.get(tile.x0..tile.x1).unwrap_or_default();
            for ((&a, &b), x) in cells.iter().zip(below).zip(tile.x0..) {
                if layout.is_green(x, y) && layout.is_green(x + 1, y + 1) {
                    out.push(scaled(a, b));
                }
            }
        }
    }
}

/// Median over the tiles marked as sky of their σ, percent of full scale, less what faint stars add to
/// it; `None` when no tile was free of stars or samples. `shares` are those of the tiles compared.
pub(super) fn noise_pct(
    sky: &[Option<Clipped>],
    shares: &[Option<f32>],
    is_sky: &[bool],
) -> Option<f64> {
    let of_sky = |values: &mut dyn Iterator<Item = Option<f32>>| -> Vec<f64> {
        (values.zip(is_sky))
            .filter(|(_, is_sky)| **is_sky)
            .filter_map(|(value, _)| value.map(f64::from))
            .collect()
    };
    let mut sigmas = of_sky(&mut sky.iter().map(|tile| tile.map(|c| c.sigma)));
    let mut shares = of_sky(&mut shares.iter().copied());
    let share = Some(shares.len())
        .filter(|&count| count >= LEAST_COMPARED)
        .and_then(|_| median(&mut shares))
        .filter(|share| OWN_NOISE.contains(share))
        .unwrap_or(1.0);
    median(&mut sigmas).map(|sigma| 100.0 * sigma * share)
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;
    use crate::measure::greens::BAYER;

    const ROW: Tile = Tile {
        x0: 0,
        x1: 1000,
        y0: 0,
        y1: 1,
    };

    #[test]
    fn diagonal_neighbours_of_a_mosaic_are_both_green() {
        let line = |y: usize| -> Vec<f32> {
            (0..6)
                .map(|x| {
                    if BAYER.is_green(x, y) {
                        1.0
                    } else {
                        9.0 + x as f32
                    }
                })
                .collect()
        };
        let lines = [line(0), line(1), line(2)];
        let tile = Tile {
            x0: 0,
            x1: 6,
            y0: 0,
            y1: 3,
        };
        let mut pairs = Vec::new();
        differences(lines.iter().map(Vec::as_slice), BAYER, tile, 1, &mut pairs);
        assert_eq!(pairs, [0.0; 5], "two or three to a row");
        differences(lines.iter().map(Vec::as_slice), BAYER, tile, 3, &mut pairs);
        assert!(pairs.is_empty(), "rows that are no neighbours");
    }

    /// Noise over the true one of tiles of white noise with a faint star of 1.5 σ, four samples wide, on
    /// one sample in `every`; `smoothed` averages neighbours first.
    fn ratio(seed: u64, every: usize, smoothed: bool) -> f64 {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let (mut sky, mut shares) = (Vec::new(), Vec::new());
        for _ in 0..60 {
            let white: Vec<f32> = (0..1001)
                .map(|_| StandardNormal.sample(&mut random))
                .collect();
            let values: Vec<f32> = (white.windows(2).enumerate())
                .map(|(k, pair)| {
                    let noise = if smoothed {
                        0.5 * (pair[0] + pair[1])
                    } else {
                        pair[0]
                    };
                    let star = if k % every < 4 && every > 4 { 1.5 } else { 0.0 };
                    0.2 + 0.01 * (noise + star)
                })
                .collect();
            let tile = clipped(&values, 0.0, &mut Vec::new()).unwrap();
            let mut pairs = Vec::new();
            let row = std::iter::once(&values[..]);
            differences(row, GreenLayout::Every, ROW, 1, &mut pairs);
            shares.push(neighbours_share(&pairs, tile, 0.0, &mut Vec::new()));
            sky.push(Some(tile));
        }
        noise_pct(&sky, &shares, &[true; 60]).unwrap()
    }

    #[test]
    fn white_noise_keeps_its_sigma() {
        for seed in 0..4 {
            let got = ratio(seed, 1, false);
            assert!((got - 1.0).abs() < 0.008, "{got}");
        }
    }

    #[test]
    fn faint_stars_add_little() {
        let got = ratio(5, 80, false);
        // Their own variance is 0.11 of the noise's: 5 % on a clipped σ.
        assert!((got - 1.0).abs() < 0.025, "{got}");
    }

    #[test]
    fn smoothed_noise_is_what_it_is() {
        let got = ratio(6, 1, true);
        assert!((got / 0.5_f64.sqrt() - 1.0).abs() < 0.01, "{got}");
    }
}
