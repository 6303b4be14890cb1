//! What can go wrong in a run of the command, and the exit status it ends with.

use std::io;

use barwright_answer::refusal::{Cause, Fault, Refusal};
use barwright_blend::BlendError;
use barwright_records::RecordsError;

/// What kind of failure: it decides the exit status.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// What the user wrote is wrong.
    Input,
    /// The command line is wrong.
    CommandLine,
    /// The output could not be written.
    Output,
    /// The reader of the output has gone, as after `| head`: nothing is wrong.
    ReaderGone,
    /// A fault in this program or in its own tables.
    Internal,
}

impl Kind {
    /// Returns the exit status.
    pub fn exit_status(self) -> u8 {
        match self {
            Kind::ReaderGone => 0,
            Kind::Input | Kind::Output => 1,
            Kind::CommandLine => 2,
            // EX_SOFTWARE of sysexits.h: no status that scripts take for a wrong input.
            Kind::Internal => 70,
        }
    }
}

/// Why a run failed: everything that was wrong, not only the first thing.
#[derive(Debug)]
pub struct CliError {
    /// What kind of failure.
    pub kind: Kind,
    /// Everything that was wrong.
    pub faults: Vec<Fault>,
}

impl CliError {
    /// Makes a failure of the input.
    pub fn input(faults: Vec<Fault>) -> Self {
        CliError { kind: Kind::Input, faults }
    }

    /// Makes a failure of the command line.
    pub fn command_line(fault: Fault) -> Self {
        CliError { kind: Kind::CommandLine, faults: vec![fault] }
    }

    /// Makes a failure of this program.
    pub fn internal(message: impl Into<String>) -> Self {
        Refusal::internal(message).into()
    }
}

impl From<Refusal> for CliError {
    fn from(refusal: Refusal) -> Self {
        let kind = match refusal.cause {
            Cause::Input => Kind::Input,
            Cause::Internal => Kind::Internal,
        };
        CliError { kind, faults: refusal.faults }
    }
}

impl From<Fault> for CliError {
    fn from(fault: Fault) -> Self {
        CliError::input(vec![fault])
    }
}

impl From<io::Error> for CliError {
    /// Every other I/O error becomes a fault where it happens; what is left comes from writing the output.
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            return CliError { kind: Kind::ReaderGone, faults: Vec::new() };
        }
        CliError {
            kind: Kind::Output,
            faults: vec![Fault::new("output", format!("the output cannot be written: {error}"))],
        }
    }
}

impl From<serde_json::Error> for CliError {
    fn from(error: serde_json::Error) -> Self {
        CliError::from(io::Error::from(error))
    }
}

impl From<BlendError> for CliError {
    fn from(error: BlendError) -> Self {
        Refusal::from(error).into()
    }
}

impl From<RecordsError> for CliError {
    fn from(error: RecordsError) -> Self {
        Fault::new("records", error.to_string()).hint(error.hint()).into()
    }
}

impl From<Box<Fault>> for CliError {
    fn from(fault: Box<Fault>) -> Self {
        CliError::from(*fault)
    }
}
