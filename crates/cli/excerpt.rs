//! The line of a text that a message points into: short, and safe to show.

use std::ops::Range;

use barwright_reference::diagnostic::line_column;

use barwright_answer::words::visible::visible_letter;

/// Characters shown before the place when a line has to be cut.
const LEAD: usize = 30;

/// One line, cut around a place.
#[derive(Debug, PartialEq)]
pub struct Excerpt {
    /// The line as shown.
    pub shown: String,
    /// Byte range of the place in the shown line.
    pub span: Range<usize>,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in the whole line, in characters, counted from 1.
    pub column: usize,
    /// Whether the line is shown from its first character to its last.
    pub whole: bool,
}

/// Cuts the line at the start of `span` to at most `columns` characters around it.
///
/// Control characters and those that change the direction of writing are shown as signs. Of a range over several lines the
/// first line with text in it is shown.
pub fn excerpt(text: &str, span: &Range<usize>, columns: usize) -> Excerpt {
    let mut span = text.floor_char_boundary(span.start)..text.floor_char_boundary(span.end);
    let written = text.get(span.clone()).unwrap_or("");
    let blank = written.len() - written.trim_start().len();
    if blank < written.len() {
        span.start += blank;
    }
    let (line, column) = line_column(text, span.start);
    let before = text.get(..span.start).unwrap_or("");
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    let whole = text.get(line_start..).unwrap_or("").lines().next().unwrap_or("");

    let first = if column > columns * 2 / 3 { column - 1 - LEAD } else { 0 };
    let mut shown = String::new();
    let (mut start, mut end) = (None, None);
    if first > 0 {
        shown.push('…');
    }
    let mut cut = false;
    for (count, (at, letter)) in whole.char_indices().enumerate().skip(first) {
        if line_start + at >= span.start {
            start.get_or_insert(shown.len());
        }
        if line_start + at >= span.end {
            end.get_or_insert(shown.len());
        }
        if count - first >= columns {
            cut = true;
            break;
        }
        shown.extend(visible_letter(letter));
    }
    let start = start.unwrap_or(shown.len());
    let end = end.unwrap_or(shown.len()).max(start);
    if cut {
        shown.push('…');
    }
    Excerpt { shown, span: start..end, line, column, whole: first == 0 && !cut }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marked(text: &str, span: Range<usize>, columns: usize) -> (String, usize, usize) {
        let cut = excerpt(text, &span, columns);
        let (before, rest) = cut.shown.split_at(cut.span.start);
        let (at, after) = rest.split_at(cut.span.len());
        (format!("{before}[{at}]{after}"), cut.line, cut.column)
    }

    #[test]
    fn the_place_is_marked_in_its_line() {
        for (text, span, shown) in [
            ("beeswax 26\noil x", 15..16, ("oil [x]", 2, 5)),
            ("beeswax 26\noil", 14..14, ("oil[]", 2, 4)),
            ("", 0..0, ("[]", 1, 1)),
            ("\n\n# a\n", 0..7, ("[# a]", 3, 1)),
            ("a\u{1b}\u{202e}é b\r\n", 5..8, ("a␛�[é ]b", 1, 4)),
            ("\u{feff}name", 3..7, ("[name]", 1, 2)),
            ("é", 1..9, ("[é]", 1, 1)),
        ] {
            let (line, row, column) = marked(text, span, 80);
            assert_eq!((line.as_str(), row, column), shown, "{text:?}");
        }
    }

    #[test]
    fn long_lines_are_cut_around_the_place() {
        let text = format!("{}wax{}", "x".repeat(100_000), "y".repeat(100_000));
        let (line, row, column) = marked(&text, 100_000..100_003, 60);
        assert_eq!((row, column), (1, 100_001));
        assert_eq!(line, format!("…{}[wax]{}…", "x".repeat(30), "y".repeat(27)));
        let (line, ..) = marked(&text, 0..200_000, 60);
        assert_eq!(line, format!("[{}]…", "x".repeat(60)));
    }
}
