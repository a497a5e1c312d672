//! Starts nightloupe.

use std::process::ExitCode;

use nightloupe::cli::{self, Asked};
use nightloupe::ui;

fn main() -> ExitCode {
    let request = match cli::run() {
        Asked::Done(code) => return code,
        Asked::Window(request) => request.map(|request| *request),
    };
    if !has_display() {
        return cli::without_window(request, "There is no display to open a window on.");
    }
    match ui::run(request.clone()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => cli::without_window(request, &format!("The window could not open: {why}.")),
    }
}

/// Elsewhere than on Linux and its kin there always is one, or opening the window says otherwise.
fn has_display() -> bool {
    let is_set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    cfg!(any(target_os = "windows", target_os = "macos"))
        || is_set("DISPLAY")
        || is_set("WAYLAND_DISPLAY")
        || is_set("WAYLAND_SOCKET")
}
