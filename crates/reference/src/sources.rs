//! The publications named in the tables, read from BibTeX.

use crate::wording::list;

/// The bibliography that comes with this crate, as BibTeX.
pub const SOURCES: &str = include_str!("../../../data/sources.bib");

/// One publication.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source<'t> {
    /// Key, as in the `source` columns.
    pub key: &'t str,
    /// Names of fields with their values, as written.
    fields: Vec<(&'t str, &'t str)>,
}

impl Source<'_> {
    /// Returns a field by its name, e.g. `title`, on one line and without braces.
    pub fn field(&self, name: &str) -> Option<String> {
        self.fields.iter().find(|(field, _)| field.eq_ignore_ascii_case(name)).map(|(_, value)| tidy(value))
    }

    /// Returns author, year, title, place of publication and note on one line.
    pub fn citation(&self) -> String {
        let mut line = String::new();
        if let Some(author) =
            self.field("author").or_else(|| self.field("editor")).or_else(|| self.field("organization"))
        {
            line.push_str(&author);
        }
        if let Some(year) = self.field("year") {
            line.push_str(if line.is_empty() { "(" } else { " (" });
            line.push_str(&year);
            line.push(')');
        }
        for name in ["title", "journal", "booktitle", "publisher", "institution", "note"] {
            if let Some(value) = self.field(name).filter(|value| !value.is_empty()) {
                if !line.is_empty() {
                    line.push_str(". ");
                }
                line.push_str(value.trim_end_matches('.'));
            }
        }
        line
    }
}

/// Reads the entries of a BibTeX text; comments and anything outside an entry are passed over.
///
/// # Errors
/// The first entry that is not well formed, named by its key or its line.
pub fn read_sources(text: &str) -> Result<Vec<Source<'_>>, String> {
    let mut sources: Vec<Source<'_>> = Vec::new();
    let mut rest = text;
    while let Some(at) = rest.find('@') {
        let line_start = rest.get(..at).unwrap_or("").rsplit('\n').next().unwrap_or("");
        rest = rest.get(at + 1..).unwrap_or("");
        if !line_start.trim().is_empty() {
            continue;
        }
        let before = text.len() - rest.len();
        let malformed = |what: &str| {
            let line = text.get(..before).unwrap_or("").matches('\n').count() + 1;
            format!("sources.bib, line {line}: {what}")
        };
        let (kind, body) = rest.split_once('{').ok_or_else(|| malformed("an entry has no opening brace"))?;
        if kind.trim().eq_ignore_ascii_case("comment") {
            continue;
        }
        let (key, body) = body.split_once(',').ok_or_else(|| malformed("an entry has no key"))?;
        let mut source = Source { key: key.trim(), fields: Vec::new() };
        rest = body;
        loop {
            rest = rest.trim_start_matches(|letter: char| letter.is_whitespace() || letter == ',');
            if let Some(after) = rest.strip_prefix('}') {
                rest = after;
                break;
            }
            let broken = || malformed(&format!("the entry {} is not closed", list([source.key], "")));
            let (name, after) = rest.split_once('=').ok_or_else(broken)?;
            let (value, after) = field_value(after.trim_start()).ok_or_else(broken)?;
            source.fields.push((name.trim(), value));
            rest = after;
        }
        if sources.iter().any(|earlier| earlier.key == source.key) {
            return Err(malformed(&format!("the key {} comes twice", list([source.key], ""))));
        }
        sources.push(source);
    }
    Ok(sources)
}

/// Returns the publication with this key on one line, for showing, or `None` when the bibliography has no such key.
///
/// ```
/// assert_eq!(barwright_reference::sources::source_citation("no-such-source"), None);
/// ```
pub fn source_citation(key: &str) -> Option<String> {
    read_sources(SOURCES).ok()?.iter().find(|source| source.key == key).map(Source::citation)
}

/// Reads one field value in braces, in quotes or bare, and returns it as it stands with the text after it.
fn field_value(text: &str) -> Option<(&str, &str)> {
    let mut depth = 0_usize;
    let quoted = text.starts_with('"');
    for (place, letter) in text.char_indices() {
        match letter {
            '{' => depth += 1,
            '}' if depth == 0 && !quoted => return Some((text.get(..place)?, text.get(place..)?)),
            '}' => {
                depth = depth.checked_sub(1)?;
                if depth == 0 && text.starts_with('{') {
                    return Some((text.get(..=place)?, text.get(place + 1..)?));
                }
            }
            '"' if quoted && depth == 0 && place > 0 => {
                return Some((text.get(1..place)?, text.get(place + 1..)?));
            }
            ',' if depth == 0 && !quoted => return Some((text.get(..place)?, text.get(place..)?)),
            _ => {}
        }
    }
    None
}

/// Drops the braces and joins the lines of a value.
fn tidy(value: &str) -> String {
    let plain: String = value.chars().filter(|letter| !matches!(letter, '{' | '}')).collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ").replace("--", "–").replace("\\&", "&")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    #[test]
    fn entries_are_read_whatever_the_quoting() {
        let text = "% mail@example\n@article{a1,\n  title = {On {POS}\n   crystals},\n  author=\"A. Nother\", year = 1990\n}\n\
                    @misc{b2, note = {x, y = z}, title={T.},}\n";
        let sources = read_sources(text).unwrap();
        assert_eq!(sources.len(), 2);
        assert_eq!(sources[0].citation(), "A. Nother (1990). On POS crystals");
        assert_eq!(sources[1].citation(), "T. x, y = z");
    }

    #[test]
    fn bare_values_end_at_a_comma_and_quotes_inside_braces_are_letters() {
        let text = "@misc{c3, author = \"G{\\\"o}del\", year = 1931, title = {T}}";
        assert_eq!(read_sources(text).unwrap()[0].citation(), "G\\\"odel (1931). T");
    }

    #[test]
    fn an_error_tells_its_line() {
        let text = "@misc{a, title = {T}}\n% b@c\n\n@misc{d";
        assert!(read_sources(text).unwrap_err().starts_with("sources.bib, line 4: "));
    }

    #[test]
    fn a_key_finds_its_own_publication() {
        let all = read_sources(SOURCES).unwrap();
        for one in [&all[0], &all[all.len() - 1]] {
            assert_eq!(source_citation(one.key), Some(one.citation()), "{}", one.key);
        }
        assert_eq!(source_citation("no-such-source"), None);
    }

    #[test]
    fn malformed_entries_are_refused() {
        for text in ["@misc{a, title = {x", "@misc", "@misc{a", "@misc{a, title}", "@misc{a,}@misc{a,}\n@misc{a,}"] {
            assert!(read_sources(text).is_err(), "{text}");
        }
    }
}
