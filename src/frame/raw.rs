//! DNG and the makers' raw formats, by way of rawler.

use std::sync::Arc;

use rawler::RawlerError;
use rawler::decoders::{Decoder, FormatHint, RawDecodeParams, RawMetadata, WellKnownIFD};
use rawler::formats::tiff::{IFD, Rational};
use rawler::rawimage::{RawImage, RawImageData, RawPhotometricInterpretation};
use rawler::rawsource::RawSource;
use rawler::tags::{DngTag, TiffCommonTag};

use super::clock::{parse_date, parse_offset, parse_subseconds};
use super::exif::{Block, camera_name};
use super::guard::guarded;
use super::input::Input;
use super::mosaic::Pattern;
use super::sensor::{Area, Black, Sensor, Stored};
use super::{Facts, FrameError, Gps, Orientation, TakenAt, formats, ifd};

/// As much of a raw file as nearly always holds its Exif.
const EXIF_BYTES: usize = 256 * 1024;

pub(super) fn sniff(input: &Input<'_>) -> bool {
    let head = input.head();
    let begins = |at: usize, magic: &[u8]| head.get(at..).is_some_and(|h| h.starts_with(magic));
    let is_tiff = begins(0, b"II*\0") || begins(0, b"MM\0*");
    let named_raw = || formats::by_ending(input.path).is_some_and(|format| format.is_raw);
    let tiff_raw = || {
        begins(8, b"CR")
            || begins(8, b"IIII")
            || named_raw()
            || input
                .reader()
                .is_ok_and(|mut reader| ifd::look(&mut reader).raw)
    };
    is_tiff && tiff_raw()
        || has_tiff_relative(head)
        || begins(0, b"FUJIFILMCCD-RAW")
        || begins(4, b"ftypcrx ")
        || begins(6, b"HEAPCCDR")
        || begins(0, b"\0MRM")
        || begins(0, b"FOVb")
        || begins(0, b"ARRI")
}

/// Raw formats that are TIFF but for the number 42 in their header.
fn has_tiff_relative(head: &[u8]) -> bool {
    let relatives = [&b"IIRO"[..], b"IIRS", b"MMOR", b"IIU\0"];
    relatives.iter().any(|magic| head.starts_with(magic))
}

pub(super) fn facts(input: &Input<'_>) -> Result<Facts, FrameError> {
    // A decoder that lacks anything in the first megabytes says so, by an error or a panic.
    let from_start = guarded(input.path, || facts_in(input, &input.long_head()?));
    from_start.or_else(|_| facts_in(input, input.shared()?))
}

fn facts_in(input: &Input<'_>, bytes: &Arc<Vec<u8>>) -> Result<Facts, FrameError> {
    let source = RawSource::new_from_shared_vec(Arc::clone(bytes)).with_path(input.path);
    let decoder = decoder(input, &source)?;
    let area = if let Some(ifd) = dng_directory(&*decoder) {
        area_of_dng(&ifd).ok_or_else(|| input.damaged("the DNG does not state its size"))?
    } else {
        let image = decoder
            .raw_image(&source, &RawDecodeParams::default(), true)
            .map_err(|e| fault(input, &e))?;
        area_of(&image)
    };
    Ok(facts_of(bytes, &*decoder, &source, area))
}

pub(super) fn decode(input: &Input<'_>) -> Result<(Facts, Sensor), FrameError> {
    let bytes = Arc::clone(input.shared()?);
    let source = RawSource::new_from_shared_vec(Arc::clone(&bytes)).with_path(input.path);
    let decoder = decoder(input, &source)?;
    let params = RawDecodeParams::default();
    let dng = dng_directory(&*decoder);
    // The size is held against the limits before rawler makes room for it.
    let (full_width, full_height) = if let Some(ifd) = &dng {
        decoded_size(input, ifd)?
    } else {
        let image = decoder
            .raw_image(&source, &params, true)
            .map_err(|e| fault(input, &e))?;
        (image.width, image.height)
    };
    input.check_size(full_width as u64, full_height as u64)?;
    let image = decoder
        .raw_image(&source, &params, false)
        .map_err(|e| fault(input, &e))?;
    if image.fuji_rotation_width.is_some() {
        let what = "a sensor turned by 45 degrees; develop it to TIFF";
        return Err(input.unsupported(what));
    }
    let area = area_of(&image);
    let facts = facts_of(&bytes, &*decoder, &source, area);
    let sensor = sensor_of(image, area, dng.as_deref())
        .ok_or_else(|| input.unsupported("a colour mosaic without green; develop it to TIFF"))?;
    if !sensor.is_sound() {
        return Err(input.damaged("the raw data does not fit its declared size and levels"));
    }
    Ok((facts, sensor))
}

