//! The same scene in every format: the same trail.

use nightloupe::sim::{Format, Scene};

use super::{measured, options, simulated, with_trail};

/// The trail at the frame's centre, which does not hang on which stars are found, and its error.
fn trail(format: Format, quality: u8, length_px: f64, seed: u64) -> (f64, f64) {
    let scene = Scene {
        jpeg_quality: quality,
        ..with_trail(length_px)
    };
    let folder = tempfile::tempdir().unwrap();
    let (got, _) = measured(&simulated(folder.path(), &options(scene, format, seed)));
    let trail = got.trail.unwrap();
    (trail.centre_px, trail.centre_error_px)
}

#[test]
fn all_formats_read_the_same_trail() {
    for (length_px, seed) in [(2.0, 60), (4.0, 61), (8.0, 62), (12.0, 63)] {
        let tiff = trail(Format::Tiff, 93, length_px, seed);
        let others = [(Format::Dng, 93), (Format::Jpeg, 95), (Format::Jpeg, 80)];
        for (format, quality) in others {
            let other = trail(format, quality, length_px, seed);
            assert!(
                (other.0 - tiff.0).abs() <= tiff.1 + other.1,
                "{format:?} {quality} {length_px} px: {other:?} against {tiff:?}"
            );
        }
    }
}
