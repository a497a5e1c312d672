//! FITS header cards (FITS standard 4.0, sections 3 and 4).

use std::collections::HashMap;
use std::io::{self, Read};

use super::clock::parse_date;
use super::{Facts, Gps, TakenAt};

/// The unit of everything in FITS.
pub(super) const BLOCK: usize = 2880;
const CARD: usize = 80;
/// A header of more blocks is no header.
const MOST_BLOCKS: usize = 2000;

/// The cards of one header: keyword to value, strings without their quotes.
pub(super) struct Header(HashMap<String, String>);

impl Header {
    /// Reads whole blocks up to and with the END card; `None` when the file ends first.
    pub(super) fn read(reader: &mut impl Read) -> io::Result<Option<Self>> {
        let mut cards = HashMap::new();
        let mut block = [0; BLOCK];
        for _ in 0..MOST_BLOCKS {
            match reader.read_exact(&mut block) {
                Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => return Ok(None),
                other => other?,
            }
            for card in block.chunks_exact(CARD) {
                let keyword = String::from_utf8_lossy(&card[..8]).trim_end().to_owned();
                if keyword == "END" {
                    return Ok(Some(Self(cards)));
                }
                if &card[8..10] == b"= " {
                    // The first card counts where a keyword is given twice.
                    cards.entry(keyword).or_insert_with(|| value(&card[10..]));
                }
            }
        }
        Ok(None)
    }

    /// The text of `key`; `None` when it is missing or empty.
    pub(super) fn text(&self, key: &str) -> Option<&str> {
        self.0
            .get(key)
            .map(String::as_str)
            .filter(|text| !text.is_empty())
    }

    /// The finite number of `key`.
    pub(super) fn number(&self, key: &str) -> Option<f64> {
        // Double precision may be written with a D for its exponent.
        let number: f64 = self.text(key)?.replace(['D', 'd'], "E").parse().ok()?;
        number.is_finite().then_some(number)
    }

    /// The whole number of `key`.
    pub(super) fn integer(&self, key: &str) -> Option<i64> {
        self.text(key)?.parse().ok()
    }

    /// The lengths of the axes, fastest first.
    pub(super) fn axes(&self) -> Option<Vec<u64>> {
        let count = self.integer("NAXIS").filter(|n| (0..=999).contains(n))?;
        (1..=count)
            .map(|axis| u64::try_from(self.integer(&format!("NAXIS{axis}"))?).ok())
            .collect()
    }

    /// Bytes of data behind this header, without the padding; `None` when they make no sense.
    pub(super) fn data_bytes(&self) -> Option<u64> {
        let axes = self.axes()?;
        let elements = if axes.is_empty() {
            0
        } else {
            axes.iter()
                .try_fold(1_u64, |product, axis| product.checked_mul(*axis))?
        };
        let bits = self.integer("BITPIX")?.unsigned_abs();
        let extra = self
            .integer("PCOUNT")
            .map_or(Some(0), |n| u64::try_from(n).ok())?;
        let groups = self
            .integer("GCOUNT")
            .map_or(Some(1), |n| u64::try_from(n).ok())?;
        elements
            .checked_add(extra)?
            .checked_mul(groups)?
            .checked_mul(bits / 8)
    }

    /// Capture facts by the keywords in common use.
    pub(super) fn facts(&self, width: usize, height: usize) -> Facts {
        let positive = |key| self.number(key).filter(|v| *v > 0.0);
        let focal_length_mm = positive("FOCALLEN");
        let ratio = || Some(focal_length_mm? / positive("APTDIA")?);
        let text = |key| self.text(key).map(str::to_owned);
        Facts {
            taken_at: self.taken_at(),
            exposure_s: positive("EXPTIME").or_else(|| positive("EXPOSURE")),
            f_number: positive("FOCRATIO")
                .or_else(ratio)
                .filter(|n| (0.5..=200.0).contains(n)),
            iso: positive("ISOSPEED")
                .filter(|iso| *iso <= 1e8)
                .map(|iso| iso.round() as u32),
            focal_length_mm,
            pixel_um: positive("XPIXSZ").or_else(|| positive("PIXSIZE1")),
            camera: text("INSTRUME"),
            lens: text("TELESCOP"),
            gps: self.gps(),
            ..Facts::sized(width, height)
        }
    }

