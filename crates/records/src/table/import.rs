//! CSV to records.

use jiff::civil::Date;
use rusqlite::Connection;

use super::reader::{Row, Table};
use crate::error::{Stop, beginning};
use crate::lots::nut_origin_called;
use crate::{
    Bars, Batch, Kept, Kind, Lot, LotUse, Outcome, PouredFormula, PouredPart, RecordsError, Trial, TrialKind, Went,
    bars, batches, formulas, lots, outcomes, trials,
};

/// How a number looks.
const NUMBER: &str = "a plain number such as 12.5";
/// How a count looks.
const COUNT: &str = "a whole number";

/// Faults of one table that are told.
const MAX_FAULTS: usize = 20;

/// What an import did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Imported {
    /// Records added.
    pub added: usize,
    /// Records that were kept already, word for word, and were left as they are.
    pub already_there: usize,
}

/// Adds every record of a table; the caller undoes all of it on an error, which names every row that is at fault.
pub(super) fn import(connection: &Connection, kind: Kind, text: &str, today: Date) -> Result<Imported, Stop> {
    let table = Table::read(kind, text)?;
    let mut done = Done::default();
    match kind {
        Kind::Formulas => {
            for (line, formula) in done.whole(read_formulas(&table))? {
                done.count(line, put_formula(connection, &formula))?;
            }
        }
        Kind::Batches => {
            for (line, batch) in done.whole(read_batches(&table))? {
                done.count(line, put_batch(connection, &batch, today))?;
            }
        }
        Kind::Lots => {
            for row in table.rows() {
                let put = || put_lot(connection, &lot(&row)?, today);
                done.count(row.line, put())?;
            }
        }
        Kind::Bars => {
            for row in table.rows() {
                let put = || {
                    let (id, record) = (id(&row)?, bar(&row)?);
                    let put = |id| bars::insert(connection, id, &record, today);
                    put_numbered(kind, id, &record, |id| bars::find(connection, id), put)
                };
                done.count(row.line, put())?;
            }
        }
        Kind::Trials => {
            for row in table.rows() {
                let put = || {
                    let (id, record) = (id(&row)?, trial(&row)?);
                    let put = |id| trials::insert(connection, id, &record, today);
                    put_numbered(kind, id, &record, |id| trials::find(connection, id), put)
                };
                done.count(row.line, put())?;
            }
        }
        Kind::Outcomes => {
            for row in table.rows() {
                let put = || {
                    let (id, record) = (id(&row)?, outcome(&row)?);
                    let put = |id| outcomes::insert(connection, id, &record, today);
                    put_numbered(kind, id, &record, |id| outcomes::find(connection, id), put)
                };
                done.count(row.line, put())?;
            }
        }
    }
    done.end()
}

/// What an import did so far.
#[derive(Default)]
struct Done {
    imported: Imported,
    faults: Vec<RecordsError>,
}

impl Done {
    /// Takes what became of the record that begins on a line; only what is no fault of the table stops the import.
    fn count(&mut self, line: u64, put: Result<bool, Stop>) -> Result<(), Stop> {
        match put {
            Ok(true) => self.imported.added += 1,
            Ok(false) => self.imported.already_there += 1,
            Err(Stop::Known(error @ RecordsError::Table { .. })) => self.faults.push(error),
            Err(Stop::Known(error)) => self.faults.push(RecordsError::Row { line, source: Box::new(error) }),
            Err(stop) => return Err(stop),
        }
        Ok(())
    }

    /// Takes records made of several rows: without all of its rows none of them can be judged.
    fn whole<T>(&mut self, (records, faults): (Vec<T>, Vec<RecordsError>)) -> Result<Vec<T>, Stop> {
        self.faults = faults;
        if self.faults.is_empty() { Ok(records) } else { Err(told(std::mem::take(&mut self.faults)).into()) }
    }

    /// Returns what was done, or every fault.
    fn end(self) -> Result<Imported, Stop> {
        if self.faults.is_empty() { Ok(self.imported) } else { Err(told(self.faults).into()) }
    }
}

/// Several faults as one error; a single one is told as it is.
fn told(mut faults: Vec<RecordsError>) -> RecordsError {
    let more = faults.len().saturating_sub(MAX_FAULTS);
    faults.truncate(MAX_FAULTS);
    match faults.pop() {
        Some(only) if faults.is_empty() => only,
        last => {
            faults.extend(last);
            RecordsError::Faults { faults, more }
        }
    }
}

/// Adds a formula unless it is there word for word; says whether it did.
fn put_formula(connection: &Connection, formula: &PouredFormula) -> Result<bool, Stop> {
    if formulas::find(connection, &formula.name)?.is_some_and(|kept| kept.record == *formula) {
        return Ok(false);
    }
    formulas::insert(connection, formula)?;
    Ok(true)
}

/// Adds a lot unless it is there word for word; says whether it did.
fn put_lot(connection: &Connection, lot: &Lot, today: Date) -> Result<bool, Stop> {
    if lots::find(connection, &lot.key)?.is_some_and(|kept| kept.record == *lot) {
        return Ok(false);
    }
    lots::insert(connection, lot, today)?;
    Ok(true)
}

/// Adds a batch unless it is there word for word; says whether it did.
fn put_batch(connection: &Connection, batch: &Batch, today: Date) -> Result<bool, Stop> {
    if batches::find(connection, &batch.number)?.is_some_and(|kept| kept.record == *batch) {
        return Ok(false);
    }
    batches::insert(connection, batch, today)?;
    Ok(true)
}

