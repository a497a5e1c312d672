//! Writing to the terminal: data on stdout, talk on stderr.

use std::io::{self, BufWriter, Write};
use std::path::Path;

use crate::base::atomic::{self, Existing};

/// Writes data on stdout. Whoever reads it may have seen enough and closed the pipe (`| head`):
/// that is no error.
///
/// # Errors
/// When stdout cannot be written, for another reason.
pub(super) fn data(fill: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> io::Result<()> {
    let mut out = BufWriter::new(io::stdout().lock());
    match fill(&mut out).and_then(|()| out.flush()) {
        Err(fault) if fault.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        done => done,
    }
}

/// Says something on stderr. There is nobody to tell if that fails.
pub(super) fn say(text: &str) {
    let mut err = io::stderr().lock();
    let done = writeln!(err, "{text}");
    if let Err(fault) = done {
        tracing::debug!(%fault, "stderr is closed");
    }
}

/// Whether a file named on the command line means stdout.
pub(super) fn is_stdout(file: &Path) -> bool {
    file.as_os_str() == "-"
}

/// Writes data to `file`, in place of what is there, or on stdout for `-`.
///
/// # Errors
/// A sentence that names the file.
pub(super) fn data_to(
    file: &Path,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), String> {
    let done = if is_stdout(file) {
        data(fill)
    } else {
        atomic::write(file, Existing::Replace, fill)
    };
    done.map_err(|fault| format!("{} could not be written: {fault}", file.display()))
}
