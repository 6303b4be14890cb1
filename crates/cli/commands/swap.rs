//! `swap`: another ingredient in place of one that ran out.

use std::ffi::OsString;
use std::path::PathBuf;

use barwright_answer::Engine;
use barwright_answer::swap::{Swap, swap};

use super::adjust::write_formula;
use crate::args::{OUTPUT, Wishes, step, whole, with_formula_help};
use crate::error::CliError;
use crate::input::load;
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;

/// Arguments of `swap`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = with_formula_help("\
Examples:
  barwright swap winter.toml --replace beeswax --with 'candelilla wax'
  barwright swap winter.toml --replace 'shea butter' --nut-free
  barwright swap winter.toml --replace beeswax --vegan --most 5")
)]
pub struct Args {
    /// The formula: a file, `-` for standard input, or a text
    #[arg(value_name = "FORMULA")]
    pub formula: OsString,
    /// Take the formula of this name, when the file holds several
    #[arg(long = "formula", value_name = "NAME")]
    pub named: Option<String>,
    /// The ingredient that ran out
    #[arg(long, value_name = "NAME")]
    pub replace: String,
    /// What you have instead; several are ranked. Without it, every ingredient of the same kind is tried
    #[arg(long, value_name = "NAME")]
    pub with: Vec<String>,
    /// Leave out ingredients of animal origin; those that may be animal or plant, depending on the lot, are tried and marked
    #[arg(long)]
    pub vegan: bool,
    /// Leave out whatever is, or may be, from nuts
    #[arg(long)]
    pub nut_free: bool,
    /// Amounts that change are multiples of this many percent of the bar, as a scale shows them; 0 for any amount
    #[arg(long, value_name = "PERCENT", default_value = "0.5", value_parser = step)]
    pub step: f64,
    /// Number of replacements listed
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = whole::<u64>(1..=100))]
    pub most: u64,
    /// Write the formula with the first replacement here; a formula file keeps its comments and order
    #[arg(long, help_heading = OUTPUT, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// What is asked of the formula.
    #[command(flatten)]
    pub wishes: Wishes,
}

/// Runs the subcommand.
pub fn run(args: &Args, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let showing = &args.wishes.showing;
    let loaded =
        load(&[&args.formula], profile.lots(args.wishes.conditions.making.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, args.named.as_deref(), "swap")?;
    let asked = Swap {
        formula: loaded.recipe(index)?,
        options: args.wishes.options(None),
        replace: args.replace.clone(),
        with: args.with.clone(),
        vegan: args.vegan,
        nut_free: args.nut_free,
        step_percent: (args.step > 0.0).then_some(args.step),
        max_told: usize::try_from(args.most).unwrap_or(usize::MAX),
        units: showing.units,
    };
    let engine = Engine { library: loaded.library, model: profile.model(streams)? };
    let answer = swap(&engine, &asked)?;
    let first = answer.figures.formulas.first();
    let first = first.ok_or_else(|| CliError::internal("a replacement was found and lost"))?;
    let known = loaded.formulas.get(index).map_or(&[][..], |formula| &formula.parts);
    let brought = first.parts.iter().map(|part| part.ingredient);
    loaded.about.write(brought.filter(|one| known.iter().all(|part| part.ingredient != *one)), streams)?;
    for note in &answer.figures.notes {
        streams.remarks.note(note)?;
    }
    streams.figures(&answer, showing.form())?;
    match &args.out {
        Some(path) => {
            let text = loaded.texts.get(index).and_then(Option::as_deref);
            write_formula(path, text, first, &engine.library, streams)
        }
        None => Ok(()),
    }
}
