//! Batches and the lots that went into them.

use std::collections::HashSet;
use std::ops::RangeInclusive;

use jiff::civil::Date;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, Params, Row, params};

use crate::error::{Stop, beginning};
use crate::query::{change_one, first, id_of, unknown};
use crate::row::{all, date, iso, label};
use crate::seal::{self, Digest, Sealing, kept, values};
use crate::{Kept, Kind, RecordsError, Store, check};

/// Cavities taken.
const CAVITIES: RangeInclusive<f64> = 1.0..=1e6;
/// What a batch is called in messages.
pub(crate) const WHAT: &str = "batch";
/// One row for each lot of a batch, in the columns [`Reading`] takes; the digest is of all before it, and of the lots.
const SELECT: &str =
    "SELECT b.id, b.number, f.name, b.poured_on, b.mass_g, b.cavities, b.note, b.digest, u.position, l.key, u.mass_g";
/// Batches with their lots.
const FROM: &str = "FROM batches b LEFT JOIN formulas f ON f.id = b.formula_id \
                    LEFT JOIN batch_lots u ON u.batch_id = b.id LEFT JOIN lots l ON l.id = u.lot_id";
/// Keeps the rows of a batch together, in the order its lots were written.
const ORDER: &str = "ORDER BY b.id, u.position";
/// The batches of a lot, in the same order: as its index has them, so that nothing is sorted.
const OF_LOT: &str = "FROM batch_lots t LEFT JOIN batches b ON b.id = t.batch_id \
                      LEFT JOIN formulas f ON f.id = b.formula_id LEFT JOIN batch_lots u ON u.batch_id = t.batch_id \
                      LEFT JOIN lots l ON l.id = u.lot_id WHERE t.lot_id = ?1 ORDER BY t.batch_id, u.position";

/// What one lot gave to a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct LotUse {
    /// Key of the lot.
    pub lot: String,
    /// Mass weighed in, g.
    pub mass_g: f64,
}

/// One pour.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// Number on the label, unlike that of any other batch kept.
    pub number: String,
    /// Name of the formula poured; it is kept already.
    pub formula: String,
    /// Day of the pour.
    pub poured_on: Date,
    /// Mass of the batch, g.
    pub mass_g: f64,
    /// Cavities filled: the bars are counted from 1 to this. `None` when they were not counted.
    pub cavities: Option<u32>,
    /// The lots weighed in, each once; they are kept already.
    pub lots: Vec<LotUse>,
    /// Remarks.
    pub note: Option<String>,
}

impl Store {
    /// Keeps a batch and the lots that went into it.
    ///
    /// # Arguments
    /// * `batch`: masses in g, 0.001 to 100,000,000; its formula and lots are kept already.
    /// * `today`: the caller's day; a pour after it is refused.
    ///
    /// # Errors
    /// [`RecordsError`]: a batch of that number is kept, its formula or a lot is unknown, a lot is named twice, a date in the
    /// future, a number out of range, a text blank or too long, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Batch, RecordsError, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let today = "2026-11-25".parse()?;
    /// let batch = Batch {
    ///     number: "26-031".to_owned(),
    ///     formula: "never poured".to_owned(),
    ///     poured_on: today,
    ///     mass_g: 600.0,
    ///     cavities: Some(12),
    ///     lots: Vec::new(),
    ///     note: None,
    /// };
    /// assert!(matches!(store.add_batch(&batch, today), Err(RecordsError::Unknown { what: "formula", .. })));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn add_batch(&mut self, batch: &Batch, today: Date) -> Result<(), RecordsError> {
        self.change(|connection| insert(connection, batch, today))
    }

    /// Returns the batch of that number.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`], or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let table = "formula,ingredient,percent\nhand bar,beeswax,40\nhand bar,sunflower-oil,60\n";
    /// store.import_csv(Kind::Formulas, table, "2026-11-25".parse()?)?;
    /// let table = "batch,poured_on,formula,mass_g,cavities\n26-031,2026-11-20,hand bar,600,12\n";
    /// store.import_csv(Kind::Batches, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.batch("26-031")?.mass_g, 600.0);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn batch(&self, number: &str) -> Result<Batch, RecordsError> {
        self.read(|connection| Ok(find(connection, number)?.ok_or_else(|| unknown(WHAT, number))?.record))
    }

    /// Returns every batch, in the order kept.
    ///
    /// # Errors
    /// [`RecordsError`] when the file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let table = "formula,ingredient,percent\nhand bar,beeswax,40\nhand bar,sunflower-oil,60\n";
    /// store.import_csv(Kind::Formulas, table, "2026-11-25".parse()?)?;
    /// let table = "batch,poured_on,formula,mass_g,cavities\n26-031,2026-11-20,hand bar,600,12\n";
    /// store.import_csv(Kind::Batches, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.batches()?.len(), 1);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn batches(&self) -> Result<Vec<Batch>, RecordsError> {
        self.read(|connection| Ok(all(connection, Kind::Batches, every)?.into_iter().map(|kept| kept.record).collect()))
    }

    /// Returns the batches poured from a formula, in the order kept.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for a formula that is not kept, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let table = "formula,ingredient,percent\nhand bar,beeswax,40\nhand bar,sunflower-oil,60\n";
    /// store.import_csv(Kind::Formulas, table, "2026-11-25".parse()?)?;
    /// let table = "batch,poured_on,formula,mass_g,cavities\n26-031,2026-11-20,hand bar,600,12\n";
    /// store.import_csv(Kind::Batches, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.batches_of_formula("hand bar")?[0].number, "26-031");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn batches_of_formula(&self, formula: &str) -> Result<Vec<Batch>, RecordsError> {
        self.read(|connection| {
            let id = formula_id(connection, formula)?;
            let batches = select(connection, &format!("{FROM} WHERE b.formula_id = ?1 {ORDER}"), [id])?;
            batches.into_iter().map(|read| Ok(read.batch?.record)).collect()
        })
    }
}

