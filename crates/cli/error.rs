//! What can go wrong in a run of the command, and the exit status it ends with.

use std::io;
use std::ops::Range;
use std::rc::Rc;

use barwright_blend::BlendError;
use barwright_reference::Diagnostic;
use barwright_save::SaveError;

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

/// Where a complaint belongs.
#[derive(Debug, Clone)]
pub enum Place {
    /// Nowhere in particular.
    None,
    /// A file as a whole.
    File {
        /// Its name as shown.
        origin: String,
        /// Line and column, counted from 1, where they are known.
        at: Option<(usize, usize)>,
    },
    /// A byte range in a text.
    Text {
        /// Name of the text as shown.
        origin: String,
        /// The text.
        text: Rc<str>,
        /// Byte range in it.
        span: Range<usize>,
    },
}

/// One thing that is wrong.
#[derive(Debug, Clone)]
pub struct Complaint {
    /// Stable short code in kebab-case.
    pub code: &'static str,
    /// What was seen, in one sentence without a full stop.
    pub message: String,
    /// Short text at the place itself; may be empty.
    pub label: String,
    /// What to do: each a sentence.
    pub hints: Vec<String>,
    /// Where.
    pub place: Place,
}

impl Complaint {
    /// Makes a complaint without a place.
    pub fn new(code: &'static str, message: impl Into<String>) -> Self {
        Complaint { code, message: message.into(), label: String::new(), hints: Vec::new(), place: Place::None }
    }

    /// Makes a complaint about a file as a whole.
    pub fn about_file(code: &'static str, message: impl Into<String>, origin: &str) -> Self {
        Complaint { place: Place::File { origin: origin.to_owned(), at: None }, ..Complaint::new(code, message) }
    }

    /// Gives a finding of a library its text.
    pub fn from_diagnostic(diagnostic: Diagnostic, origin: &str, text: &Rc<str>) -> Self {
        Complaint {
            code: diagnostic.code,
            message: diagnostic.message,
            label: diagnostic.label,
            hints: diagnostic.hints,
            place: Place::Text { origin: origin.to_owned(), text: Rc::clone(text), span: diagnostic.span },
        }
    }

    /// Adds one thing to do.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hints.push(hint.into());
        self
    }
}

/// Why a run failed: everything that was wrong, not only the first thing.
#[derive(Debug)]
pub struct CliError {
    /// What kind of failure.
    pub kind: Kind,
    /// Everything that was wrong.
    pub complaints: Vec<Complaint>,
}

impl CliError {
    /// Makes a failure of the input.
    pub fn input(complaints: Vec<Complaint>) -> Self {
        CliError { kind: Kind::Input, complaints }
    }

    /// Makes a failure of the command line.
    pub fn command_line(complaint: Complaint) -> Self {
        CliError { kind: Kind::CommandLine, complaints: vec![complaint] }
    }

    /// Makes a failure of this program.
    pub fn internal(message: impl Into<String>) -> Self {
        let complaint = Complaint::new("internal", message)
            .hint("This is a fault of barwright, not of your formula. Please report it with the command you gave.");
        CliError { kind: Kind::Internal, complaints: vec![complaint] }
    }
}

impl From<Complaint> for CliError {
    fn from(complaint: Complaint) -> Self {
        CliError::input(vec![complaint])
    }
}

impl From<SaveError> for CliError {
    fn from(error: SaveError) -> Self {
        CliError::from(Complaint::new("unwritable", error.to_string()).hint(error.hint()))
    }
}

impl From<io::Error> for CliError {
    /// Every other I/O error becomes a complaint where it happens; what is left comes from writing the output.
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            return CliError { kind: Kind::ReaderGone, complaints: Vec::new() };
        }
        CliError {
            kind: Kind::Output,
            complaints: vec![Complaint::new("output", format!("the output cannot be written: {error}"))],
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
        CliError::internal(format!("the blend could not be computed: {error}"))
    }
}
