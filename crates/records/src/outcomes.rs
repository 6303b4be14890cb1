//! What became of a batch.

use jiff::civil::Date;
use rusqlite::{Connection, Row, params};

use crate::batches::WHAT;
use crate::error::Stop;
use crate::query::{change_one, each, first, id_of, rows};
use crate::row::{date, iso, record};
use crate::{Kept, Kind, RecordsError, Store, check, seal};

/// The columns, in the order [`read`] takes them; the digest is of all before it.
const SELECT: &str = "SELECT o.id, b.number, o.noted_on, o.note, o.digest";
/// Where they come from.
const FROM: &str = "FROM outcomes o LEFT JOIN batches b ON b.id = o.batch_id";
/// The remarks of a lot, batch by batch: as its index has them.
const OF_LOT: &str = "FROM batch_lots u JOIN outcomes o ON o.batch_id = u.batch_id \
                      LEFT JOIN batches b ON b.id = o.batch_id WHERE u.lot_id = ?1 ORDER BY u.batch_id";

/// A remark on a batch, made later: a complaint, a bloom, a correction.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Number of the batch; it is kept already.
    pub batch: String,
    /// Day of the remark.
    pub noted_on: Date,
    /// The remark.
    pub note: String,
}

impl Store {
    /// Keeps a remark on a batch and returns its number.
    ///
    /// # Arguments
    /// * `outcome`: its batch is kept already.
    /// * `today`: the caller's day; a later remark is refused.
    ///
    /// # Errors
    /// [`RecordsError`]: the batch is unknown, a date in the future, a note blank or too long, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Outcome, RecordsError, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let today = "2026-11-25".parse()?;
    /// let outcome = Outcome { batch: "26-031".to_owned(), noted_on: today, note: "bloom on bar 3".to_owned() };
    /// assert!(matches!(store.add_outcome(&outcome, today), Err(RecordsError::Unknown { what: "batch", .. })));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn add_outcome(&mut self, outcome: &Outcome, today: Date) -> Result<i64, RecordsError> {
        self.change(|connection| insert(connection, None, outcome, today))
    }

    /// Returns the remarks on a batch, in the order kept.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for a batch that is not kept, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let table = "formula,ingredient,percent\nhand bar,beeswax,40\nhand bar,sunflower-oil,60\n";
    /// store.import_csv(Kind::Formulas, table, "2026-11-25".parse()?)?;
    /// let table = "batch,poured_on,formula,mass_g,cavities\n26-031,2026-11-20,hand bar,600,12\n";
    /// store.import_csv(Kind::Batches, table, "2026-11-25".parse()?)?;
    /// let table = "batch,noted_on,note\n26-031,2026-11-25,bloom on bar 3\n";
    /// store.import_csv(Kind::Outcomes, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.outcomes("26-031")?[0].record.note, "bloom on bar 3");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn outcomes(&self, batch: &str) -> Result<Vec<Kept<Outcome>>, RecordsError> {
        self.read(|connection| {
            let batch_id = id_of(connection, "SELECT id FROM batches WHERE number = ?1", WHAT, batch)?;
            of_batch(connection, batch_id)
        })
    }
}

/// Refuses a remark that cannot be kept, whatever else is.
pub(crate) fn allow(outcome: &Outcome, today: Date) -> Result<(), RecordsError> {
    check::not_future("day of the remark", outcome.noted_on, today)?;
    check::text("remark", &outcome.note)
}

/// Checks and inserts a remark, under an id of its own or the next one, and returns the id.
pub(crate) fn insert(connection: &Connection, id: Option<i64>, outcome: &Outcome, today: Date) -> Result<i64, Stop> {
    allow(outcome, today)?;
    let batch_id = id_of(connection, "SELECT id FROM batches WHERE number = ?1", WHAT, &outcome.batch)?;
    change_one(
        connection,
        Kind::Outcomes,
        "INSERT INTO outcomes (id, batch_id, noted_on, note) VALUES (?1, ?2, ?3, ?4)",
        params![id, batch_id, iso(outcome.noted_on), outcome.note],
    )?;
    let id = connection.last_insert_rowid();
    seal(connection, id)?;
    Ok(id)
}

/// Seals the remark of that id.
pub(crate) fn seal(connection: &Connection, id: i64) -> Result<(), Stop> {
    seal::put_row(connection, Kind::Outcomes, id, &format!("{SELECT} {FROM} WHERE o.id = ?1"))
}

/// Returns the remark of that id, if there is one.
pub(crate) fn find(connection: &Connection, id: i64) -> Result<Option<Kept<Outcome>>, Stop> {
    first(connection, &format!("{SELECT} {FROM} WHERE o.id = ?1"), [id], read)
}

/// Returns every remark, in the order kept, and what is wrong with those that cannot be read.
pub(crate) fn every(connection: &Connection) -> Result<Vec<Result<Kept<Outcome>, Stop>>, Stop> {
    each(connection, &format!("{SELECT} {FROM} ORDER BY o.id"), read)
}

/// Returns the remarks on a batch, in the order kept.
pub(crate) fn of_batch(connection: &Connection, batch_id: i64) -> Result<Vec<Kept<Outcome>>, Stop> {
    rows(connection, &format!("{SELECT} {FROM} WHERE o.batch_id = ?1 ORDER BY o.id"), [batch_id], read)
}

/// Returns the remarks on every batch a lot went into, batch by batch in the order kept.
pub(crate) fn of_lot(connection: &Connection, lot_id: i64) -> Result<Vec<Kept<Outcome>>, Stop> {
    rows(connection, &format!("{SELECT} {OF_LOT}"), [lot_id], read)
}

/// Reads one remark.
fn read(row: &Row<'_>) -> Result<Kept<Outcome>, Stop> {
    record(Kind::Outcomes, row, None, |row| {
        let record = Outcome { batch: row.get(1)?, noted_on: date(row, 2)?, note: row.get(3)? };
        Ok(Kept { id: row.get(0)?, record })
    })
}
