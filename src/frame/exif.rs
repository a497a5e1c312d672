//! Capture facts from Exif (CIPA DC-008). What makes no sense there is unknown, never an error.

use ::exif::{Exif, In, Reader, Tag, Value};

use super::clock::{parse_date, parse_offset, parse_subseconds};
use super::{Facts, Gps, Orientation, TakenAt};

/// Pixel pitches that cameras have, µm; what lies outside is a wrong unit or a wrong number.
const PITCH_UM: std::ops::RangeInclusive<f64> = 0.5..=30.0;

/// Exif read from a TIFF block: the content of a JPEG's APP1 segment, or the start of a TIFF file.
pub(super) struct Block {
    exif: Exif,
    /// Whether every field could be read.
    pub(super) complete: bool,
}

impl Block {
    /// Reads what can be read of `data`; `None` when it is no TIFF block at all.
    pub(super) fn read(data: Vec<u8>) -> Option<Self> {
        let mut reader = Reader::new();
        match reader.continue_on_error(true).read_raw(data) {
            Ok(exif) => Some(Self {
                exif,
                complete: true,
            }),
            Err(error) => {
                let exif = error.distill_partial_result(|_| ()).ok()?;
                Some(Self {
                    exif,
                    complete: false,
                })
            }
        }
    }

    /// The capture facts of a frame that is stored with `width` × `height` px.
    pub(super) fn facts(&self, width: usize, height: usize) -> Facts {
        let mut facts = Facts {
            taken_at: self.taken_at(),
            exposure_s: self.exposure_s(),
            f_number: self.f_number(),
            iso: self.iso(),
            focal_length_mm: self.positive(Tag::FocalLength).filter(|f| *f < 20_000.0),
            focal_35mm: self
                .positive(Tag::FocalLengthIn35mmFilm)
                .filter(|f| *f < 20_000.0),
            pixel_um: None,
            camera: camera_name(self.text(Tag::Make), self.text(Tag::Model)),
            serial: self.text(Tag::BodySerialNumber),
            lens: self.text(Tag::LensModel),
            gps: self.gps(),
            orientation: self.orientation(),
            width_px: u32::try_from(width).unwrap_or(0),
            height_px: u32::try_from(height).unwrap_or(0),
        };
        facts.pixel_um = self.pixel_um(&facts);
        facts
    }

    /// Exif's Gamma, where it is written.
    pub(super) fn gamma(&self) -> Option<f64> {
        self.positive(Tag::Gamma)
    }

    fn value(&self, tag: Tag) -> Option<&Value> {
        self.exif
            .get_field(tag, In::PRIMARY)
            .map(|field| &field.value)
    }

    fn number(&self, tag: Tag, index: usize) -> Option<f64> {
        let number = match self.value(tag)? {
            Value::Rational(v) => v.get(index)?.to_f64(),
            Value::SRational(v) => v.get(index)?.to_f64(),
            Value::Float(v) => f64::from(*v.get(index)?),
            Value::Double(v) => *v.get(index)?,
            Value::SShort(v) => f64::from(*v.get(index)?),
            Value::SLong(v) => f64::from(*v.get(index)?),
            other => f64::from(other.get_uint(index)?),
        };
        number.is_finite().then_some(number)
    }

    fn positive(&self, tag: Tag) -> Option<f64> {
        self.number(tag, 0).filter(|v| *v > 0.0)
    }

    /// Trimmed text; `None` when it is empty or only dashes, as cameras write for no lens.
    fn text(&self, tag: Tag) -> Option<String> {
        let Value::Ascii(parts) = self.value(tag)? else {
            return None;
        };
        let text = String::from_utf8_lossy(parts.first()?);
        let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\0');
        let says_something = text.chars().any(|c| c != '-' && c != ' ');
        says_something.then(|| text.to_owned())
    }

    fn taken_at(&self) -> Option<TakenAt> {
        let (date, subseconds, offset) = [
            (
                Tag::DateTimeOriginal,
                Tag::SubSecTimeOriginal,
                Tag::OffsetTimeOriginal,
            ),
            (
                Tag::DateTimeDigitized,
                Tag::SubSecTimeDigitized,
                Tag::OffsetTimeDigitized,
            ),
        ]
        .into_iter()
        .find_map(|(date, sub, offset)| Some((parse_date(&self.text(date)?)?, sub, offset)))?;
        let nanos = self
            .text(subseconds)
            .and_then(|text| parse_subseconds(&text));
        let local = match nanos {
            Some(nanos) => date.with().subsec_nanosecond(nanos).build().ok()?,
            None => date,
        };
        Some(TakenAt {
            local,
            has_subseconds: nanos.is_some(),
            offset_s: self.text(offset).and_then(|text| parse_offset(&text)),
        })
    }

    /// The exposure time; where only the APEX value is written, t = 2^−Tv (Exif annex C).
    fn exposure_s(&self) -> Option<f64> {
        let apex = || Some(libm::exp2(-self.number(Tag::ShutterSpeedValue, 0)?));
        self.positive(Tag::ExposureTime)
            .or_else(apex)
            .filter(|t| (1e-6..=86_400.0).contains(t))
    }

    /// The aperture; where only the APEX value is written, N = 2^(Av/2) (Exif annex C). Av 0 (f/1)
    /// is what cameras write for a lens they do not know.
    fn f_number(&self) -> Option<f64> {
        let apex = || Some(libm::exp2(self.positive(Tag::ApertureValue)? / 2.0));
        self.positive(Tag::FNumber)
            .or_else(apex)
            .filter(|n| (0.5..=200.0).contains(n))
    }

