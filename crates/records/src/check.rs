//! What may be kept: names, texts, numbers, dates, figures.

use std::ops::RangeInclusive;

use jiff::civil::Date;

use crate::error::beginning;
use crate::{Figures, RecordsError};

/// The longest name kept, bytes.
pub const MAX_NAME_BYTES: usize = 200;
/// The longest text kept (a note, a certificate, figures as JSON), bytes.
pub const MAX_TEXT_BYTES: usize = 65_536;

/// The smallest mass kept, g: what the finest kitchen scale shows.
const MIN_G: f64 = 0.001;
/// The largest mass kept, g.
const MAX_G: f64 = 1e8;
/// The earliest date kept.
const EARLIEST: Date = jiff::civil::date(1900, 1, 1);
/// Unit of a mass.
const GRAMS: &str = "g";

/// Refuses a name that is blank, too long, framed by blanks, or has characters that cannot be seen.
///
/// Slashes, quotes and anything else that can be seen are taken: a name never becomes part of a path or a statement.
pub(crate) fn name(what: &'static str, name: &str) -> Result<(), RecordsError> {
    length(what, name, MAX_NAME_BYTES)?;
    if name.trim().is_empty() {
        return Err(RecordsError::Blank { what });
    }
    if name.chars().any(char::is_control) {
        return Err(RecordsError::BadText { what, seen: beginning(name), fault: "a control character" });
    }
    if name.trim() != name {
        return Err(RecordsError::BadText { what, seen: beginning(name), fault: "a blank at an end" });
    }
    Ok(())
}

/// Refuses a text that is blank, too long, or has control characters other than line ends and tabs.
pub(crate) fn text(what: &'static str, text: &str) -> Result<(), RecordsError> {
    length(what, text, MAX_TEXT_BYTES)?;
    if text.trim().is_empty() {
        return Err(RecordsError::Blank { what });
    }
    if text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t')) {
        return Err(RecordsError::BadText { what, seen: beginning(text), fault: "a control character" });
    }
    Ok(())
}

/// Checks a text that may be left out.
pub(crate) fn optional_text(what: &'static str, given: Option<&str>) -> Result<(), RecordsError> {
    given.map_or(Ok(()), |given| text(what, given))
}

/// Refuses a text of too many bytes.
fn length(what: &'static str, text: &str, most: usize) -> Result<(), RecordsError> {
    if text.len() > most {
        return Err(RecordsError::TooLong { what, bytes: text.len(), most });
    }
    Ok(())
}

/// Refuses a number outside a range; not a number is outside every range.
pub(crate) fn number(
    what: &'static str,
    value: f64,
    range: RangeInclusive<f64>,
    unit: &'static str,
) -> Result<(), RecordsError> {
    if range.contains(&value) {
        return Ok(());
    }
    Err(RecordsError::OutOfRange { what, value, low: *range.start(), high: *range.end(), unit })
}

/// Refuses a mass that is negative, zero, or beyond any kettle.
pub(crate) fn mass_g(what: &'static str, mass_g: f64) -> Result<(), RecordsError> {
    number(what, mass_g, MIN_G..=MAX_G, GRAMS)
}

/// Refuses a date that is a slip of the pen in the year; it may lie in the future.
pub(crate) fn not_long_ago(what: &'static str, date: Date) -> Result<(), RecordsError> {
    if date < EARLIEST {
        return Err(RecordsError::LongAgo { what, date, earliest: EARLIEST });
    }
    Ok(())
}

/// Refuses a date after today, and one long before.
pub(crate) fn not_future(what: &'static str, date: Date, today: Date) -> Result<(), RecordsError> {
    not_long_ago(what, date)?;
    if date > today {
        return Err(RecordsError::Future { what, date, today });
    }
    Ok(())
}

/// Returns figures as JSON text, or refuses what would not be read back the same.
pub(crate) fn figures_text(of: &'static str, figures: &Figures) -> Result<String, RecordsError> {
    let unreadable = |error: serde_json::Error| RecordsError::BadFigures { of, what: error.to_string() };
    let text = serde_json::to_string(figures).map_err(unreadable)?;
    length("text of the figures", &text, MAX_TEXT_BYTES)?;
    let again: Figures = serde_json::from_str(&text).map_err(unreadable)?;
    if again != *figures {
        return Err(RecordsError::BadFigures { of, what: "they are not read back the same".to_owned() });
    }
    Ok(text)
}
