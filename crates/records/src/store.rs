//! The file in the profile folder: made, opened, checked, and changed one record at a time.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::time::Duration;

use barwright_save::{part_in, refusal};
use rusqlite::{Connection, ErrorCode, OpenFlags, Transaction, TransactionBehavior};

use crate::RecordsError;
use crate::error::Stop;
use crate::schema::{APPLICATION_ID, STEPS, migrate, newest, version};

/// Name of the records in a profile folder.
pub const FILE_NAME: &str = "records.sqlite";

/// How long a command waits for another one that writes, s.
const BUSY_S: u64 = 30;
/// Statements kept prepared.
const STATEMENTS: usize = 64;
/// Pages kept in memory, KiB (SQLite counts them as a negative number): an import of this size blocks no reader until it
/// ends.
const CACHE_KIB: u32 = 65_536;
/// Findings of an integrity check that are told.
const MOST_FINDINGS: usize = 5;

/// The records of one maker: formulas as poured, lots, batches, bars, trials, outcomes.
///
/// One SQLite file with a rollback journal. Every record is one transaction, on the disk before the call returns
/// (`synchronous = EXTRA`: the journal's removal is synced as well). A rollback journal rather than a write-ahead log, so
/// that between two commands there is one file and a copy of it is whole. Several commands may write at once; each waits
/// its turn.
#[derive(Debug)]
pub struct Store {
    pub(crate) connection: Connection,
    pub(crate) path: PathBuf,
}

impl Store {
    /// Opens the records in a folder and makes them if there are none.
    ///
    /// New records are made whole under another name and then take theirs, so that a file that is there but empty is
    /// known to be one that lost its contents. Records of an older version are brought to this one in one transaction.
    ///
    /// # Arguments
    /// * `folder`: the profile folder; must exist. The file in it is [`FILE_NAME`].
    ///
    /// # Errors
    /// [`RecordsError`]: no folder, a file that is empty, damaged, newer or no records at all, or a refusal of the system. A
    /// file that is refused is not changed.
    ///
    /// ```
    /// use barwright_records::Store;
    /// let folder = tempfile::tempdir()?;
    /// let store = Store::open(folder.path())?;
    /// assert!(store.lots()?.is_empty());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn open(folder: &Path) -> Result<Store, RecordsError> {
        Store::open_with(folder, STEPS)
    }

    /// Opens records whose versions are these steps.
    fn open_with(folder: &Path, steps: &[&str]) -> Result<Store, RecordsError> {
        if !folder.is_dir() {
            return Err(RecordsError::NoFolder { folder: folder.to_owned() });
        }
        let path = folder.join(FILE_NAME);
        match fs::metadata(&path) {
            Ok(found) if found.is_file() && found.len() == 0 => return Err(RecordsError::Empty { path }),
            Ok(_) => {}
            Err(error) if error.kind() == ErrorKind::NotFound => create(folder, &path, steps)?,
            Err(source) => return Err(RecordsError::Io { path, source }),
        }
        let connection = connect(&path).map_err(|stop| not_opened(&path, stop))?;
        let mut store = Store { connection, path };
        let found = store.told(look(&store.connection, &store.path))?;
        let known = newest(steps);
        if found > known {
            return Err(RecordsError::Newer { path: store.path, found, known });
        }
        if found < known {
            let migrated = migrate(&mut store.connection, steps);
            store.told(migrated)?;
        }
        Ok(store)
    }

    /// Returns the file the records are in.
    ///
    /// ```
    /// use barwright_records::{FILE_NAME, Store};
    /// let folder = tempfile::tempdir()?;
    /// let store = Store::open(folder.path())?;
    /// assert_eq!(store.path(), folder.path().join(FILE_NAME));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads every page and every reference and says whether all of it is sound.
    ///
    /// # Errors
    /// [`RecordsError::Damaged`] with the first findings; or a refusal of the system.
    ///
    /// ```
    /// let folder = tempfile::tempdir()?;
    /// barwright_records::Store::open(folder.path())?.check()?;
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn check(&self) -> Result<(), RecordsError> {
        let findings = self.told(findings(&self.connection))?;
        if findings.is_empty() {
            return Ok(());
        }
        Err(RecordsError::Damaged { path: self.path.clone(), what: findings.join("; ") })
    }

    /// Runs one change as one transaction: on the disk when this returns, or not at all.
    pub(crate) fn change<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, Stop>,
    ) -> Result<T, RecordsError> {
        let done = within(&mut self.connection, work);
        self.told(done)
    }

    /// Reads from one state of the records, whatever others write meanwhile.
    pub(crate) fn read<T>(&self, work: impl FnOnce(&Connection) -> Result<T, Stop>) -> Result<T, RecordsError> {
        let read = || -> Result<T, Stop> {
            let transaction = self.connection.unchecked_transaction()?;
            let answer = work(&transaction)?;
            transaction.finish()?;
            Ok(answer)
        };
        self.told(read())
    }

    /// Adds the path to what stopped an inner function.
    pub(crate) fn told<T>(&self, result: Result<T, Stop>) -> Result<T, RecordsError> {
        result.map_err(|stop| tell(&self.path, stop))
    }
}

