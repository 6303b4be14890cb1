//! Everything computed from one draw of a bar, and from all of them.

use crate::interval::{Estimate, Spread};
use crate::landmarks::LOWEST_LANDMARK_C;
use crate::suitability::SkinFeel;

/// Everything computed for a bar from one draw of lots, melting points and model parameters.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Solids at each temperature of [`crate::Options::at_c`], mass %.
    pub solids_percent: Vec<f64>,
    /// Yield stress at each temperature of [`crate::Options::at_c`], kPa.
    pub yield_kpa: Vec<f64>,
    /// Mass % of beeswax in oil as firm as the bar, at each of those; `None` when it is harder than beeswax.
    pub beeswax_percent: Vec<Option<f64>>,
    /// Softening onset: half as firm as at 20 °C, °C; `None` below [`LOWEST_LANDMARK_C`], as for all landmarks.
    pub softening_c: Option<f64>,
    /// Slip point, °C.
    pub slip_c: Option<f64>,
    /// Drop point, °C.
    pub drop_c: Option<f64>,
    /// End of melting, °C.
    pub end_c: Option<f64>,
    /// Clear point, °C.
    pub clear_c: Option<f64>,
    /// Highest temperature at which it keeps its shape for a day, °C (rule of thumb).
    pub hold_c: Option<f64>,
    /// Finest relief that leaves the mould whole, mm (rule of thumb); infinite where there is none.
    pub finest_mm: f64,
    /// Melted on skin, mass %.
    pub melted_percent: f64,
    /// Yield stress on skin, kPa.
    pub skin_kpa: f64,
    /// How it feels on skin (rule of thumb).
    pub feel: SkinFeel,
    /// Index of graininess, 0 to 1 (rule of thumb).
    pub grain: f64,
}

/// The central outcome and that of every draw.
pub(crate) type Ensemble = Spread<Outcome>;

impl Ensemble {
    /// As [`Spread::estimate_or`]; draws without a landmark count as the lowest one looked for.
    pub fn landmark(&self, of: impl Fn(&Outcome) -> Option<f64>) -> Option<Estimate> {
        self.estimate_or(LOWEST_LANDMARK_C, of)
    }
}
