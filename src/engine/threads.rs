//! Named threads.

use std::io;
use std::thread::{self, Builder, JoinHandle};

/// Starts a thread whose name shows in debuggers, logs and panic messages.
pub(super) fn spawn(
    name: &str,
    work: impl FnOnce() + Send + 'static,
) -> io::Result<JoinHandle<()>> {
    Builder::new().name(name.to_owned()).spawn(work)
}

/// Waits for a thread; one that panicked has said so in its message and is over all the same.
pub(super) fn join(thread: JoinHandle<()>) {
    let name = thread::Thread::name(thread.thread()).map(str::to_owned);
    if thread.join().is_err() {
        tracing::error!(?name, "a thread ended by a panic");
    }
}
