//! The number at the start of a text: sign, digits, decimal point or comma, exponent.

/// What a text starts with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Scan<'t> {
    /// No number.
    None,
    /// The word for infinity or for not-a-number.
    NotFinite {
        /// The text after it.
        rest: &'t str,
    },
    /// A comma before exactly three digits, which may part thousands or decimals.
    Ambiguous {
        /// Value if the comma is a decimal comma.
        decimal: f64,
        /// Value if the comma parts thousands.
        thousands: f64,
        /// The text after it.
        rest: &'t str,
    },
    /// A number; infinite when it is too large to hold.
    Number {
        /// The value.
        value: f64,
        /// Whether a digit other than 0 was written before the exponent, so that a value of 0 is an underflow.
        written_nonzero: bool,
        /// The text after it.
        rest: &'t str,
    },
}

impl<'t> Scan<'t> {
    /// Returns the text after the number, or `None` when there is no number.
    pub(crate) fn rest(self) -> Option<&'t str> {
        match self {
            Scan::None => None,
            Scan::NotFinite { rest } | Scan::Ambiguous { rest, .. } | Scan::Number { rest, .. } => Some(rest),
        }
    }
}

/// Reads the number a text starts with.
pub(crate) fn scan(text: &str) -> Scan<'_> {
    let (negative, unsigned) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(unsigned) => (true, unsigned),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    for word in ["infinity", "inf", "nan"] {
        if let Some((head, rest)) = unsigned.split_at_checked(word.len())
            && head.eq_ignore_ascii_case(word)
            && !rest.starts_with(|next: char| next.is_alphanumeric() || next == '-')
        {
            return Scan::NotFinite { rest };
        }
    }
    let (whole, after_whole) = digits(unsigned);
    let (fraction, comma, after_fraction) = match after_whole.strip_prefix(['.', ',']).map(digits) {
        Some((fraction, after)) if !fraction.is_empty() => (fraction, after_whole.starts_with(','), after),
        Some((_, after)) if !whole.is_empty() && after_whole.starts_with('.') => ("", false, after),
        _ => ("", false, after_whole),
    };
    if whole.is_empty() && (fraction.is_empty() || comma) {
        return Scan::None;
    }
    let (exponent, rest) = exponent(after_fraction);
    let sign = if negative { "-" } else { "" };
    let parse = |written: String| written.parse::<f64>().unwrap_or(f64::NAN);
    let value = parse(format!("{sign}{whole}.{fraction}0{exponent}"));
    if comma && fraction.len() == 3 && whole.len() <= 3 && !whole.starts_with('0') && exponent.is_empty() {
        return Scan::Ambiguous { decimal: value, thousands: parse(format!("{sign}{whole}{fraction}")), rest };
    }
    let written_nonzero = whole.bytes().chain(fraction.bytes()).any(|digit| digit != b'0');
    Scan::Number { value, written_nonzero, rest }
}

/// Splits the ASCII digits off the start.
fn digits(text: &str) -> (&str, &str) {
    let end = text.bytes().take_while(u8::is_ascii_digit).count();
    text.split_at_checked(end).unwrap_or(("", text))
}

/// Splits an exponent (`e5`, `E-3`) off the start; empty when there is none.
fn exponent(text: &str) -> (&str, &str) {
    let Some(after_letter) = text.strip_prefix(['e', 'E']) else {
        return ("", text);
    };
    let (power, rest) = digits(after_letter.strip_prefix(['+', '-']).unwrap_or(after_letter));
    let end = text.len() - rest.len();
    if power.is_empty() { ("", text) } else { text.split_at_checked(end).unwrap_or(("", text)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_with_what_follows() {
        for (text, value, rest) in [
            ("26", 26.0, ""),
            ("26 g", 26.0, " g"),
            ("-1.5e3x", -1500.0, "x"),
            ("\u{2212}5", -5.0, ""),
            ("+5", 5.0, ""),
            (".5", 0.5, ""),
            ("5.", 5.0, ""),
            ("26,5 %", 26.5, " %"),
            ("26,mango", 26.0, ",mango"),
            ("0,125", 0.125, ""),
            ("3each", 3.0, "each"),
            ("1.2.3", 1.2, ".3"),
            ("1e999", f64::INFINITY, ""),
            ("12-hydroxy", 12.0, "-hydroxy"),
        ] {
            let Scan::Number { value: seen, rest: after, .. } = scan(text) else {
                unreachable!("{text:?} gave {:?}", scan(text))
            };
            assert_eq!((seen, after), (value, rest), "{text:?}");
        }
    }

    #[test]
    fn other_starts_are_told_apart() {
        for text in ["", "abc", "-", ".", ",5", "info", "nano", "½", "inf-2"] {
            assert_eq!(scan(text), Scan::None, "{text:?}");
        }
        for text in ["nan", "-inf", "Infinity %", "NaN%"] {
            assert!(matches!(scan(text), Scan::NotFinite { .. }), "{text:?}");
        }
        assert_eq!(scan("33,333 g"), Scan::Ambiguous { decimal: 33.333, thousands: 33333.0, rest: " g" });
        assert!(matches!(scan("1e-999"), Scan::Number { value: 0.0, written_nonzero: true, .. }));
        assert!(matches!(scan("0e5"), Scan::Number { value: 0.0, written_nonzero: false, .. }));
    }
}
