//! The best step when every margin is taken as linear.
//!
//! ```text
//! minimise   Σ u_i + μ Σ s_d
//! subject to x = x0 + u − v,  Σ x = 100,  least ≤ x ≤ most,  |x − x_k| ≤ Δ,  price · x ≤ limit
//!            m_d + ∇m_d · (x − x_k) + s_d ≥ 0 for each tangent of each demand,   u, v, s ≥ 0
//! ```
//! The mass moved, `Σ u = Σ v`, is linear, so this is a linear program: `microlp` solves it.
//!
//! # Source
//! As `adjust.rs`.

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome, Variable};

use crate::judge::Standing;
use crate::limits::{Limits, PriceLimit, mass_moved};

/// Cost of a unit of margin missing, mass % moved: far above what any change of a formula costs for a unit.
const MISSING_COST: f64 = 1000.0;

/// A step.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The formula it leads to, mass %.
    pub percent: Vec<f64>,
    /// Its cost by the linear program, mass % moved.
    pub cost: f64,
}

/// Cost of a formula, in mass % moved: the mass moved, and what is missing of its margins and its price.
pub fn cost(original: &[f64], percent: &[f64], standings: &[Standing], limits: &Limits) -> f64 {
    mass_moved(original, percent) + MISSING_COST * missing(standings, limits, percent)
}

/// How much may be missing of a margin where the cost of a formula stays below a limit; below 0 where it does not whatever the margins are.
pub(crate) fn most_missing(original: &[f64], percent: &[f64], limits: &Limits, most_cost: f64) -> f64 {
    (most_cost - mass_moved(original, percent)) / MISSING_COST - limits.over_price(percent)
}

/// What is missing of the margins and the price, as a sum of margins (dimensionless).
pub fn missing(standings: &[Standing], limits: &Limits, percent: &[f64]) -> f64 {
    standings.iter().map(|one| (-one.margin).max(0.0)).sum::<f64>() + limits.over_price(percent)
}

