//! Collects every finding of one text, up to a limit on how many errors are listed.

use crate::{Diagnostic, Diagnostics, Severity};

/// Largest number of errors listed for one text; the rest are counted.
pub(crate) const MAX_LISTED: usize = 200;

/// Every finding of one text.
#[derive(Debug, Default)]
pub(crate) struct Findings {
    errors: Vec<Diagnostic>,
    notes: Vec<Diagnostic>,
    unlisted: usize,
}

impl Findings {
    /// Adds a finding.
    pub(crate) fn push(&mut self, diagnostic: Diagnostic) {
        match diagnostic.severity {
            Severity::Note => self.notes.push(diagnostic),
            Severity::Error if self.is_full() => self.unlisted += 1,
            Severity::Error => self.errors.push(diagnostic),
        }
    }

    /// Whether any error was found.
    pub(crate) fn has_errors(&self) -> bool {
        !self.errors.is_empty()
    }

    /// Whether further errors are only counted, so that their details need not be worked out.
    pub(crate) fn is_full(&self) -> bool {
        self.errors.len() >= MAX_LISTED
    }

    /// Returns `value` with the notes, or the errors in the order of their places.
    pub(crate) fn finish<T>(mut self, value: T) -> Result<(T, Vec<Diagnostic>), Diagnostics> {
        if self.errors.is_empty() {
            self.notes.sort_by_key(|note| note.span.start);
            return Ok((value, self.notes));
        }
        self.errors.sort_by_key(|error| error.span.start);
        if self.unlisted > 0 {
            let place = self.errors.last().map_or(0..0, |last| last.span.clone());
            let message = format!("{} more errors are not listed", self.unlisted);
            self.errors.push(Diagnostic::error("more-errors", message, place).hint("Correct the listed ones first."));
        }
        Err(self.errors.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_are_sorted_and_limited() {
        let mut findings = Findings::default();
        findings.push(Diagnostic::note("n", "", 0..0));
        for place in (0..MAX_LISTED + 5).rev() {
            findings.push(Diagnostic::error("e", "", place..place));
        }
        let errors = findings.finish(()).err().unwrap_or_default();
        assert_eq!(errors.len(), MAX_LISTED + 1);
        assert!(errors.windows(2).all(|pair| pair[0].span.start <= pair[1].span.start));
        assert_eq!(errors.last().map(|last| last.message.as_str()), Some("5 more errors are not listed"));
    }
}
