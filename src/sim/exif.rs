//! The capture facts a camera writes, and the TIFF structure that holds them.

use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Context, Field, In, Rational, SRational, Tag, Value};
use jiff::civil::DateTime;

use super::camera::{BLACK_DN, MAKE, MODEL, NEUTRAL, PIXEL_UM, SERIAL, WHITE_DN};
use super::options::SimOptions;
use super::plan::FramePlan;

/// When the shutter opened by the camera's clock, to its hundredth of a second.
pub(crate) fn clock(options: &SimOptions, frame: &FramePlan) -> DateTime {
    let start: DateTime = options.scene.start_local.parse().unwrap_or_default();
    let hundredths = (frame.start_s * 100.0).round() as i64;
    let later = jiff::SignedDuration::from_millis(10 * hundredths);
    start.checked_add(later).unwrap_or(start)
}

/// `+01:00`.
pub(crate) fn offset(options: &SimOptions) -> String {
    let minutes = options.scene.utc_offset_min;
    let sign = if minutes < 0 { '-' } else { '+' };
    format!("{sign}{:02}:{:02}", minutes.abs() / 60, minutes.abs() % 60)
}

fn text(words: &str) -> Value {
    Value::Ascii(vec![words.as_bytes().to_vec()])
}

fn ratio(value: f64, denominator: u32) -> Value {
    let num = (value * f64::from(denominator)).round() as u32;
    Value::Rational(vec![Rational {
        num,
        denom: denominator,
    }])
}

fn field(tag: Tag, value: Value) -> Field {
    Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    }
}

/// A baseline or DNG tag that the Exif library has no name for.
fn numbered(number: u16, value: Value) -> Field {
    field(Tag(Context::Tiff, number), value)
}

/// Capture facts of a frame, for any format.
fn facts(options: &SimOptions, frame: &FramePlan) -> Vec<Field> {
    let scene = &options.scene;
    let at = clock(options, frame);
    let stamp = at.strftime("%Y:%m:%d %H:%M:%S").to_string();
    let hundredth = format!("{:02}", at.subsec_nanosecond() / 10_000_000);
    let width_mm = options.width as f64 * PIXEL_UM / 1000.0;
    // Pixels a centimetre.
    let resolution = ratio(10_000.0 / PIXEL_UM, 3000);
    let zone = offset(options);
    vec![
        field(
            Tag::ImageDescription,
            text(&format!("{}, simulated", scene.place)),
        ),
        field(Tag::Make, text(MAKE)),
        field(Tag::Model, text(MODEL)),
        field(Tag::Orientation, Value::Short(vec![1])),
        field(Tag::Software, text("nightloupe simulator")),
        field(Tag::DateTime, text(&stamp)),
        field(Tag::ExposureTime, ratio(frame.exposure_s, 1000)),
        field(Tag::FNumber, ratio(scene.f_number, 10)),
        field(
            Tag::PhotographicSensitivity,
            Value::Short(vec![clamp_iso(frame.iso)]),
        ),
        field(Tag::SensitivityType, Value::Short(vec![1])),
        field(Tag::ExifVersion, Value::Undefined(b"0232".to_vec(), 0)),
        field(Tag::DateTimeOriginal, text(&stamp)),
        field(Tag::DateTimeDigitized, text(&stamp)),
        field(Tag::OffsetTime, text(&zone)),
        field(Tag::OffsetTimeOriginal, text(&zone)),
        field(Tag::SubSecTimeOriginal, text(&hundredth)),
        field(Tag::FocalLength, ratio(scene.focal_mm, 10)),
        field(Tag::ColorSpace, Value::Short(vec![1])),
        field(
            Tag::PixelXDimension,
            Value::Long(vec![options.width as u32]),
        ),
        field(
            Tag::PixelYDimension,
            Value::Long(vec![options.height as u32]),
        ),
        field(Tag::FocalPlaneXResolution, resolution.clone()),
        field(Tag::FocalPlaneYResolution, resolution),
        // Centimetres.
        field(Tag::FocalPlaneResolutionUnit, Value::Short(vec![3])),
        field(
            Tag::FocalLengthIn35mmFilm,
            Value::Short(vec![(scene.focal_mm * 36.0 / width_mm).round() as u16]),
        ),
        field(Tag::BodySerialNumber, text(SERIAL)),
        field(Tag::LensModel, text(&lens(scene.focal_mm))),
        field(Tag::GPSLatitudeRef, side(scene.latitude_deg, ["N", "S"])),
        field(Tag::GPSLatitude, sexagesimal(scene.latitude_deg)),
        field(Tag::GPSLongitudeRef, side(scene.longitude_deg, ["E", "W"])),
        field(Tag::GPSLongitude, sexagesimal(scene.longitude_deg)),
    ]
}

