//! Files that are damaged, cut off, misnamed or absurd: each a named error, never a panic.

use std::fs;
use std::io::Write;

use proptest::prelude::*;
use tempfile::NamedTempFile;

use super::reference;
use crate::frame::{FrameError, Limits, OpenOptions, open, open_colour, read_facts};

/// A file of each kind.
const KINDS: [&str; 9] = [
    "half-chroma.jpg",
    "progressive.jpg",
    "rgb16.png",
    "rgb8.tif",
    "rgb16-tiles.tif",
    "u16.fits",
    "crop.dng",
    "mono.dng",
    "bigtiff.tif",
];

fn bytes(name: &str) -> Vec<u8> {
    fs::read(reference(&format!("samples/{name}"))).unwrap()
}

/// `content` in a file whose name ends in `name`.
fn file(name: &str, content: &[u8]) -> NamedTempFile {
    let mut file = tempfile::Builder::new().suffix(name).tempfile().unwrap();
    file.write_all(content).unwrap();
    file
}

fn error(name: &str, content: &[u8]) -> FrameError {
    let file = file(name, content);
    let path = file.path();
    let opened = open(path, &OpenOptions::default()).map(|_| ());
    let error = opened.expect_err(&format!("{name} of {} bytes", content.len()));
    let words = error.to_string();
    assert!(
        words.ends_with(&path.display().to_string()),
        "the path comes last: {words}"
    );
    error
}

fn is_damaged(error: &FrameError) -> bool {
    matches!(error, FrameError::Damaged { .. })
}

#[test]
fn a_cut_file_is_damaged_wherever_it_is_cut() {
    for name in KINDS {
        let whole = bytes(name);
        // A cut within the last rows hides best. Behind them FITS has padding, PNG an empty chunk, TIFF may have a checksum.
        let behind = match name.rsplit_once('.') {
            Some((_, "fits")) => 2880,
            Some((_, "png")) => 12,
            // The last code of deflate, and its checksum.
            Some((_, "tif")) => 8,
            _ => 0,
        };
        let end = whole.len() - behind;
        for keep in [3, 20, end / 4, end / 2, end * 9 / 10, end - 40, end - 1] {
            let error = error(name, &whole[..keep]);
            assert!(is_damaged(&error), "{name} cut to {keep}: {error}");
        }
    }
}

#[test]
fn a_jpeg_whose_end_was_never_written_is_damaged() {
    // What a card leaves when the power fails: the length is there, the content is zeros.
    for name in ["half-chroma.jpg", "progressive.jpg"] {
        let mut whole = bytes(name);
        let from = whole.len() * 2 / 3;
        whole[from..].fill(0);
        assert!(is_damaged(&error(name, &whole)));
    }
}

#[test]
fn empty_misnamed_and_unknown_files_say_so() {
    assert!(error("a.jpg", b"").to_string().contains("empty"));
    let text = error("a.jpg", b"Dear diary, it was cloudy again.");
    assert!(
        is_damaged(&text) && text.to_string().contains("JPEG"),
        "{text}"
    );
    let text = error("a.nef", &[0; 5000]);
    assert!(
        is_damaged(&text) && text.to_string().contains("raw"),
        "{text}"
    );
    let unknown = error("a.xyz", b"Dear diary");
    assert!(matches!(unknown, FrameError::Unsupported { .. }));
    let heif = error("a.jpg", b"\0\0\0\x18ftypheic\0\0\0\0");
    assert!(heif.to_string().contains("HEIF"), "{heif}");
    assert!(matches!(
        error("a.jpg", &bytes("cmyk.jpg")),
        FrameError::Unsupported { .. }
    ));
}

#[test]
fn content_decides_and_not_the_name() {
    let misnamed = file("a.png", &bytes("grey.jpg"));
    assert!(open(misnamed.path(), &OpenOptions::default()).is_ok());
    let unnamed = file("no ending", &bytes("crop.dng"));
    assert!(open(unnamed.path(), &OpenOptions::default()).is_ok());
}

