//! The lists of `export --list`.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use super::follow::Measured;
use super::output::say;
use crate::base::atomic::{self, Existing};
use crate::export;
use crate::verdict::words::plural;

/// Writes `used.txt` and `rejected.txt` into `folder`.
///
/// # Errors
/// A sentence, when a list of other content is there already or cannot be written; then neither
/// of them was written.
pub(super) fn write(folder: &Path, measured: &Measured) -> Result<(), String> {
    let lists = of(measured)?;
    fs::create_dir_all(folder)
        .map_err(|fault| format!("{} could not be made: {fault}", folder.display()))?;
    let mut to_write = Vec::new();
    for (name, text) in lists {
        let path = folder.join(name);
        match fs::read(&path) {
            Err(fault) if fault.kind() == io::ErrorKind::NotFound => to_write.push((path, text)),
            Ok(there) if there == text => {
                say(&format!(
                    "{} is there already, and the same.",
                    path.display()
                ));
            }
            Ok(_) => {
                return Err(format!(
                    "{} is there already with other content and is left as it is. \
                     Name another folder, or move it away.",
                    path.display()
                ));
            }
            Err(fault) => return Err(format!("{} could not be read: {fault}", path.display())),
        }
    }
    for (path, text) in to_write {
        atomic::write(&path, Existing::Keep, |out| out.write_all(&text))
            .map_err(|fault| format!("{} could not be written: {fault}", path.display()))?;
        let names = String::from_utf8_lossy(&text).lines().count();
        let names = plural(names, "name", "names");
        say(&format!("{}: {names}.", path.display()));
    }
    Ok(())
}

/// What [`write`] will do, a line each.
///
/// # Errors
/// As [`write`], where it can be told before.
pub(super) fn preview(folder: &Path, measured: &Measured) -> Result<String, String> {
    let lists = of(measured)?.map(|(name, text)| {
        let names = String::from_utf8_lossy(&text).lines().count();
        format!(
            "{}: {}.\n",
            folder.join(name).display(),
            plural(names, "name", "names")
        )
    });
    Ok(format!("Write lists.\n  {}", lists.join("  ")))
}

fn of(measured: &Measured) -> Result<[(&'static str, Vec<u8>); 2], String> {
    let table = measured.table();
    Ok([
        ("used.txt", text_of(|out| export::write_used(&table, out))?),
        (
            "rejected.txt",
            text_of(|out| export::write_rejected(&table, out))?,
        ),
    ])
}

fn text_of(fill: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<Vec<u8>, String> {
    let mut text = Vec::new();
    fill(&mut text).map_err(|fault| fault.to_string())?;
    Ok(text)
}
