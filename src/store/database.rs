//! Opening a database: its schema brought up to date, a damaged one set aside.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use rusqlite::{Connection, ErrorCode};

use super::{Database, StoreError};

/// How a database is laid out.
pub(super) struct Schema {
    /// Statements that lead from version n to n + 1; `user_version` counts those done.
    pub(super) steps: &'static [&'static str],
    /// `FULL` where a power cut must lose nothing, `NORMAL` where it may lose the last moments.
    pub(super) synchronous: &'static str,
    /// Whether to look through all of it for damage when opening (for small databases).
    pub(super) check: bool,
}

/// A database, and what the person should know about how it was opened.
pub(super) struct Opened {
    database: Database,
    warning: Option<String>,
}

pub(super) fn open(path: &Path, schema: &Schema) -> Result<Opened, StoreError> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder).map_err(|source| StoreError::Io {
            source,
            path: folder.to_owned(),
        })?;
    }
    match connect(path, schema) {
        Ok(database) => Ok(Opened {
            database,
            warning: None,
        }),
        Err(StoreError::Database { source, .. }) if is_damage(&source) => {
            let aside = set_aside(path)?;
            Ok(Opened {
                database: connect(path, schema)?,
                warning: Some(format!(
                    "{} was damaged and has been begun anew. The damaged one is kept as {}.",
                    path.display(),
                    aside.display()
                )),
            })
        }
        Err(other) => Err(other),
    }
}

/// The database if it could be opened; else none, and a warning that says what that means.
pub(super) fn or_without(
    opened: Result<Opened, StoreError>,
    consequence: &str,
    warnings: &mut Vec<String>,
) -> Option<Database> {
    match opened {
        Ok(Opened { database, warning }) => {
            warnings.extend(warning);
            Some(database)
        }
        Err(fault) => {
            warnings.push(format!("{consequence}: {fault}"));
            None
        }
    }
}

fn connect(path: &Path, schema: &Schema) -> Result<Database, StoreError> {
    let fault = |source| StoreError::Database {
        source,
        path: path.to_owned(),
    };
    let mut connection = Connection::open(path).map_err(fault)?;
    prepare(&connection, schema).map_err(fault)?;
    let done: u32 = connection
        .query_row("PRAGMA user_version", [], |row| row.get(0))
        .map_err(fault)?;
    if done as usize > schema.steps.len() {
        return Err(StoreError::TooNew {
            path: path.to_owned(),
        });
    }
    migrate(&mut connection, schema.steps, done).map_err(fault)?;
    Ok(Database {
        connection: Mutex::new(connection),
        path: path.to_owned(),
    })
}

fn prepare(connection: &Connection, schema: &Schema) -> rusqlite::Result<()> {
    connection.busy_timeout(Duration::from_secs(5))?;
    connection.pragma_update(None, "journal_mode", "WAL")?;
    connection.pragma_update(None, "synchronous", schema.synchronous)?;
    if schema.check {
        let verdict: String =
            connection.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
        if verdict != "ok" {
            return Err(rusqlite::Error::SqliteFailure(
                rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_CORRUPT),
                Some(verdict),
            ));
        }
    }
    Ok(())
}

fn migrate(connection: &mut Connection, steps: &[&str], done: u32) -> rusqlite::Result<()> {
    for (version, step) in (1u32..).zip(steps).skip(done as usize) {
        let transaction = connection.transaction()?;
        // Another process may have been first.
        let now: u32 = transaction.query_row("PRAGMA user_version", [], |row| row.get(0))?;
        if now < version {
            transaction.execute_batch(step)?;
            transaction.pragma_update(None, "user_version", version)?;
        }
        transaction.commit()?;
    }
    Ok(())
}

fn is_damage(source: &rusqlite::Error) -> bool {
    matches!(
        source.sqlite_error_code(),
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase)
    )
}

/// Renames a damaged database and what belongs to it; gives its new name.
fn set_aside(path: &Path) -> Result<PathBuf, StoreError> {
    let seconds = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |since| since.as_secs());
    let renamed = |suffix: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(suffix);
        PathBuf::from(name)
    };
    let aside = renamed(&format!(".damaged-{seconds}"));
    fs::rename(path, &aside).map_err(|source| StoreError::Io {
        source,
        path: path.to_owned(),
    })?;
    for suffix in ["-wal", "-shm"] {
        let from = renamed(suffix);
        if from.exists() {
            let to = renamed(&format!(".damaged-{seconds}{suffix}"));
            fs::rename(&from, to).map_err(|source| StoreError::Io { source, path: from })?;
        }
    }
    Ok(aside)
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;
    use crate::base::atomic;
    use crate::store::{Places, Store};

    #[test]
    fn a_damaged_database_is_set_aside_and_begun_anew() {
        let root = tempfile::tempdir().unwrap();
        let places = Places::under(root.path());
        fs::create_dir_all(&places.data).unwrap();
        let path = places.data.join("kept.sqlite");
        atomic::write(&path, atomic::Existing::Keep, |out: &mut dyn Write| {
            out.write_all(&[b'x'; 8192])
        })
        .unwrap();
        let (store, warnings) = Store::open(&places);
        assert_eq!(warnings.len(), 1, "{warnings:?}");
        assert!(warnings[0].contains("kept.sqlite.damaged-"), "{warnings:?}");
        store.keep_preference("theme", "dark").unwrap();
        assert_eq!(store.preferences().unwrap().len(), 1);
        let aside = fs::read_dir(&places.data)
            .unwrap()
            .filter_map(Result::ok)
            .find(|entry| entry.file_name().to_string_lossy().contains(".damaged-"))
            .unwrap();
        assert_eq!(fs::read(aside.path()).unwrap(), vec![b'x'; 8192]);
    }

    #[test]
    fn a_later_versions_database_is_left_alone() {
        let root = tempfile::tempdir().unwrap();
        let places = Places::under(root.path());
        drop(Store::open(&places));
        let path = places.data.join("kept.sqlite");
        let connection = Connection::open(&path).unwrap();
        connection.pragma_update(None, "user_version", 999).unwrap();
        drop(connection);
        let (store, warnings) = Store::open(&places);
        assert!(warnings[0].contains("later version"), "{warnings:?}");
        store.keep_preference("theme", "dark").unwrap();
        assert!(store.preferences().unwrap().is_empty(), "it does without");
    }

    #[test]
    fn a_place_that_cannot_be_made_is_done_without() {
        let root = tempfile::tempdir().unwrap();
        let in_the_way = root.path().join("data");
        atomic::write(&in_the_way, atomic::Existing::Keep, |_| Ok(())).unwrap();
        let (_, warnings) = Store::open(&Places::under(root.path()));
        assert_eq!(warnings.len(), 1);
        assert!(
            warnings[0].contains("will not be remembered"),
            "{warnings:?}"
        );
    }
}
