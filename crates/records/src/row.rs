//! Reading what is kept back into what it was.

use jiff::civil::Date;
use rusqlite::{Connection, Row};

use crate::error::{Stop, beginning};
use crate::{Figures, Kind, seal};

/// Reads a record of one row: the first column is its number, the last one its digest. Whatever is wrong names the record.
///
/// # Arguments
/// * `name`: column of its name, if it has one.
pub(crate) fn record<T>(
    kind: Kind,
    row: &Row<'_>,
    name: Option<usize>,
    read: impl FnOnce(&Row<'_>) -> Result<T, Stop>,
) -> Result<T, Stop> {
    let digest = row.as_ref().column_count().saturating_sub(1);
    let checked = || {
        seal::compare(&seal::of_row(kind, row)?, seal::kept(row.get_ref(digest)?))?;
        read(row)
    };
    checked().map_err(|stop| stop.of(|| label(kind, row, name)))
}

/// What a record is called when something is wrong with it: its name, if that can be read, and its number.
pub(crate) fn label(kind: Kind, row: &Row<'_>, name: Option<usize>) -> String {
    let number = row.get_ref(0).ok().and_then(|id| id.as_i64().ok());
    let number = number.map_or("of no number".to_owned(), |number| number.to_string());
    let text = name.and_then(|column| row.get_ref(column).ok()?.as_str().ok());
    match text {
        Some(text) => format!("{} {:?} (record {number})", kind.one(), beginning(text)),
        None => format!("{} {number}", kind.one()),
    }
}

/// Returns every record of a kind, in the order kept, once sure that none changed and none is missing.
pub(crate) fn all<T>(
    connection: &Connection,
    kind: Kind,
    every: impl FnOnce(&Connection) -> Result<Vec<Result<T, Stop>>, Stop>,
) -> Result<Vec<T>, Stop> {
    let records = every(connection)?.into_iter().collect::<Result<_, _>>()?;
    seal::complete(connection, kind)?;
    Ok(records)
}

/// Reads the date in a column.
pub(crate) fn date(row: &Row<'_>, column: usize) -> Result<Date, Stop> {
    optional_date(row, column)?.ok_or_else(|| Stop::Unreadable("nothing is kept where a date should be".to_owned()))
}

/// Reads the date in a column, which may be missing.
pub(crate) fn optional_date(row: &Row<'_>, column: usize) -> Result<Option<Date>, Stop> {
    let unreadable = |what: &str| Stop::Unreadable(format!("{what} is kept where a date should be"));
    let text = row.get_ref(column)?.as_str_or_null().map_err(|_| unreadable("no text"))?;
    text.map(|text| text.parse().map_err(|_| unreadable(&format!("{text:?}")))).transpose()
}

/// Reads figures.
pub(crate) fn figures(text: &str) -> Result<Figures, Stop> {
    serde_json::from_str(text).map_err(|error| Stop::Unreadable(format!("kept figures cannot be read: {error}")))
}

/// Returns a date as ISO 8601 text.
pub(crate) fn iso(date: Date) -> String {
    date.to_string()
}
