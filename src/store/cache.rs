//! Measurements and capture facts, kept by content. All of it can be made again, so a fault here
//! costs time and nothing else: it is logged, and the frame measured.

use std::path::Path;
use std::time::UNIX_EPOCH;

use rusqlite::{Connection, OptionalExtension, params};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::database::Schema;
use super::{ContentKey, Store, paths};
use crate::frame::{FACTS_VERSION, Facts};
use crate::measure::{FrameMeasure, MEASURE_VERSION, PAIR_VERSION, PairMeasure, PairOf};

/// Most measurements kept, about 20 KB each; the oldest go first.
const MOST_MEASURES: u32 = 20_000;

pub(super) const SCHEMA: Schema = Schema {
    steps: &[
        "
        CREATE TABLE place (
            path BLOB PRIMARY KEY, size INTEGER NOT NULL, modified_ns INTEGER NOT NULL,
            digest BLOB NOT NULL
        ) WITHOUT ROWID;
        CREATE TABLE facts (
            size INTEGER NOT NULL, digest BLOB NOT NULL, version INTEGER NOT NULL,
            facts BLOB NOT NULL, PRIMARY KEY (size, digest)
        ) WITHOUT ROWID;
        CREATE TABLE measure (
            id INTEGER PRIMARY KEY, size INTEGER NOT NULL, digest BLOB NOT NULL,
            linear INTEGER NOT NULL, version INTEGER NOT NULL,
            facts BLOB NOT NULL, measure BLOB NOT NULL,
            UNIQUE (size, digest, linear)
        );
    ",
        "
        CREATE TABLE pair (
            id INTEGER PRIMARY KEY, first BLOB NOT NULL, second BLOB NOT NULL,
            dark INTEGER NOT NULL, linear INTEGER NOT NULL, version INTEGER NOT NULL,
            pair BLOB NOT NULL, UNIQUE (first, second, dark, linear)
        );
    ",
    ],
    synchronous: "NORMAL",
    check: false,
};

/// A kept measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// Capture facts as read when it was measured.
    pub facts: Facts,
    /// The measurement.
    pub measure: FrameMeasure,
}

/// The option that changes what is measured, as a number for the database.
const fn linear_code(linear: Option<bool>) -> i64 {
    match linear {
        None => -1,
        Some(false) => 0,
        Some(true) => 1,
    }
}

/// Facts and measures change meaning separately; a kept measure needs both to be of today.
const fn measure_version() -> i64 {
    ((FACTS_VERSION as i64) << 32) | MEASURE_VERSION as i64
}

fn encode<T: Serialize>(value: &T) -> Option<Vec<u8>> {
    postcard::to_stdvec(value)
        .inspect_err(|fault| tracing::warn!(%fault, "a kept value could not be written"))
        .ok()
}

fn decode<T: DeserializeOwned>(bytes: &[u8]) -> Option<T> {
    postcard::from_bytes(bytes)
        .inspect_err(|fault| tracing::warn!(%fault, "a kept value could not be read"))
        .ok()
}

/// Size and time of change, which tell whether a file at a known path is still the same.
fn stamp(path: &Path) -> Option<(i64, i64)> {
    let metadata = std::fs::metadata(path).ok()?;
    let modified = metadata.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
    Some((
        i64::try_from(metadata.len()).ok()?,
        i64::try_from(modified.as_nanos()).ok()?,
    ))
}

impl Store {
    /// Runs `work` on the cache; `None` without a cache, or after a fault, which is logged.
    fn cached<T>(&self, work: impl FnOnce(&Connection) -> rusqlite::Result<T>) -> Option<T> {
        let database = self.cache.as_ref()?;
        let done = work(&database.lock());
        done.inspect_err(|fault| tracing::warn!(%fault, "the measurement cache failed"))
            .ok()
    }

