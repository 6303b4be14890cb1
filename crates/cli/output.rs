//! Where the command writes: the only door to standard output and standard error.

use std::io::{self, Write};

use barwright_answer::terminal::{self, Look, painted};
use barwright_answer::{Answered, Document};
use clap::builder::styling::{AnsiColor, Style};
use serde::Serialize;

use crate::error::CliError;
use barwright_answer::words::visible::visible;

/// How the word before a note looks.
const NOTE: Style = AnsiColor::Green.on_default().bold();

/// The two streams of a run.
pub struct Streams<'w> {
    /// Standard output: what was asked for, and nothing else.
    pub data: Output<'w>,
    /// Standard error: notes and warnings.
    pub remarks: Output<'w>,
}

/// How an answer is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// One JSON document.
    Json,
    /// As text, with every caution in full.
    Whole,
    /// As text, with cautions only named.
    Folded,
}

impl Form {
    /// JSON where it is asked for, else text with every caution.
    pub fn of(json: bool) -> Self {
        if json { Form::Json } else { Form::Whole }
    }
}

impl Streams<'_> {
    /// Writes an answer without its picture.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn figures<F: Serialize>(&mut self, answer: &Answered<F>, form: Form) -> Result<(), CliError> {
        match form {
            Form::Json => self.data.json(&answer.figures),
            Form::Whole => Ok(self.data.document(&answer.document, false)?),
            Form::Folded => Ok(self.data.document(&answer.document, true)?),
        }
    }
}

/// One stream, with what it can show.
pub struct Output<'w> {
    writer: &'w mut dyn Write,
    colour: bool,
    columns: usize,
}

impl<'w> Output<'w> {
    /// Makes an output.
    pub fn new(writer: &'w mut dyn Write, colour: bool, columns: usize) -> Self {
        Output { writer, colour, columns }
    }

    /// Columns to lay out for.
    pub fn columns(&self) -> usize {
        self.columns
    }

    /// Writes one line as it is.
    pub fn line(&mut self, text: &str) -> io::Result<()> {
        writeln!(self.writer, "{text}")
    }

    /// Writes a whole text as it is, such as a table that ends its own lines.
    pub fn as_is(&mut self, text: &str) -> io::Result<()> {
        write!(self.writer, "{text}")
    }

    /// Hands over what was written so far, for whoever waits for it while the program goes on.
    pub fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }

    /// Writes an empty line.
    pub fn blank(&mut self) -> io::Result<()> {
        writeln!(self.writer)
    }

    /// Writes an answer.
    ///
    /// # Arguments
    /// * `fold_cautions`: whether cautions are only named.
    pub fn document(&mut self, document: &Document, fold_cautions: bool) -> io::Result<()> {
        let look = Look { columns: self.columns, colour: self.colour, fold_cautions, pictures: false };
        self.as_is(&terminal::text(document, look))
    }

    /// Writes one note.
    pub fn note(&mut self, text: &str) -> io::Result<()> {
        let word = if self.colour { painted(NOTE, "note") } else { "note".to_owned() };
        self.line(&format!("{word}: {}", visible(text)))
    }

    /// Writes one JSON document.
    pub fn json(&mut self, value: &impl Serialize) -> Result<(), CliError> {
        serde_json::to_writer_pretty(&mut self.writer, value)?;
        self.blank()?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_colour_nothing_but_text_is_written() {
        let mut bytes = Vec::new();
        let mut output = Output::new(&mut bytes, false, 40);
        let document = Document::new("Bar", "rested");
        let written = output.document(&document, false).and_then(|()| output.note("a\u{1b}b"));
        assert!(written.is_ok());
        assert_eq!(String::from_utf8_lossy(&bytes), "Bar  (rested)\nnote: a␛b\n");
    }
}
