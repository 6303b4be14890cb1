//! Minimum of `Q(L, S) = L + Σ S_f − Σ n_i ln E_i` over `L, S ≥ 0` for a fixed δ̄.
//!
//! Newton on the free variables, an active set for those at zero, and a line search on `Q`. Each face of the orthant is
//! minimised before a variable at zero is released; `Q` falls from face to face, so no face comes back and the search ends.

use super::sums::{Sums, Work};
use super::{EquilibriumError, Problem};

/// Largest residual on the free variables at the minimum.
const FACE_TOLERANCE: f64 = 1e-14;

/// A residual this far below zero releases a variable from its bound.
const RELEASE_TOLERANCE: f64 = 1e-14;

/// Newton steps over all faces; about 10 are usual.
const MAX_ITERATIONS: usize = 500;

/// Predicted decrease of `Q` below which the line search would only see rounding, and the full step is taken.
const ROUNDING_DECREASE: f64 = 1e-11;

/// Fraction of the predicted decrease that a step must bring (Armijo).
const SUFFICIENT_DECREASE: f64 = 1e-4;

/// Steps without halving the residual after which a residual below [`super::RESIDUAL_TOLERANCE`] is taken as rounding.
const MAX_FULL_STEPS_WITHOUT_GAIN: usize = 4;

/// Curvature along liquid ↔ solid below this share of the liquid's own counts as none.
const SMALLEST_CURVATURE: f64 = 1e-15;

/// A variable of the minimisation.
#[derive(Debug, Clone, Copy)]
enum Variable {
    /// The liquid.
    Liquid,
    /// The solid solution at this position.
    Solid(usize),
}

/// Minimises `Q` from the state in `work`, whose activity coefficients are set; the state ends at the minimum.
///
/// # Errors
/// [`EquilibriumError::NotConverged`] after [`MAX_ITERATIONS`] steps.
pub(super) fn minimise(work: &mut Work, problem: &Problem) -> Result<(), EquilibriumError> {
    let mut liquid_free = true;
    for (free, solid) in work.free.iter_mut().zip(&work.solids) {
        *free = *solid > 0.0;
    }
    let mut best = f64::INFINITY;
    let mut idle = 0;
    let mut last_residual = f64::INFINITY;
    for _ in 0..MAX_ITERATIONS {
        work.iterations += 1;
        let sums = work.evaluate(problem);
        let residual = face_residual(work, &sums, liquid_free);
        last_residual = residual;
        idle = if residual < 0.5 * best { 0 } else { idle + 1 };
        best = best.min(residual);
        if residual < FACE_TOLERANCE || (idle > MAX_FULL_STEPS_WITHOUT_GAIN && residual < super::RESIDUAL_TOLERANCE) {
            if release(work, &sums, &mut liquid_free) {
                best = f64::INFINITY;
                idle = 0;
                continue;
            }
            return Ok(());
        }
        if step(work, problem, &sums, &mut liquid_free) {
            best = f64::INFINITY;
            idle = 0;
        }
    }
    Err(EquilibriumError::NotConverged {
        temperature_k: work.temperature_k,
        iterations: work.iterations,
        residual: last_residual,
    })
}

fn face_residual(work: &Work, sums: &Sums, liquid_free: bool) -> f64 {
    let mut largest = if liquid_free { sums.residual.abs() } else { 0.0 };
    for (family, &free) in work.families.iter().zip(&work.free) {
        if free {
            largest = largest.max(family.residual.abs());
        }
    }
    largest
}

/// Releases the bound with the most negative residual; false when none has one.
fn release(work: &mut Work, sums: &Sums, liquid_free: &mut bool) -> bool {
    let mut most_negative = -RELEASE_TOLERANCE;
    let mut which = None;
    if !*liquid_free && sums.residual < most_negative {
        most_negative = sums.residual;
        which = Some(Variable::Liquid);
    }
    for (index, (family, &free)) in work.families.iter().zip(&work.free).enumerate() {
        if !free && family.residual < most_negative {
            most_negative = family.residual;
            which = Some(Variable::Solid(index));
        }
    }
    match which {
        None => return false,
        Some(Variable::Liquid) => *liquid_free = true,
        Some(Variable::Solid(index)) => work.free[index] = true,
    }
    true
}

