//! The frame's sky values from the mesh.

use super::background::{Mesh, fill};
use super::types::SkyValues;
use crate::base::robust::median;

/// Cells along the longer and the shorter side, at most.
const CELLS: (usize, usize) = (24, 16);

/// Sky values of a mesh with the stars out; `is_sky` marks the tiles that are sky.
pub(super) fn sky_values(mesh: &Mesh, is_sky: &[bool]) -> SkyValues {
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
    SkyValues {
        level_pct,
        gradient_pct: tenths_apart(&mut levels),
        centre_pct: median(&mut centre).unwrap_or(level_pct),
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
        let sky = sky_values(&mesh, &is_sky);
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
        let sky = sky_values(&mesh, &is_sky);
        assert!((sky.level_pct - 20.0).abs() < 1e-4);
        assert!(sky.gradient_pct.abs() < 1e-4);
        assert!(sky.cells_pct.iter().all(|c| (c - 20.0).abs() < 1e-4));
    }
}