    /// DATE-OBS, which is UTC unless TIMESYS says otherwise (section 9.2). The other time scales
    /// differ from it by about a minute at most, which is not corrected.
    fn taken_at(&self) -> Option<TakenAt> {
        let date = self.text("DATE-OBS")?;
        let joined = match self.text("TIME-OBS") {
            Some(time) if !date.contains('T') => format!("{date}T{time}"),
            _ => date.to_owned(),
        };
        Some(TakenAt {
            local: parse_date(&joined)?,
            has_subseconds: joined.contains('.'),
            offset_s: Some(0),
        })
    }

    fn gps(&self) -> Option<Gps> {
        let degrees = |keys: [&str; 3]| keys.iter().find_map(|key| angle(self.text(key)?));
        let latitude_deg = degrees(["OBSGEO-B", "SITELAT", "LAT-OBS"])?;
        let longitude_deg = degrees(["OBSGEO-L", "SITELONG", "LONG-OBS"])?;
        let fixed = latitude_deg != 0.0 || longitude_deg != 0.0;
        let on_earth = latitude_deg.abs() <= 90.0 && longitude_deg.abs() <= 180.0;
        (fixed && on_earth).then_some(Gps {
            latitude_deg,
            longitude_deg,
        })
    }
}

/// The value field of a card: a quoted string, or what stands before the comment.
fn value(field: &[u8]) -> String {
    let field = String::from_utf8_lossy(field);
    let field = field.trim_start();
    if let Some(quoted) = field.strip_prefix('\'') {
        // Two quotes in a row are one quote of the text.
        let mut text = String::new();
        let mut rest = quoted.chars().peekable();
        while let Some(c) = rest.next() {
            match (c, rest.peek()) {
                ('\'', Some('\'')) => {
                    text.push('\'');
                    rest.next();
                }
                ('\'', _) => break,
                _ => text.push(c),
            }
        }
        return text.trim().to_owned();
    }
    field
        .split('/')
        .next()
        .unwrap_or_default()
        .trim()
        .to_owned()
}

/// Degrees, decimal or as degrees, minutes, seconds between blanks or colons.
fn angle(text: &str) -> Option<f64> {
    let negative = text.trim_start().starts_with('-');
    let parts = text
        .split(|c: char| c == ':' || c.is_whitespace())
        .filter(|part| !part.is_empty())
        .map(str::parse::<f64>);
    let parts: Vec<f64> = parts.collect::<Result<_, _>>().ok()?;
    let (first, smaller) = parts.split_first()?;
    let size: f64 = smaller
        .iter()
        .zip([60.0, 3600.0])
        .map(|(part, unit)| part / unit)
        .sum();
    let degrees = first.abs() + size;
    degrees
        .is_finite()
        .then_some(if negative { -degrees } else { degrees })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(cards: &[&str]) -> Header {
        let mut bytes: Vec<u8> = cards
            .iter()
            .flat_map(|card| format!("{card:<80}").into_bytes())
            .collect();
        bytes.extend(format!("{:<80}", "END").bytes());
        bytes.resize(bytes.len().next_multiple_of(BLOCK), b' ');
        Header::read(&mut bytes.as_slice()).unwrap().unwrap()
    }

    #[test]
    fn values() {
        let header = header(&[
            "EXPTIME =              1.5D+01 / seconds",
            "INSTRUME= 'O''Neill''s / camera'  / a comment",
            "NAXIS   =                    2",
            "NAXIS1  =                   30",
            "NAXIS2  =                   20",
            "BITPIX  =                  -32",
        ]);
        assert_eq!(header.number("EXPTIME"), Some(15.0));
        assert_eq!(header.text("INSTRUME"), Some("O'Neill's / camera"));
        assert_eq!(header.axes(), Some(vec![30, 20]));
        assert_eq!(header.data_bytes(), Some(2400));
    }

    #[test]
    fn absurd_sizes_do_not_overflow() {
        let header = header(&[
            "NAXIS   =                    2",
            "NAXIS1  =  9223372036854775807",
            "NAXIS2  =  9223372036854775807",
            "BITPIX  =                   16",
        ]);
        assert_eq!(header.data_bytes(), None);
    }

    #[test]
    fn a_header_without_end_is_none() {
        assert!(
            Header::read(&mut [b' '; BLOCK].as_slice())
                .unwrap()
                .is_none()
        );
        assert!(Header::read(&mut [b' '; 100].as_slice()).unwrap().is_none());
    }

    #[test]
    fn angles() {
        assert_eq!(angle("-47.5"), Some(-47.5));
        assert_eq!(angle("-00 30 00"), Some(-0.5));
        assert_eq!(angle("12:30:36"), Some(12.51));
        assert_eq!(angle("north"), None);
    }
}
