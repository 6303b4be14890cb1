//! `records`: what was poured, from which deliveries, and where it went.

pub mod args;
mod words;

use barwright_answer::words::names;
use std::path::Path;

use barwright_records::{
    Bars, BatchTrace, Imported, Kind, Lot, LotStock, LotTrace, Outcome, RecordsError, Store, Went,
};
use barwright_reference::text_cell;
use serde_json::{Map, Value, json};

use args::{Export, Import, ListKind, LotArgs, Records, RecordsAction, Remark, Stock, Trace, WentArgs};

use super::trial::days;
use crate::error::CliError;
use crate::input::{RECORDS, read_text_of};
use barwright_answer::engine::builtin_library;
use barwright_answer::engine::find;

use crate::output::Streams;
use crate::profile::{Profile, make_folder};
use crate::save::save;
use crate::today::today;
use barwright_answer::refusal::{Fault, Place};
use barwright_answer::words::names::capital;

/// Columns that hold numbers.
const NUMBERS: [&str; 11] = [
    "id",
    "percent",
    "price_per_kg",
    "flash_c",
    "delivered_g",
    "mass_g",
    "cavities",
    "lot_mass_g",
    "first",
    "last",
    "days_since_pouring",
];

/// The column that holds figures by name.
const FIGURES: &str = "figures";

/// Runs the subcommand.
pub fn run(args: &Records, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    match &args.action {
        RecordsAction::List(args) => list(args, &profile.store()?, streams),
        RecordsAction::Stock(args) => stock(args, &profile.store()?, streams),
        RecordsAction::Trace(args) => trace(args, &profile.store()?, streams),
        RecordsAction::Lot(args) => lot(args, profile, streams),
        RecordsAction::Went(args) => went(args, &mut profile.store()?, streams),
        RecordsAction::Remark(args) => remark(args, &mut profile.store()?, streams),
        RecordsAction::Export(args) => export(args, &profile.store()?, streams),
        RecordsAction::Import(args) => import(args, &mut profile.store_to_write(streams)?, streams),
        RecordsAction::Backup(args) => {
            profile.store()?.backup(&args.file)?;
            Ok(streams.data.line(&format!(
                "Copied to {}; every page and every record of the copy was checked.",
                args.file.display()
            ))?)
        }
        RecordsAction::Check(_) => {
            let store = profile.store()?;
            let checked = store.check(today()?)?;
            Ok(streams.data.document(&words::checked(store.path(), &checked), false)?)
        }
    }
}

/// `records list`.
fn list(args: &ListKind, store: &Store, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let Some(kind) = args.kind else {
        let counts = store.counts()?;
        if args.json {
            let counts: Map<String, Value> =
                counts.iter().map(|(kind, count)| (kind.word().to_owned(), (*count).into())).collect();
            return streams.data.json(&counts);
        }
        return Ok(streams.data.document(&words::counts(&counts), false)?);
    };
    let rows = rows(&store.export_csv(kind.0)?)?;
    if args.json {
        let object = |row: &Vec<String>| -> Map<String, Value> {
            let columns = kind.0.columns().iter();
            columns.zip(row).map(|(column, cell)| ((*column).to_owned(), value(column, cell))).collect()
        };
        return streams.data.json(&rows.iter().map(object).collect::<Vec<_>>());
    }
    Ok(streams.data.document(&words::list(kind.0, &rows), false)?)
}

/// `records stock`.
fn stock(args: &Stock, store: &Store, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let stock = store.stock()?;
    if args.json {
        let of = |one: &LotStock| {
            let LotStock { lot, used_g } = one;
            json!({ "lot": lot.key, "like": lot.like, "delivered_g": lot.delivered_g, "used_g": used_g, "left_g": one.left_g() })
        };
        return streams.data.json(&stock.iter().map(of).collect::<Vec<_>>());
    }
    Ok(streams.data.document(&words::stock(&stock, args.units), false)?)
}

/// The rows of an exported table, each cell as it was kept.
fn rows(table: &str) -> Result<Vec<Vec<String>>, CliError> {
    let failed = |error: csv::Error| CliError::internal(format!("the table could not be read: {error}"));
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let cells = |row: csv::StringRecord| row.iter().map(|cell| text_cell::unguard(cell).to_owned()).collect();
    reader.records().map(|row| row.map(cells).map_err(failed)).collect()
}

/// A cell as JSON: numbers as numbers, figures as they are, an empty one as null.
fn value(column: &str, cell: &str) -> Value {
    if cell.is_empty() {
        return Value::Null;
    }
    let read = || serde_json::from_str(cell).unwrap_or_else(|_| cell.into());
    if NUMBERS.contains(&column) || column == FIGURES { read() } else { cell.into() }
}

