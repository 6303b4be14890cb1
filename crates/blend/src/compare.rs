//! Several formulas side by side, by paired draws: what they share cancels.

use barwright_reference::{Formula, Library};
use schemars::JsonSchema;
use serde::Serialize;

use crate::assess::{Assessment, Options, Workbench};
use crate::error::BlendError;
use crate::interval::Estimate;
use crate::landmarks::LOWEST_LANDMARK_C;
use crate::model::Model;
use crate::outcome::{Ensemble, Outcome};
use crate::property::{Property, Step};
use crate::suitability::COARSEST_FEATURE_MM;

/// A difference counts as decisive at this probability.
pub(crate) const DECISIVE_PROBABILITY: f64 = 0.8;

/// Largest weight of one difference, in practical steps.
const LARGEST_WEIGHT: f64 = 5.0;

/// Largest difference, in steps: the step from a value to none has no size.
const MAX_STEPS: f64 = 1e3;

/// Smallest value of a property that is compared by its logarithm, in its unit.
const SMALLEST_VALUE: f64 = 1e-9;

/// One property of all formulas.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Difference {
    /// The property.
    pub property: Property,
    /// Unit of the values; empty for an index.
    pub unit: &'static str,
    /// One value for each formula; `None` when it has none (a blend that does not set).
    pub values: Vec<Option<Estimate>>,
    /// Probability that the first formula is higher than every other one.
    pub probability_first_higher: f64,
    /// Probability that each formula is the highest.
    pub probability_highest: Vec<f64>,
    /// Probability that each formula is the lowest.
    pub probability_lowest: Vec<f64>,
    /// Largest central difference, in steps that a maker would notice.
    pub steps: f64,
    /// Whether it is both large enough to notice and sure enough to rely on.
    pub decisive: bool,
}

/// Several assessments and the differences between them.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Comparison {
    /// One assessment for each formula.
    pub formulas: Vec<Assessment>,
    /// Differences, the most decisive first.
    pub differences: Vec<Difference>,
}

/// Reads one property off an outcome; `None` when it has none.
type Reader = Box<dyn Fn(&Outcome) -> Option<f64>>;

/// What a draw without the property counts as in an interval.
fn missing(property: Property) -> f64 {
    match property {
        // A bar without strength takes no relief, however coarse.
        Property::FinestFeature => COARSEST_FEATURE_MM,
        Property::YieldStress { .. } => 0.0,
        _ => LOWEST_LANDMARK_C,
    }
}

/// Where a value lies on the scale that a property is compared on; a draw without the property lies beyond all others.
fn scaled(property: Property, value: Option<f64>) -> f64 {
    match (property.step(), value) {
        (Step::Absolute(_), value) => value.unwrap_or_else(|| missing(property)),
        (Step::Ratio(_), Some(value)) => value.max(SMALLEST_VALUE).ln(),
        (Step::Ratio(_), None) if property == Property::FinestFeature => f64::INFINITY,
        (Step::Ratio(_), None) => f64::NEG_INFINITY,
    }
}

/// Compares formulas.
///
/// # Arguments
/// As [`crate::assess()`], with two or more formulas.
///
/// # Returns
/// The assessments and the differences, the most decisive first.
///
/// # Errors
/// As [`crate::assess()`].
pub fn compare(
    library: &Library,
    model: &Model,
    formulas: &[Formula],
    options: &Options,
) -> Result<Comparison, BlendError> {
    compare_on(&Workbench::new(library, model, options.clone())?, formulas)
}