fn decoder(input: &Input<'_>, source: &RawSource) -> Result<Box<dyn Decoder>, FrameError> {
    if ifd::look(&mut source.reader()).absurd {
        return Err(input.damaged("a field in its header states an impossible length"));
    }
    rawler::get_decoder(source).map_err(|e| fault(input, &e))
}

fn fault(input: &Input<'_>, error: &RawlerError) -> FrameError {
    match error {
        RawlerError::Unsupported { make, .. } if make.trim().is_empty() => {
            input.damaged("its header names no camera")
        }
        RawlerError::Unsupported { what, .. } => input.unsupported(format!(
            "this camera's raw file ({what}); convert it to DNG"
        )),
        RawlerError::DecoderFailed(what) => input.damaged(format!("the raw data: {what}")),
    }
}

/// The directory of the raw picture, when this is a DNG.
fn dng_directory(decoder: &dyn Decoder) -> Option<std::rc::Rc<IFD>> {
    let is_dng = decoder.format_hint() == FormatHint::DNG;
    is_dng
        .then(|| decoder.ifd(WellKnownIFD::Raw).ok().flatten())
        .flatten()
}

fn declared_size(ifd: &IFD) -> (usize, usize) {
    let side = |tag| ifd.get_entry(tag).map_or(0, |entry| entry.force_usize(0));
    (
        side(TiffCommonTag::ImageWidth),
        side(TiffCommonTag::ImageLength),
    )
}

/// The size that rawler makes room for: whole tiles, where there are any.
fn decoded_size(input: &Input<'_>, ifd: &IFD) -> Result<(usize, usize), FrameError> {
    let number = |tag| ifd.get_entry(tag).map(|entry| entry.force_usize(0));
    if number(TiffCommonTag::SamplesPerPixel).is_some_and(|count| !(1..=4).contains(&count)) {
        return Err(input.unsupported("a DNG of more than four channels"));
    }
    let (width, height) = declared_size(ifd);
    let tiled = |side: usize, tile| match number(tile) {
        Some(0) => Err(input.damaged("the DNG states tiles of no size")),
        Some(tile) => Ok(side.div_ceil(tile).saturating_mul(tile)),
        None => Ok(side),
    };
    Ok((
        tiled(width, TiffCommonTag::TileWidth)?,
        tiled(height, TiffCommonTag::TileLength)?,
    ))
}

/// Top and left of a DNG's active area.
fn dng_origin(ifd: &IFD) -> (usize, usize) {
    ifd.get_entry(DngTag::ActiveArea)
        .map_or((0, 0), |entry| (entry.force_usize(0), entry.force_usize(1)))
}

/// As [`area_of`], from a DNG's tags alone, so that facts need no decoding.
fn area_of_dng(ifd: &IFD) -> Option<Area> {
    let (full_width, full_height) = declared_size(ifd);
    let full = Area {
        x: 0,
        y: 0,
        width: full_width,
        height: full_height,
    };
    let active = ifd.get_entry(DngTag::ActiveArea).map(|entry| {
        let [top, left, bottom, right] = [0, 1, 2, 3].map(|i| entry.force_usize(i));
        Area {
            x: left,
            y: top,
            width: right.saturating_sub(left),
            height: bottom.saturating_sub(top),
        }
    });
    let pair = |tag| {
        let entry = ifd.get_entry(tag)?;
        Some((entry.force_usize(0), entry.force_usize(1)))
    };
    let crop = pair(DngTag::DefaultCropOrigin).zip(pair(DngTag::DefaultCropSize));
    let crop = crop.map(|((x, y), (width, height))| {
        let (top, left) = dng_origin(ifd);
        Area {
            x: x.saturating_add(left),
            y: y.saturating_add(top),
            width,
            height,
        }
    });
    let area = [crop, active]
        .into_iter()
        .flatten()
        .find(|area| area.lies_in(full))
        .unwrap_or(full);
    (area.width > 0 && area.height > 0).then_some(area)
}

/// The part of the sensor that makes the picture: the maker's crop, else all that light reaches.
fn area_of(image: &RawImage) -> Area {
    let full = Area {
        x: 0,
        y: 0,
        width: image.width,
        height: image.height,
    };
    let rects = [image.crop_area, image.active_area]
        .into_iter()
        .flatten()
        .map(|rect| Area {
            x: rect.p.x,
            y: rect.p.y,
            width: rect.d.w,
            height: rect.d.h,
        });
    rects
        .into_iter()
        .find(|area| area.lies_in(full))
        .unwrap_or(full)
}

