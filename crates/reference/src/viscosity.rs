//! Published viscosities of melts and oils.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Status;

/// What a viscosity is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ViscosityUnit {
    /// Dynamic, mPa·s: resistance to shear.
    Dynamic,
    /// Kinematic, mm²/s: the dynamic one over the density, as capillary tests give it.
    Kinematic,
}

/// One viscosity of an ingredient at one temperature, fully melted.
#[derive(Debug, Clone, PartialEq)]
pub struct ViscosityPoint {
    /// °C.
    pub temperature_c: f64,
    /// mPa·s or mm²/s, by `unit`.
    pub viscosity: f64,
    /// Which of the two it is.
    pub unit: ViscosityUnit,
    /// Standard deviation of its logarithm: lots and the figure itself.
    pub ln_sd: f64,
    /// How it was obtained.
    pub status: Status,
    /// Key of the source in `data/sources.bib`.
    pub source: String,
    /// Whether it is that of the ingredient's kind, because none of its own is known.
    pub of_kind: bool,
    /// Remarks.
    pub note: String,
}
