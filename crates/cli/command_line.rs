//! The command line: what stands before the subcommands, and the subcommands.

#[cfg(test)]
mod extremes;

use std::path::PathBuf;

use clap::{CommandFactory, Parser, Subcommand};

use crate::args::{Colour, EVERYWHERE, PROFILE_VARIABLE};
use crate::commands::{
    adjust, assess, batch, compare, completions, cool, explore, ingredients, manual, page, parcel, pour, records,
    report, schema, swap, trial, validate,
};
use crate::error::CliError;
use crate::output::Streams;
use crate::profile::Profile;

/// Predict how a solid bar of wax, butter and oil sets, feels and travels, before any wax is melted
#[derive(Debug, Parser)]
#[command(
    name = "barwright",
    version,
    help_expected = true,
    max_term_width = 100,
    after_help = "\
Examples:
  barwright assess 'beeswax 26, mango butter 22, sunflower oil 52'
  barwright compare winter.toml summer.toml
  barwright adjust winter.toml --hold 45C
  barwright cool winter.toml --size 60x40x20mm
  barwright ingredients --kind wax

Exit status: 0 done, 1 the input is wrong or the output cannot be written, 2 the command line is wrong,
70 a fault of barwright itself."
)]
pub struct Args {
    /// Use colour: `never` when another program reads the output, `always` to keep it through a pager
    ///
    /// With `auto`, colour is used on a terminal unless NO_COLOR is set.
    #[arg(long, help_heading = EVERYWHERE, global = true, value_enum, value_name = "WHEN", default_value = "auto")]
    pub color: Colour,
    /// Your folder: your deliveries (`lots.toml`), your records, and what your bench tests taught
    ///
    /// What `trial fit` learned is used in every prediction, and your deliveries in every formula, when the folder is named
    /// here or in BARWRIGHT_PROFILE. `ingredients` and `validate` show the tables and the model, and do not use it.
    #[arg(long, help_heading = EVERYWHERE, global = true, value_name = "FOLDER", env = PROFILE_VARIABLE, hide_env = true)]
    pub profile: Option<PathBuf>,
    /// What to do.
    #[command(subcommand)]
    pub action: Action,
}

/// The subcommands.
#[derive(Debug, Subcommand)]
pub enum Action {
    /// Predict one formula: firmness, fine detail, warmth, feel on skin, risk of grain
    Assess(assess::Assess),
    /// Predict several formulas side by side, with the differences that matter first
    Compare(compare::Compare),
    /// Make the smallest change to a formula that meets your targets
    Adjust(Box<adjust::Args>),
    /// Replace an ingredient that ran out: by how much of what, so that the bar stays as it is
    Swap(swap::Args),
    /// Find the best trade-offs of all bars you could pour from your shelf
    Explore(explore::Args),
    /// Weigh sheet, cost and label of a batch: a number of bars, or fillings of a mould
    Batch(Box<batch::Args>),
    /// What to melt first, how hot, when to pour, and how long that lasts
    Pour(pour::Args),
    /// How long the bar takes to cool, where it cools best, when it can leave the mould
    Cool(cool::Args),
    /// How the bar survives a hot route in the post, and what helps
    Parcel(Box<parcel::Args>),
    /// One page to keep and to print: answer, curves, tables, plans, sources
    Report(Box<report::Args>),
    /// Bench tests of your own bars: keep them, and learn from them
    Trial(trial::args::Trial),
    /// What you poured, from which deliveries, and where it went: a recall is one command
    Records(records::args::Records),
    /// A bench page in your browser, from this computer only: move amounts and watch the bar follow
    Page(page::Args),
    /// Show the reference table: what the ingredients are, and where each figure comes from
    Ingredients(ingredients::Args),
    /// Compare predictions with published measurements, to see how far to trust them
    Validate(validate::Args),
    /// Print what the JSON of an answer looks like, as a JSON schema
    Schema(schema::Args),
    /// Print the script that lets your shell complete commands and options at the Tab key
    Completions(completions::Args),
    /// Print the manual page of a command for `man`, or write them all
    Manual(manual::Args),
}

impl Action {
    /// Does it.
    pub fn run(&self, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
        match self {
            Action::Assess(args) => assess::run(args, profile, streams),
            Action::Compare(args) => compare::run(args, profile, streams),
            Action::Adjust(args) => adjust::run(args, profile, streams),
            Action::Swap(args) => swap::run(args, profile, streams),
            Action::Explore(args) => explore::run(args, profile, streams),
            Action::Batch(args) => batch::run(args, profile, streams),
            Action::Pour(args) => pour::run(args, profile, streams),
            Action::Cool(args) => cool::run(args, profile, streams),
            Action::Parcel(args) => parcel::run(args, profile, streams),
            Action::Report(args) => report::run(args, profile, streams),
            Action::Trial(args) => trial::run(args, profile, streams),
            Action::Records(args) => records::run(args, profile, streams),
            Action::Ingredients(args) => ingredients::run(args, streams),
            Action::Page(args) => page::run(args, profile, streams),
            Action::Validate(args) => validate::run(args, streams),
            Action::Schema(args) => schema::run(args, streams),
            Action::Completions(args) => completions::run(args, Args::command(), streams),
            Action::Manual(args) => manual::run(args, Args::command(), streams),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        Args::command().debug_assert();
    }
}