/// Returns the id of a formula.
pub(crate) fn formula_id(connection: &Connection, name: &str) -> Result<i64, Stop> {
    id_of(connection, "SELECT id FROM formulas WHERE name = ?1", "formula", name)
}

/// Refuses a batch that cannot be kept, whatever else is.
pub(crate) fn allow(batch: &Batch, today: Date) -> Result<(), RecordsError> {
    check::name("batch number", &batch.number)?;
    check::optional_text("note of the batch", batch.note.as_deref())?;
    check::mass_g("mass of the batch", batch.mass_g)?;
    check::not_future("pour of the batch", batch.poured_on, today)?;
    if let Some(cavities) = batch.cavities {
        check::number("count of the cavities", f64::from(cavities), CAVITIES, "cavities")?;
    }
    let mut seen = HashSet::new();
    for used in &batch.lots {
        check::mass_g("mass of a lot used", used.mass_g)?;
        if !seen.insert(used.lot.as_str()) {
            return Err(RecordsError::Twice { name: used.lot.clone(), within: batch.number.clone() });
        }
    }
    Ok(())
}

/// Checks and inserts a batch.
pub(crate) fn insert(connection: &Connection, batch: &Batch, today: Date) -> Result<(), Stop> {
    allow(batch, today)?;
    let formula_id = formula_id(connection, &batch.formula)?;
    if first(connection, "SELECT 1 FROM batches WHERE number = ?1", [&batch.number], |_| Ok(()))?.is_some() {
        return Err(RecordsError::AlreadyThere { what: WHAT, name: beginning(&batch.number) }.into());
    }
    change_one(
        connection,
        Kind::Batches,
        "INSERT INTO batches (number, formula_id, poured_on, mass_g, cavities, note) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![batch.number, formula_id, iso(batch.poured_on), batch.mass_g, batch.cavities, batch.note],
    )?;
    let id = connection.last_insert_rowid();
    for (position, used) in (0_i64..).zip(&batch.lots) {
        let lot_id = id_of(connection, "SELECT id FROM lots WHERE key = ?1", "lot", &used.lot)?;
        let sql = "INSERT INTO batch_lots (batch_id, position, lot_id, mass_g) VALUES (?1, ?2, ?3, ?4)";
        change_one(connection, Kind::Batches, sql, params![id, position, lot_id, used.mass_g])?;
    }
    seal(connection, id)
}

/// Seals the batch of that id.
pub(crate) fn seal(connection: &Connection, id: i64) -> Result<(), Stop> {
    let digest = select(connection, &format!("{FROM} WHERE b.id = ?1 {ORDER}"), [id])?.pop().map(|read| read.digest);
    seal::put(connection, Kind::Batches, id, digest)
}

