//! One file, opened with care: only regular files, never past the limits, never twice in memory.

use std::cell::OnceCell;
use std::fs::{self, File};
use std::io::{BufReader, Read, Seek};
use std::path::Path;
use std::sync::Arc;

use super::{FrameError, Limits, OpenOptions};

/// As much of a file's start as tells its format and, nearly always, its capture facts.
const HEAD_BYTES: u64 = 256 * 1024;
/// As much of a raw file's start as nearly always holds all of its directories and makers' notes.
const LONG_HEAD_BYTES: u64 = 4 << 20;

/// A file that is being read.
pub(super) struct Input<'a> {
    pub(super) path: &'a Path,
    pub(super) options: &'a OpenOptions,
    len: u64,
    head: Vec<u8>,
    whole: OnceCell<Arc<Vec<u8>>>,
}

impl<'a> Input<'a> {
    /// Opens `path` and reads its start.
    pub(super) fn open(path: &'a Path, options: &'a OpenOptions) -> Result<Self, FrameError> {
        // Asked before opening: opening a pipe would wait for its writer.
        let meta = fs::metadata(path).map_err(|e| FrameError::io(path, e))?;
        if !meta.is_file() {
            let what = "this is a folder, a pipe or a device, not a file";
            return Err(FrameError::unsupported(path, what));
        }
        let len = meta.len();
        if len == 0 {
            return Err(FrameError::damaged(path, "the file is empty"));
        }
        if len > options.limits.max_file_bytes {
            let limit = options.limits.max_file_bytes;
            let what = format!("the file has {len} bytes, the limit is {limit}");
            return Err(FrameError::too_large(path, what));
        }
        let mut input = Self {
            path,
            options,
            len,
            head: Vec::new(),
            whole: OnceCell::new(),
        };
        input.head = input.read_up_to(HEAD_BYTES)?;
        Ok(input)
    }

    /// The first bytes of the file.
    pub(super) fn head(&self) -> &[u8] {
        &self.head
    }

    /// Whether [`Self::head`] is all there is.
    pub(super) const fn head_is_all(&self) -> bool {
        self.len <= HEAD_BYTES
    }

    /// All bytes of the file, read once.
    pub(super) fn whole(&self) -> Result<&[u8], FrameError> {
        if self.head_is_all() {
            return Ok(&self.head);
        }
        Ok(self.shared()?.as_slice())
    }

    /// The first megabytes of a long file, so that the facts of a thousand raw files need not read
    /// all of them.
    pub(super) fn long_head(&self) -> Result<Arc<Vec<u8>>, FrameError> {
        self.read_up_to(LONG_HEAD_BYTES).map(Arc::new)
    }

    /// All bytes of the file, read once, for decoders that keep them.
    pub(super) fn shared(&self) -> Result<&Arc<Vec<u8>>, FrameError> {
        if let Some(whole) = self.whole.get() {
            return Ok(whole);
        }
        // A file that grows while it is read is still being written: the size at opening bounds
        // what is read, and the decoder then says what is missing.
        let whole = Arc::new(self.read_up_to(self.len)?);
        Ok(self.whole.get_or_init(|| whole))
    }

    /// A reader from the file's start, for formats that need not be held in memory.
    pub(super) fn reader(&self) -> Result<BufReader<File>, FrameError> {
        let file = File::open(self.path).map_err(|e| FrameError::io(self.path, e))?;
        Ok(BufReader::with_capacity(256 * 1024, file))
    }

    /// An error about this file's content.
    pub(super) fn damaged(&self, what: impl Into<String>) -> FrameError {
        FrameError::damaged(self.path, what)
    }

    /// An error about this file's kind.
    pub(super) fn unsupported(&self, what: impl Into<String>) -> FrameError {
        FrameError::unsupported(self.path, what)
    }

    /// Holds a declared size against the limits before anything is allocated for it.
    pub(super) fn check_size(&self, width: u64, height: u64) -> Result<(), FrameError> {
        self.options
            .limits
            .check(self.path, width, height, self.len)
    }

    fn read_up_to(&self, count: u64) -> Result<Vec<u8>, FrameError> {
        let io = |e| FrameError::io(self.path, e);
        let mut file = File::open(self.path).map_err(io)?;
        file.rewind().map_err(io)?;
        let mut bytes = Vec::with_capacity(usize::try_from(count.min(self.len)).unwrap_or(0));
        file.take(count).read_to_end(&mut bytes).map_err(io)?;
        Ok(bytes)
    }
}

/// No coding in use packs more pixels into a byte: deflate reaches 1032 to 1, and a black
/// progressive JPEG about 350.
const MOST_PIXELS_A_BYTE: u64 = 4096;

impl Limits {
    /// Holds a declared size of `width` × `height` px in a file of `file_bytes` against the limits.
    pub(super) fn check(
        &self,
        path: &Path,
        width: u64,
        height: u64,
        file_bytes: u64,
    ) -> Result<(), FrameError> {
        let pixels = width.saturating_mul(height);
        if pixels == 0 {
            return Err(FrameError::damaged(path, "its width or height is zero"));
        }
        if pixels > self.max_pixels {
            let limit = self.max_pixels / 1_000_000;
            let what =
                format!("it declares {width} × {height} px, the limit is {limit} megapixels");
            return Err(FrameError::too_large(path, what));
        }
        if pixels / MOST_PIXELS_A_BYTE > file_bytes {
            let what = format!("it declares {width} × {height} px but has only {file_bytes} bytes");
            return Err(FrameError::damaged(path, what));
        }
        Ok(())
    }
}
