//! What must not be lost: decisions, supplied facts, preferences, recent nights.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use rusqlite::{Connection, params};

use super::database::Schema;
use super::{ContentKey, Store, StoreError, paths};
use crate::frame::{CameraKey, Supplied};
use crate::night::OpticsKey;
use crate::verdict::{Purpose, Verdict};

/// Most recent nights remembered.
const MOST_RECENTS: u32 = 20;

pub(super) const SCHEMA: Schema = Schema {
    steps: &[
        "
        CREATE TABLE decision (
            size INTEGER NOT NULL, digest BLOB NOT NULL, verdict TEXT NOT NULL,
            PRIMARY KEY (size, digest)
        ) WITHOUT ROWID;
        CREATE TABLE supplied (
            camera TEXT NOT NULL, serial TEXT NOT NULL, facts TEXT NOT NULL,
            PRIMARY KEY (camera, serial)
        ) WITHOUT ROWID;
        CREATE TABLE preference (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
        CREATE TABLE recent (
            id INTEGER PRIMARY KEY, paths BLOB NOT NULL UNIQUE, title TEXT NOT NULL,
            day TEXT NOT NULL, purpose TEXT NOT NULL, ribbon TEXT NOT NULL, outcome TEXT NOT NULL
        );
    ",
        "CREATE TABLE sky_offset (
            camera TEXT NOT NULL, serial TEXT NOT NULL, lens TEXT NOT NULL, mag REAL NOT NULL,
            PRIMARY KEY (camera, serial, lens)
        ) WITHOUT ROWID;",
    ],
    synchronous: "FULL",
    check: true,
};

/// A night that was opened before.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recent {
    /// Folder name.
    pub title: String,
    /// Where.
    pub paths: Vec<PathBuf>,
    /// Day of its first frame, ISO 8601, or empty.
    pub day: String,
    /// Judged as.
    pub purpose: Purpose,
    /// Verdicts of its frames as a string of k, d, r and . (not measured).
    pub ribbon: String,
    /// Outcome in words ("307 of 360 used").
    pub outcome: String,
}

impl Store {
    fn with_kept<T: Default>(
        &self,
        work: impl FnOnce(&mut Connection) -> rusqlite::Result<T>,
    ) -> Result<T, StoreError> {
        let Some(database) = self.kept.as_ref() else {
            return Ok(T::default());
        };
        let done = work(&mut database.lock());
        done.map_err(|source| database.fault(source))
    }

    /// Sizes of all files a decision was kept for: a file of another size need not be read to know
    /// that there is none for it.
    ///
    /// # Errors
    /// When the database fails.
    pub fn decided_sizes(&self) -> Result<BTreeSet<u64>, StoreError> {
        self.with_kept(|db| {
            let mut query = db.prepare("SELECT DISTINCT size FROM decision")?;
            let sizes = query.query_map([], |row| row.get::<_, i64>(0))?;
            sizes.map(|size| size.map(i64::cast_unsigned)).collect()
        })
    }

    /// The decision kept for this content.
    ///
    /// # Errors
    /// When the database fails.
    pub fn decision(&self, key: &ContentKey) -> Result<Option<Verdict>, StoreError> {
        self.with_kept(|db| {
            let mut query =
                db.prepare_cached("SELECT verdict FROM decision WHERE size = ?1 AND digest = ?2")?;
            let mut found = query
                .query_map(params![key.size.cast_signed(), key.digest], |row| {
                    row.get::<_, String>(0)
                })?;
            Ok(found.next().transpose()?.and_then(|word| from_word(&word)))
        })
    }

    /// Keeps the decisions of a night: each file's verdict, or `None` to forget what was decided.
    /// All or nothing, and on the disk when it returns.
    ///
    /// # Errors
    /// When the database fails; then what was kept before stays.
    pub fn keep_decisions(
        &self,
        files: &[(ContentKey, Option<Verdict>)],
    ) -> Result<(), StoreError> {
        self.with_kept(|db| {
            let transaction = db.transaction()?;
            {
                let mut set = transaction
                    .prepare_cached("INSERT OR REPLACE INTO decision VALUES (?1, ?2, ?3)")?;
                let mut unset = transaction
                    .prepare_cached("DELETE FROM decision WHERE size = ?1 AND digest = ?2")?;
                for (key, verdict) in files {
                    let size = key.size.cast_signed();
                    match verdict {
                        Some(verdict) => set.execute(params![size, key.digest, verdict.word()])?,
                        None => unset.execute(params![size, key.digest])?,
                    };
                }
            }
            transaction.commit()
        })
    }

