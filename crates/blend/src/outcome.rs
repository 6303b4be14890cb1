//! Everything computed from one draw of a bar, and from all of them.

use crate::interval::{Estimate, Spread};
use crate::landmarks::LOWEST_LANDMARK_C;
use crate::suitability::SkinFeel;

/// Everything computed from one draw.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Outcome {
    pub solids_percent: Vec<f64>,
    pub yield_kpa: Vec<f64>,
    /// Mass % of beeswax in oil as firm as the bar; `None` when it is harder than beeswax.
    pub beeswax_percent: Vec<Option<f64>>,
    pub softening_c: Option<f64>,
    pub slip_c: Option<f64>,
    pub drop_c: Option<f64>,
    pub end_c: Option<f64>,
    pub clear_c: Option<f64>,
    pub hold_c: Option<f64>,
    pub finest_mm: f64,
    pub melted_percent: f64,
    pub skin_kpa: f64,
    pub feel: SkinFeel,
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
