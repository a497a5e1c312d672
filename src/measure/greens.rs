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

/// Adds the true samples of row `y` in the columns `span` to `values`, in the order of [`columns`].
pub(super) fn extend(
    values: &mut Vec<f32>,
    layout: GreenLayout,
    row: &[f32],
    y: usize,
    span: std::ops::Range<usize>,
) {
    for (first, step) in columns(layout, y, span.start) {
        let row = row.get(first..span.end).unwrap_or_default();
        match step {
            1 => values.extend_from_slice(row),
            2 => {
                let (pairs, rest) = row.as_chunks();
                values.extend(pairs.iter().map(|[value, _]| *value));
                values.extend(rest);
            }
            _ => values.extend(row.iter().step_by(step)),
        }
    }
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
        let row = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
        let taken = |layout, y, span| {
            let mut values = Vec::new();
            extend(&mut values, layout, &row, y, span);
            values
        };
        assert_eq!(taken(BAYER, 0, 2..7), [3.0, 5.0]);
        assert_eq!(taken(BAYER, 1, 2..7), [2.0, 4.0, 6.0]);
        assert_eq!(taken(GreenLayout::Every, 1, 2..5), [2.0, 3.0, 4.0]);
        let three = GreenLayout::Mosaic {
            width: 3,
            height: 1,
            green: 0b011,
        };
        assert_eq!(taken(three, 0, 0..7), [0.0, 3.0, 6.0, 1.0, 4.0]);
        assert!((density(BAYER) - 0.5).abs() < 1e-12);
    }
}
