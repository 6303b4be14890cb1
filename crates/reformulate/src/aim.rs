//! The one bar of a space that is best in one way and meets every demand.
//!
//! ```text
//! minimise f(x) over the space, subject to the demands by the central model
//!
//! aim        f
//! cheapest   price
//! firmest    −ln τ        at a temperature, in use
//! softest    ln τ
//! glide      max[ln(smears / τ_body), ln(τ_skin / drags)], see [`skin_ln_off`](barwright_blend::suitability::skin_ln_off)
//! nearest    mass moved from a bar
//! ```
//! Sequential linear programming with a trust region from many starts: what exploring found, points of the space, and where the space alone is best. Price and
//! mass moved are linear; all else is the smallest margin of one or two demands ([`crate::judge`]), with its exact tangent.
//!
//! The answer is in whole steps, so that it can be weighed: of the formulas in whole steps around the best, the best that meets everything, and from there any
//! transfer of one step that is better still.
//!
//! # Source
//! As `adjust.rs`.

use barwright_blend::{Model, Options};
use barwright_reference::{IngredientKind, Library};

use crate::demand::{Demand, Firmness};
use crate::explore::{Candidate, ExploreError, Settings};
use crate::judge::{Judge, MARGIN_TOLERANCE, Standing, TRACE_PERCENT};
use crate::limits::{Limits, PriceLimit, mass_moved};
use crate::linear::{Objective, Program, missing, weighed};
use crate::space::{FillBuffers, Filler};

/// Bars already known that are started from: the best of them in what is aimed at.
const FROM_KNOWN: usize = 12;

/// Points of the space that are looked at for a start.
const LOOKED_AT: u64 = 256;

/// Of those, how many are started from.
const FROM_SPACE: usize = 12;

/// First reach of a step, mass %.
const FIRST_REACH: f64 = 8.0;

/// Reach of a step from anywhere, mass %.
const ANYWHERE: f64 = 100.0;

/// Reach below which a search ends, mass %.
const LAST_REACH: f64 = 1e-4;

/// Steps of one search.
const MAX_STEPS: usize = 60;

/// Gain below which nothing is gained, as a share of the objective's unit.
const MIN_GAIN: f64 = 1e-7;

/// Share of the promised gain that a step must bring.
const SUFFICIENT: f64 = 0.05;

/// A search ends as good as the best within this of its value, as a share of it, or of a unit where that is more.
const AS_GOOD: f64 = 1e-3;

/// Largest number of formulas in whole steps that are judged around the best.
const MAX_ROUNDED: usize = 4096;

/// Way in which a bar is to be the best.
#[derive(Debug, Clone, PartialEq)]
pub enum Aim {
    /// Costs least.
    Cheapest,
    /// Highest yield stress in use.
    Firmest,
    /// Lowest yield stress in use.
    Softest,
    /// Farthest from smearing and from dragging on skin.
    Glide,
    /// Least mass moved from a bar.
    Nearest {
        /// Mass % of each ingredient of the space in that bar; what it has beside these is taken out.
        percent: Vec<f64>,
    },
}

/// What to look for.
#[derive(Debug, Clone, PartialEq)]
pub struct Goal {
    /// Way in which the bar is to be the best.
    pub aim: Aim,
    /// Steps of the amounts, mass %, the one most wished for first.
    pub steps_percent: Vec<f64>,
}

/// The best bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Optimum {
    /// Mass % of each ingredient of the space.
    pub percent: Vec<f64>,
    /// What is aimed at: price per kilogram, yield stress in kPa, [`skin_ln_off`](barwright_blend::suitability::skin_ln_off), or mass % moved.
    pub value: f64,
    /// Step that the amounts are whole multiples of, mass %; `None` where no such bar in reach is in the space and meets everything.
    pub step_percent: Option<f64>,
    /// What is aimed at where amounts need not be whole steps.
    pub unrounded: f64,
    /// Searches that ended in a bar that meets everything.
    pub searches: usize,
    /// Of those, how many ended in one as good as this, to a thousandth.
    pub agree: usize,
    /// Bars judged.
    pub judged: usize,
}

/// Why there is nothing to aim at.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AimError {
    /// As for [`crate::explore()`].
    #[error(transparent)]
    Explore(#[from] ExploreError),
    /// The space has no prices.
    #[error("there are no prices")]
    NoPrices,
    /// The bar to be near to is not given by one amount for each ingredient of the space.
    #[error("{found} amounts for {expected} ingredients")]
    NoBar {
        /// How many there are.
        found: usize,
        /// How many there must be.
        expected: usize,
    },
}