/// Finds the best step from `current`; `None` when the limits leave none.
///
/// # Arguments
/// * `original`: the formula whose change is measured, mass %.
/// * `current`: the formula at which the margins and their gradients hold, mass %.
/// * `standings`: those.
/// * `limits`: bounds and price.
/// * `reach`: largest change of one ingredient, mass %.
pub fn best_step(
    original: &[f64],
    current: &[f64],
    standings: &[Standing],
    limits: &Limits,
    reach: f64,
) -> Option<Step> {
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let count = original.len();
    let up: Vec<Variable> = (0..count).map(|_| problem.add_var(1.0, (0.0, 100.0))).collect();
    let down: Vec<Variable> = (0..count).map(|_| problem.add_var(0.0, (0.0, 100.0))).collect();
    let balance: Vec<(Variable, f64)> = up.iter().map(|&u| (u, 1.0)).chain(down.iter().map(|&v| (v, -1.0))).collect();
    problem.add_constraint(balance, ComparisonOp::Eq, 0.0);
    for i in 0..count {
        let low = limits.min_percent[i].max(current[i] - reach).min(current[i].max(limits.min_percent[i]));
        let high = limits.max_percent[i].min(current[i] + reach).max(current[i].min(limits.max_percent[i]));
        let moved = [(up[i], 1.0), (down[i], -1.0)];
        problem.add_constraint(moved, ComparisonOp::Ge, low - original[i]);
        problem.add_constraint(moved, ComparisonOp::Le, high - original[i]);
    }
    let linear =
        |of: &[f64]| -> Vec<(Variable, f64)> { (0..count).flat_map(|i| [(up[i], of[i]), (down[i], -of[i])]).collect() };
    for standing in standings {
        let slack = problem.add_var(MISSING_COST, (0.0, f64::INFINITY));
        for tangent in &standing.tangents {
            let offset: f64 = tangent.gradient.iter().zip(original).zip(current).map(|((g, x0), x)| g * (x0 - x)).sum();
            let mut row = linear(&tangent.gradient);
            row.push((slack, 1.0));
            problem.add_constraint(row, ComparisonOp::Ge, -tangent.margin - offset);
        }
    }
    if let Some(PriceLimit { per_kg, max_per_kg }) = &limits.price {
        let slack = problem.add_var(MISSING_COST, (0.0, f64::INFINITY));
        let relative: Vec<f64> = per_kg.iter().map(|price| price / 100.0 / max_per_kg).collect();
        let now: f64 = relative.iter().zip(original).map(|(price, percent)| price * percent).sum();
        let mut row = linear(&relative);
        row.push((slack, -1.0));
        problem.add_constraint(row, ComparisonOp::Le, 1.0 - now);
    }
    let SolveOutcome::Solution(solution) = problem.solve().ok()? else { return None };
    let percent: Vec<f64> = (0..count)
        .map(|i| (original[i] + solution.var_value(up[i]) - solution.var_value(down[i])).clamp(0.0, 100.0))
        .collect();
    Some(Step { percent, cost: solution.objective() })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::judge::Tangent;

    const ORIGINAL: [f64; 2] = [30.0, 70.0];

    fn standing(margin: f64, tangents: &[(f64, [f64; 2])]) -> Standing {
        let tangents =
            tangents.iter().map(|(margin, gradient)| Tangent { margin: *margin, gradient: gradient.to_vec() });
        Standing { probability: 0.5, margin, tangents: tangents.collect() }
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
        let found = cost(&ORIGINAL, &[20.0, 80.0], &standings, &priced(6.4));
        assert!((found - 460.0).abs() < 1e-9, "{found}");
    }

    /// A margin of −1 that grows by 0.2 a percent needs 5 % more.
    #[test]
    fn a_step_goes_to_where_tangents_are_met() {
        let free = Limits::free(2);
        let low = [standing(-1.0, &[(-1.0, [0.2, 0.0])])];
        leads_to(best_step(&ORIGINAL, &ORIGINAL, &low, &free, 8.0), [35.0, 65.0], 5.0);
        // A reach of 3 leaves 0.4 missing.
        leads_to(best_step(&ORIGINAL, &ORIGINAL, &low, &free, 3.0), [33.0, 67.0], 403.0);
        // The gradient may be that of what gives way.
        let other = [standing(-1.0, &[(-1.0, [0.0, -0.2])])];
        leads_to(best_step(&ORIGINAL, &ORIGINAL, &other, &free, 8.0), [35.0, 65.0], 5.0);
        // From 40 %, with 0.5 to spare that is lost by 0.1 a percent, back to 35.
        let spare = [standing(0.5, &[(0.5, [0.1, 0.0])])];
        leads_to(best_step(&ORIGINAL, &[40.0, 60.0], &spare, &free, 8.0), [35.0, 65.0], 5.0);
        // The worse of two tangents decides, and two demands miss apart.
        let two = [standing(-1.0, &[(-1.0, [0.2, 0.0]), (-0.9, [0.1, 0.0])])];
        leads_to(best_step(&ORIGINAL, &ORIGINAL, &two, &free, 20.0), [39.0, 61.0], 9.0);
        let both = [standing(-1.0, &[(-1.0, [0.2, 0.0])]), standing(-1.0, &[(-1.0, [0.0, 0.2])])];
        let step = best_step(&ORIGINAL, &ORIGINAL, &both, &free, 20.0).unwrap();
        assert!((step.cost - 2000.0).abs() < 50.0, "{step:?}");
    }

    #[test]
    fn a_step_stays_inside_the_limits() {
        let low = [standing(-1.0, &[(-1.0, [0.2, 0.0])])];
        let mut limits = Limits::free(2);
        limits.max_percent[0] = 32.0;
        leads_to(best_step(&ORIGINAL, &ORIGINAL, &low, &limits, 8.0), [32.0, 68.0], 602.0);
        limits.max_percent[0] = 100.0;
        limits.min_percent[1] = 66.0;
        leads_to(best_step(&ORIGINAL, &ORIGINAL, &low, &limits, 8.0), [34.0, 66.0], 204.0);
        // From outside them it goes in, if they are within reach.
        let limits = Limits { min_percent: vec![0.0, 90.0], max_percent: vec![10.0, 100.0], price: None };
        assert_eq!(best_step(&ORIGINAL, &ORIGINAL, &[], &limits, 8.0), None);
        leads_to(best_step(&ORIGINAL, &ORIGINAL, &[], &limits, 25.0), [10.0, 90.0], 20.0);
    }

    #[test]
    fn a_step_pays_no_more_than_it_may() {
        leads_to(best_step(&ORIGINAL, &ORIGINAL, &[], &priced(8.0), 20.0), [20.0, 80.0], 10.0);
        // 25 % of the dear one cost 8.75, three thirty-seconds too much.
        leads_to(best_step(&ORIGINAL, &ORIGINAL, &[], &priced(8.0), 5.0), [25.0, 75.0], 5.0 + 93.75);
    }
}