#[test]
fn what_is_no_file_says_so() {
    let options = OpenOptions::default();
    let folder = tempfile::tempdir().unwrap();
    let missing = open(&folder.path().join("none.jpg"), &options).unwrap_err();
    assert!(
        missing.to_string().contains("nothing at this path"),
        "{missing}"
    );
    let dir = open(folder.path(), &options).unwrap_err();
    assert!(matches!(dir, FrameError::Unsupported { .. }));
}

#[test]
fn absurd_sizes_are_refused_before_memory_is_taken() {
    // JPEG: 65535 x 65535 in the frame header.
    let mut jpeg = bytes("full-chroma.jpg");
    let sof = jpeg.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
    jpeg[sof + 5..sof + 9].fill(0xFF);
    assert!(matches!(error("a.jpg", &jpeg), FrameError::TooLarge { .. }));
    // PNG: the same in IHDR, its checksum made good.
    let mut png = bytes("grey16.png");
    png[16..24].copy_from_slice(&[0, 0, 0xFF, 0xFF, 0, 0, 0xFF, 0xFF]);
    let checksum = crc32(&png[12..29]).to_be_bytes();
    png[29..33].copy_from_slice(&checksum);
    assert!(matches!(error("a.png", &png), FrameError::TooLarge { .. }));
    // FITS: a square of a billion.
    let fits = String::from_utf8_lossy(&bytes("u8.fits")[..2880])
        .replace(
            "NAXIS1  =                   64",
            "NAXIS1  =           1000000000",
        )
        .replace(
            "NAXIS2  =                   48",
            "NAXIS2  =           1000000000",
        );
    assert!(matches!(
        error("a.fits", fits.as_bytes()),
        FrameError::TooLarge { .. }
    ));
    // Within the limit, but more than the file can hold.
    let fits = fits.replace("1000000000", "     12000");
    assert!(is_damaged(&error("a.fits", fits.as_bytes())));
}

/// The checksum of a PNG chunk, bit by bit.
fn crc32(data: &[u8]) -> u32 {
    !data.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            if crc & 1 == 1 {
                crc >> 1 ^ 0xEDB8_8320
            } else {
                crc >> 1
            }
        })
    })
}

#[test]
fn the_limits_given_count() {
    let small = |max_pixels, max_file_bytes| OpenOptions {
        limits: Limits {
            max_pixels,
            max_file_bytes,
        },
        ..OpenOptions::default()
    };
    for name in KINDS {
        let path = reference(&format!("samples/{name}"));
        for options in [small(2000, 1 << 30), small(1 << 30, 100)] {
            let error = open(&path, &options).unwrap_err();
            assert!(
                matches!(error, FrameError::TooLarge { .. }),
                "{name}: {error}"
            );
        }
    }
}

#[cfg(unix)]
#[test]
fn a_pipe_is_not_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe.jpg");
    let made = std::process::Command::new("mkfifo")
        .arg(&pipe)
        .status()
        .unwrap();
    assert!(made.success());
    let error = open(&pipe, &OpenOptions::default()).unwrap_err();
    assert!(matches!(error, FrameError::Unsupported { .. }));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Bytes changed anywhere give samples or an error, and all samples are numbers.
    #[test]
    fn changed_bytes_never_panic(
        kind in 0..KINDS.len(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        in_head in any::<bool>(),
    ) {
        let mut content = bytes(KINDS[kind]);
        // Headers are where the harm is.
        let reach = if in_head { content.len().min(400) } else { content.len() };
        for (place, value) in changes {
            let place = place.index(reach);
            content[place] = value;
        }
        let file = file(KINDS[kind], &content);
        let options = OpenOptions::default();
        let path = file.path();
        let _ = read_facts(path, &options);
        let _ = open_colour(path, &options);
        if let Ok(frame) = open(path, &options) {
            prop_assert!(frame.samples.green.data().iter().all(|level| level.is_finite()));
        }
    }
}
