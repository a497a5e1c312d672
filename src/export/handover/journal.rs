//! The journal of a hand-over: one line of JSON for each thing to do, on the disk before any of them is
//! done.
//!
//! It says what was meant, not how far that got: where each file is tells that by itself, so a run that
//! was cut off at any moment is taken back by the same rules as a whole one.

use std::ffi::{OsStr, OsString};
use std::io;
use std::path::{Component, Path, PathBuf};
use std::{fs, str};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::moving::remove_ours;
use super::{Change, Tell};
use crate::base::atomic::{self, Existing};

/// The largest journal that is read: far more than any night writes.
const MOST_BYTES: u64 = 256 << 20;

/// The first line.
#[derive(Serialize, Deserialize, PartialEq, Eq)]
struct Head {
    nightloupe: String,
    version: u32,
}

/// A kind of journal: its file name and what its first line calls it.
#[derive(Clone, Copy)]
pub(super) struct Kind {
    pub(super) file: &'static str,
    pub(super) word: &'static str,
}

impl Kind {
    fn head(self) -> Head {
        Head {
            nightloupe: self.word.to_owned(),
            version: 1,
        }
    }

    pub(super) fn path(self, folder: &Path) -> PathBuf {
        folder.join(self.file)
    }

    /// The entries of the journal in `folder`; none when there is no journal.
    ///
    /// # Errors
    /// A sentence, when it cannot be read or says something else than a journal does.
    pub(super) fn read<T: DeserializeOwned>(self, folder: &Path) -> Result<Vec<T>, String> {
        let path = self.path(folder);
        let fault = |why: String| format!("The journal {} {why}.", path.display());
        match fs::metadata(&path) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Ok(meta) if meta.len() > MOST_BYTES => {
                return Err(fault("is larger than a journal gets".to_owned()));
            }
            _ => {}
        }
        let text = fs::read_to_string(&path);
        let text = text.map_err(|e| fault(format!("could not be read: {e}")))?;
        let mut lines = text.lines();
        let head: Option<Head> = lines
            .next()
            .and_then(|line| serde_json::from_str(line).ok());
        if head.is_none_or(|head| head != self.head()) {
            return Err(fault("is not one that this version reads".to_owned()));
        }
        let entry = |(n, line): (usize, &str)| {
            serde_json::from_str(line)
                .map_err(|e| fault(format!("is damaged at line {}: {e}", n + 2)))
        };
        lines.enumerate().map(entry).collect()
    }

    /// Writes `entries` as the journal of `folder`, whole and on the disk; removes it when there are
    /// none.
    pub(super) fn write<T: Serialize>(
        self,
        folder: &Path,
        entries: &[T],
        tell: Tell<'_>,
    ) -> io::Result<()> {
        tell(Change::Journal);
        let path = self.path(folder);
        if entries.is_empty() {
            return match remove_ours(&path) {
                Err(fault) if fault.kind() != io::ErrorKind::NotFound => Err(fault),
                _ => Ok(()),
            };
        }
        atomic::write(&path, Existing::Replace, |out| {
            serde_json::to_writer(&mut *out, &self.head())?;
            for entry in entries {
                writeln!(out)?;
                serde_json::to_writer(&mut *out, entry)?;
            }
            writeln!(out)
        })?;
        atomic::sync_folder(folder)
    }
}

/// The name of a file in a folder, in JSON: text where it is text, else its bytes in hexadecimal.
///
/// One that is no plain name (a path, `..`) is not read: a journal must not reach out of its folder.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "Written", into = "Written")]
pub(super) struct Name(OsString);

#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum Written {
    Text(String),
    Bytes { bytes: String },
}

impl Name {
    /// The name of the file at `path`.
    pub(super) fn of(path: &Path) -> Option<Self> {
        path.file_name().map(|name| Self(name.to_owned()))
    }

    pub(super) fn os(&self) -> &OsStr {
        &self.0
    }

    pub(super) fn shown(&self) -> String {
        self.0.to_string_lossy().into_owned()
    }
}

impl From<Name> for Written {
    fn from(name: Name) -> Self {
        match name.0.into_string() {
            Ok(text) => Self::Text(text),
            Err(odd) => Self::Bytes {
                bytes: to_hex(odd.as_encoded_bytes()),
            },
        }
    }
}

impl TryFrom<Written> for Name {
    type Error = String;

    fn try_from(written: Written) -> Result<Self, String> {
        let name = match written {
            Written::Text(text) => OsString::from(text),
            Written::Bytes { bytes } => os_name(from_hex(&bytes).ok_or("no hexadecimal bytes")?)?,
        };
        let mut parts = Path::new(&name).components();
        let is_plain = matches!(
            (parts.next(), parts.next()),
            (Some(Component::Normal(part)), None) if part == name
        );
        if is_plain {
            Ok(Self(name))
        } else {
            Err("not the plain name of a file".to_owned())
        }
    }
}

#[cfg(unix)]
#[expect(
    clippy::unnecessary_wraps,
    reason = "elsewhere such a name cannot be made"
)]
fn os_name(bytes: Vec<u8>) -> Result<OsString, String> {
    Ok(std::os::unix::ffi::OsStringExt::from_vec(bytes))
}

#[cfg(not(unix))]
fn os_name(_bytes: Vec<u8>) -> Result<OsString, String> {
    Err("a name that this system cannot have".to_owned())
}

pub(super) fn to_hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        let _ = write!(text, "{byte:02x}");
    }
    text
}

pub(super) fn from_hex(text: &str) -> Option<Vec<u8>> {
    let (pairs, rest) = text.as_bytes().as_chunks::<2>();
    let byte = |pair: &[u8; 2]| u8::from_str_radix(str::from_utf8(pair).ok()?, 16).ok();
    rest.is_empty().then(|| pairs.iter().map(byte).collect())?
}
