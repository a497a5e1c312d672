//! Finding out what there is to open: on a thread of its own, since making the sample night takes
//! a while and a far disk may.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

use super::outbox::Outbox;
use super::{OpenRequest, Report, sample, threads};
use crate::frame::{self, FrameError, Listing};
use crate::store::{ContentKey, Store, StoreError};
use crate::verdict::Decisions;

/// What was found at the paths of a request.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) request: OpenRequest,
    pub(super) title: String,
    /// The paths, absolute.
    pub(super) paths: Vec<PathBuf>,
    pub(super) listing: Listing,
    /// Frames there that were not asked for.
    pub(super) beyond: Vec<PathBuf>,
    /// Keys of the shots as far as they are known already.
    pub(super) keys: Vec<Option<ContentKey>>,
    /// Decisions kept for them.
    pub(super) decisions: Decisions,
}

/// What an opening runs with.
pub(super) struct Context {
    pub(super) store: Arc<Store>,
    pub(super) outbox: Arc<Outbox>,
    /// The cache folder, where the sample night is kept.
    pub(super) cache: PathBuf,
}

/// An opening under way.
pub(super) struct Opening {
    called_off: Arc<AtomicBool>,
    thread: JoinHandle<()>,
}

impl Opening {
    /// Looks, and hands over what was found, or a sentence on why there is nothing to open; neither
    /// when it was called off.
    pub(super) fn start(
        request: OpenRequest,
        context: Context,
        hand_over: impl FnOnce(Result<Box<Found>, String>) + Send + 'static,
    ) -> io::Result<Self> {
        let called_off = Arc::new(AtomicBool::new(false));
        let flag = Arc::clone(&called_off);
        let thread = threads::spawn("nightloupe-open", move || {
            let found = find(request, &context, &flag);
            if !flag.load(Ordering::Relaxed) {
                hand_over(found.map(Box::new));
            }
        })?;
        Ok(Self { called_off, thread })
    }

    /// Calls it off. It ends soon, or whenever a far disk answers: the thread is given so that it
    /// need not be waited for now.
    pub(super) fn call_off(self) -> JoinHandle<()> {
        self.called_off.store(true, Ordering::Relaxed);
        self.thread
    }
}

fn find(
    mut request: OpenRequest,
    context: &Context,
    called_off: &AtomicBool,
) -> Result<Found, String> {
    if request.sample && request.paths.is_empty() {
        let tell = |progress| {
            let id = request.id;
            context.outbox.push(Report::Progress { id, progress });
        };
        let folder = sample::make_once(&context.cache, tell, called_off)?;
        request.paths.push(folder);
    }
    let paths: Vec<PathBuf> = (request.paths.iter())
        .map(|path| std::path::absolute(path).unwrap_or_else(|_| path.clone()))
        .collect();
    let mut listing = frame::list(&paths).map_err(|fault| why_not(&fault))?;
    if listing.shots.is_empty() {
        return Err(nothing_there(&paths, listing.passed_over));
    }
    let asked_for = (request.first.unwrap_or(usize::MAX)).min(listing.shots.len());
    let beyond = listing.shots.split_off(asked_for);
    let (keys, decisions) = recall(&listing, &context.store).unwrap_or_else(|fault| {
        context.outbox.trouble(format!(
            "Decisions from before could not be read back: {fault}"
        ));
        (vec![None; listing.shots.len()], Decisions::new())
    });
    Ok(Found {
        title: title_of(&listing, &paths),
        request,
        paths,
        listing,
        beyond: beyond.into_iter().map(|shot| shot.path).collect(),
        keys,
        decisions,
    })
}

fn title_of(listing: &Listing, paths: &[PathBuf]) -> String {
    let named = listing.root.file_name();
    let named = named.or_else(|| paths.first()?.file_name());
    named.map_or_else(
        || listing.root.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// Keys and decisions of what was listed. A file is read for its key only when a decision was kept
/// for a file of its size: most nights have none, and open without a byte read.
fn recall(
    listing: &Listing,
    store: &Store,
) -> Result<(Vec<Option<ContentKey>>, Decisions), StoreError> {
    let sizes = store.decided_sizes()?;
    let mut decisions = Decisions::new();
    let mut keys = Vec::with_capacity(listing.shots.len());
    for (shot, listed) in listing.shots.iter().enumerate() {
        let key = key_to_recall(&listed.path, &sizes, store);
        if let Some(key) = key
            && let Some(verdict) = store.decision(&key)?
        {
            decisions.insert(shot, verdict);
        }
        keys.push(key);
    }
    Ok((keys, decisions))
}

fn key_to_recall(path: &Path, sizes: &BTreeSet<u64>, store: &Store) -> Option<ContentKey> {
    if sizes.is_empty() {
        return None;
    }
    let size = path.metadata().ok()?.len();
    if sizes.contains(&size) {
        store.key_of(path)
    } else {
        None
    }
}

fn why_not(fault: &FrameError) -> String {
    match fault {
        FrameError::Io { source, path } if source.kind() == io::ErrorKind::NotFound => format!(
            "There is nothing at {}. Check the path, or whether the disk is connected.",
            path.display()
        ),
        FrameError::Io { source, path } if source.kind() == io::ErrorKind::PermissionDenied => {
            format!(
                "No permission to read {}. Allow reading it, or open a copy of the folder.",
                path.display()
            )
        }
        other => format!("This could not be opened. {other}"),
    }
}

fn nothing_there(paths: &[PathBuf], passed_over: usize) -> String {
    let names: Vec<String> = paths
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    let names = names.join(", ");
    match passed_over {
        0 => format!("{names} is empty. Open the folder the frames of a night were copied to."),
        1 => format!(
            "No frames in {names}: the one file there is of a kind that is not read. {KINDS}"
        ),
        files => format!(
            "No frames in {names}: the {files} files there are of kinds that are not read. {KINDS}"
        ),
    }
}

/// Ends the sentence about a folder without frames. Subfolders are named because frames are often
/// one folder further down.
const KINDS: &str =
    "Raw, JPEG, TIFF, PNG and FITS files are read; subfolders are opened one by one.";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_sentence_names_the_path_and_what_to_do() {
        let path = Path::new("/nights/none");
        let missing = FrameError::io(path, io::ErrorKind::NotFound.into());
        assert_eq!(
            why_not(&missing),
            "There is nothing at /nights/none. Check the path, or whether the disk is connected."
        );
        let denied = FrameError::io(path, io::ErrorKind::PermissionDenied.into());
        assert!(why_not(&denied).starts_with("No permission to read /nights/none."));
        let paths = [path.to_owned()];
        assert!(nothing_there(&paths, 0).starts_with("/nights/none is empty."));
        assert!(nothing_there(&paths, 3).contains("the 3 files there"));
    }
}
