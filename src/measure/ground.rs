//! Which tiles are sky, as far as one frame can tell.
//!
//! Sky changes slowly from tile to tile, however steep a Moon or a town makes it; hills and roofs
//! end sharply and hold no stars. So tiles that join smoothly make regions; the region with the
//! most stars is sky, and every other with a fair share of stars for its size. Night knows the
//! foreground by pixel from many frames; this only keeps a strip of ground from moving the sky's
//! level and noise. Ground as bright as the sky beside it is not told apart, which harms neither.

use super::background::Mesh;
use super::blobs::Blob;

/// Neighbours join when their levels differ by less than this share of the brighter …
const STEP_SHARE: f32 = 0.12;

/// … beyond this part of one sample's noise, several times the error of a tile's mean.
const STEP_NOISE: f32 = 0.2;

/// A tile with a neighbour darker or brighter than this share of the brighter lies on an edge and
/// joins nothing: a slanting edge would else lead from sky to ground in small steps.
const EDGE_SHARE: f32 = 0.5;

/// A region beside the main one is sky with this share of its stars per tile …
const STAR_SHARE: f64 = 0.5;

/// … and at least this many: fewer may be leaves and lamps.
const LEAST_STARS: u32 = 25;

/// Less sky than this share of the tiles is not believed: then all counts as sky.
const LEAST_SKY: f64 = 0.3;

/// One flag a tile: whether it is sky.
pub(super) fn sky_tiles(mesh: &Mesh, noise: &Mesh, stars: &[Blob]) -> Vec<bool> {
    let regions = regions(mesh, noise);
    let count = regions.iter().max().map_or(0, |last| last + 1);
    let mut tiles = vec![0_u32; count];
    for &region in &regions {
        if let Some(tiles) = tiles.get_mut(region) {
            *tiles += 1;
        }
    }
    let mut held = vec![0_u32; count];
    for star in stars {
        let region = regions.get(mesh.tile_at(star.x, star.y));
        if let Some(held) = region.and_then(|&region| held.get_mut(region)) {
            *held += 1;
        }
    }
    let density = |region: usize| {
        let of = |counts: &[u32]| counts.get(region).copied().map_or(0.0, f64::from);
        of(&held) / of(&tiles).max(1.0)
    };
    // Without stars nothing tells sky from ground.
    let main = (0..count)
        .filter(|&r| held.get(r).is_some_and(|&h| h > 0))
        .max_by_key(|&r| (held.get(r).copied(), tiles.get(r).copied()));
    let everything = vec![true; regions.len()];
    let Some(main) = main else { return everything };
    let least = STAR_SHARE * density(main);
    let is_sky = |region: usize| {
        let many = held.get(region).is_some_and(|&held| held >= LEAST_STARS);
        region == main || (many && density(region) >= least)
    };
    let sky: Vec<bool> = regions.iter().map(|&region| is_sky(region)).collect();
    let share = sky.iter().filter(|s| **s).count() as f64 / sky.len().max(1) as f64;
    if share < LEAST_SKY { everything } else { sky }
}

/// Whether a place lies on a tile that is no sky and touches none: whatever shines there is a lamp, a
/// leaf or a roof.
pub(super) fn is_ground(mesh: &Mesh, is_sky: &[bool], x: f64, y: f64) -> bool {
    let tile = mesh.tile_at(x, y);
    let (col, row) = (tile % mesh.cols, tile / mesh.cols);
    let rows = row.saturating_sub(1)..=(row + 1).min(mesh.rows - 1);
    let mut near = rows.flat_map(|r| {
        let cols = col.saturating_sub(1)..=(col + 1).min(mesh.cols - 1);
        cols.map(move |c| r * mesh.cols + c)
    });
    near.all(|tile| is_sky.get(tile) == Some(&false))
}

