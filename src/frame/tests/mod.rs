//! Files that other programs wrote, read whole.
#![expect(clippy::float_cmp, reason = "exact samples are what is promised")]

mod exif;
mod hostile;
mod listing;
mod samples;

use std::path::{Path, PathBuf};

use crate::base::atomic::{self, Existing};

/// A file under tests/reference, made by the scripts there.
fn reference(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/reference")
        .join(name)
}

/// A new file with `content`.
fn put(path: &Path, content: &[u8]) {
    atomic::write(path, Existing::Keep, |file| file.write_all(content)).unwrap();
}