/// `records trace`.
fn trace(args: &Trace, store: &Store, streams: &mut Streams<'_>) -> Result<(), CliError> {
    // A recall from records with a gap would leave bars in somebody's hands.
    store.check_complete()?;
    if let Some(bar) = args.bar {
        let found = store.trace_bar(&args.name, bar)?;
        return batch_trace(&found, args, streams);
    }
    // A lot and a batch may have one name: both are told.
    let lot = found(store.trace_lot(&args.name))?;
    let batch = found(store.trace_batch(&args.name))?;
    if lot.is_none() && batch.is_none() {
        return Err(nobody(args, store)?);
    }
    if args.json {
        let both = json!({ "lot": lot.as_ref().map(lot_json), "batch": batch.as_ref().map(batch_json) });
        return streams.data.json(&both);
    }
    if let Some(lot) = &lot {
        streams.data.document(&words::lot_trace(lot), false)?;
    }
    if let Some(batch) = &batch {
        if lot.is_some() {
            streams.data.blank()?;
        }
        streams.data.document(&words::batch_trace(batch, None), false)?;
    }
    Ok(())
}

/// Shows one batch or one bar of it.
fn batch_trace(found: &BatchTrace, args: &Trace, streams: &mut Streams<'_>) -> Result<(), CliError> {
    if args.json {
        return streams.data.json(&json!({ "lot": null, "batch": batch_json(found) }));
    }
    Ok(streams.data.document(&words::batch_trace(found, args.bar), false)?)
}

