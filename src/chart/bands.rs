//! What Sun and Moon do behind the sky lane: bands of twilight and of the Moon, with their words.

use super::clock;
use crate::night::{Night, TimeSpan};

/// What lights the sky in a band.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BandKind {
    /// The Sun is less than 18° down.
    Twilight,
    /// The Moon is up.
    Moon,
}

/// Where a band's words stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WordsAt {
    /// Before its beginning.
    Start,
    /// After its end.
    End,
    /// In it: it is there all the time.
    Inside,
}

/// A stretch of the clock axis with a lit sky.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// What lights it.
    pub kind: BandKind,
    /// From when, s as in `Row::time_s`.
    pub from_s: f64,
    /// To when.
    pub to_s: f64,
    /// "twilight ends 22:04".
    pub words: String,
    /// Where they stand.
    pub at: WordsAt,
}

/// The bands between `from_s` and `to_s`: twilight first, each in order of time.
#[must_use]
pub fn bands(night: &Night, from_s: f64, to_s: f64) -> Vec<Band> {
    let (Some(heavens), Some(start_clock_s)) = (&night.heavens, night.start_clock_s) else {
        return Vec::new();
    };
    let whole = TimeSpan { from_s, to_s };
    let [.., dark] = &heavens.sun_down;
    let lit = heavens.moon_lit;
    let clock = |time_s| clock::to_the_minute(start_clock_s, time_s);
    let band = |kind, span: TimeSpan| {
        let (begins, ends) = (span.from_s > from_s, span.to_s < to_s);
        let (words, at) = match (kind, begins, ends) {
            (BandKind::Twilight, _, true) => {
                (format!("twilight ends {}", clock(span.to_s)), WordsAt::End)
            }
            (BandKind::Twilight, true, false) => (
                format!("twilight from {}", clock(span.from_s)),
                WordsAt::Start,
            ),
            (BandKind::Twilight, false, false) => {
                ("twilight all the time".to_owned(), WordsAt::Inside)
            }
            (BandKind::Moon, true, _) => (
                format!("{} up from {}", moon(lit), clock(span.from_s)),
                WordsAt::Start,
            ),
            (BandKind::Moon, false, true) => (
                format!("{} sets {}", moon(lit), clock(span.to_s)),
                WordsAt::End,
            ),
            (BandKind::Moon, false, false) => {
                (format!("{} up all the time", moon(lit)), WordsAt::Inside)
            }
        };
        Band {
            kind,
            from_s: span.from_s,
            to_s: span.to_s,
            words,
            at,
        }
    };
    let twilight = without(whole, dark).into_iter();
    let moon_up = heavens.moon_up.iter().filter_map(|up| within(*up, whole));
    (twilight.map(|span| band(BandKind::Twilight, span)))
        .chain(moon_up.map(|span| band(BandKind::Moon, span)))
        .collect()
}

/// "Moon (45 % lit)".
fn moon(lit: f64) -> String {
    format!("Moon ({:.0} % lit)", 100.0 * lit)
}

/// The part of `span` inside `whole`.
fn within(span: TimeSpan, whole: TimeSpan) -> Option<TimeSpan> {
    let cut = TimeSpan {
        from_s: span.from_s.max(whole.from_s),
        to_s: span.to_s.min(whole.to_s),
    };
    (cut.to_s > cut.from_s).then_some(cut)
}

/// What `parts`, which are in order and apart, leave of `whole`.
fn without(whole: TimeSpan, parts: &[TimeSpan]) -> Vec<TimeSpan> {
    let mut left = Vec::new();
    let mut from_s = whole.from_s;
    for part in parts.iter().filter_map(|part| within(*part, whole)) {
        if part.from_s > from_s {
            left.push(TimeSpan {
                from_s,
                to_s: part.from_s,
            });
        }
        from_s = part.to_s;
    }
    if whole.to_s > from_s {
        left.push(TimeSpan {
            from_s,
            to_s: whole.to_s,
        });
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::night::Heavens;

    fn night(dark: &[(f64, f64)], moon_up: &[(f64, f64)]) -> Night {
        let spans = |all: &[(f64, f64)]| -> Vec<TimeSpan> {
            let span = |&(from_s, to_s): &(f64, f64)| TimeSpan { from_s, to_s };
            all.iter().map(span).collect()
        };
        Night {
            // 22:00 by the clock.
            start_clock_s: Some(79_200.0),
            heavens: Some(Heavens {
                start_utc_s: 0.0,
                sun_down: [Vec::new(), Vec::new(), Vec::new(), spans(dark)],
                moon_up: spans(moon_up),
                moon_lit: 0.452,
            }),
            ..Night::default()
        }
    }

    fn told(night: &Night) -> Vec<(String, WordsAt)> {
        let bands = bands(night, 0.0, 7200.0);
        assert!(bands.iter().all(|b| b.from_s >= 0.0 && b.to_s <= 7200.0));
        bands.into_iter().map(|b| (b.words, b.at)).collect()
    }

    #[test]
    fn bands_say_when_they_begin_or_end() {
        let evening = night(&[(600.0, 30_000.0)], &[(3600.0, 40_000.0)]);
        assert_eq!(
            told(&evening),
            [
                ("twilight ends 22:10".to_owned(), WordsAt::End),
                ("Moon (45 % lit) up from 23:00".to_owned(), WordsAt::Start),
            ]
        );
        let morning = night(&[(-30_000.0, 6600.0)], &[(-9000.0, 60.0)]);
        assert_eq!(
            told(&morning),
            [
                ("twilight from 23:50".to_owned(), WordsAt::Start),
                ("Moon (45 % lit) sets 22:01".to_owned(), WordsAt::End),
            ]
        );
        let white = night(&[], &[(-1.0, 8000.0)]);
        let all: Vec<WordsAt> = told(&white).into_iter().map(|(_, at)| at).collect();
        assert_eq!(all, [WordsAt::Inside; 2]);
        assert!(told(&night(&[(-1.0, 9000.0)], &[])).is_empty());
        assert!(bands(&Night::default(), 0.0, 1.0).is_empty());
    }

    #[test]
    fn a_short_night_has_two_twilights() {
        let june = night(&[(2000.0, 5000.0)], &[]);
        let bands = bands(&june, 0.0, 7200.0);
        let spans: Vec<(f64, f64)> = bands.iter().map(|b| (b.from_s, b.to_s)).collect();
        assert_eq!(spans, [(0.0, 2000.0), (5000.0, 7200.0)]);
    }
}
