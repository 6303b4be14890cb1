//! A formula on one line or one part a line: `beeswax 26, mango butter 22, sunflower oil 52`.

use std::ops::Range;

use super::assemble::{Written, assemble};
use super::quantity::{is_unit, parse_quantity};
use super::{BYTE_ORDER_MARK, MAX_PARTS, Reading};
use crate::finder::Finder;
use crate::findings::Findings;
use crate::number::scan;
use crate::wording::quote;
use crate::{Diagnostic, Diagnostics, Library};

/// What to do when a comma between digits was meant to part two ingredients.
const COMMA_HINT: &str =
    "A comma between two digits is a decimal comma; put a blank after a comma that parts ingredients.";

/// Most words of a unit: `parts by mass`.
const MAX_UNIT_WORDS: usize = 3;

/// Reads a formula from inline text and gives it the name `name`.
///
/// Parts are separated by commas, semicolons, plus signs or line ends; each is a name and an amount in either order, with `:`
/// or `=` between them if wished. A comma between two digits is a decimal comma. `#` starts a comment.
///
/// # Errors
/// Every error of the text.
///
/// ```
/// use barwright_reference::{Library, formula::read_inline};
/// let library = Library::builtin()?;
/// let reading = read_inline("26% beeswax; sunflower oil: 74%", "soft", &library)?;
/// assert_eq!(reading.formulas[0].parts[1].percent, 74.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_inline(text: &str, name: &str, library: &Library) -> Result<Reading, Diagnostics> {
    let mut findings = Findings::default();
    let segments = segments(text, &mut findings);
    let written: Vec<Written<'_>> = if segments.len() > MAX_PARTS {
        let message = format!("the formula has {} parts, more than {MAX_PARTS}", segments.len());
        findings
            .push(Diagnostic::error("too-many-parts", message, 0..text.len()).hint("Split it into several formulas."));
        Vec::new()
    } else {
        segments.into_iter().filter_map(|span| part(text, span, library, &mut findings)).collect()
    };
    // Parts that could not be read have been reported; that none is left is no further error.
    let formula = if written.is_empty() && findings.has_errors() {
        None
    } else {
        assemble(text, name, 0..text.len(), &written, &mut Finder::new(library), &mut findings)
    };
    let (formula, notes) = findings.finish(formula)?;
    Ok(Reading { formulas: formula.into_iter().collect(), notes, remark: None })
}

/// Cuts a text into parts; blank ones at the end of a line are passed over, others are reported.
fn segments(text: &str, findings: &mut Findings) -> Vec<Range<usize>> {
    let mut segments = Vec::new();
    let mut start = if text.starts_with(BYTE_ORDER_MARK) { BYTE_ORDER_MARK.len() } else { 0 };
    // Whether nothing but blanks and line ends stand before the part since the text began or a separator came.
    let mut expects_part = true;
    let mut in_comment = false;
    let mut before: [Option<char>; 2] = [None, None];
    let mut letters = text.char_indices().peekable();
    let mut close = |span: Range<usize>, separator: Option<char>, segments: &mut Vec<Range<usize>>| {
        let piece = text.get(span.clone()).unwrap_or("");
        let from = span.start + piece.len() - piece.trim_start().len();
        let trimmed = from..from + piece.trim().len();
        let is_blank = trimmed.is_empty();
        if !is_blank {
            segments.push(trimmed);
        } else if expects_part && let Some(separator) = separator {
            let place = span.end..span.end + separator.len_utf8();
            findings.push(
                Diagnostic::error(
                    "empty-part",
                    format!("nothing stands before {}", quote(&separator.to_string())),
                    place,
                )
                .hint("Write an ingredient with its amount there, or leave the separator out."),
            );
        }
        expects_part = if separator.is_some() { true } else { expects_part && is_blank };
    };
    while let Some((at, letter)) = letters.next() {
        let next = letters.peek().map(|(_, next)| *next);
        let is_digit = |letter: Option<char>| letter.is_some_and(|letter| letter.is_ascii_digit());
        let is_line_end = matches!(letter, '\n' | '\r');
        let is_separator = match letter {
            ';' => true,
            ',' => !(is_digit(before[1]) && is_digit(next)),
            '+' => !(matches!(before, [Some('0'..='9' | '.'), Some('e' | 'E')]) && is_digit(next)),
            _ => false,
        };
        if in_comment {
            if is_line_end {
                in_comment = false;
                start = at;
            }
        } else if is_line_end || letter == '#' || is_separator {
            close(start..at, is_separator.then_some(letter), &mut segments);
            in_comment = letter == '#';
            start = at + letter.len_utf8();
        }
        before = [before[1], Some(letter)];
    }
    if !in_comment {
        close(start..text.len(), None, &mut segments);
    }
    segments
}