/// Begins, works, commits; an error on the way undoes all of it.
fn within<T>(connection: &mut Connection, work: impl FnOnce(&Transaction<'_>) -> Result<T, Stop>) -> Result<T, Stop> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let answer = work(&transaction)?;
    transaction.commit()?;
    Ok(answer)
}

/// Makes new records under another name, then gives them theirs unless another command was faster.
fn create(folder: &Path, path: &Path, steps: &[&str]) -> Result<(), RecordsError> {
    let refuse = |error| refused(path, error);
    let part = part_in(folder).map_err(refuse)?;
    let mut connection = connect(part.path()).map_err(|stop| tell(path, stop))?;
    migrate(&mut connection, steps).map_err(|stop| tell(path, stop))?;
    connection.close().map_err(|(_, error)| tell(path, error.into()))?;
    match keep_part(part, path, folder) {
        Err(error) if error.kind() != ErrorKind::AlreadyExists => Err(refuse(error)),
        _ => Ok(()),
    }
}

/// Says why the system did not let a file be made.
pub(crate) fn refused(path: &Path, error: io::Error) -> RecordsError {
    let path = path.to_owned();
    if refusal::is_too_many_open(&error) {
        return RecordsError::TooManyOpen { path };
    }
    match error.kind() {
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => RecordsError::ReadOnly { path },
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            RecordsError::Full { path, what: error.kind().to_string() }
        }
        // The error may name the temporary file, which nobody knows; its kind says enough.
        kind => RecordsError::Io { path, source: kind.into() },
    }
}

/// Syncs a part file, gives it its name if nothing has that name, and syncs the folder.
pub(crate) fn keep_part(part: tempfile::NamedTempFile, path: &Path, folder: &Path) -> io::Result<()> {
    part.as_file().sync_all()?;
    part.persist_noclobber(path).map_err(|error| error.error)?;
    #[cfg(unix)]
    fs::File::open(folder)?.sync_all()?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}

/// Opens a file that exists.
fn connect(path: &Path) -> Result<Connection, Stop> {
    let connection =
        Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
    connection.busy_timeout(Duration::from_secs(BUSY_S))?;
    connection.set_prepared_statement_cache_capacity(STATEMENTS);
    connection.execute_batch(&format!(
        "PRAGMA cache_size = -{CACHE_KIB};
         PRAGMA synchronous = EXTRA;
         PRAGMA foreign_keys = ON;
         PRAGMA trusted_schema = OFF;
         PRAGMA cell_size_check = ON;",
    ))?;
    Ok(connection)
}

/// Whether the system lets this program open no more files: the database does not say why it could not open one.
fn no_more_files(path: &Path) -> bool {
    fs::File::open(path).is_err_and(|error| refusal::is_too_many_open(&error))
}

/// Says why a file that exists was not opened; at this point nobody has tried to write.
fn not_opened(path: &Path, stop: Stop) -> RecordsError {
    match stop {
        Stop::Sql(source) if source.sqlite_error_code() == Some(ErrorCode::CannotOpen) && !no_more_files(path) => {
            RecordsError::Database { path: path.to_owned(), source }
        }
        stop => tell(path, stop),
    }
}

