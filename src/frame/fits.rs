//! FITS (standard 4.0): images of one plane or three, integers and floats, with their scaling.
//!
//! Read here rather than by a crate, since BZERO and BSCALE, planes, row order and the camera's
//! colour pattern all have to be applied to the samples on their way.

use std::io::{Read, Seek, SeekFrom};

use super::fits_header::{BLOCK, Header};
use super::input::Input;
use super::mosaic::Pattern;
use super::raster::{Levels, Raster};
use super::sensor::{Area, Black, Sensor, Stored};
use super::{Facts, FrameError, Light};

/// Headers looked at for the first image.
const MOST_UNITS: usize = 64;

/// A decoded FITS image: a mosaic, or grey or colour.
pub(super) enum Image {
    Mosaic(Sensor),
    Picture(Raster),
}

pub(super) fn sniff(head: &[u8]) -> bool {
    head.starts_with(b"SIMPLE  =")
}

pub(super) fn facts(input: &Input<'_>) -> Result<Facts, FrameError> {
    let shape = first_image(input, &mut input.reader()?)?;
    Ok(shape.header.facts(shape.width, shape.height))
}

pub(super) fn decode(input: &Input<'_>) -> Result<(Facts, Image), FrameError> {
    let mut reader = input.reader()?;
    let shape = first_image(input, &mut reader)?;
    let facts = shape.header.facts(shape.width, shape.height);
    let Shape {
        width,
        height,
        planes,
        ..
    } = shape;
    let scale = Scale::of(&shape.header, shape.kind)
        .ok_or_else(|| input.damaged("the FITS scaling keywords make no sense"))?;

    let mut data = vec![0.0_f32; width * height * planes];
    let mut row = vec![0_u8; width * shape.kind.bytes()];
    let top_down = shape
        .header
        .text("ROWORDER")
        .is_some_and(|order| order.eq_ignore_ascii_case("TOP-DOWN"));
    for plane in 0..planes {
        for stored in 0..height {
            reader
                .read_exact(&mut row)
                .map_err(|_| input.damaged("the file ends before the picture does"))?;
            let y = if top_down {
                stored
            } else {
                height - 1 - stored
            };
            let out = data[y * width * planes..][..width * planes].iter_mut();
            scale.convert(&row, shape.kind, out.skip(plane).step_by(planes));
        }
    }
    let levels = if shape.kind.is_float() {
        Levels::of_floats(data)
    } else {
        let step = scale.step;
        Levels::Float { data, step }
    };
    let pattern = if planes == 1 {
        bayer(&shape.header)
    } else {
        None
    };
    let image = match (pattern, levels) {
        (Some(pattern), Levels::Float { data, step }) => {
            let pattern = if top_down {
                pattern
            } else {
                pattern.upside_down(height)
            };
            Image::Mosaic(Sensor {
                stored: Stored::Float(data),
                stored_step: step,
                stride: width,
                channels: 1,
                area: Area {
                    x: 0,
                    y: 0,
                    width,
                    height,
                },
                black: Black {
                    width: 1,
                    height: 1,
                    levels: vec![0.0],
                },
                white: 1.0,
                pattern: Some(pattern),
                balance: None,
            })
        }
        (_, levels) => {
            let raster = Raster::new(width, height, planes, levels, Light::Linear);
            Image::Picture(
                raster.ok_or_else(|| input.damaged("the FITS axes do not fit the data"))?,
            )
        }
    };
    Ok((facts, image))
}

/// How numbers are stored: BITPIX.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    U8,
    I16,
    I32,
    F32,
    F64,
}

