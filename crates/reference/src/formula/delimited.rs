//! Splits delimited text into fields with the place of each.

use std::borrow::Cow;
use std::ops::Range;

use crate::Diagnostic;
use crate::findings::Findings;

/// One field.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Field<'t> {
    /// Its text, without quotes and without blanks around it.
    pub(crate) text: Cow<'t, str>,
    /// Its place, quotes included.
    pub(crate) span: Range<usize>,
}

/// One row with at least one filled field.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Row<'t> {
    /// Line it starts on, counted from 1.
    pub(crate) line: usize,
    /// Its fields.
    pub(crate) fields: Vec<Field<'t>>,
}

/// Returns the delimiter of a header line: the one it has most of, outside quotes, among tab, semicolon and comma.
pub(crate) fn delimiter(header: &str) -> char {
    let bare: String = header.split('"').step_by(2).collect();
    let count = |mark: char| bare.matches(mark).count();
    // The last of equal counts wins.
    [',', ';', '\t'].into_iter().max_by_key(|mark| count(*mark)).unwrap_or(',')
}

/// Splits a text into rows, from byte `start`; rows without any filled field and rows that start with `#` are passed over.
pub(crate) fn split<'t>(text: &'t str, start: usize, delimiter: char, findings: &mut Findings) -> Vec<Row<'t>> {
    let mut splitter = Splitter::new(text, start, delimiter);
    std::iter::from_fn(|| splitter.next(findings)).collect()
}

/// Splits a text row by row, for one too long to hold as rows.
pub(crate) struct Splitter<'t> {
    text: &'t str,
    delimiter: char,
    place: usize,
    line: usize,
}

impl<'t> Splitter<'t> {
    /// Starts at byte `start`.
    pub(crate) fn new(text: &'t str, start: usize, delimiter: char) -> Self {
        Splitter { text, delimiter, place: start, line: 1 }
    }

    /// Returns the next row, as [`split`] does.
    pub(crate) fn next(&mut self, findings: &mut Findings) -> Option<Row<'t>> {
        let Splitter { text, delimiter, .. } = *self;
        while self.place < text.len() {
            let rest = text.get(self.place..).unwrap_or("");
            if rest.starts_with('#') {
                self.place += line_end(rest) + ending(rest.get(line_end(rest)..).unwrap_or(""));
                self.line += 1;
                continue;
            }
            let mut row = Row { line: self.line, fields: Vec::new() };
            loop {
                let field = field(text, self.place, delimiter, findings);
                self.line += newlines(text.get(field.span.clone()).unwrap_or(""));
                self.place = field.end;
                row.fields.push(Field { text: field.text, span: field.span });
                let rest = text.get(self.place..).unwrap_or("");
                if rest.starts_with(delimiter) {
                    self.place += delimiter.len_utf8();
                } else {
                    self.place += ending(rest);
                    self.line += 1;
                    break;
                }
            }
            if row.fields.iter().any(|field| !field.text.is_empty()) {
                return Some(row);
            }
        }
        None
    }
}

/// A field and where the text goes on.
struct Cut<'t> {
    text: Cow<'t, str>,
    span: Range<usize>,
    end: usize,
}

