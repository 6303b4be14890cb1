//! Brings a file to the newest version.

use rusqlite::{Connection, TransactionBehavior};

use crate::error::Stop;
use crate::query::rows;
use crate::schema::{APPLICATION_ID, newest, version};
use crate::sound::pages;
use crate::{Kind, bars, batches, formulas, lots, outcomes, trials};

/// The first version whose records have digests.
const SEALED_SINCE: i64 = 2;

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
    let reached = newest(steps).max(found);
    // After the last step, because readers know no other columns than those of the newest version.
    if found < SEALED_SINCE && reached >= SEALED_SINCE {
        // What is damaged already is not to be sealed as if it had been kept so.
        if let Some(what) = pages(&transaction)?.words() {
            return Err(Stop::Unreadable(what));
        }
        seal_all(&transaction)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", reached)?;
    Ok(transaction.commit()?)
}

/// Seals every record of a file that had no digests.
pub(crate) fn seal_all(connection: &Connection) -> Result<(), Stop> {
    for kind in Kind::ALL {
        let seal = match kind {
            Kind::Formulas => formulas::seal,
            Kind::Lots => lots::seal,
            Kind::Batches => batches::seal,
            Kind::Bars => bars::seal,
            Kind::Trials => trials::seal,
            Kind::Outcomes => outcomes::seal,
        };
        let ids = rows(connection, &format!("SELECT id FROM {} ORDER BY id", kind.word()), [], |row| Ok(row.get(0)?))?;
        ids.into_iter().try_for_each(|id| seal(connection, id))?;
    }
    Ok(())
}
