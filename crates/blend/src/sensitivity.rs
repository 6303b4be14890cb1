//! Sensitivity of each property to one more percent of one ingredient.
//!
//! ```text
//! property(p + ε e_j) with everything else scaled down in proportion;  d/dε at 0, per 1 % of the bar
//! landmark T*, property(T*) = target:  dT*/dε = − (∂property/∂ε) / (∂property/∂T)
//! ```
//! Exact derivatives of the equilibrium (`equilibrium/derivative.rs`); no formula is changed and solved again. Central values: a small change of one
//! formula shares almost all of what is uncertain about it.
//!
//! # Source
//! Implicit function theorem (textbook; recalled).

use barwright_reference::Formula;
use schemars::JsonSchema;
use serde::Serialize;

use crate::assess::Workbench;
use crate::crystals::PointRates;
use crate::equilibrium::EquilibriumError;
use crate::error::BlendError;
use crate::landmarks::{Direction, Evaluator};

/// Effect of one more percent of an ingredient.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Effect {
    /// Key of the ingredient.
    pub ingredient: String,
    /// Its mass % now.
    pub percent: f64,
    /// Rates of the yield stress at each temperature asked for, % of it for one more % of the ingredient.
    pub firmness_percent: Vec<f64>,
    /// Rate of the temperature up to which the bar keeps its shape, K; `None` when it never does.
    pub hold_k: Option<f64>,
    /// Rate of the slip point, K; `None` without one.
    pub slip_point_k: Option<f64>,
    /// Rate of the finest relief, % of it; `None` when the fresh bar has no strength.
    pub finest_feature_percent: Option<f64>,
    /// Rate of the share melted on skin, points.
    pub melted_points: f64,
}

/// Rate of the temperature at which a property falls to its target, along each of `changes` but the last, which is that of the temperature.
pub(crate) fn landmark_rates(
    evaluator: &mut Evaluator<'_>,
    landmark_c: f64,
    changes: &[Direction],
    of: impl Fn(&PointRates) -> f64,
) -> Result<Option<Vec<f64>>, EquilibriumError> {
    let (_, rates) = evaluator.rates(landmark_c, changes)?;
    Ok(falling_rates(rates, of).map(|(_, rates)| rates))
}

/// The slope of a property with temperature, and the rates of the temperature at which it has its value along each change but the last, which is that of
/// the temperature; `None` where the property does not fall.
pub(crate) fn falling_rates(mut rates: Vec<PointRates>, of: impl Fn(&PointRates) -> f64) -> Option<(f64, Vec<f64>)> {
    let slope = rates.pop().map_or(0.0, |rate| of(&rate));
    // At a clear point, or on a plateau, there is no slope to divide by. Adding zero turns a -0 into 0.
    (slope < 0.0).then(|| (slope, rates.iter().map(|rate| -of(rate) / slope + 0.0).collect()))
}

/// Returns the effect of one more percent of each ingredient of a formula.
///
/// # Arguments
/// * `bench`: library, parameters and options; its draws are not used.
/// * `formula`: parts in mass %.
///
/// # Errors
/// As [`crate::assess()`].
///
/// # Example
/// More wax makes a bar firmer, more oil softer:
/// ```
/// use barwright_blend::assess::Workbench;
/// use barwright_blend::{Model, Options, sensitivity};
/// use barwright_reference::{Library, formula};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let model = Model::builtin()?;
/// let reading = formula::read_inline("beeswax 30, sunflower oil 70", "bar", &library)?;
/// let bench = Workbench::new(&library, &model, Options { draws: 0, ..Options::default() })?;
/// let effects = sensitivity::effects(&bench, &reading.formulas[0])?;
/// assert!(effects[0].firmness_percent[0] > 0.0 && effects[1].firmness_percent[0] < 0.0);
/// # Ok(())
/// # }
/// ```
pub fn effects(bench: &Workbench<'_>, formula: &Formula) -> Result<Vec<Effect>, BlendError> {
    let (options, parameters, central) = (bench.options(), bench.parameters(), bench.draw(None));
    let mut in_use = bench.sampler(formula, options.state)?;
    let mut fresh = bench.sampler(formula, options.release_state())?;
    let mut setting = fresh.at(central)?;
    let (released, release_rates) = setting.rates(options.release_c, &setting.changes())?;
    let parts: Vec<_> = in_use.mixture().parts().collect();
    let mut evaluator = in_use.at(central)?;
    let along = evaluator.changes();
    let mut with_temperature = along.clone();
    with_temperature.push(Direction::warmer());
    evaluator.start_curve(evaluator.clear_point_c());
    let slip_c = evaluator.highest_c_with(1.0, |point| point.holding)?;
    let carries_c = evaluator.carries_c()?;
    let weeps_c = evaluator.weeps_c()?;
    let holding = |rate: &PointRates| rate.holding;
    let slip = match slip_c {
        Some(celsius) => landmark_rates(&mut evaluator, celsius, &with_temperature, holding)?,
        None => None,
    };
    let hold = match carries_c.zip(weeps_c) {
        Some((carries, weeps)) if carries < weeps => {
            landmark_rates(&mut evaluator, carries, &with_temperature, |rate| rate.yield_kpa)?
        }
        Some((_, weeps)) => landmark_rates(&mut evaluator, weeps, &with_temperature, holding)?,
        None => None,
    };
    let (_, skin) = evaluator.rates(parameters.skin.temperature_c, &along)?;
    let mut tables = Vec::with_capacity(options.at_c.len());
    for &celsius in &options.at_c {
        tables.push(evaluator.rates(celsius, &along)?);
    }
    // Adding zero turns a -0 into 0.
    let relative = |rate: f64, value: f64| (value > 0.0).then(|| 100.0 * rate / value + 0.0);
    let found = parts.into_iter().enumerate().map(|(index, (ingredient, percent))| Effect {
        ingredient: bench.library().key(ingredient).to_owned(),
        percent,
        firmness_percent: (tables.iter())
            .map(|(point, rates)| relative(rates[index].yield_kpa, point.yield_kpa).unwrap_or(0.0))
            .collect(),
        hold_k: hold.as_ref().map(|rates| rates[index]),
        slip_point_k: slip.as_ref().map(|rates| rates[index]),
        // The finest relief is as 1/τ.
        finest_feature_percent: relative(-release_rates[index].yield_kpa, released.yield_kpa),
        melted_points: -100.0 * skin[index].solids + 0.0,
    });
    let order = |key: &str| {
        let place =
            |part: &barwright_reference::Part| bench.library().get(part.ingredient).is_some_and(|one| one.key == key);
        formula.parts.iter().position(place)
    };
    let mut found: Vec<Effect> = found.collect();
    found.sort_by_key(|effect| order(&effect.ingredient));
    Ok(found)
}
