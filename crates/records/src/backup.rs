//! A copy of the records, whole or not at all.

use std::io::{self, ErrorKind};
use std::path::Path;

use rusqlite::Connection;
use rusqlite::backup::{Backup, StepResult};

use crate::error::Stop;
use crate::part::{keep_part, part_in};
use crate::sound::examine;
use crate::store::{refused, tell};
use crate::{RecordsError, Store};

/// Takes every page in one step, so that the copy is one state of the records.
const ALL_PAGES: i32 = -1;

impl Store {
    /// Copies the records to a new file.
    ///
    /// The copy is made under another name, its pages and records are checked, it is synced, and only then given its name; a file of that
    /// name is never replaced. To go back to a backup, put a copy of it in the profile folder as [`crate::FILE_NAME`], and take
    /// away a `records.sqlite-journal` that a killed command left there: it belongs to the old file and would spoil the new.
    ///
    /// # Arguments
    /// * `target`: the file to make; its folder must exist, preferably on another disk.
    ///
    /// # Errors
    /// [`RecordsError`]: the file is there already, its folder is missing, the records are damaged, or the system refuses.
    ///
    /// ```
    /// use barwright_records::{FILE_NAME, Lot, Store};
    /// let (folder, elsewhere) = (tempfile::tempdir()?, tempfile::tempdir()?);
    /// let mut store = Store::open(folder.path())?;
    /// store.add_lot(&Lot::new("spring wax", "beeswax"), "2026-11-25".parse()?)?;
    /// store.backup(&elsewhere.path().join(FILE_NAME))?;
    /// assert_eq!(Store::open(elsewhere.path())?.lots()?, store.lots()?);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn backup(&self, target: &Path) -> Result<(), RecordsError> {
        let refuse = |source: io::Error| match source.kind() {
            ErrorKind::AlreadyExists => RecordsError::BackupExists { path: target.to_owned() },
            _ => refused(target, source),
        };
        if target.symlink_metadata().is_ok() {
            return Err(RecordsError::BackupExists { path: target.to_owned() });
        }
        let folder = target.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        if !folder.is_dir() {
            return Err(RecordsError::NoFolder { folder: folder.to_owned() });
        }
        let part = part_in(folder).map_err(refuse)?;
        let mut copy = Connection::open(part.path()).map_err(|error| tell(target, error.into()))?;
        copy_pages(&self.connection, &mut copy).map_err(|stop| match tell(target, stop) {
            // It is the records that could not be read, not the copy.
            RecordsError::Damaged { what, .. } => RecordsError::Damaged { path: self.path.clone(), what },
            error => error,
        })?;
        if let Err(what) = examine(&copy, None).map_err(|stop| tell(target, stop))? {
            return Err(RecordsError::Damaged { path: self.path.clone(), what });
        }
        copy.close().map_err(|(_, error)| tell(target, error.into()))?;
        keep_part(part, target, folder).map_err(refuse)
    }
}

/// Copies every page of one state.
fn copy_pages(from: &Connection, to: &mut Connection) -> Result<(), Stop> {
    match Backup::new(from, to)?.step(ALL_PAGES)? {
        StepResult::Done => Ok(()),
        _ => {
            Err(Stop::Sql(rusqlite::Error::SqliteFailure(rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_BUSY), None)))
        }
    }
}
