//! `compare`: several formulas side by side.

use std::ffi::{OsStr, OsString};
use std::path::PathBuf;

use barwright_answer::Engine;
use barwright_answer::compare::{Compare as Asked, compare};

use crate::args::{Wishes, with_formula_help};
use crate::drawing::Drawing;
use crate::error::CliError;
use crate::input::{load, read_bar};
use crate::output::Streams;
use crate::profile::Profile;

/// Arguments of `compare`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = with_formula_help("\
Examples:
  barwright compare winter.toml summer.toml
  barwright compare 'beeswax 30, olive oil 70' 'beeswax 20, candelilla wax 5, olive oil 75' --hold 45
  barwright compare season.csv --like market-bar.toml --json")
)]
pub struct Compare {
    /// Two or more formulas: files, `-` for standard input, or texts; a .csv file can hold several
    #[arg(value_name = "FORMULA", required = true)]
    pub formulas: Vec<OsString>,
    /// A bar whose formula you do not know, such as a bought one, by a file of your bench tests on it: which formula comes nearest?
    #[arg(long, value_name = "FILE")]
    pub like: Option<PathBuf>,
    /// Picture: solids and firmness of all against temperature.
    #[command(flatten)]
    pub drawing: Drawing,
    /// What is asked of the formulas.
    #[command(flatten)]
    pub wishes: Wishes,
}

/// Runs the subcommand.
pub fn run(args: &Compare, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let written: Vec<&OsStr> = args.formulas.iter().map(|formula| formula.as_os_str()).collect();
    let like = args.like.as_deref().map(read_bar).transpose()?;
    let loaded = load(&written, profile.lots(args.wishes.conditions.making.lots.as_deref()).as_deref(), streams)?;
    let showing = &args.wishes.showing;
    let asked = Asked {
        formulas: loaded.recipes(),
        like,
        options: args.wishes.options(None),
        curves: args.drawing.is_wanted(),
        units: showing.units,
    };
    let engine = Engine { library: loaded.library, model: profile.model(streams)? };
    let answer = compare(&engine, &asked)?;
    streams.answer(&answer, showing.form(), &args.drawing)
}
