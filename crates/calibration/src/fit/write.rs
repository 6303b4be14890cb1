//! The parameter file: the priors with what the fit changed.

use barwright_blend::known_off::KnownOff;
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, value};

use super::calibrate::Calibration;

/// Digits a figure is written with; a spread is never known better.
const DIGITS: usize = 4;

/// Decimals of a correlation.
const CORRELATION_DECIMALS: i32 = 4;

/// First lines of the file.
const HEADER: &str = "\
# Parameters of the blend model. Written by `cargo run --release -p barwright-calibration` from data/priors.toml and the fitting rows of
# data/validation/measurements.csv: change those, not this. Every figure has its spread (one standard deviation) and a status, as in
# data/README.md; in an entry marked `fitted`, at least one figure is, and its basis is that of the prior.
";

/// Returns the text of `model.toml`.
///
/// # Arguments
/// * `priors`: text of `priors.toml`.
/// * `calibration`: the fit that was made from it.
///
/// # Errors
/// When `priors` is no TOML, or has not the tables the fit was made with.
pub fn model_toml(priors: &str, calibration: &Calibration) -> Result<String, WriteError> {
    let body = priors.split_once("\n\n").map_or(priors, |(_, body)| body);
    let mut document: DocumentMut = body.parse()?;
    let after = &calibration.parameters;
    let fitted = |name: &str| calibration.fitted.iter().any(|one| one.name == name);
    for (index, class) in after.liquid_classes.iter().enumerate() {
        let table = entry(&mut document, "liquid_class", index)?;
        set(table, "delta", class.delta);
        set(table, "sd", class.sd);
        mark(table, fitted(&format!("delta:{}", class.name)));
    }
    for (index, family) in after.families.iter().enumerate() {
        let table = entry(&mut document, "family", index)?;
        set(table, "structuring", family.structuring);
        set(table, "ln_sd", family.ln_sd);
        set(table, "critical_percent", family.critical_percent);
        set(table, "critical_ln_sd", family.critical_ln_sd);
        set(table, "melt_shift_k", family.melt_shift_k);
        set(table, "melt_shift_sd_k", family.melt_shift_sd_k);
        set(table, "misfit", family.misfit);
        set(table, "misfit_sd", family.misfit_sd);
        let kinds = ["structuring", "critical", "melt-shift", "misfit"];
        mark(table, kinds.iter().any(|kind| fitted(&format!("{kind}:{}", family.name))));
    }
    for (index, packing) in after.packings.iter().enumerate() {
        let table = entry(&mut document, "packing", index)?;
        table["chosen"] = value(packing.chosen);
        set(table, "share", packing.share);
        set(table, "share_sd", packing.share_sd);
        mark(table, packing.chosen);
    }
    let firmness = section(&mut document, "firmness")?;
    set(firmness, "yield_kpa", after.firmness.yield_kpa);
    set(firmness, "yield_ln_sd", after.firmness.yield_ln_sd);
    set(firmness, "exponent", after.firmness.exponent);
    set(firmness, "exponent_sd", after.firmness.exponent_sd);
    set(firmness, "softening_exponent", after.firmness.softening_exponent);
    set(firmness, "softening_exponent_sd", after.firmness.softening_exponent_sd);
    set(firmness, "interplay_ln_sd", after.firmness.interplay_ln_sd);
    mark(firmness, true);
    let left = section(&mut document, "discrepancy")?;
    set(left, "melt_shift_sd_k", after.discrepancy.melt_shift_sd_k);
    set(left, "holding_ln_sd", after.discrepancy.holding_ln_sd);
    mark(left, true);
    let landmarks = section(&mut document, "landmarks")?;
    set(landmarks, "drop_over_slip", after.landmarks.drop_over_slip);
    set(landmarks, "drop_over_slip_ln_sd", after.landmarks.drop_over_slip_ln_sd);
    set(landmarks, "end_percent", after.landmarks.end_percent);
    set(landmarks, "end_ln_sd", after.landmarks.end_ln_sd);
    mark(landmarks, fitted("drop") || fitted("end"));
    document.insert("correlation", Item::Table(correlation(calibration)));
    Ok(format!("{HEADER}\n{document}"))
}

