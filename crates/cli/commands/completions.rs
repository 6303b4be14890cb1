//! `completions`: what a shell needs to complete the command line.

use clap::CommandFactory;

use crate::args::manual::Completions;
use crate::command_line::Args;
use crate::error::CliError;
use crate::output::Streams;

/// Runs the subcommand.
pub fn run(order: &Completions, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let mut command = Args::command();
    let name = command.get_name().to_owned();
    let mut script = Vec::new();
    clap_complete::generate(order.shell, &mut command, name, &mut script);
    let script = String::from_utf8(script).map_err(|error| CliError::internal(error.to_string()))?;
    Ok(streams.data.as_is(&script)?)
}
