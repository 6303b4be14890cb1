//! One run: arguments in, exit status out.

use std::io::{self, BufWriter, IsTerminal, Write};
use std::panic::{self, AssertUnwindSafe};
use std::process::ExitCode;
use std::sync::OnceLock;

use anstream::{AutoStream, ColorChoice};
use barwright_answer::terminal::MAX_COLUMNS;
use barwright_stdout::Checked;
use clap::error::ErrorKind;
use clap::{CommandFactory, FromArgMatches};
use terminal_size::{Width, terminal_size};

use crate::args::{Colour, PROFILE_VARIABLE};
use crate::command_line::Args;
use crate::complain;
use crate::error::{CliError, Kind};
use crate::output::{Output, Streams};
use crate::profile::Profile;
use crate::threads;

/// Fewest columns laid out for, however narrow the terminal.
const MIN_COLUMNS: usize = 60;

/// Where the program stopped in the middle of its work.
static STOPPED: OnceLock<String> = OnceLock::new();

/// Runs the command and returns its exit status, whatever happens.
pub fn run() -> ExitCode {
    // A panic is caught and reported like any other fault; where it was is kept for the report.
    panic::set_hook(Box::new(|fault| {
        let place = fault.location().map_or_else(String::new, |place| format!(" at {place}"));
        let _ = STOPPED.set(place);
    }));
    let status = panic::catch_unwind(attempt).unwrap_or_else(|_| {
        let failure = stopped();
        report(&failure, false);
        failure.kind.exit_status()
    });
    ExitCode::from(status)
}

/// Returns the failure after a panic.
fn stopped() -> CliError {
    let place = STOPPED.get().map_or("", String::as_str);
    CliError::internal(format!("the program stopped in the middle of its work{place}"))
}

/// Reads the command line, does what it says and reports a failure.
fn attempt() -> u8 {
    let arguments: Vec<_> = std::env::args_os().collect();
    let written = Colour::written(&arguments);
    let mut command = Args::command().color(written.into());
    if std::env::var_os(PROFILE_VARIABLE).is_some_and(|folder| folder.is_empty()) {
        // An empty variable is the shell's way to say that there is none.
        command = command.mut_arg("profile", |option| option.env(None::<&str>));
    }
    let parsed = command.try_get_matches_from(&arguments).and_then(|matches| Args::from_arg_matches(&matches));
    let args = match parsed {
        Ok(args) => args,
        Err(error) => return say_usage(&error, written),
    };
    let failure = panic::catch_unwind(AssertUnwindSafe(|| act(&args)));
    let error = match failure {
        Ok(Ok(())) => return 0,
        Ok(Err(error)) => error,
        Err(_) => stopped(),
    };
    report(&error, in_colour(args.color, &io::stderr()));
    error.kind.exit_status()
}

/// Prints what clap has to say: help and version on standard output, errors on standard error.
fn say_usage(usage: &clap::Error, colour: Colour) -> u8 {
    if !matches!(usage.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) {
        // When standard error is gone too, the exit status must do.
        let _ = usage.print();
        return Kind::CommandLine.exit_status();
    }
    match barwright_stdout::check().and_then(|()| usage.print()).map_err(CliError::from) {
        Ok(()) => 0,
        Err(error) => {
            report(&error, in_colour(colour, &io::stderr()));
            error.kind.exit_status()
        }
    }
}

/// Does what the arguments say.
fn act(args: &Args) -> Result<(), CliError> {
    let (stdout, stderr) = (io::stdout(), io::stderr());
    let mut data = BufWriter::new(Checked(stdout.lock()));
    // Not locked: a bar of progress may be drawn from any thread.
    let mut remarks = io::stderr();
    let mut streams = Streams {
        data: Output::new(&mut data, in_colour(args.color, &stdout), columns(&stdout)),
        remarks: Output::new(&mut remarks, in_colour(args.color, &stderr), columns(&stderr)),
    };
    let profile = Profile::new(args.profile.clone());
    threads::start();
    args.action.run(&profile, &mut streams)?;
    data.flush()?;
    Ok(())
}

/// Prints a failure on standard error; when that is gone too, the exit status must do.
fn report(error: &CliError, colour: bool) {
    let text = complain::render(&error.faults, colour, columns(&io::stderr()));
    let _ = io::stderr().lock().write_all(text.as_bytes());
}

/// Whether a stream takes colour; `auto` goes by the terminal, `NO_COLOR`, `CLICOLOR` and `TERM`.
fn in_colour(wanted: Colour, stream: &impl anstream::stream::RawStream) -> bool {
    match wanted {
        Colour::Always => true,
        Colour::Never => false,
        Colour::Auto => !matches!(AutoStream::choice(stream), ColorChoice::Never),
    }
}

/// Returns the columns to lay out for: those of the terminal, or [`MAX_COLUMNS`] when there is none.
fn columns(stream: &(impl IsTerminal + std::os::fd::AsFd)) -> usize {
    if !stream.is_terminal() {
        return MAX_COLUMNS;
    }
    let stated = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
    let seen = || terminal_size().map(|(Width(columns), _)| usize::from(columns));
    stated.or_else(seen).unwrap_or(MAX_COLUMNS).clamp(MIN_COLUMNS, MAX_COLUMNS)
}
