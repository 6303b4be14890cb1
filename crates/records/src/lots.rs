//! The maker's deliveries.

use std::ops::RangeInclusive;

use barwright_reference::NutOrigin;
use jiff::civil::Date;
use rusqlite::{Connection, Row, params};

use crate::error::{Stop, beginning};
use crate::query::{change_one, each, first, unknown};
use crate::row::{all, figures, iso, optional_date, record};
use crate::{Figures, Kept, Kind, RecordsError, Store, check, seal};

/// Prices taken, per kilogram in the maker's own money.
const PRICE_PER_KG: RangeInclusive<f64> = 0.0..=1e6;
/// Flash points taken, °C; those of the lot file.
const FLASH_C: RangeInclusive<f64> = 20.0..=400.0;
/// What a lot is called in messages.
const WHAT: &str = "lot";
/// The columns, in the order [`read`] takes them; the digest is of all before it.
const SELECT: &str = "SELECT id, key, like_ingredient, delivered_on, best_before, certificate, figures, price_per_kg, \
                      nut_origin, flash_c, note, delivered_g, digest FROM lots";

/// One delivery of an ingredient.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// Key, unlike that of any other lot kept.
    pub key: String,
    /// Key of the ingredient it is a delivery of.
    pub like: String,
    /// Day it came.
    pub delivered_on: Option<Date>,
    /// Last day the supplier answers for; may lie in the future.
    pub best_before: Option<Date>,
    /// Text of the certificate.
    pub certificate: Option<String>,
    /// Figures of the certificate.
    pub figures: Figures,
    /// Price per kilogram, in the maker's own money.
    pub price_per_kg: Option<f64>,
    /// Nut origin stated for the lot.
    pub nut_origin: Option<NutOrigin>,
    /// Flash point of the certificate, °C.
    pub flash_c: Option<f64>,
    /// Remarks.
    pub note: Option<String>,
    /// How much came, g.
    pub delivered_g: Option<f64>,
}

impl Lot {
    /// Returns a lot of which nothing more is known.
    ///
    /// ```
    /// let lot = barwright_records::Lot::new("spring wax", "beeswax");
    /// assert_eq!(lot.price_per_kg, None);
    /// ```
    pub fn new(key: &str, like: &str) -> Lot {
        Lot {
            key: key.to_owned(),
            like: like.to_owned(),
            delivered_on: None,
            best_before: None,
            certificate: None,
            figures: Figures::new(),
            price_per_kg: None,
            nut_origin: None,
            flash_c: None,
            note: None,
            delivered_g: None,
        }
    }
}

impl Store {
    /// Keeps a lot.
    ///
    /// # Arguments
    /// * `lot`: price per kilogram 0 to 1,000,000; flash point 20 to 400 °C; mass delivered 0.001 to 100,000,000 g.
    /// * `today`: the caller's day; a delivery after it is refused.
    ///
    /// # Errors
    /// [`RecordsError`]: a lot of that key is kept, a date in the future, a number out of range, a text blank or too long, or
    /// the file refuses.
    ///
    /// ```
    /// use barwright_records::{Lot, RecordsError, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let lot = Lot { delivered_on: Some("2026-11-26".parse()?), ..Lot::new("spring wax", "beeswax") };
    /// assert!(matches!(store.add_lot(&lot, "2026-11-25".parse()?), Err(RecordsError::Future { .. })));
    /// store.add_lot(&lot, "2026-11-26".parse()?)?;
    /// assert_eq!(store.lot("spring wax")?, lot);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn add_lot(&mut self, lot: &Lot, today: Date) -> Result<(), RecordsError> {
        self.change(|connection| insert(connection, lot, today))
    }

    /// Returns the lot of that key.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`], or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Lot, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// store.add_lot(&Lot::new("spring wax", "beeswax"), "2026-11-25".parse()?)?;
    /// assert_eq!(store.lot("spring wax")?.like, "beeswax");
    /// assert!(store.lot("summer wax").is_err());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn lot(&self, key: &str) -> Result<Lot, RecordsError> {
        self.read(|connection| Ok(find(connection, key)?.ok_or_else(|| unknown(WHAT, key))?.record))
    }

    /// Returns every lot, in the order kept.
    ///
    /// # Errors
    /// [`RecordsError`] when the file refuses.
    ///
    /// ```
    /// use barwright_records::{Lot, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// store.add_lot(&Lot::new("spring wax", "beeswax"), "2026-11-25".parse()?)?;
    /// assert_eq!(store.lots()?, [Lot::new("spring wax", "beeswax")]);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn lots(&self) -> Result<Vec<Lot>, RecordsError> {
        self.read(|connection| Ok(all(connection, Kind::Lots, every)?.into_iter().map(|kept| kept.record).collect()))
    }
}

