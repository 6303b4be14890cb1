//! Numbers as a maker writes them, held to what the model takes.

use std::ops::RangeInclusive;

use barwright_reference::length::parse_length;
use barwright_reference::mould::RELIEF_MM;
use barwright_reference::short;
use barwright_reference::temperature::parse_temperature;

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