/// Finds the best bar of a space.
///
/// # Arguments
/// * `library`, `model`: as for [`barwright_blend::assess()`].
/// * `filler`: the space.
/// * `settings`: as for [`crate::explore()`]; candidates, direction of firmness and rounds are not used.
/// * `demands`: limits on the central values.
/// * `goal`: what to look for.
/// * `known`: bars of the space that are good, such as the front of [`crate::explore()`]; there may be none.
///
/// # Returns
/// `None` when no bar was found that meets everything.
///
/// # Errors
/// [`AimError`].
///
/// # Validity
/// Central values. With price or mass moved and no demand the answer is that of a linear program; with demands, which are not convex, it is the best of local
/// optima. Against a grid see the tests.
///
/// # Example
/// The cheapest bar that keeps its shape at 40 °C has no more beeswax than that takes:
/// ```
/// use barwright_blend::Model;
/// use barwright_reference::Library;
/// use barwright_reformulate::aim::{Aim, Goal, best};
/// use barwright_reformulate::explore::Settings;
/// use barwright_reformulate::space::{Filler, Space};
/// use barwright_reformulate::Demand;
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let find = |key: &str| library.id_of(key).ok_or("not there");
/// let space = Space {
///     ingredients: vec![find("beeswax")?, find("cocoa-butter")?, find("sunflower-oil")?],
///     min_percent: vec![0.0, 10.0, 20.0],
///     max_percent: vec![40.0, 60.0, 80.0],
///     groups: vec![],
///     price: Some(vec![18.0, 12.0, 4.0]),
/// };
/// let filler = Filler::new(&space, 20)?;
/// let hold = [Demand::Hold { temperature_c: 40.0 }];
/// let settings = Settings::default();
/// let goal = Goal { aim: Aim::Cheapest, steps_percent: vec![0.5] };
/// let found = best(&library, &Model::builtin()?, &filler, &settings, &hold, &goal, &[])?;
/// let bar = found.ok_or("nothing meets it")?;
/// assert!(bar.percent[0] > 5.0 && bar.percent[1] == 10.0);
/// # Ok(())
/// # }
/// ```
pub fn best(
    library: &Library,
    model: &Model,
    filler: &Filler,
    settings: &Settings,
    demands: &[Demand],
    goal: &Goal,
    known: &[Candidate],
) -> Result<Option<Optimum>, AimError> {
    let space = filler.space();
    let count = space.ingredients.len();
    let (rates, at_c) = (space.price.as_deref().map(per_percent), settings.firmness_at_c);
    let skin = &model.parameters.skin;
    let firmer = |kpa: f64, temperature_c: f64| Demand::Firmer { than: Firmness::Kpa(kpa), temperature_c };
    let softer = |kpa: f64, temperature_c: f64| Demand::Softer { than: Firmness::Kpa(kpa), temperature_c };
    let (objective, aimed) = match &goal.aim {
        Aim::Cheapest => (Objective::Sum(rates.as_deref().ok_or(AimError::NoPrices)?), vec![]),
        Aim::Nearest { percent } if percent.len() != count => {
            return Err(AimError::NoBar { found: percent.len(), expected: count });
        }
        Aim::Nearest { percent } => (Objective::Moved(percent), vec![]),
        Aim::Firmest => (Objective::LeastMargin, vec![firmer(1.0, at_c)]),
        Aim::Softest => (Objective::LeastMargin, vec![softer(1.0, at_c)]),
        Aim::Glide => (
            Objective::LeastMargin,
            vec![firmer(skin.smears_below_kpa, skin.body_c), softer(skin.drags_above_kpa, skin.temperature_c)],
        ),
    };
    let both: Vec<Demand> = demands.iter().copied().chain(aimed).collect();
    let options = Options { draws: 0, ..settings.options.clone() };
    let judge = Judge::new(library, model, &options, &space.ingredients, &both, 0.5).map_err(ExploreError::from)?;
    judge.check().map_err(ExploreError::from)?;
    let price = space.price.clone().zip(settings.max_price);
    let limits = Limits {
        min_percent: space.min_percent.clone(),
        max_percent: space.max_percent.clone(),
        price: price.map(|(per_kg, max_per_kg)| PriceLimit { per_kg, max_per_kg }),
    };
    let is_powder = |&id| library.get(id).is_some_and(|one| one.kind == IngredientKind::Powder);
    let mut search = Search {
        objective,
        judge: &judge,
        demands: demands.len(),
        limits: &limits,
        filler,
        carriers: space.ingredients.iter().map(|id| !is_powder(id)).collect(),
        judged: 0,
    };
    let mut ends: Vec<Found> = Vec::new();
    for start in search.starts(best_of(known, &goal.aim))? {
        ends.push(search.descend(start)?);
    }
    ends.retain(Found::meets);
    let Some(best) = ends.iter().min_by(|a, b| a.value.total_cmp(&b.value)).cloned() else { return Ok(None) };
    let as_good = best.value + AS_GOOD * best.value.abs().max(1.0);
    let agree = ends.iter().filter(|end| end.value <= as_good).count();
    let mut rounded = None;
    for &step in &goal.steps_percent {
        rounded = search.rounded(&best, step)?.map(|found| (found, Some(step)));
        if rounded.is_some() {
            break;
        }
    }
    let told = |value: f64| match goal.aim {
        Aim::Firmest => (-value).exp(),
        Aim::Softest => value.exp(),
        Aim::Cheapest | Aim::Glide | Aim::Nearest { .. } => value,
    };
    let (searches, judged, unrounded) = (ends.len(), search.judged, told(best.value));
    let (found, step_percent) = rounded.unwrap_or((best, None));
    Ok(Some(Optimum {
        value: told(found.value),
        percent: found.percent,
        step_percent,
        unrounded,
        searches,
        agree,
        judged,
    }))
}

