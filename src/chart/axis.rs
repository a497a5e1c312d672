//! Scales: values to heights, times to places across, and round numbers for both.

pub use crate::verdict::words::number;

/// From a low to a high value.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Span {
    /// The low end.
    pub low: f64,
    /// The high end; above `low`.
    pub high: f64,
}

impl Span {
    /// The span of `values`, widened by `share` of itself on both sides, and by a little more
    /// when all are equal. `None` when there are no values.
    #[must_use]
    pub fn around(values: impl Iterator<Item = f64>, share: f64) -> Option<Self> {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.filter(|v| v.is_finite()) {
            low = low.min(value);
            high = high.max(value);
        }
        if low > high {
            return None;
        }
        let least = (high.abs() * 0.05).max(1e-6);
        let pad = ((high - low) * share)
            .max((least - (high - low)) / 2.0)
            .max(0.0);
        Some(Self {
            low: low - pad,
            high: high + pad,
        })
    }

    /// Where `value` lies, 0 at the low end, 1 at the high end, never outside.
    #[must_use]
    pub fn share(self, value: f64) -> f64 {
        let length = self.high - self.low;
        if length > 0.0 {
            ((value - self.low) / length).clamp(0.0, 1.0)
        } else {
            0.5
        }
    }
}

/// Round values to write beside an axis.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ticks {
    /// The values, low to high.
    pub values: Vec<f64>,
    /// Digits after the point that tell them apart.
    pub decimals: usize,
}

impl Ticks {
    /// At most `most` multiples of 1, 2 or 5 times a power of ten inside `span`.
    #[must_use]
    pub fn within(span: Span, most: usize) -> Self {
        let length = span.high - span.low;
        if !(length.is_finite() && length > 0.0) || most == 0 {
            return Self::default();
        }
        let mut power = (length / most as f64).log10().floor() as i32;
        loop {
            for factor in [1.0, 2.0, 5.0] {
                let step = factor * 10_f64.powi(power);
                // A hair of room: 0.3 must count as a multiple of 0.1.
                let first = (span.low / step - 1e-9).ceil();
                let last = (span.high / step + 1e-9).floor();
                if last - first + 1.0 <= most as f64 {
                    let values = (0..=(last - first).max(-1.0) as i64)
                        .take(if last < first { 0 } else { most })
                        .map(|i| (first + i as f64) * step)
                        .collect();
                    return Self {
                        values,
                        decimals: usize::try_from(-power).unwrap_or(0),
                    };
                }
            }
            power += 1;
        }
    }

    /// A tick's number, with a true minus.
    #[must_use]
    pub fn text(&self, value: f64) -> String {
        number(value, self.decimals)
    }
}

/// Time across the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeAxis {
    /// Shown from, s.
    pub from_s: f64,
    /// Shown to, s; after `from_s`.
    pub to_s: f64,
    /// Where `from_s` lies.
    pub left: f64,
    /// Where `to_s` lies.
    pub right: f64,
}

impl TimeAxis {
    /// Where a time lies.
    #[must_use]
    pub fn x(self, time_s: f64) -> f64 {
        self.left + (time_s - self.from_s) * self.per_second()
    }

    /// The time at a place.
    #[must_use]
    pub fn time(self, x: f64) -> f64 {
        let per_second = self.per_second();
        if per_second > 0.0 {
            self.from_s + (x - self.left) / per_second
        } else {
            self.from_s
        }
    }

    /// Pixels a second.
    #[must_use]
    pub fn per_second(self) -> f64 {
        let length = self.to_s - self.from_s;
        if length > 0.0 {
            (self.right - self.left) / length
        } else {
            0.0
        }
    }

    /// What is shown after zooming by `factor` (below 1: closer) about `x`, which keeps its time.
    #[must_use]
    pub fn zoomed(self, factor: f64, x: f64) -> (f64, f64) {
        let about = self.time(x);
        (
            about - (about - self.from_s) * factor,
            about + (self.to_s - about) * factor,
        )
    }

    /// What is shown after moving the view by `dx` pixels to the right.
    #[must_use]
    pub fn panned(self, dx: f64) -> (f64, f64) {
        let by = self.time(self.left + dx) - self.from_s;
        (self.from_s + by, self.to_s + by)
    }
}

/// The index of the time nearest to `time_s` in `times`, which rise. `None` when there are none.
#[must_use]
pub fn nearest(times: &[f64], time_s: f64) -> Option<usize> {
    let after = times.partition_point(|&t| t < time_s);
    let candidates = [after.checked_sub(1), (after < times.len()).then_some(after)];
    (candidates.into_iter().flatten()).min_by(|&a, &b| {
        let far = |i: usize| times.get(i).map_or(f64::INFINITY, |t| (t - time_s).abs());
        far(a).total_cmp(&far(b))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        let ticks = Ticks::within(
            Span {
                low: 8.0,
                high: 22.0,
            },
            3,
        );
        assert_eq!(ticks.values, [10.0, 15.0, 20.0]);
        let ticks = Ticks::within(
            Span {
                low: 0.0,
                high: 12.0,
            },
            4,
        );
        assert_eq!(ticks.values, [0.0, 5.0, 10.0]);
        let ticks = Ticks::within(
            Span {
                low: 0.0,
                high: 0.31,
            },
            4,
        );
        assert_eq!(ticks.decimals, 1);
        assert_eq!(ticks.values.len(), 4);
        assert_eq!(ticks.text(0.1), "0.1");
    }

    #[test]
    fn ticks_of_nothing() {
        assert!(
            Ticks::within(
                Span {
                    low: 1.0,
                    high: 1.0
                },
                3
            )
            .values
            .is_empty()
        );
        let none = Ticks::within(
            Span {
                low: 0.11,
                high: 0.12,
            },
            1,
        );
        assert!(none.values.len() <= 1);
    }

    #[test]
    fn zoom_keeps_the_time_under_the_pointer() {
        let axis = TimeAxis {
            from_s: 0.0,
            to_s: 100.0,
            left: 10.0,
            right: 210.0,
        };
        assert!((axis.x(50.0) - 110.0).abs() < 1e-9);
        let (from_s, to_s) = axis.zoomed(0.5, 60.0);
        let closer = TimeAxis {
            from_s,
            to_s,
            ..axis
        };
        assert!((closer.time(60.0) - axis.time(60.0)).abs() < 1e-9);
        assert!((to_s - from_s - 50.0).abs() < 1e-9);
        assert_eq!(axis.panned(20.0), (10.0, 110.0));
    }

    #[test]
    fn equal_values_get_some_room() {
        let span = Span::around([10.0, 10.0].into_iter(), 0.05).unwrap();
        assert!(span.low < 10.0 && span.high > 10.0);
        assert!((span.share(10.0) - 0.5).abs() < 1e-9);
        assert_eq!(Span::around(std::iter::empty(), 0.05), None);
    }

    #[test]
    fn nearest_time() {
        let times = [0.0, 10.0, 20.0];
        assert_eq!(nearest(&times, -5.0), Some(0));
        assert_eq!(nearest(&times, 14.0), Some(1));
        assert_eq!(nearest(&times, 99.0), Some(2));
        assert_eq!(nearest(&[], 1.0), None);
    }
}
