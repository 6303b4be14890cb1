//! Quantities in the units asked for, with the digits they deserve.

use barwright_blend::Estimate;
use barwright_blend::penetration::NEEDLE_LIMIT_DMM;
use barwright_reference::formula::quantity::{METRIC_TEASPOON_ML, US_TEASPOON_ML};
use barwright_reference::length::INCH_MM;
use barwright_reference::trim_zeros;

use super::number::{fixed, interval, signed, significant, whole};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// °F per °C of a difference.
const FAHRENHEIT_PER_CELSIUS: f64 = 1.8;

/// A temperature interval wider than this is shown in whole degrees, °C.
const WIDE_C: f64 = 3.0;

/// A relief coarser than this is no relief, mm.
const COARSEST_MM: f64 = 100.0;

/// A yield stress below this is none, kPa.
const SOFTEST_KPA: f64 = 0.01;

/// The smallest spoons are eighths of a teaspoon.
const EIGHTHS: f64 = 8.0;

/// A spoon nearer than this to an eighth is shown in eighths, as a share of it: no hand levels better (judgement).
const NEAR_SPOON: f64 = 0.08;

/// One pound-force per square inch, kPa.
pub const PSI_KPA: f64 = 6.894_757;

/// Units shown.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Units {
    /// °C, kPa, mm, g.
    #[default]
    Metric,
    /// °F, psi, inches, ounces.
    Us,
}

impl Units {
    /// Returns the sign of the temperature scale.
    pub fn degree(self) -> &'static str {
        match self {
            Units::Metric => "°C",
            Units::Us => "°F",
        }
    }

    /// Returns the unit of yield stress.
    pub fn stress(self) -> &'static str {
        match self {
            Units::Metric => "kPa",
            Units::Us => "psi",
        }
    }

    /// A yield stress as it was asked for, with its unit: `80 kPa`.
    pub fn given_stress(self, kpa: f64) -> String {
        let value = match self {
            Units::Metric => kpa,
            Units::Us => kpa / PSI_KPA,
        };
        format!("{} {}", significant(value, 3), self.stress())
    }

    /// Returns a temperature on the scale shown.
    pub fn scaled(self, celsius: f64) -> f64 {
        match self {
            Units::Metric => celsius,
            Units::Us => celsius * FAHRENHEIT_PER_CELSIUS + 32.0,
        }
    }

    /// Returns a temperature someone gave, without a unit: `37.8`.
    pub fn given(self, celsius: f64) -> String {
        let text = fixed(self.scaled(celsius), 1);
        text.strip_suffix(".0").unwrap_or(&text).to_owned()
    }

    /// Returns a temperature someone gave: `37.8 °C`.
    pub fn given_degrees(self, celsius: f64) -> String {
        format!("{} {}", self.given(celsius), self.degree())
    }

    /// Returns a temperature in whole degrees: `66 °C`.
    pub fn whole_degrees(self, celsius: f64) -> String {
        format!("{} {}", whole(self.scaled(celsius)), self.degree())
    }

    /// Returns an estimated temperature without a unit: `47 (42 to 52)`, or `63.2 (62.1 to 64.0)` when it is that sure.
    pub fn temperature(self, estimate: &Estimate) -> String {
        let wide = estimate.high - estimate.low > WIDE_C;
        interval(estimate, |celsius| {
            let value = self.scaled(celsius);
            if wide { whole(value) } else { fixed(value, 1) }
        })
    }

    /// Returns an estimated temperature: `47 °C (42 to 52)`.
    pub fn degrees(self, estimate: &Estimate) -> String {
        with_unit(&self.temperature(estimate), self.degree())
    }

    /// Returns a small rate of temperature with its sign, without a unit: `+0.35`.
    pub fn signed_difference(self, celsius: f64) -> String {
        let factor = match self {
            Units::Metric => 1.0,
            Units::Us => FAHRENHEIT_PER_CELSIUS,
        };
        signed(celsius * factor, 2)
    }

    /// Returns a difference of temperatures: `6 °C`.
    pub fn difference(self, celsius: f64) -> String {
        let value = match self {
            Units::Metric => celsius,
            Units::Us => celsius * FAHRENHEIT_PER_CELSIUS,
        };
        format!("{} {}", whole(value), self.degree())
    }

    /// Returns a yield stress without a unit.
    pub fn yield_stress(self, estimate: &Estimate) -> String {
        interval(estimate, |kpa| {
            let (value, least) = match self {
                Units::Metric => (kpa, SOFTEST_KPA),
                Units::Us => (kpa / PSI_KPA, 0.001),
            };
            if value < least { "0".to_owned() } else { significant(value, 2) }
        })
    }

    /// Returns what a teaspoon holds, ml.
    pub fn teaspoon_ml(self) -> f64 {
        match self {
            Units::Metric => METRIC_TEASPOON_ML,
            Units::Us => US_TEASPOON_ML,
        }
    }

    /// Returns a small volume in level teaspoons, in eighths where those are near: `1/4 level tsp of 5 ml`.
    pub fn spoons(self, millilitres: f64) -> String {
        let teaspoons = millilitres / self.teaspoon_ml();
        let eighths = (EIGHTHS * teaspoons).round();
        let near = (eighths / EIGHTHS - teaspoons).abs() <= NEAR_SPOON * teaspoons;
        let count = if near { in_eighths(eighths) } else { significant(teaspoons, 2) };
        format!("{count} level tsp of {} ml", trim_zeros(&significant(self.teaspoon_ml(), 3)))
    }

    /// Returns a length in the unit shown.
    pub fn scaled_length(self, millimetres: f64) -> f64 {
        match self {
            Units::Metric => millimetres,
            Units::Us => millimetres / INCH_MM,
        }
    }

    fn length(self, millimetres: f64) -> String {
        match self {
            Units::Metric => significant(millimetres, 2),
            Units::Us => significant(millimetres / INCH_MM, 2),
        }
    }

    /// Returns the unit of length.
    pub fn length_unit(self) -> &'static str {
        match self {
            Units::Metric => "mm",
            Units::Us => "in",
        }
    }

    /// Returns a length someone gave: `0.8 mm`.
    pub fn given_length(self, millimetres: f64) -> String {
        let (value, unit) = match self {
            Units::Metric => (millimetres, "mm"),
            Units::Us => (millimetres / INCH_MM, "in"),
        };
        format!("{} {unit}", trim_zeros(&significant(value, 2)))
    }

    /// Returns the finest relief without a unit; what is coarser than any mould is `over 100`.
    pub fn relief(self, estimate: Option<&Estimate>) -> String {
        let over = || format!("over {}", self.length(COARSEST_MM));
        match estimate {
            Some(estimate) if estimate.low <= COARSEST_MM => {
                interval(estimate, |mm| if mm > COARSEST_MM { over() } else { self.length(mm) })
            }
            _ => over(),
        }
    }
}

