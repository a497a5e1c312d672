//! What tells one file's content from another's.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

/// How much of either end of a file goes into its key.
const END_BYTES: u64 = 64 * 1024;

/// A file's content, told by its size and a digest of its first and last 64 KiB, so that renaming
/// or moving a file loses nothing. Reading all of a night's files again would take as long as
/// measuring them, and no camera writes two frames that differ only in the middle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ContentKey {
    /// Size in bytes.
    pub size: u64,
    /// BLAKE3 of the first and the last 64 KiB (of all of it when it is no longer than both).
    pub digest: [u8; 32],
}

impl ContentKey {
    /// Reads the key of the file at `path`.
    ///
    /// # Errors
    /// When the file cannot be opened or read.
    pub fn of(path: &Path) -> io::Result<Self> {
        let mut file = File::open(path)?;
        let size = file.metadata()?.len();
        let mut hasher = blake3::Hasher::new();
        let mut buffer = Vec::new();
        if size <= 2 * END_BYTES {
            file.take(2 * END_BYTES).read_to_end(&mut buffer)?;
        } else {
            (&mut file).take(END_BYTES).read_to_end(&mut buffer)?;
            file.seek(SeekFrom::Start(size - END_BYTES))?;
            file.take(END_BYTES).read_to_end(&mut buffer)?;
        }
        hasher.update(&buffer);
        Ok(Self {
            size,
            digest: *hasher.finalize().as_bytes(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key_of(content: &[u8]) -> ContentKey {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("frame");
        crate::base::atomic::write(&path, crate::base::atomic::Existing::Keep, |out| {
            out.write_all(content)
        })
        .unwrap();
        ContentKey::of(&path).unwrap()
    }

    #[test]
    fn both_ends_and_the_size_count() {
        let long = vec![7u8; 200 * 1024];
        let base = key_of(&long);
        assert_eq!(base, key_of(&long), "the same content has the same key");
        let mut first = long.clone();
        first[0] = 8;
        assert_ne!(base, key_of(&first));
        let mut last = long.clone();
        last[200 * 1024 - 1] = 8;
        assert_ne!(base, key_of(&last));
        assert_ne!(base, key_of(&long[1..]));
    }

    #[test]
    fn a_short_file_is_read_whole() {
        let mut content = vec![1u8; 100 * 1024];
        let base = key_of(&content);
        content[64 * 1024 + 5] = 2;
        assert_ne!(base, key_of(&content));
        assert_eq!(key_of(b"").size, 0);
    }
}