/// Reads the field that starts at `place`.
fn field<'t>(text: &'t str, place: usize, delimiter: char, findings: &mut Findings) -> Cut<'t> {
    let is_blank = |letter: char| letter.is_whitespace() && !matches!(letter, '\n' | '\r') && letter != delimiter;
    let rest = text.get(place..).unwrap_or("");
    let inner = rest.trim_start_matches(is_blank);
    let start = place + rest.len() - inner.len();
    let Some(quoted) = inner.strip_prefix('"') else {
        let end = inner.find([delimiter, '\n', '\r']).unwrap_or(inner.len());
        let value = inner.get(..end).unwrap_or("").trim_end();
        return Cut { text: Cow::Borrowed(value), span: start..start + value.len(), end: start + end };
    };
    let mut close = None;
    let mut letters = quoted.char_indices().peekable();
    while let Some((at, letter)) = letters.next() {
        if letter == '"' && letters.next_if(|(_, next)| *next == '"').is_none() {
            close = Some(at);
            break;
        }
    }
    let Some(close) = close else {
        findings.push(
            Diagnostic::error("quote-not-closed", "a quoted field is not closed", start..start + 1)
                .hint("Close it with a double quote; write a quote inside it twice."),
        );
        return Cut { text: Cow::Borrowed(""), span: start..text.len(), end: text.len() };
    };
    let value = quoted.get(..close).unwrap_or("").trim();
    let value = if value.contains('"') { Cow::Owned(value.replace("\"\"", "\"")) } else { Cow::Borrowed(value) };
    let after = start + 1 + close + 1;
    let rest = text.get(after..).unwrap_or("");
    let length = rest.find([delimiter, '\n', '\r']).unwrap_or(rest.len());
    let trailing = rest.get(..length).unwrap_or("");
    if !trailing.trim().is_empty() {
        let from = after + trailing.len() - trailing.trim_start().len();
        findings.push(
            Diagnostic::error("text-after-quote", "text follows a quoted field", from..from + trailing.trim().len())
                .hint("Put the whole field into quotes; write a quote inside it twice."),
        );
    }
    Cut { text: value, span: start..after, end: after + length }
}

/// Returns the length of the first line without its ending.
pub(crate) fn line_end(text: &str) -> usize {
    text.find(['\n', '\r']).unwrap_or(text.len())
}

/// Returns the length of the line ending a text starts with.
fn ending(text: &str) -> usize {
    if text.starts_with("\r\n") { 2 } else { usize::from(text.starts_with(['\n', '\r'])) }
}

/// Counts the line endings in a text.
fn newlines(text: &str) -> usize {
    text.matches('\n').count() + text.matches('\r').count() - text.matches("\r\n").count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_are_cut_with_their_places() {
        let text = "a, \"b,\"\"c\" ,\r\n\n,,\n# x\n\"d\ne\",f,g";
        let mut findings = Findings::default();
        let rows = split(text, 0, ',', &mut findings);
        assert!(!findings.has_errors());
        let seen: Vec<(usize, Vec<(&str, &str)>)> = rows
            .iter()
            .map(|row| (row.line, row.fields.iter().map(|f| (f.text.as_ref(), &text[f.span.clone()])).collect()))
            .collect();
        assert_eq!(
            seen,
            [
                (1, vec![("a", "a"), ("b,\"c", "\"b,\"\"c\""), ("", "")]),
                (5, vec![("d\ne", "\"d\ne\""), ("f", "f"), ("g", "g")])
            ]
        );
    }

    #[test]
    fn lines_inside_quotes_are_counted() {
        for (text, lines) in [
            ("a\n\"b\nc\nd\",e\nf", [1, 2, 5]),
            ("a\r\n\"b\r\nc\"\r\nd", [1, 2, 4]),
            ("a\r\"b\rc\"\rd", [1, 2, 4]),
            ("a\n\"b\"\nc", [1, 2, 3]),
        ] {
            let rows = split(text, 0, ',', &mut Findings::default());
            assert_eq!(rows.iter().map(|row| row.line).collect::<Vec<_>>(), lines, "{text:?}");
        }
    }

    #[test]
    fn bad_quotes_are_reported() {
        for (text, code) in [("a,\"b\nc", "quote-not-closed"), ("\"a\"b,c", "text-after-quote")] {
            let mut findings = Findings::default();
            split(text, 0, ',', &mut findings);
            let errors = findings.finish(()).err().unwrap_or_default();
            assert_eq!(errors.iter().map(|error| error.code).collect::<Vec<_>>(), [code]);
        }
    }

    #[test]
    fn the_delimiter_is_the_most_frequent() {
        for (header, mark) in [("a,b", ','), ("a;b,c;d", ';'), ("a\tb", '\t'), ("\"a;b;c\",d", ','), ("a", '\t')] {
            assert_eq!(delimiter(header), mark, "{header:?}");
        }
    }
}