    /// The sensitivity. 65535 in the 16-bit field says that the true value is in a longer one.
    fn iso(&self) -> Option<u32> {
        let short = self
            .positive(Tag::PhotographicSensitivity)
            .filter(|iso| *iso < 65_535.0);
        let long = || {
            [
                Tag::RecommendedExposureIndex,
                Tag::ISOSpeed,
                Tag::StandardOutputSensitivity,
            ]
            .into_iter()
            .find_map(|tag| self.positive(tag))
        };
        let iso = short.or_else(long).filter(|iso| *iso <= 1e8)?;
        Some(iso.round() as u32).filter(|iso| *iso > 0)
    }

    fn orientation(&self) -> Orientation {
        let stored = self.number(Tag::Orientation, 0).unwrap_or(1.0);
        if (1.0..=8.0).contains(&stored) {
            Orientation(stored as u8)
        } else {
            Orientation::default()
        }
    }

    fn gps(&self) -> Option<Gps> {
        let degrees = |tag| {
            let part = |index| self.number(tag, index);
            Some(part(0)? + part(1).unwrap_or(0.0) / 60.0 + part(2).unwrap_or(0.0) / 3600.0)
        };
        let sign = |tag, negative: char| {
            let text = self.text(tag)?;
            let first = text.chars().next()?.to_ascii_uppercase();
            Some(if first == negative { -1.0 } else { 1.0 })
        };
        let latitude_deg = degrees(Tag::GPSLatitude)? * sign(Tag::GPSLatitudeRef, 'S')?;
        let longitude_deg = degrees(Tag::GPSLongitude)? * sign(Tag::GPSLongitudeRef, 'W')?;
        // A receiver without a fix leaves zeros.
        let fixed = latitude_deg != 0.0 || longitude_deg != 0.0;
        let on_earth = latitude_deg.abs() <= 90.0 && longitude_deg.abs() <= 180.0;
        (fixed && on_earth).then_some(Gps {
            latitude_deg,
            longitude_deg,
        })
    }

    /// Pixel pitch from the focal-plane resolution, brought to the stored size when the picture
    /// was resized, and dropped when the 35 mm equivalent contradicts it (a wrong unit, or a
    /// resolution that belongs to another size).
    fn pixel_um(&self, facts: &Facts) -> Option<f64> {
        let unit = self.number(Tag::FocalPlaneResolutionUnit, 0).unwrap_or(2.0) as u16;
        let resolution = self.positive(Tag::FocalPlaneXResolution)?;
        let pitch = pitch_um(resolution / self.resized_by(facts).unwrap_or(1.0), unit)?;
        let agrees = facts
            .pitch_from_35mm_um()
            .is_none_or(|rough| (0.75..=1.333).contains(&(pitch / rough)));
        agrees.then_some(pitch)
    }

    /// By how much the picture was made smaller after the camera wrote its pixel dimensions;
    /// `None` when it was not, or when it was cut rather than resized.
    fn resized_by(&self, facts: &Facts) -> Option<f64> {
        let across = self.positive(Tag::PixelXDimension)? / f64::from(facts.width_px);
        let down = self.positive(Tag::PixelYDimension)? / f64::from(facts.height_px);
        let same_shape = (across / down - 1.0).abs() < 0.01;
        // A few columns more or less is a raw file's border, not another scale.
        (same_shape && (across - 1.0).abs() > 0.05).then_some(across)
    }
}

/// Pixel pitch of a focal-plane resolution in Exif's units: 2 inch, 3 cm, 4 mm, 5 µm.
pub(super) fn pitch_um(resolution: f64, unit: u16) -> Option<f64> {
    let unit_um = match unit {
        3 => 10_000.0,
        4 => 1_000.0,
        5 => 1.0,
        _ => 25_400.0,
    };
    Some(unit_um / resolution).filter(|pitch| PITCH_UM.contains(pitch))
}

/// Maker and model in one name, the maker not twice: "NIKON CORPORATION" and "NIKON D750" are
/// "NIKON D750".
pub(super) fn camera_name(make: Option<String>, model: Option<String>) -> Option<String> {
    match (make, model) {
        (Some(make), Some(model)) => {
            let first = make.split_whitespace().next().unwrap_or_default();
            let said = model.to_lowercase().starts_with(&first.to_lowercase());
            Some(if said {
                model
            } else {
                format!("{make} {model}")
            })
        }
        (make, model) => model.or(make),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn name(make: &str, model: &str) -> Option<String> {
        camera_name(Some(make.to_owned()), Some(model.to_owned()))
    }

    #[test]
    fn the_maker_is_named_once() {
        assert_eq!(
            name("NIKON CORPORATION", "NIKON D750").unwrap(),
            "NIKON D750"
        );
        assert_eq!(name("Canon", "Canon EOS 6D").unwrap(), "Canon EOS 6D");
        assert_eq!(name("SONY", "ILCE-7M3").unwrap(), "SONY ILCE-7M3");
        assert_eq!(camera_name(None, None), None);
    }

    #[test]
    fn junk_is_no_block() {
        assert!(Block::read(b"not a tiff block".to_vec()).is_none());
        assert!(Block::read(Vec::new()).is_none());
    }
}