fn side(degrees: f64, [positive, negative]: [&str; 2]) -> Value {
    text(if degrees < 0.0 { negative } else { positive })
}

/// Degrees, minutes and seconds, to a hundredth.
fn sexagesimal(degrees: f64) -> Value {
    let hundredths = (degrees.abs() * 360_000.0).round() as u32;
    let part = |num, denom| Rational { num, denom };
    Value::Rational(vec![
        part(hundredths / 360_000, 1),
        part(hundredths / 6000 % 60, 1),
        part(hundredths % 6000, 100),
    ])
}

fn clamp_iso(iso: u32) -> u16 {
    u16::try_from(iso).unwrap_or(u16::MAX)
}

fn lens(focal_mm: f64) -> String {
    format!("Tarnlight {focal_mm} mm f/1.8")
}

fn write(fields: &[Field], strips: Option<&[u8]>) -> Result<Vec<u8>, exif::Error> {
    let mut out = Cursor::new(Vec::new());
    let mut writer = Writer::new();
    for one in fields {
        writer.push_field(one);
    }
    let rows: Vec<&[u8]> = strips.into_iter().collect();
    if !rows.is_empty() {
        writer.set_strips(&rows, In::PRIMARY);
    }
    writer.write(&mut out, true)?;
    Ok(out.into_inner())
}

/// The Exif block of a JPEG.
pub(crate) fn block(options: &SimOptions, frame: &FramePlan) -> Result<Vec<u8>, exif::Error> {
    write(&facts(options, frame), None)
}

/// A 16-bit TIFF of one sample a pixel, little-endian in one strip.
fn one_channel(options: &SimOptions, photometric: u16) -> Vec<Field> {
    let (w, h) = (options.width as u32, options.height as u32);
    vec![
        numbered(254, Value::Long(vec![0])),
        field(Tag::ImageWidth, Value::Long(vec![w])),
        field(Tag::ImageLength, Value::Long(vec![h])),
        field(Tag::BitsPerSample, Value::Short(vec![16])),
        field(Tag::Compression, Value::Short(vec![1])),
        field(
            Tag::PhotometricInterpretation,
            Value::Short(vec![photometric]),
        ),
        field(Tag::SamplesPerPixel, Value::Short(vec![1])),
        field(Tag::RowsPerStrip, Value::Long(vec![h])),
        field(Tag::PlanarConfiguration, Value::Short(vec![1])),
    ]
}

fn little_endian(samples: &[u16]) -> Vec<u8> {
    samples.iter().flat_map(|v| v.to_le_bytes()).collect()
}

/// A linear grey TIFF: black 0, white 65535.
pub(crate) fn tiff(
    options: &SimOptions,
    frame: &FramePlan,
    samples: &[u16],
) -> Result<Vec<u8>, exif::Error> {
    let mut fields = facts(options, frame);
    fields.extend(one_channel(options, 1));
    write(&fields, Some(&little_endian(samples)))
}

