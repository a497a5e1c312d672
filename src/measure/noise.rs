//! Noise of one sample of sky.

use super::background::{Mesh, fill};
use super::clip::Clipped;

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

/// Median over the tiles marked as sky of their σ, percent of full scale; `None` when no tile was
/// free of stars or samples.
pub(super) fn noise_pct(sky: &[Option<Clipped>], is_sky: &[bool]) -> Option<f64> {
    let mut sigmas: Vec<f64> = sky
        .iter()
        .zip(is_sky)
        .filter(|(_, is_sky)| **is_sky)
        .filter_map(|(tile, _)| tile.map(|c| f64::from(c.sigma)))
        .collect();
    crate::base::robust::median(&mut sigmas).map(|sigma| 100.0 * sigma)
}
