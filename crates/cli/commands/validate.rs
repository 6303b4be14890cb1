//! `validate`: every published measurement against the prediction.

use std::path::Path;

use barwright_calibration::published::{Measurement, Report, RowFault, before, measurement, predict, samples, score};
use barwright_reference::Library;

use crate::args::Validate;
use crate::error::CliError;
use crate::input::read_file;
use barwright_answer::engine::builtin_library;
use barwright_answer::engine::builtin_model;

use crate::output::Streams;
use crate::render::validate::{write_report, write_rows};
use barwright_answer::picture;
use barwright_answer::refusal::{Fault, Place};

/// Name of the table that ships with the command.
const BUILTIN_NAME: &str = "data/validation/measurements.csv";

/// Runs the subcommand.
pub fn run(order: &Validate, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let library = builtin_library()?;
    let library = samples::with_samples(&library).map_err(|faults| {
        CliError::internal(faults.into_iter().map(|fault| fault.message).collect::<Vec<_>>().join("; "))
    })?;
    let model = builtin_model()?;
    let rows = load(order.table.as_deref(), &library)?;
    let draws = usize::try_from(order.draws).unwrap_or(barwright_blend::assess::DEFAULT_DRAWS);
    let scored =
        predict(&library, &model.parameters, &rows, draws).map_err(|error| CliError::internal(error.to_string()))?;
    let mut report: Report = score(&rows, &scored);
    if order.table.is_none() {
        let before = before::read(before::BUILTIN).map_err(|error| CliError::internal(error.to_string()))?;
        before::set_beside(&mut report, &before);
    }
    if order.json {
        streams.data.json(&report)?;
    } else {
        write_report(&mut streams.data, &report)?;
        if order.rows {
            write_rows(&mut streams.data, &report)?;
        }
    }
    if order.drawing.is_wanted() {
        order.drawing.show(&picture::measured::picture(&report), streams)?;
    }
    Ok(())
}

/// Reads a table of measurements, the built-in one by default.
fn load(path: Option<&Path>, library: &Library) -> Result<Vec<Measurement>, CliError> {
    let Some(path) = path else {
        return measurement::read(measurement::BUILTIN, library).map_err(|faults| refuse(&faults, BUILTIN_NAME));
    };
    let origin = path.display().to_string();
    let text = read_file(path, &origin).map_err(|fault| CliError::input(vec![*fault]))?;
    measurement::read(&text, library).map_err(|faults| refuse(&faults, &origin))
}

/// Every faulty row, with its line.
fn refuse(faults: &[RowFault], origin: &str) -> CliError {
    let fault = |fault: &RowFault| {
        let at = usize::try_from(fault.line).ok().map(|line| (line, 1));
        Fault { place: Place::File { origin: origin.to_owned(), at }, ..Fault::new("measurement", &fault.what) }
    };
    CliError::input(faults.iter().map(fault).collect())
}
