//! The route of a parcel: the name of a built-in one, or a logger's file.

use std::ffi::OsStr;
use std::path::Path;

use barwright_answer::Fault;
use barwright_answer::routes::{Route, built_in};

use crate::error::CliError;
use crate::input::{self, read_text_of, say};
use crate::output::Streams;

/// Finds or reads the route, and writes the notes on how it was read.
///
/// # Errors
/// There is no such route, or everything that is wrong with its file.
pub fn read(written: &OsStr, streams: &mut Streams<'_>) -> Result<Route, CliError> {
    let path = Path::new(written);
    let known = built_in(&written.to_string_lossy());
    let is_file = path.extension().is_some() || written == "-" || path.exists() || path.components().count() > 1;
    if known.is_ok() || !is_file {
        return Ok(Route::BuiltIn(known?.name));
    }
    let (text, origin) = read_text_of(path, &input::ROUTE)?;
    let (route, notes) = barwright_reference::route::Route::read(&text).map_err(|errors| {
        let errors = errors.into_iter().map(|error| Fault::from_diagnostic(error, &origin, &text));
        CliError::input(errors.collect())
    })?;
    for note in &notes {
        streams.remarks.note(&say(note, &origin, &text))?;
    }
    let stem = path.file_stem().map_or(origin, |stem| stem.to_string_lossy().into_owned());
    let name = if written == "-" { "the route".to_owned() } else { stem };
    Ok(Route::Measured { name, rows: route.rows, clock_s: route.clock_s })
}
