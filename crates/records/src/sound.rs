//! Whether all that is kept is sound.

use std::collections::HashMap;

use jiff::civil::Date;
use rusqlite::Connection;

use crate::error::Stop;
use crate::{
    Bars, Batch, Kept, Kind, RecordsError, Store, Went, bars, batches, formulas, lots, outcomes, schema, seal, trials,
};

/// Findings that are told.
const MAX_FINDINGS: usize = 5;

/// What a check went through; all of it is sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// How many records of each kind there are, in the order of [`Kind::ALL`].
    pub records: Vec<(Kind, u64)>,
    /// How many parts the formulas have together.
    pub parts: usize,
    /// How many lots were weighed into the batches.
    pub weighed_in: usize,
}

impl Store {
    /// Reads every page, every reference and every record, and says whether all of it is sound.
    ///
    /// Each record must be what was kept (its digest is beside it), none may be missing, each must be one that would be taken
    /// today, and the file must have the tables and indexes barwright makes and nothing else.
    ///
    /// # Arguments
    /// * `today`: the caller's day; a record of a later one is not sound.
    ///
    /// # Returns
    /// What was gone through.
    ///
    /// # Errors
    /// [`RecordsError::Damaged`] with the first findings, [`RecordsError::Schema`]; or a refusal of the system.
    ///
    /// ```
    /// use barwright_records::{Kind, Lot, Store};
    /// let folder = tempfile::tempdir()?;
    /// let (mut store, today) = (Store::open(folder.path())?, "2026-11-25".parse()?);
    /// store.add_lot(&Lot::new("spring wax", "beeswax"), today)?;
    /// assert_eq!(store.check(today)?.records[1], (Kind::Lots, 1));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn check(&self, today: Date) -> Result<Checked, RecordsError> {
        self.examined(Some(today))
    }

    /// Says whether all that is there is what was kept and none of it is missing, whatever it says: to be asked before an answer
    /// that must leave nothing out.
    ///
    /// # Errors
    /// As [`Store::check`], but for records that would not be taken today.
    ///
    /// ```
    /// let folder = tempfile::tempdir()?;
    /// barwright_records::Store::open(folder.path())?.check_complete()?;
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn check_complete(&self) -> Result<(), RecordsError> {
        self.examined(None).map(|_| ())
    }

    /// Goes through the file, by the rules for new records as well where a day is given.
    fn examined(&self, today: Option<Date>) -> Result<Checked, RecordsError> {
        self.read(|connection| {
            schema::compare(connection, self.steps, &self.path)?;
            match examine(connection, today)? {
                Ok(checked) => Ok(checked),
                Err(what) => Err(Stop::Unreadable(what)),
            }
        })
    }
}

/// What was found wrong: the first few, and how many more.
#[derive(Debug, Default)]
pub(crate) struct Findings {
    told: Vec<String>,
    more: usize,
}

impl Findings {
    fn add(&mut self, finding: String) {
        if self.told.len() < MAX_FINDINGS {
            self.told.push(finding);
        } else {
            self.more += 1;
        }
    }

    /// Takes what is wrong with something that was read; a refusal of the system is no finding.
    fn take<T>(&mut self, read: Result<T, Stop>) -> Result<Option<T>, Stop> {
        match read {
            Ok(read) => Ok(Some(read)),
            Err(Stop::Unreadable(what)) => {
                self.add(what);
                Ok(None)
            }
            Err(stop) => Err(stop),
        }
    }

    /// Takes what is wrong with a record by the rules.
    fn judge(&mut self, label: impl FnOnce() -> String, allowed: Result<(), RecordsError>) {
        if let Err(error) = allowed {
            self.add(format!("{}: {error}", label()));
        }
    }

    /// Returns the findings in words, if there are any.
    pub(crate) fn words(self) -> Option<String> {
        let more = if self.more > 0 { format!("; and {} more", self.more) } else { String::new() };
        (!self.told.is_empty()).then(|| format!("{}{more}", self.told.join("; ")))
    }
}

