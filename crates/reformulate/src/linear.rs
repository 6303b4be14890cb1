//! The best step when every margin is taken as linear.
//!
//! ```text
//! minimise   f(x) + μ Σ s_d
//! subject to Σ x = 100,  least ≤ x ≤ most,  |x − x_k| ≤ Δ,  price · x ≤ limit,  least ≤ Σ x ≤ most of each total
//!            m_d + ∇m_d · (x − x_k) + s_d ≥ 0 for each tangent of each demand,   s ≥ 0
//!
//! f(x) = Σ u,  u ≥ x − x0,  u ≥ 0          mass moved from x0
//! f(x) = c · x                             a sum of shares, each at its rate
//! f(x) = t,    t ≥ −m_j − ∇m_j · (x − x_k) the least of some margins, as large as can be
//! ```
//! All of it is linear, so this is a linear program: `microlp` solves it.
//!
//! # Source
//! As `adjust.rs`.

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome, Variable};

use crate::judge::{Standing, Tangent};
use crate::limits::{Limits, PriceLimit};
use crate::space::Group;

/// Cost of a unit of margin missing, in units of the objective: far above what any change of a formula costs for a unit.
const MISSING_COST: f64 = 1000.0;

/// What is made as small as can be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Objective<'a> {
    /// Mass moved from this formula, mass %.
    Moved(&'a [f64]),
    /// The sum of the shares, each times its rate per mass %.
    Sum(&'a [f64]),
    /// Minus the smallest margin of these demands, which stand behind the others.
    LeastMargin,
}

impl Objective<'_> {
    /// Its value, in mass %, in what the rates sum to, or in margins.
    ///
    /// # Arguments
    /// * `percent`: a formula, mass %.
    /// * `aimed`: how it stands by the demands whose smallest margin is aimed at.
    pub fn value(&self, percent: &[f64], aimed: &[Standing]) -> f64 {
        match self {
            // What rises: the formula may lack what stands in the other, so that more rises than falls.
            Objective::Moved(original) => original.iter().zip(percent).map(|(x0, x)| (x - x0).max(0.0)).sum(),
            Objective::Sum(rates) => rates.iter().zip(percent).map(|(rate, percent)| rate * percent).sum(),
            Objective::LeastMargin => -aimed.iter().map(|one| one.margin).fold(f64::INFINITY, f64::min),
        }
    }
}

/// A step.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The formula it leads to, mass %.
    pub percent: Vec<f64>,
    /// Its cost by the linear program, in units of the objective.
    pub cost: f64,
}

/// The cost of a formula: its objective, and what is missing of its margins and its price.
pub(crate) fn weighed(objective: f64, missing: f64) -> f64 {
    objective + MISSING_COST * missing
}

/// How much may be missing of a margin where the cost of a formula stays below a limit; below 0 where it does not whatever the margins are.
///
/// # Arguments
/// * `objective`: its value.
pub(crate) fn most_missing(objective: f64, percent: &[f64], limits: &Limits, most_cost: f64) -> f64 {
    (most_cost - objective) / MISSING_COST - limits.over_price(percent)
}

/// What is missing of the margins and the price, as a sum of margins (dimensionless).
pub fn missing(standings: &[Standing], limits: &Limits, percent: &[f64]) -> f64 {
    standings.iter().map(|one| (-one.margin).max(0.0)).sum::<f64>() + limits.over_price(percent)
}

/// The step to look for.
#[derive(Debug, Clone, Copy)]
pub struct Program<'a> {
    /// What is made as small as can be.
    pub objective: Objective<'a>,
    /// The formula at which the margins and their gradients hold, mass %.
    pub current: &'a [f64],
    /// Those of the demands that must be met.
    pub standings: &'a [Standing],
    /// Those of the demands whose smallest margin is aimed at.
    pub aimed: &'a [Standing],
    /// Bounds and price.
    pub limits: &'a Limits,
    /// Totals.
    pub groups: &'a [Group],
    /// Largest change of one ingredient, mass %.
    pub reach: f64,
}