/// Looks at an open file without changing it and returns its version.
fn look(connection: &Connection, path: &Path) -> Result<i64, Stop> {
    // A read transaction: what a killed command left half done is undone first, and nobody writes meanwhile.
    let transaction = connection.unchecked_transaction()?;
    let found = version(&transaction)?;
    let application: i64 = transaction.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let pages: u32 = transaction.pragma_query_value(None, "page_count", |row| row.get(0))?;
    let page_bytes: u32 = transaction.pragma_query_value(None, "page_size", |row| row.get(0))?;
    let bytes = fs::metadata(path).map_err(|source| RecordsError::Io { path: path.to_owned(), source })?.len();
    transaction.finish()?;
    if application != APPLICATION_ID {
        return Err(RecordsError::Foreign { path: path.to_owned() }.into());
    }
    // A last page cut short would be read as if it ended in zeros.
    if bytes < u64::from(pages).saturating_mul(page_bytes.into()) {
        return Err(Stop::Unreadable(format!("it has {bytes} bytes where {pages} pages of {page_bytes} are due")));
    }
    Ok(found)
}

/// Returns the first findings of an integrity check; none when all is sound.
pub(crate) fn findings(connection: &Connection) -> Result<Vec<String>, Stop> {
    let mut findings = Vec::new();
    let mut statement = connection.prepare(&format!("PRAGMA integrity_check({MOST_FINDINGS})"))?;
    for finding in statement.query_map([], |row| row.get::<_, String>(0))? {
        let finding = finding?;
        if finding != "ok" {
            findings.push(finding);
        }
    }
    let mut statement = connection.prepare("PRAGMA foreign_key_check")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        if findings.len() >= MOST_FINDINGS {
            break;
        }
        let (table, parent): (String, String) = (row.get(0)?, row.get(2)?);
        findings.push(format!("a row of {table} refers to a row of {parent} that is not there"));
    }
    Ok(findings)
}