/// Reads one part, or reports what is missing.
fn part<'t>(text: &'t str, span: Range<usize>, library: &Library, findings: &mut Findings) -> Option<Written<'t>> {
    let whole = text.get(span.clone()).unwrap_or("");
    let (name, amount) = cut(without_bullet(whole), library);
    let (name, amount) = (without_dash(name.trim()), amount.trim());
    if words(name).any(|(_, word)| is_numeric(word)) && !library.names.is_taken(name) {
        findings.push(
            Diagnostic::error("two-amounts", format!("{} has two amounts", quote(whole)), span)
                .hint("Part the ingredients with a comma, or write `name = amount`."),
        );
        return None;
    }
    if name.is_empty() {
        findings.push(
            Diagnostic::error("name-missing", format!("{} names no ingredient", quote(whole)), span)
                .label("which ingredient?")
                .hint("Write the ingredient and its amount, such as `beeswax 26`."),
        );
        return None;
    }
    if amount.is_empty() {
        findings.push(
            Diagnostic::error("amount-missing", format!("{} has no amount", quote(whole)), span)
                .label("how much?")
                .hint("Write the amount by mass after the name, such as `beeswax 26`."),
        );
        return None;
    }
    Some(Written {
        name,
        name_span: place(text, name),
        amount: parse_quantity(amount),
        amount_span: place(text, amount),
        amount_hint: amount.contains(',').then_some(COMMA_HINT),
    })
}

/// Returns where a piece of a text stands in it.
fn place(text: &str, piece: &str) -> Range<usize> {
    let start = piece.as_ptr() as usize - text.as_ptr() as usize;
    start..start + piece.len()
}

/// The marks that can stand before a line of a list, or between a name and its amount.
const MARKS: [char; 5] = ['-', '–', '—', '*', '•'];

/// Drops the mark of a list before a part.
fn without_bullet(part: &str) -> &str {
    let after = part.strip_prefix(MARKS).filter(|after| after.starts_with(char::is_whitespace));
    after.map_or(part, str::trim_start)
}

/// Drops a dash after a name.
fn without_dash(name: &str) -> &str {
    let before = name.strip_suffix(MARKS).filter(|before| before.ends_with(char::is_whitespace));
    before.map_or(name, str::trim_end)
}

/// Tells name and amount of a part apart; either may come out empty.
///
/// A number at each end is an amount only where the rest is no name: `70 coconut oil 76` is 70 of `coconut oil 76`. Where the rest is a name either way, the
/// amount is the number at the end.
fn cut<'t>(whole: &'t str, library: &Library) -> (&'t str, &'t str) {
    if let Some(mark) = whole.rfind([':', '=']) {
        let (name, amount) = whole.split_at_checked(mark).unwrap_or((whole, ""));
        return (name, amount.get(1..).unwrap_or(""));
    }
    let split = |at: usize| whole.split_at_checked(at).unwrap_or((whole, ""));
    let leading = leading_amount(whole).map(|end| {
        let (amount, name) = split(end);
        let name = name.trim_start();
        (name.strip_prefix("of ").unwrap_or(name), amount)
    });
    let last = words(whole).filter(|(_, word)| is_numeric(word)).last().map(|(at, _)| at);
    let trailing = last.filter(|at| *at > 0 && is_whole_amount(whole.get(*at..).unwrap_or(""))).map(split);
    match (leading, trailing, last) {
        (Some(leading), Some(trailing), _) => {
            let is_name = |(name, _): (&str, &str)| library.names.is_taken(name);
            if is_name(leading) && !is_name(trailing) { leading } else { trailing }
        }
        (None, Some(trailing), _) => trailing,
        (Some(leading), None, _) => leading,
        (None, None, Some(at)) => split(at),
        (None, None, None) => (whole, ""),
    }
}

