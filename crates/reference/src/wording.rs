//! Pieces of messages: quoted text, lists of names and short numbers.

/// Largest number of characters of the user's own text repeated in a message.
const MAX_QUOTED: usize = 48;

/// Returns the text in back quotes, as [`visible`] has it.
pub(crate) fn quote(text: &str) -> String {
    format!("`{}`", visible(text))
}

/// Returns the text shortened, with control characters made visible.
pub(crate) fn visible(text: &str) -> String {
    let mut shown = String::new();
    for (count, letter) in text.trim().chars().enumerate() {
        if count == MAX_QUOTED {
            shown.push('…');
            break;
        }
        if letter.is_control() {
            shown.extend(letter.escape_default());
        } else {
            shown.push(letter);
        }
    }
    shown
}

/// Returns quoted names as a list, e.g. `` `a`, `b` or `c` `` with `last` being "or".
pub(crate) fn list<'n>(names: impl IntoIterator<Item = &'n str>, last: &str) -> String {
    let quoted: Vec<String> = names.into_iter().map(quote).collect();
    match quoted.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((end, rest)) => format!("{} {last} {end}", rest.join(", ")),
    }
}

/// Returns a number, of any unit, with three significant digits, or more where it is a whole number, without trailing zeros.
///
/// ```
/// use barwright_reference::short;
/// assert_eq!([0.7938, 100.0, 1e308].map(short), ["0.794", "100", "1.00e308"]);
/// ```
pub fn short(value: f64) -> String {
    let magnitude = value.abs();
    if magnitude != 0.0 && !(1e-4..1e9).contains(&magnitude) {
        return format!("{value:.2e}");
    }
    let whole_digits = if magnitude >= 1.0 { magnitude.log10().floor() as usize + 1 } else { 0 };
    let decimals = match whole_digits {
        0 if magnitude == 0.0 => 0,
        0 => 2 + (-magnitude.log10()).ceil() as usize,
        digits => 3_usize.saturating_sub(digits),
    };
    trim_zeros(&format!("{value:.decimals$}")).to_owned()
}

/// Returns a number without the zeros that end its decimals.
pub fn trim_zeros(number: &str) -> &str {
    if number.contains('.') { number.trim_end_matches('0').trim_end_matches('.') } else { number }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quotes_are_short_and_visible() {
        assert_eq!(quote(" a\u{1b}b "), "`a\\u{1b}b`");
        assert_eq!(quote(&"é".repeat(60)).chars().count(), MAX_QUOTED + 3);
    }

    #[test]
    fn lists_read_as_english() {
        assert_eq!(list([], "or"), "");
        assert_eq!(list(["a"], "or"), "`a`");
        assert_eq!(list(["a", "b", "c"], "or"), "`a`, `b` or `c`");
    }

    #[test]
    fn numbers_keep_three_digits() {
        for (value, text) in [
            (9.6, "9.6"),
            (9.6149, "9.61"),
            (0.0, "0"),
            (100.0, "100"),
            (283.495, "283"),
            (12345.6, "12346"),
            (0.05, "0.05"),
            (0.012345, "0.0123"),
            (0.5123, "0.512"),
            (0.00098765, "0.000988"),
            (-3.0, "-3"),
            (1e12, "1.00e12"),
        ] {
            assert_eq!(short(value), text);
        }
    }
}
