//! `manual`: pages for `man`, from the command itself.

use std::path::{Path, PathBuf};

use barwright_answer::Fault;
use barwright_answer::words::names;
use clap::Command;
use clap_mangen::Man;

use crate::error::CliError;
use crate::output::Streams;
use crate::profile::make_folder;
use crate::save::save;

/// Arguments of `manual`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright manual | man -l -
  barwright manual trial add | man -l -
  barwright manual --folder ~/.local/share/man/man1     # then `man barwright-assess`")]
pub struct Args {
    /// The command, such as `assess` or `trial add`; without it, barwright as a whole
    #[arg(value_name = "COMMAND", conflicts_with = "folder")]
    pub command: Vec<String>,
    /// Write the pages of all commands into this folder
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
}

/// Runs the subcommand.
///
/// # Arguments
/// * `whole`: the command line.
pub fn run(args: &Args, mut whole: Command, streams: &mut Streams<'_>) -> Result<(), CliError> {
    // What is shared by all commands reaches them only when it is built.
    whole.build();
    if let Some(folder) = &args.folder {
        make_folder(folder)?;
        let count = write_all(&whole, &[], folder)?;
        return Ok(streams.remarks.note(&format!("{count} pages written into {}", folder.display()))?);
    }
    let mut command = &whole;
    for name in &args.command {
        command = command.find_subcommand(name).ok_or_else(|| unknown(command, name))?;
    }
    Ok(streams.data.as_is(&page(command, &args.command)?)?)
}

/// Says that there is no such command.
fn unknown(among: &Command, name: &str) -> CliError {
    let names: Vec<&str> = among.get_subcommands().map(Command::get_name).collect();
    let fault = Fault::new("unknown-command", format!("no command is called `{}`", names::name(name)));
    match names::nearest_names(name, &names) {
        Some(near) => fault.hint(format!("The nearest are {near}.")),
        None => fault,
    }
    .into()
}

/// The page of one command.
fn page(command: &Command, path: &[String]) -> Result<String, CliError> {
    // The page of `trial add` is called `barwright-trial-add`, as its file is.
    let name = std::iter::once("barwright".to_owned()).chain(path.iter().cloned()).collect::<Vec<_>>().join("-");
    let mut bytes = Vec::new();
    Man::new(command.clone().name(name)).render(&mut bytes)?;
    String::from_utf8(bytes).map_err(|error| CliError::internal(error.to_string()))
}

/// Writes the pages of a command and of all below it; returns how many.
fn write_all(command: &Command, path: &[String], folder: &Path) -> Result<usize, CliError> {
    let name = std::iter::once("barwright").chain(path.iter().map(String::as_str)).collect::<Vec<_>>().join("-");
    save(&folder.join(format!("{name}.1")), page(command, path)?.as_bytes())?;
    let mut count = 1;
    for below in command.get_subcommands().filter(|below| below.get_name() != "help") {
        count += write_all(below, &[path, &[below.get_name().to_owned()]].concat(), folder)?;
    }
    Ok(count)
}