    /// The key of the file at `path` if it was seen there before and has not changed since;
    /// nothing of the file is read.
    #[must_use]
    pub fn known_key(&self, path: &Path) -> Option<ContentKey> {
        let (size, modified) = stamp(path)?;
        let digest = self.cached(|db| {
            db.prepare_cached(
                "SELECT digest FROM place WHERE path = ?1 AND size = ?2 AND modified_ns = ?3",
            )?
            .query_row(params![paths::to_bytes(path), size, modified], |row| {
                row.get::<_, [u8; 32]>(0)
            })
            .optional()
        })??;
        Some(ContentKey {
            size: u64::try_from(size).ok()?,
            digest,
        })
    }

    /// The key of the file at `path`, read from the file when it is not known yet; `None` when the
    /// file cannot be read (opening it will say why).
    #[must_use]
    pub fn key_of(&self, path: &Path) -> Option<ContentKey> {
        if let Some(known) = self.known_key(path) {
            return Some(known);
        }
        let (size, modified) = stamp(path)?;
        let key = ContentKey::of(path).ok()?;
        self.cached(|db| {
            db.prepare_cached("INSERT OR REPLACE INTO place VALUES (?1, ?2, ?3, ?4)")?
                .execute(params![paths::to_bytes(path), size, modified, key.digest])
        });
        Some(key)
    }

    /// Kept capture facts.
    #[must_use]
    pub fn facts(&self, key: &ContentKey) -> Option<Facts> {
        let blob = self.cached(|db| {
            db.prepare_cached(
                "SELECT facts FROM facts WHERE size = ?1 AND digest = ?2 AND version = ?3",
            )?
            .query_row(
                params![size_of(key), key.digest, i64::from(FACTS_VERSION)],
                |row| row.get::<_, Vec<u8>>(0),
            )
            .optional()
        })??;
        decode(&blob)
    }

    /// Keeps capture facts.
    pub fn keep_facts(&self, key: &ContentKey, facts: &Facts) {
        let Some(blob) = encode(facts) else { return };
        self.cached(|db| {
            db.prepare_cached("INSERT OR REPLACE INTO facts VALUES (?1, ?2, ?3, ?4)")?
                .execute(params![
                    size_of(key),
                    key.digest,
                    i64::from(FACTS_VERSION),
                    blob
                ])
        });
    }

    /// The kept measurement of this content, made by this version of `measure` and read with the
    /// same word on linearity.
    #[must_use]
    pub fn measure(&self, key: &ContentKey, linear: Option<bool>) -> Option<Kept> {
        let (facts, measure) = self.cached(|db| {
            db.prepare_cached(
                "SELECT facts, measure FROM measure
                 WHERE size = ?1 AND digest = ?2 AND linear = ?3 AND version = ?4",
            )?
            .query_row(
                params![
                    size_of(key),
                    key.digest,
                    linear_code(linear),
                    measure_version()
                ],
                |row| Ok((row.get::<_, Vec<u8>>(0)?, row.get::<_, Vec<u8>>(1)?)),
            )
            .optional()
        })??;
        Some(Kept {
            facts: decode(&facts)?,
            measure: decode(&measure)?,
        })
    }

    /// Keeps a measurement, in place of an older one of the same content.
    pub fn keep_measure(
        &self,
        key: &ContentKey,
        linear: Option<bool>,
        facts: &Facts,
        measure: &FrameMeasure,
    ) {
        let (Some(facts), Some(measure)) = (encode(facts), encode(measure)) else {
            return;
        };
        self.cached(|db| {
            db.prepare_cached(
                "INSERT OR REPLACE INTO measure (size, digest, linear, version, facts, measure)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                size_of(key),
                key.digest,
                linear_code(linear),
                measure_version(),
                facts,
                measure
            ])
        });
    }

    /// The kept measure of a pair, by both frames' content in this order.
    #[must_use]
    pub fn pair(
        &self,
        (first, second): (ContentKey, ContentKey),
        of: PairOf,
        linear: Option<bool>,
    ) -> Option<PairMeasure> {
        let blob = self.cached(|db| {
            db.prepare_cached(
                "SELECT pair FROM pair WHERE first = ?1 AND second = ?2 AND dark = ?3
                 AND linear = ?4 AND version = ?5",
            )?
            .query_row(
                params![
                    blob_of(&first),
                    blob_of(&second),
                    of == PairOf::Dark,
                    linear_code(linear),
                    pair_version()
                ],
                |row| row.get::<_, Vec<u8>>(0),
            )
            .optional()
        })??;
        decode(&blob)
    }

    /// Keeps the measure of a pair.
    pub fn keep_pair(
        &self,
        (first, second): (ContentKey, ContentKey),
        of: PairOf,
        linear: Option<bool>,
        measured: &PairMeasure,
    ) {
        let Some(blob) = encode(measured) else { return };
        self.cached(|db| {
            db.prepare_cached(
                "INSERT OR REPLACE INTO pair (first, second, dark, linear, version, pair)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                blob_of(&first),
                blob_of(&second),
                of == PairOf::Dark,
                linear_code(linear),
                pair_version(),
                blob
            ])
        });
    }

    /// Keeps the cache from growing for ever.
    pub(super) fn prune_cache(&self) {
        self.cached(|db| {
            db.execute(
                "DELETE FROM measure WHERE id <= (SELECT max(id) FROM measure) - ?1",
                params![MOST_MEASURES],
            )?;
            db.execute(
                "DELETE FROM pair WHERE id <= (SELECT max(id) FROM pair) - ?1",
                params![MOST_MEASURES],
            )
        });
    }
}

