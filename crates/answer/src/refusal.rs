//! Why there is no answer: what was seen, where, and what to do; everything that is wrong, not only the first thing.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use barwright_blend::BlendError;
use barwright_making::MakingError;
use barwright_reference::Diagnostic;

/// What kind of refusal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// The request cannot be answered.
    Input,
    /// A fault in this program or in its own tables.
    Internal,
}

/// Where a fault is.
#[derive(Debug, Clone, PartialEq, Eq)]
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
        text: Arc<str>,
        /// Byte range in it.
        span: Range<usize>,
    },
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
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

impl Fault {
    /// Makes a fault without a place.
    pub fn new(code: &'static str, message: impl Into<String>) -> Self {
        Fault { code, message: message.into(), label: String::new(), hints: Vec::new(), place: Place::None }
    }

    /// Makes a fault of a file as a whole.
    pub fn about_file(code: &'static str, message: impl Into<String>, origin: &str) -> Self {
        Fault { place: Place::File { origin: origin.to_owned(), at: None }, ..Fault::new(code, message) }
    }

    /// Gives a finding of a reader its text.
    pub fn from_diagnostic(diagnostic: Diagnostic, origin: &str, text: &Arc<str>) -> Self {
        Fault {
            code: diagnostic.code,
            message: diagnostic.message,
            label: diagnostic.label,
            hints: diagnostic.hints,
            place: Place::Text { origin: origin.to_owned(), text: Arc::clone(text), span: diagnostic.span },
        }
    }

    /// Adds one thing to do.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hints.push(hint.into());
        self
    }
}

impl fmt::Display for Fault {
    /// What was seen, and where.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            Place::None => {}
            Place::File { origin, at: None } => write!(f, "{origin}: ")?,
            Place::File { origin, at: Some((line, column)) } => write!(f, "{origin}:{line}:{column}: ")?,
            Place::Text { origin, text, span } => {
                let (line, column) = barwright_reference::diagnostic::line_column(text, span.start);
                write!(f, "{origin}:{line}:{column}: ")?;
            }
        }
        f.write_str(&self.message)
    }
}

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// What kind of refusal.
    pub cause: Cause,
    /// All faults.
    pub faults: Vec<Fault>,
}

impl Refusal {
    /// Refuses what was asked.
    pub fn input(faults: Vec<Fault>) -> Self {
        Refusal { cause: Cause::Input, faults }
    }

    /// Reports a fault of this program.
    pub fn internal(message: impl Into<String>) -> Self {
        let fault = Fault::new("internal", message)
            .hint("This is a fault of barwright, not of your formula. Please report it with the command you gave.");
        Refusal { cause: Cause::Internal, faults: vec![fault] }
    }
}

impl fmt::Display for Refusal {
    /// Every fault on a line of its own.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.faults.iter().enumerate() {
            write!(f, "{}{fault}", if index > 0 { "\n" } else { "" })?;
        }
        Ok(())
    }
}

impl std::error::Error for Refusal {}

impl From<Fault> for Refusal {
    fn from(fault: Fault) -> Self {
        Refusal::input(vec![fault])
    }
}

impl From<Box<Fault>> for Refusal {
    fn from(fault: Box<Fault>) -> Self {
        Refusal::from(*fault)
    }
}

impl From<BlendError> for Refusal {
    fn from(error: BlendError) -> Self {
        Refusal::internal(format!("the blend could not be computed: {error}"))
    }
}

impl From<MakingError> for Refusal {
    fn from(error: MakingError) -> Self {
        match error {
            MakingError::Blend(error) => error.into(),
            error @ MakingError::NotMelted { .. } => {
                Fault::new("not-melted", error.to_string()).hint("Pour hotter with `--pour`, or leave it out.").into()
            }
            error @ MakingError::TooHotForScent { .. } => Fault::new("too-hot-for-scent", error.to_string())
                .hint("Pour cooler with `--pour`, or leave it out.")
                .into(),
            error @ MakingError::NotCooled { .. } => {
                Fault::new("not-cooled", error.to_string()).hint("Name a colder place with `--place`.").into()
            }
            MakingError::Heat(error) => {
                Fault::new("out-of-range", error.to_string()).hint("Check the sizes and temperatures you gave.").into()
            }
            error => Fault::new("stopped", format!("{error} before there was an answer")).into(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_names_every_fault_with_its_place() {
        let text: Arc<str> = Arc::from("a\nbe");
        let place = Place::Text { origin: "bar.toml".to_owned(), text, span: 3..4 };
        let refusal = Refusal::input(vec![
            Fault { place, ..Fault::new("x", "no wax") },
            Fault::about_file("y", "empty", "b.csv"),
            Fault::new("z", "nothing asked"),
        ]);
        let error: &dyn std::error::Error = &refusal;
        assert_eq!(error.to_string(), "bar.toml:2:2: no wax\nb.csv: empty\nnothing asked");
    }
}