/// Refuses a lot that cannot be kept, whatever else is.
pub(crate) fn allow(lot: &Lot, today: Date) -> Result<(), RecordsError> {
    check::name("key of the lot", &lot.key)?;
    check::name("ingredient of the lot", &lot.like)?;
    check::optional_text("certificate of the lot", lot.certificate.as_deref())?;
    check::optional_text("note of the lot", lot.note.as_deref())?;
    if let Some(price_per_kg) = lot.price_per_kg {
        check::number("price of the lot", price_per_kg, PRICE_PER_KG, "per kilogram")?;
    }
    if let Some(flash_c) = lot.flash_c {
        check::number("flash point of the lot", flash_c, FLASH_C, "°C")?;
    }
    if let Some(delivered_g) = lot.delivered_g {
        check::mass_g("mass of the lot", delivered_g)?;
    }
    if let Some(delivered_on) = lot.delivered_on {
        check::not_future("delivery of the lot", delivered_on, today)?;
    }
    if let Some(best_before) = lot.best_before {
        check::not_long_ago("best before of the lot", best_before)?;
    }
    figures_text(lot).map(|_| ())
}

/// Returns the figures of a lot as JSON text.
pub(crate) fn figures_text(lot: &Lot) -> Result<String, RecordsError> {
    check::figures_text("the lot", &lot.figures)
}

/// Checks and inserts a lot.
pub(crate) fn insert(connection: &Connection, lot: &Lot, today: Date) -> Result<(), Stop> {
    allow(lot, today)?;
    if first(connection, "SELECT 1 FROM lots WHERE key = ?1", [&lot.key], |_| Ok(()))?.is_some() {
        return Err(RecordsError::AlreadyThere { what: WHAT, name: beginning(&lot.key) }.into());
    }
    change_one(
        connection,
        Kind::Lots,
        "INSERT INTO lots (key, like_ingredient, delivered_on, best_before, certificate, figures, price_per_kg, \
         nut_origin, flash_c, note, delivered_g) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        params![
            lot.key,
            lot.like,
            lot.delivered_on.map(iso),
            lot.best_before.map(iso),
            lot.certificate,
            figures_text(lot)?,
            lot.price_per_kg,
            lot.nut_origin.map(NutOrigin::word),
            lot.flash_c,
            lot.note,
            lot.delivered_g,
        ],
    )?;
    seal(connection, connection.last_insert_rowid())
}

/// Seals the lot of that id.
pub(crate) fn seal(connection: &Connection, id: i64) -> Result<(), Stop> {
    seal::put_row(connection, Kind::Lots, id, &format!("{SELECT} WHERE id = ?1"))
}

/// Returns the lot of that key, if there is one.
pub(crate) fn find(connection: &Connection, key: &str) -> Result<Option<Kept<Lot>>, Stop> {
    first(connection, &format!("{SELECT} WHERE key = ?1"), [key], read)
}

/// Returns every lot, in the order kept, and what is wrong with those that cannot be read.
pub(crate) fn every(connection: &Connection) -> Result<Vec<Result<Kept<Lot>, Stop>>, Stop> {
    each(connection, &format!("{SELECT} ORDER BY id"), read)
}

/// Reads one lot.
fn read(row: &Row<'_>) -> Result<Kept<Lot>, Stop> {
    record(Kind::Lots, row, Some(1), |row| {
        let record = Lot {
            key: row.get(1)?,
            like: row.get(2)?,
            delivered_on: optional_date(row, 3)?,
            best_before: optional_date(row, 4)?,
            certificate: row.get(5)?,
            figures: figures(&row.get::<_, String>(6)?)?,
            price_per_kg: row.get(7)?,
            nut_origin: row.get::<_, Option<String>>(8)?.map(|word| nut_origin(&word)).transpose()?,
            flash_c: row.get(9)?,
            note: row.get(10)?,
            delivered_g: row.get(11)?,
        };
        Ok(Kept { id: row.get(0)?, record })
    })
}

/// Reads a kept nut origin.
fn nut_origin(word: &str) -> Result<NutOrigin, Stop> {
    nut_origin_called(word).ok_or_else(|| Stop::Unreadable(format!("{word:?} is kept where a nut origin should be")))
}

/// Returns the nut origin a word names.
pub(crate) fn nut_origin_called(word: &str) -> Option<NutOrigin> {
    NutOrigin::ALL.into_iter().find(|origin| origin.word() == word)
}
