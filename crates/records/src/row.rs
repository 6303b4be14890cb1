//! Reading what is kept back into what it was.

use jiff::civil::Date;
use rusqlite::{Connection, Params, Row};

use crate::error::Stop;
use crate::{Figures, RecordsError};

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
