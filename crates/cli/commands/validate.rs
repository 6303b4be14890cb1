//! `validate`: predictions against published measurements.

use std::path::PathBuf;

use barwright_answer::Engine;
use barwright_answer::validate::{Measurements, Validate, validate};
use barwright_blend::assess::DEFAULT_DRAWS;

use crate::args::{OUTPUT, PRECISION, whole};
use crate::drawing::Drawing;
use crate::error::CliError;
use crate::input::read_file;
use crate::output::{Form, Streams};

/// Arguments of `validate`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright validate
  barwright validate --rows --plot measured-against-predicted.svg
  barwright validate --table my-bench.csv --json")]
pub struct Args {
    /// Your own table of measurements, with the columns of data/validation/measurements.csv
    #[arg(long, value_name = "FILE")]
    pub table: Option<PathBuf>,
    /// List every row scored, to see where the model is right and where it is not
    #[arg(long)]
    pub rows: bool,
    /// Picture: measured against predicted values.
    #[command(flatten)]
    pub drawing: Drawing,
    /// Print one JSON document and nothing else, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
    /// Simulated draws behind each interval, 16 to 4096: fewer for a quick look
    #[arg(long, help_heading = PRECISION, value_name = "N", default_value_t = DEFAULT_DRAWS)]
    #[arg(value_parser = whole::<usize>(16..=4096))]
    pub draws: usize,
}

/// Runs the subcommand.
pub fn run(args: &Args, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let table = args.table.as_deref().map(|path| {
        let name = path.display().to_string();
        read_file(path, &name).map(|text| Measurements { name, text: text.to_string() })
    });
    let asked =
        Validate { table: table.transpose()?, draws: args.draws, rows: args.rows, picture: args.drawing.is_wanted() };
    streams.answer(&validate(&Engine::builtin()?, &asked)?, Form::of(args.json), &args.drawing)
}
