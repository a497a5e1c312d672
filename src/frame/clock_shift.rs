//! How far a camera's clock is set wrong, as people write it.

/// Longest correction: a clock that was reset to 1970.
const MOST_S: f64 = 100.0 * 366.0 * 86_400.0;

/// What to add to a clock's times, s: "37", "-1.5" seconds, or "1:00:00", "-0:37" with colons between
/// hours, minutes and seconds; `None` when it is none of these or longer than a century.
#[must_use]
pub fn parse_clock_shift(text: &str) -> Option<f64> {
    let text = text.trim().replace('−', "-").replace(',', ".");
    let (sign, rest) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(&text)),
    };
    let parts: Vec<&str> = rest.split(':').collect();
    if parts.len() > 3 || !rest.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let mut seconds = 0.0;
    for (place, part) in parts.iter().enumerate() {
        let value: f64 = part.parse().ok()?;
        let is_sane = value >= 0.0 && (place == 0 || value < 60.0);
        if !is_sane {
            return None;
        }
        seconds = 60.0 * seconds + value;
    }
    (seconds <= MOST_S).then_some(sign * seconds)
}

/// "+0:00:37", "−1:00:00", "+0:00:01.5": hours, minutes, seconds.
#[must_use]
pub fn clock_shift_words(seconds: f64) -> String {
    let sign = if seconds < 0.0 { '−' } else { '+' };
    let thousandths = (seconds.abs() * 1000.0).round();
    let whole = (thousandths / 1000.0).floor();
    let (hours, rest) = ((whole / 3600.0).floor(), whole % 3600.0);
    let part = format!("{:03}", thousandths - 1000.0 * whole);
    let part = part.trim_end_matches('0');
    let dot = if part.is_empty() { "" } else { "." };
    let (minutes, rest) = ((rest / 60.0).floor(), rest % 60.0);
    format!("{sign}{hours}:{minutes:02}:{rest:02}{dot}{part}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corrections_in_the_ways_people_write_them() {
        for (text, seconds) in [
            ("37", 37.0),
            ("+37", 37.0),
            ("-1.5", -1.5),
            ("−1,5", -1.5),
            ("1:00:00", 3600.0),
            ("-0:37", -37.0),
            ("+0:00:01.5", 1.5),
            ("0", 0.0),
        ] {
            assert_eq!(parse_clock_shift(text), Some(seconds), "{text}");
        }
        for text in [
            "", "noon", "1:60", "1:2:3:4", "--1", "1:-2", "inf", "1e99", ":30", "nan",
        ] {
            assert_eq!(parse_clock_shift(text), None, "{text}");
        }
    }

    #[test]
    fn words_are_read_back() {
        for seconds in [37.0, -3600.0, 1.5, -0.25, 90_061.0, 0.0] {
            let words = clock_shift_words(seconds);
            assert_eq!(parse_clock_shift(&words), Some(seconds), "{words}");
        }
        assert_eq!(clock_shift_words(-3723.0), "−1:02:03");
        assert_eq!(clock_shift_words(0.9999), "+0:00:01");
    }
}
