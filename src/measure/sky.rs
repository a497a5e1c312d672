//! The frame's sky values from the mesh.

use super::background::{Mesh, fill};
use super::types::{Glow, SkyValues};
use crate::base::linalg::solve;
use crate::base::robust::median;
use crate::frame::Hues;

/// Cells along the longer and the shorter side, at most.
const CELLS: (usize, usize) = (24, 16);

/// A gradient smaller than this share of the level has no colour or direction worth telling.
const CLEAR_GRADIENT: f64 = 0.1;
/// A plane that leaves more than this share of the variance is no direction.
const MOST_LEFT: f64 = 0.5;
/// Tiles of sky that tell a glow's colour.
const LEAST_TILES: usize = 30;

/// Sky values of a mesh with the stars out; `is_sky` marks the tiles that are sky.
pub(super) fn sky_values(mesh: &Mesh, is_sky: &[bool], hues: Option<&Hues>) -> SkyValues {
    let (long, short) = CELLS;
    let (cols, rows) = if mesh.width >= mesh.height {
        (mesh.cols.min(long), mesh.rows.min(short))
    } else {
        (mesh.cols.min(short), mesh.rows.min(long))
    };
    let mut sums = vec![(0.0_f64, 0_u32); cols * rows];
    let mut levels = Vec::with_capacity(mesh.levels.len());
    let mut centre = Vec::new();
    for (index, (&level, &is_sky)) in mesh.levels.iter().zip(is_sky).enumerate() {
        if !is_sky {
            continue;
        }
        let (col, row) = (index % mesh.cols, index / mesh.cols);
        let level = 100.0 * f64::from(level);
        levels.push(level);
        if central(col, mesh.cols) && central(row, mesh.rows) {
            centre.push(level);
        }
        let cell = row * rows / mesh.rows * cols + col * cols / mesh.cols;
        if let Some((sum, count)) = sums.get_mut(cell) {
            *sum += level;
            *count += 1;
        }
    }
    let cells: Vec<Option<f32>> = sums
        .iter()
        .map(|&(sum, count)| (count > 0).then(|| (sum / f64::from(count)) as f32))
        .collect();
    let level_pct = median(&mut levels).unwrap_or(0.0);
    let gradient_pct = tenths_apart(&mut levels);
    let colours = hues.map(|hues| colours(mesh, is_sky, hues));
    let (red_pct, blue_pct, glow) = colours.unwrap_or_default();
    SkyValues {
        level_pct,
        gradient_pct,
        centre_pct: median(&mut centre).unwrap_or(level_pct),
        brightens_deg: brightens_deg(mesh, is_sky),
        red_pct,
        blue_pct,
        glow: glow.filter(|_| gradient_pct > CLEAR_GRADIENT * level_pct),
        cols,
        rows,
        cells_pct: fill(cells, cols, rows),
    }
}

/// Whether a tile's centre lies in the central √0.1 of a side, so that both make a tenth of the
/// area; the middle tile always does.
fn central(tile: usize, tiles: usize) -> bool {
    let from_centre = ((tile as f64 + 0.5) / tiles as f64 - 0.5).abs();
    from_centre <= 0.5 * 0.1_f64.sqrt() || 2 * tile + 1 == tiles
}

/// Mean of the brightest tenth minus mean of the darkest.
fn tenths_apart(levels: &mut [f64]) -> f64 {
    levels.sort_unstable_by(f64::total_cmp);
    let tenth = levels.len().div_ceil(10);
    let mean = |part: Option<&[f64]>| {
        let part = part.unwrap_or_default();
        part.iter().sum::<f64>() / part.len().max(1) as f64
    };
    let brightest = mean(levels.get(levels.len() - tenth..));
    brightest - mean(levels.get(..tenth))
}

/// Which way the sky brightens: the direction of the plane through the tiles, where a plane is most
/// of what they vary by.
fn brightens_deg(mesh: &Mesh, is_sky: &[bool]) -> Option<f64> {
    let sky = || (mesh.levels.iter().zip(is_sky).enumerate()).filter(|(_, (_, is_sky))| **is_sky);
    let place = |index: usize| {
        let (col, row) = (index % mesh.cols, index / mesh.cols);
        // Both in the unit of the frame's width, so that the direction is that of the picture.
        let tall = mesh.height as f64 / mesh.width.max(1) as f64;
        let (x, y) = (col as f64 / mesh.cols as f64, row as f64 / mesh.rows as f64);
        [1.0, x - 0.5, (y - 0.5) * tall]
    };
    let (mut normal, mut right) = ([[0.0; 3]; 3], [0.0; 3]);
    let (mut sum, mut count) = (0.0, 0.0);
    for (index, (&level, _)) in sky() {
        let (basis, level) = (place(index), f64::from(level));
        for (line, (sum, a)) in normal.iter_mut().zip(right.iter_mut().zip(basis)) {
            *sum += a * level;
            line.iter_mut()
                .zip(basis)
                .for_each(|(cell, b)| *cell += a * b);
        }
        sum += level;
        count += 1.0;
    }
    let [level, right_up, down_up] = solve(normal, right)?;
    let mean = sum / count;
    let (mut all, mut left) = (0.0, 0.0);
    for (index, (&seen, _)) in sky() {
        let [_, x, y] = place(index);
        let seen = f64::from(seen);
        all += (seen - mean).powi(2);
        left += (seen - level - right_up * x - down_up * y).powi(2);
    }
    let steep = right_up.hypot(down_up) > CLEAR_GRADIENT * mean;
    (steep && left < MOST_LEFT * all)
        .then(|| (-down_up).atan2(right_up).to_degrees().rem_euclid(360.0))
}

