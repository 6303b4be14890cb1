//! A range of amounts as a maker writes it: `15..25`, `..25`, `20..`, `20`.

use std::ops::RangeInclusive;

use crate::number::{Scan, scan};
use crate::wording::quote;

/// Amounts taken, mass % of the bar.
const PERCENT: RangeInclusive<f64> = 0.0..=100.0;

/// Reads a range of mass % of the bar; either end may be open.
///
/// # Errors
/// What is wrong, in one sentence.
///
/// ```
/// use barwright_reference::range::parse_range;
/// assert_eq!(parse_range("15..25 %"), Ok((Some(15.0), Some(25.0))));
/// assert_eq!(parse_range("..25"), Ok((None, Some(25.0))));
/// assert_eq!(parse_range("20"), Ok((Some(20.0), Some(20.0))));
/// assert!(parse_range("25..15").is_err());
/// ```
pub fn parse_range(text: &str) -> Result<(Option<f64>, Option<f64>), String> {
    let (least, most) = match text.split_once("..") {
        Some((low, high)) => (end(low)?, end(high)?),
        None => (end(text)?, end(text)?),
    };
    match (least, most) {
        (None, None) => Err(format!("{} names no amount", quote(text))),
        (Some(least), Some(most)) if least > most => Err(format!("{least} % is more than {most} %")),
        ends => Ok(ends),
    }
}

/// Reads one end; nothing is an open one.
fn end(text: &str) -> Result<Option<f64>, String> {
    let text = text.trim();
    let digits = text.trim_end_matches('%').trim_end();
    if text.is_empty() {
        return Ok(None);
    }
    match scan(digits) {
        Scan::Number { value, rest: "", .. } if PERCENT.contains(&value) => Ok(Some(value)),
        _ => Err(format!("{} is not an amount from {} to {} %", quote(text), PERCENT.start(), PERCENT.end())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_are_read() {
        for (text, range) in [
            (" 15 .. 25 ", (Some(15.0), Some(25.0))),
            ("15%..25%", (Some(15.0), Some(25.0))),
            ("0,5..", (Some(0.5), None)),
            ("0", (Some(0.0), Some(0.0))),
            ("100", (Some(100.0), Some(100.0))),
        ] {
            assert_eq!(parse_range(text), Ok(range), "{text}");
        }
        for text in ["", "..", "%", "a", "1..b", "-1..5", "5..101", "nan", "5...6", "5..6..7", "6..5", "5 g", "1e9"] {
            assert!(parse_range(text).is_err(), "{text}");
        }
    }
}
