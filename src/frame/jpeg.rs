//! JPEG: baseline and progressive, grey and colour, 8-bit.

use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::exif::Block;
use super::input::Input;
use super::raster::{Levels, Raster};
use super::{Facts, FrameError, Light};

/// What the segments before the picture say.
struct Header<'a> {
    width: u16,
    height: u16,
    components: u8,
    exif: Option<&'a [u8]>,
    /// See [`super::Samples::quantised_pct`].
    quantised_pct: Option<f32>,
    /// Where the first scan begins.
    scan_at: usize,
}

/// Why the header could not be read.
enum HeaderFault {
    /// The bytes end before the picture begins.
    Short,
    /// It is no header.
    Broken(&'static str),
    /// A coding that is not read.
    Coding(&'static str),
}

pub(super) fn sniff(head: &[u8]) -> bool {
    head.starts_with(&[0xFF, 0xD8, 0xFF])
}

pub(super) fn facts(input: &Input<'_>) -> Result<Facts, FrameError> {
    let header = match header(input.head()) {
        Err(HeaderFault::Short) => header(input.whole()?),
        other => other,
    };
    Ok(facts_of(&header.map_err(|fault| fault.about(input))?))
}

pub(super) fn decode(input: &Input<'_>) -> Result<(Facts, Raster), FrameError> {
    let bytes = input.whole()?;
    let header = header(bytes).map_err(|fault| fault.about(input))?;
    input.check_size(header.width.into(), header.height.into())?;
    let (channels, space) = match header.components {
        1 => (1, ColorSpace::Luma),
        3 => (3, ColorSpace::RGB),
        _ => {
            let what = "a JPEG in CMYK, as for print; save it as an RGB JPEG";
            return Err(input.unsupported(what));
        }
    };
    if !ends_properly(bytes, header.scan_at) {
        return Err(input.damaged("the file ends before the picture does"));
    }
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX))
        .jpeg_set_out_colorspace(space);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    let data = decoder
        .decode()
        .map_err(|e| input.damaged(format!("the JPEG data: {e}")))?;
    let (width, height) = (usize::from(header.width), usize::from(header.height));
    let mut raster = Raster::new(
        width,
        height,
        channels,
        Levels::Eight(data),
        Light::ToneMapped,
    )
    .ok_or_else(|| input.damaged("the decoded size is not the declared one"))?;
    raster.quantised_pct = header.quantised_pct;
    Ok((facts_of(&header), raster))
}

impl HeaderFault {
    fn about(self, input: &Input<'_>) -> FrameError {
        match self {
            Self::Short => input.damaged("the file ends before the picture begins"),
            Self::Broken(what) => input.damaged(what),
            Self::Coding(what) => input.unsupported(what),
        }
    }
}

fn facts_of(header: &Header<'_>) -> Facts {
    let (width, height) = (usize::from(header.width), usize::from(header.height));
    header
        .exif
        .and_then(|block| Block::read(block.to_vec()))
        .map_or_else(
            || Facts::sized(width, height),
            |block| block.facts(width, height),
        )
}

/// Walks the segments up to the first scan.
fn header(bytes: &[u8]) -> Result<Header<'_>, HeaderFault> {
    let mut size = None;
    let mut exif = None;
    let mut quantised_pct = None;
    let mut at = 2;
    loop {
        let (marker, body, next) = segment(bytes, at)?;
        match marker {
            0xC0..=0xC2 => size = Some(frame_size(body)?),
            0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF => {
                return Err(HeaderFault::Coding(
                    "a lossless or arithmetic-coded JPEG; save it as an ordinary JPEG",
                ));
            }
            0xDB if quantised_pct.is_none() => quantised_pct = quantised(body),
            0xE1 if exif.is_none() => exif = body.strip_prefix(b"Exif\0\0"),
            0xDA => {
                let (width, height, components) =
                    size.ok_or(HeaderFault::Broken("the JPEG does not state its size"))?;
                return Ok(Header {
                    width,
                    height,
                    components,
                    exif,
                    quantised_pct,
                    scan_at: next,
                });
            }
            0xD9 => return Err(HeaderFault::Broken("the JPEG holds no picture")),
            _ => {}
        }
        at = next;
    }
}

/// Sum of the first quantisation table of a segment over that of the standard's example for
/// brightness, percent.
fn quantised(body: &[u8]) -> Option<f32> {
    /// Sum of table K.1 of ITU-T T.81.
    const EXAMPLE: f32 = 3688.0;
    let (kind, table) = body.split_first()?;
    let is_wide = kind >> 4 == 1;
    let sum: u32 = if is_wide {
        let words = table.get(..128)?.chunks_exact(2);
        words
            .map(|w| w.iter().fold(0, |v, b| 256 * v + u32::from(*b)))
            .sum()
    } else {
        table.get(..64)?.iter().map(|v| u32::from(*v)).sum()
    };
    Some(100.0 * sum as f32 / EXAMPLE)
}

