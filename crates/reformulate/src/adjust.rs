//! The smallest change of a formula that meets every demand.
//!
//! Sequential linear programming with a trust region: every margin is replaced by its tangent ([`crate::judge`] gives exact derivatives), the linear
//! program is solved inside the region ([`crate::linear`]), the step is judged, the region grows or shrinks. It starts from the
//! formula itself and from it with one ingredient raised or lowered, first with few draws, then goes on from the best with all. Where that ends
//! without an answer, it starts again from points spread over the limits, then, where each demand alone can be met, from the formulas that do that, half way
//! between them, and without each ingredient in turn. Margins jump where an ingredient comes or goes, since what the model leaves out belongs to a set of
//! ingredients: these last searches try a step that such a jump spoils again within the set. It says then that none was found, which is no proof.
//!
//! The answer is then made one to weigh. It holds no crumbs ([`MIN_PART_PERCENT`](crate::limits::MIN_PART_PERCENT)): where it would, the search is repeated with that ingredient left out, left as
//! it was, or held above. And it is rounded to whole steps (`rounding.rs`): amounts in steps near it are judged in the order of mass moved, and the first
//! that meets every demand is taken; where none does, the demands are overfulfilled by ever more, which leads to where more amounts in steps meet them.
//!
//! # Source
//! Fletcher and Sainz de la Maza 1989, Math. Program. 43:235 (sequential linear programming with a trust region; recalled).

use std::borrow::Cow;

use barwright_blend::{BlendError, Model, Options};
use barwright_reference::{Formula, IngredientId, Library, Part};
use schemars::JsonSchema;
use serde::Serialize;

use crate::demand::{Demand, DemandError};
use crate::judge::{Judge, MARGIN_TOLERANCE, Standing, TRACE_PERCENT, Tangent};
use crate::limits::{LimitError, Limits, check_step, is_base, mass_moved};
use crate::linear::{Objective, Program, Step, cost, missing, most_missing};
use crate::rounding::{Rounding, near};

/// Draws of the first search.
const FEW_DRAWS: usize = 48;

/// First reach of a step, mass %.
const FIRST_REACH: f64 = 8.0;

/// Reach below which a search ends, mass %.
const LAST_REACH: f64 = 0.01;

/// Steps of one search.
const MAX_STEPS: usize = 30;

/// Steps of one of the first searches.
const FEW_STEPS: usize = 12;

/// Gain below which a search ends, mass % moved.
const MIN_GAIN: f64 = 1e-3;

/// Share of the promised gain that a step must bring.
const SUFFICIENT: f64 = 0.05;

/// Other starts have one ingredient this much higher or lower, mass %.
const START_CHANGE: f64 = 8.0;

/// Starts that are followed: all of them for up to six ingredients.
const FOLLOWED: usize = 13;

/// Starts that go on to the search with all draws.
const FINALISTS: usize = 4;

/// Points spread over the limits when nothing else finds an answer.
const SPREAD_STARTS: usize = 96;

/// Number of those that are followed.
const SPREAD_FOLLOWED: usize = 6;

/// What may be missing of a formula that is polished: about as much as a transfer brings.
const NEAR_MISS: f64 = 0.2;

/// What is there of an ingredient stays there while it is this much, mass %.
const LEAST_KEPT: f64 = 0.01;

/// Where more than this is missing, starting again was never seen to help: three times too soft, say.
const HOPELESS: f64 = 1.0;

/// Margin that a nudge aims at.
const INSIDE: f64 = 1e-3;

/// First and last size of a transfer in polishing, mass %.
const FIRST_TRANSFER: f64 = 0.8;
const LAST_TRANSFER: f64 = 0.05;

/// Ingredients of less than this are left out altogether, to see whether that is better, mass %.
const LARGEST_DROP: f64 = 4.0;

/// Transfers tried where something is missing, from [`FIRST_REACH`] down.
const MAX_REPAIRS: usize = 300;

/// Transfers tried in polishing.
const MAX_TRANSFERS: usize = 60;