    /// Facts the user supplied, by camera.
    ///
    /// # Errors
    /// When the database fails.
    pub fn supplied(&self) -> Result<Vec<(CameraKey, Supplied)>, StoreError> {
        self.with_kept(|db| {
            let mut query = db.prepare("SELECT camera, serial, facts FROM supplied")?;
            let rows = query.query_map([], |row| {
                let key = CameraKey {
                    camera: row.get(0)?,
                    serial: row.get(1)?,
                };
                Ok((key, row.get::<_, String>(2)?))
            })?;
            let mut all = Vec::new();
            for row in rows {
                let (key, facts) = row?;
                match serde_json::from_str(&facts) {
                    Ok(supplied) => all.push((key, supplied)),
                    Err(fault) => tracing::warn!(%fault, "supplied facts could not be read"),
                }
            }
            Ok(all)
        })
    }

    /// Keeps facts the user supplied for a camera.
    ///
    /// # Errors
    /// When the database fails.
    pub fn keep_supplied(&self, camera: &CameraKey, facts: &Supplied) -> Result<(), StoreError> {
        let text = serde_json::to_string(facts).unwrap_or_default();
        self.with_kept(|db| {
            db.execute(
                "INSERT OR REPLACE INTO supplied VALUES (?1, ?2, ?3)",
                params![camera.camera, camera.serial, text],
            )?;
            Ok(())
        })
    }

    /// Kept calibrations of sky brightness: what to add, mag, by camera and lens.
    ///
    /// # Errors
    /// When the database fails.
    pub fn sky_offsets(&self) -> Result<BTreeMap<OpticsKey, f64>, StoreError> {
        self.with_kept(|db| {
            let mut query = db.prepare("SELECT camera, serial, lens, mag FROM sky_offset")?;
            query
                .query_map([], |row| {
                    let camera = CameraKey {
                        camera: row.get(0)?,
                        serial: row.get(1)?,
                    };
                    let lens = row.get(2)?;
                    Ok((OpticsKey { camera, lens }, row.get(3)?))
                })?
                .collect()
        })
    }

    /// Keeps the calibration of a camera with a lens, or with `None` forgets it.
    ///
    /// # Errors
    /// When the database fails.
    pub fn keep_sky_offset(&self, optics: &OpticsKey, mag: Option<f64>) -> Result<(), StoreError> {
        let OpticsKey { camera, lens } = optics;
        self.with_kept(|db| {
            match mag {
                Some(mag) => db.execute(
                    "INSERT OR REPLACE INTO sky_offset VALUES (?1, ?2, ?3, ?4)",
                    params![camera.camera, camera.serial, lens, mag],
                )?,
                None => db.execute(
                    "DELETE FROM sky_offset WHERE camera = ?1 AND serial = ?2 AND lens = ?3",
                    params![camera.camera, camera.serial, lens],
                )?,
            };
            Ok(())
        })
    }

    /// All preferences, by name.
    ///
    /// # Errors
    /// When the database fails.
    pub fn preferences(&self) -> Result<Vec<(String, String)>, StoreError> {
        self.with_kept(|db| {
            let mut query = db.prepare("SELECT name, value FROM preference ORDER BY name")?;
            query
                .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        })
    }

    /// Keeps a preference.
    ///
    /// # Errors
    /// When the database fails.
    pub fn keep_preference(&self, name: &str, value: &str) -> Result<(), StoreError> {
        self.with_kept(|db| {
            db.execute(
                "INSERT OR REPLACE INTO preference VALUES (?1, ?2)",
                params![name, value],
            )?;
            Ok(())
        })
    }

    /// Recent nights, newest first.
    ///
    /// # Errors
    /// When the database fails.
    pub fn recents(&self) -> Result<Vec<Recent>, StoreError> {
        self.with_kept(|db| {
            let mut query = db.prepare(
                "SELECT title, paths, day, purpose, ribbon, outcome FROM recent ORDER BY id DESC",
            )?;
            query
                .query_map([], |row| {
                    Ok(Recent {
                        title: row.get(0)?,
                        paths: split_paths(&row.get::<_, Vec<u8>>(1)?),
                        day: row.get(2)?,
                        purpose: from_word(&row.get::<_, String>(3)?).unwrap_or_default(),
                        ribbon: row.get(4)?,
                        outcome: row.get(5)?,
                    })
                })?
                .collect()
        })
    }

    /// Puts a night first among the recent ones, in place of what was remembered of the same paths.
    ///
    /// # Errors
    /// When the database fails.
    pub fn keep_recent(&self, recent: &Recent) -> Result<(), StoreError> {
        self.with_kept(|db| {
            db.execute(
                "INSERT OR REPLACE INTO recent (title, paths, day, purpose, ribbon, outcome)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![
                    recent.title,
                    join_paths(&recent.paths),
                    recent.day,
                    to_word(recent.purpose),
                    recent.ribbon,
                    recent.outcome
                ],
            )?;
            db.execute(
                "DELETE FROM recent WHERE id NOT IN
                 (SELECT id FROM recent ORDER BY id DESC LIMIT ?1)",
                params![MOST_RECENTS],
            )?;
            Ok(())
        })
    }

    /// Forgets the recent nights.
    ///
    /// # Errors
    /// When the database fails.
    pub fn clear_recents(&self) -> Result<(), StoreError> {
        self.with_kept(|db| db.execute("DELETE FROM recent", []).map(drop))
    }
}

