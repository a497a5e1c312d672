//! Clipped means by cell.

use super::{CUT, LEAST_STARS};
use crate::base::robust::clipped_mean;
use crate::base::{Spin2, robust};
use crate::measure::types::{FieldCell, FieldMap, Star};

/// Cells along the longer and the shorter side.
const CELLS: (usize, usize) = (6, 4);

pub(super) fn cells_of(width: usize, height: usize) -> (usize, usize) {
    if width >= height {
        CELLS
    } else {
        (CELLS.1, CELLS.0)
    }
}

pub(super) fn cell_of(
    star: &Star,
    (width, height): (usize, usize),
    (cols, rows): (usize, usize),
) -> usize {
    let place = |at: f32, length: usize, cells: usize| {
        let cell = (f64::from(at) + 0.5).max(0.0) * cells as f64 / length.max(1) as f64;
        (cell as usize).min(cells - 1)
    };
    place(star.y_px, height, rows) * cols + place(star.x_px, width, cols)
}

/// Clipped means by cell of the stars used, each with what its scatter leaves of an error.
#[must_use]
pub fn field_map(stars: &[Star], size: (usize, usize)) -> FieldMap {
    let (cols, rows) = cells_of(size.0, size.1);
    let mut by_cell: Vec<Vec<&Star>> = vec![Vec::new(); cols * rows];
    for star in stars {
        if let Some(cell) = by_cell.get_mut(cell_of(star, size, (cols, rows))) {
            cell.push(star);
        }
    }
    FieldMap {
        cols,
        rows,
        cells: by_cell.iter().map(|stars| field_cell(stars)).collect(),
    }
}

fn field_cell(stars: &[&Star]) -> Option<FieldCell> {
    if stars.len() < LEAST_STARS {
        return None;
    }
    let component = |of: fn(&Star) -> f64| {
        let values: Vec<f64> = stars.iter().map(|s| of(s)).collect();
        clipped_mean(&values, CUT)
    };
    let (cos, cos_sigma, n) = component(|s| s.trail.cos)?;
    let (sin, sin_sigma, _) = component(|s| s.trail.sin)?;
    let mut widths: Vec<f64> = stars.iter().map(|s| f64::from(s.fwhm_px)).collect();
    Some(FieldCell {
        trail: Spin2 { cos, sin },
        trail_error: cos_sigma.hypot(sin_sigma) / (2.0 * n.max(1) as f64).sqrt(),
        fwhm_px: robust::median(&mut widths)?,
        stars: stars.len() as u32,
    })
}
