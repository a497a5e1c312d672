//! The system's file dialogs. Each runs on a thread of its own, because it stays open for as long
//! as the person likes; such a thread is never waited for.

use std::path::PathBuf;

use super::threads;

/// Asks for a folder; `then` is called with it unless the person cancelled.
pub(super) fn choose_folder(then: impl FnOnce(PathBuf) + Send + 'static) {
    run("nightloupe-choose-folder", move || {
        let chosen = rfd::FileDialog::new()
            .set_title("Open a night")
            .pick_folder();
        if let Some(folder) = chosen {
            then(folder);
        }
    });
}

/// Asks where to save; `then` is called with the file unless the person cancelled.
pub(super) fn choose_file(
    folder: Option<PathBuf>,
    name: &str,
    then: impl FnOnce(PathBuf) + Send + 'static,
) {
    let mut dialog = rfd::FileDialog::new().set_title("Save").set_file_name(name);
    if let Some(folder) = folder {
        dialog = dialog.set_directory(folder);
    }
    run("nightloupe-choose-file", move || {
        if let Some(file) = dialog.save_file() {
            then(file);
        }
    });
}

fn run(name: &str, work: impl FnOnce() + Send + 'static) {
    if let Err(fault) = threads::spawn(name, work) {
        tracing::error!(%fault, "no thread for a dialog");
    }
}
