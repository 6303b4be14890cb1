//! One published measurement a row.

use barwright_reference::sources::source_citation;
use barwright_reference::{CrystalState, Faults, Formula, Library, formula};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// The table that ships with barwright.
pub const BUILTIN: &str = include_str!("../../../../data/validation/measurements.csv");

/// What was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Solid fat content, mass %.
    SolidsPercent,
    /// Slip point, °C.
    SlipC,
    /// Drop point, °C.
    DropC,
    /// Clear point seen by eye, °C.
    ClearC,
    /// End of melting by calorimetry or X-rays, °C.
    MeltEndC,
    /// Calorimetric melting peak, °C.
    MeltPeakC,
    /// Temperature at which a gel flows, °C.
    GelMeltC,
    /// Lowest level of wax that gels, mass %, at room temperature unless stated; the formula holds that level.
    CriticalGellingPercent,
    /// Needle penetration, 0.1 mm.
    NeedleDmm,
    /// Cone yield value, kPa.
    ConeYieldKpa,
    /// Yield stress, kPa.
    YieldKpa,
    /// Force on a probe, N: ranks formulas inside one study.
    ForceN,
}

impl Quantity {
    /// Whether the test temperature has to be stated.
    fn needs_temperature(self) -> bool {
        matches!(
            self,
            Quantity::SolidsPercent
                | Quantity::NeedleDmm
                | Quantity::ConeYieldKpa
                | Quantity::YieldKpa
                | Quantity::ForceN
        )
    }

    /// Values a measurement can have.
    fn range(self) -> std::ops::RangeInclusive<f64> {
        match self {
            Quantity::SolidsPercent => 0.0..=100.0,
            Quantity::SlipC
            | Quantity::DropC
            | Quantity::ClearC
            | Quantity::MeltEndC
            | Quantity::MeltPeakC
            | Quantity::GelMeltC => -60.0..=150.0,
            Quantity::CriticalGellingPercent => 0.01..=50.0,
            Quantity::NeedleDmm => 0.1..=400.0,
            Quantity::ConeYieldKpa | Quantity::YieldKpa => 1e-4..=1e5,
            Quantity::ForceN => 1e-4..=1e4,
        }
    }
}

/// What kind of value a row states.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bound {
    /// The value itself.
    Point,
    /// The true value is not lower.
    Low,
    /// The true value is not higher.
    High,
}

/// What a row may be used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Use {
    /// Parameters may be fitted on it.
    Fit,
    /// No parameter ever sees it.
    Unseen,
    /// No parameter was fitted on it, but a figure of the tables was set with it in view; the row says which.
    InView,
    /// Outside what the model claims, such as a supercooled oil or a doubtful figure: scored by itself; the row says why.
    Apart,
    /// Not scored; the row says why.
    LeftOut,
}

impl Use {
    /// Whether a row of this kind keeps its written reason.
    fn needs_reason(self) -> bool {
        matches!(self, Use::InView | Use::Apart | Use::LeftOut)
    }
}

/// How a value came into the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Seen in the publication, or in an excerpt of it.
    Read,
    /// Quoted from memory and not checked.
    Recalled,
    /// Seen in an open log of a plant, which is no publication.
    Logged,
}

/// One published measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurement {
    /// Line in the file, counted from 1.
    pub line: u64,
    /// Unique name of the row.
    pub id: String,
    /// The experiment it belongs to.
    pub study: String,
    /// The formula as written.
    pub formula_text: String,
    /// The formula.
    pub formula: Formula,
    /// Crystal state the method implies.
    pub state: CrystalState,
    /// What was measured.
    pub quantity: Quantity,
    /// Test temperature, °C.
    pub temperature_c: Option<f64>,
    /// The value.
    pub value: f64,
    /// Its standard deviation, where published.
    pub sd: Option<f64>,
    /// Kind of value.
    pub kind: Bound,
    /// Method.
    pub method: String,
    /// Key of the source.
    pub source: String,
    /// How the value came into the table.
    pub status: Status,
    /// What it may be used for.
    pub use_as: Use,
    /// Why it is left out.
    pub reason: String,
}

/// A row that cannot be used or trusted.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("line {line}: {what}")]
pub struct RowFault {
    /// Line in the file, counted from 1.
    pub line: u64,
    /// What was wrong.
    pub what: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    id: String,
    study: String,
    formula: String,
    state: CrystalState,
    quantity: Quantity,
    temperature_c: Option<f64>,
    value: f64,
    sd: Option<f64>,
    kind: Bound,
    method: String,
    source: String,
    status: Status,
    #[serde(rename = "use")]
    use_as: Use,
    reason: String,
    #[allow(dead_code, reason = "for readers of the file")]
    note: String,
}