/// Why the file could not be written.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The priors are no TOML.
    #[error(transparent)]
    Syntax(#[from] toml_edit::TomlError),
    /// The priors lack a table the fit was made with.
    #[error("the priors have no table `{name}` number {index}")]
    Missing {
        /// Its name.
        name: &'static str,
        /// Its position.
        index: usize,
    },
}

fn entry<'a>(document: &'a mut DocumentMut, name: &'static str, index: usize) -> Result<&'a mut Table, WriteError> {
    let tables = document.get_mut(name).and_then(Item::as_array_of_tables_mut);
    tables.and_then(|tables: &mut ArrayOfTables| tables.get_mut(index)).ok_or(WriteError::Missing { name, index })
}

fn section<'a>(document: &'a mut DocumentMut, name: &'static str) -> Result<&'a mut Table, WriteError> {
    document.get_mut(name).and_then(Item::as_table_mut).ok_or(WriteError::Missing { name, index: 0 })
}

/// Writes a figure, rounded.
fn set(table: &mut Table, key: &str, figure: f64) {
    table[key] = value(rounded(figure));
}

/// `figure` to [`DIGITS`] digits.
fn rounded(figure: f64) -> f64 {
    // What is written is what is read: the text decides.
    format!("{figure:.*e}", DIGITS - 1).parse().unwrap_or(figure)
}

fn mark(table: &mut Table, fitted: bool) {
    if fitted {
        table["status"] = value("fitted");
    }
}

/// Returns the text of `model.toml` with the list of what is known to be off of the model it holds.
///
/// # Arguments
/// * `model`: from [`model_toml`].
/// * `known`: from [`crate::published::known_off()`] with that model.
///
/// # Errors
/// When `model` is no TOML.
pub fn with_known_off(model: &str, known: &[KnownOff]) -> Result<String, WriteError> {
    let mut document: DocumentMut = model.parse()?;
    let mut list = ArrayOfTables::new();
    for one in known {
        let mut table = Table::new();
        table["ingredient"] = value(&one.ingredient);
        table["quantity"] = value(one.quantity.word());
        table["state"] = value(one.state.word());
        table["range_c"] = value(one.range_c.iter().copied().collect::<Array>());
        // Adding 0 turns −0 into 0.
        table["bias"] = value((10.0 * one.bias).round() / 10.0 + 0.0);
        table["figures"] = value(i64::try_from(one.figures).unwrap_or(i64::MAX));
        list.push(table);
    }
    if let Some(first) = list.get_mut(0) {
        first.decor_mut().set_prefix(
            "\n# ---- Known to be off: mean error of neat ingredients against published figures, prediction less measurement. ----------\n\n",
        );
    }
    document["known_off"] = Item::ArrayOfTables(list);
    Ok(document.to_string())
}

fn correlation(calibration: &Calibration) -> Table {
    let mut table = Table::new();
    table.decor_mut().set_prefix(
        "\n# ---- Correlation of the fitted figures, lower triangle; on a logarithmic scale where the spread is one of a logarithm. ----\n\n",
    );
    let multiline = |array: &mut Array| {
        for item in array.iter_mut() {
            item.decor_mut().set_prefix("\n    ");
        }
        array.set_trailing("\n");
        array.set_trailing_comma(true);
    };
    let mut names: Array = calibration.fitted.iter().map(|one| one.name.as_str()).collect();
    multiline(&mut names);
    let unit = 10_f64.powi(CORRELATION_DECIMALS);
    let matrix = &calibration.correlation;
    let mut rows = Array::new();
    for i in 0..matrix.nrows() {
        // Adding 0 turns −0 into 0.
        rows.push((0..=i).map(|j| (matrix[(i, j)] * unit).round() / unit + 0.0).collect::<Array>());
    }
    multiline(&mut rows);
    table["names"] = value(names);
    table["rows"] = value(rows);
    table
}
