//! Predictions against published measurements: how far to trust the figures.

use barwright_blend::assess::DEFAULT_DRAWS;
use barwright_calibration::published::group::Group;
use barwright_calibration::published::score::{Errors, Row};
use barwright_calibration::published::{Report, RowFault, Status, Use, before, measurement, predict, samples, score};
use barwright_reference::Library;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::document::{Block, Document, Kind, Table};
use crate::engine::Engine;
use crate::picture::measured;
use crate::refusal::{Fault, Place, Refusal};
use crate::words::names::{capital, count};
use crate::words::number::{interval, signed, significant};

/// Name of the built-in table of measurements.
const BUILTIN_NAME: &str = "data/validation/measurements.csv";

/// Columns of the tables of errors.
const COLUMNS: [&str; 12] =
    ["n", "bias", "mean", "RMSE", "was", "95 %", "worst", "in, %", "+ test, %", "width", "×2, %", "bounds"];

/// What stands in each of [`COLUMNS`].
const LEGEND: &str = "Columns: point values; mean error, prediction less measurement; mean absolute error; root mean square \
    error ± its standard error, and what it was for the same rows before this round of work; 95th percentile of the absolute \
    error, and the largest; share inside the 90 % interval; the same when the error of the published value counts too; mean \
    width of that interval; share within a factor of 2; published bounds kept. An ln ratio of 0.69 is a factor of 2. A wide \
    interval is easily right: look at its width, too.";

/// Statuses of unseen values, each with the heading of its errors.
const UNSEEN: [(Status, &str); 3] = [
    (Status::Read, "Unseen, read in the publication: no parameter was fitted and no table set with these in view"),
    (Status::Recalled, "Unseen, quoted from memory"),
    (Status::Logged, "Unseen, from the log of a plant"),
];

/// Uses of the other values, each with the heading of its errors.
const OTHERS: [(Use, &str); 3] = [
    (
        Use::InView,
        "Set in view: no parameter was fitted on these, but a figure of the tables was set with them in view",
    ),
    (Use::Fit, "Fitting rows: parameters may be set on these"),
    (Use::Apart, "Apart: doubtful figures and supercooled oils, outside what the model claims"),
];

/// How far are the predictions from measurements?
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Validate {
    /// The measurements; without them, the built-in ones.
    pub table: Option<Measurements>,
    /// Simulated draws behind each interval.
    pub draws: usize,
    /// Whether to list every row.
    pub rows: bool,
    /// Whether to draw measured against predicted values.
    pub picture: bool,
}

/// A table of measurements.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Measurements {
    /// Its name in refusals.
    pub name: String,
    /// Its text, with the columns of the built-in table.
    pub text: String,
}

impl Default for Validate {
    fn default() -> Self {
        Validate { table: None, draws: DEFAULT_DRAWS, rows: false, picture: false }
    }
}

/// Answers [`Validate`].
///
/// # Errors
/// Every faulty row of the table.
pub fn validate(engine: &Engine, asked: &Validate) -> Result<Answered<Report>, Refusal> {
    let library = with_samples(&engine.library)?;
    let (name, text) = match &asked.table {
        Some(table) => (table.name.as_str(), table.text.as_str()),
        None => (BUILTIN_NAME, measurement::BUILTIN),
    };
    let table = measurement::read(text, &library).map_err(|faults| refuse(&faults, name))?;
    let scored = predict(&library, &engine.model.parameters, &table, asked.draws)
        .map_err(|error| Refusal::internal(error.to_string()))?;
    let mut report = score(&table, &scored);
    if asked.table.is_none() {
        let before = before::read(before::BUILTIN).map_err(|error| Refusal::internal(error.to_string()))?;
        before::set_beside(&mut report, &before);
    }
    let document = document(&report, asked.rows);
    let picture = asked.picture.then(|| measured::picture(&report));
    Ok(Answered { figures: report, document, picture })
}

/// The library with the samples of the publications.
fn with_samples(library: &Library) -> Result<Library, Refusal> {
    samples::with_samples(library).map_err(|faults| {
        let faults: Vec<String> = faults.into_iter().map(|fault| fault.message).collect();
        Refusal::internal(faults.join("; "))
    })
}

/// Every faulty row, with its line.
fn refuse(faults: &[RowFault], name: &str) -> Refusal {
    let fault = |fault: &RowFault| {
        let at = usize::try_from(fault.line).ok().map(|line| (line, 1));
        Fault { place: Place::File { origin: name.to_owned(), at }, ..Fault::new("measurement", &fault.what) }
    };
    Refusal::input(faults.iter().map(fault).collect())
}