/// Reads a table of measurements.
///
/// # Arguments
/// * `text`: CSV with the columns of `data/validation/README.md`.
/// * `library`: what the formulas name.
///
/// # Errors
/// Every fault of the table at once: unknown words, wrong units (a value outside what its quantity can be), a missing source, a
/// formula that cannot be read, a row left out without a reason, one study on both sides of the split.
///
/// # Example
/// ```
/// use barwright_reference::Library;
/// use barwright_calibration::published::{measurement, samples};
/// let library = Library::builtin()?;
/// let library = samples::with_samples(&library)?;
/// let rows = measurement::read(measurement::BUILTIN, &library)?;
/// assert!(!rows.is_empty());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read(text: &str, library: &Library) -> Result<Vec<Measurement>, Faults<RowFault>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let (mut rows, mut faults) = (Vec::<Measurement>::new(), Vec::new());
    let headers = match reader.headers() {
        Ok(headers) => headers.clone(),
        Err(error) => return Err(vec![RowFault { line: 1, what: error.to_string() }].into()),
    };
    for record in reader.records() {
        let line_of = |position: Option<&csv::Position>| position.map_or(1, csv::Position::line);
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                faults.push(RowFault { line: line_of(error.position()), what: error.to_string() });
                continue;
            }
        };
        let line = line_of(record.position());
        match record.deserialize::<Row>(Some(&headers)) {
            Ok(row) => match check(row, line, library, &rows) {
                Ok(row) => rows.push(row),
                Err(found) => faults.push(found),
            },
            Err(error) => faults.push(RowFault { line, what: error.to_string() }),
        }
    }
    if rows.is_empty() && faults.is_empty() {
        faults.push(RowFault { line: 1, what: "the table holds no measurement".to_owned() });
    }
    if faults.is_empty() { Ok(rows) } else { Err(faults.into()) }
}

fn check(row: Row, line: u64, library: &Library, before: &[Measurement]) -> Result<Measurement, RowFault> {
    let fault = |what: String| RowFault { line, what };
    if let Some(other) = before.iter().find(|other| other.id == row.id) {
        return Err(fault(format!("the id `{}` stands on line {} already", row.id, other.line)));
    }
    if source_citation(&row.source).is_none() {
        return Err(fault(format!("`{}`: the source `{}` is not in sources.bib", row.id, row.source)));
    }
    let range = row.quantity.range();
    if !range.contains(&row.value) {
        let (low, high) = (range.start(), range.end());
        return Err(fault(format!("`{}`: {} is outside {low} to {high}: is the unit right?", row.id, row.value)));
    }
    if row.sd.is_some_and(|sd| !sd.is_finite() || sd < 0.0) {
        return Err(fault(format!("`{}`: the standard deviation is not a number from 0 on", row.id)));
    }
    match row.temperature_c {
        Some(celsius) if !(-60.0..=150.0).contains(&celsius) => {
            return Err(fault(format!("`{}`: no test is made at {celsius} °C", row.id)));
        }
        None if row.quantity.needs_temperature() && row.use_as != Use::LeftOut => {
            return Err(fault(format!("`{}`: the test temperature is missing", row.id)));
        }
        _ => {}
    }
    if row.use_as.needs_reason() && row.reason.trim().is_empty() {
        return Err(fault(format!(
            "`{}`: a row left out, set in view or scored apart keeps its written reason",
            row.id
        )));
    }
    let sides = [(Use::Fit, Use::Unseen), (Use::Fit, Use::InView)];
    let split = |other: &&Measurement| {
        let pair = (row.use_as.min(other.use_as), row.use_as.max(other.use_as));
        other.study == row.study && sides.contains(&pair)
    };
    if let Some(other) = before.iter().find(split) {
        return Err(fault(format!("`{}`: study `{}` is on the other side on line {}", row.id, row.study, other.line)));
    }
    let mut reading = formula::read_inline(&row.formula, &row.id, library).map_err(|errors| {
        let messages: Vec<_> = errors.into_iter().map(|error| error.message).collect();
        fault(format!("`{}`: formula `{}`: {}", row.id, row.formula, messages.join("; ")))
    })?;
    Ok(Measurement {
        line,
        id: row.id,
        study: row.study,
        formula_text: row.formula,
        formula: reading.formulas.remove(0),
        state: row.state,
        quantity: row.quantity,
        temperature_c: row.temperature_c,
        value: row.value,
        sd: row.sd,
        kind: row.kind,
        method: row.method,
        source: row.source,
        status: row.status,
        use_as: row.use_as,
        reason: row.reason,
    })
}