/// Median red and blue of the sky, percent, and the colour of what brightens it.
fn colours(mesh: &Mesh, is_sky: &[bool], hues: &Hues) -> (Option<f64>, Option<f64>, Option<Glow>) {
    // Green, red and blue of the tiles of the coarse grid whose middle is sky.
    let mut tiles: Vec<[f64; 3]> = (hues.red.iter().zip(&hues.blue).enumerate())
        .filter_map(|(index, (&red, &blue))| {
            let (col, row) = (index % hues.cols, index / hues.cols);
            let tile = (2 * row + 1) * mesh.rows / (2 * hues.rows) * mesh.cols
                + (2 * col + 1) * mesh.cols / (2 * hues.cols);
            let green = mesh
                .levels
                .get(tile)
                .filter(|_| is_sky.get(tile) == Some(&true))?;
            Some([*green, red, blue].map(f64::from))
        })
        .collect();
    let middle = |of: usize| {
        let mut values: Vec<f64> = tiles
            .iter()
            .filter_map(|tile| tile.get(of).copied())
            .collect();
        median(&mut values).map(|level| 100.0 * level)
    };
    let (red, blue) = (middle(1), middle(2));
    tiles.sort_unstable_by(|a, b| a[0].total_cmp(&b[0]));
    let tenth = tiles.len().div_ceil(10);
    let mean = |part: &[[f64; 3]]| {
        [0, 1, 2].map(|of| part.iter().map(|tile| tile[of]).sum::<f64>() / part.len() as f64)
    };
    let glow = (tiles.len() >= LEAST_TILES).then(|| {
        let (dark, bright) = (mean(&tiles[..tenth]), mean(&tiles[tiles.len() - tenth..]));
        let ratio =
            |of: usize| (bright[of] - dark[of]) / (bright[0] - dark[0]) * dark[0] / dark[of];
        Glow {
            red: ratio(1),
            blue: ratio(2),
        }
    });
    let glow = glow.filter(|glow| glow.red.is_finite() && glow.blue.is_finite());
    (red, blue, glow)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_has_its_median_and_its_tenths() {
        let mut mesh = Mesh::over(3000, 2000);
        let cols = mesh.cols;
        for (index, level) in mesh.levels.iter_mut().enumerate() {
            *level = 0.1 + 0.1 * ((index % cols) as f32 + 0.5) / cols as f32;
        }
        let is_sky = vec![true; mesh.levels.len()];
        let sky = sky_values(&mesh, &is_sky, None);
        assert!((sky.level_pct - 15.0).abs() < 0.2);
        assert!((sky.centre_pct - 15.0).abs() < 0.2);
        // Tenths of a ramp are 0.9 of its height apart.
        assert!((sky.gradient_pct - 9.0).abs() < 0.2, "{}", sky.gradient_pct);
        assert_eq!(sky.cells_pct.len(), sky.cols * sky.rows);
    }

    #[test]
    fn ground_is_left_out_and_filled() {
        let mut mesh = Mesh::over(3000, 2000);
        let cols = mesh.cols;
        let ground = mesh.levels.len() - 8 * cols;
        mesh.levels.fill(0.2);
        mesh.levels[ground..].fill(0.01);
        let is_sky: Vec<bool> = (0..mesh.levels.len()).map(|i| i < ground).collect();
        let sky = sky_values(&mesh, &is_sky, None);
        assert!((sky.level_pct - 20.0).abs() < 1e-4);
        assert!(sky.gradient_pct.abs() < 1e-4);
        assert!(sky.cells_pct.iter().all(|c| (c - 20.0).abs() < 1e-4));
    }

    #[test]
    fn a_red_glow_at_the_lower_left_is_told_apart_from_the_sky() {
        let mut mesh = Mesh::over(3000, 2000);
        let (cols, rows) = (mesh.cols, mesh.rows);
        // 1 at the lower left corner, 0 at the upper right.
        let glow = |x: f64, y: f64| ((1.0 - x) * 3.0 + y * 2.0) / 5.0;
        for (index, level) in mesh.levels.iter_mut().enumerate() {
            let x = (index % cols) as f64 / cols as f64;
            let y = (index / cols) as f64 / rows as f64;
            *level = (0.10 + 0.06 * glow(x, y)) as f32;
        }
        let is_sky = vec![true; mesh.levels.len()];
        let grid = |dark: f64, added: f64| {
            (0..24 * 16)
                .map(|i| (f64::from(i % 24) / 24.0, f64::from(i / 24) / 16.0))
                .map(|(x, y)| (dark + added * glow(x, y)) as f32)
                .collect::<Vec<f32>>()
        };
        // Dark sky: red half of green, blue as green. The glow: red twice that, blue a quarter.
        let hues = Hues {
            cols: 24,
            rows: 16,
            red: grid(0.05, 0.06),
            blue: grid(0.10, 0.015),
        };
        let sky = sky_values(&mesh, &is_sky, Some(&hues));
        let glow = sky.glow.unwrap();
        // The darkest tenth has some glow in it, which draws both towards 1.
        assert!((1.6..2.05).contains(&glow.red), "{glow:?}");
        assert!((0.2..0.4).contains(&glow.blue), "{glow:?}");
        // Down by 2 in 2000 px, left by 3 in 3000: 225° anticlockwise from right.
        let towards = sky.brightens_deg.unwrap();
        assert!((towards - 225.0).abs() < 1.0, "{towards}");
        assert!((sky.red_pct.unwrap() - 8.0).abs() < 0.3);
        assert!((sky.blue_pct.unwrap() - 10.75).abs() < 0.2);
        let even = Mesh {
            levels: vec![0.1; mesh.levels.len()],
            ..mesh
        };
        let even = sky_values(&even, &is_sky, Some(&hues));
        assert_eq!((even.brightens_deg, even.glow), (None, None));
    }
}
