//! Arguments of `completions` and `manual`.

use std::path::PathBuf;

use clap_complete::Shell;

/// `completions`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright completions bash > ~/.local/share/bash-completion/completions/barwright
  barwright completions zsh  > ~/.zfunc/_barwright
  barwright completions fish > ~/.config/fish/completions/barwright.fish

Open a new terminal afterwards.")]
pub struct Completions {
    /// Your shell
    #[arg(value_enum, value_name = "SHELL")]
    pub shell: Shell,
}

/// `manual`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  barwright manual | man -l -
  barwright manual trial add | man -l -
  barwright manual --folder ~/.local/share/man/man1     # then `man barwright-assess`")]
pub struct Manual {
    /// The command, such as `assess` or `trial add`; without it, barwright as a whole
    #[arg(value_name = "COMMAND", conflicts_with = "folder")]
    pub command: Vec<String>,
    /// Write the pages of all commands into this folder
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
}