/// Goes through a whole file and returns what there is, or in words what is wrong with it.
///
/// # Arguments
/// * `today`: by whose day the rules for new records are held against those kept; without it only what was kept counts.
pub(crate) fn examine(connection: &Connection, today: Option<Date>) -> Result<Result<Checked, String>, Stop> {
    if let Some(what) = pages(connection)?.words() {
        // Records of a file whose pages are not sound are not worth reading.
        return Ok(Err(what));
    }
    let mut findings = Findings::default();
    let mut records = Vec::new();
    for kind in Kind::ALL {
        let count = findings.take(seal::complete(connection, kind))?;
        records.push((kind, count.unwrap_or_default()));
    }
    let formulas = every(formulas::every(connection)?, &mut findings)?;
    let lots = every(lots::every(connection)?, &mut findings)?;
    let batches = every(batches::every(connection)?, &mut findings)?;
    let bars = every(bars::every(connection)?, &mut findings)?;
    let trials = every(trials::every(connection)?, &mut findings)?;
    let outcomes = every(outcomes::every(connection)?, &mut findings)?;
    if let Some(today) = today {
        let named = |kind: Kind, name: &str, id: i64| format!("{} {name:?} (record {id})", kind.one());
        let numbered = |kind: Kind, id: i64| format!("{} {id}", kind.one());
        for Kept { id, record } in &formulas {
            findings.judge(|| named(Kind::Formulas, &record.name, *id), formulas::allow(record));
        }
        for Kept { id, record } in &lots {
            findings.judge(|| named(Kind::Lots, &record.key, *id), lots::allow(record, today));
        }
        for Kept { id, record } in &batches {
            findings.judge(|| named(Kind::Batches, &record.number, *id), batches::allow(record, today));
        }
        for Kept { id, record } in &bars {
            findings.judge(|| numbered(Kind::Bars, *id), bars::allow(record, today));
        }
        for Kept { id, record } in &trials {
            findings.judge(|| numbered(Kind::Trials, *id), trials::allow(record, today));
        }
        for Kept { id, record } in &outcomes {
            findings.judge(|| numbered(Kind::Outcomes, *id), outcomes::allow(record, today));
        }
        whereabouts(&batches, &bars, &mut findings);
    }
    let parts = formulas.iter().map(|kept| kept.record.parts.len()).sum();
    let weighed_in = batches.iter().map(|kept| kept.record.lots.len()).sum();
    Ok(findings.words().map_or(Ok(Checked { records, parts, weighed_in }), Err))
}

/// Returns the records that could be read; the others are findings.
fn every<T>(records: Vec<Result<T, Stop>>, findings: &mut Findings) -> Result<Vec<T>, Stop> {
    let mut read = Vec::with_capacity(records.len());
    for record in records {
        read.extend(findings.take(record)?);
    }
    Ok(read)
}

/// Reads every page, index and reference, whatever the records say.
pub(crate) fn pages(connection: &Connection) -> Result<Findings, Stop> {
    let mut findings = Findings::default();
    let mut statement = connection.prepare(&format!("PRAGMA integrity_check({MAX_FINDINGS})"))?;
    for finding in statement.query_map([], |row| row.get::<_, String>(0))? {
        let finding = finding?;
        if finding != "ok" {
            findings.add(finding);
        }
    }
    let mut statement = connection.prepare("PRAGMA foreign_key_check")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let (table, parent): (String, String) = (row.get(0)?, row.get(2)?);
        findings.add(format!("a row of {table} refers to a row of {parent} that is not there"));
    }
    Ok(findings)
}

/// Holds where bars went against their batches and each other. A bar is sold or gifted once; whether it was kept back before or
/// after that the numbers of imported entries do not say.
fn whereabouts(batches: &[Kept<Batch>], bars: &[Kept<Bars>], findings: &mut Findings) {
    let by_number: HashMap<&str, &Batch> =
        batches.iter().map(|kept| (kept.record.number.as_str(), &kept.record)).collect();
    let mut gone: HashMap<&str, Vec<&Kept<Bars>>> = HashMap::new();
    for kept in bars {
        // A batch that could not be read is a finding of its own.
        if let Some(batch) = by_number.get(kept.record.batch.as_str()) {
            let label = || format!("{} {}", Kind::Bars.one(), kept.id);
            findings.judge(label, bars::allow_of_batch(&kept.record, batch));
        }
        if kept.record.went != Went::Kept {
            gone.entry(kept.record.batch.as_str()).or_default().push(kept);
        }
    }
    let mut gone: Vec<_> = gone.into_values().collect();
    gone.sort_by_key(|entries| entries.first().map(|kept| kept.id));
    for entries in &mut gone {
        entries.sort_by_key(|kept| kept.record.first);
        for pair in entries.windows(2) {
            if let [before, after] = pair
                && after.record.first <= before.record.last
            {
                findings.add(format!("{} {}: {}", Kind::Bars.one(), after.id, bars::gone(&before.record)));
            }
        }
    }
}

#[cfg(test)]
mod tests;
