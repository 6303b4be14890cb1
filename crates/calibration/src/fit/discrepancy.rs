//! What the model leaves out, as seen in the scatter of the fitting rows.
//!
//! Each of three spreads, shared by all proportions of one set of ingredients, is the smallest, not below that of the priors, that puts 90 of
//! 100 point values inside their 90 % interval: a shift of all melting points (solids and melting), how well crystals hold oil
//! (gelling levels), how they meet (firmness).

use barwright_blend::{BlendError, Parameters};

use super::observation::{self, Scale};
use super::robust::{Bench, without_model_spread};
use crate::published::Bound;
use crate::published::group::Group;
use crate::published::reproducibility::HALF_WIDTH;

/// Share of point values that the intervals shall hold.
const WANTED_SHARE: f64 = 0.9;

/// Spreads are found to this part of their unit.
const STEP: f64 = 0.05;

/// Largest spread tried, in units.
const LARGEST: f64 = 8.0;

/// What is left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    /// Shift of all melting points, K.
    pub melt_shift_sd_k: f64,
    /// Logarithm of how well crystals hold oil.
    pub holding_ln_sd: f64,
    /// Logarithm of yield stress.
    pub interplay_ln_sd: f64,
}

impl Left {
    /// Writes the spreads into a parameter set.
    pub fn store(self, parameters: &mut Parameters) {
        parameters.discrepancy.melt_shift_sd_k = self.melt_shift_sd_k;
        parameters.discrepancy.holding_ln_sd = self.holding_ln_sd;
        parameters.firmness.interplay_ln_sd = self.interplay_ln_sd;
    }
}

/// Finds the spreads.
///
/// # Arguments
/// * `bench`: the rows.
/// * `parameters`: after the fit.
/// * `residuals`: after the fit.
///
/// # Errors
/// As [`barwright_blend::assess()`].
pub(crate) fn find(bench: &Bench<'_>, parameters: &Parameters, residuals: &[f64]) -> Result<Left, BlendError> {
    let mut nothing = parameters.clone();
    Left { melt_shift_sd_k: 0.0, holding_ln_sd: 0.0, interplay_ln_sd: 0.0 }.store(&mut nothing);
    let mut unit = without_model_spread(&nothing);
    unit.firmness.cast_ln_sd = 0.0;
    Left { melt_shift_sd_k: 1.0, holding_ln_sd: 0.1, interplay_ln_sd: 0.1 }.store(&mut unit);
    let (base, per_unit) = (bench.spread(&nothing)?, bench.spread(&unit)?);
    let sizes = observation::cluster_sizes(bench.observations);
    let smallest = |belongs: &dyn Fn(Scale) -> bool| {
        let members: Vec<usize> = (0..residuals.len())
            .filter(|&i| bench.observations[i].row.kind == Bound::Point && belongs(bench.observations[i].scale))
            .collect();
        // Rows of one experiment share their error: each experiment has one vote, shared out among its rows.
        let votes: Vec<f64> = members.iter().map(|&i| 1.0 / sizes[i]).collect();
        let all: f64 = votes.iter().sum();
        let held = |units: f64| {
            let inside = members.iter().zip(&votes).filter(|(i, _)| {
                let spread = base[**i].hypot(per_unit[**i] * units);
                residuals[**i].abs() <= HALF_WIDTH * spread
            });
            inside.map(|(_, vote)| vote).sum::<f64>() >= WANTED_SHARE * all
        };
        let steps = (LARGEST / STEP) as usize;
        (0..=steps).map(|step| STEP * step as f64).find(|&units| held(units)).unwrap_or(LARGEST)
    };
    let melt_shift_sd_k = smallest(&|scale| matches!(scale, Scale::Difference(_)));
    let holding_ln_sd = 0.1 * smallest(&|scale| scale == Scale::Logarithm(Group::Gelling));
    let interplay_ln_sd = 0.1 * smallest(&|scale| scale == Scale::Logarithm(Group::Firmness));
    Ok(Left {
        melt_shift_sd_k: melt_shift_sd_k.max(parameters.discrepancy.melt_shift_sd_k),
        holding_ln_sd: holding_ln_sd.max(parameters.discrepancy.holding_ln_sd),
        interplay_ln_sd: interplay_ln_sd.max(parameters.firmness.interplay_ln_sd),
    })
}
