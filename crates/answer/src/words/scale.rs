//! Masses as the scale shows them.

use barwright_making::declaration::OUNCE_G;

use super::number::trimmed;
use super::units::Units;

/// Decimals of a mass in grams, at most: those of the finest scale.
const GRAM_DECIMALS: usize = 4;

/// Parts of a gram in which what is in the drawer is shown.
const STOCK_PER_G: f64 = 100.0;

/// A mass in grams as the scale shows it.
pub fn plain(grams: f64) -> String {
    trimmed(grams, GRAM_DECIMALS)
}

/// Masses as the scale shows them.
#[derive(Debug, Clone, Copy)]
pub struct Scale(pub Units);

impl Scale {
    /// Name of the unit.
    pub fn unit(self) -> &'static str {
        match self.0 {
            Units::Metric => "g",
            Units::Us => "oz",
        }
    }

    /// A mass in that unit.
    pub fn number(self, grams: f64) -> String {
        match self.0 {
            Units::Metric => plain(grams),
            Units::Us => format!("{:.3}", grams / OUNCE_G),
        }
    }

    /// A mass in the drawer, in that unit: no finer than it was ever weighed.
    pub fn stock(self, grams: f64) -> String {
        self.number((grams * STOCK_PER_G).round() / STOCK_PER_G)
    }

    /// A mass with its unit.
    pub fn mass(self, grams: f64) -> String {
        format!("{} {}", self.number(grams), self.unit())
    }
}
