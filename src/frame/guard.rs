//! Calls into foreign decoders: a panic there becomes this frame's error and says nothing on
//! stderr.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::path::Path;
use std::sync::Once;

use super::FrameError;

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

static HOOK: Once = Once::new();

/// Runs `decode`; a panic in it is [`FrameError::Damaged`].
///
/// The panic hook is wrapped once so that panics under this call print nothing: the caller
/// reports the error in its own words. All other panics print as before.
pub(super) fn guarded<T>(
    path: &Path,
    decode: impl FnOnce() -> Result<T, FrameError>,
) -> Result<T, FrameError> {
    HOOK.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            // rawler also works on rayon's threads, where only the place tells.
            let in_rawler = info
                .location()
                .is_some_and(|at| at.file().contains("/rawler-"));
            if !QUIET.get() && !in_rawler {
                before(info);
            }
        }));
    });
    let outer = QUIET.replace(true);
    // Unwind safety: a decoder that panicked is dropped with all it held; only the path is kept.
    let outcome = panic::catch_unwind(AssertUnwindSafe(decode));
    QUIET.set(outer);
    outcome.unwrap_or_else(|_| {
        let what = "its decoder gave up on the content; the file is probably corrupt";
        Err(FrameError::damaged(path, what))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_an_error() {
        let outcome: Result<(), _> = guarded(Path::new("a.jpg"), || panic!("decoder bug"));
        assert!(matches!(outcome, Err(FrameError::Damaged { .. })));
        assert!(!QUIET.get(), "later panics must print again");
    }

    #[test]
    fn a_result_passes_through() {
        assert_eq!(guarded(Path::new("a.jpg"), || Ok(7)).unwrap(), 7);
    }
}
