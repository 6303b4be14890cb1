//! The best step when every margin is taken as linear.
//!
//! ```text
//! minimise   Σ u_i + μ Σ s_d
//! subject to x = x0 + u − v,  Σ x = 100,  least ≤ x ≤ most,  |x − x_k| ≤ Δ,  price · x ≤ limit
//!            m_d + ∇m_d · (x − x_k) + s_d ≥ 0 for each tangent of each demand,   u, v, s ≥ 0
//! ```
//! The mass moved, `Σ u = Σ v`, is linear, so this is a linear program: `microlp` solves it.

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome, Variable};

use crate::judge::Standing;
use crate::limits::Limits;

/// Cost of a unit of margin missing, mass % moved: far above what any change of a formula costs for a unit.
pub const MISSING_COST: f64 = 1000.0;

/// A step.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The formula it leads to, mass %.
    pub percent: Vec<f64>,
    /// What the linear program says it costs.
    pub cost: f64,
}

/// Cost of a formula: mass moved, and what is missing of its margins and its price.
pub fn cost(original: &[f64], percent: &[f64], standings: &[Standing], limits: &Limits) -> f64 {
    mass_moved(original, percent) + MISSING_COST * missing(standings, limits, percent)
}

/// Margins and price missing.
pub fn missing(standings: &[Standing], limits: &Limits, percent: &[f64]) -> f64 {
    standings.iter().map(|one| (-one.margin).max(0.0)).sum::<f64>() + limits.over_price(percent)
}

/// Mass moved from one formula to another, mass %.
pub fn mass_moved(original: &[f64], percent: &[f64]) -> f64 {
    0.5 * original.iter().zip(percent).map(|(before, after)| (after - before).abs()).sum::<f64>()
}

/// Finds the best step from `current`; `None` when the limits leave none.
///
/// # Arguments
/// * `original`: the formula whose change is measured.
/// * `current`: where the margins and their gradients hold.
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
        let low = limits.least[i].max(current[i] - reach).min(current[i].max(limits.least[i]));
        let high = limits.most[i].min(current[i] + reach).max(current[i].min(limits.most[i]));
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
    if let Some((price, most)) = &limits.price {
        let slack = problem.add_var(MISSING_COST, (0.0, f64::INFINITY));
        let relative: Vec<f64> = price.iter().map(|price| price / 100.0 / most).collect();
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