/// Margins by which the demands are overfulfilled, one after the other, until a formula in whole steps nearby meets them.
const TIGHTER: [f64; 5] = [0.0, 0.01, 0.03, 0.1, 0.3];

/// Halvings between the last that had none and the first that had one.
const HALVINGS: usize = 2;

/// Formulas in whole steps that are judged at a time: those that tangents say meet everything, then others.
const MAX_PROMISING: usize = 160;
const MAX_OTHERS: usize = 40;

/// What tangents may say is missing of a formula that is worth judging.
const PROMISING: f64 = 0.02;

/// Searches with a crumb left out, kept, or made a part of its own.
const MAX_BRANCHES: usize = 16;

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

/// How often a formula was judged in so many draws.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// Draws each time.
    pub draws: usize,
    /// How often.
    pub times: usize,
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

/// Finds the smallest change.
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
/// use barwright_reformulate::adjust::{Task, adjust};
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
    let mut search =
        Search { original: before, limits: &task.limits, judged: Vec::new(), same_set: false, inside_by: 0.0 };
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

/// A formula and how far it meets the demands.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    pub percent: Vec<f64>,
    standings: Vec<Standing>,
    cost: f64,
    missing: f64,
}

/// Which ingredients are there.
fn set(percent: &[f64]) -> impl Iterator<Item = bool> {
    percent.iter().map(|percent| *percent > TRACE_PERCENT)
}

/// Every pair of ingredients, in order.
fn transfers(count: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..count).flat_map(move |from| (0..count).filter(move |to| *to != from).map(move |to| (from, to)))
}

pub(crate) struct Search<'a> {
    original: &'a [f64],
    pub limits: &'a Limits,
    /// Calls of the judge, by its number of draws.
    judged: Vec<Judged>,
    /// Whether a step that leads nowhere because an ingredient comes or goes is tried without that.
    same_set: bool,
    /// Margin by which the demands are to be met.
    inside_by: f64,
}

