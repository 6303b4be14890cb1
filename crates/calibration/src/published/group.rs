//! What is scored together.

use std::f64::consts::LN_2;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::measurement::{Measurement, Quantity};

/// What is scored together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Group {
    /// Solid fat content, percentage points.
    Solids,
    /// Slip, drop, clear point and calorimetric peak of fats and waxes, K.
    Melting,
    /// Melting of gels of wax in oil, K.
    GelMelting,
    /// Firmness, natural logarithm of the ratio.
    Firmness,
    /// Critical gelling level, natural logarithm of the ratio.
    Gelling,
}

impl Group {
    /// Returns the group of a measurement; a blend of several parts that melts by calorimetry or flows is a gel.
    pub fn of(row: &Measurement) -> Option<Self> {
        match row.quantity {
            Quantity::SolidsPercent => Some(Group::Solids),
            Quantity::GelMeltC => Some(Group::GelMelting),
            Quantity::SlipC | Quantity::DropC | Quantity::ClearC | Quantity::MeltEndC | Quantity::MeltPeakC => {
                Some(if row.formula.parts.len() > 1 { Group::GelMelting } else { Group::Melting })
            }
            Quantity::CriticalGellingPercent => Some(Group::Gelling),
            Quantity::NeedleDmm | Quantity::ConeYieldKpa | Quantity::YieldKpa => Some(Group::Firmness),
            Quantity::ForceN => None,
        }
    }

    /// Returns the words shown.
    pub fn words(self) -> &'static str {
        match self {
            Group::Solids => "solids",
            Group::Melting => "melting, neat",
            Group::GelMelting => "melting, blends",
            Group::Firmness => "firmness",
            Group::Gelling => "gelling level",
        }
    }

    /// Returns the unit of its errors.
    pub fn unit(self) -> &'static str {
        match self {
            Group::Solids => "points",
            Group::Melting | Group::GelMelting => "°C",
            Group::Firmness | Group::Gelling => "ln ratio",
        }
    }

    /// Returns the root mean square error that is aimed at, in the unit of its errors; of ratios a factor of 2.
    pub fn goal(self) -> f64 {
        match self {
            Group::Solids => 5.0,
            Group::Melting | Group::GelMelting => 2.5,
            Group::Firmness | Group::Gelling => LN_2,
        }
    }

    /// Whether its errors are logarithms of ratios.
    pub fn logarithmic(self) -> bool {
        matches!(self, Group::Firmness | Group::Gelling)
    }
}
