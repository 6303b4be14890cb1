//! From a lot to every batch and bar, and back.

use std::iter::{self, Peekable};

use rusqlite::Connection;

use crate::error::{Stop, beginning};
use crate::query::unknown;
use crate::{
    Bars, Batch, Kept, Lot, Outcome, PouredFormula, RecordsError, Store, bars, batches, formulas, lots, outcomes,
};

/// One batch a lot went into.
#[derive(Debug, Clone, PartialEq)]
pub struct TracedBatch {
    /// The batch, with all of its lots.
    pub batch: Batch,
    /// What the traced lot gave to it, g.
    pub lot_mass_g: f64,
    /// Where its bars went.
    pub bars: Vec<Kept<Bars>>,
    /// What was remarked on it.
    pub outcomes: Vec<Kept<Outcome>>,
}

/// A lot and everything it went into: what a recall needs.
#[derive(Debug, Clone, PartialEq)]
pub struct LotTrace {
    /// The lot.
    pub lot: Lot,
    /// Every batch it went into, in the order kept.
    pub batches: Vec<TracedBatch>,
}

/// One lot a batch was made from.
#[derive(Debug, Clone, PartialEq)]
pub struct TracedLot {
    /// The lot, with its certificate.
    pub lot: Lot,
    /// What it gave to the batch, g.
    pub mass_g: f64,
}

/// A batch and everything it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchTrace {
    /// The batch.
    pub batch: Batch,
    /// The formula as poured.
    pub formula: PouredFormula,
    /// The lots weighed in, in the order written.
    pub lots: Vec<TracedLot>,
    /// Where its bars went; for one bar, where that bar went.
    pub bars: Vec<Kept<Bars>>,
    /// What was remarked on it.
    pub outcomes: Vec<Kept<Outcome>>,
}

impl Store {
    /// Follows a lot to every batch it went into and every bar of those.
    ///
    /// # Arguments
    /// * `key`: key of the lot.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for a lot that is not kept, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Lot, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// store.add_lot(&Lot::new("spring wax", "beeswax"), "2026-11-25".parse()?)?;
    /// assert!(store.trace_lot("spring wax")?.batches.is_empty());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn trace_lot(&self, key: &str) -> Result<LotTrace, RecordsError> {
        self.read(|connection| {
            let Kept { id, record: lot } = lots::find(connection, key)?.ok_or_else(|| unknown("lot", key))?;
            let mut bars = bars::of_lot(connection, id)?.into_iter().peekable();
            let mut outcomes = outcomes::of_lot(connection, id)?.into_iter().peekable();
            let mut batches = Vec::new();
            for Kept { record: batch, .. } in batches::of_lot(connection, id)? {
                let mine: Vec<f64> =
                    batch.lots.iter().filter(|used| used.lot == lot.key).map(|used| used.mass_g).collect();
                if mine.is_empty() {
                    return Err(astray(&batch.number, &lot.key));
                }
                batches.push(TracedBatch {
                    lot_mass_g: mine.iter().sum(),
                    bars: of_batch(&mut bars, |bars| bars.batch == batch.number),
                    outcomes: of_batch(&mut outcomes, |outcome| outcome.batch == batch.number),
                    batch,
                });
            }
            // What belongs to none of the batches would be left out of the answer.
            let left = bars.next().map(|kept| kept.record.batch);
            match left.or_else(|| outcomes.next().map(|kept| kept.record.batch)) {
                Some(number) => Err(astray(&number, &lot.key)),
                None => Ok(LotTrace { lot, batches }),
            }
        })
    }

    /// Follows a batch back to its formula and its lots.
    ///
    /// # Arguments
    /// * `number`: number of the batch.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for a batch that is not kept, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{RecordsError, Store};
    /// let folder = tempfile::tempdir()?;
    /// let store = Store::open(folder.path())?;
    /// assert!(matches!(store.trace_batch("26-031"), Err(RecordsError::Unknown { what: "batch", .. })));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn trace_batch(&self, number: &str) -> Result<BatchTrace, RecordsError> {
        self.read(|connection| trace_back(connection, number))
    }

    /// Follows one bar back to its batch, formula and lots.
    ///
    /// # Arguments
    /// * `number`: number of the batch.
    /// * `bar`: the bar, counted from 1.
    ///
    /// # Returns
    /// The trace of its batch, with the entries of this bar alone.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for a batch that is not kept, [`RecordsError::NoSuchBars`] for a bar it does not have, or the
    /// file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let table = "formula,ingredient,percent\nhand bar,beeswax,40\nhand bar,sunflower-oil,60\n";
    /// store.import_csv(Kind::Formulas, table, "2026-11-25".parse()?)?;
    /// let table = "batch,poured_on,formula,mass_g,cavities\n26-031,2026-11-20,hand bar,600,12\n";
    /// store.import_csv(Kind::Batches, table, "2026-11-25".parse()?)?;
    /// let table = "batch,first,last,went,on\n26-031,1,4,sold,2026-11-25\n";
    /// store.import_csv(Kind::Bars, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.trace_bar("26-031", 4)?.bars.len(), 1);
    /// assert!(store.trace_bar("26-031", 5)?.bars.is_empty());
    /// assert!(store.trace_bar("26-031", 13).is_err());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn trace_bar(&self, number: &str, bar: u32) -> Result<BatchTrace, RecordsError> {
        self.read(|connection| {
            let mut trace = trace_back(connection, number)?;
            bars::allow_range(number, trace.batch.cavities, bar, bar)?;
            trace.bars.retain(|kept| (kept.record.first..=kept.record.last).contains(&bar));
            Ok(trace)
        })
    }
}

/// Follows a batch back.
fn trace_back(connection: &Connection, number: &str) -> Result<BatchTrace, Stop> {
    let Kept { id, record: batch } = batches::find(connection, number)?.ok_or_else(|| unknown("batch", number))?;
    let formula = formulas::find(connection, &batch.formula)?.ok_or_else(|| unknown("formula", &batch.formula))?.record;
    let mut traced = Vec::new();
    for used in &batch.lots {
        let lot = lots::find(connection, &used.lot)?.ok_or_else(|| unknown("lot", &used.lot))?.record;
        traced.push(TracedLot { lot, mass_g: used.mass_g });
    }
    let (bars, outcomes) = (bars::of_batch(connection, id)?, outcomes::of_batch(connection, id)?);
    Ok(BatchTrace { batch, formula, lots: traced, bars, outcomes })
}

/// Takes the records of the next batch off a list that goes batch by batch, in the order kept.
fn of_batch<T>(records: &mut Peekable<impl Iterator<Item = Kept<T>>>, is_its: impl Fn(&T) -> bool) -> Vec<Kept<T>> {
    let mut taken: Vec<Kept<T>> = iter::from_fn(|| records.next_if(|kept| is_its(&kept.record))).collect();
    taken.sort_by_key(|kept| kept.id);
    taken
}

/// Says that the index of lots leads where it should not.
fn astray(batch: &str, lot: &str) -> Stop {
    Stop::Unreadable(format!(
        "batch {:?} is listed for lot {:?} and does not name it",
        beginning(batch),
        beginning(lot)
    ))
}