/// Takes one safeguarded Newton step; returns whether a variable reached zero and was fixed there.
fn step(work: &mut Work, problem: &Problem, sums: &Sums, liquid_free: &mut bool) -> bool {
    let mut schur = sums.to_liquid;
    let mut right = -sums.residual;
    for (family, &free) in work.families.iter().zip(&work.free) {
        if free {
            schur -= family.to_liquid * family.to_liquid / family.to_solid;
            right += family.to_liquid * family.residual / family.to_solid;
        }
    }
    // A single species has no curvature along liquid ↔ solid: the floor turns Newton into a long downhill step, which the
    // bounds below cut short.
    let schur = schur.max(SMALLEST_CURVATURE * sums.to_liquid);
    let change_liquid = if *liquid_free { right / schur } else { 0.0 };
    let mut slope = if *liquid_free { sums.residual * change_liquid } else { 0.0 };
    for index in 0..work.step.len() {
        let family = work.families[index];
        work.step[index] = if work.free[index] {
            -(family.residual + family.to_liquid * change_liquid) / family.to_solid
        } else {
            0.0
        };
        slope += family.residual * work.step[index];
    }
    // The longest step that keeps everything at or above zero, and what stops it.
    let mut longest = 1.0;
    let mut blocking = None;
    if change_liquid < 0.0 && -work.liquid / change_liquid < longest {
        longest = -work.liquid / change_liquid;
        blocking = Some(Variable::Liquid);
    }
    for (index, (&solid, &change)) in work.solids.iter().zip(&work.step).enumerate() {
        if change < 0.0 && -solid / change < longest {
            longest = -solid / change;
            blocking = Some(Variable::Solid(index));
        }
    }
    work.trial.copy_from_slice(&work.solids);
    let liquid_before = work.liquid;
    let before = q(work, problem);
    let mut length = longest;
    for _ in 0..60 {
        work.liquid = (liquid_before + length * change_liquid).max(0.0);
        for ((solid, &start), &change) in work.solids.iter_mut().zip(&work.trial).zip(&work.step) {
            *solid = (start + length * change).max(0.0);
        }
        let at_bound = length == longest && blocking.is_some();
        if at_bound {
            match blocking {
                Some(Variable::Liquid) => work.liquid = 0.0,
                Some(Variable::Solid(index)) => work.solids[index] = 0.0,
                None => {}
            }
        }
        let after = q(work, problem);
        let predicted = length * slope;
        let enough = after <= before + SUFFICIENT_DECREASE * predicted;
        let rounding = predicted > -ROUNDING_DECREASE && after.is_finite();
        if enough || rounding {
            if at_bound {
                match blocking {
                    Some(Variable::Liquid) => *liquid_free = false,
                    Some(Variable::Solid(index)) => work.free[index] = false,
                    None => {}
                }
            }
            return at_bound;
        }
        length *= 0.5;
    }
    work.liquid = liquid_before;
    work.solids.copy_from_slice(&work.trial);
    false
}

/// The function minimised; infinite where a species would have no phase to be in.
fn q(work: &Work, problem: &Problem) -> f64 {
    let mut value = work.liquid;
    for (index, block) in problem.blocks().iter().enumerate() {
        let solid = work.solids[index];
        value += solid;
        for i in block.start..block.end {
            value -= problem.moles[i] * (work.liquid + work.k(problem, i) * solid).ln();
        }
    }
    for n in &problem.moles[problem.crystallising()..] {
        value -= n * work.liquid.ln();
    }
    value
}