/// An uncompressed DNG (1.4) of the mosaic.
pub(crate) fn dng(
    options: &SimOptions,
    frame: &FramePlan,
    mosaic: &[u16],
) -> Result<Vec<u8>, exif::Error> {
    let (w, h) = (options.width as u32, options.height as u32);
    let mut fields = facts(options, frame);
    fields.extend(one_channel(options, 32_803));
    let signed = |v: f64| SRational {
        num: (v * 10_000.0).round() as i32,
        denom: 10_000,
    };
    let camera_from_xyz: Vec<SRational> = (0..3)
        .flat_map(|row| XYZ_TO_SRGB[row].map(|v| signed(v * f64::from(NEUTRAL[row]))))
        .collect();
    let neutral = NEUTRAL.map(|v| Rational {
        num: (v * 1000.0).round() as u32,
        denom: 1000,
    });
    fields.extend([
        // CFARepeatPatternDim, CFAPattern: red green, green blue.
        numbered(33_421, Value::Short(vec![2, 2])),
        numbered(33_422, Value::Byte(vec![0, 1, 1, 2])),
        // DNGVersion, DNGBackwardVersion.
        numbered(50_706, Value::Byte(vec![1, 4, 0, 0])),
        numbered(50_707, Value::Byte(vec![1, 1, 0, 0])),
        // UniqueCameraModel, CFAPlaneColor, CFALayout (rectangular).
        numbered(50_708, text(&format!("{MAKE} {MODEL}"))),
        numbered(50_710, Value::Byte(vec![0, 1, 2])),
        numbered(50_711, Value::Short(vec![1])),
        // BlackLevelRepeatDim, BlackLevel, WhiteLevel.
        numbered(50_713, Value::Short(vec![1, 1])),
        numbered(50_714, Value::Short(vec![BLACK_DN])),
        numbered(50_717, Value::Short(vec![WHITE_DN])),
        // DefaultCropOrigin, DefaultCropSize.
        numbered(50_719, Value::Long(vec![0, 0])),
        numbered(50_720, Value::Long(vec![w, h])),
        // ColorMatrix1, AsShotNeutral, CalibrationIlluminant1 (D65), ActiveArea.
        numbered(50_721, Value::SRational(camera_from_xyz)),
        numbered(50_728, Value::Rational(neutral.to_vec())),
        numbered(50_778, Value::Short(vec![21])),
        numbered(50_829, Value::Long(vec![0, 0, h, w])),
    ]);
    write(&fields, Some(&little_endian(mosaic)))
}

/// CIE XYZ (D65) to linear sRGB, IEC 61966-2-1: the camera's filters are those of sRGB.
const XYZ_TO_SRGB: [[f64; 3]; 3] = [
    [3.2406, -1.5372, -0.4986],
    [-0.9689, 1.8758, 0.0415],
    [0.0557, -0.2040, 1.0570],
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::plan::plan;

    #[test]
    fn the_clock_runs_over_midnight() {
        let mut options = SimOptions::default();
        options.scene.start_local = "2025-10-18T23:59:50";
        let frames = plan(&options);
        assert_eq!(
            clock(&options, &frames[1]).to_string(),
            "2025-10-19T00:00:22"
        );
        assert_eq!(offset(&options), "+01:00");
    }

    #[test]
    fn another_reader_finds_the_facts() {
        let options = SimOptions::default();
        let frames = plan(&options);
        let block = block(&options, &frames[0]).unwrap();
        let read = exif::Reader::new().read_raw(block).unwrap();
        let shown = |tag| {
            let field = read.get_field(tag, In::PRIMARY).unwrap();
            field.display_value().to_string()
        };
        assert_eq!(shown(Tag::ExposureTime), "30");
        assert_eq!(shown(Tag::FNumber), "2.8");
        assert_eq!(shown(Tag::PhotographicSensitivity), "1600");
        assert_eq!(shown(Tag::DateTimeOriginal), "2025-10-18 19:50:00");
        assert!(shown(Tag::FocalPlaneXResolution).starts_with("1666.66"));
    }
}
