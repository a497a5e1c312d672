//! Pixels that shine by themselves.
//!
//! A lens and the pixel's own square spread a star; what falls to its neighbours more steeply than
//! the sharpest star could is a hot pixel. The worst case is a star centred on one sample.

use super::background::Mesh;
use super::blobs::Blob;
use crate::frame::Samples;

/// σ of the sharpest star as sampled, px (FWHM 1.65 px).
pub(super) const SHARPEST_SIGMA: f64 = 0.7;

/// Farthest neighbour compared, px: the eight round a pixel, the four diagonal ones in a Bayer
/// mosaic's greens.
const RING2: i64 = 2;

/// Whether a detection falls off more steeply than half of what the sharpest star would.
///
/// A demosaiced hot pixel keeps 1/8 of itself in the mean of its neighbours, the sharpest star
/// 1/4; where this test lets one pass, its moments give it away.
pub(super) fn is_hot(samples: &Samples, mesh: &Mesh, blob: &Blob) -> bool {
    let place = (
        blob.peak_x.cast_signed() as i64,
        blob.peak_y.cast_signed() as i64,
    );
    let sky = mesh.at(blob.x, blob.y);
    let Some((x, y, peak)) = around(samples, sky, place, 8)
        .max_by(|a, b| a.2.total_cmp(&b.2))
        .filter(|found| found.2 > 0.0)
    else {
        return false;
    };
    let (mut sum, mut expected, mut count) = (0.0, 0.0, 0.0);
    for (nx, ny, value) in around(samples, sky, (x, y), RING2) {
        let distance2 = (nx - x).pow(2) + (ny - y).pow(2);
        if distance2 > 0 {
            sum += value;
            expected += (-0.5 * distance2 as f64 / (SHARPEST_SIGMA * SHARPEST_SIGMA)).exp();
            count += 1.0;
        }
    }
    count > 0.0 && sum < 0.5 * expected * peak
}

/// True samples above the sky within √`reach2` px of a place.
fn around(
    samples: &Samples,
    sky: f64,
    (cx, cy): (i64, i64),
    reach2: i64,
) -> impl Iterator<Item = (i64, i64, f64)> {
    let reach = reach2.isqrt();
    (cy - reach..=cy + reach).flat_map(move |y| {
        (cx - reach..=cx + reach).filter_map(move |x| {
            let near = (x - cx).pow(2) + (y - cy).pow(2) <= reach2;
            let (ux, uy) = (usize::try_from(x).ok()?, usize::try_from(y).ok()?);
            let value = samples.green.get(ux, uy)?;
            (near && value.is_finite() && samples.layout.is_green(ux, uy))
                .then(|| (x, y, f64::from(value) - sky))
        })
    })
}
