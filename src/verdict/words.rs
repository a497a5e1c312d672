//! Numbers and frame ranges as they are written: true minus, en dash, a space before the unit.

/// Frame numbers as ranges: "1–4, 93 and 312–360". `numbers` are in rising order.
#[must_use]
pub fn frame_ranges(numbers: &[usize]) -> String {
    join(&ranges(numbers), usize::MAX)
}

/// The same, told by the first few ranges: "1, 4, 9 and 12 more".
#[must_use]
pub fn frame_ranges_in_short(numbers: &[usize], most: usize) -> String {
    join(&ranges(numbers), most)
}

fn ranges(numbers: &[usize]) -> Vec<(String, usize)> {
    numbers
        .chunk_by(|a, b| a + 1 == *b)
        .filter_map(|run| {
            let (first, last) = (run.first()?, run.last()?);
            let words = match run.len() {
                1 => first.to_string(),
                _ => format!("{first}–{last}"),
            };
            Some((words, run.len()))
        })
        .collect()
}

fn join(ranges: &[(String, usize)], most: usize) -> String {
    // "and 1 more" would be no shorter than the range itself.
    let shown = if ranges.len() > most.saturating_add(1) {
        most
    } else {
        ranges.len()
    };
    let (told, left) = ranges.split_at(shown);
    let mut words: Vec<String> = told.iter().map(|(words, _)| words.clone()).collect();
    let more: usize = left.iter().map(|(_, frames)| frames).sum();
    if more > 0 {
        words.push(format!("{more} more"));
    }
    match words.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

/// A number to `places` decimals with a true minus.
#[must_use]
pub fn number(value: f64, places: usize) -> String {
    let text = format!("{:.places$}", value.abs());
    let zero = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value < 0.0 && !zero {
        format!("−{text}")
    } else {
        text
    }
}

/// A value with as many decimals as its size deserves: three figures or so.
#[must_use]
pub fn figure(value: f64) -> String {
    let size = value.abs();
    let places = if size >= 100.0 || size == 0.0 {
        0
    } else if size >= 10.0 || (size >= 0.95 && size.fract() == 0.0) {
        usize::from(size.fract() != 0.0)
    } else if size >= 0.95 {
        1
    } else {
        2
    };
    number(value, places)
}

/// A value and its unit: "11.3 px", "10.8 %", "1846".
#[must_use]
pub fn with_unit(value: f64, unit: &str) -> String {
    match unit {
        "" => figure(value),
        unit => format!("{} {unit}", figure(value)),
    }
}

/// How much light a loss of `magnitudes` is: "63 %".
#[must_use]
pub fn share_lost(magnitudes: f64) -> String {
    let left = 10_f64.powf(-0.4 * magnitudes);
    format!("{} %", number(100.0 * (1.0 - left), 0))
}

/// "1 frame", "4 frames".
#[must_use]
pub fn frames(n: usize) -> String {
    plural(n, "frame", "frames")
}

/// "1 streak", "2 streaks".
#[must_use]
pub fn plural(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_read_as_people_write_them() {
        assert_eq!(frame_ranges(&[]), "");
        assert_eq!(frame_ranges(&[7]), "7");
        assert_eq!(frame_ranges(&[1, 2, 3, 4, 312, 313]), "1–4 and 312–313");
        assert_eq!(frame_ranges(&[1, 3, 5, 6]), "1, 3 and 5–6");
    }

    #[test]
    fn long_lists_are_cut() {
        assert_eq!(
            frame_ranges_in_short(&[1, 3, 5, 7, 8, 10], 3),
            "1, 3, 5 and 3 more"
        );
        assert_eq!(frame_ranges_in_short(&[1, 3, 5, 7], 3), "1, 3, 5 and 7");
    }

    #[test]
    fn minus_is_a_minus_and_zero_has_none() {
        assert_eq!(number(-1.25, 1), "−1.2");
        assert_eq!(number(-0.01, 1), "0.0");
        assert_eq!(with_unit(1846.2, ""), "1846");
        assert_eq!(with_unit(30.0, "s"), "30 s");
        assert_eq!(with_unit(0.0, "s"), "0 s");
        assert_eq!(with_unit(11.31, "px"), "11.3 px");
        assert_eq!(with_unit(0.453, "px"), "0.45 px");
        // 2.5 mag are a factor of ten.
        assert_eq!(share_lost(2.5), "90 %");
    }
}
