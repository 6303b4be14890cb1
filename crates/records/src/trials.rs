//! Bench tests.

use std::ops::RangeInclusive;

use jiff::civil::Date;
use rusqlite::{Connection, Row, params};

use crate::batches::formula_id;
use crate::error::Stop;
use crate::query::{change_one, each, first, rows, unknown};
use crate::row::{all, date, figures, iso, record};
use crate::{Figures, Kept, Kind, RecordsError, Store, check, seal};

/// Days since pouring that are taken: up to a century.
const DAYS: RangeInclusive<f64> = 0.0..=36_525.0;
/// The columns, in the order [`read`] takes them; the digest is of all before it.
const SELECT: &str = "SELECT t.id, f.name, t.kind, t.figures, t.tested_on, t.days_since_pouring, t.note, t.digest \
                      FROM trials t LEFT JOIN formulas f ON f.id = t.formula_id";

/// What was tested at the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TrialKind {
    /// Melting point in an open tube.
    OpenTube,
    /// How far a needle goes in.
    Needle,
    /// How far a loaded rod goes in, on a kitchen scale.
    Rod,
    /// Whether a bar keeps its shape in the warm.
    WarmShelf,
    /// The finest feature of the mould that came out.
    Relief,
    /// Whether grain is seen.
    Grain,
}

impl TrialKind {
    /// Every kind.
    pub const ALL: [TrialKind; 6] = [
        TrialKind::OpenTube,
        TrialKind::Needle,
        TrialKind::Rod,
        TrialKind::WarmShelf,
        TrialKind::Relief,
        TrialKind::Grain,
    ];

    /// Returns the word kept and shown.
    ///
    /// ```
    /// assert_eq!(barwright_records::TrialKind::WarmShelf.word(), "warm-shelf");
    /// ```
    pub fn word(self) -> &'static str {
        match self {
            TrialKind::OpenTube => "open-tube",
            TrialKind::Needle => "needle",
            TrialKind::Rod => "rod",
            TrialKind::WarmShelf => "warm-shelf",
            TrialKind::Relief => "relief",
            TrialKind::Grain => "grain",
        }
    }

    /// Returns the kind a word names.
    ///
    /// ```
    /// use barwright_records::TrialKind;
    /// assert_eq!(TrialKind::called("rod"), Some(TrialKind::Rod));
    /// assert_eq!(TrialKind::called("taste"), None);
    /// ```
    pub fn called(word: &str) -> Option<TrialKind> {
        TrialKind::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// One bench test of a formula.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// Name of the formula; it is kept already.
    pub formula: String,
    /// What was tested.
    pub kind: TrialKind,
    /// What was set and what was seen, each with its unit in its name; what they must be is for who fits them to say.
    pub figures: Figures,
    /// Day of the test.
    pub tested_on: Date,
    /// Age of the bar at the test, days.
    pub days_since_pouring: u32,
    /// Remarks.
    pub note: Option<String>,
}