/// Puts a score into words: how many values lie inside their intervals, errors by group, rank correlations, the worst rows.
fn document(report: &Report, every_row: bool) -> Document {
    let inside = |status: Status| {
        let errors = report.unseen_by_status.iter().filter(move |one| one.status == Some(status));
        errors.fold((0, 0.0), |(points, inside), one| {
            (points + one.points, inside + one.inside_share * one.points as f64)
        })
    };
    let ((points, within), (quoted, quoted_within)) = (inside(Status::Read), inside(Status::Recalled));
    let decisive = format!(
        "Of {points} unseen values read in their publication, {within:.0} lie inside their 90 % interval; of {quoted} quoted \
         from memory, {quoted_within:.0}."
    );
    let left_out = match report.left_out.len() {
        0 => None,
        rows => {
            Some(format!("{}, each with its reason in the table.", count(rows, "row is left out", "rows are left out")))
        }
    };
    let mut document = Document::new("Predictions against published measurements", "")
        .lead([Block::said(std::iter::once(decisive).chain(left_out)), Block::Small(LEGEND.to_owned())]);
    let unseen = UNSEEN.into_iter().map(|(status, heading)| {
        (heading, report.unseen_by_status.iter().filter(|one| one.status == Some(status)).collect::<Vec<_>>())
    });
    let others = OTHERS.into_iter().map(|(use_as, heading)| {
        (heading, report.errors.iter().filter(|one| one.use_as == use_as).collect::<Vec<_>>())
    });
    for (heading, errors) in unseen.chain(others).filter(|(_, errors)| !errors.is_empty()) {
        document = document.section(heading, [Block::Table(errors_table(&errors))]);
    }
    if !report.rankings.is_empty() {
        document = document.section("Order of firmness inside one study", [Block::Table(rankings_table(report))]);
    }
    let worst = "The worst rows, by error over the usual error of their group";
    document = document.section(worst, [Block::Table(rows_table(&report.worst))]);
    if every_row { document.section("Every row", [Block::Table(rows_table(&report.rows))]) } else { document }
}

/// Errors of groups of rows.
fn errors_table(errors: &[&Errors]) -> Table {
    let row = |one: &&Errors| {
        let any = one.points > one.without_prediction;
        let number = |value: f64| if any { significant(value, 2) } else { "–".to_owned() };
        let share = |value: f64| if any { format!("{:.0}", 100.0 * value) } else { "–".to_owned() };
        [
            format!("{}, {}", one.group.words(), one.group.unit()),
            one.points.to_string(),
            number(one.bias),
            number(one.mean_absolute),
            if one.rmse_error > 0.0 {
                format!("{} ± {}", number(one.rmse), significant(one.rmse_error, 1))
            } else {
                number(one.rmse)
            },
            one.rmse_before.map_or_else(String::new, |rmse| significant(rmse, 2)),
            number(one.p95),
            number(one.largest),
            share(one.inside_share),
            share(one.inside_with_test_share),
            number(one.mean_width),
            one.within_factor_two.map_or_else(String::new, share),
            if one.bounds == 0 { String::new() } else { format!("{}/{}", one.bounds_kept, one.bounds) },
        ]
    };
    Table::new("").columns(Kind::Words, ["what"]).columns(Kind::Number, COLUMNS).rows(errors.iter().map(row))
}

/// Rank correlations by study.
fn rankings_table(report: &Report) -> Table {
    let use_words = |use_as| match use_as {
        Use::Fit => "fit",
        Use::Unseen => "unseen",
        Use::InView => "set in view",
        Use::Apart => "apart",
        Use::LeftOut => "left out",
    };
    let rows = report.rankings.iter().map(|one| {
        [one.study.clone(), use_words(one.use_as).to_owned(), one.formulas.to_string(), format!("{:.2}", one.spearman)]
    });
    Table::new("")
        .columns(Kind::Words, ["study", "rows"])
        .columns(Kind::Number, ["formulas", "rank correlation"])
        .rows(rows)
}

/// Rows with what was measured and predicted.
fn rows_table(rows: &[Row]) -> Table {
    let row = |row: &Row| {
        let digits = if matches!(row.group, Group::Melting | Group::GelMelting) { 3 } else { 2 };
        let shown = |value: f64| significant(value, digits);
        [
            row.id.clone(),
            capital(row.group.words()),
            row.formula.clone(),
            row.temperature_c.map_or_else(String::new, |celsius| significant(celsius, 3)),
            shown(row.measured),
            row.predicted.map_or_else(|| "none".to_owned(), |found| interval(&found, shown)),
            row.error.map_or_else(|| "–".to_owned(), |error| signed(error, 1)),
        ]
    };
    Table::new("")
        .columns(Kind::Figure, ["row"])
        .columns(Kind::Words, ["what", "formula"])
        .columns(Kind::Number, ["at °C", "measured"])
        .columns(Kind::Figure, ["predicted"])
        .columns(Kind::Number, ["error"])
        .rows(rows.iter().map(row))
}
