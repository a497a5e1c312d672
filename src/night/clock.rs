//! Times finer than a whole-second clock, from the regularity of the series.
//!
//! An intervalometer fires evenly; a clock that keeps whole seconds reads 32, 32, 33, 32 … for an
//! interval of 32.4 s. Along a run of even steps a straight line through the readings is nearer
//! the truth than each reading. Nothing is moved by more than half a second, and nothing at all
//! where the steps are uneven.

use super::types::{Night, Row};
use crate::base::robust;

/// Steps this near the usual one belong to a regular run: two roundings of half a second each,
/// and the camera's own jitter.
const STEP_TOLERANCE_S: f64 = 1.25;
/// Readings of a regular run lie this near their line: half a second of rounding and jitter.
const LINE_TOLERANCE_S: f64 = 0.75;
/// A run of fewer frames says too little about its line.
const LEAST_RUN: usize = 5;

/// Smooths the times of frames whose clock has whole seconds, set by set.
pub(super) fn smooth(night: &mut Night) {
    for set in &night.sets {
        let coarse: Vec<usize> = set
            .rows
            .iter()
            .copied()
            .filter(|&row| has_whole_seconds(&night.rows[row]))
            .collect();
        let times: Vec<f64> = coarse
            .iter()
            .filter_map(|&row| night.rows[row].time_s)
            .collect();
        for (row, time) in coarse.into_iter().zip(smoothed(&times)) {
            night.rows[row].time_s = Some(time);
        }
    }
    start_at_zero(night);
}

/// Whether this row has a time, and only to the second.
pub(super) fn has_whole_seconds(row: &Row) -> bool {
    row.facts
        .taken_at
        .is_some_and(|taken| !taken.has_subseconds)
}

/// `times` in order of capture, each run of even steps put on its line.
fn smoothed(times: &[f64]) -> Vec<f64> {
    let mut out = times.to_vec();
    let mut steps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let Some(usual) = robust::median(&mut steps) else {
        return out;
    };
    let mut first = 0;
    for end in 1..=times.len() {
        let goes_on =
            end < times.len() && (times[end] - times[end - 1] - usual).abs() <= STEP_TOLERANCE_S;
        if !goes_on {
            put_on_line(&mut out[first..end]);
            first = end;
        }
    }
    out
}

/// Replaces evenly spaced readings by their least-squares line, moved by half a second at most;
/// leaves them when they are too few or do not lie on a line.
fn put_on_line(times: &mut [f64]) {
    if times.len() < LEAST_RUN {
        return;
    }
    let n = times.len() as f64;
    let middle = (n - 1.0) / 2.0;
    let mean = times.iter().sum::<f64>() / n;
    let place = |k: usize| k as f64 - middle;
    let across: f64 = times
        .iter()
        .enumerate()
        .map(|(k, t)| place(k) * (t - mean))
        .sum();
    let slope = across / (n * (n * n - 1.0) / 12.0);
    let line = |k: usize| mean + slope * place(k);
    let even = times
        .iter()
        .enumerate()
        .all(|(k, time)| (time - line(k)).abs() <= LINE_TOLERANCE_S);
    if even {
        for (k, time) in times.iter_mut().enumerate() {
            *time = line(k).clamp(*time - 0.5, *time + 0.5);
        }
    }
}

/// Moves the night's zero back onto its first frame.
fn start_at_zero(night: &mut Night) {
    let Some(first) = night
        .rows
        .iter()
        .filter_map(|row| row.time_s)
        .min_by(f64::total_cmp)
    else {
        return;
    };
    night.start_clock_s = night.start_clock_s.map(|clock| clock + first);
    for row in &mut night.rows {
        row.time_s = row.time_s.map(|time| time - first);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interval_of_32_4_s_is_seen_through_whole_seconds() {
        let truth: Vec<f64> = (0..40).map(|k| 0.3 + 32.4 * f64::from(k)).collect();
        let clock: Vec<f64> = truth.iter().map(|t| t.floor()).collect();
        let got = smoothed(&clock);
        for k in 1..40 {
            assert!((got[k] - got[k - 1] - 32.4).abs() < 0.06, "{k}");
            assert!((got[k] - clock[k]).abs() <= 0.5);
        }
    }

    #[test]
    fn a_pause_parts_two_runs() {
        let clock: Vec<f64> = (0..20)
            .map(|k| (32.5 * f64::from(k) + if k < 10 { 0.0 } else { 100.2 }).floor())
            .collect();
        let got = smoothed(&clock);
        assert!((got[10] - got[9] - 132.7).abs() < 1.0);
        assert!((got[15] - got[14] - 32.5).abs() < 0.1);
    }

    #[test]
    fn uneven_times_stay() {
        let clock = [0.0, 30.0, 75.0, 90.0, 180.0, 200.0, 290.0];
        assert_eq!(smoothed(&clock), clock);
        // A drift inside the tolerance of each step that is no straight line.
        let bent: Vec<f64> = (0..30)
            .map(|k| (30.0 * f64::from(k)) + f64::from(k * k) / 30.0)
            .collect();
        assert_eq!(smoothed(&bent), bent);
    }
}