/// A pair is found by the ways of finding and of measuring it: both stages of `measure` go in.
const fn pair_version() -> i64 {
    ((PAIR_VERSION as i64) << 32) | MEASURE_VERSION as i64
}

/// Size and digest in one.
fn blob_of(key: &ContentKey) -> Vec<u8> {
    let mut blob = key.size.to_be_bytes().to_vec();
    blob.extend(key.digest);
    blob
}

/// The database's integers are signed; no file is as large as to mind.
fn size_of(key: &ContentKey) -> i64 {
    i64::try_from(key.size).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::atomic::{Existing, write};
    use crate::frame::Light;
    use crate::store::Places;

    fn measured(stars: u32) -> FrameMeasure {
        FrameMeasure {
            star_count: stars,
            ..FrameMeasure::empty(6, 4, Light::Linear)
        }
    }

    #[test]
    fn a_measure_is_found_by_content_and_options() {
        let root = tempfile::tempdir().unwrap();
        let (store, warnings) = Store::open(&Places::under(root.path()));
        assert!(warnings.is_empty(), "{warnings:?}");
        let path = root.path().join("a.jpg");
        write(&path, Existing::Keep, |out| out.write_all(b"light")).unwrap();
        assert_eq!(store.known_key(&path), None);
        let key = store.key_of(&path).unwrap();
        assert_eq!(store.known_key(&path), Some(key));

        let facts = Facts {
            iso: Some(1600),
            ..Facts::default()
        };
        assert_eq!(store.measure(&key, None), None);
        store.keep_measure(&key, None, &facts, &measured(3));
        store.keep_measure(&key, None, &facts, &measured(4));
        let kept = store.measure(&key, None).unwrap();
        assert_eq!(kept.measure.star_count, 4);
        assert_eq!(kept.facts, facts);
        assert_eq!(store.measure(&key, Some(true)), None);

        store.keep_facts(&key, &facts);
        assert_eq!(store.facts(&key), Some(facts));

        let moved = root.path().join("b.jpg");
        std::fs::rename(&path, &moved).unwrap();
        assert_eq!(store.known_key(&moved), None, "this place is new");
        let key = store.key_of(&moved).unwrap();
        assert!(store.measure(&key, None).is_some(), "the content is not");

        write(&moved, Existing::Replace, |out| out.write_all(b"other")).unwrap();
        assert_ne!(store.key_of(&moved), Some(key));
    }

    #[test]
    fn without_a_store_nothing_is_found_and_nothing_fails() {
        let store = Store::without();
        let root = tempfile::tempdir().unwrap();
        let path = root.path().join("a.jpg");
        write(&path, Existing::Keep, |out| out.write_all(b"light")).unwrap();
        let key = store.key_of(&path).unwrap();
        store.keep_measure(&key, None, &Facts::default(), &measured(1));
        assert_eq!(store.measure(&key, None), None);
    }
}
