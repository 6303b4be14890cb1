//! The smallest change of a formula that meets every demand.
//!
//! A search (`search.rs`) finds it, then it is made one to weigh (`rounding.rs`): without crumbs, in whole steps.
//!
//! # Source
//! As `search.rs`.

use barwright_blend::{BlendError, Model, Options};
use barwright_reference::{Formula, IngredientId, Library, Part};
use schemars::JsonSchema;
use serde::Serialize;

use crate::demand::{Demand, DemandError};
use crate::judge::{Judge, MARGIN_TOLERANCE, TRACE_PERCENT};
use crate::limits::{LimitError, Limits, check_step, is_base, mass_moved};
use crate::linear::Objective;
use crate::rounding::{Rounding, near};
pub use crate::search::Judged;
use crate::search::{Found, Search};

/// Draws of the first search.
const FEW_DRAWS: usize = 48;

/// Why nothing could be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AdjustError {
    /// The model failed.
    #[error(transparent)]
    Blend(#[from] BlendError),
    /// No formula fits the limits.
    #[error(transparent)]
    Limits(#[from] LimitError),
    /// No demand was given.
    #[error("nothing is demanded")]
    NoDemand,
    /// A demand that no bar can be measured against.
    #[error(transparent)]
    Demand(#[from] DemandError),
}

/// Demands, limits, and how the answer is rounded.
#[derive(Debug, Clone, PartialEq)]
pub struct Task {
    /// Demands.
    pub demands: Vec<Demand>,
    /// Share of draws that must meet each, 0 to 1.
    pub confidence: f64,
    /// Ingredients that may be in the answer: those of the formula first, in its order, then others.
    pub ingredients: Vec<IngredientId>,
    /// What may change.
    pub limits: Limits,
    /// Amounts that change become whole multiples of this, mass %, but for one where the sum leaves no other way; `None`: any amount.
    pub step_percent: Option<f64>,
    /// What is to be the least.
    pub least: Least,
}

/// What a change is to be the least of.
#[derive(Debug, Clone, PartialEq)]
pub enum Least {
    /// Mass moved.
    Moved,
    /// Price of the changed formula.
    Price {
        /// Price per kilogram of each ingredient of the task, in any one currency.
        per_kg: Vec<f64>,
    },
}

impl Least {
    /// Prices on a scale on which their mean is 1 for a mass %, so that a gain is worth about as much as one of mass moved; none for mass moved.
    fn rates(&self) -> Vec<f64> {
        let Least::Price { per_kg } = self else { return Vec::new() };
        let mean = per_kg.iter().sum::<f64>() / per_kg.len().max(1) as f64;
        per_kg.iter().map(|price| price / mean.max(f64::MIN_POSITIVE)).collect()
    }
}

impl Task {
    /// Mass % of each ingredient in a formula.
    pub(crate) fn before(&self, formula: &Formula) -> Vec<f64> {
        let amount = |&ingredient: &IngredientId| {
            let parts = formula.parts.iter().filter(|part| part.ingredient == ingredient);
            parts.map(|part| part.percent).sum::<f64>() + 0.0
        };
        self.ingredients.iter().map(amount).collect()
    }
}

/// How far a formula meets one demand.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Met {
    /// The demand.
    #[serde(flatten)]
    pub demand: Demand,
    /// Share of draws that meet it before.
    pub probability_before: f64,
    /// Share of draws that meet it after.
    pub probability_after: f64,
    /// Whether that is enough.
    pub met: bool,
    /// Whether it could be met within the limits as the only demand; only worked out when not everything is met.
    pub met_alone: Option<bool>,
}

/// Two demands that can each be met, but not both.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Conflict {
    /// One of them.
    pub first: Demand,
    /// The other.
    pub second: Demand,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Adjustment {
    /// The changed formula, or the nearest to meeting everything; parts of 0 % are left out.
    pub formula: Formula,
    /// Mass %, in the order of the ingredients of the task: before.
    pub before: Vec<f64>,
    /// The same after the change.
    pub after: Vec<f64>,
    /// Whether every demand is met within the limits.
    pub feasible: bool,
    /// Whether the amounts are in whole steps.
    pub in_steps: bool,
    /// Mass moved, %.
    pub mass_moved: f64,
    /// Every demand.
    pub demands: Vec<Met>,
    /// Demands that can each be met, but not both.
    pub conflicts: Vec<Conflict>,
    /// How far the answer is over the price limit, as a share of the limit; 0 within it.
    pub over_price: f64,
    /// How many formulas were judged with each number of draws.
    pub judged: Vec<Judged>,
}

/// Finds the smallest change, or the cheapest formula.
///
/// # Arguments
/// * `library`, `model`: as for [`barwright_blend::assess()`].
/// * `options`: crystal state, temperature at release, draws, seed.
/// * `formula`: the formula to change, in mass %.
/// * `task`: demands and limits.
///
/// # Errors
/// [`AdjustError`].
///
/// # Validity
/// The draws and their limits are those of the model; the answer is a local optimum found from several starts. Against a grid of 0.1 % see the tests.
///
/// # Example
/// How much must change so that a bar keeps its shape at 50 °C, nine times in ten?
/// ```
/// use barwright_blend::{Model, Options};
/// use barwright_reference::{Library, formula};
/// use barwright_reformulate::adjust::{Least, Task, adjust};
/// use barwright_reformulate::{Demand, Limits};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let text = "beeswax 20, candelilla wax 5, cocoa butter 25, sunflower oil 50";
/// let bar = formula::read_inline(text, "bar", &library)?.formulas.remove(0);
/// let task = Task {
///     demands: vec![Demand::Hold { temperature_c: 50.0 }],
///     confidence: 0.9,
///     ingredients: bar.parts.iter().map(|part| part.ingredient).collect(),
///     limits: Limits::free(bar.parts.len()),
///     step_percent: Some(0.5),
///     least: Least::Moved,
/// };
/// let answer = adjust(&library, &Model::builtin()?, &Options { draws: 64, ..Options::default() }, &bar, &task)?;
/// assert!(answer.feasible && answer.mass_moved > 0.0);
/// # Ok(())
/// # }
/// ```
pub fn adjust(
    library: &Library,
    model: &Model,
    options: &Options,
    formula: &Formula,
    task: &Task,
) -> Result<Adjustment, AdjustError> {
    // On a thread of the pool from the start: a search has thousands of small steps to share.
    rayon::scope(|_| searched(library, model, options, formula, task))
}

fn searched(
    library: &Library,
    model: &Model,
    options: &Options,
    formula: &Formula,
    task: &Task,
) -> Result<Adjustment, AdjustError> {
    if task.demands.is_empty() && task.limits.price.is_none() {
        return Err(AdjustError::NoDemand);
    }
    task.limits.check(task.ingredients.len())?;
    check_step(task.step_percent)?;
    if let Least::Price { per_kg } = &task.least
        && per_kg.len() != task.ingredients.len()
    {
        return Err(LimitError::Length { found: per_kg.len(), expected: task.ingredients.len() }.into());
    }
    let before = task.before(formula);
    let judge = |demands: &[Demand], draws: usize| {
        let options = Options { draws, ..options.clone() };
        Judge::new(library, model, &options, &task.ingredients, demands, task.confidence)
    };
    let base = |&id: &IngredientId| library.get(id).is_some_and(is_base);
    let rounding = Rounding { near, wide: false, may_crumble: task.ingredients.iter().map(base).collect() };
    let found = solved(&before, task, options.draws, &judge, &rounding)?;
    Ok(Adjustment { formula: named(formula, &task.ingredients, &found.after), ..found })
}

/// A formula of these amounts; parts of 0 % are left out.
pub(crate) fn named(formula: &Formula, ingredients: &[IngredientId], percent: &[f64]) -> Formula {
    let parts = ingredients.iter().zip(percent).filter(|(_, percent)| **percent > TRACE_PERCENT);
    let parts = parts.map(|(&ingredient, &percent)| Part { ingredient, percent }).collect();
    Formula { name: formula.name.clone(), parts }
}

/// Makes what judges amounts against some demands in so many draws.
pub(crate) type Judging<'j> = dyn Fn(&[Demand], usize) -> Result<Judge<'j>, BlendError> + 'j;

/// The smallest change of some amounts; its formula is still empty.
///
/// # Arguments
/// * `before`: the amounts, mass %.
/// * `judge`: makes what judges amounts against some demands in so many draws.
/// * `rounding`: how amounts become what a maker would weigh.
pub(crate) fn solved<'j>(
    before: &[f64],
    task: &Task,
    draws: usize,
    judge: &Judging<'j>,
    rounding: &Rounding,
) -> Result<Adjustment, AdjustError> {
    let few = judge(&task.demands, FEW_DRAWS.min(draws))?;
    let all = judge(&task.demands, draws)?;
    all.check()?;
    let meets = |found: &Found| found.missing <= MARGIN_TOLERANCE && task.limits.hold(&found.percent);
    let rates = task.least.rates();
    let mut search = Search::new(before, &task.limits);
    if let Least::Price { .. } = task.least {
        search.objective = Objective::Sum(&rates);
    }
    let mut found = search.solve(&few, &all, Vec::new())?;
    // What each demand alone leads to. Where each can be met, the joint search starts again from there before it gives up.
    let mut alone: Vec<Found> = Vec::new();
    let some_judges = |demands: &[Demand]| -> Result<_, BlendError> {
        Ok((judge(demands, FEW_DRAWS.min(draws))?, judge(demands, draws)?))
    };
    if !meets(&found) && !task.demands.is_empty() {
        let several = task.demands.iter().zip(&found.standings).filter(|_| task.demands.len() > 1);
        for (demand, standing) in several {
            let met = standing.margin >= -MARGIN_TOLERANCE && task.limits.hold(&found.percent);
            alone.push(if met {
                Found { missing: 0.0, ..found.clone() }
            } else {
                let (few, all) = some_judges(&[*demand])?;
                let one = search.solve(&few, &all, vec![found.percent.clone()])?;
                if meets(&one) { one } else { search.restart(&few, &all, &one, &[])? }
            });
        }
        if alone.iter().all(meets) {
            let again = search.restart(&few, &all, &found, &alone)?;
            if again.cost < found.cost {
                found = again;
            }
        }
        if task.demands.len() == 1 {
            alone.push(found.clone());
        }
    }
    let (found, in_steps) = if found.missing <= MARGIN_TOLERANCE {
        search.weighable(&all, found, rounding, task.step_percent)?
    } else if let Some(step) = task.step_percent {
        search.nearest_in_steps(&all, found, rounding, step)?
    } else {
        (found, false)
    };
    let feasible = meets(&found);
    let start = search.judge(&all, before, false)?;
    let mut demands: Vec<Met> = (task.demands.iter().zip(&start).zip(&found.standings))
        .map(|((demand, before), after)| Met {
            demand: *demand,
            probability_before: before.probability,
            probability_after: after.probability,
            met: after.margin >= -MARGIN_TOLERANCE,
            met_alone: None,
        })
        .collect();
    let mut conflicts = Vec::new();
    if !feasible {
        for (one, alone) in demands.iter_mut().zip(&alone) {
            one.met_alone = Some(meets(alone));
        }
        let possible: Vec<usize> = (0..alone.len()).filter(|&one| meets(&alone[one])).collect();
        for (index, &one) in possible.iter().enumerate() {
            for &other in &possible[index + 1..] {
                let (first, second) = (task.demands[one], task.demands[other]);
                let both = match demands.len() {
                    2 => false,
                    _ => {
                        let (few, all) = some_judges(&[first, second])?;
                        let pair = [alone[one].clone(), alone[other].clone()];
                        let starts = pair.iter().map(|one| one.percent.clone()).collect();
                        let both = search.solve(&few, &all, starts)?;
                        meets(&both) || meets(&search.restart(&few, &all, &both, &pair)?)
                    }
                };
                if !both {
                    conflicts.push(Conflict { first, second });
                }
            }
        }
    }
    let judged = search.judged;
    Ok(Adjustment {
        formula: Formula { name: String::new(), parts: Vec::new() },
        mass_moved: mass_moved(before, &found.percent),
        over_price: task.limits.over_price(&found.percent),
        after: found.percent,
        before: before.to_vec(),
        feasible,
        in_steps,
        demands,
        conflicts,
        judged,
    })
}

#[cfg(test)]
mod tests;
