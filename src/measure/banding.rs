//! Whether whole rows or columns waver: their means against the rows two above and below, which in
//! a mosaic hold the same kind of sample, so that the sky's own slope falls out.

use super::pair::Banding;
use super::pair_tile::TileWork;
use crate::base::robust;

/// Fewer rows tell no scatter.
const LEAST_LINES: usize = 64;

/// A row counts with this share of the samples that the fullest row has.
const LEAST_FREE: f64 = 0.25;

/// Sums of the samples of every row and column of one frame, sky taken off.
pub(super) struct Bands {
    rows: Vec<Line>,
    columns: Vec<Line>,
    squares: f64,
    count: f64,
}

#[derive(Debug, Clone, Copy, Default)]
struct Line {
    sum: f64,
    count: f64,
}

impl Bands {
    pub(super) fn new(width: usize, height: usize) -> Self {
        Self {
            rows: vec![Line::default(); height],
            columns: vec![Line::default(); width],
            squares: 0.0,
            count: 0.0,
        }
    }

    /// Adds the tile that is loaded.
    pub(super) fn add(&mut self, work: &TileWork<'_>) {
        let wide = work.bounds.x1 - work.bounds.x0;
        let rows = work.first.chunks_exact(wide);
        for (y, (values, counts)) in
            (work.bounds.y0..).zip(rows.zip(work.counts.chunks_exact(wide)))
        {
            let mut line = Line::default();
            let columns = self.columns.iter_mut().skip(work.bounds.x0);
            for ((&value, &count), column) in values.iter().zip(counts).zip(columns) {
                let (value, count) = (f64::from(value), f64::from(count));
                line.sum += value;
                line.count += count;
                column.sum += value;
                column.count += count;
                self.squares += value * value;
            }
            self.count += line.count;
            if let Some(row) = self.rows.get_mut(y) {
                row.sum += line.sum;
                row.count += line.count;
            }
        }
    }

    pub(super) fn rows(&self) -> Option<Banding> {
        self.banding(&self.rows)
    }

    pub(super) fn columns(&self) -> Option<Banding> {
        self.banding(&self.columns)
    }

    fn banding(&self, lines: &[Line]) -> Option<Banding> {
        let variance = self.squares / self.count.max(1.0);
        let fullest = lines.iter().map(|line| line.count).fold(0.0, f64::max);
        let is_full = |line: &Line| line.count > (LEAST_FREE * fullest).max(1.0);
        let (mut scores, mut randoms) = (Vec::new(), 0.0);
        for near in lines.windows(5) {
            let [above, _, here, _, below] = near else {
                continue;
            };
            if ![above, here, below].into_iter().all(is_full) {
                continue;
            }
            let mean = |line: &Line| line.sum / line.count;
            let apart = mean(here) - 0.5 * (mean(above) + mean(below));
            let share = 1.0 / here.count + 0.25 / above.count + 0.25 / below.count;
            scores.push(apart / (variance * share).sqrt());
            randoms += variance * share;
        }
        if scores.len() < LEAST_LINES || variance <= 0.0 {
            return None;
        }
        let (_, sigma) = robust::median_and_sigma(&scores)?;
        // The difference from two neighbours has 1.5 times the variance of one line.
        let random = randoms / scores.len() as f64 / 1.5;
        Some(Banding {
            excess: (sigma * sigma - 1.0) * random,
            random,
        })
    }
}
