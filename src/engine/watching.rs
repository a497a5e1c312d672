//! Watching the open night's folder: new frames are handed over once they are written.
//!
//! The system tells of changes where it can (a ring at the door, no more); what is there is read from
//! the folder itself, also every few seconds without a ring, since network shares do not ring.

use std::collections::{HashMap, HashSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant, SystemTime};

use crossbeam_channel::{Receiver, Sender, bounded};
use notify::{RecursiveMode, Watcher as _};

use super::threads;
use crate::frame::{self, Shot};

/// A file is written once its size and time have stayed the same for so long.
const SETTLED: Duration = Duration::from_secs(2);
/// How often the folder is looked at while a file is still being written.
const WHILE_WRITING: Duration = Duration::from_millis(500);
/// And without a ring otherwise.
const WITHOUT_RING: Duration = Duration::from_secs(5);

/// What the watcher says.
#[derive(Debug)]
pub(super) enum Seen {
    /// Frames that are whole: new, or written again since they were last handed over.
    Arrived(Vec<Shot>),
    /// The folder cannot be read any more, and why.
    Gone(String),
    /// It can be read again.
    Back,
}

/// Size and time of a file: what changes while it is written.
type Stamp = (u64, Option<SystemTime>);

/// What is known of the folder.
struct Folder {
    paths: Vec<PathBuf>,
    /// Frames handed over, or there from the start, as they were then.
    known: HashMap<PathBuf, Option<Stamp>>,
    /// Frames that are not handed over yet, and since when they have been as they are.
    waiting: HashMap<PathBuf, (Stamp, Instant)>,
    is_gone: bool,
}

impl Folder {
    fn new(paths: Vec<PathBuf>, known: impl Iterator<Item = PathBuf>) -> Self {
        Self {
            paths,
            // What they were when they were measured is not known here; the first look tells.
            known: known.map(|path| (path, None)).collect(),
            waiting: HashMap::new(),
            is_gone: false,
        }
    }

    /// Looks what is there at `now`.
    fn look(&mut self, now: Instant) -> Option<Seen> {
        let listing = match frame::list(&self.paths) {
            Ok(listing) => listing,
            Err(fault) => {
                let was_gone = std::mem::replace(&mut self.is_gone, true);
                self.waiting.clear();
                return (!was_gone).then(|| Seen::Gone(fault.to_string()));
            }
        };
        if std::mem::take(&mut self.is_gone) {
            return Some(Seen::Back);
        }
        let mut arrived = Vec::new();
        for shot in listing.shots {
            if let Some(stamp) = stamp_of(&shot.path)
                && self.is_whole(&shot.path, stamp, now)
            {
                self.known.insert(shot.path.clone(), Some(stamp));
                arrived.push(shot);
            }
        }
        let known = &self.known;
        self.waiting
            .retain(|path, (stamp, _)| known.get(path) != Some(&Some(*stamp)));
        (!arrived.is_empty()).then_some(Seen::Arrived(arrived))
    }

    /// Whether a file is new or changed, and has stayed as it is for long enough.
    fn is_whole(&mut self, path: &Path, stamp: Stamp, now: Instant) -> bool {
        match self.known.get_mut(path) {
            Some(seen @ None) => {
                *seen = Some(stamp);
                return false;
            }
            Some(Some(seen)) if *seen == stamp => return false,
            _ => {}
        }
        match self.waiting.get(path) {
            Some((seen, since)) if *seen == stamp => {
                stamp.0 > 0 && now.duration_since(*since) >= SETTLED
            }
            _ => {
                self.waiting.insert(path.to_owned(), (stamp, now));
                false
            }
        }
    }
}

fn stamp_of(path: &Path) -> Option<Stamp> {
    let meta = fs::metadata(path).ok()?;
    Some((meta.len(), meta.modified().ok()))
}

/// A watch under way.
pub(super) struct Watch {
    stopped: Arc<AtomicBool>,
    ring: Sender<()>,
    thread: JoinHandle<()>,
}

impl Watch {
    /// Watches `paths`, of which the frames in `known` are there already.
    pub(super) fn start(
        paths: Vec<PathBuf>,
        known: impl Iterator<Item = PathBuf>,
        tell: impl Fn(Seen) + Send + 'static,
    ) -> io::Result<Self> {
        let stopped = Arc::new(AtomicBool::new(false));
        let (ring, rung) = bounded(1);
        let folder = Folder::new(paths, known);
        let (its_flag, its_ring) = (Arc::clone(&stopped), ring.clone());
        let thread = threads::spawn("nightloupe-watch", move || {
            watch(folder, &its_ring, &rung, &its_flag, &tell);
        })?;
        Ok(Self {
            stopped,
            ring,
            thread,
        })
    }

    /// Ends it soon, or whenever a far disk answers: the thread is given so that it need not be waited
    /// for now.
    pub(super) fn end(self) -> JoinHandle<()> {
        self.stopped.store(true, Ordering::Relaxed);
        // A full queue means that it is about to look anyway.
        let _ = self.ring.try_send(());
        self.thread
    }
}