impl Search<'_> {
    fn count(&mut self, judge: &Judge<'_>) {
        let draws = judge.draws();
        match self.judged.iter_mut().find(|known| known.draws == draws) {
            Some(known) => known.times += 1,
            None => self.judged.push(Judged { draws, times: 1 }),
        }
    }

    fn judge(&mut self, judge: &Judge<'_>, percent: &[f64], gradients: bool) -> Result<Vec<Standing>, BlendError> {
        self.count(judge);
        Ok(self.tightened(judge.judge(percent, gradients)?))
    }

    /// Margins as they count here.
    fn tightened(&self, mut standings: Vec<Standing>) -> Vec<Standing> {
        for standing in &mut standings {
            standing.margin -= self.inside_by;
            standing.tangents.iter_mut().for_each(|tangent| tangent.margin -= self.inside_by);
        }
        standings
    }

    fn found(&mut self, judge: &Judge<'_>, percent: Vec<f64>, gradients: bool) -> Result<Found, BlendError> {
        let standings = self.judge(judge, &percent, gradients)?;
        Ok(self.with(percent, standings))
    }

    fn with(&self, percent: Vec<f64>, standings: Vec<Standing>) -> Found {
        let cost = cost(self.original, &percent, &standings, self.limits);
        let missing = missing(&standings, self.limits, &percent);
        Found { percent, standings, cost, missing }
    }

    /// The same where the cost is below a limit; elsewhere judging stops as soon as that is sure.
    fn found_below(
        &mut self,
        judge: &Judge<'_>,
        most_cost: f64,
        percent: Vec<f64>,
        gradients: bool,
    ) -> Result<Option<Found>, BlendError> {
        let most_missing = most_missing(self.original, &percent, self.limits, most_cost);
        if most_missing < 0.0 {
            return Ok(None);
        }
        self.count(judge);
        let standings = judge.judge_within(&percent, most_missing - self.inside_by, gradients)?;
        Ok(standings
            .map(|standings| self.with(percent, self.tightened(standings)))
            .filter(|found| found.cost < most_cost))
    }

    /// A formula, where it meets everything in all draws.
    ///
    /// # Errors
    /// As [`Judge::judge`].
    pub fn met(&mut self, all: &Judge<'_>, percent: Vec<f64>) -> Result<Option<Found>, BlendError> {
        self.count(all);
        if all.judge_within(&percent, MARGIN_TOLERANCE, false)?.is_none() {
            return Ok(None);
        }
        Ok(Some(self.found(all, percent, false)?).filter(|found| found.missing <= MARGIN_TOLERANCE))
    }

    /// The best step when every margin is taken as linear.
    fn best_step(&self, current: &[f64], standings: &[Standing], limits: &Limits, reach: f64) -> Option<Step> {
        let objective = Objective::Moved(self.original);
        Program { objective, current, standings, aimed: &[], limits, groups: &[], reach }.best()
    }

    /// The same formula judged in all draws; where the search was wrong about it, what it leads to from there.
    fn confirmed(&mut self, all: &Judge<'_>, found: Found) -> Result<Found, BlendError> {
        let exact = self.found(all, found.percent, false)?;
        if exact.missing <= found.missing + MARGIN_TOLERANCE {
            return Ok(exact);
        }
        let again = self.descend(all, exact.percent, MAX_STEPS)?;
        let exact = self.found(all, again.percent, false)?;
        self.nudged(all, exact)
    }

    /// The best formula found with `all` draws where the usual starts led to none that meets everything: from formulas that each meet one demand, from those
    /// half way between two, and from the nearest one without one of its ingredients.
    fn restart(
        &mut self,
        few: &Judge<'_>,
        all: &Judge<'_>,
        nearest: &Found,
        alone: &[Found],
    ) -> Result<Found, BlendError> {
        if nearest.missing > HOPELESS {
            return Ok(nearest.clone());
        }
        let mut starts = vec![nearest.percent.clone()];
        starts.extend(alone.iter().map(|one| one.percent.clone()));
        for (index, one) in alone.iter().enumerate() {
            for other in &alone[index + 1..] {
                starts.push(one.percent.iter().zip(&other.percent).map(|(a, b)| 0.5 * (a + b)).collect());
            }
        }
        let droppable = |&i: &usize| nearest.percent[i] > 0.0 && self.limits.min_percent[i] <= 0.0;
        starts.extend((0..nearest.percent.len()).filter(droppable).map(|i| {
            let mut percent = nearest.percent.clone();
            percent[i] = 0.0;
            self.closed(percent, Some(i))
        }));
        let most = starts.len();
        self.same_set = true;
        let coarse = self.followed(few, starts, most)?;
        let best = self.finish(all, coarse, FINALISTS)?;
        let best = self.polish(all, best)?;
        let best = self.confirmed(all, best)?;
        self.same_set = false;
        Ok(best)
    }

    /// The best formula found with `all` draws.
    ///
    /// # Arguments
    /// * `others`: where it may start, too.
    fn solve(&mut self, few: &Judge<'_>, all: &Judge<'_>, others: Vec<Vec<f64>>) -> Result<Found, BlendError> {
        let now = self.found(all, self.inside(self.original), false)?;
        if now.missing <= MARGIN_TOLERANCE && now.cost < MIN_GAIN {
            return Ok(now);
        }
        let mut starts = self.starts();
        starts.extend(others);
        let coarse = self.followed(few, starts, FOLLOWED)?;
        let mut best = self.finish(all, coarse, FINALISTS)?;
        if best.missing > MARGIN_TOLERANCE {
            let coarse = self.followed(few, self.spread_starts(), SPREAD_FOLLOWED)?;
            let other = self.finish(all, coarse, SPREAD_FOLLOWED)?;
            if other.cost < best.cost {
                best = other;
            }
        }
        let best = self.polish(all, best)?;
        self.confirmed(all, best)
    }

    /// Searches from the first and the best of some starts.
    fn followed(&mut self, few: &Judge<'_>, mut starts: Vec<Vec<f64>>, most: usize) -> Result<Vec<Found>, BlendError> {
        if starts.len() > most {
            let judged = starts.into_iter().map(|start| self.found(few, start, false));
            let mut judged = judged.collect::<Result<Vec<_>, _>>()?;
            judged[1..].sort_by(|a, b| a.cost.total_cmp(&b.cost));
            starts = judged.into_iter().take(most).map(|one| one.percent).collect();
        }
        starts.into_iter().map(|start| self.descend(few, start, FEW_STEPS)).collect()
    }

    /// Transfers from one ingredient to another that lower the cost. The margin that decides is that of one draw and then of another, so it
    /// has kinks in which tangents get stuck; trying each transfer does not.
    fn polish(&mut self, all: &Judge<'_>, mut best: Found) -> Result<Found, BlendError> {
        if best.missing > NEAR_MISS || best.cost < MIN_GAIN {
            return Ok(best);
        }
        // Without a trace of it, an ingredient takes with it what the model leaves out of the set it was in: margins jump there.
        for i in 0..best.percent.len() {
            let little =
                self.original[i].min(best.percent[i]) <= LARGEST_DROP && self.original[i].max(best.percent[i]) > 0.0;
            if self.limits.min_percent[i] > 0.0 || !little || best.percent[i] == 0.0 {
                continue;
            }
            let mut limits = self.limits.clone();
            limits.max_percent[i] = 0.0;
            let near = if best.percent[i] <= LARGEST_DROP { &best.percent } else { self.original };
            let mut percent = near.to_vec();
            percent[i] = 0.0;
            if limits.check(percent.len()).is_err() {
                continue;
            }
            // The original may lie outside the limits.
            let dropped = self.within(&limits, self.inside_by, |inner| {
                let start = inner.inside(&percent);
                inner.descend(all, start, MAX_STEPS)
            })?;
            if dropped.cost < best.cost - MIN_GAIN {
                best = dropped;
            }
        }
        best = self.nudged(all, best)?;
        let (mut left, mut size) =
            if best.missing > MARGIN_TOLERANCE { (MAX_REPAIRS, FIRST_REACH) } else { (MAX_TRANSFERS, FIRST_TRANSFER) };
        while size >= LAST_TRANSFER && left > 0 {
            let mut better = None;
            for (from, to) in transfers(best.percent.len()) {
                let mut percent = best.percent.clone();
                percent[from] -= size;
                percent[to] += size;
                // Only what brings the formula nearer to the original can be a gain.
                let nearer = mass_moved(self.original, &percent) < best.cost - MIN_GAIN;
                if left == 0 || percent[from] < 0.0 || !nearer || !self.limits.hold(&percent) {
                    continue;
                }
                left -= 1;
                better = self.found_below(all, best.cost - MIN_GAIN, percent, false)?;
                if better.is_some() {
                    break;
                }
            }
            match better {
                Some(next) => best = next,
                None => size *= 0.5,
            }
        }
        Ok(best)
    }

    /// The limits, with what is not there left out and what is there kept.
    fn of_set(&self, percent: &[f64]) -> Limits {
        let mut limits = self.limits.clone();
        for (i, (&percent, there)) in percent.iter().zip(set(percent)).enumerate() {
            if there {
                limits.min_percent[i] = limits.min_percent[i].max(percent.min(LEAST_KEPT)).min(limits.max_percent[i]);
            } else {
                limits.max_percent[i] = limits.min_percent[i].max(0.0);
            }
        }
        limits
    }

    /// A step to a little inside the demands, where tangents end a hair's breadth outside.
    fn nudged(&mut self, all: &Judge<'_>, near: Found) -> Result<Found, BlendError> {
        if near.missing <= MARGIN_TOLERANCE {
            return Ok(near);
        }
        let mut standings = self.judge(all, &near.percent, true)?;
        standings.iter_mut().flat_map(|one| &mut one.tangents).for_each(|tangent| tangent.margin -= INSIDE);
        let limits = self.of_set(&near.percent);
        let Some(step) = self.best_step(&near.percent, &standings, &limits, FIRST_TRANSFER) else {
            return Ok(near);
        };
        let inside = self.met(all, step.percent)?;
        Ok(inside.unwrap_or(near))
    }

    /// Follows the best of `coarse` with `all` draws.
    fn finish(&mut self, all: &Judge<'_>, mut coarse: Vec<Found>, most: usize) -> Result<Found, BlendError> {
        coarse.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        coarse.dedup_by(|a, b| mass_moved(&a.percent, &b.percent) < 2.0 * MIN_GAIN.max(LAST_REACH));
        let mut best: Option<Found> = None;
        for one in coarse.into_iter().take(most) {
            let found = self.descend(all, one.percent, MAX_STEPS)?;
            if best.as_ref().is_none_or(|best| found.cost < best.cost) {
                best = Some(found);
            }
        }
        match best {
            Some(best) => Ok(best),
            None => self.found(all, self.original.to_vec(), false),
        }
    }

    /// The formula itself, and with one ingredient raised or lowered, the others giving or taking in proportion.
    fn starts(&self) -> Vec<Vec<f64>> {
        let inside = self.inside(self.original);
        let mut starts = vec![inside.clone()];
        for i in 0..inside.len() {
            for change in [START_CHANGE, -START_CHANGE] {
                let to = (inside[i] + change).clamp(self.limits.min_percent[i], self.limits.max_percent[i]);
                if (to - inside[i]).abs() < 1.0 {
                    continue;
                }
                let mut start = inside.clone();
                start[i] = to;
                starts.push(self.closed(start, Some(i)));
            }
        }
        starts
    }

    /// Points spread over the limits by the golden ratio's generalisation, one coordinate for each ingredient.
    fn spread_starts(&self) -> Vec<Vec<f64>> {
        let count = self.original.len();
        // The one root above 1 of x^(n + 1) = x + 1, by repeated roots.
        let ratio = (0..64).fold(2.0_f64, |x, _| (1.0 + x).powf(1.0 / (count as f64 + 1.0)));
        let range = |i: usize| (self.limits.min_percent[i], self.limits.max_percent[i]);
        (0..SPREAD_STARTS)
            .map(|number| {
                let point = (0..count)
                    .map(|i| {
                        let share = (0.5 + (number as f64 + 1.0) * ratio.powi(-(i as i32) - 1)).fract();
                        let (least, most) = range(i);
                        least + (most - least) * share
                    })
                    .collect();
                self.closed(point, None)
            })
            .collect()
    }

    /// Moved inside the bounds, closed to 100 %.
    fn inside(&self, percent: &[f64]) -> Vec<f64> {
        let bounded = percent.iter().zip(&self.limits.min_percent).zip(&self.limits.max_percent);
        self.closed(bounded.map(|((p, least), most)| p.clamp(*least, *most)).collect(), None)
    }

    /// Closed to 100 % by moving all but `fixed` towards their bounds, each by the same part of its room.
    fn closed(&self, mut percent: Vec<f64>, fixed: Option<usize>) -> Vec<f64> {
        for held in [fixed, None] {
            let excess = percent.iter().sum::<f64>() - 100.0;
            let room = |i: usize, p: f64| {
                if held == Some(i) {
                    0.0
                } else if excess > 0.0 {
                    p - self.limits.min_percent[i]
                } else {
                    self.limits.max_percent[i] - p
                }
            };
            let total: f64 = percent.iter().enumerate().map(|(i, &p)| room(i, p)).sum();
            if total <= 0.0 {
                continue;
            }
            let part = (excess.abs() / total).min(1.0);
            let moves: Vec<f64> = percent.iter().enumerate().map(|(i, &p)| room(i, p) * part).collect();
            for (p, change) in percent.iter_mut().zip(moves) {
                *p -= excess.signum() * change;
            }
        }
        percent
    }

    /// Sequential linear programming from one start.
    fn descend(&mut self, judge: &Judge<'_>, start: Vec<f64>, most_steps: usize) -> Result<Found, BlendError> {
        self.count(judge);
        let standings = judge.judge_within(&start, f64::INFINITY, true)?.unwrap_or_default();
        let mut now = self.with(start, self.tightened(standings));
        let mut reach = FIRST_REACH;
        let mut limits = Cow::Borrowed(self.limits);
        for _ in 0..most_steps {
            let Some(step) = self.best_step(&now.percent, &now.standings, &limits, reach) else { break };
            let promised = now.cost - step.cost;
            if promised < MIN_GAIN {
                break;
            }
            let size = mass_moved(&now.percent, &step.percent);
            let other_set = set(&step.percent).ne(set(&now.percent));
            if let Some(next) = self.found_below(judge, now.cost - SUFFICIENT * promised, step.percent, true)? {
                if now.cost - next.cost > 0.7 * promised {
                    reach *= 2.0;
                }
                now = next;
                limits = Cow::Borrowed(self.limits);
            } else if self.same_set && other_set && matches!(limits, Cow::Borrowed(_)) {
                limits = Cow::Owned(self.of_set(&now.percent));
                continue;
            } else {
                reach = 0.3 * reach.min(size.max(LAST_REACH));
            }
            if reach < LAST_REACH {
                break;
            }
        }
        Ok(now)
    }

    /// What a maker would weigh: in whole steps and without crumbs where a formula like that meets everything, in steps with crumbs or without crumbs where
    /// only such a one does; and whether it is in steps.
    fn weighable(
        &mut self,
        all: &Judge<'_>,
        found: Found,
        rounding: &Rounding,
        step_percent: Option<f64>,
    ) -> Result<(Found, bool), BlendError> {
        if let Some(step) = step_percent {
            let wide = Rounding { wide: true, may_crumble: rounding.may_crumble.clone(), ..*rounding };
            for rounding in [rounding, &wide] {
                if let Some(neat) = self.without_crumbs(all, &found, rounding, Some(step))? {
                    return Ok((neat, true));
                }
            }
            let any = Rounding { may_crumble: vec![false; found.percent.len()], ..wide };
            if let Some(rounded) = self.in_steps(all, &found, &any, step)? {
                return Ok((rounded, true));
            }
            for left_out in 0..found.percent.len() {
                let Some(limits) = self.limits.without(left_out) else { continue };
                let end = self.settled(all, &limits, &found.percent)?;
                let rounded = match end {
                    Some(end) => self.within(&limits, 0.0, |inner| inner.in_steps(all, &end, rounding, step))?,
                    None => None,
                };
                if let Some(rounded) = rounded {
                    return Ok((rounded, true));
                }
            }
        }
        Ok((self.without_crumbs(all, &found, rounding, None)?.unwrap_or(found), false))
    }

    /// The nearest formula without crumbs, in whole steps where any are given: where the search ends with one, that ingredient is left out, left as it was,
    /// or held above it, the most promising first.
    fn without_crumbs(
        &mut self,
        all: &Judge<'_>,
        found: &Found,
        rounding: &Rounding,
        step_percent: Option<f64>,
    ) -> Result<Option<Found>, BlendError> {
        let mut open = vec![(self.limits.clone(), found.clone())];
        let mut best: Option<Found> = None;
        for _ in 0..MAX_BRANCHES {
            let next = (0..open.len()).min_by(|&a, &b| open[a].1.cost.total_cmp(&open[b].1.cost));
            let Some((limits, node)) = next.map(|next| open.swap_remove(next)) else { break };
            if best.as_ref().is_some_and(|best| best.cost <= node.cost + MIN_GAIN) {
                break;
            }
            if let Some(crumb) = rounding.crumb(self.original, &node.percent) {
                for limits in limits.without_crumb(crumb, self.original[crumb]) {
                    if let Some(end) = self.settled(all, &limits, &node.percent)? {
                        open.push((limits, end));
                    }
                }
                continue;
            }
            let neat = match step_percent {
                Some(step) => {
                    self.within(&limits, self.inside_by, |inner| inner.in_steps(all, &node, rounding, step))?
                }
                None => Some(node),
            };
            if let Some(neat) = neat.filter(|neat| best.as_ref().is_none_or(|best| neat.cost < best.cost)) {
                best = Some(neat);
            }
        }
        Ok(best)
    }

    /// Where a search within other limits ends, from near some amounts; `None` where that does not meet everything.
    fn settled(&mut self, all: &Judge<'_>, limits: &Limits, percent: &[f64]) -> Result<Option<Found>, BlendError> {
        let end = self.within(limits, 0.0, |inner| {
            let start = inner.inside(percent);
            let end = inner.descend(all, start, MAX_STEPS)?;
            let end = inner.nudged(all, end)?;
            inner.confirmed(all, end)
        })?;
        Ok(Some(end).filter(|end| end.missing <= MARGIN_TOLERANCE && limits.hold(&end.percent)))
    }

    /// The nearest formula in whole steps that meets everything; where none near what was found does, near what overfulfils the demands by ever more. `None` when
    /// there is none either.
    fn in_steps(
        &mut self,
        all: &Judge<'_>,
        found: &Found,
        rounding: &Rounding,
        step: f64,
    ) -> Result<Option<Found>, BlendError> {
        let mut tried: Vec<Vec<f64>> = Vec::new();
        let (mut before, mut goal) = (found.percent.clone(), found.percent.clone());
        for inside_by in TIGHTER {
            if inside_by > 0.0 {
                before.clone_from(&goal);
                let limits = self.limits;
                goal = self.within(limits, inside_by, |inner| inner.descend(all, before.clone(), MAX_STEPS))?.percent;
            }
            let Some(mut best) = self.near(all, &goal, rounding, step, &mut tried)? else { continue };
            for _ in 0..HALVINGS {
                let middle: Vec<f64> = before.iter().zip(&goal).map(|(a, b)| 0.5 * (a + b)).collect();
                match self.near(all, &middle, rounding, step, &mut tried)? {
                    Some(nearer) => {
                        goal = middle;
                        best = if nearer.cost < best.cost { nearer } else { best };
                    }
                    None => before = middle,
                }
            }
            return Ok(Some(best));
        }
        Ok(None)
    }

    /// The first formula in whole steps near a goal that meets everything, in the order of mass moved.
    ///
    /// # Arguments
    /// * `tried`: those that were judged and do not.
    fn near(
        &mut self,
        all: &Judge<'_>,
        goal: &[f64],
        rounding: &Rounding,
        step: f64,
        tried: &mut Vec<Vec<f64>>,
    ) -> Result<Option<Found>, BlendError> {
        let mut candidates = (rounding.near)(self.original, goal, step, rounding.wide);
        candidates.retain(|one| self.limits.hold(one) && rounding.crumb(self.original, one).is_none());
        candidates.sort_by(|a, b| mass_moved(self.original, a).total_cmp(&mass_moved(self.original, b)));
        let standings = self.judge(all, goal, true)?;
        let promising = |one: &Vec<f64>| {
            let tangents = standings.iter().flat_map(|one| &one.tangents);
            let margin = |tangent: &Tangent| {
                let along =
                    tangent.gradient.iter().zip(one.iter().zip(goal)).map(|(slope, (to, from))| slope * (to - from));
                tangent.margin + along.sum::<f64>()
            };
            tangents.map(margin).all(|margin| margin >= -PROMISING)
        };
        let (first, then): (Vec<_>, Vec<_>) = candidates.into_iter().partition(promising);
        for one in first.into_iter().take(MAX_PROMISING).chain(then.into_iter().take(MAX_OTHERS)) {
            if tried.contains(&one) {
                continue;
            }
            if let Some(found) = self.met(all, one.clone())? {
                return Ok(Some(found));
            }
            tried.push(one);
        }
        Ok(None)
    }

    /// Runs a search within other limits, with another margin.
    fn within<T>(&mut self, limits: &Limits, inside_by: f64, run: impl FnOnce(&mut Search<'_>) -> T) -> T {
        let judged = std::mem::take(&mut self.judged);
        let mut inner = Search { original: self.original, limits, judged, same_set: self.same_set, inside_by };
        let found = run(&mut inner);
        self.judged = inner.judged;
        found
    }
}

#[cfg(test)]
mod tests;