/// Returns a needle penetration, in units of 0.1 mm; what is softer than the test allows is `over 250`.
pub fn needle(estimate: Option<&Estimate>) -> String {
    let over = format!("over {NEEDLE_LIMIT_DMM}");
    match estimate {
        Some(estimate) => interval(estimate, |dmm| match dmm {
            dmm if dmm >= NEEDLE_LIMIT_DMM => over.clone(),
            dmm if dmm < 1.0 => "under 1".to_owned(),
            dmm => significant(dmm, 2),
        }),
        None => over,
    }
}

/// Puts a unit behind the value and before its interval: `47 °C (42 to 52)`.
pub fn with_unit(shown: &str, unit: &str) -> String {
    match shown.split_once(" (") {
        Some((value, rest)) => format!("{value} {unit} ({rest}"),
        None => format!("{shown} {unit}"),
    }
}

/// A whole number of eighths as a cook writes it: `1 1/4`.
fn in_eighths(eighths: f64) -> String {
    let (whole, rest) = ((eighths / EIGHTHS).floor(), eighths % EIGHTHS);
    let rest = match rest {
        0.0 => "",
        1.0 => "1/8",
        2.0 => "1/4",
        3.0 => "3/8",
        4.0 => "1/2",
        5.0 => "5/8",
        6.0 => "3/4",
        _ => "7/8",
    };
    match (whole > 0.0, rest) {
        (true, "") => format!("{whole:.0}"),
        (true, rest) => format!("{whole:.0} {rest}"),
        (false, rest) => rest.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, low: f64, high: f64) -> Estimate {
        Estimate { value, low, high }
    }

    #[test]
    fn digits_follow_the_width_of_the_interval() {
        assert_eq!(Units::Metric.degrees(&estimate(47.2, 42.0, 52.4)), "47 °C (42 to 52)");
        assert_eq!(Units::Metric.temperature(&estimate(63.21, 62.0, 64.0)), "63.2 (62.0 to 64.0)");
        assert_eq!(Units::Us.degrees(&estimate(45.0, 40.0, 50.0)), "113 °F (104 to 122)");
        assert_eq!(Units::Us.difference(10.0), "18 °F");
        assert_eq!(Units::Us.given(37.78), "100");
        assert_eq!(Units::Metric.given(-0.04), "0");
        assert_eq!(Units::Metric.signed_difference(-0.001), "+0.00");
    }

    #[test]
    fn what_has_no_measure_says_so() {
        assert_eq!(Units::Metric.relief(None), "over 100");
        assert_eq!(Units::Metric.relief(Some(&estimate(0.62, 0.3, f64::MAX))), "0.62 (0.30 to over 100)");
        assert_eq!(needle(None), "over 250");
        assert_eq!(needle(Some(&estimate(180.0, 90.0, 250.0))), "180 (90 to over 250)");
        assert_eq!(Units::Metric.yield_stress(&estimate(0.0, 0.0, 0.001)), "0");
    }

    #[test]
    fn spoons_are_eighths_where_a_hand_is_no_better() {
        for (millilitres, shown) in [
            (1.25, "1/4 level tsp of 5 ml"),
            (5.71, "1 1/8 level tsp of 5 ml"),
            (10.0, "2 level tsp of 5 ml"),
            (0.7, "0.14 level tsp of 5 ml"),
            (0.1, "0.020 level tsp of 5 ml"),
        ] {
            assert_eq!(Units::Metric.spoons(millilitres), shown);
        }
        assert_eq!(Units::Us.spoons(US_TEASPOON_ML / 2.0), "1/2 level tsp of 4.93 ml");
    }

    #[test]
    fn lengths_given_are_shown_as_given() {
        assert_eq!(Units::Metric.given_length(0.8), "0.8 mm");
        assert_eq!(Units::Us.given_length(25.4 / 32.0), "0.031 in");
    }
}
