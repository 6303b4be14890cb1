//! The tables, one step of SQL for each version.

use rusqlite::{Connection, TransactionBehavior};

use crate::error::Stop;

/// Marks a database as barwright's records (`BWRC` in ASCII), in its header.
pub(crate) const APPLICATION_ID: i64 = 0x4257_5243;

/// What makes each version out of the one before; a step once released never changes.
pub(crate) const STEPS: &[&str] = &[FIRST];

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

/// Returns the newest version a list of steps leads to.
pub(crate) fn newest(steps: &[&str]) -> i64 {
    i64::try_from(steps.len()).unwrap_or(i64::MAX)
}

/// Returns the version of a database; 0 before the first step.
pub(crate) fn version(connection: &Connection) -> Result<i64, Stop> {
    Ok(connection.pragma_query_value(None, "user_version", |row| row.get(0))?)
}

/// Takes the steps a database still lacks, all of them or none.
///
/// The version is read again once nobody else can write: another command may just have done the same.
pub(crate) fn migrate(connection: &mut Connection, steps: &[&str]) -> Result<(), Stop> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let found = version(&transaction)?;
    let done = usize::try_from(found).unwrap_or_default();
    for step in steps.iter().skip(done) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", newest(steps).max(found))?;
    Ok(transaction.commit()?)
}
