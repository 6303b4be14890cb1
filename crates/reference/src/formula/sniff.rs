//! Tells which format a text has when no file name says so.

use super::delimited::delimiter;
use super::{BYTE_ORDER_MARK, Format};
use crate::names::normalise;

/// Returns the format a text is most likely written in.
///
/// A table header, `[parts]` or a quoted name or note decides it; anything else is inline text.
///
/// ```
/// use barwright_reference::formula::{Format, sniff};
/// assert_eq!(sniff("ingredient,percent\nbeeswax,26\n"), Format::Csv);
/// assert_eq!(sniff("[parts]\nbeeswax = 26\n"), Format::Toml);
/// assert_eq!(sniff("beeswax = 26\noil = 74"), Format::Inline);
/// ```
pub fn sniff(text: &str) -> Format {
    let body = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
    let mut lines = body.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#'));
    let Some(first) = lines.next() else {
        return Format::Inline;
    };
    let mut cells = first.split(delimiter(first)).map(|cell| normalise(cell.trim_matches(['"', ' '])));
    if cells.any(|cell| matches!(cell.as_str(), "ingredient" | "ingredients")) {
        return Format::Csv;
    }
    if std::iter::once(first).chain(lines).any(is_toml_line) { Format::Toml } else { Format::Inline }
}

/// Whether a line can only be TOML.
fn is_toml_line(line: &str) -> bool {
    let value_of = |key: &str| line.strip_prefix(key).and_then(|rest| rest.trim_start().strip_prefix('='));
    let is_text = |value: &str| value.trim_start().starts_with(['"', '\'']);
    line.starts_with('[')
        || line.starts_with("parts.")
        || value_of("parts").is_some_and(|value| value.trim_start().starts_with('{'))
        || ["name", "note"].iter().any(|key| value_of(key).is_some_and(is_text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formats_are_told_apart() {
        for (text, format) in [
            ("", Format::Inline),
            ("beeswax 26, oil 74", Format::Inline),
            ("# mine\nbeeswax: 26\noil: 74", Format::Inline),
            ("\u{feff}[parts]\n", Format::Toml),
            ("name = 'x'\n[parts]\n", Format::Toml),
            ("parts = { beeswax = 1 }", Format::Toml),
            ("parts.beeswax = 1", Format::Toml),
            ("\u{feff}\"Ingredient\";\"A\"\n", Format::Csv),
            ("formula\tingredient\tparts\n", Format::Csv),
            ("# note\n\ningredient,A\n", Format::Csv),
        ] {
            assert_eq!(sniff(text), format, "{text:?}");
        }
    }
}
