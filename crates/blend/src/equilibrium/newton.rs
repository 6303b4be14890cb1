//! Fast path: Newton on liquid, solids and δ̄ together, from a nearby starting point.
//!
//! Each family's row of the Jacobian touches only its own solid, the liquid and δ̄, so the solids are eliminated one by one and
//! a 2×2 system remains. Gives up (returns false) rather than loops: [`super::nested`] then takes over.

use nalgebra::{Matrix2, Vector2};

use super::Problem;
use super::RESIDUAL_TOLERANCE;
use super::sums::{Sums, Work};

/// Iterations after which the fast path gives up.
const MAX_ITERATIONS: usize = 25;

/// A residual below this is rounding.
const ROUNDING_RESIDUAL: f64 = 1e-13;

/// Newton on a self-concordant function squares the relative change at each step: after one this small nothing is left to do.
const LAST_STEP_CHANGE: f64 = 1e-6;

/// An absent family this near saturation is looked at once more before the last step is believed.
const NEAR_SATURATION: f64 = 1e-5;

/// A step may shrink the liquid or a solid at most to this share of itself before it counts as leaving.
const SMALLEST_SHRINK: f64 = 0.1;

/// Solves from the state in `work`; returns whether it converged with every condition met.
pub(super) fn solve(work: &mut Work, problem: &Problem) -> bool {
    let (low, high) = problem.delta_range();
    let mut stalled = 0;
    let mut best = f64::INFINITY;
    for _ in 0..MAX_ITERATIONS {
        work.iterations += 1;
        let delta_bar = work.delta_bar.clamp(low, high);
        work.set_delta_bar(problem, delta_bar);
        let sums = work.evaluate(problem);
        let residual = mark_free(work, &sums);
        if !residual.is_finite() {
            return false;
        }
        if residual < ROUNDING_RESIDUAL || (residual < RESIDUAL_TOLERANCE && residual >= best) {
            return work.liquid > 0.0;
        }
        if residual < 0.5 * best {
            best = residual;
            stalled = 0;
        } else {
            stalled += 1;
            if stalled > 6 {
                return false;
            }
        }
        let Some(small) = step(work, &sums) else {
            return false;
        };
        if small && absent_stay_absent(work) {
            work.set_delta_bar(problem, work.delta_bar);
            return work.liquid > 0.0;
        }
    }
    false
}

/// Marks the families that may move and returns the largest residual of the conditions that must hold.
fn mark_free(work: &mut Work, sums: &Sums) -> f64 {
    let mut largest = sums.residual.abs().max(sums.delta_residual.abs());
    for ((free, solid), family) in work.free.iter_mut().zip(&work.solids).zip(&work.families) {
        *free = *solid > 0.0 || family.residual < 0.0;
        if *free {
            largest = largest.max(family.residual.abs());
        }
    }
    largest
}

/// Whether every family without solid is clearly undersaturated.
fn absent_stay_absent(work: &Work) -> bool {
    work.free.iter().zip(&work.families).all(|(&free, family)| free || family.residual > NEAR_SATURATION)
}

/// Takes one Newton step, shortened where it would leave the domain. Returns whether every relative change was below
/// [`LAST_STEP_CHANGE`], or `None` when the system is singular.
fn step(work: &mut Work, sums: &Sums) -> Option<bool> {
    let mean = 1.0 - sums.residual;
    let (mut ll, mut ld, mut dl, mut dd) = (sums.to_liquid, 0.0, -sums.delta_to_liquid, -mean);
    let (mut right_l, mut right_d) = (-straightened(sums.residual), -sums.delta_residual);
    let states = work.solids.iter().zip(&work.free).zip(&mut work.step);
    for (family, ((&solid, &free), inverse)) in work.families.iter().zip(states) {
        if !free {
            continue;
        }
        let to_delta = 2.0 * work.liquid * family.first_moment;
        *inverse = 1.0 / family.to_solid;
        let inverse = *inverse;
        ll -= family.to_liquid * family.to_liquid * inverse;
        ld -= 2.0 * solid * family.first_moment + family.to_liquid * to_delta * inverse;
        let residual = straightened(family.residual);
        right_l += family.to_liquid * residual * inverse;
        dl += family.first_moment * family.to_liquid * inverse;
        dd += 2.0 * solid * family.second_moment + family.first_moment * to_delta * inverse;
        right_d -= family.first_moment * residual * inverse;
    }
    let inverse = Matrix2::new(ll, ld, dl, dd).try_inverse()?;
    let change = inverse * Vector2::new(right_l, right_d);
    if !(change.x.is_finite() && change.y.is_finite()) {
        return None;
    }
    let before = work.liquid;
    let liquid = before + change.x;
    let mut small = change.x.abs() < LAST_STEP_CHANGE * before && change.y.abs() < LAST_STEP_CHANGE;
    let families = work.families.iter().zip(&work.free).zip(&work.step);
    for (solid, ((family, &free), inverse)) in work.solids.iter_mut().zip(families) {
        if !free {
            continue;
        }
        let to_delta = 2.0 * before * family.first_moment;
        let change_solid =
            -(straightened(family.residual) + family.to_liquid * change.x + to_delta * change.y) * inverse;
        let next = *solid + change_solid;
        small &= change_solid.abs() < LAST_STEP_CHANGE * next;
        *solid = if next > 0.0 { next.max(SMALLEST_SHRINK * *solid) } else { next_on_exit(*solid, family.residual) };
    }
    work.liquid = if liquid > SMALLEST_SHRINK * before { liquid } else { SMALLEST_SHRINK * before };
    work.delta_bar += change.y;
    Some(small)
}

/// What stands for the residual `r` of a sum `1 − r` that ought to be 1, so that the step is that of Newton's method on its inverse: of one species
/// alone `E / (n K)` is linear in solid and liquid, and the step ends at its root.
fn straightened(residual: f64) -> f64 {
    residual * (1.0 - residual)
}

/// A family that wants to vanish is dropped when it is undersaturated, and only shrunk otherwise.
fn next_on_exit(solid: f64, residual: f64) -> f64 {
    if residual > 0.0 { 0.0 } else { SMALLEST_SHRINK * solid }
}
