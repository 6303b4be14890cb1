//! What is left of each delivery: what came of it, less what went into batches.

use std::collections::HashMap;

use jiff::civil::Date;
use rusqlite::Connection;

use crate::error::{Stop, beginning};
use crate::row::all;
use crate::{Batch, Kind, Lot, LotUse, RecordsError, Shortage, Store, batches, lots};

/// Parts of a gram in which stock is counted: the last digit of the finest scale.
const PER_G: f64 = 1e4;

/// A delivery and what went into batches of it.
#[derive(Debug, Clone, PartialEq)]
pub struct LotStock {
    /// The delivery.
    pub lot: Lot,
    /// What went into batches, g.
    pub used_g: f64,
}

impl LotStock {
    /// What is left, g; `None` when nobody wrote down how much came, below 0 when more was weighed in.
    pub fn left_g(&self) -> Option<f64> {
        self.lot.delivered_g.map(|delivered_g| left_g(delivered_g, self.used_g))
    }
}

impl Store {
    /// Returns every lot with what went into batches, in the order kept.
    ///
    /// # Errors
    /// [`RecordsError`] when the file refuses.
    ///
    /// ```
    /// use barwright_records::{Lot, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let lot = Lot { delivered_g: Some(1000.0), ..Lot::new("spring wax", "beeswax") };
    /// store.add_lot(&lot, "2026-11-25".parse()?)?;
    /// assert_eq!(store.stock()?[0].left_g(), Some(1000.0));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn stock(&self) -> Result<Vec<LotStock>, RecordsError> {
        self.read(|connection| {
            let mut used: HashMap<String, f64> = HashMap::new();
            for batch in all(connection, Kind::Batches, batches::every)? {
                batch.record.lots.into_iter().for_each(|one| *used.entry(one.lot).or_default() += one.mass_g);
            }
            let of = |lot: Lot| LotStock { used_g: used.get(&lot.key).copied().unwrap_or_default(), lot };
            Ok(all(connection, Kind::Lots, lots::every)?.into_iter().map(|kept| of(kept.record)).collect())
        })
    }

    /// Returns the lots of which less is left than is to be weighed in; of a lot without a delivered mass, or none kept, there is enough.
    ///
    /// # Errors
    /// [`RecordsError`] when the file refuses.
    ///
    /// ```
    /// use barwright_records::{Lot, LotUse, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let lot = Lot { delivered_g: Some(100.0), ..Lot::new("spring wax", "beeswax") };
    /// store.add_lot(&lot, "2026-11-25".parse()?)?;
    /// let used = [LotUse { lot: "spring wax".to_owned(), mass_g: 120.0 }];
    /// assert_eq!(store.shortages(&used)?[0].left_g, 100.0);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn shortages(&self, used: &[LotUse]) -> Result<Vec<Shortage>, RecordsError> {
        self.read(|connection| shortages(connection, used))
    }

    /// Keeps a batch as [`Store::add_batch`] does, and refuses one that takes more of a lot than is left.
    ///
    /// # Errors
    /// [`RecordsError::TooLittle`], and those of [`Store::add_batch`].
    ///
    /// ```
    /// use barwright_records::{Batch, Kind, Lot, LotUse, RecordsError, Store};
    /// let folder = tempfile::tempdir()?;
    /// let today = "2026-11-25".parse()?;
    /// let mut store = Store::open(folder.path())?;
    /// store.import_csv(Kind::Formulas, "formula,ingredient,percent\nwax bar,beeswax,100\n", today)?;
    /// store.add_lot(&Lot { delivered_g: Some(100.0), ..Lot::new("spring wax", "beeswax") }, today)?;
    /// let batch = Batch {
    ///     number: "26-031".to_owned(),
    ///     formula: "wax bar".to_owned(),
    ///     poured_on: today,
    ///     mass_g: 60.0,
    ///     cavities: None,
    ///     lots: vec![LotUse { lot: "spring wax".to_owned(), mass_g: 60.0 }],
    ///     note: None,
    /// };
    /// store.add_batch_from_stock(&batch, today)?;
    /// let again = Batch { number: "26-032".to_owned(), ..batch };
    /// assert!(matches!(store.add_batch_from_stock(&again, today), Err(RecordsError::TooLittle { .. })));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn add_batch_from_stock(&mut self, batch: &Batch, today: Date) -> Result<(), RecordsError> {
        self.change(|connection| {
            let shortages = shortages(connection, &batch.lots)?;
            if !shortages.is_empty() {
                return Err(RecordsError::TooLittle { shortages }.into());
            }
            batches::insert(connection, batch, today)
        })
    }
}

