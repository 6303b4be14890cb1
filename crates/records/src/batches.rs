//! Batches and the lots that went into them.

use std::collections::{HashMap, HashSet};
use std::ops::RangeInclusive;

use jiff::civil::Date;
use rusqlite::{Connection, Params, params};

use crate::error::{Stop, beginning};
use crate::row::{date, first, id_of, iso, unknown};
use crate::{Kept, RecordsError, Store, check};

/// Cavities taken.
const CAVITIES: RangeInclusive<f64> = 1.0..=1e6;
/// What a batch is called in messages.
pub(crate) const WHAT: &str = "batch";
/// One row for each lot of a batch, in the columns [`select`] takes.
const SELECT: &str =
    "SELECT b.id, b.number, b.formula_id, b.poured_on, b.mass_g, b.cavities, b.note, u.lot_id, u.mass_g";
/// Batches with their lots.
const FROM: &str = "FROM batches b LEFT JOIN batch_lots u ON u.batch_id = b.id";
/// Keeps the rows of a batch together, in the order its lots were written.
const ORDER: &str = "ORDER BY b.id, u.position";
/// The batches of a lot, in the same order: as its index has them, so that nothing is sorted.
const OF_LOT: &str = "FROM batch_lots t JOIN batches b ON b.id = t.batch_id \
                      LEFT JOIN batch_lots u ON u.batch_id = t.batch_id \
                      WHERE t.lot_id = ?1 ORDER BY t.batch_id, u.position";

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
        self.read(|connection| Ok(all(connection)?.into_iter().map(|kept| kept.record).collect()))
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
            Ok(batches.into_iter().map(|kept| kept.record).collect())
        })
    }
}

/// Returns the id of a formula.
pub(crate) fn formula_id(connection: &Connection, name: &str) -> Result<i64, Stop> {
    id_of(connection, "SELECT id FROM formulas WHERE name = ?1", "formula", name)
}

/// Checks and inserts a batch.
pub(crate) fn insert(connection: &Connection, batch: &Batch, today: Date) -> Result<(), Stop> {
    check::name("batch number", &batch.number)?;
    check::optional_text("note of the batch", batch.note.as_deref())?;
    check::mass_g("mass of the batch", batch.mass_g)?;
    check::not_future("pour of the batch", batch.poured_on, today)?;
    if let Some(cavities) = batch.cavities {
        check::number("count of the cavities", f64::from(cavities), CAVITIES, "cavities")?;
    }
    let formula_id = formula_id(connection, &batch.formula)?;
    if first(connection, "SELECT 1 FROM batches WHERE number = ?1", [&batch.number], |_| Ok(()))?.is_some() {
        return Err(RecordsError::AlreadyThere { what: WHAT, name: beginning(&batch.number) }.into());
    }
    connection
        .prepare_cached(
            "INSERT INTO batches (number, formula_id, poured_on, mass_g, cavities, note) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![batch.number, formula_id, iso(batch.poured_on), batch.mass_g, batch.cavities, batch.note])?;
    let id = connection.last_insert_rowid();
    let mut statement = connection
        .prepare_cached("INSERT INTO batch_lots (batch_id, position, lot_id, mass_g) VALUES (?1, ?2, ?3, ?4)")?;
    let mut seen = HashSet::new();
    for (position, used) in (0_i64..).zip(&batch.lots) {
        check::mass_g("mass of a lot used", used.mass_g)?;
        if !seen.insert(used.lot.as_str()) {
            return Err(RecordsError::Twice { name: used.lot.clone(), within: batch.number.clone() }.into());
        }
        let lot_id = id_of(connection, "SELECT id FROM lots WHERE key = ?1", "lot", &used.lot)?;
        statement.execute(params![id, position, lot_id, used.mass_g])?;
    }
    Ok(())
}

/// Returns the batch of that number, if there is one.
pub(crate) fn find(connection: &Connection, number: &str) -> Result<Option<Kept<Batch>>, Stop> {
    Ok(select(connection, &format!("{FROM} WHERE b.number = ?1 {ORDER}"), [number])?.pop())
}

/// Returns every batch, in the order kept.
pub(crate) fn all(connection: &Connection) -> Result<Vec<Kept<Batch>>, Stop> {
    select(connection, &format!("{FROM} {ORDER}"), [])
}

/// Returns the batches a lot went into, in the order kept.
pub(crate) fn of_lot(connection: &Connection, lot_id: i64) -> Result<Vec<Kept<Batch>>, Stop> {
    select(connection, OF_LOT, [lot_id])
}

/// Returns the number of one of some batches, which are in the order kept.
pub(crate) fn number_of(batches: &[Kept<Batch>], id: i64) -> Result<String, Stop> {
    let place = batches.binary_search_by_key(&id, |kept| kept.id).ok();
    let found = place.and_then(|place| batches.get(place));
    found.map(|kept| kept.record.number.clone()).ok_or_else(|| missing("a batch", id))
}

/// Says that something kept refers to a record that is not there.
fn missing(what: &str, id: i64) -> Stop {
    Stop::Unreadable(format!("{what} of id {id} is referred to and not there"))
}

/// Returns the batches that the rest of a statement names, in its order.
///
/// Names of formulas and lots are looked up once each, not once a row: a lot in 10,000 batches stands beside few others.
fn select(connection: &Connection, which: &str, parameters: impl Params) -> Result<Vec<Kept<Batch>>, Stop> {
    let mut formulas = Names::new(connection, "SELECT name FROM formulas WHERE id = ?1");
    let mut lots = Names::new(connection, "SELECT key FROM lots WHERE id = ?1");
    let mut statement = connection.prepare_cached(&format!("{SELECT} {which}"))?;
    let mut rows = statement.query(parameters)?;
    let mut batches: Vec<Kept<Batch>> = Vec::new();
    while let Some(row) = rows.next()? {
        let id: i64 = row.get(0)?;
        let used = match (row.get::<_, Option<i64>>(7)?, row.get::<_, Option<f64>>(8)?) {
            (Some(lot_id), Some(mass_g)) => Some(LotUse { lot: lots.name(lot_id)?, mass_g }),
            _ => None,
        };
        match batches.last_mut() {
            Some(last) if last.id == id => last.record.lots.extend(used),
            _ => batches.push(Kept {
                id,
                record: Batch {
                    number: row.get(1)?,
                    formula: formulas.name(row.get(2)?)?,
                    poured_on: date(row, 3)?,
                    mass_g: row.get(4)?,
                    cavities: row.get(5)?,
                    lots: used.into_iter().collect(),
                    note: row.get(6)?,
                },
            }),
        }
    }
    Ok(batches)
}

/// Names behind ids, each read once.
struct Names<'a> {
    connection: &'a Connection,
    sql: &'static str,
    known: HashMap<i64, String>,
}

impl<'a> Names<'a> {
    fn new(connection: &'a Connection, sql: &'static str) -> Self {
        Names { connection, sql, known: HashMap::new() }
    }

    fn name(&mut self, id: i64) -> Result<String, Stop> {
        if let Some(name) = self.known.get(&id) {
            return Ok(name.clone());
        }
        let found: Option<String> = first(self.connection, self.sql, [id], |row| Ok(row.get(0)?))?;
        let name = found.ok_or_else(|| missing("a formula or lot", id))?;
        self.known.insert(id, name.clone());
        Ok(name)
    }
}
