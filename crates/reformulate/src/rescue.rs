//! What to add to a pot already poured so that it meets every demand: nothing can be taken out of it.
//!
//! ```text
//! minimise   Σ a_i   subject to the demands on the mixture (m p + a) / (m + Σ a),   a ≥ 0
//! ```
//! `m` is the mass of the pot, `p` its shares, `a` what is added. As a formula of the pot itself and of each addition, in mass % of the mixture, it starts at
//! 100 % of the pot, and the mass moved is `Σ a / (m + Σ a)`, which grows with `Σ a`: the search is that of [`crate::adjust`](mod@crate::adjust), the
//! slope with the share of the pot being that along its contents.
//!
//! # Source
//! As [`crate::adjust`](mod@crate::adjust).

use barwright_blend::{Model, Options};
use barwright_reference::{Formula, Library};

use crate::adjust::{AdjustError, Adjustment, Least, Task, named, solved};
use crate::demand::Demand;
use crate::judge::{Judge, Pot};
use crate::limits::{Limits, PriceLimit, SUM_TOLERANCE_PERCENT, check_step, is_base, mass_moved};
use crate::rounding::Rounding;

/// Least share of the pot in the mixture, mass %: with more than three times its mass added, it is another batch.
pub const MIN_POT_PERCENT: f64 = 25.0;

/// An addition below this is none, % of the pot.
const NOTHING_PERCENT: f64 = 1e-3;

/// Additions that are tried of each, in steps from the one below it.
const STEPS: [f64; 4] = [-1.0, 0.0, 1.0, 2.0];

/// Combinations of them, at most.
const MAX_COMBINATIONS: usize = 1 << 14;

/// What to add.
#[derive(Debug, Clone, PartialEq)]
pub struct Rescue {
    /// The mixture beside the pot, as of [`crate::adjust()`]; whole steps are those of the additions.
    pub adjustment: Adjustment,
    /// What is added of each ingredient, % of the mass of the pot; at least 0.
    pub added_percent: Vec<f64>,
}

/// Finds the least mass to add to a pot.
///
/// # Arguments
/// * `library`, `model`, `options`: as for [`crate::adjust()`].
/// * `formula`: what is in the pot, mass %.
/// * `task`: demands and limits. What may be more than it is (`max_percent`) may be added, any amount of it; the other bounds say nothing here. Steps are
///   those of the additions, % of the pot; what is to be the least is the mass added, whatever the task says.
///
/// # Errors
/// [`AdjustError`].
///
/// # Validity
/// As [`crate::adjust()`]; at most three times the mass of the pot is added.
///
/// # Example
/// ```
/// use barwright_blend::{Model, Options};
/// use barwright_reference::{Library, formula};
/// use barwright_reformulate::adjust::{Least, Task};
/// use barwright_reformulate::{Demand, Limits, rescue};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let pot = formula::read_inline("beeswax 20, sunflower oil 80", "pot", &library)?.formulas.remove(0);
/// let task = Task {
///     demands: vec![Demand::Hold { temperature_c: 50.0 }],
///     confidence: 0.9,
///     ingredients: pot.parts.iter().map(|part| part.ingredient).collect(),
///     limits: Limits::free(2),
///     step_percent: None,
///     least: Least::Moved,
/// };
/// let found = rescue(&library, &Model::builtin()?, &Options { draws: 64, ..Options::default() }, &pot, &task)?;
/// assert!(found.added_percent[0] > 0.0 && found.added_percent[1] == 0.0);
/// # Ok(())
/// # }
/// ```
pub fn rescue(
    library: &Library,
    model: &Model,
    options: &Options,
    formula: &Formula,
    task: &Task,
) -> Result<Rescue, AdjustError> {
    rayon::scope(|_| searched(library, model, options, formula, task))
}

fn searched(
    library: &Library,
    model: &Model,
    options: &Options,
    formula: &Formula,
    task: &Task,
) -> Result<Rescue, AdjustError> {
    if task.demands.is_empty() && task.limits.price.is_none() {
        return Err(AdjustError::NoDemand);
    }
    task.limits.check(task.ingredients.len())?;
    check_step(task.step_percent)?;
    let before = task.before(formula);
    let may_rise = |&at: &usize| task.limits.max_percent[at] > before[at] + SUM_TOLERANCE_PERCENT;
    let pot = Pot { addable: (0..before.len()).filter(may_rise).collect(), percent: before };
    let mut limits = Limits::free(1 + pot.addable.len());
    limits.min_percent[0] = MIN_POT_PERCENT;
    limits.price = task
        .limits
        .price
        .as_ref()
        .map(|PriceLimit { per_kg, max_per_kg }| PriceLimit { per_kg: pot.along(per_kg), max_per_kg: *max_per_kg });
    let inner = Task { limits, least: Least::Moved, ..task.clone() };
    let judge = |demands: &[Demand], draws: usize| {
        let options = Options { draws, ..options.clone() };
        let judge = Judge::new(library, model, &options, &task.ingredients, demands, task.confidence)?;
        Ok(judge.of_pot(pot.clone()))
    };
    let mut start = vec![0.0; 1 + pot.addable.len()];
    start[0] = 100.0;
    // An ingredient that comes in new may be a crumb; what is in the pot already cannot be taken out.
    let new = |&at: &usize| pot.percent[at] <= 0.0 && library.get(task.ingredients[at]).is_some_and(is_base);
    let rounding = Rounding {
        near,
        wide: false,
        may_crumble: std::iter::once(false).chain(pot.addable.iter().map(new)).collect(),
    };
    let found = solved(&start, &inner, options.draws, &judge, &rounding)?;
    let after = pot.mixed(&found.after);
    let mut added_percent = vec![0.0; pot.percent.len()];
    pot.addable.iter().zip(added(&found.after)).for_each(|(&at, added)| added_percent[at] = added);
    let adjustment = Adjustment {
        formula: named(formula, &task.ingredients, &after),
        mass_moved: mass_moved(&pot.percent, &after),
        before: pot.percent,
        after,
        ..found
    };
    Ok(Rescue { adjustment, added_percent })
}

/// What is added, % of the pot, of a mixture in mass % of the pot and of each addition.
fn added(share: &[f64]) -> Vec<f64> {
    let of_pot = share[1..].iter().map(|added| 100.0 * added.max(0.0) / share[0]);
    of_pot.map(|added| if added < NOTHING_PERCENT { 0.0 } else { added }).collect()
}

/// Mixtures with whole steps of additions near one, as shares of the pot and of each addition, mass %.
fn near(_: &[f64], share: &[f64], step: f64, wide: bool) -> Vec<Vec<f64>> {
    let mut combinations: Vec<Vec<f64>> = vec![Vec::new()];
    for added in added(share) {
        let below = (added / step + NOTHING_PERCENT).floor();
        let mut amounts: Vec<f64> = STEPS.iter().map(|extra| step * (below + extra)).collect();
        amounts.retain(|amount| *amount >= 0.0);
        if added == 0.0 && !wide {
            amounts = vec![0.0];
        }
        let longer = |one: &Vec<f64>| -> Vec<Vec<f64>> {
            amounts.iter().map(|amount| [one.as_slice(), &[*amount]].concat()).collect()
        };
        combinations = combinations.iter().flat_map(longer).take(MAX_COMBINATIONS).collect();
    }
    let mixed = |added: Vec<f64>| {
        let whole = 100.0 / (100.0 + added.iter().sum::<f64>());
        std::iter::once(100.0).chain(added).map(|mass| mass * whole).collect()
    };
    combinations.into_iter().map(mixed).collect()
}
