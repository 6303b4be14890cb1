//! What was wrong in something the user wrote, where, and what to do about it.
//!
//! Libraries collect every [`Diagnostic`] of a file; only the command renders them.

use std::fmt;
use std::ops::Range;

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// The input cannot be used.
    Error,
    /// The input is used, and the user should know how it was read.
    Note,
}

/// One finding in one text.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnostic {
    /// How bad it is.
    pub severity: Severity,
    /// Stable short code in kebab-case, e.g. `unknown-ingredient`.
    pub code: &'static str,
    /// What was seen, in one sentence without a full stop.
    pub message: String,
    /// Byte range in the text, on character boundaries.
    pub span: Range<usize>,
    /// Short text at the place itself; may be empty.
    pub label: String,
    /// What to do: each a sentence.
    pub hints: Vec<String>,
}

impl Diagnostic {
    /// Makes an error: the input cannot be used.
    pub fn error(code: &'static str, message: impl Into<String>, span: Range<usize>) -> Self {
        Self { severity: Severity::Error, code, message: message.into(), span, label: String::new(), hints: Vec::new() }
    }

    /// Makes a note: the input is used, and this is how it was read.
    pub fn note(code: &'static str, message: impl Into<String>, span: Range<usize>) -> Self {
        Self { severity: Severity::Note, ..Self::error(code, message, span) }
    }

    /// Sets the short text shown at the place itself.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    /// Adds one thing to do.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hints.push(hint.into());
        self
    }
}

impl fmt::Display for Diagnostic {
    /// What was seen, without its place in the text.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Diagnostic {}

/// Returns the line and the column (both counted from 1, the column in characters) of a byte offset in a text.
///
/// ```
/// assert_eq!(barwright_reference::diagnostic::line_column("beeswax 26\noil 74", 15), (2, 5));
/// ```
pub fn line_column(text: &str, offset: usize) -> (usize, usize) {
    let before = text.get(..text.floor_char_boundary(offset)).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    (line, column)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_counted_in_lines_and_characters() {
        for (text, offset, place) in
            [("", 0, (1, 1)), ("ab", 9, (1, 3)), ("é2", 2, (1, 2)), ("é2", 1, (1, 1)), ("a\nb\n", 4, (3, 1))]
        {
            assert_eq!(line_column(text, offset), place, "{text:?} at {offset}");
        }
    }

    #[test]
    fn builders_fill_every_field() {
        let note = Diagnostic::note("code", "seen", 1..2).label("here").hint("do this");
        assert_eq!(note.severity, Severity::Note);
        assert_eq!((note.label.as_str(), note.hints.len()), ("here", 1));
    }
}
