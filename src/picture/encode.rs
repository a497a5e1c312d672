//! Pictures to files: 8 bits for looking at, 16 for whoever works on.

use std::io::{self, Cursor};
use std::path::{Path, PathBuf};

use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::PngEncoder;
use image::codecs::tiff::TiffEncoder;
use image::{ExtendedColorType, ImageBuffer, ImageEncoder, Rgb};
use rayon::prelude::*;

use super::film::to_srgb8;
use super::view::Rgba;
use crate::base::atomic::{self, Existing};
use crate::frame::Colour;

/// A picture that could not be written, and where.
#[derive(Debug, thiserror::Error)]
#[error("could not write the picture ({source}): {path}")]
pub struct EncodeError {
    /// What went wrong.
    source: io::Error,
    /// The file that was to be.
    path: PathBuf,
}

/// Writes an 8-bit picture as PNG, whole or not at all.
///
/// # Errors
/// When the disk or folder refuses, or (with [`Existing::Keep`]) the file is there already.
pub fn write_png8(path: &Path, existing: Existing, picture: &Rgba) -> Result<(), EncodeError> {
    let bytes = picture.px.as_flattened();
    let (width, height) = (picture.width as u32, picture.height as u32);
    atomic::write(path, existing, |out| {
        PngEncoder::new(out)
            .write_image(bytes, width, height, ExtendedColorType::Rgba8)
            .map_err(io::Error::other)
    })
    .map_err(|source| EncodeError {
        source,
        path: path.to_owned(),
    })
}

/// How much of the eye's detail a JPEG keeps, of 100.
const SMALL_JPEG_QUALITY: u8 = 82;

/// An 8-bit picture as a JPEG file: for small views, where loss does not matter.
///
/// # Errors
/// When the encoder refuses: a side of 0 px, or one over 65,535.
pub fn jpeg8(picture: &Rgba) -> io::Result<Vec<u8>> {
    let rgb: Vec<u8> = picture
        .px
        .iter()
        .flat_map(|&[r, g, b, _]| [r, g, b])
        .collect();
    let mut file = Vec::new();
    JpegEncoder::new_with_quality(&mut file, SMALL_JPEG_QUALITY)
        .write_image(
            &rgb,
            picture.width as u32,
            picture.height as u32,
            ExtendedColorType::Rgb8,
        )
        .map_err(io::Error::other)?;
    Ok(file)
}

/// How a picture is saved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PictureFormat {
    /// 16 bits, compressed without loss.
    Png,
    /// 16 bits, uncompressed.
    Tiff,
    /// 8 bits, compressed with a little loss.
    Jpeg,
    /// 8 bits, compressed without loss.
    Png8,
}

/// Quality of JPEG files, percent.
const JPEG_QUALITY: u8 = 95;

impl PictureFormat {
    /// The format that a file's ending asks for.
    #[must_use]
    pub fn of(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_str()?.to_ascii_lowercase();
        match ending.as_str() {
            "png" => Some(Self::Png),
            "tif" | "tiff" => Some(Self::Tiff),
            "jpg" | "jpeg" => Some(Self::Jpeg),
            _ => None,
        }
    }

    /// The ending of its files.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Png | Self::Png8 => "png",
            Self::Tiff => "tif",
            Self::Jpeg => "jpg",
        }
    }
}

