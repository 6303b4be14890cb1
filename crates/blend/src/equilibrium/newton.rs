//! Fast path: Newton on liquid, solids and δ̄ together, from a nearby starting point.
//!
//! Each family's row of the Jacobian touches only its own solid, the liquid and δ̄, so the solids are eliminated one by one and
//! a 2×2 system remains. Gives up (returns false) rather than loops: [`super::nested`] then takes over.

use super::sums::{FamilySums, Moving, Work};
use super::{Problem, RESIDUAL_TOLERANCE};

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

/// The equations of liquid and δ̄, without the solids.
#[derive(Debug, Default)]
struct Reduced {
    liquid_by_liquid: f64,
    liquid_by_delta: f64,
    delta_by_liquid: f64,
    delta_by_delta: f64,
    right_liquid: f64,
    right_delta: f64,
    /// Largest residual of the conditions that must hold.
    largest: f64,
    /// Smallest residual of the families that are absent and stay so.
    nearest_absent: f64,
    /// How many families move.
    moving: usize,
}

/// Solves from the state in `work`; returns whether it converged with every condition met.
pub(super) fn solve(work: &mut Work, problem: &Problem) -> bool {
    let (low, high) = problem.delta_range();
    let mut stalled = 0;
    let mut best = f64::INFINITY;
    for _ in 0..MAX_ITERATIONS {
        work.iterations += 1;
        let delta_bar = work.delta_bar.clamp(low, high);
        work.set_delta_bar(problem, delta_bar);
        let reduced = reduce(work, problem);
        let residual = reduced.largest;
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
        let Some(small) = step(work, &reduced) else {
            return false;
        };
        if small && reduced.nearest_absent > NEAR_SATURATION {
            work.set_delta_bar(problem, work.delta_bar);
            return work.liquid > 0.0;
        }
    }
    false
}

/// Evaluates the equations and eliminates the solid of every family that may move.
fn reduce(work: &mut Work, problem: &Problem) -> Reduced {
    let mut moving = std::mem::take(&mut work.moving);
    let mut count = 0;
    let liquid = work.liquid;
    let mut reduced = Reduced { nearest_absent: f64::INFINITY, ..Reduced::default() };
    let sums = work.each_family(problem, |index, solid, family| {
        let FamilySums { residual, to_liquid, to_solid, first_moment, second_moment } = family;
        if solid == 0.0 && residual >= 0.0 {
            if residual < reduced.nearest_absent {
                reduced.nearest_absent = residual;
            }
            return;
        }
        reduced.see(residual);
        let inverse = 1.0 / to_solid;
        let alone = straightened(residual) * inverse;
        let with_liquid = to_liquid * inverse;
        let with_delta = 2.0 * liquid * first_moment * inverse;
        reduced.liquid_by_liquid -= to_liquid * with_liquid;
        reduced.liquid_by_delta -= 2.0 * solid * first_moment + to_liquid * with_delta;
        reduced.right_liquid += to_liquid * alone;
        reduced.delta_by_liquid += first_moment * with_liquid;
        reduced.delta_by_delta += 2.0 * solid * second_moment + first_moment * with_delta;
        reduced.right_delta -= first_moment * alone;
        if let Some(place) = moving.get_mut(count) {
            *place = Moving { index, residual, alone, with_liquid, with_delta };
            count += 1;
        }
    });
    work.moving = moving;
    reduced.moving = count;
    reduced.see(sums.residual);
    reduced.see(sums.delta_residual);
    reduced.liquid_by_liquid += sums.to_liquid;
    reduced.delta_by_liquid -= sums.delta_to_liquid;
    reduced.delta_by_delta -= 1.0 - sums.residual;
    reduced.right_liquid -= straightened(sums.residual);
    reduced.right_delta -= sums.delta_residual;
    reduced
}

impl Reduced {
    /// Keeps a residual if it is the largest; one that is no number stays.
    fn see(&mut self, residual: f64) {
        let size = residual.abs();
        if size > self.largest || size.is_nan() {
            self.largest = size;
        }
    }
}

/// Takes one Newton step, shortened where it would leave the domain. Returns whether every relative change was below
/// [`LAST_STEP_CHANGE`], or `None` when the system is singular.
fn step(work: &mut Work, reduced: &Reduced) -> Option<bool> {
    let Reduced { liquid_by_liquid, liquid_by_delta, delta_by_liquid, delta_by_delta, .. } = *reduced;
    let inverse = 1.0 / (liquid_by_liquid * delta_by_delta - liquid_by_delta * delta_by_liquid);
    let change_liquid = inverse * (delta_by_delta * reduced.right_liquid - liquid_by_delta * reduced.right_delta);
    let change_delta = inverse * (liquid_by_liquid * reduced.right_delta - delta_by_liquid * reduced.right_liquid);
    if !(change_liquid.is_finite() && change_delta.is_finite()) {
        return None;
    }
    let before = work.liquid;
    let liquid = before + change_liquid;
    let mut small = change_liquid.abs() < LAST_STEP_CHANGE * before && change_delta.abs() < LAST_STEP_CHANGE;
    for family in &work.moving[..reduced.moving] {
        let solid = &mut work.solids[family.index];
        let change = -(family.alone + family.with_liquid * change_liquid + family.with_delta * change_delta);
        let next = *solid + change;
        small &= change.abs() < LAST_STEP_CHANGE * next;
        let least = SMALLEST_SHRINK * *solid;
        *solid = if next > least {
            next
        } else if next > 0.0 || family.residual <= 0.0 {
            least
        } else {
            // It wants to vanish and is undersaturated.
            0.0
        };
    }
    work.liquid = if liquid > SMALLEST_SHRINK * before { liquid } else { SMALLEST_SHRINK * before };
    work.delta_bar += change_delta;
    Some(small)
}

/// What stands for the residual `r` of a sum `1 − r` that ought to be 1, so that the step is that of Newton's method on its inverse: of one species
/// alone `E / (n K)` is linear in solid and liquid, and the step ends at its root.
fn straightened(residual: f64) -> f64 {
    residual * (1.0 - residual)
}
