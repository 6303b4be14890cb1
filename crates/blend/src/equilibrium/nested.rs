//! Safe path: the convex minimum at fixed δ̄, inside a bracketing search for the δ̄ that agrees with its own liquid.
//!
//! `h(δ̄) = Σ x_i^L (δ_i − δ̄)` is continuous, positive or zero at the lowest δ present and negative or zero at the highest, and
//! has one root (see [`super`]). Bisection, quickened by the secant, cannot lose it.

use super::sums::Work;
use super::{EquilibriumError, Problem, RESIDUAL_TOLERANCE, convex};

/// Bracket evaluations; each halves the bracket at least every second time.
const MAX_ITERATIONS: usize = 200;

/// Solves from a cold start.
///
/// # Errors
/// [`EquilibriumError::NotConverged`], never seen on a valid problem.
pub(super) fn solve(work: &mut Work, problem: &Problem) -> Result<(), EquilibriumError> {
    let (mut low, mut high) = problem.delta_range();
    if low == high {
        return minimum_at(work, problem, low).map(|_| ());
    }
    let mut h_low = minimum_at(work, problem, low)?;
    let mut h_high = minimum_at(work, problem, high)?;
    if h_low <= 0.0 {
        return minimum_at(work, problem, low).map(|_| ());
    }
    if h_high >= 0.0 {
        return minimum_at(work, problem, high).map(|_| ());
    }
    let mut bisect = false;
    let mut residual = f64::INFINITY;
    for _ in 0..MAX_ITERATIONS {
        let secant = low + (high - low) * h_low / (h_low - h_high);
        let middle = 0.5 * (low + high);
        let next = if bisect || !(secant > low && secant < high) { middle } else { secant };
        let width = high - low;
        let h = minimum_at(work, problem, next)?;
        residual = h.abs();
        if residual < RESIDUAL_TOLERANCE * 1e-2 || next == low || next == high {
            return Ok(());
        }
        if h > 0.0 {
            (low, h_low) = (next, h);
        } else {
            (high, h_high) = (next, h);
        }
        bisect = high - low > 0.5 * width;
    }
    if residual < RESIDUAL_TOLERANCE {
        return Ok(());
    }
    Err(EquilibriumError::NotConverged { temperature_k: work.temperature_k, iterations: work.iterations, residual })
}

/// Minimises at `delta_bar` and returns `h`, the δ of the resulting liquid less `delta_bar`.
fn minimum_at(work: &mut Work, problem: &Problem, delta_bar: f64) -> Result<f64, EquilibriumError> {
    work.set_delta_bar(problem, delta_bar);
    work.start_cold(problem);
    convex::minimise(work, problem)?;
    let sums = work.evaluate(problem);
    // Σ n/E is 1 where liquid is present and less where it is not; the shares of the liquid that would form first count.
    Ok(sums.delta_residual / (1.0 - sums.residual))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use rand::{RngExt, SeedableRng};
    use rand_pcg::Pcg64;

    use super::*;
    use crate::equilibrium::{SpeciesAmount, newton};

    /// Random mixtures of 2 to 40 species in up to 8 families, liquid parameters spread over the allowed range.
    fn mixture(generator: &mut Pcg64) -> Problem {
        let families = generator.random_range(1..=8);
        let species: Vec<SpeciesAmount> = (0..generator.random_range(2..40))
            .map(|_| {
                let mass = 10_f64.powf(generator.random_range(-3.0..0.0));
                let delta = 0.2 * f64::from(generator.random_range(0..=6));
                if generator.random_bool(0.1) {
                    return SpeciesAmount { delta, ..SpeciesAmount::amorphous(mass, 0.5) };
                }
                let family = generator.random_range(0..families);
                let melt_k = generator.random_range(250.0..365.0);
                let molar_mass_kg_mol = generator.random_range(0.3..1.0);
                let heat_j_mol = generator.random_range(4e4..2.3e5);
                SpeciesAmount { delta, ..SpeciesAmount::crystal(mass, molar_mass_kg_mol, family, melt_k, heat_j_mol) }
            })
            .collect();
        Problem::new(&species, families).unwrap()
    }

    #[test]
    fn the_safe_path_always_arrives_and_agrees_with_the_fast_one() {
        let mut generator = Pcg64::seed_from_u64(4);
        let mut compared = 0;
        for _ in 0..2000 {
            let problem = mixture(&mut generator);
            let kelvin = generator.random_range(253.0..393.0);
            let mut safe = Work::new(&problem);
            safe.set_temperature(&problem, kelvin);
            solve(&mut safe, &problem).unwrap();
            let mut fast = Work::new(&problem);
            fast.set_temperature(&problem, kelvin);
            fast.set_delta_bar(&problem, problem.overall_delta());
            fast.start_cold(&problem);
            if newton::solve(&mut fast, &problem) {
                compared += 1;
                assert!((safe.liquid - fast.liquid).abs() < 1e-9, "{} {}", safe.liquid, fast.liquid);
                for (one, other) in safe.solids.iter().zip(&fast.solids) {
                    assert!((one - other).abs() < 1e-9);
                }
            }
        }
        assert!(compared > 1500, "the fast path arrived {compared} times of 2000");
    }
}