/// Finds the lots of which less is left than is to be weighed in.
fn shortages(connection: &Connection, used: &[LotUse]) -> Result<Vec<Shortage>, Stop> {
    let mut shortages = Vec::new();
    for LotUse { lot: key, mass_g } in used {
        let Some(kept) = lots::find(connection, key)? else { continue };
        let Some(delivered_g) = kept.record.delivered_g else { continue };
        let batches = batches::of_lot(connection, kept.id)?;
        let its = batches.iter().flat_map(|batch| &batch.record.lots).filter(|used| used.lot == *key);
        let left_g = left_g(delivered_g, its.map(|used| used.mass_g).sum());
        if *mass_g > left_g + 0.5 / PER_G {
            shortages.push(Shortage { lot: beginning(key), left_g, needed_g: *mass_g });
        }
    }
    Ok(shortages)
}

/// What is left, g, without the dust of many subtractions; zero has no sign.
fn left_g(delivered_g: f64, used_g: f64) -> f64 {
    ((delivered_g - used_g) * PER_G).round() / PER_G + 0.0
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    const TODAY: Date = jiff::civil::date(2026, 11, 25);

    fn pour(number: &str, lots: &[(&str, f64)]) -> Batch {
        let used = |(lot, mass_g): &(&str, f64)| LotUse { lot: (*lot).to_owned(), mass_g: *mass_g };
        Batch {
            number: number.to_owned(),
            formula: "hand bar".to_owned(),
            poured_on: TODAY,
            mass_g: 100.0,
            cavities: None,
            lots: lots.iter().map(used).collect(),
            note: None,
        }
    }

    #[test]
    fn a_delivery_is_used_up_to_the_last_gram_and_no_further() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        store.import_csv(Kind::Formulas, "formula,ingredient,percent\nhand bar,beeswax,100\n", TODAY).unwrap();
        let table = "lot,like,delivered_g\nA,beeswax,100.3\nB,beeswax,20\nno mass,beeswax,\n";
        store.import_csv(Kind::Lots, table, TODAY).unwrap();
        store.add_batch_from_stock(&pour("1", &[("A", 0.1), ("no mass", 5000.0)]), TODAY).unwrap();
        store.add_batch_from_stock(&pour("2", &[("A", 0.2)]), TODAY).unwrap();
        let before = store.stock().unwrap();
        let too_much = pour("3", &[("B", 20.0), ("A", 100.1)]);
        let refused = store.add_batch_from_stock(&too_much, TODAY).unwrap_err();
        assert_eq!(refused.to_string(), "of the lot `A` 100 g are left, and the batch takes 100.1 g");
        assert_eq!((store.stock().unwrap(), store.batches().unwrap().len()), (before, 2));
        store.add_batch_from_stock(&pour("3", &[("B", 20.0), ("A", 100.0)]), TODAY).unwrap();
        // Who keeps it all the same has a stock below zero.
        store.add_batch(&pour("4", &[("B", 1.5)]), TODAY).unwrap();
        let left: Vec<_> = store.stock().unwrap().iter().map(LotStock::left_g).collect();
        assert_eq!(left, [Some(0.0), Some(-1.5), None]);
        let unknown = store.add_batch_from_stock(&pour("5", &[("C", 1.0)]), TODAY).unwrap_err();
        assert!(matches!(unknown, RecordsError::Unknown { what: "lot", .. }), "{unknown}");
        store.check(TODAY).unwrap();
    }
}