/// Linear colours as the content of a file through the sRGB curve (IEC 61966-2-1), as programs that
/// read pictures expect; accurate to one step of the format.
///
/// # Errors
/// When the encoder refuses: a side of 0 px, or one longer than the format can say.
pub fn encode_picture(colour: Colour, format: PictureFormat) -> io::Result<Vec<u8>> {
    let (width, height) = (colour.width as u32, colour.height as u32);
    let mut file = Cursor::new(Vec::new());
    if matches!(format, PictureFormat::Jpeg | PictureFormat::Png8) {
        let curve: Vec<u8> = (0..=u16::MAX)
            .map(|linear| to_srgb8(f32::from(linear) / 65_535.0))
            .collect();
        let samples: Vec<u8> = (colour.rgb.as_flattened().par_iter())
            .with_min_len(1 << 16)
            .map(|&at| curve.get(usize::from(at)).copied().unwrap_or(u8::MAX))
            .collect();
        drop(colour);
        let colours = ExtendedColorType::Rgb8;
        if format == PictureFormat::Jpeg {
            JpegEncoder::new_with_quality(&mut file, JPEG_QUALITY)
                .write_image(&samples, width, height, colours)
        } else {
            PngEncoder::new(&mut file).write_image(&samples, width, height, colours)
        }
        .map_err(io::Error::other)?;
        return Ok(file.into_inner());
    }
    let curve: Vec<u16> = (0..=u16::MAX).map(to_srgb).collect();
    let mut samples = colour.rgb.into_flattened();
    samples.par_iter_mut().with_min_len(1 << 16).for_each(|at| {
        *at = curve.get(usize::from(*at)).copied().unwrap_or(u16::MAX);
    });
    let picture = ImageBuffer::<Rgb<u16>, Vec<u16>>::from_raw(width, height, samples)
        .ok_or_else(|| io::Error::other("fewer samples than its size says"))?;
    if format == PictureFormat::Tiff {
        picture.write_with_encoder(TiffEncoder::new(&mut file))
    } else {
        picture.write_with_encoder(PngEncoder::new(&mut file))
    }
    .map_err(io::Error::other)?;
    Ok(file.into_inner())
}

fn to_srgb(linear: u16) -> u16 {
    let linear = f64::from(linear) / 65_535.0;
    let shown = if linear <= 0.003_130_8 {
        12.92 * linear
    } else {
        1.055 * linear.powf(1.0 / 2.4) - 0.055
    };
    (shown * 65_535.0).round() as u16
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn written_files_read_back() {
        let folder = tempfile::tempdir().unwrap();
        let small = folder.path().join("small.png");
        let picture = Rgba {
            width: 2,
            height: 1,
            px: vec![[1, 2, 3, 255], [250, 0, 9, 255]],
        };
        write_png8(&small, Existing::Keep, &picture).unwrap();
        assert_eq!(
            image::open(&small).unwrap().to_rgba8().into_raw(),
            picture.px.as_flattened()
        );
        assert!(write_png8(&small, Existing::Keep, &picture).is_err());
    }

    #[test]
    fn deep_files_go_through_the_srgb_curve() {
        for format in [PictureFormat::Png, PictureFormat::Tiff] {
            let colour = Colour {
                width: 1,
                height: 2,
                rgb: vec![[0, 65_535, 14_026], [100, 1, 2]],
            };
            let file = encode_picture(colour, format).unwrap();
            let read = image::load_from_memory(&file).unwrap();
            let read = read.as_rgb16().unwrap().as_raw().clone();
            // 0.21404 linear is the middle of the sRGB range; 100 lies on the straight part.
            assert_eq!(read[..2], [0, 65_535]);
            assert!((i32::from(read[2]) - 32_767).abs() <= 2, "{}", read[2]);
            assert_eq!(read[3], 1_292);
        }
    }

    #[test]
    fn eight_bits_go_through_the_same_curve() {
        for (format, loss) in [(PictureFormat::Png8, 1), (PictureFormat::Jpeg, 3)] {
            let colour = Colour {
                width: 8,
                height: 8,
                rgb: vec![[14_026; 3]; 64],
            };
            let read = image::load_from_memory(&encode_picture(colour, format).unwrap()).unwrap();
            let read = read.into_rgb8();
            assert!(
                read.as_raw().iter().all(|v| v.abs_diff(128) <= loss),
                "{format:?}"
            );
        }
    }

    #[test]
    fn the_ending_says_which() {
        let of = |name: &str| PictureFormat::of(Path::new(name));
        assert_eq!(of("a/b.PNG"), Some(PictureFormat::Png));
        assert_eq!(of("b.tiff"), Some(PictureFormat::Tiff));
        assert_eq!(of("b.jpg"), Some(PictureFormat::Jpeg));
        assert_eq!(of("png"), None);
        assert_eq!(of("b.gif"), None);
    }
}
