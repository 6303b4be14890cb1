//! Reads CSV text into rows whose cells are asked for by column.

use std::collections::HashMap;
use std::str::FromStr;

use barwright_reference::text_cell;
use csv::{ReaderBuilder, StringRecord};
use jiff::civil::Date;

use crate::error::beginning;
use crate::{Figures, Kind, RecordsError};

/// Separators taken, the first one the header has.
const SEPARATORS: [u8; 3] = [b',', b';', b'\t'];
/// The byte-order mark some programs put before UTF-8 text.
const BYTE_ORDER_MARK: char = '\u{feff}';
/// Line of the header.
const HEADER_LINE: u64 = 1;

/// A table that has been read.
pub(super) struct Table {
    columns: HashMap<&'static str, usize>,
    rows: Vec<(u64, StringRecord)>,
}

/// One row of it.
pub(super) struct Row<'t> {
    /// Line it begins on, counted from 1.
    pub line: u64,
    columns: &'t HashMap<&'static str, usize>,
    cells: &'t StringRecord,
}

impl Table {
    /// Reads the text of a table; every column of the header must be one of its kind's.
    pub(super) fn read(kind: Kind, text: &str) -> Result<Table, RecordsError> {
        let text = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
        let header = text.lines().next().unwrap_or_default();
        let separator =
            SEPARATORS.into_iter().find(|separator| header.as_bytes().contains(separator)).unwrap_or(SEPARATORS[0]);
        let mut reader = ReaderBuilder::new().delimiter(separator).from_reader(text.as_bytes());
        let header = reader.headers().map_err(|error| unreadable(&error))?.clone();
        if header.is_empty() {
            let what = format!("there is no header; write {}", kind.columns().join(","));
            return Err(RecordsError::Table { line: HEADER_LINE, what });
        }
        let mut columns = HashMap::new();
        for (index, name) in header.iter().enumerate() {
            let name = name.trim();
            let Some(column) = kind.columns().iter().find(|column| **column == name) else {
                let (known, name) = (kind.columns().join(", "), beginning(name));
                let what = format!("{} have no column {name:?}; theirs are {known}", kind.word());
                return Err(RecordsError::Table { line: HEADER_LINE, what });
            };
            if columns.insert(*column, index).is_some() {
                let what = format!("the column {name:?} is there twice");
                return Err(RecordsError::Table { line: HEADER_LINE, what });
            }
        }
        let mut rows = Vec::new();
        for record in reader.into_records() {
            let record = record.map_err(|error| unreadable(&error))?;
            // A row of nothing but separators is what a spreadsheet leaves where there was something once.
            if record.iter().any(|cell| !cell.trim().is_empty()) {
                rows.push((record.position().map_or(HEADER_LINE, csv::Position::line), record));
            }
        }
        Ok(Table { columns, rows })
    }

    /// Returns the rows that are not blank, in the order written.
    pub(super) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|(line, cells)| Row { line: *line, columns: &self.columns, cells })
    }
}

impl Row<'_> {
    /// Returns the text of a column as it was before it was exported; `None` when blank.
    pub(super) fn text(&self, column: &str) -> Option<String> {
        self.raw(column).map(|raw| text_cell::unguard(raw).to_owned())
    }

    /// Returns the text of a column that may not be blank.
    pub(super) fn needed_text(&self, column: &str) -> Result<String, RecordsError> {
        self.text(column).ok_or_else(|| self.blank(column))
    }

    /// Returns the number or date of a column; `None` when blank. `what` says how it should look.
    pub(super) fn value<T: FromStr>(&self, column: &str, what: &str) -> Result<Option<T>, RecordsError> {
        let Some(raw) = self.raw(column) else { return Ok(None) };
        let value = raw.trim().parse().map_err(|_| self.bad(column, what));
        value.map(Some)
    }

    /// Returns the number or date of a column that may not be blank.
    pub(super) fn needed<T: FromStr>(&self, column: &str, what: &str) -> Result<T, RecordsError> {
        self.value(column, what)?.ok_or_else(|| self.blank(column))
    }

    /// Returns the date of a column; `None` when blank.
    pub(super) fn date(&self, column: &str) -> Result<Option<Date>, RecordsError> {
        self.value(column, "a date such as 2026-11-25")
    }

    /// Returns the date of a column that may not be blank.
    pub(super) fn needed_date(&self, column: &str) -> Result<Date, RecordsError> {
        self.date(column)?.ok_or_else(|| self.blank(column))
    }

    /// Returns the figures of a column; none when blank.
    pub(super) fn figures(&self, column: &str) -> Result<Figures, RecordsError> {
        let Some(raw) = self.raw(column) else { return Ok(Figures::new()) };
        serde_json::from_str(raw).map_err(|_| self.bad(column, "figures such as {\"melt_c\": 54.5}"))
    }

    /// Returns what one of a few words stands for.
    pub(super) fn word<T>(&self, column: &str, called: fn(&str) -> Option<T>) -> Result<Option<T>, RecordsError> {
        let Some(raw) = self.raw(column) else { return Ok(None) };
        called(raw.trim()).map(Some).ok_or_else(|| self.bad(column, "a word this column can have"))
    }

    /// Returns what one of a few words stands for; the cell may not be blank.
    pub(super) fn needed_word<T>(&self, column: &str, called: fn(&str) -> Option<T>) -> Result<T, RecordsError> {
        self.word(column, called)?.ok_or_else(|| self.blank(column))
    }

    /// Says that a column should not be blank here.
    fn blank(&self, column: &str) -> RecordsError {
        RecordsError::Table { line: self.line, what: format!("`{column}` is blank") }
    }

    /// Says what a cell should have been.
    fn bad(&self, column: &str, what: &str) -> RecordsError {
        let seen = beginning(self.raw(column).unwrap_or_default());
        RecordsError::Table { line: self.line, what: format!("`{column}` is {seen:?}, not {what}") }
    }

    /// Returns a cell as it stands; `None` when blank.
    fn raw(&self, column: &str) -> Option<&str> {
        let index = self.columns.get(column)?;
        self.cells.get(*index).filter(|cell| !cell.trim().is_empty())
    }
}

/// Says where a text is not CSV.
fn unreadable(error: &csv::Error) -> RecordsError {
    let line = error.position().map_or(HEADER_LINE, csv::Position::line);
    let what = match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("the row has {len} cells, the header {expected_len}")
        }
        _ => error.to_string(),
    };
    RecordsError::Table { line, what }
}
