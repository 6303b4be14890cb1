//! The file in the profile folder, read and changed one record at a time, and what it refuses in words.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use rusqlite::{Connection, ErrorCode, Transaction, TransactionBehavior};

use crate::error::Stop;
use crate::{RecordsError, refusal};

/// Name of the records in a profile folder.
pub const FILE_NAME: &str = "records.sqlite";

/// How long a command waits for another one that writes, s.
pub(crate) const BUSY_S: u64 = 30;

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
    /// What makes the versions; those of a release, but for tests.
    pub(crate) steps: &'static [&'static str],
}

impl Store {
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

/// Whether the system lets this program open no more files: the database does not say why it could not open one.
pub(crate) fn no_more_files(path: &Path) -> bool {
    fs::File::open(path).is_err_and(|error| refusal::is_too_many_open(&error))
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
            rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::InvalidColumnType(..) => RecordsError::Damaged { path, what: error.to_string() },
            source => RecordsError::Database { path, source },
        },
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    #[test]
    fn only_a_failed_write_is_told_as_a_lack_of_room() {
        let folder = tempfile::tempdir().unwrap();
        let told = |extended| {
            let failure = rusqlite::Error::SqliteFailure(rusqlite::ffi::Error::new(extended), None);
            tell(folder.path(), failure.into())
        };
        assert!(matches!(told(rusqlite::ffi::SQLITE_IOERR_WRITE), RecordsError::Full { .. }));
        for other in [rusqlite::ffi::SQLITE_IOERR_READ, rusqlite::ffi::SQLITE_IOERR_FSYNC] {
            let error = told(other);
            assert!(matches!(error, RecordsError::Database { .. }), "{error:?}");
        }
    }
}
