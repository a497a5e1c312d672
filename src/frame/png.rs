//! PNG (W3C PNG, third edition): 8 and 16 bits, grey and colour.

use ::png::{BitDepth, ColorType, Decoder, DecodingError, Info, Limits, Transformations};

use super::exif::Block;
use super::input::Input;
use super::raster::{Levels, Raster};
use super::{Facts, FrameError, Light, icc};

pub(super) fn sniff(head: &[u8]) -> bool {
    head.starts_with(b"\x89PNG\r\n\x1a\n")
}

pub(super) fn facts(input: &Input<'_>) -> Result<Facts, FrameError> {
    let mut decoder = Decoder::new(input.reader()?);
    let info = decoder.read_header_info().map_err(|e| fault(input, &e))?;
    let (width, height) = (info.width, info.height);
    let reader = decoder.read_info().map_err(|e| fault(input, &e))?;
    Ok(facts_of(reader.info(), width, height))
}

pub(super) fn decode(input: &Input<'_>) -> Result<(Facts, Raster), FrameError> {
    let mut decoder = Decoder::new(input.reader()?);
    let info = decoder.read_header_info().map_err(|e| fault(input, &e))?;
    let (width, height) = (info.width, info.height);
    input.check_size(width.into(), height.into())?;
    // Checked above: the pixels are within the limits, 8 bytes each at the most.
    decoder.set_limits(Limits {
        bytes: usize::try_from(input.options.limits.max_pixels.saturating_mul(8))
            .unwrap_or(usize::MAX),
    });
    decoder.set_transformations(Transformations::EXPAND);
    let mut reader = decoder.read_info().map_err(|e| fault(input, &e))?;
    let size = reader
        .output_buffer_size()
        .ok_or_else(|| input.damaged("the PNG states an impossible size"))?;
    let mut bytes = vec![0; size];
    let frame = reader
        .next_frame(&mut bytes)
        .map_err(|e| fault(input, &e))?;
    let channels = frame.color_type.samples();
    let levels = match frame.bit_depth {
        BitDepth::Sixteen => Levels::Sixteen(
            bytes
                .as_chunks::<2>()
                .0
                .iter()
                .map(|pair| u16::from_be_bytes(*pair))
                .collect(),
        ),
        _ => Levels::Eight(bytes),
    };
    // Text and Exif may follow the picture; a fault there costs no samples.
    let _ = reader.finish();
    let facts = facts_of(reader.info(), width, height);
    let light = input
        .options
        .linear
        .map(|linear| {
            if linear {
                Light::Linear
            } else {
                Light::ToneMapped
            }
        })
        .or_else(|| stated_light(reader.info()))
        .unwrap_or_else(|| usual_light(frame.color_type, frame.bit_depth));
    Raster::new(width as usize, height as usize, channels, levels, light)
        .map(|raster| (facts, raster))
        .ok_or_else(|| input.damaged("the decoded size is not the declared one"))
}

fn facts_of(info: &Info<'_>, width: u32, height: u32) -> Facts {
    let (width, height) = (width as usize, height as usize);
    info.exif_metadata
        .as_ref()
        .and_then(|block| Block::read(block.to_vec()))
        .map_or_else(
            || Facts::sized(width, height),
            |block| block.facts(width, height),
        )
}

/// What the file says of its light: ICC first, then sRGB and gAMA (the order of the standard),
/// then Exif's Gamma.
fn stated_light(info: &Info<'_>) -> Option<Light> {
    let of_gamma = |gamma: f64| {
        if (gamma - 1.0).abs() < 0.01 {
            Light::Linear
        } else {
            Light::ToneMapped
        }
    };
    info.icc_profile
        .as_ref()
        .and_then(|profile| icc::light(profile))
        .or_else(|| info.srgb.map(|_| Light::ToneMapped))
        .or_else(|| {
            info.gama_chunk
                .map(|gamma| of_gamma(gamma.into_value().into()))
        })
        .or_else(|| {
            let block = Block::read(info.exif_metadata.as_ref()?.to_vec())?;
            block.gamma().map(of_gamma)
        })
}

/// What is usual when a file says nothing: one 16-bit channel is sensor data.
const fn usual_light(color: ColorType, depth: BitDepth) -> Light {
    match (color, depth) {
        (ColorType::Grayscale | ColorType::GrayscaleAlpha, BitDepth::Sixteen) => Light::Linear,
        _ => Light::ToneMapped,
    }
}

fn fault(input: &Input<'_>, error: &DecodingError) -> FrameError {
    match error {
        DecodingError::LimitsExceeded => {
            FrameError::too_large(input.path, "the PNG needs more memory than allowed")
        }
        other => input.damaged(format!("the PNG data: {other}")),
    }
}
