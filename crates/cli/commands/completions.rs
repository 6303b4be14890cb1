//! `completions`: what a shell needs to complete the command line.

use clap::Command;
use clap_complete::Shell;

use crate::error::CliError;
use crate::output::Streams;

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright completions bash > ~/.local/share/bash-completion/completions/barwright
  barwright completions zsh  > ~/.zfunc/_barwright
  barwright completions fish > ~/.config/fish/completions/barwright.fish

Open a new terminal afterwards.")]
pub struct Args {
    /// Your shell
    #[arg(value_enum, value_name = "SHELL")]
    pub shell: Shell,
}

/// Runs the subcommand.
///
/// # Arguments
/// * `whole`: the command line.
pub fn run(args: &Args, mut whole: Command, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let name = whole.get_name().to_owned();
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut whole, name, &mut script);
    let script = String::from_utf8(script).map_err(|error| CliError::internal(error.to_string()))?;
    Ok(streams.data.as_is(&script)?)
}