/// Says what stopped an inner function in words a maker can act on.
pub(crate) fn tell(path: &Path, stop: Stop) -> RecordsError {
    let path = path.to_owned();
    let error = match stop {
        Stop::Known(error) => return error,
        Stop::Unreadable(what) => return RecordsError::Damaged { path, what },
        Stop::Sql(error) => error,
    };
    match error.sqlite_error_code() {
        Some(ErrorCode::CannotOpen | ErrorCode::SystemIoFailure) if no_more_files(&path) => {
            RecordsError::TooManyOpen { path }
        }
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
            RecordsError::Damaged { path, what: error.to_string() }
        }
        Some(ErrorCode::DiskFull) => RecordsError::Full { path, what: error.to_string() },
        Some(ErrorCode::SystemIoFailure) => match error.sqlite_error() {
            Some(inner) if inner.extended_code == rusqlite::ffi::SQLITE_IOERR_WRITE => {
                RecordsError::Full { path, what: error.to_string() }
            }
            _ => RecordsError::Database { path, source: error },
        },
        Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => {
            RecordsError::ReadOnly { path }
        }
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => RecordsError::Busy { path, waited_s: BUSY_S },
        _ => match error {
            rusqlite::Error::FromSqlConversionFailure(..) | rusqlite::Error::InvalidColumnType(..) => {
                RecordsError::Damaged { path, what: error.to_string() }
            }
            source => RecordsError::Database { path, source },
        },
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::{Lot, Outcome};

    /// A day for records.
    const TODAY: jiff::civil::Date = jiff::civil::date(2026, 11, 25);
    /// A version 2 that no release has.
    const SECOND: &str = "ALTER TABLE lots ADD COLUMN shelf TEXT; UPDATE lots SET shelf = 'top';";

    /// Records of version 1 with one lot.
    fn old_records() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        Store::open_with(folder.path(), &STEPS[..1])
            .unwrap()
            .add_lot(&Lot::new("spring wax", "beeswax"), TODAY)
            .unwrap();
        folder
    }

    #[test]
    fn an_older_version_takes_the_steps_it_lacks_once() {
        let folder = old_records();
        let steps = [STEPS[0], SECOND];
        for _ in 0..2 {
            let store = Store::open_with(folder.path(), &steps).unwrap();
            assert_eq!(version(&store.connection).unwrap(), 2);
            let shelf: String = store.connection.query_row("SELECT shelf FROM lots", [], |row| row.get(0)).unwrap();
            assert_eq!(shelf, "top");
            assert_eq!(store.lot("spring wax").unwrap(), Lot::new("spring wax", "beeswax"));
            store.check().unwrap();
        }
    }

    #[test]
    fn a_newer_version_is_refused_and_untouched() {
        let folder = old_records();
        drop(Store::open_with(folder.path(), &[STEPS[0], SECOND]).unwrap());
        let before = fs::read(folder.path().join(FILE_NAME)).unwrap();
        let error = Store::open_with(folder.path(), &STEPS[..1]).unwrap_err();
        assert!(matches!(error, RecordsError::Newer { found: 2, known: 1, .. }), "{error}");
        assert_eq!(fs::read(folder.path().join(FILE_NAME)).unwrap(), before);
    }

    #[test]
    fn a_step_that_fails_leaves_the_old_version() {
        let folder = old_records();
        let before = fs::read(folder.path().join(FILE_NAME)).unwrap();
        let half = "ALTER TABLE lots ADD COLUMN shelf TEXT; UPDATE no_such_table SET x = 1;";
        assert!(matches!(Store::open_with(folder.path(), &[STEPS[0], half]), Err(RecordsError::Database { .. })));
        assert_eq!(fs::read(folder.path().join(FILE_NAME)).unwrap(), before);
        assert_eq!(Store::open_with(folder.path(), &STEPS[..1]).unwrap().lots().unwrap().len(), 1);
    }

    #[test]
    fn without_room_the_record_is_refused_and_the_rest_is_there() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let pages: i64 = store.connection.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
        store.connection.query_row(&format!("PRAGMA max_page_count = {}", pages + 8), [], |_| Ok(())).unwrap();
        let mut kept = 0;
        let error = loop {
            let note = Some("x".repeat(1000));
            let lot = Lot { note, ..Lot::new(&format!("lot {kept}"), "beeswax") };
            match store.add_lot(&lot, TODAY) {
                Ok(()) => kept += 1,
                Err(error) => break error,
            }
        };
        assert!(matches!(error, RecordsError::Full { .. }), "{error}");
        assert!(kept > 8, "{kept}");
        assert_eq!(store.lots().unwrap().len(), kept);
        store.check().unwrap();
        drop(store);
        let mut store = Store::open(folder.path()).unwrap();
        store.add_lot(&Lot::new("one more", "beeswax"), TODAY).unwrap();
        assert_eq!(store.lots().unwrap().len(), kept + 1);
    }

    #[test]
    fn another_command_that_does_not_end_is_told() {
        let folder = old_records();
        let mut one = Store::open(folder.path()).unwrap();
        let mut other = Store::open(folder.path()).unwrap();
        other.connection.busy_timeout(Duration::from_millis(20)).unwrap();
        let writing = one.connection.transaction_with_behavior(TransactionBehavior::Immediate).unwrap();
        let error = other.add_lot(&Lot::new("oil", "sunflower-oil"), TODAY).unwrap_err();
        assert!(matches!(error, RecordsError::Busy { .. }), "{error}");
        drop(writing);
        other.add_lot(&Lot::new("oil", "sunflower-oil"), TODAY).unwrap();
        assert_eq!(one.lots().unwrap().len(), 2);
    }

    #[test]
    fn what_is_on_the_disk_is_waited_for() {
        let folder = old_records();
        let store = Store::open(folder.path()).unwrap();
        let set = |name| store.connection.pragma_query_value(None, name, |row| row.get::<_, String>(0));
        assert_eq!(set("journal_mode").unwrap(), "delete");
        let level: i64 = store.connection.pragma_query_value(None, "synchronous", |row| row.get(0)).unwrap();
        assert_eq!(level, 3, "EXTRA");
    }

    #[test]
    fn a_hand_edited_value_is_damage_not_a_guess() {
        let folder = old_records();
        let store = Store::open(folder.path()).unwrap();
        store.connection.execute("UPDATE lots SET delivered_on = 'last spring'", []).unwrap();
        let error = store.lots().unwrap_err();
        assert!(matches!(&error, RecordsError::Damaged { what, .. } if what.contains("last spring")), "{error}");
    }

    #[test]
    fn a_reference_to_nothing_is_found() {
        let folder = old_records();
        let mut store = Store::open(folder.path()).unwrap();
        let outcome = Outcome { batch: "none".to_owned(), noted_on: TODAY, note: "x".to_owned() };
        assert!(matches!(store.add_outcome(&outcome, TODAY), Err(RecordsError::Unknown { what: "batch", .. })));
        store.connection.execute_batch("PRAGMA foreign_keys = OFF").unwrap();
        let sql = "INSERT INTO outcomes (batch_id, noted_on, note) VALUES (7, '2026-11-25', 'x')";
        store.connection.execute(sql, []).unwrap();
        assert!(matches!(store.check(), Err(RecordsError::Damaged { .. })));
        assert!(matches!(store.backup(&folder.path().join("copy")), Err(RecordsError::Damaged { .. })));
        assert!(!folder.path().join("copy").exists());
    }
}
