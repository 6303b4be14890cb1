//! Temperatures as a maker writes them: `45`, `45 °C`, `113 F`, `318 K`.

use std::ops::Range;

use crate::findings::Findings;
use crate::number::{Scan, scan};
use crate::wording::{quote, short};
use crate::{Diagnostic, Diagnostics};

/// Absolute zero, °C.
const ABSOLUTE_ZERO_C: f64 = -273.15;
/// Highest temperature taken seriously, °C: far above anything done to a bar.
const HIGHEST_C: f64 = 400.0;

/// Why a text is not a temperature.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TemperatureError {
    /// Nothing was written.
    #[error("the temperature is empty")]
    Empty,
    /// Not a number with a temperature unit.
    #[error("{} is not a temperature", quote(.written))]
    NotATemperature {
        /// What was written.
        written: String,
    },
    /// Infinite or not a number.
    #[error("{} is not a finite temperature", quote(.written))]
    NotFinite {
        /// What was written.
        written: String,
    },
    /// Colder than anything can be.
    #[error("{} is {} °C, below absolute zero at -273.15 °C", quote(.written), short(*.celsius))]
    BelowAbsoluteZero {
        /// What was written.
        written: String,
        /// The temperature, °C.
        celsius: f64,
    },
    /// Hotter than anything done to a bar.
    #[error("{} is {} °C, above the highest temperature taken, {HIGHEST_C} °C", quote(.written), short(*.celsius))]
    TooHot {
        /// What was written.
        written: String,
        /// The temperature, °C.
        celsius: f64,
    },
}

impl TemperatureError {
    /// Returns the stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            TemperatureError::Empty => "empty-temperature",
            TemperatureError::NotATemperature { .. } => "not-a-temperature",
            TemperatureError::NotFinite { .. } => "temperature-not-finite",
            TemperatureError::BelowAbsoluteZero { .. } => "below-absolute-zero",
            TemperatureError::TooHot { .. } => "temperature-too-high",
        }
    }

    /// Returns this error at a place in a text.
    pub fn diagnostic(&self, span: Range<usize>) -> Diagnostic {
        Diagnostic::error(self.code(), self.to_string(), span).hint(match self {
            TemperatureError::TooHot { .. } => {
                "Check the unit: C, F and K are understood and C is taken when none is given."
            }
            _ => "Write a temperature such as `45`, `45 C`, `113 F` or `318 K`.",
        })
    }
}

/// A temperature scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scale {
    Celsius,
    Fahrenheit,
    Kelvin,
}

/// Returns the scale a unit stands for.
pub(crate) fn scale(unit: &str) -> Option<Scale> {
    let lower = unit.trim().to_lowercase();
    let letter =
        ["degrees", "degree", "deg", "°", "º"].iter().find_map(|mark| lower.strip_prefix(mark)).unwrap_or(&lower);
    match letter.trim() {
        "c" | "celsius" | "\u{2103}" => Some(Scale::Celsius),
        "f" | "fahrenheit" | "\u{2109}" => Some(Scale::Fahrenheit),
        "k" | "kelvin" => Some(Scale::Kelvin),
        _ => None,
    }
}

/// Whether a unit is one of temperature.
pub(crate) fn is_temperature_unit(unit: &str) -> bool {
    scale(unit).is_some()
}

/// Reads one temperature; without a unit it is in °C. Returns °C.
///
/// # Errors
/// [`TemperatureError`] for anything else, for less than -273.15 °C and for more than 400 °C.
///
/// ```
/// use barwright_reference::temperature::parse_temperature;
/// assert_eq!(parse_temperature("113 °F")?, 45.0);
/// assert!(parse_temperature("-300").is_err());
/// # Ok::<(), barwright_reference::temperature::TemperatureError>(())
/// ```
pub fn parse_temperature(text: &str) -> Result<f64, TemperatureError> {
    parse_temperature_in(text, Scale::Celsius)
}

