//! Statements: the one way a row is written, and rows read one by one.

use rusqlite::{Connection, Params, Row};

use crate::error::{Stop, beginning};
use crate::{Kind, RecordsError};

/// Runs a statement that puts in, or changes, exactly one row.
pub(crate) fn change_one(connection: &Connection, kind: Kind, sql: &str, parameters: impl Params) -> Result<(), Stop> {
    match connection.prepare_cached(sql)?.execute(parameters)? {
        1 => Ok(()),
        changed => Err(RecordsError::NotKept { kind: kind.word(), changed }.into()),
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
    RecordsError::Unknown { what, name: beginning(name) }.into()
}
