//! Records to CSV.

use barwright_reference::{NutOrigin, text_cell};
use csv::{QuoteStyle, Writer, WriterBuilder};
use jiff::civil::Date;
use rusqlite::Connection;

use crate::error::Stop;
use crate::row::all;
use crate::{
    Bars, Batch, Kept, Kind, Lot, Outcome, PouredFormula, Trial, bars, batches, formulas, lots, outcomes, trials,
};

/// Returns a table as CSV text.
pub(super) fn export(connection: &Connection, kind: Kind) -> Result<String, Stop> {
    // Text in quotes, so that a semicolon in it starts no cell in a spreadsheet that separates by semicolons.
    let mut table = WriterBuilder::new().quote_style(QuoteStyle::NonNumeric).from_writer(Vec::new());
    put(&mut table, kind.columns().iter().map(|column| (*column).to_owned()))?;
    match kind {
        Kind::Formulas => put_all(connection, kind, formulas::every, |kept| formula(&mut table, &kept.record))?,
        Kind::Lots => put_all(connection, kind, lots::every, |kept| lot(&mut table, &kept.record))?,
        Kind::Batches => put_all(connection, kind, batches::every, |kept| batch(&mut table, &kept.record))?,
        Kind::Bars => put_all(connection, kind, bars::every, |kept| bar(&mut table, kept))?,
        Kind::Trials => put_all(connection, kind, trials::every, |kept| trial(&mut table, kept))?,
        Kind::Outcomes => put_all(connection, kind, outcomes::every, |kept| outcome(&mut table, kept))?,
    }
    let bytes = table.into_inner().map_err(|error| Stop::Unreadable(error.to_string()))?;
    String::from_utf8(bytes).map_err(|error| Stop::Unreadable(error.to_string()))
}

/// Writes every record of a kind.
fn put_all<T>(
    connection: &Connection,
    kind: Kind,
    every: impl FnOnce(&Connection) -> Result<Vec<Result<Kept<T>, Stop>>, Stop>,
    write: impl FnMut(&Kept<T>) -> Result<(), Stop>,
) -> Result<(), Stop> {
    all(connection, kind, every)?.iter().try_for_each(write)
}

/// Writes one row.
fn put(table: &mut Writer<Vec<u8>>, cells: impl IntoIterator<Item = String>) -> Result<(), Stop> {
    table.write_record(cells).map_err(|error| Stop::Unreadable(error.to_string()))
}

/// Returns a text cell, empty for none.
fn text(text: Option<&str>) -> String {
    text.map(text_cell::guard).unwrap_or_default()
}

/// Returns a cell of a number or a date, empty for none.
fn plain<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

/// Writes a formula, one row for each part.
fn formula(table: &mut Writer<Vec<u8>>, formula: &PouredFormula) -> Result<(), Stop> {
    formula.parts.iter().try_for_each(|part| {
        let (name, ingredient) = (text_cell::guard(&formula.name), text_cell::guard(&part.ingredient));
        put(table, [name, ingredient, part.percent.to_string(), text(formula.note.as_deref())])
    })
}

/// Writes a lot.
fn lot(table: &mut Writer<Vec<u8>>, lot: &Lot) -> Result<(), Stop> {
    let figures = if lot.figures.is_empty() { String::new() } else { lots::figures_text(lot)? };
    put(
        table,
        [
            text_cell::guard(&lot.key),
            text_cell::guard(&lot.like),
            plain::<Date>(lot.delivered_on),
            plain::<Date>(lot.best_before),
            text(lot.certificate.as_deref()),
            figures,
            plain(lot.price_per_kg),
            plain(lot.nut_origin.map(NutOrigin::word)),
            plain(lot.flash_c),
            text(lot.note.as_deref()),
            plain(lot.delivered_g),
        ],
    )
}

/// Writes a batch, one row for each lot that went into it, or one row without a lot.
fn batch(table: &mut Writer<Vec<u8>>, batch: &Batch) -> Result<(), Stop> {
    let mut row = |lot: String, lot_mass_g: String| {
        put(
            table,
            [
                text_cell::guard(&batch.number),
                batch.poured_on.to_string(),
                text_cell::guard(&batch.formula),
                batch.mass_g.to_string(),
                plain(batch.cavities),
                lot,
                lot_mass_g,
                text(batch.note.as_deref()),
            ],
        )
    };
    if batch.lots.is_empty() {
        return row(String::new(), String::new());
    }
    batch.lots.iter().try_for_each(|used| row(text_cell::guard(&used.lot), used.mass_g.to_string()))
}

/// Writes where bars went.
fn bar(table: &mut Writer<Vec<u8>>, kept: &Kept<Bars>) -> Result<(), Stop> {
    let bars = &kept.record;
    put(
        table,
        [
            kept.id.to_string(),
            text_cell::guard(&bars.batch),
            bars.first.to_string(),
            bars.last.to_string(),
            bars.went.word().to_owned(),
            text(bars.to.as_deref()),
            bars.on.to_string(),
            text(bars.note.as_deref()),
        ],
    )
}

/// Writes a trial.
fn trial(table: &mut Writer<Vec<u8>>, kept: &Kept<Trial>) -> Result<(), Stop> {
    let trial = &kept.record;
    let figures = trials::figures_text(trial)?;
    put(
        table,
        [
            kept.id.to_string(),
            text_cell::guard(&trial.formula),
            trial.kind.word().to_owned(),
            trial.tested_on.to_string(),
            trial.days_since_pouring.to_string(),
            figures,
            text(trial.note.as_deref()),
        ],
    )
}

/// Writes an outcome.
fn outcome(table: &mut Writer<Vec<u8>>, kept: &Kept<Outcome>) -> Result<(), Stop> {
    let outcome = &kept.record;
    put(
        table,
        [
            kept.id.to_string(),
            text_cell::guard(&outcome.batch),
            outcome.noted_on.to_string(),
            text_cell::guard(&outcome.note),
        ],
    )
}
