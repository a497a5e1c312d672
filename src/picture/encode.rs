//! Pictures to PNG files.

use std::io;
use std::path::{Path, PathBuf};

use image::codecs::png::PngEncoder;
use image::{ExtendedColorType, ImageEncoder};

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
    let size = (picture.width, picture.height);
    write(path, existing, bytes, size, ExtendedColorType::Rgba8)
}

/// Writes linear colours as a 16-bit PNG through the sRGB curve (IEC 61966-2-1), as programs that
/// read PNG expect; accurate to one 16-bit step.
///
/// # Errors
/// As [`write_png8`].
pub fn write_png16(path: &Path, existing: Existing, colour: &Colour) -> Result<(), EncodeError> {
    let curve: Vec<u16> = (0..=u16::MAX).map(to_srgb).collect();
    let bytes: Vec<u8> = colour
        .rgb
        .as_flattened()
        .iter()
        .flat_map(|&sample| curve[usize::from(sample)].to_ne_bytes())
        .collect();
    let size = (colour.width, colour.height);
    write(path, existing, &bytes, size, ExtendedColorType::Rgb16)
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

fn write(
    path: &Path,
    existing: Existing,
    bytes: &[u8],
    (width, height): (usize, usize),
    kind: ExtendedColorType,
) -> Result<(), EncodeError> {
    atomic::write(path, existing, |out| {
        PngEncoder::new(out)
            .write_image(bytes, width as u32, height as u32, kind)
            .map_err(io::Error::other)
    })
    .map_err(|source| EncodeError {
        source,
        path: path.to_owned(),
    })
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

        let deep = folder.path().join("deep.png");
        let colour = Colour {
            width: 1,
            height: 2,
            rgb: vec![[0, 65_535, 14_026], [100, 1, 2]],
        };
        write_png16(&deep, Existing::Keep, &colour).unwrap();
        let read = image::open(&deep).unwrap().to_rgb16().into_raw();
        // 0.21404 linear is the middle of the sRGB range; 100 lies on the straight part.
        assert_eq!(read[..2], [0, 65_535]);
        assert!((i32::from(read[2]) - 32_767).abs() <= 2, "{}", read[2]);
        assert_eq!(read[3], 1_292);
    }
}
