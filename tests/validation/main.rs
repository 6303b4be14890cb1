//! Predictions and textbook relations against published values. Source and status stand beside each value in `data/validation/`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)]

mod calibration;
mod common_practice;
#[path = "../kit/full.rs"]
mod full;
mod heat;
mod liquidus;
mod measurements;
mod orderings;
mod pairs;
mod paraffins;
mod polymorphs;
mod solubility;

use std::sync::LazyLock;

use barwright_blend::{Assessment, Model, Options, assess};
use barwright_reference::{CrystalState, Library, formula};
use serde::de::DeserializeOwned;

/// The reference tables and the published samples.
static LIBRARY: LazyLock<Library> = LazyLock::new(|| {
    let library = Library::builtin().expect("built-in tables are sound");
    barwright_calibration::published::samples::with_samples(&library).expect("the samples are sound")
});
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().expect("the built-in model is sound"));

/// Rows of one file of `data/validation/`.
fn rows<T: DeserializeOwned>(name: &str) -> Vec<T> {
    let path = format!("{}/data/validation/{name}", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(&path).expect(&path);
    reader.deserialize().map(|row| row.expect(&path)).collect()
}

/// Assesses inline text at the given temperatures.
fn answer(text: &str, state: CrystalState, at_c: &[f64]) -> Assessment {
    let formula = formula::read_inline(text, "row", &LIBRARY).expect(text).formulas.remove(0);
    let options = Options { state, at_c: at_c.to_vec(), ..Options::default() };
    assess(&LIBRARY, &MODEL, &formula, &options).expect(text)
}

/// Every row says where its value comes from and how.
fn check_provenance(source: &str, status: &str) {
    assert!(!source.trim().is_empty(), "a row without a source");
    assert!(matches!(status, "read" | "recalled"), "a published value is read or recalled, not `{status}`");
}
