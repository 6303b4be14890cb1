//! TOML text with the place of every key and value.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use crate::Diagnostic;
use crate::findings::Findings;
use crate::suggest::nearest;
use crate::wording::{list, quote};

/// A key with its value and their places.
#[derive(Debug)]
pub(crate) struct Entry<'t> {
    /// The key without quotes.
    pub(crate) key: String,
    /// Its place.
    pub(crate) key_span: Range<usize>,
    /// The value.
    pub(crate) value: DeValue<'t>,
    /// Its place.
    pub(crate) value_span: Range<usize>,
}

/// Reads a TOML text, reporting every syntax error; `offset` is added to every place.
pub(crate) fn read<'t>(text: &'t str, offset: usize, findings: &mut Findings) -> Vec<Entry<'t>> {
    let (table, errors) = DeTable::parse_recoverable(text);
    for error in errors {
        let span = error.span().unwrap_or(text.len()..text.len());
        let start = text.floor_char_boundary(span.start);
        let span = offset + start..offset + text.floor_char_boundary(span.end).max(start);
        findings.push(if error.message().starts_with("duplicate key") {
            let key = text.get(span.start - offset..span.end - offset).unwrap_or("");
            Diagnostic::error("duplicate-key", format!("the key {} is written twice", quote(key)), span)
                .hint("Keep one of them.")
        } else {
            Diagnostic::error("toml-syntax", format!("the TOML cannot be read: {}", error.message()), span)
                .hint("Write one `key = value` a line; a key or text with a blank in it goes into quotes.")
        });
    }
    entries(table.into_inner(), offset)
}

/// Returns the entries of a table in the order written.
pub(crate) fn entries(table: DeTable<'_>, offset: usize) -> Vec<Entry<'_>> {
    let mut entries: Vec<Entry<'_>> = table
        .into_iter()
        // An empty place marks a value that was never written, which is reported as a syntax error.
        .filter(|(_, value)| !value.span().is_empty())
        .map(|(key, value)| Entry {
            key_span: offset + key.span().start..offset + key.span().end,
            value_span: offset + value.span().start..offset + value.span().end,
            key: key.into_inner().into_owned(),
            value: value.into_inner(),
        })
        .collect();
    entries.sort_by_key(|entry| entry.key_span.start);
    entries
}

/// Makes the error for a key that has no meaning at its place.
pub(crate) fn unknown_key(entry: &Entry<'_>, known: &[&'static str]) -> Diagnostic {
    let message = format!("{} is not a key here", quote(&entry.key));
    let best = nearest(&entry.key, known.iter().copied().enumerate(), 1).first().and_then(|index| known.get(*index));
    let hint = best.map_or(String::new(), |best| format!("The nearest key is `{best}`; "));
    Diagnostic::error("unknown-key", message, entry.key_span.clone())
        .hint(format!("{hint}{} can be written here.", list(known.iter().copied(), "and")))
}

/// Makes the error for a value of the wrong kind.
pub(crate) fn wrong_kind(entry: &Entry<'_>, wanted: &str) -> Diagnostic {
    let message = format!("{} is {}, not {wanted}", quote(&entry.key), kind(&entry.value));
    Diagnostic::error("wrong-kind", message, entry.value_span.clone())
}

/// Returns a value as text that is not empty, or reports it.
pub(crate) fn filled_text(entry: &Entry<'_>, findings: &mut Findings) -> Option<String> {
    match &entry.value {
        DeValue::String(text) if !text.trim().is_empty() => Some(text.trim().to_owned()),
        DeValue::String(_) => {
            let message = format!("{} is empty", quote(&entry.key));
            findings.push(
                Diagnostic::error("empty-text", message, entry.value_span.clone())
                    .hint("Write a text or leave it out."),
            );
            None
        }
        _ => {
            findings.push(wrong_kind(entry, "a text in quotes"));
            None
        }
    }
}

/// Returns the plain decimal text of a number; `None` for any other value.
pub(crate) fn number_text<'v>(value: &'v DeValue<'_>) -> Option<&'v str> {
    match value {
        DeValue::Integer(integer) if integer.radix() == 10 => Some(integer.as_str()),
        DeValue::Float(float) => Some(float.as_str()),
        _ => None,
    }
}

/// Returns what a value is, in words.
fn kind(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_come_in_the_order_written_with_their_places() {
        let text = "b = 1\n\"a é\" = \"x\"";
        let mut findings = Findings::default();
        let entries = read(text, 0, &mut findings);
        let seen: Vec<_> = entries.iter().map(|e| (&text[e.key_span.clone()], &text[e.value_span.clone()])).collect();
        assert_eq!(seen, [("b", "1"), ("\"a é\"", "\"x\"")]);
        assert_eq!(read(text, 3, &mut findings).first().map(|entry| entry.key_span.clone()), Some(3..4));
        assert!(!findings.has_errors());
    }

    #[test]
    fn every_syntax_error_is_reported() {
        let mut findings = Findings::default();
        read("a = 1\na = 2\nb =\nc = 3 4\n", 0, &mut findings);
        let errors = findings.finish(()).err().unwrap_or_default();
        let codes: Vec<_> = errors.iter().map(|error| error.code).collect();
        assert_eq!(codes, ["duplicate-key", "toml-syntax", "toml-syntax"]);
    }

    #[test]
    fn a_syntax_error_after_an_offset_is_in_its_place() {
        let mut findings = Findings::default();
        read("ab = 1\nab = 2", 3, &mut findings);
        let errors = findings.finish(()).err().unwrap_or_default();
        let seen: Vec<_> = errors.iter().map(|error| (error.message.as_str(), error.span.clone())).collect();
        assert_eq!(seen, [("the key `ab` is written twice", 10..12)]);
    }

    #[test]
    fn a_value_of_another_kind_is_called_what_it_is() {
        let mut findings = Findings::default();
        let text = "a = 'x'\nb = 1\nc = 1.5\nd = true\ne = 2026-07-01\nf = []\ng = {}";
        let messages: Vec<_> =
            read(text, 0, &mut findings).iter().map(|entry| wrong_kind(entry, "a colour").message).collect();
        let kinds = ["a text", "a number", "a number", "true or false", "a date", "a list", "a table"];
        let wanted: Vec<_> = ["a", "b", "c", "d", "e", "f", "g"]
            .iter()
            .zip(kinds)
            .map(|(key, kind)| format!("`{key}` is {kind}, not a colour"))
            .collect();
        assert_eq!(messages, wanted);
    }

    #[test]
    fn an_unknown_key_names_the_nearest() {
        let mut findings = Findings::default();
        let entries = read("prats = 1", 0, &mut findings);
        let diagnostic = entries.first().map(|entry| unknown_key(entry, &["name", "parts"]));
        let hints = diagnostic.map(|diagnostic| diagnostic.hints).unwrap_or_default();
        assert_eq!(hints, ["The nearest key is `parts`; `name` and `parts` can be written here."]);
    }
}
