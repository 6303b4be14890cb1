//! Where the bars of a batch went.

use jiff::civil::Date;
use rusqlite::{Connection, Row, params};

use crate::batches::WHAT;
use crate::error::{Stop, beginning};
use crate::query::{change_one, each, first, id_of, rows, unknown};
use crate::row::{date, iso, record};
use crate::{Batch, Kept, Kind, RecordsError, Store, batches, check, seal};

/// The columns, in the order [`read`] takes them; the digest is of all before it.
const SELECT: &str = "SELECT r.id, b.number, r.first_bar, r.last_bar, r.went, r.went_to, r.went_on, r.note, r.digest";
/// Where they come from.
const FROM: &str = "FROM bars r LEFT JOIN batches b ON b.id = r.batch_id";
/// The entries of a lot, batch by batch: as its index has them.
const OF_LOT: &str = "FROM batch_lots u JOIN bars r ON r.batch_id = u.batch_id \
                      LEFT JOIN batches b ON b.id = r.batch_id WHERE u.lot_id = ?1 ORDER BY u.batch_id";

/// What became of bars.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Went {
    /// Sold.
    Sold,
    /// Given away.
    Gifted,
    /// Kept back, as a sample or for later; may still be sold or gifted.
    Kept,
}

impl Went {
    /// Every way a bar can go.
    pub const ALL: [Went; 3] = [Went::Sold, Went::Gifted, Went::Kept];

    /// Returns the word kept and shown.
    ///
    /// ```
    /// assert_eq!(barwright_records::Went::Gifted.word(), "gifted");
    /// ```
    pub fn word(self) -> &'static str {
        match self {
            Went::Sold => "sold",
            Went::Gifted => "gifted",
            Went::Kept => "kept",
        }
    }

    /// Returns the way a word names.
    ///
    /// ```
    /// use barwright_records::Went;
    /// assert_eq!(Went::called("sold"), Some(Went::Sold));
    /// assert_eq!(Went::called("lost"), None);
    /// ```
    pub fn called(word: &str) -> Option<Went> {
        Went::ALL.into_iter().find(|went| went.word() == word)
    }
}

/// A bar, or a range of bars, of a batch and where it went.
#[derive(Debug, Clone, PartialEq)]
pub struct Bars {
    /// Number of the batch; it is kept already.
    pub batch: String,
    /// First bar, counted from 1.
    pub first: u32,
    /// Last bar; the same as the first for one bar.
    pub last: u32,
    /// What became of them.
    pub went: Went,
    /// To whom or where; an order number serves as well as a name, and tells less about a person.
    pub to: Option<String>,
    /// Day they went.
    pub on: Date,
    /// Remarks.
    pub note: Option<String>,
}

impl Store {
    /// Keeps where bars of a batch went, and returns the number of the entry.
    ///
    /// A bar is sold or gifted once; one kept back may be sold or gifted later.
    ///
    /// # Arguments
    /// * `bars`: counted from 1 to the cavities of the batch.
    /// * `today`: the caller's day; a later one is refused.
    ///
    /// # Errors
    /// [`RecordsError`]: the batch is unknown, it has no such bars, some are sold or gifted already, a date in the future or
    /// before the pour, a text blank or too long, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Bars, RecordsError, Store, Went};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let today = "2026-11-25".parse()?;
    /// let bars =
    ///     Bars { batch: "26-031".to_owned(), first: 1, last: 4, went: Went::Sold, to: None, on: today, note: None };
    /// assert!(matches!(store.add_bars(&bars, today), Err(RecordsError::Unknown { what: "batch", .. })));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn add_bars(&mut self, bars: &Bars, today: Date) -> Result<i64, RecordsError> {
        self.change(|connection| insert(connection, None, bars, today))
    }

    /// Returns where the bars of a batch went, in the order kept.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for a batch that is not kept, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Store, Went};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let table = "formula,ingredient,percent\nhand bar,beeswax,40\nhand bar,sunflower-oil,60\n";
    /// store.import_csv(Kind::Formulas, table, "2026-11-25".parse()?)?;
    /// let table = "batch,poured_on,formula,mass_g,cavities\n26-031,2026-11-20,hand bar,600,12\n";
    /// store.import_csv(Kind::Batches, table, "2026-11-25".parse()?)?;
    /// let table = "batch,first,last,went,on\n26-031,1,4,sold,2026-11-25\n";
    /// store.import_csv(Kind::Bars, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.bars("26-031")?[0].record.went, Went::Sold);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn bars(&self, batch: &str) -> Result<Vec<Kept<Bars>>, RecordsError> {
        self.read(|connection| {
            let batch_id = id_of(connection, "SELECT id FROM batches WHERE number = ?1", WHAT, batch)?;
            of_batch(connection, batch_id)
        })
    }
}

