//! Runs of frames.

use std::ops::Range;

/// The runs of `true`, joined over at most `bridge` frames of `false`.
pub(super) fn runs(flags: &[bool], bridge: usize) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (at, _) in flags.iter().enumerate().filter(|(_, flag)| **flag) {
        match runs.last_mut() {
            Some(run) if at - run.end <= bridge => run.end = at + 1,
            _ => runs.push(at..at + 1),
        }
    }
    runs
}

/// A run with the frames on both sides that `also`, at most `most` on each.
pub(super) fn widened(
    run: &Range<usize>,
    count: usize,
    most: usize,
    also: impl Fn(usize) -> bool,
) -> Range<usize> {
    let before = (0..run.start).rev().take(most).take_while(|&at| also(at));
    let after = (run.end..count).take(most).take_while(|&at| also(at));
    run.start - before.count()..run.end + after.count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_join_over_short_breaks() {
        let flags = [true, false, true, false, false, true];
        assert_eq!(runs(&flags, 1), [0..3, 5..6]);
        assert_eq!(runs(&flags, 2).first(), Some(&(0..6)));
        assert!(runs(&[false; 3], 1).is_empty());
        assert_eq!(widened(&(2..3), 6, 2, |at| at != 4), 0..4);
    }
}
