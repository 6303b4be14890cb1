//! `assess`: the whole answer for one formula.

use std::ffi::OsString;
use std::path::PathBuf;

use barwright_answer::Engine;
use barwright_answer::assess::{Assess as Asked, assess};

use crate::args::{Wishes, with_formula_help};
use crate::drawing::Drawing;
use crate::error::CliError;
use crate::input::load;
use crate::mould::load as load_mould;
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;

/// Arguments of `assess`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = with_formula_help("\
Examples:
  barwright assess 'beeswax 26, mango butter 22, shea butter 10, sunflower oil 42'
  barwright assess winter.toml --at 5,20,95F --hold 45
  barwright assess season.csv --formula summer --lots my-lots.toml --json")
)]
pub struct Assess {
    /// The formula: a file, `-` for standard input, or a text
    #[arg(value_name = "FORMULA")]
    pub formula: OsString,
    /// Assess the formula of this name, when the file holds several
    #[arg(long = "formula", value_name = "NAME")]
    pub named: Option<String>,
    /// Your mould: the verdict is about its finest relief, and the mass of a bar is worked out
    #[arg(long, value_name = "FILE")]
    pub mould: Option<PathBuf>,
    /// Show what one more percent of each ingredient does: what makes this bar soft, or firm
    #[arg(long)]
    pub why: bool,
    /// Picture: solids and firmness against temperature.
    #[command(flatten)]
    pub drawing: Drawing,
    /// What is asked of the formula.
    #[command(flatten)]
    pub wishes: Wishes,
}

/// Runs the subcommand.
pub fn run(args: &Assess, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded =
        load(&[&args.formula], profile.lots(args.wishes.conditions.making.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, args.named.as_deref(), "assess")?;
    let mould = args.mould.as_deref().map(load_mould).transpose()?;
    let showing = &args.wishes.showing;
    let asked = Asked {
        formula: loaded.recipe(index)?,
        options: args.wishes.options(mould.as_ref()),
        mould,
        why: args.why,
        curves: args.drawing.is_wanted(),
        units: showing.units,
    };
    let engine = Engine { library: loaded.library, model: profile.model(streams)? };
    let answer = assess(&engine, &asked)?;
    streams.answer(&answer, showing.form(), &args.drawing)
}
