//! `schema`: what the JSON of an answer looks like, for programs.

use barwright_answer::question::{SCHEMAS, schema};
use clap::builder::PossibleValuesParser;

use crate::error::CliError;
use crate::output::Streams;

/// Arguments of `schema`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright schema assess > assess.schema.json
  barwright schema request")]
pub struct Args {
    /// The subcommand whose JSON is described; `request` for every question as one type
    #[arg(value_name = "NAME", value_parser = PossibleValuesParser::new(SCHEMAS))]
    pub name: String,
}

/// Runs the subcommand.
pub fn run(args: &Args, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let schema = schema(&args.name).ok_or_else(|| CliError::internal("a schema is named and lost"))?;
    streams.data.json(&schema)
}
