//! What is kept from session to session, in a database: measurements (a cache, safe to lose);
//! decisions, supplied facts, preferences and recent nights (not cache).
//!
//! In: what was measured and decided, keyed by what is in a file rather than by where it lies.
//! Out: the same, next time. Two databases, so that the cache can be thrown away without a thought:
//! `measurements.sqlite` in the cache folder and `kept.sqlite` in the data folder. What to do with
//! any of it belongs to `engine`.

mod cache;
mod database;
mod kept;
mod key;
mod paths;
mod places;

pub use cache::Kept;
pub use kept::Recent;
pub use key::ContentKey;
pub use places::Places;

use std::path::PathBuf;
use std::sync::{Mutex, MutexGuard, PoisonError};

use rusqlite::Connection;

/// Why something could not be kept or read back.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The database refused.
    #[error("{source}: {}", .path.display())]
    Database {
        /// What it said.
        source: rusqlite::Error,
        /// Which database.
        path: PathBuf,
    },
    /// The folder of the database could not be made, or a damaged one not be set aside.
    #[error("{source}: {}", .path.display())]
    Io {
        /// What the system said.
        source: std::io::Error,
        /// Which path.
        path: PathBuf,
    },
    /// Written by a later version of this program, whose data must not be touched.
    #[error("written by a later version of nightloupe: {}", .path.display())]
    TooNew {
        /// Which database.
        path: PathBuf,
    },
}

/// Both databases. Usable from any thread; each call is one short transaction.
///
/// A database that could not be opened is left out: reading from it finds nothing and writing to it
/// is passed over, so that the program works without it.
#[derive(Debug, Default)]
pub struct Store {
    kept: Option<Database>,
    cache: Option<Database>,
}

#[derive(Debug)]
struct Database {
    connection: Mutex<Connection>,
    path: PathBuf,
}

impl Database {
    fn lock(&self) -> MutexGuard<'_, Connection> {
        // A thread that panicked here rolled its transaction back; the connection is sound.
        self.connection
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    fn fault(&self, source: rusqlite::Error) -> StoreError {
        StoreError::Database {
            source,
            path: self.path.clone(),
        }
    }
}

impl Store {
    /// Opens both databases in `places`, making them where they are not there yet. Gives the store,
    /// and a sentence for the person about each thing that went wrong: a damaged database is set
    /// aside under another name and begun anew; one that can't be opened is done without.
    #[must_use]
    pub fn open(places: &Places) -> (Self, Vec<String>) {
        let mut warnings = Vec::new();
        let kept = database::open(&places.data.join("kept.sqlite"), &kept::SCHEMA);
        let kept = database::or_without(
            kept,
            "Decisions and supplied facts will not be remembered",
            &mut warnings,
        );
        let cache = database::open(&places.cache.join("measurements.sqlite"), &cache::SCHEMA);
        let cache = database::or_without(
            cache,
            "Frames will be measured anew each time",
            &mut warnings,
        );
        let store = Self { kept, cache };
        store.prune_cache();
        (store, warnings)
    }

    /// A store that keeps nothing, for when there is no place to keep things in.
    #[must_use]
    pub fn without() -> Self {
        Self::default()
    }
}
