//! Clock readings and the ticks of the clock row.

use super::axis::TimeAxis;
use crate::night::{Night, Set};

const DAY_S: f64 = 86_400.0;

/// Steps between clock ticks, s.
const STEPS_S: &[f64] = &[
    1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10_800.0,
    21_600.0, 43_200.0, 86_400.0,
];

/// The reading "23:26:40" at `time_s` after a clock reading of `start_clock_s`.
#[must_use]
pub fn to_the_second(start_clock_s: f64, time_s: f64) -> String {
    let (h, m, s) = parts((start_clock_s + time_s).round());
    format!("{h:02}:{m:02}:{s:02}")
}

/// The reading "23:26" (the minute that has begun).
#[must_use]
pub fn to_the_minute(start_clock_s: f64, time_s: f64) -> String {
    let (h, m, _) = parts((start_clock_s + time_s).round());
    format!("{h:02}:{m:02}")
}

fn parts(clock_s: f64) -> (u32, u32, u32) {
    let seconds = clock_s.rem_euclid(DAY_S) as u32 % 86_400;
    (seconds / 3600, seconds / 60 % 60, seconds % 60)
}

/// Times of round clock readings at least `least_px` apart, with what to write there.
#[must_use]
pub fn ticks(start_clock_s: f64, axis: TimeAxis, least_px: f64) -> Vec<(f64, String)> {
    let per_second = axis.per_second();
    if per_second <= 0.0 {
        return Vec::new();
    }
    let Some(&step) = STEPS_S.iter().find(|&&step| step * per_second >= least_px) else {
        return Vec::new();
    };
    let first = ((start_clock_s + axis.from_s) / step).ceil() as i64;
    let last = ((start_clock_s + axis.to_s) / step).floor() as i64;
    (first..=last)
        .map(|i| {
            let time_s = i as f64 * step - start_clock_s;
            let text = if step < 60.0 {
                to_the_second(start_clock_s, time_s)
            } else {
                to_the_minute(start_clock_s, time_s)
            };
            (time_s, text)
        })
        .collect()
}

/// A time for each frame of `set`, rising, s. A frame without a time follows the one before by
/// the usual interval; without any times the frames stand one second apart.
#[must_use]
pub fn times(night: &Night, set: &Set) -> Vec<f64> {
    let interval = set.interval_s.filter(|s| *s > 0.0).unwrap_or(1.0);
    let mut last: Option<f64> = None;
    (set.frames.iter())
        .map(|&row| {
            let next = last.map_or(0.0, |last| last + interval);
            let time = (night.rows.get(row).and_then(|row| row.time_s)).unwrap_or(next);
            // Frames of one clock second must still rise, or the pointer could not tell them apart.
            let time = last.map_or(time, |last| time.max(last + interval * 0.01));
            last = Some(time);
            time
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn midnight_is_passed() {
        let start = 23.0 * 3600.0 + 59.0 * 60.0;
        assert_eq!(to_the_second(start, 59.6), "00:00:00");
        assert_eq!(to_the_minute(start, 0.0), "23:59");
        assert_eq!(to_the_minute(start, 120.0), "00:01");
    }

    #[test]
    fn ticks_fall_on_round_readings() {
        // 21:40 to 00:52 over 800 px, at least 80 px apart: half hours are 125 px apart.
        let start = 21.0 * 3600.0 + 2400.0;
        let axis = TimeAxis {
            from_s: 0.0,
            to_s: 11_520.0,
            left: 0.0,
            right: 800.0,
        };
        let ticks = ticks(start, axis, 80.0);
        let words: Vec<_> = ticks.iter().map(|(_, text)| text.as_str()).collect();
        assert_eq!(
            words,
            ["22:00", "22:30", "23:00", "23:30", "00:00", "00:30"]
        );
        assert!((ticks[0].0 - 1200.0).abs() < 1e-9);
    }

    #[test]
    fn frames_without_a_time_follow_by_the_interval() {
        let night = Night::default();
        let set = Set {
            frames: vec![0, 1, 2],
            interval_s: Some(32.0),
            ..Set::default()
        };
        assert_eq!(times(&night, &set), [0.0, 32.0, 64.0]);
    }
}
