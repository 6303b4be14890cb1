//! What is asked of a bar, and how far a bar is from it.
//!
//! | demand | met in a draw when | margin |
//! |---|---|---|
//! | keeps its shape at T | yield stress ≥ load and holding ≥ weeping limit, at T, in use | the smaller logarithm of the two ratios |
//! | takes relief of w | yield stress ≥ c W / w, at release, fresh | logarithm of the ratio |
//! | at least, at most so firm at T | yield stress, or structure against beeswax in oil, at T, in use | logarithm of the ratio |
//! | melts on skin | melted share ≥ share, at skin temperature, in use | difference over [`MELTED_SCALE`] points |
//!
//! Each is asked at one temperature, so one equilibrium for each draw answers it: no landmark is looked for.

use serde::Serialize;

/// Points of melted share that count as one unit of margin: about what a unit of ln firmness is worth to a maker (judgement).
pub const MELTED_SCALE: f64 = 20.0;

/// A measure of firmness.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "unit", content = "value")]
pub enum Firmness {
    /// Yield stress, kPa.
    Kpa(f64),
    /// As firm as this much beeswax in liquid oil, mass %.
    BeeswaxPercent(f64),
}

/// One demand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "demand")]
pub enum Demand {
    /// Keeps its shape for a day.
    Hold {
        /// °C.
        temperature_c: f64,
    },
    /// Leaves a mould of this relief whole.
    Detail {
        /// Finest relief, mm.
        relief_mm: f64,
    },
    /// At least so firm.
    Firmer {
        /// Than this.
        than: Firmness,
        /// °C.
        temperature_c: f64,
    },
    /// At most so firm.
    Softer {
        /// Than this.
        than: Firmness,
        /// °C.
        temperature_c: f64,
    },
    /// Melts on skin.
    Melts {
        /// Share that is liquid at skin temperature, at least, mass %.
        percent: f64,
    },
}

impl Demand {
    /// Temperatures whose beeswax scale it needs.
    pub(crate) fn scale_c(&self) -> Option<f64> {
        match *self {
            Demand::Firmer { than: Firmness::BeeswaxPercent(_), temperature_c }
            | Demand::Softer { than: Firmness::BeeswaxPercent(_), temperature_c } => Some(temperature_c),
            _ => None,
        }
    }
}