impl Kind {
    const fn bytes(self) -> usize {
        match self {
            Self::U8 => 1,
            Self::I16 => 2,
            Self::I32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }

    const fn is_float(self) -> bool {
        matches!(self, Self::F32 | Self::F64)
    }

    /// The largest number of an integer kind.
    fn largest(self) -> f64 {
        match self {
            Self::U8 => 255.0,
            Self::I16 => f64::from(i16::MAX),
            Self::I32 => f64::from(i32::MAX),
            Self::F32 | Self::F64 => 1.0,
        }
    }
}

/// The first image of a file, its reader standing at the data.
struct Shape {
    header: Header,
    kind: Kind,
    width: usize,
    height: usize,
    planes: usize,
}

fn first_image(input: &Input<'_>, reader: &mut (impl Read + Seek)) -> Result<Shape, FrameError> {
    let io = |e| FrameError::io(input.path, e);
    for unit in 0..MOST_UNITS {
        let Some(header) = Header::read(reader).map_err(io)? else {
            let what = if unit == 0 {
                "the FITS header has no end"
            } else {
                "the FITS file holds no image"
            };
            return Err(input.damaged(what));
        };
        if header.text("ZIMAGE") == Some("T") {
            let what = "a tile-compressed FITS image; unpack it with funpack first";
            return Err(input.unsupported(what));
        }
        let bytes = header
            .data_bytes()
            .ok_or_else(|| input.damaged("the FITS header does not state its size"))?;
        let is_image = unit == 0 || header.text("XTENSION") == Some("IMAGE");
        if is_image && bytes > 0 {
            return shape_of(input, header);
        }
        let padded = bytes.next_multiple_of(BLOCK as u64);
        let padded =
            i64::try_from(padded).map_err(|_| input.damaged("the FITS data is too long"))?;
        reader.seek(SeekFrom::Current(padded)).map_err(io)?;
    }
    Err(input.damaged("the FITS file holds no image"))
}

fn shape_of(input: &Input<'_>, header: Header) -> Result<Shape, FrameError> {
    let kind = match header.integer("BITPIX") {
        Some(8) => Kind::U8,
        Some(16) => Kind::I16,
        Some(32) => Kind::I32,
        Some(-32) => Kind::F32,
        Some(-64) => Kind::F64,
        other => {
            let what = format!("FITS samples of BITPIX {}", other.unwrap_or(0));
            return Err(input.unsupported(what));
        }
    };
    let axes = header.axes().unwrap_or_default();
    let (&[width, height], more) = axes.split_at_checked(2).unwrap_or_default() else {
        return Err(input.unsupported("a FITS file of one axis, which is no picture"));
    };
    let planes: u64 = more.iter().product();
    if planes != 1 && planes != 3 {
        let what = format!("a FITS cube of {planes} planes; save each as a file of its own");
        return Err(input.unsupported(what));
    }
    input.check_size(width, height)?;
    let side = |length| usize::try_from(length).unwrap_or(0);
    Ok(Shape {
        kind,
        width: side(width),
        height: side(height),
        planes: side(planes),
        header,
    })
}

/// From stored numbers to parts of full scale: physical = BZERO + BSCALE · stored.
///
/// Full scale is what the largest number of the integer kind stands for, 65535 in the usual 16-bit
/// file. DATAMAX is not used: many writers put the frame's own maximum there, and the scale of a
/// night would change from frame to frame.
struct Scale {
    factor: f64,
    zero: f64,
    blank: Option<i64>,
    step: f32,
}

impl Scale {
    fn of(header: &Header, kind: Kind) -> Option<Self> {
        let factor = header.number("BSCALE").unwrap_or(1.0);
        let zero = header.number("BZERO").unwrap_or(0.0);
        let full = if kind.is_float() {
            1.0
        } else {
            zero + factor * kind.largest()
        };
        (factor > 0.0 && full > 0.0).then_some(Self {
            factor: factor / full,
            zero: zero / full,
            blank: header.integer("BLANK"),
            step: (factor / full) as f32,
        })
    }

    fn convert<'a>(&self, row: &[u8], kind: Kind, out: impl Iterator<Item = &'a mut f32>) {
        let float = |stored: f64| (self.zero + self.factor * stored) as f32;
        let whole = |stored: i64| {
            // An undefined sample is black.
            if self.blank == Some(stored) {
                0.0
            } else {
                float(stored as f64)
            }
        };
        match kind {
            Kind::U8 => out.zip(row).for_each(|(o, v)| *o = whole((*v).into())),
            Kind::I16 => out
                .zip(row.as_chunks().0)
                .for_each(|(o, v)| *o = whole(i16::from_be_bytes(*v).into())),
            Kind::I32 => out
                .zip(row.as_chunks().0)
                .for_each(|(o, v)| *o = whole(i32::from_be_bytes(*v).into())),
            Kind::F32 => out
                .zip(row.as_chunks().0)
                .for_each(|(o, v)| *o = float(f32::from_be_bytes(*v).into())),
            Kind::F64 => {
                out.zip(row.as_chunks().0)
                    .for_each(|(o, v)| *o = float(f64::from_be_bytes(*v)));
            }
        }
    }
}

/// The mosaic of a colour camera, beginning at the first stored sample.
fn bayer(header: &Header) -> Option<Pattern> {
    let colors = header
        .text("BAYERPAT")?
        .chars()
        .map(|color| match color.to_ascii_uppercase() {
            'R' => Some(0),
            'G' => Some(1),
            'B' => Some(2),
            _ => None,
        });
    let pattern = Pattern::new(2, 2, colors.collect::<Option<Vec<u8>>>()?)?;
    let offset = |key| header.integer(key).unwrap_or(0).rem_euclid(2) as usize;
    Some(pattern.from(offset("XBAYROFF"), offset("YBAYROFF")))
}
