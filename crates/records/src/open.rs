//! Opens the file in a profile folder: made, looked at, brought to the newest version.

use std::fs;
use std::io::ErrorKind;
use std::path::Path;
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OpenFlags};

use crate::error::Stop;
use crate::migrate::migrate;
use crate::part::{keep_part, part_in};
use crate::schema::{APPLICATION_ID, STEPS, compare, newest, version};
use crate::store::{BUSY_S, no_more_files, refused, tell};
use crate::{FILE_NAME, RecordsError, Store};

/// Statements kept prepared.
const STATEMENTS: usize = 64;
/// Pages kept in memory, KiB (SQLite counts them as a negative number): an import of this size blocks no reader until it
/// ends.
const CACHE_KIB: u32 = 65_536;

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
    fn open_with(folder: &Path, steps: &'static [&'static str]) -> Result<Store, RecordsError> {
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
        let mut store = Store { connection, path, steps };
        let found = store.told(look(&store.connection, &store.path, steps))?;
        if found < newest(steps) {
            let migrated = migrate(&mut store.connection, steps);
            store.told(migrated)?;
        }
        Ok(store)
    }
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

/// Opens a file that exists.
fn connect(path: &Path) -> Result<Connection, Stop> {
    let connection =
        Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
    connection.busy_timeout(Duration::from_secs(BUSY_S))?;
    connection.set_prepared_statement_cache_capacity(STATEMENTS);
    // Plans that hold whatever is bound: otherwise a statement with an outer join is planned anew each time it runs.
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    connection.execute_batch(&format!(
        "PRAGMA cache_size = -{CACHE_KIB};
         PRAGMA synchronous = EXTRA;
         PRAGMA foreign_keys = ON;
         PRAGMA trusted_schema = OFF;
         PRAGMA cell_size_check = ON;",
    ))?;
    Ok(connection)
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

/// Looks at an open file without changing it and returns its version, one of those known.
fn look(connection: &Connection, path: &Path, steps: &[&str]) -> Result<i64, Stop> {
    // A read transaction: what a killed command left half done is undone first, and nobody writes meanwhile.
    let transaction = connection.unchecked_transaction()?;
    let found = version(&transaction)?;
    let application: i64 = transaction.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let pages: u32 = transaction.pragma_query_value(None, "page_count", |row| row.get(0))?;
    let page_bytes: u32 = transaction.pragma_query_value(None, "page_size", |row| row.get(0))?;
    let bytes = fs::metadata(path).map_err(|source| RecordsError::Io { path: path.to_owned(), source })?.len();
    if application != APPLICATION_ID {
        return Err(RecordsError::Foreign { path: path.to_owned() }.into());
    }
    // A last page cut short would be read as if it ended in zeros.
    if bytes < u64::from(pages).saturating_mul(page_bytes.into()) {
        return Err(Stop::Unreadable(format!("it has {bytes} bytes where {pages} pages of {page_bytes} are due")));
    }
    let known = newest(steps);
    if found > known {
        return Err(RecordsError::Newer { path: path.to_owned(), found, known }.into());
    }
    let taken = usize::try_from(found).ok().and_then(|found| steps.get(..found));
    compare(&transaction, taken.unwrap_or_default(), path)?;
    transaction.finish()?;
    Ok(found)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use rusqlite::TransactionBehavior;

    use super::*;
    use crate::{Kind, Lot, Outcome};

    /// A day for records.
    const TODAY: jiff::civil::Date = jiff::civil::date(2026, 11, 25);
    /// A version that no release has, after the newest.
    const NEXT: &str = "ALTER TABLE lots ADD COLUMN shelf TEXT; UPDATE lots SET shelf = 'top';";
    /// Two lots, a batch, two entries and a trial, as version 1 put them in.
    const OLD_RECORDS: &str = "
        INSERT INTO formulas (name) VALUES ('hand bar');
        INSERT INTO formula_parts VALUES (1, 0, 'beeswax', 40), (1, 1, 'sunflower-oil', 60);
        INSERT INTO lots (key, like_ingredient, delivered_on, figures, price_per_kg)
            VALUES ('spring wax', 'beeswax', '2026-03-01', '{\"melt_c\":63.5}', 14.5), ('oil', 'sunflower-oil', NULL, '{}', NULL);
        INSERT INTO batches (number, formula_id, poured_on, mass_g, cavities) VALUES ('26-1', 1, '2026-11-20', 600.25, 12);
        INSERT INTO batch_lots VALUES (1, 0, 1, 240.1), (1, 1, 2, 360.15);
        INSERT INTO bars (batch_id, first_bar, last_bar, went, went_on)
            VALUES (1, 1, 4, 'sold', '2026-11-21'), (1, 5, 5, 'kept', '2026-11-21');
        INSERT INTO trials (formula_id, kind, figures, tested_on, days_since_pouring)
            VALUES (1, 'open-tube', '{\"melt_c\":54.1}', '2026-11-24', 4);
        INSERT INTO outcomes (batch_id, noted_on, note) VALUES (1, '2026-11-25', 'bloom');";

    /// Returns the steps of a release and one more.
    fn and_then(step: &'static str) -> &'static [&'static str] {
        Box::leak(STEPS.iter().copied().chain([step]).collect())
    }

    /// Records of version 1.
    fn old_records() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        Store::open_with(folder.path(), &STEPS[..1]).unwrap().connection.execute_batch(OLD_RECORDS).unwrap();
        folder
    }

    /// Every table of some records.
    fn tables(store: &Store) -> Vec<String> {
        Kind::ALL.into_iter().map(|kind| store.export_csv(kind).unwrap()).collect()
    }

    #[test]
    fn an_older_version_takes_the_steps_it_lacks_once() {
        let folder = old_records();
        let first = Store::open(folder.path()).unwrap();
        assert_eq!(
            first.check(TODAY).unwrap().records.iter().map(|kind| kind.1).collect::<Vec<_>>(),
            [1, 2, 1, 2, 1, 1]
        );
        let before = tables(&first);
        drop(first);
        for _ in 0..2 {
            let store = Store::open_with(folder.path(), and_then(NEXT)).unwrap();
            assert_eq!(version(&store.connection).unwrap(), 4);
            let shelf: String = store.connection.query_row("SELECT shelf FROM lots", [], |row| row.get(0)).unwrap();
            assert_eq!(shelf, "top");
            // Digests made before a column was added still fit.
            store.check(TODAY).unwrap();
            assert_eq!(tables(&store), before);
        }
    }

    #[test]
    fn deliveries_of_every_older_version_have_no_mass_and_new_ones_may() {
        let folder = old_records();
        let mut lots = Store::open(folder.path()).unwrap().lots().unwrap();
        assert_eq!(lots.iter().map(|lot| lot.delivered_g).collect::<Vec<_>>(), [None, None]);
        // What the second step made.
        let raw = Connection::open(folder.path().join(FILE_NAME)).unwrap();
        raw.execute_batch("ALTER TABLE lots DROP COLUMN delivered_g; PRAGMA user_version = 2").unwrap();
        drop(raw);
        let mut store = Store::open(folder.path()).unwrap();
        lots.push(Lot { delivered_g: Some(850.5), ..Lot::new("summer wax", "beeswax") });
        store.add_lot(&lots[2], TODAY).unwrap();
        store.check(TODAY).unwrap();
        assert_eq!(store.lots().unwrap(), lots);
        let left: Vec<_> = store.stock().unwrap().iter().map(|one| (one.used_g, one.left_g())).collect();
        assert_eq!(left, [(240.1, None), (360.15, None), (0.0, Some(850.5))]);
    }

    #[test]
    fn version_1_with_damage_is_refused_and_untouched() {
        let folder = old_records();
        {
            let raw = Connection::open(folder.path().join(FILE_NAME)).unwrap();
            raw.execute_batch("PRAGMA foreign_keys = OFF; DELETE FROM formulas").unwrap();
        }
        let before = fs::read(folder.path().join(FILE_NAME)).unwrap();
        let error = Store::open(folder.path()).unwrap_err();
        assert!(matches!(&error, RecordsError::Damaged { what, .. } if what.contains("refers to")), "{error}");
        assert_eq!(fs::read(folder.path().join(FILE_NAME)).unwrap(), before);
    }

    #[test]
    fn commands_at_once_bring_an_older_version_to_this_one_once() {
        let folder = old_records();
        std::thread::scope(|scope| {
            for writer in 0..8 {
                let folder = folder.path();
                scope.spawn(move || {
                    let mut store = Store::open(folder).unwrap();
                    store.add_lot(&Lot::new(&format!("lot {writer}"), "beeswax"), TODAY).unwrap();
                });
            }
        });
        let store = Store::open(folder.path()).unwrap();
        assert_eq!(store.check(TODAY).unwrap().records[1].1, 10);
    }

    #[test]
    fn a_newer_version_is_refused_and_untouched() {
        let folder = old_records();
        drop(Store::open_with(folder.path(), and_then(NEXT)).unwrap());
        let before = fs::read(folder.path().join(FILE_NAME)).unwrap();
        let error = Store::open(folder.path()).unwrap_err();
        assert!(matches!(error, RecordsError::Newer { found: 4, known: 3, .. }), "{error}");
        assert_eq!(fs::read(folder.path().join(FILE_NAME)).unwrap(), before);
    }

    #[test]
    fn a_step_that_fails_leaves_the_old_version() {
        let folder = old_records();
        let before = fs::read(folder.path().join(FILE_NAME)).unwrap();
        let half = "ALTER TABLE lots ADD COLUMN shelf TEXT; UPDATE no_such_table SET x = 1;";
        assert!(matches!(Store::open_with(folder.path(), and_then(half)), Err(RecordsError::Database { .. })));
        assert_eq!(fs::read(folder.path().join(FILE_NAME)).unwrap(), before);
        assert_eq!(Store::open(folder.path()).unwrap().lots().unwrap().len(), 2);
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
        store.check(TODAY).unwrap();
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
        let error = other.add_lot(&Lot::new("summer oil", "sunflower-oil"), TODAY).unwrap_err();
        assert!(matches!(error, RecordsError::Busy { .. }), "{error}");
        drop(writing);
        other.add_lot(&Lot::new("summer oil", "sunflower-oil"), TODAY).unwrap();
        assert_eq!(one.lots().unwrap().len(), 3);
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
    fn a_reference_to_nothing_is_found() {
        let folder = old_records();
        let mut store = Store::open(folder.path()).unwrap();
        let outcome = Outcome { batch: "none".to_owned(), noted_on: TODAY, note: "x".to_owned() };
        assert!(matches!(store.add_outcome(&outcome, TODAY), Err(RecordsError::Unknown { what: "batch", .. })));
        store.connection.execute_batch("PRAGMA foreign_keys = OFF").unwrap();
        let sql = "INSERT INTO outcomes (batch_id, noted_on, note) VALUES (7, '2026-11-25', 'x')";
        store.connection.execute(sql, []).unwrap();
        assert!(matches!(store.check(TODAY), Err(RecordsError::Damaged { .. })));
        assert!(matches!(store.backup(&folder.path().join("copy")), Err(RecordsError::Damaged { .. })));
        assert!(!folder.path().join("copy").exists());
    }
}
