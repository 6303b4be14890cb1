//! Independent check of a solution: mass balance, equal chemical potentials, and no absent phase that wants to form.
//!
//! Written from the definitions in [`super`], not from the solver's own sums.

use super::{Phases, Problem};

/// How far a solution is from an equilibrium.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residuals {
    /// Largest relative error of `liquid + solid = total` over the species, and of the phase totals.
    pub mass_balance: f64,
    /// Largest `|μ_i^S − μ_i^L| / RT` over species whose family and whose liquid are both present.
    pub chemical_potential: f64,
    /// How far the most supersaturated absent phase is above saturation; zero or negative is right, minus infinity where none is absent.
    pub supersaturation: f64,
}

/// Phases smaller than this many moles are judged absent.
const ABSENT_MOLES: f64 = 1e-13;

/// Returns the residuals of `phases`, a solution of `problem`.
pub fn residuals(problem: &Problem, phases: &Phases<'_>) -> Residuals {
    let count = problem.len();
    let mut mass_balance = 0.0_f64;
    let (mut liquid_sum, mut delta_sum) = (0.0, 0.0);
    for i in 0..count {
        let (total, liquid, solid) =
            (problem.species_moles(i), phases.species_liquid_moles(i), phases.species_solid_moles(i));
        mass_balance = mass_balance.max(((liquid + solid - total) / total).abs());
        liquid_sum += liquid;
        delta_sum += liquid * problem.species_delta(i);
    }
    mass_balance = mass_balance.max((liquid_sum - phases.liquid_moles()).abs());
    let liquid_present = liquid_sum > ABSENT_MOLES;
    let delta_bar = if liquid_present { delta_sum / liquid_sum } else { phases.delta_bar() };
    let (mut chemical_potential, mut supersaturation) = (0.0_f64, f64::NEG_INFINITY);
    let mut incipient_liquid = 0.0;
    for (index, block) in problem.blocks().iter().enumerate() {
        let solid_sum: f64 = (block.start..block.end).map(|i| phases.species_solid_moles(i)).sum();
        let mut saturation = 0.0;
        for i in block.start..block.end {
            let apart = problem.species_delta(i) - delta_bar;
            let ln_k = problem.ln_ideal_k(i, phases.temperature_k()) + apart * apart;
            if liquid_present {
                let in_liquid = phases.species_liquid_moles(i) / liquid_sum;
                saturation += in_liquid * ln_k.exp();
                if solid_sum > ABSENT_MOLES {
                    let in_solid = phases.species_solid_moles(i) / solid_sum;
                    chemical_potential = chemical_potential.max((in_solid.ln() - in_liquid.ln() - ln_k).abs());
                }
            } else if solid_sum > ABSENT_MOLES {
                incipient_liquid += phases.species_solid_moles(i) / solid_sum / ln_k.exp();
            }
        }
        mass_balance = mass_balance.max((solid_sum - phases.block_moles(index)).abs());
        if liquid_present && solid_sum <= ABSENT_MOLES {
            supersaturation = supersaturation.max(saturation - 1.0);
        }
    }
    if !liquid_present {
        supersaturation = incipient_liquid - 1.0;
    }
    Residuals { mass_balance, chemical_potential, supersaturation }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::equilibrium::{Solver, SpeciesAmount};
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 4000, failure_persistence: None, ..ProptestConfig::default() })]

        /// Of one solid with traces of others beside it, in families of their own or in none.
        #[test]
        fn of_a_near_pure_solid_are_numbers(
            traces in prop::collection::vec((-18.0..-9.0_f64, 0..4_usize, 280.0..400.0_f64), 0..4),
            temperature_k in 260.0..360.0_f64,
        ) {
            let mut species = vec![SpeciesAmount::crystal(1.0, 0.8, 0, 340.0, 1.5e5)];
            species.extend(traces.iter().map(|&(log, family, melt_k)| match family {
                3 => SpeciesAmount::amorphous(10_f64.powf(log), 0.8),
                family => SpeciesAmount::crystal(10_f64.powf(log), 0.8, family, melt_k, 1.2e5),
            }));
            let problem = Problem::new(&species, 3).unwrap();
            let mut solver = Solver::new(&problem);
            let found = residuals(&problem, &solver.solve(&problem, temperature_k).unwrap());
            let Residuals { mass_balance, chemical_potential, supersaturation } = found;
            prop_assert!(mass_balance.is_finite() && chemical_potential.is_finite(), "{found:?}");
            prop_assert!(!supersaturation.is_nan() && supersaturation < 1e-6, "{found:?}");
        }
    }
}
