//! What the model leaves out of one set of ingredients: in one draw, and draw by draw.

use crate::maker;
use crate::model::Model;
use crate::parameters::Parameters;
use crate::sampling::Draws;

/// What the model leaves out of one set of ingredients, in one draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrawnDiscrepancy {
    /// Factor on the yield stress.
    pub interplay: f64,
    /// Factor on how well the crystals hold oil.
    pub holding: f64,
}

impl DrawnDiscrepancy {
    /// Nothing left out: the central draw.
    pub(crate) const NOTHING: DrawnDiscrepancy = DrawnDiscrepancy { interplay: 1.0, holding: 1.0 };
}

/// What the model leaves out of one set of ingredients, draw by draw; the same set in other proportions shares it, so that their
/// difference is known better.
#[derive(Debug, Clone)]
pub struct DiscrepancyDraws {
    pub(crate) central_melt_shift_k: f64,
    pub(crate) central: DrawnDiscrepancy,
    pub(crate) melt_shift_k: Vec<f64>,
    pub(crate) holding: Vec<f64>,
    pub(crate) interplay: Vec<f64>,
}

impl Default for DiscrepancyDraws {
    /// Nothing left out.
    fn default() -> Self {
        DiscrepancyDraws {
            central_melt_shift_k: 0.0,
            central: DrawnDiscrepancy::NOTHING,
            melt_shift_k: Vec::new(),
            holding: Vec::new(),
            interplay: Vec::new(),
        }
    }
}

impl DiscrepancyDraws {
    /// Draws it for a set of ingredients, given the maker's trials.
    ///
    /// # Arguments
    /// * `keys`: keys of the ingredients, in alphabetical order.
    /// * `model`: spreads, and what the maker's trials say.
    /// * `draws`: source of draws.
    pub fn new(keys: &[&str], model: &Model, draws: &Draws) -> Self {
        let Model { parameters, maker } = model;
        let column =
            |kind: &str, sd: f64| maker.scores(draws, &maker::of_set(kind, keys)).into_iter().map(move |z| sd * z);
        DiscrepancyDraws {
            melt_shift_k: column(maker::DISCREPANCY_MELT, parameters.discrepancy.melt_shift_sd_k).collect(),
            holding: column(maker::HOLDING, parameters.discrepancy.holding_ln_sd).map(f64::exp).collect(),
            interplay: column(maker::INTERPLAY, parameters.firmness.interplay_ln_sd).map(f64::exp).collect(),
            ..Self::at(parameters, maker::OF_SET.map(|kind| maker.centre(&maker::of_set(kind, keys))))
        }
    }

    /// The same at given scores: a central value without draws.
    ///
    /// # Arguments
    /// * `parameters`: spreads.
    /// * `scores`: of each of [`maker::OF_SET`]; 0 leaves nothing out.
    pub fn at(parameters: &Parameters, scores: [f64; 3]) -> Self {
        let [melt, holding, interplay] = scores;
        DiscrepancyDraws {
            central_melt_shift_k: parameters.discrepancy.melt_shift_sd_k * melt,
            central: DrawnDiscrepancy {
                holding: (parameters.discrepancy.holding_ln_sd * holding).exp(),
                interplay: (parameters.firmness.interplay_ln_sd * interplay).exp(),
            },
            ..Self::default()
        }
    }
}
