//! The records as CSV, out and in again.

mod export;
mod import;
mod reader;

use jiff::civil::Date;

use crate::{RecordsError, Store, seal};

/// The longest table read, bytes.
pub const MOST_TABLE_BYTES: usize = 256 << 20;

/// The tables: one CSV file each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Formulas: one row for each part.
    Formulas,
    /// Lots: one row each.
    Lots,
    /// Batches: one row for each lot that went into one, or one row without a lot.
    Batches,
    /// Where bars went: one row for each entry.
    Bars,
    /// Trials: one row each.
    Trials,
    /// Outcomes: one row each.
    Outcomes,
}

impl Kind {
    /// Every table, in an order in which they can be imported: what others refer to comes first.
    pub const ALL: [Kind; 6] = [Kind::Formulas, Kind::Lots, Kind::Batches, Kind::Bars, Kind::Trials, Kind::Outcomes];

    /// Returns the word for a table.
    ///
    /// ```
    /// assert_eq!(barwright_records::Kind::Bars.word(), "bars");
    /// ```
    pub fn word(self) -> &'static str {
        match self {
            Kind::Formulas => "formulas",
            Kind::Lots => "lots",
            Kind::Batches => "batches",
            Kind::Bars => "bars",
            Kind::Trials => "trials",
            Kind::Outcomes => "outcomes",
        }
    }

    /// Returns what one record of the kind is called in messages.
    pub(crate) fn one(self) -> &'static str {
        match self {
            Kind::Formulas => "formula",
            Kind::Lots => "lot",
            Kind::Batches => "batch",
            Kind::Bars => "entry of bars",
            Kind::Trials => "trial",
            Kind::Outcomes => "outcome",
        }
    }

    /// Returns the table a word names.
    ///
    /// ```
    /// use barwright_records::Kind;
    /// assert_eq!(Kind::called("lots"), Some(Kind::Lots));
    /// assert_eq!(Kind::called("sales"), None);
    /// ```
    pub fn called(word: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Returns the columns of a table, in the order they are written.
    ///
    /// ```
    /// use barwright_records::Kind;
    /// assert_eq!(Kind::Outcomes.columns(), ["id", "batch", "noted_on", "note"]);
    /// ```
    pub fn columns(self) -> &'static [&'static str] {
        match self {
            Kind::Formulas => &["formula", "ingredient", "percent", "note"],
            Kind::Lots => &[
                "lot",
                "like",
                "delivered_on",
                "best_before",
                "certificate",
                "figures",
                "price_per_kg",
                "nut_origin",
                "flash_c",
                "note",
            ],
            Kind::Batches => &["batch", "poured_on", "formula", "mass_g", "cavities", "lot", "lot_mass_g", "note"],
            Kind::Bars => &["id", "batch", "first", "last", "went", "to", "on", "note"],
            Kind::Trials => &["id", "formula", "kind", "tested_on", "days_since_pouring", "figures", "note"],
            Kind::Outcomes => &["id", "batch", "noted_on", "note"],
        }
    }
}

/// What an import did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Imported {
    /// Records added.
    pub added: usize,
    /// Records that were kept already, word for word, and were left as they are.
    pub already_there: usize,
}

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
    ///   without a single figure may be missing. At most [`MOST_TABLE_BYTES`].
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
        if text.len() > MOST_TABLE_BYTES {
            return Err(RecordsError::TooLong { what: "table", bytes: text.len(), most: MOST_TABLE_BYTES });
        }
        self.change(|connection| import::import(connection, kind, text, today))
    }
}