impl Program<'_> {
    /// Finds the best step; `None` when the limits leave none.
    pub fn best(&self) -> Option<Step> {
        let Program { objective, current, standings, aimed, limits, groups, reach } = *self;
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let count = current.len();
        let share = |i: usize| {
            let low = limits.min_percent[i].max(current[i] - reach).min(current[i].max(limits.min_percent[i]));
            let high = limits.max_percent[i].min(current[i] + reach).max(current[i].min(limits.max_percent[i]));
            let rate = if let Objective::Sum(rates) = objective { rates[i] } else { 0.0 };
            (rate, (low.max(0.0), high.min(100.0)))
        };
        if (0..count).any(|i| share(i).1.0 > share(i).1.1) {
            return None;
        }
        let shares: Vec<Variable> = (0..count).map(|i| problem.add_var(share(i).0, share(i).1)).collect();
        let row = |of: &[f64]| -> Vec<(Variable, f64)> { shares.iter().copied().zip(of.iter().copied()).collect() };
        problem.add_constraint(row(&vec![1.0; count]), ComparisonOp::Eq, 100.0);
        for group in groups {
            let total: Vec<(Variable, f64)> = group.members.iter().map(|&one| (shares[one], 1.0)).collect();
            problem.add_constraint(total.clone(), ComparisonOp::Ge, group.min_percent);
            problem.add_constraint(total, ComparisonOp::Le, group.max_percent);
        }
        let at_current = |of: &[f64]| of.iter().zip(current).map(|(slope, percent)| slope * percent).sum::<f64>();
        // The margin of a tangent and a variable are at least 0 together.
        let tangent = |problem: &mut Problem, Tangent { margin, gradient }: &Tangent, variable: Variable| {
            let mut row = row(gradient);
            row.push((variable, 1.0));
            problem.add_constraint(row, ComparisonOp::Ge, at_current(gradient) - margin);
        };
        for standing in standings {
            let slack = problem.add_var(MISSING_COST, (0.0, f64::INFINITY));
            standing.tangents.iter().for_each(|one| tangent(&mut problem, one, slack));
        }
        if let Some(PriceLimit { per_kg, max_per_kg }) = &limits.price {
            let slack = problem.add_var(MISSING_COST, (0.0, f64::INFINITY));
            let mut row = row(&per_kg.iter().map(|price| price / 100.0 / max_per_kg).collect::<Vec<_>>());
            row.push((slack, -1.0));
            problem.add_constraint(row, ComparisonOp::Le, 1.0);
        }
        match objective {
            Objective::Moved(original) => {
                for (&share, &before) in shares.iter().zip(original) {
                    let up = problem.add_var(1.0, (0.0, f64::INFINITY));
                    problem.add_constraint([(up, 1.0), (share, -1.0)], ComparisonOp::Ge, -before);
                }
            }
            Objective::Sum(_) => {}
            Objective::LeastMargin => {
                let least = problem.add_var(1.0, (f64::NEG_INFINITY, f64::INFINITY));
                aimed.iter().flat_map(|one| &one.tangents).for_each(|one| tangent(&mut problem, one, least));
            }
        }
        let SolveOutcome::Solution(solution) = problem.solve().ok()? else { return None };
        let percent = shares.iter().map(|&share| solution.var_value(share).clamp(0.0, 100.0)).collect();
        Some(Step { percent, cost: solution.objective() })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::limits::mass_moved;

    const ORIGINAL: [f64; 2] = [30.0, 70.0];

    fn standing(margin: f64, tangents: &[(f64, [f64; 2])]) -> Standing {
        let tangents =
            tangents.iter().map(|(margin, gradient)| Tangent { margin: *margin, gradient: gradient.to_vec() });
        Standing { probability: 0.5, margin, tangents: tangents.collect() }
    }

    fn step(current: &[f64], standings: &[Standing], limits: &Limits, reach: f64) -> Option<Step> {
        let objective = Objective::Moved(&ORIGINAL);
        Program { objective, current, standings, aimed: &[], limits, groups: &[], reach }.best()
    }

    fn priced(most: f64) -> Limits {
        Limits { price: Some(PriceLimit { per_kg: vec![20.0, 5.0], max_per_kg: most }), ..Limits::free(2) }
    }

    #[track_caller]
    fn leads_to(step: Option<Step>, percent: [f64; 2], cost: f64) {
        let step = step.unwrap();
        assert!(step.percent.iter().zip(percent).all(|(a, b)| (a - b).abs() < 1e-6), "{step:?} is not {percent:?}");
        assert!((step.cost - cost).abs() < 1e-6, "{step:?} does not cost {cost}");
    }

    #[test]
    fn a_cost_is_mass_moved_and_what_is_missing() {
        assert_eq!(mass_moved(&ORIGINAL, &[20.0, 80.0]), 10.0);
        // Of 20 and 5 a kilogram 20 % and 80 % cost 8: a quarter more than 6.40.
        let standings = [standing(-0.2, &[]), standing(0.5, &[])];
        let found = missing(&standings, &priced(6.4), &[20.0, 80.0]);
        assert!((found - 0.45).abs() < 1e-12, "{found}");
        let moved = Objective::Moved(&ORIGINAL).value(&[20.0, 80.0], &[]);
        assert!((weighed(moved, found) - 460.0).abs() < 1e-9, "{found}");
        assert_eq!(Objective::Sum(&[0.2, 0.05]).value(&[20.0, 80.0], &[]), 8.0);
        assert_eq!(Objective::LeastMargin.value(&[20.0, 80.0], &standings), 0.2);
    }

    /// A margin of −1 that grows by 0.2 a percent needs 5 % more.
    #[test]
    fn a_step_goes_to_where_tangents_are_met() {
        let free = Limits::free(2);
        let low = [standing(-1.0, &[(-1.0, [0.2, 0.0])])];
        leads_to(step(&ORIGINAL, &low, &free, 8.0), [35.0, 65.0], 5.0);
        // A reach of 3 leaves 0.4 missing.
        leads_to(step(&ORIGINAL, &low, &free, 3.0), [33.0, 67.0], 403.0);
        // The gradient may be that of what gives way.
        let other = [standing(-1.0, &[(-1.0, [0.0, -0.2])])];
        leads_to(step(&ORIGINAL, &other, &free, 8.0), [35.0, 65.0], 5.0);
        // From 40 %, with 0.5 to spare that is lost by 0.1 a percent, back to 35.
        let spare = [standing(0.5, &[(0.5, [0.1, 0.0])])];
        leads_to(step(&[40.0, 60.0], &spare, &free, 8.0), [35.0, 65.0], 5.0);
        // The worse of two tangents decides, and two demands miss apart.
        let two = [standing(-1.0, &[(-1.0, [0.2, 0.0]), (-0.9, [0.1, 0.0])])];
        leads_to(step(&ORIGINAL, &two, &free, 20.0), [39.0, 61.0], 9.0);
        let both = [standing(-1.0, &[(-1.0, [0.2, 0.0])]), standing(-1.0, &[(-1.0, [0.0, 0.2])])];
        let step = step(&ORIGINAL, &both, &free, 20.0).unwrap();
        assert!((step.cost - 2000.0).abs() < 50.0, "{step:?}");
    }

    #[test]
    fn a_step_stays_inside_the_limits() {
        let low = [standing(-1.0, &[(-1.0, [0.2, 0.0])])];
        let mut limits = Limits::free(2);
        limits.max_percent[0] = 32.0;
        leads_to(step(&ORIGINAL, &low, &limits, 8.0), [32.0, 68.0], 602.0);
        limits.max_percent[0] = 100.0;
        limits.min_percent[1] = 66.0;
        leads_to(step(&ORIGINAL, &low, &limits, 8.0), [34.0, 66.0], 204.0);
        // From outside them it goes in, if they are within reach.
        let limits = Limits { min_percent: vec![0.0, 90.0], max_percent: vec![10.0, 100.0], price: None };
        assert_eq!(step(&ORIGINAL, &[], &limits, 8.0), None);
        leads_to(step(&ORIGINAL, &[], &limits, 25.0), [10.0, 90.0], 20.0);
    }

    #[test]
    fn a_step_pays_no_more_than_it_may() {
        leads_to(step(&ORIGINAL, &[], &priced(8.0), 20.0), [20.0, 80.0], 10.0);
        // 25 % of the dear one cost 8.75, three thirty-seconds too much.
        leads_to(step(&ORIGINAL, &[], &priced(8.0), 5.0), [25.0, 75.0], 5.0 + 93.75);
    }
}