/// Returns the end of the amount a part starts with, when a name can follow it.
fn leading_amount(whole: &str) -> Option<usize> {
    let (_, first) = words(whole).next()?;
    if !is_numeric(first) {
        return None;
    }
    let number_end = whole.len() - scan(whole).rest()?.len();
    let ends = words(whole.get(number_end..)?).take(MAX_UNIT_WORDS).map(|(at, word)| number_end + at + word.len());
    let is_unit_up_to = |end: usize| whole.get(number_end..end).is_some_and(|unit| is_unit(unit.trim()));
    // The last of them is the longest.
    Some(ends.filter(|end| is_unit_up_to(*end)).last().unwrap_or(first.len()))
}

/// Whether a text is one number and a unit or nothing after it.
fn is_whole_amount(text: &str) -> bool {
    scan(text).rest().map(str::trim).is_some_and(|rest| rest.is_empty() || is_unit(rest))
}

/// Whether a word is an amount or begins one: a number with a unit, a range or a fraction, but not `12-hydroxystearic`.
fn is_numeric(word: &str) -> bool {
    scan(word).rest().is_some_and(|rest| {
        let mut letters = rest.chars();
        let punctuation = letters.next().is_some_and(|letter| !letter.is_alphanumeric());
        rest.is_empty()
            || is_unit(rest)
            || (punctuation && letters.next().is_some_and(|letter| letter.is_ascii_digit()))
    })
}