/// The best of what is known, by its properties.
fn best_of<'k>(known: &'k [Candidate], aim: &Aim) -> Vec<&'k Vec<f64>> {
    let value = |one: &Candidate| match aim {
        Aim::Cheapest => one.properties.price.unwrap_or_default(),
        Aim::Firmest => -one.properties.firmness_kpa,
        Aim::Softest => one.properties.firmness_kpa,
        Aim::Glide => one.properties.skin_ln_off,
        Aim::Nearest { percent } => mass_moved(percent, &one.percent),
    };
    let mut order: Vec<(f64, &Vec<f64>)> = known.iter().map(|one| (value(one), &one.percent)).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    order.into_iter().take(FROM_KNOWN).map(|(_, percent)| percent).collect()
}

/// Prices of a mass % in a kilogram.
fn per_percent(per_kg: &[f64]) -> Vec<f64> {
    per_kg.iter().map(|price| price / 100.0).collect()
}

/// A bar and how good it is.
#[derive(Debug, Clone)]
struct Found {
    percent: Vec<f64>,
    standings: Vec<Standing>,
    /// What is aimed at, the smaller the better.
    value: f64,
    /// What is missing of the demands.
    missing: f64,
    /// Both together.
    cost: f64,
}

impl Found {
    fn meets(&self) -> bool {
        self.missing <= MARGIN_TOLERANCE
    }
}

struct Search<'a> {
    objective: Objective<'a>,
    judge: &'a Judge<'a>,
    /// How many of the judge's demands must be met; the others are aimed at.
    demands: usize,
    limits: &'a Limits,
    filler: &'a Filler,
    /// Which ingredients are no powders: without them there is no bar.
    carriers: Vec<bool>,
    judged: usize,
}

