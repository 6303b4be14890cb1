//! Formulas as poured.

use std::collections::HashSet;

use rusqlite::{Connection, Row, params};

use crate::error::{Stop, beginning};
use crate::query::{change_one, each, first, rows, unknown};
use crate::row::{all, label};
use crate::seal::{self, Digest, Sealing, kept, values};
use crate::{Kept, Kind, RecordsError, Store, check};

/// How far the parts may sum from 100, mass %.
const SUM_TOLERANCE_PERCENT: f64 = 0.01;
/// Shares taken, mass %.
const PERCENT: std::ops::RangeInclusive<f64> = 1e-6..=100.0;
/// What a formula is called in messages.
const WHAT: &str = "formula";
/// The columns of a formula without its parts; the digest is of all before it, and of the parts.
const SELECT: &str = "SELECT id, name, note, digest FROM formulas";

/// One ingredient of a formula as poured.
#[derive(Debug, Clone, PartialEq)]
pub struct PouredPart {
    /// Key of the ingredient or of the maker's lot, as the formula had it.
    pub ingredient: String,
    /// Share by mass, % of the whole.
    pub percent: f64,
}

/// A formula as it was poured: it stays what it was when the maker's file changes.
#[derive(Debug, Clone, PartialEq)]
pub struct PouredFormula {
    /// Name, unlike that of any other formula kept.
    pub name: String,
    /// The parts, in the order written, each ingredient once; they sum to 100 %.
    pub parts: Vec<PouredPart>,
    /// Remarks.
    pub note: Option<String>,
}

impl Store {
    /// Keeps a formula.
    ///
    /// # Arguments
    /// * `formula`: parts in mass %, summing to 100 within 0.01.
    ///
    /// # Errors
    /// [`RecordsError`]: a formula of that name is kept, a part is named twice or out of range, the parts do not sum to 100,
    /// a text is blank or too long, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{PouredFormula, PouredPart, RecordsError, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let part = PouredPart { ingredient: "beeswax".to_owned(), percent: 99.0 };
    /// let formula = PouredFormula { name: "wax bar".to_owned(), parts: vec![part], note: None };
    /// assert!(matches!(store.add_formula(&formula), Err(RecordsError::PartsSum { sum_percent: 99.0, .. })));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn add_formula(&mut self, formula: &PouredFormula) -> Result<(), RecordsError> {
        self.change(|connection| insert(connection, formula))
    }

    /// Returns the formula of that name.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`], or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let table = "formula,ingredient,percent\nhand bar,beeswax,40\nhand bar,sunflower-oil,60\n";
    /// store.import_csv(Kind::Formulas, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.formula("hand bar")?.parts[1].percent, 60.0);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn formula(&self, name: &str) -> Result<PouredFormula, RecordsError> {
        self.read(|connection| Ok(find(connection, name)?.ok_or_else(|| unknown(WHAT, name))?.record))
    }

    /// Returns every formula, in the order kept.
    ///
    /// # Errors
    /// [`RecordsError`] when the file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let table = "formula,ingredient,percent\nhand bar,beeswax,40\nhand bar,sunflower-oil,60\n";
    /// store.import_csv(Kind::Formulas, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.formulas()?.len(), 1);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn formulas(&self) -> Result<Vec<PouredFormula>, RecordsError> {
        self.read(|connection| {
            Ok(all(connection, Kind::Formulas, every)?.into_iter().map(|kept| kept.record).collect())
        })
    }
}

/// Refuses a formula that cannot be kept, whatever else is.
pub(crate) fn allow(formula: &PouredFormula) -> Result<(), RecordsError> {
    check::name("name of the formula", &formula.name)?;
    check::optional_text("note of the formula", formula.note.as_deref())?;
    let mut seen = HashSet::new();
    for part in &formula.parts {
        check::name("ingredient", &part.ingredient)?;
        check::number("share of an ingredient", part.percent, PERCENT, "mass %")?;
        if !seen.insert(part.ingredient.as_str()) {
            return Err(RecordsError::Twice { name: part.ingredient.clone(), within: formula.name.clone() });
        }
    }
    let sum_percent = formula.parts.iter().fold(0.0, |sum, part| sum + part.percent);
    if (sum_percent - 100.0).abs() > SUM_TOLERANCE_PERCENT {
        return Err(RecordsError::PartsSum { formula: formula.name.clone(), sum_percent });
    }
    Ok(())
}

/// Checks and inserts a formula.
pub(crate) fn insert(connection: &Connection, formula: &PouredFormula) -> Result<(), Stop> {
    allow(formula)?;
    let taken = first(connection, "SELECT 1 FROM formulas WHERE name = ?1", [&formula.name], |_| Ok(()))?;
    if taken.is_some() {
        return Err(RecordsError::AlreadyThere { what: WHAT, name: beginning(&formula.name) }.into());
    }
    let sql = "INSERT INTO formulas (name, note) VALUES (?1, ?2)";
    change_one(connection, Kind::Formulas, sql, params![formula.name, formula.note])?;
    let id = connection.last_insert_rowid();
    for (position, part) in (0_i64..).zip(&formula.parts) {
        let sql = "INSERT INTO formula_parts (formula_id, position, ingredient, percent) VALUES (?1, ?2, ?3, ?4)";
        change_one(connection, Kind::Formulas, sql, params![id, position, part.ingredient, part.percent])?;
    }
    seal(connection, id)
}

/// Seals the formula of that id.
pub(crate) fn seal(connection: &Connection, id: i64) -> Result<(), Stop> {
    let digest = first(connection, &format!("{SELECT} WHERE id = ?1"), [id], |row| Ok(parts(connection, row)?.0))?;
    seal::put(connection, Kind::Formulas, id, digest)
}

/// Returns the formula of that name, if there is one.
pub(crate) fn find(connection: &Connection, name: &str) -> Result<Option<Kept<PouredFormula>>, Stop> {
    first(connection, &format!("{SELECT} WHERE name = ?1"), [name], |row| read(connection, row))
}

/// Returns every formula, in the order kept, and what is wrong with those that cannot be read.
pub(crate) fn every(connection: &Connection) -> Result<Vec<Result<Kept<PouredFormula>, Stop>>, Stop> {
    each(connection, &format!("{SELECT} ORDER BY id"), |row| read(connection, row))
}

/// Reads one formula.
fn read(connection: &Connection, row: &Row<'_>) -> Result<Kept<PouredFormula>, Stop> {
    let checked = || {
        let (digest, parts) = parts(connection, row)?;
        seal::compare(&digest, kept(row.get_ref(3)?))?;
        let parts = parts.into_iter().collect::<Result<_, _>>()?;
        Ok(Kept { id: row.get(0)?, record: PouredFormula { name: row.get(1)?, parts, note: row.get(2)? } })
    };
    checked().map_err(|stop: Stop| stop.of(|| label(Kind::Formulas, row, Some(1))))
}

/// Returns the digest of a formula, and its parts in the order written.
fn parts(connection: &Connection, formula: &Row<'_>) -> Result<(Digest, Vec<Result<PouredPart, Stop>>), Stop> {
    let mut sealing = Sealing::new(Kind::Formulas);
    sealing.row(values(formula, 0..3)?);
    let sql = "SELECT position, ingredient, percent FROM formula_parts WHERE formula_id = ?1 ORDER BY position";
    let parts = rows(connection, sql, [formula.get::<_, i64>(0)?], |row| {
        sealing.row(values(row, 0..3)?);
        let part = || Ok(PouredPart { ingredient: row.get(1)?, percent: row.get(2)? });
        Ok(part())
    })?;
    Ok((sealing.end(), parts))
}
