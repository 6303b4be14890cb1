//! `compare`: several formulas side by side.

use std::ffi::OsStr;

use barwright_answer::Engine;
use barwright_answer::compare::{Compare as Asked, compare};

use crate::args::Compare;
use crate::error::CliError;
use crate::input::load;
use crate::output::Streams;
use crate::profile::Profile;

/// Runs the subcommand.
pub fn run(args: &Compare, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let written: Vec<&OsStr> = args.formulas.iter().map(|formula| formula.as_os_str()).collect();
    let loaded = load(&written, profile.lots(args.wishes.making.lots.as_deref()).as_deref(), streams)?;
    let showing = &args.wishes.showing;
    let asked = Asked {
        formulas: loaded.recipes(),
        options: args.wishes.options(),
        curves: args.drawing.is_wanted(),
        units: showing.units,
    };
    let engine = Engine { library: loaded.library, parameters: profile.parameters(streams)? };
    let answer = compare(&engine, &asked)?;
    streams.answer(&answer, showing.form(), &args.drawing)
}