impl Search<'_> {
    /// A bar of the space, judged; `None` where it is nothing but powder.
    fn found(&mut self, percent: Vec<f64>, with_gradients: bool) -> Result<Option<Found>, ExploreError> {
        if !percent.iter().zip(&self.carriers).any(|(percent, carrier)| *carrier && *percent > TRACE_PERCENT) {
            return Ok(None);
        }
        self.judged += 1;
        let standings = self.judge.judge_within(&percent, f64::INFINITY, with_gradients)?.unwrap_or_default();
        let (asked, aimed) = standings.split_at(self.demands.min(standings.len()));
        let value = self.objective.value(&percent, aimed);
        let missing = missing(asked, self.limits, &percent);
        Ok(Some(Found { percent, value, missing, cost: weighed(value, missing), standings }))
    }

    /// The formula that is best where margins are taken as linear, as far as a step reaches.
    fn step(&self, current: &[f64], standings: &[Standing], reach: f64) -> Option<(Vec<f64>, f64)> {
        let (standings, aimed) = standings.split_at(self.demands.min(standings.len()));
        // Without a tangent there is nothing to aim at: any formula of the space.
        let objective = match self.objective {
            Objective::LeastMargin if aimed.is_empty() => Objective::Moved(current),
            objective => objective,
        };
        let groups = &self.filler.space().groups;
        let program = Program { objective, current, standings, aimed, limits: self.limits, groups, reach };
        program.best().map(|step| (step.percent, step.cost))
    }

    /// Where searches start: where the space alone is best, what is known, and points of the space.
    fn starts(&mut self, known: Vec<&Vec<f64>>) -> Result<Vec<Found>, ExploreError> {
        let (mut buffers, mut percent) = (FillBuffers::default(), Vec::new());
        let mut points = Vec::new();
        for number in 0..LOOKED_AT {
            if self.filler.point(number, &mut buffers, &mut percent)
                && let Some(found) = self.found(percent.clone(), true)?
            {
                points.push(found);
            }
        }
        points.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        let mut starts = Vec::new();
        if let Some((percent, _)) = points.first().and_then(|one| self.step(&one.percent, &[], ANYWHERE))
            && let Some(found) = self.found(percent, true)?
        {
            starts.push(found);
        }
        for percent in known {
            starts.extend(self.found(percent.clone(), true)?);
        }
        starts.extend(points.into_iter().take(FROM_SPACE));
        Ok(starts)
    }

    /// Sequential linear programming from one start.
    fn descend(&mut self, mut now: Found) -> Result<Found, ExploreError> {
        let mut reach = FIRST_REACH;
        for _ in 0..MAX_STEPS {
            let Some((percent, cost)) = self.step(&now.percent, &now.standings, reach) else { break };
            let promised = now.cost - cost;
            if promised < MIN_GAIN {
                break;
            }
            let size = mass_moved(&now.percent, &percent);
            match self.found(percent, true)?.filter(|next| next.cost < now.cost - SUFFICIENT * promised) {
                Some(next) => {
                    if now.cost - next.cost > 0.7 * promised {
                        reach *= 2.0;
                    }
                    now = next;
                }
                None => reach = 0.3 * reach.min(size.max(LAST_REACH)),
            }
            if reach < LAST_REACH {
                break;
            }
        }
        Ok(now)
    }

    /// The best bar in whole steps around another, and by transfers of one step from there; `None` when none around it meets everything.
    fn rounded(&mut self, around: &Found, step: f64) -> Result<Option<Found>, ExploreError> {
        let mut best: Option<Found> = None;
        for percent in in_whole_steps(&around.percent, step) {
            if self.filler.contains(&percent)
                && let Some(found) = self.found(percent, false)?.filter(Found::meets)
                && best.as_ref().is_none_or(|best| found.cost < best.cost)
            {
                best = Some(found);
            }
        }
        let Some(mut best) = best else { return Ok(None) };
        let count = best.percent.len();
        loop {
            let mut better = None;
            for (from, to) in (0..count).flat_map(|from| (0..count).map(move |to| (from, to))) {
                let mut percent = best.percent.clone();
                percent[from] -= step;
                percent[to] += step;
                if from != to && self.filler.contains(&percent) {
                    better = self.found(percent, false)?.filter(|one| one.meets() && one.value < best.value - MIN_GAIN);
                }
                if better.is_some() {
                    break;
                }
            }
            match better {
                Some(next) => best = next,
                None => return Ok(Some(best)),
            }
        }
    }
}

/// Formulas in whole steps that add up to 100 %, each amount within a step of another formula's, those nearest first in each amount; at most [`MAX_ROUNDED`].
fn in_whole_steps(percent: &[f64], step: f64) -> Vec<Vec<f64>> {
    let whole = (100.0 / step).round();
    // Counts of steps of the first amounts, and their sum.
    let mut begun: Vec<(Vec<f64>, f64)> = vec![(Vec::new(), 0.0)];
    let floors: Vec<f64> = percent.iter().map(|one| (one / step + 1e-9).floor().max(0.0)).collect();
    for (at, &floor) in floors.iter().enumerate() {
        let last = at + 1 == percent.len();
        let left: f64 = floors[at + 1..].iter().sum();
        let after = (percent.len() - at - 1) as f64;
        let mut longer = Vec::new();
        for (counts, sum) in &begun {
            let choices = [floor, floor + 1.0, floor - 1.0];
            for count in choices.into_iter().filter(|count| *count >= 0.0) {
                let total = sum + count;
                let within = total + left + after >= whole - 0.5 && total + left - after <= whole + 0.5;
                if within && (!last || (total - whole).abs() < 0.5) {
                    longer.push(([counts.as_slice(), &[count]].concat(), total));
                }
            }
        }
        longer.truncate(MAX_ROUNDED);
        begun = longer;
    }
    begun.into_iter().map(|(counts, _)| counts.into_iter().map(|count| count * step).collect()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Around 33.3, 33.3 and 33.4 in steps of one: three that add up to 100, and each that moves one step more.
    #[test]
    fn whole_steps_add_up_to_the_whole() {
        let found = in_whole_steps(&[33.3, 33.3, 33.4], 1.0);
        assert!(found.iter().all(|one| (one.iter().sum::<f64>() - 100.0).abs() < 1e-9), "{found:?}");
        for expected in [[33.0, 33.0, 34.0], [33.0, 34.0, 33.0], [34.0, 33.0, 33.0], [34.0, 34.0, 32.0]] {
            assert!(found.contains(&expected.to_vec()), "{expected:?} is not in {found:?}");
        }
        // What is in whole steps stays, and nothing falls below nothing.
        let found = in_whole_steps(&[0.0, 40.0, 60.0], 0.5);
        assert_eq!(found[0], [0.0, 40.0, 60.0]);
        assert!(found.iter().flatten().all(|one| *one >= 0.0));
    }
}
