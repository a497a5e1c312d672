//! How fast it goes, and how often it may be told.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// Speed is measured over the last so many seconds.
const WINDOW: Duration = Duration::from_secs(5);
/// No guess at the time left before this.
const FIRST_GUESS: Duration = Duration::from_secs(3);

/// Frames a second over the last few seconds.
#[derive(Debug)]
pub(super) struct Speed {
    started: Instant,
    marks: VecDeque<(Instant, usize)>,
}

impl Speed {
    pub(super) fn new(now: Instant) -> Self {
        Self {
            started: now,
            marks: VecDeque::from([(now, 0)]),
        }
    }

    /// So many frames are done since the start.
    pub(super) fn note(&mut self, now: Instant, done: usize) {
        self.marks.push_back((now, done));
        // One mark from before the window stays, to measure from.
        while self
            .marks
            .get(1)
            .is_some_and(|(at, _)| now.duration_since(*at) > WINDOW)
        {
            self.marks.pop_front();
        }
    }

    /// `None` until half a second and two frames tell it.
    pub(super) fn per_second(&self) -> Option<f64> {
        let (from, before) = self.marks.front()?;
        let (to, after) = self.marks.back()?;
        let (span, frames) = (to.duration_since(*from), after.saturating_sub(*before));
        (span >= Duration::from_millis(500) && frames >= 2)
            .then(|| frames as f64 / span.as_secs_f64())
    }

    /// Seconds left for `frames` more, once it can be told.
    pub(super) fn left_s(&self, now: Instant, frames: usize) -> Option<f64> {
        let known = now.duration_since(self.started) >= FIRST_GUESS;
        Some(frames as f64 / self.per_second().filter(|_| known)?)
    }
}

/// Spaces out repeated work so that it is done at most every `least`, and takes at most a tenth of
/// the time however long it takes.
#[derive(Debug)]
pub(super) struct Spacing {
    least: Duration,
    next: Option<Instant>,
}

impl Spacing {
    pub(super) const fn new(least: Duration) -> Self {
        Self { least, next: None }
    }

    /// When it may be done next; now or earlier when it never was.
    pub(super) fn next(&self, now: Instant) -> Instant {
        self.next.unwrap_or(now)
    }

    pub(super) fn is_due(&self, now: Instant) -> bool {
        self.next(now) <= now
    }

    /// It was done from `begun` to `ended`.
    pub(super) fn done(&mut self, begun: Instant, ended: Instant) {
        let pause = ended.duration_since(begun) * 9;
        self.next = Some((begun + self.least).max(ended + pause));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn ms(n: u64) -> Duration {
        Duration::from_millis(n)
    }

    #[test]
    fn speed_follows_the_last_seconds() {
        let start = Instant::now();
        let mut speed = Speed::new(start);
        assert_eq!(speed.per_second(), None);
        // Ten frames a second for ten seconds, then two a second for ten.
        let mut done = 0;
        for step in 1..=100 {
            done += 1;
            speed.note(start + ms(100 * step), done);
        }
        assert!((speed.per_second().unwrap() - 10.0).abs() < 0.2);
        for step in 1..=20 {
            done += 1;
            speed.note(start + ms(10_000 + 500 * step), done);
        }
        let now = start + ms(20_000);
        assert!((speed.per_second().unwrap() - 2.0).abs() < 0.1);
        assert!((speed.left_s(now, 30).unwrap() - 15.0).abs() < 1.0);
    }

    #[test]
    fn no_guess_in_the_first_seconds() {
        let start = Instant::now();
        let mut speed = Speed::new(start);
        speed.note(start + ms(400), 5);
        assert_eq!(speed.per_second(), None);
        speed.note(start + ms(1000), 10);
        assert_eq!(speed.per_second(), Some(10.0));
        assert_eq!(speed.left_s(start + ms(1000), 5), None);
        assert_eq!(speed.left_s(start + ms(3000), 5), Some(0.5));
    }

    #[test]
    fn slow_work_backs_off() {
        let start = Instant::now();
        let mut spacing = Spacing::new(ms(200));
        assert!(spacing.is_due(start));
        spacing.done(start, start + ms(2));
        assert_eq!(spacing.next(start), start + ms(200));
        spacing.done(start, start + ms(100));
        assert_eq!(spacing.next(start), start + ms(1000));
        assert!(!spacing.is_due(start + ms(999)));
        assert!(spacing.is_due(start + ms(1000)));
    }
}
