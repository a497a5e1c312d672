//! Choosing some of many so that every part of the frame is heard.

/// Cells along each side.
const CELLS: usize = 12;

/// Indices of up to `wanted` items: the brightest of every cell, then the second of every cell, and
/// so on. `items` gives place and brightness; the order is brightest first within each turn.
pub(super) fn pick(
    items: impl Iterator<Item = (f64, f64, f64)>,
    (width, height): (usize, usize),
    wanted: usize,
) -> Vec<usize> {
    let cell = |at: f64, length: usize| {
        ((at.max(0.0) * CELLS as f64 / length.max(1) as f64) as usize).min(CELLS - 1)
    };
    let mut all: Vec<(usize, f64, usize)> = items
        .enumerate()
        .map(|(index, (x, y, bright))| (cell(y, height) * CELLS + cell(x, width), bright, index))
        .collect();
    all.sort_unstable_by(|a, b| b.1.total_cmp(&a.1).then(a.2.cmp(&b.2)));
    if all.len() > wanted {
        let mut turns = [0_usize; CELLS * CELLS];
        let mut queue: Vec<(usize, usize, usize)> = all
            .iter()
            .enumerate()
            .filter_map(|(rank, &(cell, _, index))| {
                let turn = turns.get_mut(cell)?;
                *turn += 1;
                Some((*turn, rank, index))
            })
            .collect();
        queue.sort_unstable();
        queue.truncate(wanted);
        queue.into_iter().map(|(_, _, index)| index).collect()
    } else {
        all.into_iter().map(|(_, _, index)| index).collect()
    }
}

#[cfg(test)]
mod tests {
    use std::time::Instant;

    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;
    use crate::frame::GreenLayout;
    use crate::measure::scene::{Scene, Truth};
    use crate::measure::{KEPT_STARS, Scratch, measure, stars::MOST_SHAPES};

    /// Room for one star in the test below, px.
    const CELL_PX: f64 = 20.0;

    /// A square of stars that do not touch. `NIGHTLOUPE_CROWD=60000` draws that many and prints the time.
    #[test]
    fn of_more_stars_than_can_be_shaped_a_fair_sample_speaks() {
        let asked = std::env::var("NIGHTLOUPE_CROWD").ok();
        let asked: Option<usize> = asked.and_then(|v| v.parse().ok());
        let side = asked.unwrap_or(3600).isqrt();
        let size = CELL_PX as usize * side;
        let mut scene = Scene::sky(size, size, 400.0);
        let mut random = ChaCha8Rng::seed_from_u64(12);
        for i in 0..side * side {
            let mut place = |k: usize| CELL_PX * (k as f64 + random.random_range(0.25..0.75));
            scene.draw(Truth {
                x: place(i % side),
                y: place(i / side),
                flux: 6000.0 + (i * 7919 % 30_000) as f64,
                sigma: 1.1,
                length: 0.0,
                angle_deg: 0.0,
            });
        }
        let frame = scene.expose(3.0, GreenLayout::Every, 12);
        let mut scratch = Scratch::default();
        let started = Instant::now();
        let got = measure(&frame, &mut scratch);
        if asked.is_some() {
            println!("{} stars: {:?}", side * side, started.elapsed());
        }
        let count = got.star_count as usize;
        assert!(count.abs_diff(side * side) * 200 <= side * side, "{count}");
        let said = format!("a fair sample of {MOST_SHAPES}");
        assert!(
            got.remarks.iter().any(|r| r.contains(&said)),
            "{:?}",
            got.remarks
        );
        assert!(got.stars_used as usize <= MOST_SHAPES);
        // The pixel's own width is in it.
        let fwhm = 2.354_82 * (1.1_f64.powi(2) + 1.0 / 12.0).sqrt();
        assert!(
            (got.fwhm_px.unwrap() / fwhm - 1.0).abs() < 0.01,
            "{:?}",
            got.fwhm_px
        );
        assert!(got.trail.unwrap().length_px < 0.2);
        // Every part of the frame is heard.
        assert_eq!(got.stars.len(), KEPT_STARS);
        let size = size as f32;
        for (right, low) in [(false, false), (false, true), (true, false), (true, true)] {
            let part = got.stars.iter().filter(|star| {
                (star.x_px > 0.5 * size) == right && (star.y_px > 0.5 * size) == low
            });
            // Two whole turns of the cells at least.
            assert!(part.count() >= CELLS * CELLS / 2);
        }
    }

    #[test]
    fn a_crowded_corner_does_not_take_all() {
        let crowd = (0..100).map(|i| (1.0, 1.0, 1000.0 + f64::from(i)));
        let lonely = (0..11).map(|i| (60.0 + 100.0 * f64::from(i), 1100.0, 1.0));
        let picked = pick(crowd.chain(lonely), (1200, 1200), 20);
        assert_eq!(picked.len(), 20);
        assert_eq!(picked[0], 99);
        assert_eq!(picked.iter().filter(|&&i| i >= 100).count(), 11);
    }
}
