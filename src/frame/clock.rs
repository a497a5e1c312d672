//! Dates, sub-seconds and zone offsets as cameras write them.

use jiff::civil::DateTime;

/// A date of the form `2026:03:01 21:04:05` (Exif) or `2026-03-01T21:04:05.25` (FITS), whatever
/// its separators; `None` for blanks, zeros and dates that do not exist.
pub(super) fn parse_date(text: &str) -> Option<DateTime> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let mut numbers = whole
        .split(|c: char| !c.is_ascii_digit())
        .filter(|part| !part.is_empty())
        .map(str::parse::<i16>);
    let mut next = || numbers.next().and_then(Result::ok);
    let year = next()?;
    let mut small = || next().and_then(|v| i8::try_from(v).ok());
    let (month, day) = (small()?, small()?);
    let (hour, minute, second) = (small()?, small()?, small()?);
    let nanos = parse_subseconds(fraction).unwrap_or(0);
    // Photography began in 1826; an unset clock writes year 0.
    let date = DateTime::new(year, month, day, hour, minute, second, nanos).ok()?;
    (year >= 1826).then_some(date)
}

/// Decimal digits after the second, in nanoseconds; `None` when there are none.
pub(super) fn parse_subseconds(text: &str) -> Option<i32> {
    let digits: String = text
        .trim()
        .chars()
        .take_while(char::is_ascii_digit)
        .take(9)
        .collect();
    if digits.is_empty() {
        return None;
    }
    format!("{digits:0<9}").parse().ok()
}

/// A zone of the form `+01:00` or `Z`, in seconds east of UTC.
pub(super) fn parse_offset(text: &str) -> Option<i32> {
    let text = text.trim();
    if text.eq_ignore_ascii_case("z") {
        return Some(0);
    }
    let (sign, rest) = match text.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':')?;
    let (hours, minutes): (i32, i32) = (hours.parse().ok()?, minutes.parse().ok()?);
    // Zones in use run from −12 to +14 hours.
    let sane = (0..=14).contains(&hours) && (0..60).contains(&minutes);
    sane.then_some(sign * (hours * 3600 + minutes * 60))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn dates_of_both_kinds() {
        let exif = parse_date("2026:03:01 21:04:05").unwrap();
        assert_eq!(exif, date(2026, 3, 1).at(21, 4, 5, 0));
        let fits = parse_date("2026-03-01T21:04:05.25").unwrap();
        assert_eq!(fits, date(2026, 3, 1).at(21, 4, 5, 250_000_000));
    }

    #[test]
    fn dates_that_are_none() {
        for text in [
            "0000:00:00 00:00:00",
            "    :  :     :  :  ",
            "2026:13:01 00:00:00",
            "2026:02:30 00:00:00",
            "2026:03:01",
            "",
            "99999999:1:1 1:1:1",
        ] {
            assert_eq!(parse_date(text), None, "{text}");
        }
    }

    #[test]
    fn subseconds_are_a_decimal_fraction() {
        assert_eq!(parse_subseconds("5"), Some(500_000_000));
        assert_eq!(parse_subseconds("07"), Some(70_000_000));
        assert_eq!(parse_subseconds("1234567891"), Some(123_456_789));
        assert_eq!(parse_subseconds("  "), None);
    }

    #[test]
    fn offsets() {
        assert_eq!(parse_offset("+05:45"), Some(20_700));
        assert_eq!(parse_offset("-03:30"), Some(-12_600));
        assert_eq!(parse_offset("Z"), Some(0));
        for text in ["", "   :  ", "05:45", "+99:00", "+é", "+1"] {
            assert_eq!(parse_offset(text), None, "{text}");
        }
    }
}