fn watch(
    mut folder: Folder,
    ring: &Sender<()>,
    rung: &Receiver<()>,
    stopped: &AtomicBool,
    tell: &dyn Fn(Seen),
) {
    let mut bell = bell(&folder.paths, ring);
    while !stopped.load(Ordering::Relaxed) {
        match folder.look(Instant::now()) {
            Some(Seen::Back) => {
                // What rang for the folder that went does not ring for the one that came.
                bell = self::bell(&folder.paths, ring);
                tell(Seen::Back);
            }
            Some(seen) => tell(seen),
            None => {}
        }
        let wait = if folder.waiting.is_empty() {
            WITHOUT_RING
        } else {
            WHILE_WRITING
        };
        if rung.recv_timeout(wait).is_ok() && !stopped.load(Ordering::Relaxed) {
            // A card copies many files at once: one look for all that rings in a moment.
            std::thread::sleep(Duration::from_millis(100));
        }
    }
    drop(bell);
}

/// Rings when something changes in the folders; nothing where the system cannot tell, and looking
/// every few seconds is all there is.
fn bell(paths: &[PathBuf], ring: &Sender<()>) -> Option<notify::RecommendedWatcher> {
    let ring = ring.clone();
    let rings = move |_: notify::Result<notify::Event>| {
        let _ = ring.try_send(());
    };
    let mut watcher = notify::recommended_watcher(rings)
        .inspect_err(|fault| tracing::info!(%fault, "folders do not ring"))
        .ok()?;
    let folder = |path: &PathBuf| {
        let parent = || path.parent().map(Path::to_owned).unwrap_or_default();
        if path.is_dir() {
            path.clone()
        } else {
            parent()
        }
    };
    let folders: HashSet<PathBuf> = paths.iter().map(folder).collect();
    for folder in folders {
        if let Err(fault) = watcher.watch(&folder, RecursiveMode::NonRecursive) {
            tracing::info!(%fault, "a folder does not ring");
        }
    }
    Some(watcher)
}

#[cfg(test)]
#[expect(
    clippy::disallowed_methods,
    reason = "what a test writes and removes is its own"
)]
mod tests {
    use super::*;

    fn names(seen: Option<Seen>) -> Vec<String> {
        match seen {
            Some(Seen::Arrived(shots)) => shots.into_iter().map(|shot| shot.name).collect(),
            None => Vec::new(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_frame_arrives_once_it_has_stayed_as_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        fs::write(path("a.jpg"), "there").unwrap();
        let known = [path("a.jpg")];
        let mut watched = Folder::new(vec![folder.path().to_owned()], known.into_iter());
        let start = Instant::now();
        let at = |s: f64| start + Duration::from_secs_f64(s);
        assert!(names(watched.look(at(0.0))).is_empty());
        fs::write(path("b.jpg"), "ha").unwrap();
        fs::write(path("c.jpg"), "").unwrap();
        assert!(names(watched.look(at(1.0))).is_empty());
        fs::write(path("b.jpg"), "half").unwrap();
        assert!(names(watched.look(at(3.5))).is_empty(), "it grew");
        assert_eq!(names(watched.look(at(6.0))), ["b.jpg"]);
        assert!(
            names(watched.look(at(9.0))).is_empty(),
            "told once; empty is not whole"
        );
        fs::write(path("b.jpg"), "all of it").unwrap();
        assert!(names(watched.look(at(10.0))).is_empty());
        assert_eq!(names(watched.look(at(12.5))), ["b.jpg"], "written again");
    }

    #[test]
    fn a_folder_goes_and_comes_back() {
        let place = tempfile::tempdir().unwrap();
        let (folder, away) = (place.path().join("card"), place.path().join("away"));
        fs::create_dir(&folder).unwrap();
        let mut watched = Folder::new(vec![folder.clone()], std::iter::empty());
        let start = Instant::now();
        assert!(watched.look(start).is_none());
        fs::rename(&folder, &away).unwrap();
        assert!(matches!(watched.look(start), Some(Seen::Gone(_))));
        assert!(watched.look(start).is_none(), "said once");
        fs::rename(&away, &folder).unwrap();
        assert!(matches!(watched.look(start), Some(Seen::Back)));
    }

    #[test]
    fn the_bell_rings_for_a_new_file() {
        let folder = tempfile::tempdir().unwrap();
        let (told, heard) = bounded(8);
        let paths = vec![folder.path().to_owned()];
        let watch = Watch::start(paths, std::iter::empty(), move |seen| {
            let _ = told.send(seen);
        });
        let watch = watch.unwrap();
        fs::write(folder.path().join("a.jpg"), "whole").unwrap();
        let seen = heard.recv_timeout(Duration::from_secs(20)).unwrap();
        assert_eq!(names(Some(seen)), ["a.jpg"]);
        threads::join(watch.end());
    }
}
