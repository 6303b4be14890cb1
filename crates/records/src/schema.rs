//! The tables, one step of SQL for each version, and whether a file has them and nothing else.

use std::collections::BTreeMap;
use std::path::Path;

use rusqlite::Connection;

use crate::RecordsError;
use crate::error::{SchemaFault, Stop};
use crate::query::rows;

/// Marks a database as barwright's records (`BWRC` in ASCII), in its header.
pub(crate) const APPLICATION_ID: i64 = 0x4257_5243;

/// What makes each version out of the one before; a step once released never changes.
pub(crate) const STEPS: &[&str] = &[FIRST, SECOND, THIRD];

/// Version 1.
const FIRST: &str = "
CREATE TABLE formulas (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    note TEXT
) STRICT;

CREATE TABLE formula_parts (
    formula_id INTEGER NOT NULL REFERENCES formulas (id),
    position INTEGER NOT NULL,
    ingredient TEXT NOT NULL,
    percent REAL NOT NULL CHECK (percent > 0 AND percent <= 100),
    PRIMARY KEY (formula_id, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE lots (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    like_ingredient TEXT NOT NULL,
    delivered_on TEXT,
    best_before TEXT,
    certificate TEXT,
    figures TEXT NOT NULL CHECK (json_type(figures) = 'object'),
    price_per_kg REAL CHECK (price_per_kg >= 0),
    nut_origin TEXT,
    flash_c REAL,
    note TEXT
) STRICT;

CREATE TABLE batches (
    id INTEGER PRIMARY KEY,
    number TEXT NOT NULL UNIQUE,
    formula_id INTEGER NOT NULL REFERENCES formulas (id),
    poured_on TEXT NOT NULL,
    mass_g REAL NOT NULL CHECK (mass_g > 0),
    cavities INTEGER CHECK (cavities > 0),
    note TEXT
) STRICT;
CREATE INDEX batches_of_formula ON batches (formula_id);

CREATE TABLE batch_lots (
    batch_id INTEGER NOT NULL REFERENCES batches (id),
    position INTEGER NOT NULL,
    lot_id INTEGER NOT NULL REFERENCES lots (id),
    mass_g REAL NOT NULL CHECK (mass_g > 0),
    PRIMARY KEY (batch_id, position)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX batches_of_lot ON batch_lots (lot_id, batch_id);

CREATE TABLE bars (
    id INTEGER PRIMARY KEY,
    batch_id INTEGER NOT NULL REFERENCES batches (id),
    first_bar INTEGER NOT NULL CHECK (first_bar > 0),
    last_bar INTEGER NOT NULL CHECK (last_bar >= first_bar),
    went TEXT NOT NULL CHECK (went IN ('sold', 'gifted', 'kept')),
    went_to TEXT,
    went_on TEXT NOT NULL,
    note TEXT
) STRICT;
CREATE INDEX bars_of_batch ON bars (batch_id, first_bar);

CREATE TABLE trials (
    id INTEGER PRIMARY KEY,
    formula_id INTEGER NOT NULL REFERENCES formulas (id),
    kind TEXT NOT NULL,
    figures TEXT NOT NULL CHECK (json_type(figures) = 'object'),
    tested_on TEXT NOT NULL,
    days_since_pouring INTEGER NOT NULL CHECK (days_since_pouring >= 0),
    note TEXT
) STRICT;
CREATE INDEX trials_of_formula ON trials (formula_id);

CREATE TABLE outcomes (
    id INTEGER PRIMARY KEY,
    batch_id INTEGER NOT NULL REFERENCES batches (id),
    noted_on TEXT NOT NULL,
    note TEXT NOT NULL
) STRICT;
CREATE INDEX outcomes_of_batch ON outcomes (batch_id);
";

/// Version 2: digests (see [`crate::seal`]); those of older records are put in once all steps are taken.
const SECOND: &str = "
ALTER TABLE formulas ADD COLUMN digest BLOB;
ALTER TABLE lots ADD COLUMN digest BLOB;
ALTER TABLE batches ADD COLUMN digest BLOB;
ALTER TABLE bars ADD COLUMN digest BLOB;
ALTER TABLE trials ADD COLUMN digest BLOB;
ALTER TABLE outcomes ADD COLUMN digest BLOB;
CREATE TABLE seals (
    kind TEXT PRIMARY KEY,
    records INTEGER NOT NULL,
    digest BLOB NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO seals (kind, records, digest) VALUES
    ('formulas', 0, zeroblob(32)),
    ('lots', 0, zeroblob(32)),
    ('batches', 0, zeroblob(32)),
    ('bars', 0, zeroblob(32)),
    ('trials', 0, zeroblob(32)),
    ('outcomes', 0, zeroblob(32));
";

/// Version 3: how much came of a lot.
const THIRD: &str = "ALTER TABLE lots ADD COLUMN delivered_g REAL CHECK (delivered_g > 0);";

/// Returns the newest version a list of steps leads to.
pub(crate) fn newest(steps: &[&str]) -> i64 {
    i64::try_from(steps.len()).unwrap_or(i64::MAX)
}

/// Returns the version of a database; 0 before the first step.
pub(crate) fn version(connection: &Connection) -> Result<i64, Stop> {
    Ok(connection.pragma_query_value(None, "user_version", |row| row.get(0))?)
}

/// What a database is made of: the text of everything in it, by its kind and name.
type Objects = BTreeMap<(String, String), String>;

/// Refuses a database that has not exactly the tables and indexes of a version: a trigger can swallow a record, a view can
/// show others.
///
/// # Arguments
/// * `steps`: those of its version, all of them.
pub(crate) fn compare(connection: &Connection, steps: &[&str], path: &Path) -> Result<(), Stop> {
    let made = Connection::open_in_memory()?;
    steps.iter().try_for_each(|step| made.execute_batch(step))?;
    let (due, found) = (objects(&made)?, objects(connection)?);
    let fault = |(kind, name): &(String, String), fault| {
        Err(RecordsError::Schema { path: path.to_owned(), object: format!("{kind} `{name}`"), fault }.into())
    };
    // Tables first: without one its indexes are gone as well.
    let (tables, others): (Vec<_>, Vec<_>) = due.iter().partition(|(object, _)| object.0 == TABLE);
    for (object, text) in tables.into_iter().chain(others) {
        let added = || found.keys().find(|other| other.1 == object.1 && !due.contains_key(*other));
        match (found.get(object), added()) {
            (Some(seen), _) if seen == text => {}
            (Some(_), _) => return fault(object, SchemaFault::Changed),
            (None, Some((by, _))) => return fault(object, SchemaFault::Replaced { by: by.clone() }),
            (None, None) => return fault(object, SchemaFault::Missing),
        }
    }
    found.keys().find(|object| !due.contains_key(*object)).map_or(Ok(()), |object| fault(object, SchemaFault::Added))
}

/// What the database calls a table.
const TABLE: &str = "table";

/// Returns what a database is made of; statistics that SQLite keeps for itself are left out.
fn objects(connection: &Connection) -> Result<Objects, Stop> {
    let sql = "SELECT name, type, tbl_name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite\\_stat%' ESCAPE '\\'";
    let objects = rows(connection, sql, [], |row| {
        let (table, text): (String, Option<String>) = (row.get(2)?, row.get(3)?);
        Ok(((row.get(1)?, row.get(0)?), format!("{table}: {}", plain(&text.unwrap_or_default()))))
    })?;
    Ok(objects.into_iter().collect())
}

/// Returns a statement with one blank between two words and none elsewhere: other versions of SQLite may put others where a
/// column was added.
fn plain(sql: &str) -> String {
    let is_word = |letter: char| letter.is_alphanumeric() || letter == '_';
    let (mut plain, mut quote, mut blank) = (String::with_capacity(sql.len()), None, false);
    for letter in sql.chars() {
        if quote.is_none() && letter.is_whitespace() {
            blank = true;
            continue;
        }
        if std::mem::take(&mut blank) && plain.ends_with(is_word) && is_word(letter) {
            plain.push(' ');
        }
        plain.push(letter);
        match quote {
            Some(open) if open == letter => quote = None,
            None if matches!(letter, '\'' | '"' | '`') => quote = Some(letter),
            _ => {}
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::plain;

    #[test]
    fn blanks_count_between_two_words_and_in_quotes_only() {
        for (written, meant) in [
            ("  a  b_1\n( c_ ,\t_d  e )\r\n", "a b_1(c_,_d e)"),
            ("x  IN ( 'a  b' , 'c' )", "x IN('a  b','c')"),
            ("\"it's  so\"  AS  `a \" b`  ,  c", "\"it's  so\"AS`a \" b`,c"),
            ("müll  é", "müll é"),
            ("CHECK (length_m>0)", "CHECK(length_m>0)"),
        ] {
            assert_eq!(plain(written), meant, "{written:?}");
        }
        assert_ne!(plain("not null"), plain("notnull"));
    }
}