/// Adds a record under its id unless it is there word for word; without an id it is new. Says whether it added it.
fn put_numbered<T: PartialEq>(
    kind: Kind,
    id: Option<i64>,
    record: &T,
    find: impl FnOnce(i64) -> Result<Option<Kept<T>>, Stop>,
    put: impl FnOnce(Option<i64>) -> Result<i64, Stop>,
) -> Result<bool, Stop> {
    if let Some(id) = id
        && let Some(kept) = find(id)?
    {
        if kept.record == *record {
            return Ok(false);
        }
        return Err(RecordsError::AlreadyThere { what: kind.one(), name: id.to_string() }.into());
    }
    put(id)?;
    Ok(true)
}

/// Reads an id; `None` when blank.
fn id(row: &Row<'_>) -> Result<Option<i64>, RecordsError> {
    match row.value::<u32>("id", COUNT)? {
        Some(0) => Err(RecordsError::Table { line: row.line, what: "`id` is 0; ids are counted from 1".to_owned() }),
        id => Ok(id.map(i64::from)),
    }
}

/// Reads formulas, each from rows that follow one another, and every fault of a row.
fn read_formulas(table: &Table) -> (Vec<(u64, PouredFormula)>, Vec<RecordsError>) {
    let mut formulas: Vec<(u64, PouredFormula)> = Vec::new();
    let mut take = |row: Row<'_>| -> Result<(), RecordsError> {
        let (name, note) = (row.needed_text("formula")?, row.text("note"));
        let part = PouredPart { ingredient: row.needed_text("ingredient")?, percent: row.needed("percent", NUMBER)? };
        match formulas.last_mut() {
            Some((_, last)) if last.name == name => {
                agree(row.line, &name, last.note == note)?;
                last.parts.push(part);
            }
            _ => formulas.push((row.line, PouredFormula { name, parts: vec![part], note })),
        }
        Ok(())
    };
    let faults = table.rows().filter_map(|row| take(row).err()).collect();
    (formulas, faults)
}

/// Reads batches, each from rows that follow one another, and every fault of a row.
fn read_batches(table: &Table) -> (Vec<(u64, Batch)>, Vec<RecordsError>) {
    let mut batches: Vec<(u64, Batch)> = Vec::new();
    let mut take = |row: Row<'_>| -> Result<(), RecordsError> {
        let used = match row.text("lot") {
            Some(lot) => Some(LotUse { lot, mass_g: row.needed("lot_mass_g", NUMBER)? }),
            None if row.text("lot_mass_g").is_some() => {
                let what = "`lot_mass_g` stands without a `lot`".to_owned();
                return Err(RecordsError::Table { line: row.line, what });
            }
            None => None,
        };
        let mut batch = Batch {
            number: row.needed_text("batch")?,
            formula: row.needed_text("formula")?,
            poured_on: row.needed_date("poured_on")?,
            mass_g: row.needed("mass_g", NUMBER)?,
            cavities: row.value("cavities", COUNT)?,
            lots: Vec::new(),
            note: row.text("note"),
        };
        match batches.last_mut() {
            Some((_, last)) if last.number == batch.number => {
                agree(row.line, &batch.number, batch_without_lots(last) == batch)?;
                last.lots.extend(used);
            }
            _ => {
                batch.lots.extend(used);
                batches.push((row.line, batch));
            }
        }
        Ok(())
    };
    let faults = table.rows().filter_map(|row| take(row).err()).collect();
    (batches, faults)
}

/// Returns a batch as if no lots had been weighed in.
fn batch_without_lots(batch: &Batch) -> Batch {
    Batch { lots: Vec::new(), ..batch.clone() }
}

/// Refuses rows of one record that do not say the same about it.
fn agree(line: u64, name: &str, same: bool) -> Result<(), RecordsError> {
    if same {
        return Ok(());
    }
    let what = format!("the row says something else about {:?} than the row before", beginning(name));
    Err(RecordsError::Table { line, what })
}

/// Reads a lot.
fn lot(row: &Row<'_>) -> Result<Lot, RecordsError> {
    Ok(Lot {
        key: row.needed_text("lot")?,
        like: row.needed_text("like")?,
        delivered_on: row.date("delivered_on")?,
        best_before: row.date("best_before")?,
        certificate: row.text("certificate"),
        figures: row.figures("figures")?,
        price_per_kg: row.value("price_per_kg", NUMBER)?,
        nut_origin: row.word("nut_origin", nut_origin_called)?,
        flash_c: row.value("flash_c", NUMBER)?,
        note: row.text("note"),
        delivered_g: row.value("delivered_g", NUMBER)?,
    })
}

/// Reads where bars went.
fn bar(row: &Row<'_>) -> Result<Bars, RecordsError> {
    Ok(Bars {
        batch: row.needed_text("batch")?,
        first: row.needed("first", COUNT)?,
        last: row.needed("last", COUNT)?,
        went: row.needed_word("went", Went::called)?,
        to: row.text("to"),
        on: row.needed_date("on")?,
        note: row.text("note"),
    })
}

/// Reads a trial.
fn trial(row: &Row<'_>) -> Result<Trial, RecordsError> {
    Ok(Trial {
        formula: row.needed_text("formula")?,
        kind: row.needed_word("kind", TrialKind::called)?,
        figures: row.figures("figures")?,
        tested_on: row.needed_date("tested_on")?,
        days_since_pouring: row.needed("days_since_pouring", COUNT)?,
        note: row.text("note"),
    })
}

/// Reads an outcome.
fn outcome(row: &Row<'_>) -> Result<Outcome, RecordsError> {
    Ok(Outcome {
        batch: row.needed_text("batch")?,
        noted_on: row.needed_date("noted_on")?,
        note: row.needed_text("note")?,
    })
}