impl Store {
    /// Keeps a trial and returns its number.
    ///
    /// # Arguments
    /// * `trial`: age 0 to 36,525 days; its formula is kept already.
    /// * `today`: the caller's day; a later test is refused.
    ///
    /// # Errors
    /// [`RecordsError`]: the formula is unknown, a date in the future, an age out of range, figures or a note too long, or the
    /// file refuses.
    ///
    /// ```
    /// use barwright_records::{Figures, RecordsError, Store, Trial, TrialKind};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let today = "2026-11-25".parse()?;
    /// let trial = Trial {
    ///     formula: "never poured".to_owned(),
    ///     kind: TrialKind::OpenTube,
    ///     figures: Figures::from_iter([("melt_c".to_owned(), 54.5.into())]),
    ///     tested_on: today,
    ///     days_since_pouring: 2,
    ///     note: None,
    /// };
    /// assert!(matches!(store.add_trial(&trial, today), Err(RecordsError::Unknown { what: "formula", .. })));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn add_trial(&mut self, trial: &Trial, today: Date) -> Result<i64, RecordsError> {
        self.change(|connection| insert(connection, None, trial, today))
    }

    /// Returns the trial of that number.
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
    /// let table = "formula,kind,tested_on,days_since_pouring\nhand bar,grain,2026-11-25,5\n";
    /// store.import_csv(Kind::Trials, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.trial(1)?.days_since_pouring, 5);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn trial(&self, id: i64) -> Result<Trial, RecordsError> {
        self.read(|connection| Ok(find(connection, id)?.ok_or_else(|| unknown("trial", &id.to_string()))?.record))
    }

    /// Returns how many trials were kept after the one of a number.
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
    /// let table = "formula,kind,tested_on,days_since_pouring\nhand bar,grain,2026-11-25,5\n";
    /// store.import_csv(Kind::Trials, table, "2026-11-25".parse()?)?;
    /// assert_eq!([store.trials_after(0)?, store.trials_after(1)?], [1, 0]);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn trials_after(&self, id: i64) -> Result<u64, RecordsError> {
        let sql = "SELECT count(*) FROM trials WHERE id > ?1";
        self.read(|connection| Ok(connection.query_row(sql, [id], |row| row.get::<_, i64>(0))?.unsigned_abs()))
    }

    /// Returns every trial, or those of one formula, in the order kept.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for a formula that is not kept, or the file refuses.
    ///
    /// ```
    /// use barwright_records::{Kind, Store};
    /// let folder = tempfile::tempdir()?;
    /// let mut store = Store::open(folder.path())?;
    /// let table = "formula,ingredient,percent\nhand bar,beeswax,40\nhand bar,sunflower-oil,60\n";
    /// store.import_csv(Kind::Formulas, table, "2026-11-25".parse()?)?;
    /// let table = "formula,kind,tested_on,days_since_pouring\nhand bar,grain,2026-11-25,5\n";
    /// store.import_csv(Kind::Trials, table, "2026-11-25".parse()?)?;
    /// assert_eq!(store.trials(Some("hand bar"))?, store.trials(None)?);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn trials(&self, formula: Option<&str>) -> Result<Vec<Kept<Trial>>, RecordsError> {
        self.read(|connection| match formula {
            None => all(connection, Kind::Trials, every),
            Some(formula) => {
                let id = formula_id(connection, formula)?;
                rows(connection, &format!("{SELECT} WHERE t.formula_id = ?1 ORDER BY t.id"), [id], read)
            }
        })
    }
}

/// Refuses a trial that cannot be kept, whatever else is.
pub(crate) fn allow(trial: &Trial, today: Date) -> Result<(), RecordsError> {
    check::not_future("day of the trial", trial.tested_on, today)?;
    check::optional_text("note of the trial", trial.note.as_deref())?;
    check::number("age of the bar", f64::from(trial.days_since_pouring), DAYS, "days")?;
    figures_text(trial).map(|_| ())
}

/// Returns the figures of a trial as JSON text.
pub(crate) fn figures_text(trial: &Trial) -> Result<String, RecordsError> {
    check::figures_text("the trial", &trial.figures)
}

/// Checks and inserts a trial, under an id of its own or the next one, and returns the id.
pub(crate) fn insert(connection: &Connection, id: Option<i64>, trial: &Trial, today: Date) -> Result<i64, Stop> {
    allow(trial, today)?;
    let formula_id = formula_id(connection, &trial.formula)?;
    change_one(
        connection,
        Kind::Trials,
        "INSERT INTO trials (id, formula_id, kind, figures, tested_on, days_since_pouring, note) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![
            id,
            formula_id,
            trial.kind.word(),
            figures_text(trial)?,
            iso(trial.tested_on),
            trial.days_since_pouring,
            trial.note
        ],
    )?;
    let id = connection.last_insert_rowid();
    seal(connection, id)?;
    Ok(id)
}

/// Seals the trial of that id.
pub(crate) fn seal(connection: &Connection, id: i64) -> Result<(), Stop> {
    seal::put_row(connection, Kind::Trials, id, &format!("{SELECT} WHERE t.id = ?1"))
}

/// Returns the trial of that id, if there is one.
pub(crate) fn find(connection: &Connection, id: i64) -> Result<Option<Kept<Trial>>, Stop> {
    first(connection, &format!("{SELECT} WHERE t.id = ?1"), [id], read)
}

/// Returns every trial, in the order kept, and what is wrong with those that cannot be read.
pub(crate) fn every(connection: &Connection) -> Result<Vec<Result<Kept<Trial>, Stop>>, Stop> {
    each(connection, &format!("{SELECT} ORDER BY t.id"), read)
}

/// Reads one trial.
fn read(row: &Row<'_>) -> Result<Kept<Trial>, Stop> {
    record(Kind::Trials, row, None, |row| {
        let kind: String = row.get(2)?;
        Ok(Kept {
            id: row.get(0)?,
            record: Trial {
                formula: row.get(1)?,
                kind: TrialKind::called(&kind)
                    .ok_or_else(|| Stop::Unreadable(format!("{kind:?} is kept where the kind of a trial should be")))?,
                figures: figures(&row.get::<_, String>(3)?)?,
                tested_on: date(row, 4)?,
                days_since_pouring: row.get(5)?,
                note: row.get(6)?,
            },
        })
    })
}
