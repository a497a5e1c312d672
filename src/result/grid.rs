//! A value that changes slowly over the frame, by cell.

/// Equal cells over a frame, row order; between their centres values run straight.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    cols: usize,
    rows: usize,
    values: Vec<f32>,
    /// Size of the frame, px.
    frame: (usize, usize),
}

impl Grid {
    /// `cols` × `rows` values over a frame of so many px; what is missing is 0.
    #[must_use]
    pub fn new(cols: usize, rows: usize, values: Vec<f32>, frame: (usize, usize)) -> Self {
        Self {
            cols: cols.max(1),
            rows: rows.max(1),
            values,
            frame: (frame.0.max(1), frame.1.max(1)),
        }
    }

    /// At a point of the sensor, px.
    #[must_use]
    pub fn at(&self, x: f64, y: f64) -> f32 {
        let place = |at: f64, side: usize, cells: usize| {
            let cell = (at + 0.5) / side as f64 * cells as f64 - 0.5;
            let cell = cell.clamp(0.0, (cells - 1) as f64);
            (cell.floor() as usize, cell.fract() as f32)
        };
        let (col, u) = place(x, self.frame.0, self.cols);
        let (row, v) = place(y, self.frame.1, self.rows);
        let cell = |col: usize, row: usize| {
            let (col, row) = (col.min(self.cols - 1), row.min(self.rows - 1));
            (self.values.get(row * self.cols + col)).map_or(0.0, |value| *value)
        };
        let mix = |a: f32, b: f32, t: f32| a + (b - a) * t;
        let upper = mix(cell(col, row), cell(col + 1, row), u);
        mix(upper, mix(cell(col, row + 1), cell(col + 1, row + 1), u), v)
    }
}