/// Refuses an entry that cannot be kept, whatever else is.
pub(crate) fn allow(bars: &Bars, today: Date) -> Result<(), RecordsError> {
    check::not_future("day the bars went", bars.on, today)?;
    check::optional_text("note of the bars", bars.note.as_deref())?;
    bars.to.as_ref().map_or(Ok(()), |to| check::name("name of where the bars went", to))
}

/// Refuses an entry that does not go with its batch.
pub(crate) fn allow_of_batch(bars: &Bars, batch: &Batch) -> Result<(), RecordsError> {
    allow_range(&bars.batch, batch.cavities, bars.first, bars.last)?;
    if bars.on < batch.poured_on {
        let (batch, poured_on) = (beginning(&bars.batch), batch.poured_on);
        return Err(RecordsError::BeforePour { batch, date: bars.on, poured_on });
    }
    Ok(())
}

/// Says that some bars of an entry went before.
pub(crate) fn gone(before: &Bars) -> RecordsError {
    let (first, last, went) = (before.first, before.last, before.went.word());
    RecordsError::BarsGone { batch: beginning(&before.batch), first, last, went }
}

/// Checks and inserts an entry, under an id of its own or the next one, and returns the id.
pub(crate) fn insert(connection: &Connection, id: Option<i64>, bars: &Bars, today: Date) -> Result<i64, Stop> {
    allow(bars, today)?;
    let batch = batches::find(connection, &bars.batch)?.ok_or_else(|| unknown(WHAT, &bars.batch))?;
    allow_of_batch(bars, &batch.record)?;
    let in_the_way = first(
        connection,
        &format!(
            "{SELECT} {FROM} WHERE r.batch_id = ?1 AND r.first_bar <= ?3 AND r.last_bar >= ?2 AND r.went <> 'kept' LIMIT 1"
        ),
        params![batch.id, bars.first, bars.last],
        read,
    )?;
    if let Some(before) = in_the_way {
        return Err(gone(&before.record).into());
    }
    change_one(
        connection,
        Kind::Bars,
        "INSERT INTO bars (id, batch_id, first_bar, last_bar, went, went_to, went_on, note) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        params![id, batch.id, bars.first, bars.last, bars.went.word(), bars.to, iso(bars.on), bars.note],
    )?;
    let id = connection.last_insert_rowid();
    seal(connection, id)?;
    Ok(id)
}

/// Seals the entry of that id.
pub(crate) fn seal(connection: &Connection, id: i64) -> Result<(), Stop> {
    seal::put_row(connection, Kind::Bars, id, &format!("{SELECT} {FROM} WHERE r.id = ?1"))
}

/// Refuses bars that a batch of so many cavities does not have.
pub(crate) fn allow_range(number: &str, cavities: Option<u32>, first: u32, last: u32) -> Result<(), RecordsError> {
    let most = cavities.unwrap_or(u32::MAX);
    if first >= 1 && first <= last && last <= most {
        return Ok(());
    }
    let bars = cavities.map_or("bars that were not counted".to_owned(), |cavities| cavities.to_string());
    Err(RecordsError::NoSuchBars { batch: beginning(number), first, last, bars })
}

/// Returns the entry of that id, if there is one.
pub(crate) fn find(connection: &Connection, id: i64) -> Result<Option<Kept<Bars>>, Stop> {
    first(connection, &format!("{SELECT} {FROM} WHERE r.id = ?1"), [id], read)
}

/// Returns every entry, in the order kept, and what is wrong with those that cannot be read.
pub(crate) fn every(connection: &Connection) -> Result<Vec<Result<Kept<Bars>, Stop>>, Stop> {
    each(connection, &format!("{SELECT} {FROM} ORDER BY r.id"), read)
}

/// Returns the entries of a batch, in the order kept.
pub(crate) fn of_batch(connection: &Connection, batch_id: i64) -> Result<Vec<Kept<Bars>>, Stop> {
    rows(connection, &format!("{SELECT} {FROM} WHERE r.batch_id = ?1 ORDER BY r.id"), [batch_id], read)
}

/// Returns the entries of every batch a lot went into, batch by batch in the order kept.
pub(crate) fn of_lot(connection: &Connection, lot_id: i64) -> Result<Vec<Kept<Bars>>, Stop> {
    rows(connection, &format!("{SELECT} {OF_LOT}"), [lot_id], read)
}

/// Reads one entry.
fn read(row: &Row<'_>) -> Result<Kept<Bars>, Stop> {
    record(Kind::Bars, row, None, |row| {
        Ok(Kept {
            id: row.get(0)?,
            record: Bars {
                batch: row.get(1)?,
                first: row.get(2)?,
                last: row.get(3)?,
                went: went(&row.get::<_, String>(4)?)?,
                to: row.get(5)?,
                on: date(row, 6)?,
                note: row.get(7)?,
            },
        })
    })
}

/// Reads what became of bars.
fn went(word: &str) -> Result<Went, Stop> {
    Went::called(word).ok_or_else(|| Stop::Unreadable(format!("{word:?} is kept where bars went")))
}
