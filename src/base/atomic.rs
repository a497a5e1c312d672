//! Writes that are whole or not there.

use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use tempfile::NamedTempFile;

/// What to do when the file is there already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// Put the new file in its place, in one step.
    Replace,
    /// Leave it and fail with [`io::ErrorKind::AlreadyExists`].
    Keep,
}

/// Writes a file so that at any moment `path` holds either what was there before or all of the
/// new content: a temporary file in the same folder, flushed to disk, then renamed. A file that is
/// replaced hands on its permissions.
///
/// # Errors
/// Whatever creating, writing, flushing or renaming says; the temporary file is then gone.
pub fn write(
    path: &Path,
    existing: Existing,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> io::Result<()> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut file = NamedTempFile::new_in(folder)?;
    {
        let mut buffered = BufWriter::with_capacity(1 << 16, file.as_file_mut());
        fill(&mut buffered)?;
        buffered.flush()?;
    }
    file.as_file().sync_all()?;
    match fs::metadata(path) {
        Ok(there) => fs::set_permissions(file.path(), there.permissions())?,
        Err(_) => open_to_reading(file.path())?,
    }
    let done = match existing {
        Existing::Replace => file.persist(path).map(drop),
        Existing::Keep => file.persist_noclobber(path).map(drop),
    };
    done.map_err(|failure| failure.error)
}

/// Puts the names in a folder on the disk, so that what was made in it is there after a power cut.
///
/// # Errors
/// What opening or flushing it says; nothing where folders cannot be flushed.
pub fn sync_folder(folder: &Path) -> io::Result<()> {
    if cfg!(unix) {
        fs::File::open(folder)?.sync_all()
    } else {
        Ok(())
    }
}

/// Temporary files are born private; a result the user asked for has ordinary permissions.
#[cfg(unix)]
fn open_to_reading(path: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn open_to_reading(_path: &Path) -> io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_or_not_there() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("list.txt");
        write(&path, Existing::Keep, |out| out.write_all(b"one")).unwrap();
        let kept = write(&path, Existing::Keep, |out| out.write_all(b"two")).unwrap_err();
        assert_eq!(kept.kind(), io::ErrorKind::AlreadyExists);
        let failed = write(&path, Existing::Replace, |out| {
            out.write_all(b"half")?;
            Err(io::Error::other("disk full"))
        });
        assert!(failed.is_err());
        assert_eq!(fs::read(&path).unwrap(), b"one");
        write(&path, Existing::Replace, |out| out.write_all(b"two")).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(
            fs::read_dir(folder.path()).unwrap().count(),
            1,
            "no temporary file is left"
        );
    }
}
