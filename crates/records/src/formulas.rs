//! Formulas as poured.

use std::collections::HashSet;

use rusqlite::{Connection, params};

use crate::error::{Stop, beginning};
use crate::row::{first, rows, unknown};
use crate::{RecordsError, Store, check};

/// How far the parts may sum from 100, mass %.
const SUM_TOLERANCE_PERCENT: f64 = 0.01;
/// Shares taken, mass %.
const PERCENT: std::ops::RangeInclusive<f64> = 1e-6..=100.0;
/// What a formula is called in messages.
const WHAT: &str = "formula";

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
        self.read(|connection| find(connection, name)?.ok_or_else(|| unknown(WHAT, name)))
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
        self.read(all)
    }
}

/// Refuses a formula that cannot be kept.
fn allow(formula: &PouredFormula) -> Result<(), RecordsError> {
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
    let sum_percent: f64 = formula.parts.iter().map(|part| part.percent).sum();
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
    connection
        .prepare_cached("INSERT INTO formulas (name, note) VALUES (?1, ?2)")?
        .execute(params![formula.name, formula.note])?;
    let id = connection.last_insert_rowid();
    let mut statement = connection.prepare_cached(
        "INSERT INTO formula_parts (formula_id, position, ingredient, percent) VALUES (?1, ?2, ?3, ?4)",
    )?;
    for (position, part) in (0_i64..).zip(&formula.parts) {
        statement.execute(params![id, position, part.ingredient, part.percent])?;
    }
    Ok(())
}

/// Returns the formula of that name, if there is one.
pub(crate) fn find(connection: &Connection, name: &str) -> Result<Option<PouredFormula>, Stop> {
    let sql = "SELECT id, note FROM formulas WHERE name = ?1";
    let Some((id, note)) = first(connection, sql, [name], |row| Ok((row.get(0)?, row.get(1)?)))? else {
        return Ok(None);
    };
    Ok(Some(PouredFormula { name: name.to_owned(), parts: parts(connection, id)?, note }))
}

/// Returns every formula, in the order kept.
pub(crate) fn all(connection: &Connection) -> Result<Vec<PouredFormula>, Stop> {
    let heads: Vec<(i64, String, Option<String>)> =
        rows(connection, "SELECT id, name, note FROM formulas ORDER BY id", [], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })?;
    heads.into_iter().map(|(id, name, note)| Ok(PouredFormula { name, parts: parts(connection, id)?, note })).collect()
}

/// Returns the parts of a formula, in the order written.
fn parts(connection: &Connection, id: i64) -> Result<Vec<PouredPart>, Stop> {
    let sql = "SELECT ingredient, percent FROM formula_parts WHERE formula_id = ?1 ORDER BY position";
    rows(connection, sql, [id], |row| Ok(PouredPart { ingredient: row.get(0)?, percent: row.get(1)? }))
}
