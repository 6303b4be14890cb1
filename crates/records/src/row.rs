//! Reading what is kept back into what it was, and the one way a row is written.

use jiff::civil::Date;
use rusqlite::{Connection, Params, Row};

use crate::error::{Stop, beginning};
use crate::{Figures, Kind, RecordsError, seal};

/// Runs a statement that puts in, or changes, exactly one row.
pub(crate) fn change_one(connection: &Connection, kind: Kind, sql: &str, parameters: impl Params) -> Result<(), Stop> {
    match connection.prepare_cached(sql)?.execute(parameters)? {
        1 => Ok(()),
        changed => Err(RecordsError::NotKept { kind: kind.word(), changed }.into()),
    }
}

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

/// Runs a statement and reads each of its rows.
pub(crate) fn rows<T>(
    connection: &Connection,
    sql: &str,
    parameters: impl Params,
    mut read: impl FnMut(&Row<'_>) -> Result<T, Stop>,
) -> Result<Vec<T>, Stop> {
    let mut statement = connection.prepare_cached(sql)?;
    let mut rows = statement.query(parameters)?;
    let mut answers = Vec::new();
    while let Some(row) = rows.next()? {
        answers.push(read(row)?);
    }
    Ok(answers)
}

/// Runs a statement and reads each of its rows; what is wrong with one of them does not keep the others from being read.
pub(crate) fn each<T>(
    connection: &Connection,
    sql: &str,
    read: impl Fn(&Row<'_>) -> Result<T, Stop>,
) -> Result<Vec<Result<T, Stop>>, Stop> {
    rows(connection, sql, [], |row| Ok(read(row)))
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

/// Runs a statement and reads its first row, if it has one.
pub(crate) fn first<T>(
    connection: &Connection,
    sql: &str,
    parameters: impl Params,
    read: impl FnOnce(&Row<'_>) -> Result<T, Stop>,
) -> Result<Option<T>, Stop> {
    let mut statement = connection.prepare_cached(sql)?;
    let mut rows = statement.query(parameters)?;
    rows.next()?.map(read).transpose()
}

/// Returns the id behind a name, or that there is none.
pub(crate) fn id_of(connection: &Connection, sql: &str, what: &'static str, name: &str) -> Result<i64, Stop> {
    let found = first(connection, sql, [name], |row| Ok(row.get(0)?))?;
    found.ok_or_else(|| unknown(what, name))
}

/// Says that no record has this name.
pub(crate) fn unknown(what: &'static str, name: &str) -> Stop {
    RecordsError::Unknown { what, name: crate::error::beginning(name) }.into()
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
