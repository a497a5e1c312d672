//! Walking over the samples that were truly taken.

use crate::frame::GreenLayout;

/// Columns of true samples in row `y`: each pair is a first column ≥ `from` and the step to the
/// next. One pair for a full frame or a Bayer row, several for longer patterns.
pub(super) fn columns(
    layout: GreenLayout,
    y: usize,
    from: usize,
) -> impl Iterator<Item = (usize, usize)> {
    let period = match layout {
        GreenLayout::Every => 1,
        GreenLayout::Mosaic { width, .. } => usize::from(width.max(1)),
    };
    (from..from + period)
        .filter(move |&x| layout.is_green(x, y))
        .map(move |x| (x, period))
}

/// Share of samples that were truly taken.
pub(super) fn density(layout: GreenLayout) -> f64 {
    match layout {
        GreenLayout::Every => 1.0,
        GreenLayout::Mosaic { width, height, .. } => {
            let (w, h) = (usize::from(width), usize::from(height));
            let true_ones = (0..h)
                .flat_map(|y| (0..w).map(move |x| (x, y)))
                .filter(|&(x, y)| layout.is_green(x, y))
                .count();
            true_ones as f64 / (w * h).max(1) as f64
        }
    }
}

#[cfg(test)]
pub(super) const BAYER: GreenLayout = GreenLayout::Mosaic {
    width: 2,
    height: 2,
    // Red in the first corner: green at (1, 0) and (0, 1).
    green: 0b0110,
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bayer_rows_alternate() {
        assert_eq!(columns(BAYER, 0, 4).collect::<Vec<_>>(), [(5, 2)]);
        assert_eq!(columns(BAYER, 1, 4).collect::<Vec<_>>(), [(4, 2)]);
        assert_eq!(
            columns(GreenLayout::Every, 1, 4).collect::<Vec<_>>(),
            [(4, 1)]
        );
        assert!((density(BAYER) - 0.5).abs() < 1e-12);
    }
}
