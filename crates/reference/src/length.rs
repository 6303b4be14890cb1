//! Lengths as a maker writes them: `0.8`, `0.8 mm`, `1/32 in`.

use std::ops::RangeInclusive;

use crate::wording::short;

/// One inch, mm.
pub const INCH_MM: f64 = 25.4;

/// How a length is written.
const HOW: &str = "a length is a number with mm, cm or in, such as `0.8mm` or `1/32in`";

/// Reads a length; without a unit it is in mm. Returns mm.
///
/// # Arguments
/// * `range`: lengths taken, mm.
///
/// # Errors
/// What is wrong, in one sentence.
///
/// ```
/// use barwright_reference::length::parse_length;
/// assert_eq!(parse_length("0.5 in", 1.0..=100.0), Ok(12.7));
/// assert!(parse_length("0.5 km", 1.0..=100.0).is_err());
/// ```
pub fn parse_length(text: &str, range: RangeInclusive<f64>) -> Result<f64, String> {
    let text = text.trim();
    let unit_at = text
        .find(|letter: char| !(letter.is_ascii_digit() || matches!(letter, '.' | ',' | '/' | ' ' | '+' | '-')))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(unit_at);
    let factor = match unit.trim().to_lowercase().trim_end_matches('.') {
        "" | "mm" => 1.0,
        "cm" => 10.0,
        "m" => 1000.0,
        "in" | "inch" | "inches" | "\"" | "″" => INCH_MM,
        "µm" | "um" | "μm" => 1e-3,
        _ => return Err(HOW.to_owned()),
    };
    let number = number.trim().replace(',', ".");
    let value = match number.split_once('/') {
        Some((above, below)) => match (above.trim().parse::<f64>(), below.trim().parse::<f64>()) {
            (Ok(above), Ok(below)) => above / below,
            _ => f64::NAN,
        },
        None => number.parse().unwrap_or(f64::NAN),
    };
    let length_mm = value * factor;
    if length_mm.is_nan() {
        Err(HOW.to_owned())
    } else if range.contains(&length_mm) {
        Ok(length_mm)
    } else {
        Err(format!("{} mm is outside {} to {} mm", short(length_mm), range.start(), range.end()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reliefs.
    fn parse(text: &str) -> Result<f64, String> {
        parse_length(text, 0.05..=50.0)
    }

    #[test]
    fn lengths_are_read_in_every_unit() {
        for (text, length_mm) in [
            ("0.8", 0.8),
            ("0,8 mm", 0.8),
            ("0.08cm", 0.8),
            ("0.02 m", 20.0),
            ("1/32in", 0.793_75),
            ("0.03 in.", 0.762),
            ("800 µm", 0.8),
            ("1/16\"", 1.5875),
        ] {
            let seen = parse(text).unwrap_or(f64::NAN);
            assert!((seen - length_mm).abs() < 1e-9, "{text}: {seen}");
        }
    }

    #[test]
    fn everything_else_is_refused() {
        // A bare 1/32 is 0.03 mm, which no mould has.
        for text in ["", "mm", "0", "-1", "1/0", "nan", "inf", "1e3", "60", "0.8 km", "a/b in", "1/2/3 in", "1/32"] {
            assert!(parse(text).is_err(), "{text}");
        }
    }
}
