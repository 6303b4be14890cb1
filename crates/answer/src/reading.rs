//! Numbers as a maker writes them, held to what the model takes.

use std::ops::RangeInclusive;

use barwright_reference::length::parse_length;
use barwright_reference::mould::RELIEF_MM;
use barwright_reference::short;
use barwright_reference::temperature::parse_temperature;

/// Diameters of rods read, mm: how wide one may be is for the bench test to say.
const ROD_MM: RangeInclusive<f64> = 0.0..=1000.0;

/// Temperatures the model is made for, °C.
pub const MODEL_C: RangeInclusive<f64> = -20.0..=120.0;

/// Reads a number of a unit, in a range of that unit.
///
/// # Errors
/// What is wrong, in one sentence.
pub fn number_in(text: &str, range: RangeInclusive<f64>, unit: &str) -> Result<f64, String> {
    in_range(text, number(text)?, range, unit)
}

/// Reads a number, with or without a percent sign.
///
/// # Errors
/// As [`number_in`].
pub fn number(text: &str) -> Result<f64, String> {
    text.trim().trim_end_matches('%').trim().parse().map_err(|_| format!("`{text}` is not a number"))
}

/// Returns a number of a unit that lies in a range of that unit; one written as `-0` is 0.
///
/// # Errors
/// As [`number_in`].
pub fn in_range(text: &str, value: f64, range: RangeInclusive<f64>, unit: &str) -> Result<f64, String> {
    if range.contains(&value) {
        Ok(value + 0.0)
    } else {
        Err(format!("`{}` is outside {} to {}{unit}", text.trim(), range.start(), range.end()))
    }
}

/// Reads the finest relief of a mould; without a unit it is in mm. Returns mm.
///
/// # Errors
/// As [`number_in`].
pub fn parse_relief(text: &str) -> Result<f64, String> {
    parse_length(text, RELIEF_MM)
}

/// Reads a share of the bar, %.
///
/// # Errors
/// As [`number_in`].
pub fn percent(text: &str) -> Result<f64, String> {
    number_in(text, 0.0..=100.0, " %")
}

/// Reads a price per kilogram, in any currency.
///
/// # Errors
/// As [`number_in`].
pub fn positive(text: &str) -> Result<f64, String> {
    number_in(text, 1e-6..=1e6, "")
}

/// Reads one temperature and returns °C.
///
/// # Errors
/// As [`number_in`].
pub fn model_temperature(text: &str) -> Result<f64, String> {
    parse_temperature(text)
        .map_err(|error| format!("{error}; write a temperature such as `45`, `45C` or `113F`"))
        .and_then(in_model)
}

/// Rounds a temperature to 0.01 °C, so that one converted from °F reads well, or refuses it.
///
/// # Errors
/// As [`number_in`].
pub fn in_model(celsius: f64) -> Result<f64, String> {
    if MODEL_C.contains(&celsius) {
        Ok((celsius * 100.0).round() / 100.0 + 0.0)
    } else {
        Err(format!(
            "{} °C is outside {} to {} °C, where the prediction holds",
            short(celsius),
            MODEL_C.start(),
            MODEL_C.end()
        ))
    }
}

/// Reads a number with or without its unit; what it may be is for the bench test to say.
fn figure(text: &str, unit: &str) -> Result<f64, String> {
    let lower = text.trim().to_lowercase();
    let digits = lower.strip_suffix(&unit.to_lowercase()).unwrap_or(&lower).trim();
    let value = digits.parse::<f64>().ok().filter(|value| value.is_finite());
    value.ok_or_else(|| format!("`{text}` is not a number of {unit}"))
}

/// Reads the depth of the standard needle: in 0.1 mm, with or without `dmm`, or in mm. Returns 0.1 mm.
///
/// # Errors
/// As [`number_in`].
pub fn needle_depth(text: &str) -> Result<f64, String> {
    let lower = text.trim().to_lowercase();
    if lower.ends_with("mm") && !lower.ends_with("dmm") {
        return figure(text, "mm").map(|millimetres| 10.0 * millimetres);
    }
    figure(text, "dmm")
}

/// Reads the diameter of a rod; without a unit it is in mm. Returns mm.
///
/// # Errors
/// As [`number_in`].
pub fn rod_diameter(text: &str) -> Result<f64, String> {
    parse_length(text, ROD_MM)
}

/// Reads what a scale shows, g.
///
/// # Errors
/// As [`number_in`].
pub fn grams(text: &str) -> Result<f64, String> {
    figure(text, "g")
}

/// Reads hours.
///
/// # Errors
/// As [`number_in`].
pub fn hours(text: &str) -> Result<f64, String> {
    figure(text, "h")
}

/// Reads a difference of temperature, K.
///
/// # Errors
/// As [`number_in`].
pub fn kelvin(text: &str) -> Result<f64, String> {
    figure(text, "K")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_depth_is_in_tenths_of_a_millimetre_unless_it_says_mm() {
        assert_eq!([needle_depth("32"), needle_depth("32 dmm"), needle_depth("3.2mm")], [Ok(32.0), Ok(32.0), Ok(32.0)]);
        for text in ["", "dmm", "3 cm", "nan", "inf"] {
            assert!(needle_depth(text).is_err(), "{text}");
        }
        assert_eq!(grams("-5 g"), Ok(-5.0));
    }
}
