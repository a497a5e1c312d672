//! TIFF 6.0: 8, 16 and 32 bits and floats, grey and colour, first page.

use std::fs::File;
use std::io::BufReader;

use ::tiff::ColorType;
use ::tiff::TiffError;
use ::tiff::decoder::{Decoder, DecodingResult, Limits};
use ::tiff::tags::Tag;

use super::exif::Block;
use super::input::Input;
use super::raster::{Levels, Raster};
use super::{Facts, FrameError, Light, icc};

pub(super) fn sniff(input: &Input<'_>) -> bool {
    let tiff = [b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"];
    tiff.iter().any(|magic| input.head().starts_with(*magic))
}

pub(super) fn facts(input: &Input<'_>) -> Result<Facts, FrameError> {
    let mut decoder = Decoder::new(input.reader()?).map_err(|e| fault(input, &e))?;
    let (width, height) = decoder.dimensions().map_err(|e| fault(input, &e))?;
    Ok(facts_of(input, width, height)?.0)
}

pub(super) fn decode(input: &Input<'_>) -> Result<(Facts, Raster), FrameError> {
    let mut decoder = Decoder::new(input.reader()?).map_err(|e| fault(input, &e))?;
    let (width, height) = decoder.dimensions().map_err(|e| fault(input, &e))?;
    input.check_size(width.into(), height.into())?;
    let pixels = u64::from(width) * u64::from(height);
    let mut limits = Limits::default();
    // 16 bytes a pixel: four 32-bit channels. The pixels are within the limits.
    limits.decoding_buffer_size = usize::try_from(pixels.saturating_mul(16)).unwrap_or(usize::MAX);
    limits.intermediate_buffer_size = limits.decoding_buffer_size.max(1 << 20);
    limits.ifd_value_size = 64 << 20;
    let mut decoder = decoder.with_limits(limits);

    let color = decoder.colortype().map_err(|e| fault(input, &e))?;
    let (channels, bits) = layout(color).map_err(|what| input.unsupported(what))?;
    let mut data = DecodingResult::U8(Vec::new());
    let stored = decoder
        .read_image_to_buffer(&mut data)
        .map_err(|e| fault(input, &e))?;
    let planes = stored.planes;
    let (levels, is_float) = levels(data, planes).ok_or_else(|| {
        input.unsupported("a TIFF of signed or 64-bit integers; save it with 16 bits or as float")
    })?;

    let (facts, gamma) = facts_of(input, width, height)?;
    let light = input
        .options
        .linear
        .or_else(|| stated_light(&mut decoder).map(|light| light == Light::Linear))
        .or_else(|| gamma.map(|gamma| (gamma - 1.0).abs() < 0.01))
        // What is usual when a file says nothing: floats, and one deep channel, are sensor data.
        .unwrap_or(is_float || (channels <= 2 && bits >= 16));
    let light = if light {
        Light::Linear
    } else {
        Light::ToneMapped
    };
    Raster::new(width as usize, height as usize, channels, levels, light)
        .map(|raster| (facts, raster))
        .ok_or_else(|| input.damaged("the decoded size is not the declared one"))
}

/// Channels and bits of the colour types that are read.
fn layout(color: ColorType) -> Result<(usize, u8), String> {
    let (channels, bits) = match color {
        ColorType::Gray(bits) => (1, bits),
        ColorType::GrayA(bits) => (2, bits),
        ColorType::RGB(bits) => (3, bits),
        ColorType::RGBA(bits) => (4, bits),
        other => {
            return Err(format!(
                "a TIFF with colours as {other:?}; save it as grey or RGB"
            ));
        }
    };
    if matches!(bits, 8 | 16 | 32 | 64) {
        Ok((channels, bits))
    } else {
        Err(format!(
            "a TIFF of {bits} bits a sample; save it with 8, 16 or 32"
        ))
    }
}

/// The samples, pixel by pixel, and whether they were stored as floats.
fn levels(data: DecodingResult, planes: usize) -> Option<(Levels, bool)> {
    Some(match data {
        DecodingResult::U8(data) => (Levels::Eight(interleave(data, planes)), false),
        DecodingResult::U16(data) => (Levels::Sixteen(interleave(data, planes)), false),
        DecodingResult::U32(data) => {
            let full = f64::from(u32::MAX);
            let data = data.iter().map(|v| (f64::from(*v) / full) as f32).collect();
            let data = interleave(data, planes);
            let step = (1.0 / full) as f32;
            (Levels::Float { data, step }, false)
        }
        DecodingResult::F16(data) => {
            let data = data.iter().map(|v| v.to_f32()).collect();
            (Levels::of_floats(interleave(data, planes)), true)
        }
        DecodingResult::F32(data) => (Levels::of_floats(interleave(data, planes)), true),
        DecodingResult::F64(data) => {
            let data = data.iter().map(|v| *v as f32).collect();
            (Levels::of_floats(interleave(data, planes)), true)
        }
        _ => return None,
    })
}

/// Planes one after another, put side by side.
fn interleave<T: Copy>(data: Vec<T>, planes: usize) -> Vec<T> {
    if planes <= 1 || !data.len().is_multiple_of(planes) {
        return data;
    }
    let pixels = data.len() / planes;
    (0..data.len())
        .map(|i| data[(i % planes) * pixels + i / planes])
        .collect()
}

fn stated_light(decoder: &mut Decoder<BufReader<File>>) -> Option<Light> {
    let profile = decoder.get_tag_u8_vec(Tag::IccProfile).ok()?;
    icc::light(&profile)
}

/// The facts, and Exif's Gamma.
fn facts_of(
    input: &Input<'_>,
    width: u32,
    height: u32,
) -> Result<(Facts, Option<f64>), FrameError> {
    let (width, height) = (width as usize, height as usize);
    let block = match Block::read(input.head().to_vec()) {
        Some(block) if block.complete || input.head_is_all() => Some(block),
        // The directory is behind the samples, where many writers put it.
        _ => Block::read(input.whole()?.to_vec()),
    };
    Ok(block.map_or_else(
        || (Facts::sized(width, height), None),
        |block| (block.facts(width, height), block.gamma()),
    ))
}

fn fault(input: &Input<'_>, error: &TiffError) -> FrameError {
    match error {
        TiffError::UnsupportedError(what) => {
            input.unsupported(format!("this kind of TIFF: {what}"))
        }
        TiffError::LimitsExceeded => {
            FrameError::too_large(input.path, "the TIFF needs more memory than allowed")
        }
        other => input.damaged(format!("the TIFF data: {other}")),
    }
}
