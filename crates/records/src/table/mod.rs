//! The records as CSV, out and in again.

mod export;
mod import;
mod reader;

use jiff::civil::Date;

use crate::{Kind, RecordsError, Store, seal};

pub use import::Imported;

/// The longest table read, bytes.
pub const MAX_TABLE_BYTES: usize = 256 << 20;

impl Store {
    /// Returns a table as CSV text, comma-separated, with every text cell in quotes.
    ///
    /// A text a spreadsheet would compute gets an apostrophe before it, which [`Store::import_csv`] takes away again: what is
    /// exported and imported is the same to the last character.
    ///
    /// # Errors
    /// [`RecordsError`] when the file refuses.
    ///
    /// ```
    /// use barwright_records::{Imported, Kind, Lot, Store};
    /// let (one, other) = (tempfile::tempdir()?, tempfile::tempdir()?);
    /// let today = "2026-11-25".parse()?;
    /// let mut store = Store::open(one.path())?;
    /// store.add_lot(&Lot { note: Some("=1+1".to_owned()), ..Lot::new("spring wax", "beeswax") }, today)?;
    /// let table = store.export_csv(Kind::Lots)?;
    /// assert!(table.contains(r#""'=1+1""#));
    /// let mut copy = Store::open(other.path())?;
    /// assert_eq!(copy.import_csv(Kind::Lots, &table, today)?, Imported { added: 1, already_there: 0 });
    /// assert_eq!(copy.lots()?, store.lots()?);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn export_csv(&self, kind: Kind) -> Result<String, RecordsError> {
        self.read(|connection| export::export(connection, kind))
    }

    /// Returns how many records there are of each kind, in the order of [`Kind::ALL`].
    ///
    /// # Errors
    /// [`RecordsError`] when the file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Lot, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// store.add_lot(&Lot::new("spring wax", "beeswax"), "2026-11-25".parse()?)?;
    /// assert_eq!(store.counts()?[1], (Kind::Lots, 1));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn counts(&self) -> Result<Vec<(Kind, u64)>, RecordsError> {
        self.read(|connection| {
            Kind::ALL.into_iter().map(|kind| Ok((kind, seal::complete(connection, kind)?))).collect()
        })
    }

    /// Adds every record of a table, or none of them.
    ///
    /// A record that is kept already, word for word, is left as it is, so that an import can be said twice. Where a table has
    /// ids, a row without one is a new record. No cell is ever computed.
    ///
    /// # Arguments
    /// * `kind`: which table it is.
    /// * `text`: CSV, separated by commas, semicolons or tabs, with a header line of [`Kind::columns`] in any order; a column
    ///   without a single figure may be missing. At most [`MAX_TABLE_BYTES`].
    /// * `today`: the caller's day; dates after it are refused.
    ///
    /// # Errors
    /// [`RecordsError::Table`] or [`RecordsError::Row`] with the line; nothing is added then.
    ///
    /// ```
    /// use barwright_records::{Kind, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let error = store.import_csv(Kind::Lots, "lot,like\nspring wax,\n", "2026-11-25".parse()?);
    /// assert_eq!(error.map_err(|error| error.to_string()), Err("line 2: `like` is blank".to_owned()));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn import_csv(&mut self, kind: Kind, text: &str, today: Date) -> Result<Imported, RecordsError> {
        if text.len() > MAX_TABLE_BYTES {
            return Err(RecordsError::TooLong { what: "table", bytes: text.len(), most: MAX_TABLE_BYTES });
        }
        self.change(|connection| import::import(connection, kind, text, today))
    }
}