/// Returns the batch of that number, if there is one.
pub(crate) fn find(connection: &Connection, number: &str) -> Result<Option<Kept<Batch>>, Stop> {
    let read = select(connection, &format!("{FROM} WHERE b.number = ?1 {ORDER}"), [number])?.pop();
    read.map(|read| read.batch).transpose()
}

/// Returns every batch, in the order kept, and what is wrong with those that cannot be read.
pub(crate) fn every(connection: &Connection) -> Result<Vec<Result<Kept<Batch>, Stop>>, Stop> {
    Ok(select(connection, &format!("{FROM} {ORDER}"), [])?.into_iter().map(|read| read.batch).collect())
}

/// Returns the batches a lot went into, in the order kept.
pub(crate) fn of_lot(connection: &Connection, lot_id: i64) -> Result<Vec<Kept<Batch>>, Stop> {
    select(connection, OF_LOT, [lot_id])?.into_iter().map(|read| read.batch).collect()
}

/// A batch that was read.
struct Read {
    /// Digest of what was read.
    digest: Digest,
    /// The batch, or what is wrong with it.
    batch: Result<Kept<Batch>, Stop>,
}

/// A batch while its rows come in.
struct Reading {
    id: i64,
    label: String,
    /// The digest beside it.
    kept: Option<Digest>,
    sealing: Sealing,
    batch: Result<Batch, Stop>,
}

impl Reading {
    /// Columns that are the same for all of its lots.
    const HEAD: std::ops::Range<usize> = 0..7;
    /// Columns of one lot.
    const LOT: std::ops::Range<usize> = 8..11;

    /// Begins with the part of a row that is the same for all of its lots.
    fn new(row: &Row<'_>) -> Result<Reading, Stop> {
        let mut sealing = Sealing::new(Kind::Batches);
        sealing.row(values(row, Self::HEAD)?);
        let batch = || {
            Ok(Batch {
                number: row.get(1)?,
                formula: row.get(2)?,
                poured_on: date(row, 3)?,
                mass_g: row.get(4)?,
                cavities: row.get(5)?,
                lots: Vec::new(),
                note: row.get(6)?,
            })
        };
        let kept = kept(row.get_ref(7)?);
        Ok(Reading { id: row.get(0)?, label: label(Kind::Batches, row, Some(1)), kept, sealing, batch: batch() })
    }

    /// Takes the lot of a row, if there is one.
    fn lot(&mut self, row: &Row<'_>) -> Result<(), Stop> {
        if row.get_ref(8)? == ValueRef::Null {
            return Ok(());
        }
        self.sealing.row(values(row, Self::LOT)?);
        let used = || Ok(LotUse { lot: row.get(9)?, mass_g: row.get(10)? });
        match (&mut self.batch, used()) {
            (Ok(batch), Ok(used)) => batch.lots.push(used),
            (Ok(_), Err(stop)) => self.batch = Err(stop),
            (Err(_), _) => {}
        }
        Ok(())
    }

    /// Returns the batch once all of its rows are in.
    fn end(self) -> Read {
        let digest = self.sealing.end();
        let (id, kept, label) = (self.id, self.kept, self.label);
        let checked = || {
            seal::compare(&digest, kept)?;
            Ok(Kept { id, record: self.batch? })
        };
        Read { digest, batch: checked().map_err(|stop: Stop| stop.of(|| label)) }
    }
}

/// Returns the batches that the rest of a statement names, in its order.
fn select(connection: &Connection, which: &str, parameters: impl Params) -> Result<Vec<Read>, Stop> {
    let mut statement = connection.prepare_cached(&format!("{SELECT} {which}"))?;
    let mut rows = statement.query(parameters)?;
    let mut batches = Vec::new();
    let mut reading: Option<Reading> = None;
    while let Some(row) = rows.next()? {
        let id: i64 = row.get(0)?;
        let mut batch = match reading.take() {
            Some(batch) if batch.id == id => batch,
            other => {
                batches.extend(other.map(Reading::end));
                Reading::new(row)?
            }
        };
        batch.lot(row)?;
        reading = Some(batch);
    }
    batches.extend(reading.map(Reading::end));
    Ok(batches)
}
