//! Several formulas side by side, by paired draws: what they share cancels.

use barwright_reference::{Formula, Library};
use schemars::JsonSchema;
use serde::Serialize;

use crate::assess::{Assessment, Options, Workbench};
use crate::error::BlendError;
use crate::interval::Estimate;
use crate::landmarks::LOWEST_LANDMARK_C;
use crate::outcome::{Ensemble, Outcome};
use crate::parameters::Parameters;
use crate::suitability::COARSEST_FEATURE_MM;

/// A difference counts as decisive at this probability.
pub const DECISIVE_PROBABILITY: f64 = 0.8;

/// A difference of temperature that a maker would notice, K (judgement).
pub const NOTICEABLE_K: f64 = 2.0;

/// A difference of the melted share that a maker would notice, points (judgement).
pub const NOTICEABLE_POINTS: f64 = 5.0;

/// A ratio of firmness, or of relief, that a maker would notice (judgement).
pub const NOTICEABLE_RATIO: f64 = 1.3;

/// Most practical steps that one difference can weigh.
const LARGEST_WEIGHT: f64 = 5.0;

/// One property of all formulas.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Difference {
    /// Key of the property.
    pub property: String,
    /// Unit of the values; empty for an index.
    pub unit: &'static str,
    /// One value for each formula; `None` when it has none (a blend that does not set).
    pub values: Vec<Option<Estimate>>,
    /// Probability that the first formula is higher than every other one.
    pub probability_first_higher: f64,
    /// Probability of each formula to be the highest.
    pub probability_highest: Vec<f64>,
    /// Probability of each formula to be the lowest.
    pub probability_lowest: Vec<f64>,
    /// Largest central difference, in steps that a maker would notice.
    pub steps: f64,
    /// Whether it is both large enough to notice and sure enough to rely on.
    pub decisive: bool,
}

/// Several assessments and what sets them apart.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Comparison {
    /// One assessment for each formula.
    pub formulas: Vec<Assessment>,
    /// Differences, the most decisive first.
    pub differences: Vec<Difference>,
}

/// Reads one property off an outcome; `None` when it has none.
type Reader = dyn Fn(&Outcome) -> Option<f64>;

/// How a property is compared.
struct Property {
    key: String,
    unit: &'static str,
    /// A difference a maker would notice; on a logarithmic scale the logarithm of a factor.
    step: f64,
    logarithmic: bool,
    /// What a formula without the property counts as, on the scale compared.
    missing: f64,
    of: Box<Reader>,
}

impl Property {
    /// What a draw without the property counts as in an interval.
    fn missing_shown(&self) -> f64 {
        if self.logarithmic { self.missing.exp().min(COARSEST_FEATURE_MM) } else { self.missing }
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
    parameters: &Parameters,
    formulas: &[Formula],
    options: &Options,
) -> Result<Comparison, BlendError> {
    compare_on(&Workbench::new(library, parameters, options.clone())?, formulas)
}

/// Compares formulas on a workbench that is kept, so that the draws are made once for many comparisons.
///
/// # Errors
/// As [`crate::assess()`].
pub fn compare_on(bench: &Workbench<'_>, formulas: &[Formula]) -> Result<Comparison, BlendError> {
    let assessed = formulas.iter().map(|formula| bench.assess(formula)).collect::<Result<Vec<_>, _>>()?;
    let mut differences: Vec<_> =
        properties(&bench.options().at_c).iter().map(|property| difference(property, &assessed)).collect();
    let weight = |difference: &Difference| {
        let sure = difference.probability_highest.iter().copied().fold(0.0, f64::max);
        difference.steps.min(LARGEST_WEIGHT) * sure
    };
    differences.sort_by(|a, b| {
        (b.decisive, weight(b)).partial_cmp(&(a.decisive, weight(a))).unwrap_or(std::cmp::Ordering::Equal)
    });
    Ok(Comparison { formulas: assessed, differences })
}

/// Properties compared; steps are what a maker would notice (judgement).
fn properties(at_c: &[f64]) -> Vec<Property> {
    let plain = |key: &str, unit, step, of: fn(&Outcome) -> Option<f64>| Property {
        key: key.to_owned(),
        unit,
        step,
        logarithmic: false,
        missing: LOWEST_LANDMARK_C,
        of: Box::new(of),
    };
    let mut list = vec![
        plain("hold_c", "°C", NOTICEABLE_K, |outcome| outcome.hold_c),
        plain("slip_point_c", "°C", NOTICEABLE_K, |outcome| outcome.slip_c),
        plain("softening_c", "°C", NOTICEABLE_K, |outcome| outcome.softening_c),
        plain("skin_melted_percent", "%", NOTICEABLE_POINTS, |outcome| Some(outcome.melted_percent)),
        plain("grain_risk", "", 0.15, |outcome| Some(outcome.grain)),
        Property {
            key: "finest_feature_mm".to_owned(),
            unit: "mm",
            step: NOTICEABLE_RATIO.ln(),
            logarithmic: true,
            // A bar without strength takes no relief, however coarse.
            missing: f64::INFINITY,
            of: Box::new(|outcome| outcome.finest_mm.is_finite().then_some(outcome.finest_mm)),
        },
    ];
    for (index, celsius) in at_c.iter().enumerate() {
        list.push(Property {
            key: format!("yield_stress_kpa_at_{celsius}c"),
            unit: "kPa",
            step: NOTICEABLE_RATIO.ln(),
            logarithmic: true,
            missing: f64::NEG_INFINITY,
            of: Box::new(move |outcome| (outcome.yield_kpa[index] > 0.0).then(|| outcome.yield_kpa[index])),
        });
    }
    list
}

fn difference(property: &Property, assessed: &[Assessment]) -> Difference {
    let scaled = |outcome: &Outcome| match (property.of)(outcome) {
        Some(value) if property.logarithmic => value.max(1e-9).ln(),
        Some(value) => value,
        None => property.missing,
    };
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
    let steps = if high > low { ((high - low) / property.step).min(1e3) } else { 0.0 };
    let sure = highest.iter().copied().fold(0.0, f64::max);
    let least = highest.iter().copied().fold(1.0, f64::min);
    Difference {
        property: property.key.clone(),
        unit: property.unit,
        values: ensembles
            .iter()
            .map(|ensemble| ensemble.estimate_or(property.missing_shown(), |outcome| (property.of)(outcome)))
            .collect(),
        probability_first_higher: highest.first().copied().unwrap_or(0.0),
        decisive: steps >= 1.0 && (sure >= DECISIVE_PROBABILITY || least <= 1.0 - DECISIVE_PROBABILITY),
        probability_highest: highest,
        probability_lowest: lowest,
        steps,
    }
}