/// What was found; only a name that nobody has is no error.
fn found<T>(trace: Result<T, RecordsError>) -> Result<Option<T>, CliError> {
    match trace {
        Ok(trace) => Ok(Some(trace)),
        Err(RecordsError::Unknown { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// Says that neither a lot nor a batch has a name, and which names are near.
fn nobody(args: &Trace, store: &Store) -> Result<CliError, CliError> {
    let lots = store.lots()?.into_iter().map(|lot| lot.key);
    let batches = store.batches()?.into_iter().map(|batch| batch.number);
    let names: Vec<String> = lots.chain(batches).collect();
    let message = format!("no lot and no batch is called `{}`", names::name(&args.name));
    let hint = match names::nearest_names(&args.name, &names) {
        Some(near) => format!("The nearest names are {near}."),
        None => "`barwright records list lots` and `records list batches` show what there is.".to_owned(),
    };
    Ok(Fault::new("unknown-record", message).hint(hint).into())
}

/// A lot's trace as JSON.
fn lot_json(found: &LotTrace) -> Value {
    let batches = found.batches.iter().map(|one| {
        json!({
            "batch": one.batch.number,
            "formula": one.batch.formula,
            "poured_on": one.batch.poured_on.to_string(),
            "cavities": one.batch.cavities,
            "lot_mass_g": one.lot_mass_g,
            "bars": one.bars.iter().map(|kept| bars_json(&kept.record)).collect::<Vec<_>>(),
            "remarks": one.outcomes.iter().map(|kept| remark_json(&kept.record)).collect::<Vec<_>>(),
        })
    });
    json!({ "lot": found.lot.key, "like": found.lot.like, "batches": batches.collect::<Vec<_>>() })
}

/// A batch's trace as JSON.
fn batch_json(found: &BatchTrace) -> Value {
    let parts =
        found.formula.parts.iter().map(|part| json!({ "ingredient": part.ingredient, "percent": part.percent }));
    let lots = found.lots.iter().map(|one| {
        json!({
            "lot": one.lot.key,
            "like": one.lot.like,
            "mass_g": one.mass_g,
            "delivered_on": one.lot.delivered_on.map(|date| date.to_string()),
            "best_before": one.lot.best_before.map(|date| date.to_string()),
            "certificate": one.lot.certificate,
        })
    });
    json!({
        "batch": found.batch.number,
        "poured_on": found.batch.poured_on.to_string(),
        "formula": found.formula.name,
        "parts": parts.collect::<Vec<_>>(),
        "mass_g": found.batch.mass_g,
        "cavities": found.batch.cavities,
        "lots": lots.collect::<Vec<_>>(),
        "bars": found.bars.iter().map(|kept| bars_json(&kept.record)).collect::<Vec<_>>(),
        "remarks": found.outcomes.iter().map(|kept| remark_json(&kept.record)).collect::<Vec<_>>(),
        "note": found.batch.note,
    })
}

fn bars_json(bars: &Bars) -> Value {
    json!({ "first": bars.first, "last": bars.last, "went": bars.went.word(), "to": bars.to, "on": bars.on.to_string(), "note": bars.note })
}

fn remark_json(remark: &Outcome) -> Value {
    json!({ "noted_on": remark.noted_on.to_string(), "note": remark.note })
}

/// `records lot`.
fn lot(args: &LotArgs, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let library = builtin_library()?;
    let like = find(&library, &args.like, "--like")?;
    let like = library.key(like);
    let lot = Lot {
        delivered_on: args.delivered,
        best_before: args.best_before,
        certificate: args.certificate.clone(),
        delivered_g: args.mass.map(|mass_kg| 1e3 * mass_kg),
        price_per_kg: args.price,
        note: args.note.clone(),
        ..Lot::new(&args.key, like)
    };
    profile.store_to_write(streams)?.add_lot(&lot, today()?)?;
    Ok(streams.data.line(&format!("Lot {} kept: a delivery of {like}.", names::name(&args.key)))?)
}

/// `records went`.
fn went(args: &WentArgs, store: &mut Store, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let (today, on) = days(args.date)?;
    let went = match (args.sold, args.gifted) {
        (true, _) => Went::Sold,
        (_, true) => Went::Gifted,
        _ => Went::Kept,
    };
    let (first, last) = args.bars;
    let bars = Bars { batch: args.batch.clone(), first, last, went, to: args.to.clone(), on, note: args.note.clone() };
    store.add_bars(&bars, today)?;
    Ok(streams.data.line(&format!(
        "{} of batch {}: {}.",
        capital(&words::bars_words(first, last)),
        names::name(&args.batch),
        went.word()
    ))?)
}

/// `records remark`.
fn remark(args: &Remark, store: &mut Store, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let (today, noted_on) = days(args.date)?;
    let outcome = Outcome { batch: args.batch.clone(), noted_on, note: args.text.clone() };
    store.add_outcome(&outcome, today)?;
    Ok(streams.data.line(&format!("Remark on batch {} kept.", names::name(&args.batch)))?)
}

/// `records export`.
fn export(args: &Export, store: &Store, streams: &mut Streams<'_>) -> Result<(), CliError> {
    if let Some(folder) = &args.folder {
        make_folder(folder)?;
        for kind in Kind::ALL {
            let path = folder.join(file_name(kind));
            save(&path, store.export_csv(kind)?.as_bytes())?;
            streams.remarks.note(&format!("{} written into {}", kind.word(), path.display()))?;
        }
        return Ok(());
    }
    let Some(kind) = args.kind else { return Ok(()) };
    let table = store.export_csv(kind.0)?;
    match &args.out {
        Some(path) => {
            save(path, table.as_bytes())?;
            Ok(streams.remarks.note(&format!("{} written into {}", kind.0.word(), path.display()))?)
        }
        None => Ok(streams.data.as_is(&table)?),
    }
}

/// Name of the file of a kind in a folder of tables.
fn file_name(kind: Kind) -> String {
    format!("{}.csv", kind.word())
}

/// `records import`.
fn import(args: &Import, store: &mut Store, streams: &mut Streams<'_>) -> Result<(), CliError> {
    if let Some(folder) = &args.folder {
        let there: Vec<Kind> = Kind::ALL.into_iter().filter(|kind| folder.join(file_name(*kind)).exists()).collect();
        if there.is_empty() {
            let message = format!("there are no tables in `{}`", folder.display());
            let hint =
                "They are called `formulas.csv`, `lots.csv` and so on, as `records export --folder` writes them.";
            return Err(Fault::new("no-tables", message).hint(hint).into());
        }
        return there.into_iter().try_for_each(|kind| import_one(kind, &folder.join(file_name(kind)), store, streams));
    }
    match (&args.kind, &args.file) {
        (Some(kind), Some(file)) => import_one(kind.0, file, store, streams),
        _ => Ok(()),
    }
}

/// Adds the records of one table.
fn import_one(kind: Kind, file: &Path, store: &mut Store, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let (text, origin) = read_text_of(file, &RECORDS)?;
    let Imported { added, already_there } =
        store.import_csv(kind, &text, today()?).map_err(|error| not_imported(error, &origin))?;
    Ok(streams.data.line(&format!("{}: {added} added, {already_there} there already.", capital(kind.word())))?)
}

/// Says which rows of a table are at fault.
fn not_imported(error: RecordsError, origin: &str) -> CliError {
    let (faults, more) = match error {
        RecordsError::Faults { faults, more } => (faults, more),
        error => (vec![error], 0),
    };
    let mut faults: Vec<Fault> = faults
        .into_iter()
        .map(|fault| {
            let hint = fault.hint();
            let (line, message) = match fault {
                RecordsError::Table { line, what } => (Some(line), what),
                RecordsError::Row { line, source } => (Some(line), source.to_string()),
                other => (None, other.to_string()),
            };
            let at = line.and_then(|line| usize::try_from(line).ok()).map(|line| (line, 1));
            let place = Place::File { origin: origin.to_owned(), at };
            Fault { place, ..Fault::new("records", message) }.hint(hint)
        })
        .collect();
    if let Some(last) = faults.last_mut() {
        if more > 0 {
            last.hints.push(format!("There are {more} more faults."));
        }
        last.hints.push("Nothing of this table was added.".to_owned());
    }
    CliError::input(faults)
}
