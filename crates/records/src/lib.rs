//! What a maker poured, from which lots, and where the bars went.
//!
//! One SQLite file, `records.sqlite`, in the maker's profile folder; no server, nothing leaves the computer. [`Store`] opens
//! it; records are added one at a time and each is on the disk when the call returns. Records are added and never changed or
//! taken away: what turns out otherwise is a further record, such as an [`Outcome`].
//!
//! A record that a disk, a copy or another program changed is not shown: each has a digest beside it that its readers compare,
//! and of each kind the number and the sum of the digests are kept, so that a record that vanished is missed by whoever reads
//! all of them. A file with a trigger, a view or a table that barwright did not make is not opened. [`Store::check`] goes through all
//! of it.
//!
//! Whatever is made under another name first is a part file ([`part_in`]); those that a killed run left are swept ([`sweep`]). What
//! else the maker's command writes goes through the same.
//!
//! The caller says what day it is, so that a date in the future is refused by the caller's clock and tests have one of their
//! own. Masses are in grams, shares in mass %, temperatures in °C, prices in the maker's own money per kilogram.
//!
//! ```
//! use barwright_records::{Batch, Date, LotUse, Lot, PouredFormula, PouredPart, Store};
//! let folder = tempfile::tempdir()?;
//! let today: Date = "2026-11-25".parse()?;
//! let mut store = Store::open(folder.path())?;
//! let parts = [("beeswax", 40.0), ("sunflower-oil", 60.0)];
//! let parts = parts.map(|(ingredient, percent)| PouredPart { ingredient: ingredient.to_owned(), percent }).to_vec();
//! store.add_formula(&PouredFormula { name: "hand bar".to_owned(), parts, note: None })?;
//! store.add_lot(&Lot::new("spring wax", "beeswax"), today)?;
//! store.add_batch(
//!     &Batch {
//!         number: "26-031".to_owned(),
//!         formula: "hand bar".to_owned(),
//!         poured_on: today,
//!         mass_g: 600.0,
//!         cavities: Some(12),
//!         lots: vec![LotUse { lot: "spring wax".to_owned(), mass_g: 240.0 }],
//!         note: None,
//!     },
//!     today,
//! )?;
//! assert_eq!(store.trace_lot("spring wax")?.batches[0].batch.number, "26-031");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod backup;
mod bars;
mod batches;
mod check;
mod error;
mod formulas;
mod kind;
mod lots;
mod migrate;
mod open;
mod outcomes;
mod part;
mod query;
pub mod refusal;
mod row;
mod schema;
mod seal;
mod sound;
mod stock;
mod store;
mod table;
mod trace;
mod trials;

/// Figures of a certificate or a trial: names and values, kept as JSON.
pub type Figures = serde_json::Map<String, serde_json::Value>;

/// A record with the number the store gave it.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept<T> {
    /// Number of the record among those of its kind, from 1.
    pub id: i64,
    /// The record.
    pub record: T,
}

pub use bars::{Bars, Went};
pub use barwright_reference::NutOrigin;
pub use batches::{Batch, LotUse};
pub use check::{MAX_NAME_BYTES, MAX_TEXT_BYTES};
pub use error::{RecordsError, SchemaFault, Shortage};
pub use formulas::{PouredFormula, PouredPart};
pub use jiff::civil::Date;
pub use kind::Kind;
pub use lots::Lot;
pub use outcomes::Outcome;
pub use part::{STALE_AFTER, part_in, sweep};
pub use sound::Checked;
pub use stock::LotStock;
pub use store::{FILE_NAME, Store};
pub use table::{Imported, MAX_TABLE_BYTES};
pub use trace::{BatchTrace, LotTrace, TracedBatch, TracedLot};
pub use trials::{Trial, TrialKind};
