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
    use super::*;

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
