//! Level and share of sky by cell, ground and all, for what only a night can tell.

use super::background::Mesh;
use super::types::Levels;

/// Cells along the longer and the shorter side, at most.
const CELLS: (usize, usize) = (48, 32);

/// The mesh in equal cells; `is_sky` marks the tiles that this frame alone takes for sky.
pub(super) fn levels(mesh: &Mesh, is_sky: &[bool]) -> Levels {
    let (long, short) = CELLS;
    let (cols, rows) = if mesh.width >= mesh.height {
        (mesh.cols.min(long), mesh.rows.min(short))
    } else {
        (mesh.cols.min(short), mesh.rows.min(long))
    };
    let mut sums = vec![(0.0_f64, 0_u32, 0_u32); cols * rows];
    for (index, (&level, &is_sky)) in mesh.levels.iter().zip(is_sky).enumerate() {
        let (col, row) = (index % mesh.cols, index / mesh.cols);
        let cell = row * rows / mesh.rows * cols + col * cols / mesh.cols;
        if let Some((sum, tiles, sky)) = sums.get_mut(cell) {
            *sum += f64::from(level);
            *tiles += 1;
            *sky += u32::from(is_sky);
        }
    }
    let mean = |&(sum, tiles, _): &(f64, u32, u32)| 100.0 * sum / f64::from(tiles.max(1));
    let share = |&(_, tiles, sky): &(f64, u32, u32)| (100 * sky / tiles.max(1)) as u8;
    Levels {
        cols,
        rows,
        level_pct: sums.iter().map(|cell| mean(cell) as f32).collect(),
        sky_pct: sums.iter().map(share).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ground_keeps_its_own_level() {
        let mut mesh = Mesh::over(6000, 4000);
        let edge = (mesh.rows * 3 / 4) * mesh.cols;
        mesh.levels.fill(0.2);
        mesh.levels[edge..].fill(0.01);
        let is_sky: Vec<bool> = (0..mesh.levels.len()).map(|i| i < edge).collect();
        let got = levels(&mesh, &is_sky);
        assert_eq!((got.cols, got.rows), (48, 32));
        assert_eq!(got.level_pct.len(), 48 * 32);
        let (top, foot) = (5, 31 * 48 + 5);
        assert!((got.level_pct[top] - 20.0).abs() < 1e-4 && got.sky_pct[top] == 100);
        assert!((got.level_pct[foot] - 1.0).abs() < 1e-4 && got.sky_pct[foot] == 0);

        let upright = levels(&Mesh::over(2000, 3000), &[true; 3000]);
        assert!(upright.cols < upright.rows);
        let small = Mesh::over(64, 64);
        let tiles = small.levels.len();
        assert_eq!(levels(&small, &vec![true; tiles]).level_pct.len(), tiles);
    }
}