/// The word serde writes for a unit variant, so that the database and files agree.
fn to_word(purpose: Purpose) -> String {
    serde_json::to_value(purpose)
        .ok()
        .and_then(|value| value.as_str().map(str::to_owned))
        .unwrap_or_default()
}

fn from_word<T: serde::de::DeserializeOwned>(word: &str) -> Option<T> {
    serde_json::from_value(serde_json::Value::String(word.to_owned())).ok()
}

/// No path contains a zero byte.
fn join_paths(all: &[PathBuf]) -> Vec<u8> {
    let parts: Vec<&[u8]> = all.iter().map(|path| paths::to_bytes(path)).collect();
    parts.join(&0)
}

fn split_paths(bytes: &[u8]) -> Vec<PathBuf> {
    bytes
        .split(|byte| *byte == 0)
        .map(paths::from_bytes)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Places;

    fn key(n: u8) -> ContentKey {
        ContentKey {
            size: u64::from(n),
            digest: [n; 32],
        }
    }

    #[test]
    fn decisions_are_kept_and_forgotten() {
        let root = tempfile::tempdir().unwrap();
        let places = Places::under(root.path());
        let (store, _) = Store::open(&places);
        store
            .keep_decisions(&[
                (key(1), Some(Verdict::Reject)),
                (key(2), Some(Verdict::Keep)),
            ])
            .unwrap();
        store.keep_decisions(&[(key(2), None)]).unwrap();
        drop(store);
        let (store, _) = Store::open(&places);
        assert_eq!(store.decision(&key(1)).unwrap(), Some(Verdict::Reject));
        assert_eq!(store.decision(&key(2)).unwrap(), None);
        assert_eq!(store.decided_sizes().unwrap(), BTreeSet::from([1]));
    }

    #[test]
    fn losing_the_cache_loses_no_decision() {
        let root = tempfile::tempdir().unwrap();
        let places = Places::under(root.path());
        let (store, _) = Store::open(&places);
        store
            .keep_decisions(&[(key(1), Some(Verdict::Doubtful))])
            .unwrap();
        drop(store);
        std::fs::rename(&places.cache, root.path().join("gone")).unwrap();
        let (store, warnings) = Store::open(&places);
        assert!(warnings.is_empty());
        assert_eq!(store.decision(&key(1)).unwrap(), Some(Verdict::Doubtful));
    }

    #[test]
    fn recents_come_newest_first_and_once() {
        let root = tempfile::tempdir().unwrap();
        let (store, _) = Store::open(&Places::under(root.path()));
        let night = |name: &str, purpose| Recent {
            title: name.to_owned(),
            paths: vec![PathBuf::from("/nights").join(name), PathBuf::from("/more")],
            purpose,
            ribbon: "kkdr.".to_owned(),
            ..Recent::default()
        };
        for name in ["a", "b"] {
            store.keep_recent(&night(name, Purpose::Trails)).unwrap();
        }
        store.keep_recent(&night("a", Purpose::Timelapse)).unwrap();
        let recents = store.recents().unwrap();
        assert_eq!(
            recents,
            [night("a", Purpose::Timelapse), night("b", Purpose::Trails)]
        );
        for n in 0..30 {
            store
                .keep_recent(&night(&n.to_string(), Purpose::Still))
                .unwrap();
        }
        assert_eq!(store.recents().unwrap().len(), MOST_RECENTS as usize);
        store.clear_recents().unwrap();
        assert!(store.recents().unwrap().is_empty());
    }

    #[test]
    fn sky_offsets_are_kept_by_camera_and_lens() {
        let root = tempfile::tempdir().unwrap();
        let (store, _) = Store::open(&Places::under(root.path()));
        let optics = |lens: &str| OpticsKey {
            camera: CameraKey::default(),
            lens: lens.to_owned(),
        };
        store.keep_sky_offset(&optics("a"), Some(0.1)).unwrap();
        store.keep_sky_offset(&optics("a"), Some(0.4)).unwrap();
        store.keep_sky_offset(&optics("b"), Some(-0.2)).unwrap();
        store.keep_sky_offset(&optics("b"), None).unwrap();
        let kept = store.sky_offsets().unwrap();
        assert_eq!(kept, BTreeMap::from([(optics("a"), 0.4)]));
    }

    #[test]
    fn supplied_facts_are_kept_by_camera() {
        let root = tempfile::tempdir().unwrap();
        let (store, _) = Store::open(&Places::under(root.path()));
        let camera = CameraKey {
            camera: "Vela One".to_owned(),
            serial: "7".to_owned(),
        };
        let facts = Supplied {
            focal_length_mm: Some(20.0),
            ..Supplied::default()
        };
        store.keep_supplied(&camera, &Supplied::default()).unwrap();
        store.keep_supplied(&camera, &facts).unwrap();
        assert_eq!(store.supplied().unwrap(), [(camera, facts)]);
    }
}
