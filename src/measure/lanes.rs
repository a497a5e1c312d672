//! The loops that touch every sample, compiled for several instruction sets and chosen when the
//! program runs.
//!
//! Each works sample by sample, or sums in [`LANES`] fixed lanes, and nothing here is contracted to
//! fused multiply–adds: so every instruction set gives the same bits.

use multiversion::multiversion;

/// Taps on either side of the kernel's middle.
pub(super) const RADIUS: usize = 3;

/// Taps of the kernel.
pub(super) const TAPS: usize = 2 * RADIUS + 1;

/// The kernel's distinct taps, from its middle outwards.
pub(super) type HalfKernel = [f32; RADIUS + 1];

/// Running sums kept side by side.
const LANES: usize = 16;

/// Samples of a row that are looked at together for something bright.
pub(super) const BLOCK: usize = 32;

/// `out` = `values` above the sky `level` + `part` · `rise`; what is no number becomes 0.
#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn subtract_sky(
    values: &[f32],
    level: &[f32],
    rise: &[f32],
    part: f32,
    out: &mut [f32],
) {
    let sky = level.iter().zip(rise);
    for ((&value, (level, rise)), out) in values.iter().zip(sky).zip(out) {
        let above = value - (level + part * rise);
        *out = if above.abs() <= f32::MAX { above } else { 0.0 };
    }
}

/// `out` = `padded` through the kernel along the row; `padded` is longer by [`RADIUS`] on each side.
#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn across(padded: &[f32], kernel: HalfKernel, out: &mut [f32]) {
    let [k0, k1, k2, k3] = kernel;
    for ([a, b, c, d, e, f, g], out) in padded.array_windows().zip(out) {
        *out = k0 * d + k1 * (c + e) + k2 * (b + f) + k3 * (a + g);
    }
}

/// `out` = the kernel across [`TAPS`] rows, top row first.
#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn down(rows: [&[f32]; TAPS], kernel: HalfKernel, out: &mut [f32]) {
    let [k0, k1, k2, k3] = kernel;
    let [a, b, c, d, e, f, g] = rows;
    let outer = a.iter().zip(g).zip(b.iter().zip(f));
    let inner = c.iter().zip(e).zip(d);
    for ((((a, g), (b, f)), ((c, e), d)), out) in outer.zip(inner).zip(out) {
        *out = k0 * d + k1 * (c + e) + k2 * (b + f) + k3 * (a + g);
    }
}

/// For each [`BLOCK`] of a row, whether any of it is above `times` its own level.
#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn blocks_above(row: &[f32], levels: &[f32], times: f32, out: &mut Vec<bool>) {
    out.clear();
    let (blocks, rest) = row.as_chunks::<BLOCK>();
    let (block_levels, rest_levels) = levels.as_chunks::<BLOCK>();
    for (block, levels) in blocks.iter().zip(block_levels) {
        let mut any = [0_u32; LANES];
        let halves = block.as_chunks::<LANES>().0.iter();
        for (values, levels) in halves.zip(levels.as_chunks::<LANES>().0) {
            for ((any, value), level) in any.iter_mut().zip(values).zip(levels) {
                *any |= u32::from(*value > times * level);
            }
        }
        out.push(any.iter().fold(0, |all, any| all | any) != 0);
    }
    if !rest.is_empty() {
        let mut last = rest.iter().zip(rest_levels);
        out.push(last.any(|(value, level)| *value > times * level));
    }
}

/// How many of `values` are at or above `clip`, and how many are no numbers, where `counts` is 1;
/// where it is 0, nothing is counted.
#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn count_clipped(values: &[f32], counts: &[u32], clip: f32) -> (u32, u32) {
    let (mut clipped, mut lost) = (0, 0);
    for (&value, &one) in values.iter().zip(counts) {
        clipped += if value >= clip { one } else { 0 };
        lost += if value.abs() <= f32::MAX { 0 } else { one };
    }
    (clipped, lost)
}

/// Sums over some values, as distances d from a centre.
pub(super) struct Sums {
    /// Of 1.
    pub(super) count: f32,
    /// Of d.
    pub(super) first: f32,
    /// Of d².
    pub(super) second: f32,
}

/// Sums over the values with |d| ≤ `reach`, d their distance from `centre`.
#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn sums_within(values: &[f32], centre: f32, reach: f32) -> Sums {
    let mut count = [0.0_f32; LANES];
    let mut first = [0.0_f32; LANES];
    let mut second = [0.0_f32; LANES];
    let mut add = |chunk: &[f32; LANES]| {
        let sums = count.iter_mut().zip(&mut first).zip(&mut second);
        for (((count, first), second), &value) in sums.zip(chunk) {
            let d = value - centre;
            let inside = d.abs() <= reach;
            let d = if inside { d } else { 0.0 };
            *count += if inside { 1.0 } else { 0.0 };
            *first += d;
            *second += d * d;
        }
    };
    let (chunks, rest) = values.as_chunks();
    chunks.iter().for_each(&mut add);
    // The rest is padded with what no reach takes in.
    let mut last = [f32::NAN; LANES];
    for (slot, &value) in last.iter_mut().zip(rest) {
        *slot = value;
    }
    add(&last);
    Sums {
        count: count.iter().sum(),
        first: first.iter().sum(),
        second: second.iter().sum(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kernel_across_and_down_agree_with_plain_sums() {
        let kernel = [0.4, 0.2, 0.08, 0.02];
        let taps = [0.02, 0.08, 0.2, 0.4, 0.2, 0.08, 0.02];
        let padded: Vec<f32> = (0..106).map(|i| ((i * 37) % 101) as f32).collect();
        let mut along = vec![0.0; 100];
        across(&padded, kernel, &mut along);
        let rows: Vec<Vec<f32>> = (0..TAPS).map(|k| padded[k..k + 100].to_vec()).collect();
        let mut below = vec![0.0; 100];
        let rows: [&[f32]; TAPS] = std::array::from_fn(|k| rows[k].as_slice());
        down(rows, kernel, &mut below);
        for i in 0..100 {
            let want: f32 = taps.iter().zip(&padded[i..]).map(|(t, v)| t * v).sum();
            assert!((along[i] - want).abs() < 1e-4, "{i}");
            assert_eq!(along[i], below[i]);
        }
    }

    #[test]
    fn blocks_counts_and_sums_see_every_sample() {
        let mut values = vec![0.5_f32; 100];
        (values[40], values[99], values[7]) = (2.0, f32::NAN, f32::INFINITY);
        let mut blocks = vec![true];
        blocks_above(&values, &[0.5; 100], 3.0, &mut blocks);
        assert_eq!(blocks, [true, true, false, false]);
        assert_eq!(count_clipped(&values, &[1; 100], 0.9), (2, 2));
        assert_eq!(count_clipped(&values, &[0; 100], 0.9), (0, 0));
        let sums = sums_within(&values, 0.25, 1.75);
        assert_eq!((sums.count, sums.first), (98.0, 97.0 * 0.25 + 1.75));
        assert_eq!(sums.second, 97.0 * 0.0625 + 3.0625);
    }

    #[test]
    fn the_sky_is_taken_off_and_gaps_become_nothing() {
        let mut out = [9.0; 3];
        subtract_sky(
            &[1.0, f32::NAN, 2.0],
            &[0.5; 3],
            &[0.5, 0.5, 1.0],
            0.5,
            &mut out,
        );
        assert_eq!(out, [0.25, 0.0, 1.0]);
    }
}