/// Compares formulas on a workbench that is kept, so that the draws are made once for many comparisons.
///
/// # Errors
/// As [`crate::assess()`].
pub fn compare_on(bench: &Workbench<'_>, formulas: &[Formula]) -> Result<Comparison, BlendError> {
    let assessed = formulas.iter().map(|formula| bench.assess(formula)).collect::<Result<Vec<_>, _>>()?;
    let mut differences: Vec<_> =
        properties(&bench.options().at_c).iter().map(|(property, of)| difference(*property, of, &assessed)).collect();
    let weight = |difference: &Difference| {
        let sure = difference.probability_highest.iter().copied().fold(0.0, f64::max);
        difference.steps.min(LARGEST_WEIGHT) * sure
    };
    differences.sort_by(|a, b| {
        (b.decisive, weight(b)).partial_cmp(&(a.decisive, weight(a))).unwrap_or(std::cmp::Ordering::Equal)
    });
    Ok(Comparison { formulas: assessed, differences })
}

/// The properties compared, and how each is read.
fn properties(at_c: &[f64]) -> Vec<(Property, Reader)> {
    let plain = |property, of: fn(&Outcome) -> Option<f64>| (property, Box::new(of) as Reader);
    let yields = at_c.iter().enumerate().map(|(index, &at_c)| {
        let of = move |outcome: &Outcome| (outcome.yield_kpa[index] > 0.0).then(|| outcome.yield_kpa[index]);
        (Property::YieldStress { at_c }, Box::new(of) as Reader)
    });
    let mut list = vec![
        plain(Property::Hold, |outcome| outcome.hold_c),
        plain(Property::SlipPoint, |outcome| outcome.slip_c),
        plain(Property::Softening, |outcome| outcome.softening_c),
        plain(Property::SkinMelted, |outcome| Some(outcome.melted_percent)),
        plain(Property::GrainRisk, |outcome| Some(outcome.grain)),
        plain(Property::FinestFeature, |outcome| outcome.finest_mm.is_finite().then_some(outcome.finest_mm)),
    ];
    list.extend(yields);
    list
}

fn difference(property: Property, of: &Reader, assessed: &[Assessment]) -> Difference {
    let scaled = |outcome: &Outcome| scaled(property, of(outcome));
    let ensembles: Vec<&Ensemble> = assessed.iter().map(|one| &one.ensemble).collect();
    let draws = ensembles.iter().map(|ensemble| ensemble.drawn.len()).min().unwrap_or(0);
    let (mut highest, mut lowest) = (vec![0.0; assessed.len()], vec![0.0; assessed.len()]);
    let mut count = |values: &[f64], weight: f64| {
        let top = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let bottom = values.iter().copied().fold(f64::INFINITY, f64::min);
        for (shares, end) in [(&mut highest, top), (&mut lowest, bottom)] {
            let winners = values.iter().filter(|&&value| value == end).count() as f64;
            for (share, &value) in shares.iter_mut().zip(values) {
                if value == end {
                    *share += weight / winners;
                }
            }
        }
    };
    let central: Vec<f64> = ensembles.iter().map(|ensemble| scaled(&ensemble.central)).collect();
    if draws == 0 {
        count(&central, 1.0);
    }
    for draw in 0..draws {
        let values: Vec<f64> = ensembles.iter().map(|ensemble| scaled(&ensemble.drawn[draw])).collect();
        count(&values, 1.0 / draws as f64);
    }
    let (low, high) = central.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    let step = match property.step() {
        Step::Absolute(step) => step,
        Step::Ratio(ratio) => ratio.ln(),
    };
    let steps = if high > low { ((high - low) / step).min(MAX_STEPS) } else { 0.0 };
    let sure = highest.iter().copied().fold(0.0, f64::max);
    let least = highest.iter().copied().fold(1.0, f64::min);
    Difference {
        property,
        unit: property.unit(),
        values: ensembles.iter().map(|ensemble| ensemble.estimate_or(missing(property), of)).collect(),
        probability_first_higher: highest.first().copied().unwrap_or(0.0),
        decisive: steps >= 1.0 && (sure >= DECISIVE_PROBABILITY || least <= 1.0 - DECISIVE_PROBABILITY),
        probability_highest: highest,
        probability_lowest: lowest,
        steps,
    }
}
