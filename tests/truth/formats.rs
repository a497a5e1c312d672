//! The same scene in every format: the same trail.

use nightloupe::sim::{Format, Scene};

use super::{measured, options, simulated, with_trail};

/// Demosaicing in the camera widens and shortens stars by a part of a pixel that a JPEG does not
/// tell; what is allowed beyond the stated errors, px.
const JPEG_BIAS_PX: f64 = 0.12;

fn trail(format: Format, quality: u8, length_px: f64, seed: u64) -> (f64, f64, f64) {
    let scene = Scene {
        jpeg_quality: quality,
        ..with_trail(length_px)
    };
    let folder = tempfile::tempdir().unwrap();
    let (got, want) = measured(&simulated(folder.path(), &options(scene, format, seed)));
    let trail = got.trail.unwrap();
    let off = trail.length_px - want.trail.median_px;
    (trail.length_px, trail.length_error_px, off)
}

#[test]
fn all_formats_read_the_same_trail() {
    for (length_px, seed) in [(4.0, 61), (8.0, 62), (12.0, 63)] {
        let tiff = trail(Format::Tiff, 93, length_px, seed);
        let others = [
            (Format::Dng, 93, 0.0),
            (Format::Jpeg, 95, JPEG_BIAS_PX),
            (Format::Jpeg, 80, JPEG_BIAS_PX),
        ];
        for (format, quality, bias) in others {
            let other = trail(format, quality, length_px, seed);
            // The same stars, but not the same noise: two in a hundred lie beyond 2.3 errors of the
            // difference, the sum of both errors is a little more than one of it.
            let room = 1.7 * (tiff.1 + other.1) + bias;
            assert!(
                (other.0 - tiff.0).abs() <= room,
                "{format:?} {quality} {length_px} px: {other:?} against {tiff:?}"
            );
        }
    }
}