/// Returns the words of a text with their places.
fn words(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.split_whitespace().map(move |word| (word.as_ptr() as usize - text.as_ptr() as usize, word))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::sample::{codes, library, parts};

    #[test]
    fn every_spelling_of_a_part_is_read() {
        for text in [
            "beeswax 25, castor oil 75",
            "25% beeswax, 75 % castor oil",
            "beeswax: 25; castor oil = 75 %",
            "beeswax 25%\ncastor oil 75%\n",
            "1 g beeswax + castor oil 3 g",
            "beeswax 1oz\r\n3 oz castor oil",
            "beeswax 25,castor oil 75",
            "beeswax 12,5; castor oil 37,5",
            "0,25 parts beeswax, 0,75 castor oil,",
            "\u{feff}beeswax 25 # firm\n# soft\n- castor oil - 75",
            "* 1 lb of beeswax\n* 3 lb of castor oil;",
            "beeswax 1e+1 + castor oil 3e1",
            "beeswax 25;\n castor oil 75;\n\n",
            "beeswax 25\n, castor oil 75",
            "beeswax 25\n\n; castor oil 75",
            "25% beeswax+75% castor oil",
            "25 parts by mass beeswax, 75 Parts by Weight of castor oil",
        ] {
            let reading = read_inline(text, "x", &library());
            assert_eq!(parts(&library(), reading), [("beeswax", 25.0), ("castor-oil", 75.0)], "{text:?}");
        }
    }

    #[test]
    fn an_amount_stands_before_a_name_that_ends_in_a_number() {
        let library = Library::builtin().unwrap();
        for text in [
            "70 coconut oil 76, 30 beeswax",
            "70 % of Coconut Oil 76; 30% beeswax",
            "70 g coconut-oil-76, beeswax 30 g",
            "coconut oil 76 70, beeswax 30",
            "coconut oil 76 = 70, beeswax 30",
            "coconut oil 70, beeswax 30",
        ] {
            let mut seen = parts(&library, read_inline(text, "x", &library));
            seen.sort_unstable_by_key(|(name, _)| *name);
            assert_eq!(seen, [("beeswax", 30.0), ("coconut-oil-76", 70.0)], "{text:?}");
        }
        for text in ["70 coconut oil 75", "70 coconut oil 76 30", "26 beeswax 30"] {
            assert_eq!(codes(read_inline(text, "x", &library)), ["two-amounts"], "{text:?}");
        }
    }

    #[test]
    fn a_number_at_each_end_belongs_to_whichever_name_is_known() {
        for (names, text, read) in [
            (["85 wax", "x"], "85 wax 30, castor oil 10", [("a", 75.0), ("castor-oil", 25.0)]),
            // `5 refined` is no amount, so the amount is the 85.
            (["85 wax", "wax 5 refined"], "85 wax 5 refined, castor oil 15", [("b", 85.0), ("castor-oil", 15.0)]),
            (["85 wax", "wax 30"], "85 wax 30, castor oil 10", [("a", 75.0), ("castor-oil", 25.0)]),
        ] {
            let [first, second] = names;
            let lots = format!("[lot.a]\nlike='beeswax'\nname='{first}'\n[lot.b]\nlike='beeswax'\nname='{second}'\n");
            let (library, _) = library().with_lots(&lots).unwrap();
            assert_eq!(parts(&library, read_inline(text, "x", &library)), read, "{text}");
        }
    }

    #[test]
    fn every_refusal_has_its_code_and_place() {
        for (text, code, place) in [
            ("", "no-parts", ""),
            (" \n # beeswax 1\n", "no-parts", " \n # beeswax 1\n"),
            ("beeswax", "amount-missing", "beeswax"),
            ("beeswax 1; castor oil =", "amount-missing", "castor oil ="),
            ("beeswax 1, 26 %", "name-missing", "26 %"),
            ("beeswax 1, = 4", "name-missing", "= 4"),
            ("beeswax 1,, castor oil 2", "empty-part", ","),
            (", beeswax 1", "empty-part", ","),
            ("beeswax 26 castor oil 74", "two-amounts", "beeswax 26 castor oil 74"),
            ("26 g beeswax 3", "two-amounts", "26 g beeswax 3"),
            ("beeswax 26,74 castor oil", "unknown-unit", "26,74 castor oil"),
            ("beeswax 2 handfuls", "unknown-unit", "2 handfuls"),
            ("beeswax -5", "negative-amount", "-5"),
            ("beeswax = - 5", "not-a-number", "- 5"),
            ("beeswax 20-30", "not-a-number", "20-30"),
            ("beeswax 1/2 oz", "not-a-number", "1/2 oz"),
            ("beeswax: lots", "not-a-number", "lots"),
            ("beeswax nan", "amount-not-finite", "nan"),
            ("beeswax 0", "zero-amount", "0"),
            ("é 1, beeswax 1", "unknown-ingredient", "é"),
            ("shared wax 1", "ambiguous-ingredient", "shared wax"),
            ("beeswax 10 ml", "volume", "10 ml"),
            ("10 fl oz beeswax", "volume", "10 fl oz"),
            ("beeswax 45 °C", "temperature-as-amount", "45 °C"),
            ("45 °C beeswax", "temperature-as-amount", "45 °C"),
            ("beeswax 1 g, castor oil 2", "mixed-units", "2"),
            ("beeswax 5 %, castor oil 1 kg", "mixed-units", "1 kg"),
        ] {
            let errors = read_inline(text, "x", &library()).unwrap_err();
            let seen: Vec<_> = errors.iter().map(|error| (error.code, &text[error.span.clone()])).collect();
            assert_eq!(seen, [(code, place)], "{text:?}: {errors:?}");
        }
    }

    #[test]
    fn all_errors_come_at_once() {
        let text = "beswax 1, castor oil 0, shared wax, 5";
        let seen = codes(read_inline(text, "x", &library()));
        assert_eq!(seen, ["unknown-ingredient", "zero-amount", "amount-missing", "name-missing"]);
    }

    #[test]
    fn amounts_are_told_from_words() {
        for (text, whole) in [
            ("26", true),
            ("26 g", true),
            ("26%", true),
            ("26 handfuls", false),
            ("g", false),
            ("26 beeswax 30", false),
        ] {
            assert_eq!(is_whole_amount(text), whole, "{text}");
        }
        for (word, numeric) in [
            ("26", true),
            ("26g", true),
            ("20-30", true),
            ("1/2", true),
            ("12-hydroxystearic", false),
            ("c12-15", false),
            ("5gm", false),
            ("5-", false),
        ] {
            assert_eq!(is_numeric(word), numeric, "{word}");
        }
    }

    #[test]
    fn too_many_parts_are_one_error() {
        let errors = read_inline(&"x 1;".repeat(MAX_PARTS + 1), "x", &library()).unwrap_err();
        assert_eq!(errors.len(), 1);
        assert_eq!(errors[0].message, "the formula has 201 parts, more than 200");
        assert_eq!(
            parts(&library(), read_inline(&"beeswax 1;".repeat(MAX_PARTS), "x", &library())),
            [("beeswax", 100.0)]
        );
    }
}