/// Marker, content and end of the segment at or after `at`.
fn segment(bytes: &[u8], at: usize) -> Result<(u8, &[u8], usize), HeaderFault> {
    let rest = bytes.get(at..).ok_or(HeaderFault::Short)?;
    // Some writers pad between segments; a marker is the byte after the last 0xFF.
    let start = rest
        .windows(2)
        .position(|w| w[0] == 0xFF && w[1] != 0xFF && w[1] != 0);
    let start = at + start.ok_or(HeaderFault::Short)?;
    let marker = bytes[start + 1];
    if marker == 0xD9 || (0xD0..=0xD8).contains(&marker) || marker == 0x01 {
        return Ok((marker, &[], start + 2));
    }
    let [high, low] = bytes
        .get(start + 2..start + 4)
        .and_then(|b| b.try_into().ok())
        .ok_or(HeaderFault::Short)?;
    let end = start + 2 + usize::from(u16::from_be_bytes([high, low]));
    if end < start + 4 {
        return Err(HeaderFault::Broken(
            "a JPEG segment states an impossible length",
        ));
    }
    let body = bytes.get(start + 4..end).ok_or(HeaderFault::Short)?;
    Ok((marker, body, end))
}

fn frame_size(body: &[u8]) -> Result<(u16, u16, u8), HeaderFault> {
    match *body {
        [8, h1, h0, w1, w0, components, ..] => Ok((
            u16::from_be_bytes([w1, w0]),
            u16::from_be_bytes([h1, h0]),
            components,
        )),
        [_, _, _, _, _, _, ..] => {
            let what = "a JPEG of 12 bits a sample; save it as TIFF or an 8-bit JPEG";
            Err(HeaderFault::Coding(what))
        }
        _ => Err(HeaderFault::Broken("the JPEG does not state its size")),
    }
}

/// Whether the coded data that begins at `at` runs to an end-of-image marker.
///
/// Decoders fill what is missing with grey and call it success, so a half-written frame would be
/// measured as cloud. In coded data 0xFF is followed by 0 or a restart number; anything else is a
/// segment (between scans) or the end.
fn ends_properly(bytes: &[u8], mut at: usize) -> bool {
    loop {
        let Some(rest) = bytes.get(at..) else {
            return false;
        };
        let Some(found) = rest.iter().position(|b| *b == 0xFF) else {
            return false;
        };
        at += found + 1;
        match bytes.get(at) {
            None => return false,
            Some(0xD9) => return true,
            Some(0xFF) => {}
            Some(0 | 0xD0..=0xD7) => at += 1,
            Some(_) => match segment(bytes, at - 1) {
                Ok((_, _, next)) => at = next,
                Err(_) => return false,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_end_is_found_only_where_it_is() {
        // Stuffed byte, restart, a segment that holds an end marker, then the true end.
        let data = [
            1, 0xFF, 0, 2, 0xFF, 0xD3, 3, 0xFF, 0xC4, 0, 4, 0xFF, 0xD9, 5, 0xFF, 0xD9,
        ];
        assert!(ends_properly(&data, 0));
        assert!(!ends_properly(&data[..data.len() - 1], 0));
        assert!(!ends_properly(&data[..data.len() - 2], 0));
        assert!(!ends_properly(&[0; 64], 0));
        assert!(!ends_properly(&[], 5));
    }

    #[test]
    fn a_segment_may_not_be_shorter_than_its_own_length_field() {
        let bytes = [0xFF, 0xD8, 0xFF, 0xE0, 0, 1, 0, 0];
        assert!(matches!(header(&bytes), Err(HeaderFault::Broken(_))));
    }

    #[test]
    fn coarseness_is_that_of_the_first_table() {
        let mut body = vec![0_u8];
        body.extend([29; 64]);
        body.push(1);
        body.extend([99; 64]);
        let seen = quantised(&body).unwrap();
        assert!((seen - 100.0 * 29.0 * 64.0 / 3688.0).abs() < 1e-3);
        let mut wide = vec![0x10_u8];
        wide.extend([1, 44].repeat(64));
        assert!((quantised(&wide).unwrap() - 100.0 * 300.0 * 64.0 / 3688.0).abs() < 1e-3);
        assert_eq!(quantised(&body[..40]), None);
        assert_eq!(quantised(&[]), None);
    }
}