impl Area {
    fn lies_in(self, full: Self) -> bool {
        let fits = |start: usize, length: usize, whole: usize| {
            length > 0 && start.checked_add(length).is_some_and(|end| end <= whole)
        };
        fits(self.x, self.width, full.width) && fits(self.y, self.height, full.height)
    }
}

/// The sensor data; `None` when its mosaic has no green.
fn sensor_of(image: RawImage, area: Area, dng: Option<&IFD>) -> Option<Sensor> {
    let channels = image.cpp;
    let pattern = match &image.photometric {
        RawPhotometricInterpretation::Cfa(config) if channels == 1 && config.cfa.is_valid() => {
            let cfa = &config.cfa;
            let pattern = Pattern::new(cfa.width, cfa.height, cfa.flat_pattern())?;
            // DNG's pattern begins at the active area; rawler carries it to the file's corner in
            // the wrong direction, which only shows in patterns wider than two.
            let (dx, dy) = dng.map_or((0, 0), |ifd| {
                let (top, left) = dng_origin(ifd);
                let back = |start: usize, side: usize| 2 * (side - start % side) % side;
                (back(left, cfa.width), back(top, cfa.height))
            });
            Some(pattern.from(area.x + dx, area.y + dy))
        }
        _ => None,
    };
    let black = black_of(&image, area, dng);
    let white = image
        .whitelevel
        .0
        .first()
        .map_or(65_535.0, |white| *white as f32);
    let [red, green, blue, _] = image.wb_coeffs;
    let balance = [red / green, 1.0, blue / green];
    let known = balance
        .iter()
        .all(|factor| factor.is_finite() && *factor > 0.0);
    Some(Sensor {
        stride: image.width,
        channels,
        area,
        black,
        white,
        pattern,
        balance: known.then_some(balance),
        stored_step: match image.data {
            RawImageData::Integer(_) => 1.0,
            RawImageData::Float(_) => 0.0,
        },
        stored: match image.data {
            RawImageData::Integer(data) => Stored::Integer(data),
            RawImageData::Float(data) => Stored::Float(data),
        },
    })
}

/// The black levels, so that the first belongs to the first sample of the area. DNG counts their
/// pattern from the active area (DNG 1.7, `BlackLevelRepeatDim`), other formats from the corner.
fn black_of(image: &RawImage, area: Area, dng: Option<&IFD>) -> Black {
    let stated = &image.blacklevel;
    let (top, left) = dng.map_or((0, 0), dng_origin);
    // The area never begins before the active area, but the file may say so.
    let from = (area.x.saturating_sub(left), area.y.saturating_sub(top));
    let channels = image.cpp.max(1);
    let mut levels = Vec::new();
    for y in 0..stated.height {
        for x in 0..stated.width {
            let place = (y + from.1) % stated.height * stated.width + (x + from.0) % stated.width;
            // A single level counts for all channels.
            let of_place = stated.levels.iter().skip(place * stated.cpp);
            let level = |rational: &Rational| {
                if rational.d == 0 {
                    0.0
                } else {
                    rational.as_f32()
                }
            };
            let mut own: Vec<f32> = of_place.take(stated.cpp.min(channels)).map(level).collect();
            own.resize(channels, own.first().copied().unwrap_or(0.0));
            levels.extend(own);
        }
    }
    Black {
        width: stated.width,
        height: stated.height,
        levels,
    }
}

fn facts_of(bytes: &[u8], decoder: &dyn Decoder, source: &RawSource, area: Area) -> Facts {
    let (width, height) = (area.width, area.height);
    let from_exif = exif_block(bytes).map(|block| block.facts(width, height));
    let says_something = |facts: &Facts| facts.taken_at.is_some() || facts.exposure_s.is_some();
    from_exif.filter(says_something).unwrap_or_else(|| {
        decoder
            .raw_metadata(source, &RawDecodeParams::default())
            .map_or_else(
                |_| Facts::sized(width, height),
                |metadata| facts_of_metadata(metadata, decoder, width, height),
            )
    })
}

