//! How well a published test repeats itself, and a prediction's interval widened by it.
//!
//! | group | scale | standard deviation, where the row states none |
//! |---|---|---|
//! | solids | points of % | [`SOLIDS_SD`] |
//! | melting, neat and gels | K | [`MELTING_SD_K`] |
//! | firmness | logarithm | [`FIRMNESS_LN_SD`]; half of it for a needle, whose depth goes as the root of the yield stress |
//! | gelling level | logarithm | [`GELLING_LN_SD`] |
//! | force on a probe | logarithm | [`FORCE_LN_SD`] |
//!
//! A prediction's interval is for the property. A published value has its own error besides, so it lies outside more often than one time in
//! ten even where the interval is right:
//!
//! ```text
//! value inside when |value − prediction| ≤ √(half width² + (1.645 sd)²), on the group's scale, the half width of the side it lies on
//! ```
//!
//! # Source
//! Sum of two independent normal errors (textbook; recalled).

use barwright_blend::Estimate;

use super::group::Group;
use super::measurement::{Measurement, Quantity};

/// Reproducibility of solids by nuclear magnetic resonance between laboratories, points (2 to 4; recalled).
pub const SOLIDS_SD: f64 = 2.5;

/// Reproducibility of slip points and calorimetry between laboratories and operators, K (judgement).
pub const MELTING_SD_K: f64 = 1.5;

/// Spread of the logarithm of a yield stress from one test to the next (judgement).
pub const FIRMNESS_LN_SD: f64 = 0.3;

/// Spread of the logarithm of a probe force (judgement).
pub const FORCE_LN_SD: f64 = 0.3;

/// Spread of the logarithm of a gelling level inside the last step and between observers (judgement).
pub const GELLING_LN_SD: f64 = 0.3;

/// Half width of a 90 % interval of a normal distribution over its standard deviation.
pub const HALF_WIDTH: f64 = 1.644_853_627;

/// Standard deviation of the test behind a row, on the scale of its group: what the row states, but not less than half of what is usual.
pub fn test_sd(row: &Measurement) -> f64 {
    let (usual, logarithmic) = match Group::of(row) {
        Some(Group::Solids) => (SOLIDS_SD, false),
        Some(Group::Melting | Group::GelMelting) => (MELTING_SD_K, false),
        Some(Group::Firmness) if row.quantity == Quantity::NeedleDmm => (0.5 * FIRMNESS_LN_SD, true),
        Some(Group::Firmness) => (FIRMNESS_LN_SD, true),
        Some(Group::Gelling) => (GELLING_LN_SD, true),
        None => (FORCE_LN_SD, true),
    };
    let stated = if logarithmic { row.sd.map(|sd| sd / row.value) } else { row.sd };
    // Nobody's test is better between laboratories than half of what is usual.
    stated.unwrap_or(usual).max(0.5 * usual)
}

/// Whether a measured value lies inside the interval of a prediction and its own error together.
///
/// # Arguments
/// * `row`: the measurement.
/// * `predicted`: its prediction, in the unit of the row.
pub fn inside_with_test(row: &Measurement, predicted: &Estimate) -> bool {
    let logarithmic = Group::of(row).is_none_or(Group::logarithmic);
    let scale = |value: f64| if logarithmic { value.ln() } else { value };
    let (value, centre) = (scale(row.value), scale(predicted.value));
    let half = if value < centre { centre - scale(predicted.low) } else { scale(predicted.high) - centre };
    (value - centre).abs() <= half.hypot(HALF_WIDTH * test_sd(row))
}
