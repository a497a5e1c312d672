//! Why a file could not be used, in words for the person whose file it is.

use std::io;
use std::path::{Path, PathBuf};

/// Why a file could not be used. Each message says what is wrong, and the path comes last.
#[derive(Debug, thiserror::Error)]
pub enum FrameError {
    /// The operating system refused.
    #[error("{}: {}", io_words(.source), .path.display())]
    Io {
        /// What it said.
        source: io::Error,
        /// Which file.
        path: PathBuf,
    },
    /// The file is not what it claims to be, or a part of it is missing.
    #[error("damaged: {what}: {}", .path.display())]
    Damaged {
        /// What is wrong with it.
        what: String,
        /// Which file.
        path: PathBuf,
    },
    /// A whole file of a kind that is not read.
    #[error("not supported: {what}: {}", .path.display())]
    Unsupported {
        /// What is not supported, and what to do.
        what: String,
        /// Which file.
        path: PathBuf,
    },
    /// Larger than the limits allow.
    #[error("too large: {what}: {}", .path.display())]
    TooLarge {
        /// The size it declares and the limit.
        what: String,
        /// Which file.
        path: PathBuf,
    },
}

impl FrameError {
    /// An error of the operating system about `path`.
    #[must_use]
    pub fn io(path: &Path, source: io::Error) -> Self {
        Self::Io {
            source,
            path: path.to_owned(),
        }
    }

    /// A damaged file.
    pub fn damaged(path: &Path, what: impl Into<String>) -> Self {
        Self::Damaged {
            what: what.into(),
            path: path.to_owned(),
        }
    }

    /// A kind of file that is not read.
    pub fn unsupported(path: &Path, what: impl Into<String>) -> Self {
        Self::Unsupported {
            what: what.into(),
            path: path.to_owned(),
        }
    }

    /// A file over the limits.
    pub fn too_large(path: &Path, what: impl Into<String>) -> Self {
        Self::TooLarge {
            what: what.into(),
            path: path.to_owned(),
        }
    }
}

fn io_words(source: &io::Error) -> String {
    match source.kind() {
        io::ErrorKind::NotFound => "there is nothing at this path".to_owned(),
        io::ErrorKind::PermissionDenied => "no permission to read".to_owned(),
        _ => source.to_string(),
    }
}