/// A region number for each tile: neighbours that join smoothly share one.
fn regions(mesh: &Mesh, noise: &Mesh) -> Vec<usize> {
    let mut regions = vec![usize::MAX; mesh.levels.len()];
    let mut next = 0;
    let mut todo = Vec::new();
    for seed in 0..mesh.levels.len() {
        if regions.get(seed) != Some(&usize::MAX) {
            continue;
        }
        todo.push(seed);
        while let Some(tile) = todo.pop() {
            match regions.get_mut(tile) {
                Some(region) if *region == usize::MAX => *region = next,
                _ => continue,
            }
            let (col, row) = (tile % mesh.cols, tile / mesh.cols);
            if on_edge(mesh, noise, tile) {
                continue;
            }
            let beside = [
                (col > 0).then(|| tile - 1),
                (col + 1 < mesh.cols).then_some(tile + 1),
                (row > 0).then(|| tile - mesh.cols),
                (row + 1 < mesh.rows).then_some(tile + mesh.cols),
            ];
            todo.extend(
                beside
                    .into_iter()
                    .flatten()
                    .filter(|&other| joins(mesh, noise, tile, other)),
            );
        }
        next += 1;
    }
    regions
}

fn joins(mesh: &Mesh, noise: &Mesh, a: usize, b: usize) -> bool {
    apart(mesh, noise, a, b).is_some_and(|apart| apart <= STEP_SHARE) && !on_edge(mesh, noise, b)
}

fn on_edge(mesh: &Mesh, noise: &Mesh, tile: usize) -> bool {
    let (col, row) = (tile % mesh.cols, tile / mesh.cols);
    let rows = row.saturating_sub(1)..=(row + 1).min(mesh.rows - 1);
    rows.flat_map(|r| {
        let cols = col.saturating_sub(1)..=(col + 1).min(mesh.cols - 1);
        cols.map(move |c| r * mesh.cols + c)
    })
    .any(|other| apart(mesh, noise, tile, other).is_some_and(|apart| apart > EDGE_SHARE))
}

/// How far apart two levels are beyond what noise may do, as a share of the brighter.
fn apart(mesh: &Mesh, noise: &Mesh, a: usize, b: usize) -> Option<f32> {
    let pair = |of: &Mesh| of.levels.get(a).copied().zip(of.levels.get(b).copied());
    let ((la, lb), (na, nb)) = pair(mesh).zip(pair(noise))?;
    let beyond = ((la - lb).abs() - STEP_NOISE * na.max(nb)).max(0.0);
    Some(beyond / la.max(lb).max(1e-6))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::shape::Moments;

    fn star(x: f64, y: f64) -> Blob {
        Blob {
            x,
            y,
            peak_x: x as usize,
            peak_y: y as usize,
            peak: 9.0,
            sum: 90.0,
            area: 12,
            component: 0,
            moments: Moments {
                xx: 1.0,
                xy: 0.0,
                yy: 1.0,
            },
        }
    }

    #[test]
    fn a_dark_strip_below_a_steep_sky_is_ground() {
        let mut mesh = Mesh::over(3000, 2000);
        let cols = mesh.cols;
        let ground = mesh.levels.len() - 6 * cols;
        for (index, level) in mesh.levels.iter_mut().enumerate() {
            // The sky doubles from left to right.
            *level = if index < ground {
                0.05 * (1.0 + (index % cols) as f32 / cols as f32)
            } else {
                0.004
            };
        }
        let mut noise = mesh.clone();
        noise.levels.fill(0.002);
        let stars: Vec<Blob> = (0..60)
            .map(|i| star(f64::from(i * 49 % 3000), f64::from(i * 211 % 1600)))
            .collect();
        let sky = sky_tiles(&mesh, &noise, &stars);
        // The last row of sky lies on the edge.
        assert!(
            sky.iter()
                .enumerate()
                .all(|(i, &s)| s == (i < ground - cols))
        );
        assert!(sky_tiles(&mesh, &noise, &[]).iter().all(|s| *s));
    }
}