/// Reads one temperature that is on a scale of its column unless it says another. Returns °C.
pub(crate) fn parse_temperature_in(text: &str, column: Scale) -> Result<f64, TemperatureError> {
    let text = text.trim();
    let written = || text.to_owned();
    if text.is_empty() {
        return Err(TemperatureError::Empty);
    }
    let (value, rest) = match scan(text) {
        Scan::Number { value, rest, .. } => (value, rest.trim()),
        Scan::NotFinite { .. } => return Err(TemperatureError::NotFinite { written: written() }),
        Scan::None | Scan::Ambiguous { .. } => return Err(TemperatureError::NotATemperature { written: written() }),
    };
    let scale = if rest.is_empty() { Some(column) } else { scale(rest) };
    let celsius = match scale {
        Some(Scale::Celsius) => value,
        Some(Scale::Fahrenheit) => (value - 32.0) * 5.0 / 9.0,
        Some(Scale::Kelvin) => value + ABSOLUTE_ZERO_C,
        None => return Err(TemperatureError::NotATemperature { written: written() }),
    };
    if celsius < ABSOLUTE_ZERO_C {
        Err(TemperatureError::BelowAbsoluteZero { written: written(), celsius })
    } else if celsius > HIGHEST_C {
        Err(TemperatureError::TooHot { written: written(), celsius })
    } else {
        Ok(celsius)
    }
}

/// Reads a list of temperatures parted by commas or semicolons, e.g. `20,25,95F`. Returns °C in the order written.
///
/// # Errors
/// One diagnostic for every item that is not a temperature, its span counted in bytes of `text`.
///
/// ```
/// use barwright_reference::temperature::parse_temperatures;
/// assert_eq!(parse_temperatures("20, 95F"), Ok(vec![20.0, 35.0]));
/// assert_eq!(parse_temperatures("20,x").map_err(|errors| errors[0].span.clone()), Err(3..4));
/// ```
pub fn parse_temperatures(text: &str) -> Result<Vec<f64>, Diagnostics> {
    let mut findings = Findings::default();
    let mut temperatures = Vec::new();
    let mut start = 0;
    for item in text.split([',', ';']) {
        let from = start + item.len() - item.trim_start().len();
        match parse_temperature(item) {
            Ok(celsius) => temperatures.push(celsius),
            Err(error) => findings.push(error.diagnostic(from..from + item.trim().len())),
        }
        start += item.len() + 1;
    }
    findings.finish(temperatures).map(|(temperatures, _)| temperatures)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_convert() {
        for (text, celsius) in [
            ("45", 45.0),
            ("45C", 45.0),
            (" 45 °C ", 45.0),
            ("113F", 45.0),
            ("113 °F", 45.0),
            ("113 deg F", 45.0),
            ("318.15K", 45.0),
            ("-40f", -40.0),
            ("\u{2212}5", -5.0),
            ("0 k", -273.15),
            ("26,5", 26.5),
            ("45℃", 45.0),
            ("400", HIGHEST_C),
        ] {
            let seen = parse_temperature(text).unwrap_or(f64::NAN);
            assert!((seen - celsius).abs() < 1e-9, "{text}: {seen}");
        }
    }

    #[test]
    fn everything_else_is_refused_with_its_own_code() {
        for (text, code) in [
            ("", "empty-temperature"),
            ("warm", "not-a-temperature"),
            ("45 X", "not-a-temperature"),
            ("20-25", "not-a-temperature"),
            ("nan", "temperature-not-finite"),
            ("-inf C", "temperature-not-finite"),
            ("-1 K", "below-absolute-zero"),
            ("-300", "below-absolute-zero"),
            ("401", "temperature-too-high"),
            ("1e999", "temperature-too-high"),
        ] {
            assert_eq!(parse_temperature(text).map_err(|error| error.code()), Err(code), "{text}");
        }
    }

    #[test]
    fn what_to_do_is_said() {
        for (text, hint) in [
            ("401", "Check the unit"),
            ("warm", "Write a temperature such as"),
            ("-300", "Write a temperature such as"),
        ] {
            let hints = parse_temperature(text).map_err(|error| error.diagnostic(0..text.len()).hints);
            assert!(hints.is_err_and(|hints| hints.len() == 1 && hints[0].starts_with(hint)), "{text}");
        }
    }

    #[test]
    fn every_bad_item_of_a_list_is_placed() {
        let errors = parse_temperatures("20, warm ,25;,-300K").err().unwrap_or_default();
        let spans: Vec<_> = errors.iter().map(|error| error.span.clone()).collect();
        assert_eq!(spans, [4..8, 13..13, 14..19]);
    }
}