/// The Exif of raw files that are TIFF.
fn exif_block(bytes: &[u8]) -> Option<Block> {
    let is_tiff = bytes.starts_with(b"II*\0") || bytes.starts_with(b"MM\0*");
    if !is_tiff && !has_tiff_relative(bytes) {
        return None;
    }
    let as_tiff = |bytes: &[u8]| {
        let mut bytes = bytes.to_vec();
        let magic = if bytes.starts_with(b"II") {
            *b"*\0"
        } else {
            *b"\0*"
        };
        if let Some(number) = bytes.get_mut(2..4) {
            number.copy_from_slice(&magic);
        }
        Block::read(bytes)
    };
    // Makers write their directories first, and copying a whole raw file for them is dear.
    let start = bytes.get(..EXIF_BYTES).unwrap_or(bytes);
    as_tiff(start)
        .filter(|block| block.complete)
        .or_else(|| as_tiff(bytes))
}

/// Facts as rawler has them, for containers that are not TIFF.
fn facts_of_metadata(
    metadata: RawMetadata,
    decoder: &dyn Decoder,
    width: usize,
    height: usize,
) -> Facts {
    let exif = metadata.exif;
    let number = |rational: Option<Rational>, range: std::ops::RangeInclusive<f64>| {
        let rational = rational?;
        let value = f64::from(rational.n) / f64::from(rational.d);
        range.contains(&value).then_some(value)
    };
    let text = |text: Option<String>| {
        let text = text?
            .trim_matches(|c: char| c.is_whitespace() || c == '\0')
            .to_owned();
        text.chars().any(|c| c != '-').then_some(text)
    };
    let taken_at = text(exif.date_time_original).and_then(|date| {
        let date = parse_date(&date)?;
        let nanos = text(exif.sub_sec_time_original).and_then(|digits| parse_subseconds(&digits));
        Some(TakenAt {
            local: date
                .with()
                .subsec_nanosecond(nanos.unwrap_or(0))
                .build()
                .ok()?,
            has_subseconds: nanos.is_some(),
            offset_s: text(exif.offset_time_original).and_then(|zone| parse_offset(&zone)),
        })
    });
    let short_iso = exif
        .iso_speed_ratings
        .map(u32::from)
        .filter(|iso| *iso != 65_535);
    let gps = exif.gps.and_then(|gps| {
        let degrees = |dms: [Rational; 3], reference: Option<String>, negative: &str| {
            let parts = dms.map(|part| f64::from(part.n) / f64::from(part.d.max(1)));
            let [degrees, minutes, seconds] = parts;
            let value = degrees + minutes / 60.0 + seconds / 3600.0;
            Some(if reference?.trim().eq_ignore_ascii_case(negative) {
                -value
            } else {
                value
            })
        };
        let latitude_deg = degrees(gps.gps_latitude?, gps.gps_latitude_ref, "S")?;
        let longitude_deg = degrees(gps.gps_longitude?, gps.gps_longitude_ref, "W")?;
        let fixed = latitude_deg != 0.0 || longitude_deg != 0.0;
        (fixed && latitude_deg.abs() <= 90.0 && longitude_deg.abs() <= 180.0).then_some(Gps {
            latitude_deg,
            longitude_deg,
        })
    });
    let orientation = exif
        .orientation
        .and_then(|stored| u8::try_from(stored).ok());
    Facts {
        taken_at,
        exposure_s: number(exif.exposure_time, 1e-6..=86_400.0),
        f_number: number(exif.fnumber, 0.5..=200.0),
        iso: short_iso
            .or(exif.recommended_exposure_index)
            .or(exif.iso_speed)
            .filter(|iso| *iso > 0),
        focal_length_mm: number(exif.focal_length, 0.1..=20_000.0),
        focal_35mm: None,
        pixel_um: pixel_um(decoder),
        camera: camera_name(text(Some(metadata.make)), text(Some(metadata.model))),
        serial: text(exif.serial_number),
        lens: text(exif.lens_model),
        gps,
        orientation: orientation
            .filter(|o| (1..=8).contains(o))
            .map_or_else(Orientation::default, Orientation),
        ..Facts::sized(width, height)
    }
}

/// Pixel pitch from the focal-plane resolution (Exif 0xA20E, unit 0xA210).
fn pixel_um(decoder: &dyn Decoder) -> Option<f64> {
    use rawler::tags::ExifTag;
    let ifd = decoder.ifd(WellKnownIFD::Exif).ok().flatten()?;
    let resolution = f64::from(ifd.get_entry(ExifTag::FocalPlaneXResolution2)?.force_f32(0));
    let unit = ifd
        .get_entry(ExifTag::FocalPlaneResolutionUnit2)
        .map(|entry| entry.force_u16(0));
    super::exif::pitch_um(resolution, unit.unwrap_or(2))
}
