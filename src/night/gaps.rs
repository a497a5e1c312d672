//! Interval, pauses and missing frames, from the whole series.

use super::clock::has_whole_seconds;
use super::types::Night;
use crate::base::robust;

/// A start this many intervals after the one before means frames are missing.
const MISSING_FROM: f64 = 1.5;
/// After so long it is another night, in which nothing is missing of the one before, s.
pub(super) const ANOTHER_NIGHT_S: f64 = 6.0 * 3600.0;
/// The series is regular when at least half its steps lie this near the median, as a share…
const REGULAR_SHARE: f64 = 0.15;
/// …or in seconds, for clocks of whole seconds.
const REGULAR_S: f64 = 1.25;

/// How the starts of one group follow each other.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cadence {
    /// Usual time from start to start, s.
    interval_s: f64,
    /// Whether the shutter was timed, so that a long step means missing frames.
    regular: bool,
}

/// Fills intervals and pauses of the sets, and pauses and missing frames of the rows.
pub(super) fn fill(night: &mut Night) {
    let mut steps: Vec<Vec<f64>> = vec![Vec::new(); night.groups.len()];
    let mut coarse = vec![false; night.groups.len()];
    for set in &night.sets {
        for pair in set.frames.windows(2) {
            let (before, row) = (&night.rows[pair[0]], &night.rows[pair[1]]);
            if let (Some(a), Some(b), Some(group)) = (before.time_s, row.time_s, row.group)
                && before.group == row.group
            {
                steps[group].push(b - a);
                coarse[group] |= has_whole_seconds(row);
            }
        }
    }
    let cadences: Vec<Option<Cadence>> = steps
        .iter()
        .zip(coarse)
        .map(|(steps, coarse)| cadence(steps, coarse))
        .collect();

    for set in 0..night.sets.len() {
        let main = night.sets[set].main_group;
        let usual = main.and_then(|group| cadences[group]);
        let exposure = main.and_then(|group| night.groups[group].settings.exposure_s);
        night.sets[set].interval_s = usual.map(|cadence| cadence.interval_s);
        night.sets[set].pause_s = match (usual, exposure) {
            (Some(usual), Some(exposure)) => Some((usual.interval_s - exposure).max(0.0)),
            _ => None,
        };
        fill_rows(night, set, &cadences);
    }
}

fn fill_rows(night: &mut Night, set: usize, cadences: &[Option<Cadence>]) {
    let main = night.sets[set].main_group;
    let mut before: Option<usize> = None;
    // Frames without a time since `before`: they are there, so they are not missing.
    let mut untimed = 0u32;
    for row in night.sets[set].frames.clone() {
        let Some(time) = night.rows[row].time_s else {
            untimed += 1;
            continue;
        };
        if let Some(before) = before {
            let last = &night.rows[before];
            let step = time - last.time_s.unwrap_or(time);
            let exposure = last.facts.exposure_s;
            // An unreadable frame has no group, but its time is part of the run.
            let (a, b) = (last.group.or(main), night.rows[row].group.or(main));
            let cadence = b.filter(|_| a == b).and_then(|group| cadences[group]);
            let derived = &mut night.rows[row].derived;
            derived.pause_before_s = exposure.map(|exposure| (step - exposure).max(0.0));
            derived.missing_before =
                cadence.map_or(0, |cadence| missing(step, &cadence).saturating_sub(untimed));
        }
        before = Some(row);
        untimed = 0;
    }
}

fn missing(step: f64, cadence: &Cadence) -> u32 {
    let is_even = cadence.regular && step > MISSING_FROM * cadence.interval_s;
    if !is_even || step > ANOTHER_NIGHT_S {
        return 0;
    }
    ((step / cadence.interval_s).round() - 1.0).clamp(0.0, f64::from(u32::MAX)) as u32
}

/// The usual step. A clock of whole seconds makes single steps off by up to one, so there the mean
/// of the steps near the median stands for it: their errors cancel along the series.
fn cadence(steps: &[f64], whole_seconds: bool) -> Option<Cadence> {
    let middle = robust::median(&mut steps.to_vec()).filter(|&middle| middle > 0.0)?;
    let tolerance = (REGULAR_SHARE * middle).max(if whole_seconds { REGULAR_S } else { 0.0 });
    let near: Vec<f64> = steps
        .iter()
        .copied()
        .filter(|step| (step - middle).abs() <= tolerance)
        .collect();
    let interval_s = if whole_seconds && !near.is_empty() {
        near.iter().sum::<f64>() / near.len() as f64
    } else {
        middle
    };
    Some(Cadence {
        interval_s,
        // Two steps cannot say whether a series is even.
        regular: steps.len() >= 3 && 2 * near.len() >= steps.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_seconds_average_out() {
        let steps = [32.0, 33.0, 32.0, 32.0, 33.0, 32.0, 33.0, 32.0, 65.0, 32.0];
        let got = cadence(&steps, true).unwrap();
        assert!((got.interval_s - 32.333).abs() < 0.001);
        assert!(got.regular);
        assert_eq!(missing(65.0, &got), 1);
        assert_eq!(missing(48.0, &got), 0);
        assert_eq!(missing(323.0, &got), 9);
    }

    #[test]
    fn a_hand_on_the_button_leaves_no_missing_frames() {
        let got = cadence(&[30.0, 95.0, 41.0, 200.0, 33.0, 500.0], false).unwrap();
        assert!(!got.regular);
        assert_eq!(missing(500.0, &got), 0);
    }

    #[test]
    fn no_steps_no_cadence() {
        assert_eq!(cadence(&[], false), None);
        assert_eq!(cadence(&[0.0, 0.0], true), None);
    }
}
