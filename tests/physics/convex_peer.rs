//! The same equilibrium by a general convex solver (the `clarabel` crate, exponential cones).

use barwright_blend::equilibrium::{Problem, Solver};
use barwright_testkit::{peer, random};
use rand::RngExt;

use crate::{LIBRARY, PARAMETERS};

/// Random blends compared.
const BLENDS: usize = 200;

/// Largest difference of any species' solid, share of the total mass.
const TOLERANCE: f64 = 1e-6;

/// Largest difference of the solids by mass between ours and the peer's, each species on its own.
fn difference(problem: &Problem, ours: &[f64], theirs: &[f64]) -> f64 {
    let mass = |i: usize| problem.species_molar_mass(i) / problem.mean_molar_mass();
    (0..problem.crystallising()).map(|i| (ours[i] - theirs[i]).abs() * mass(i)).fold(0.0, f64::max)
}

/// Compares on random blends; `ideal` sets every δ to zero, else the peer gets our δ̄ and must land on our solids.
fn compare(seed: u64, ideal: bool) {
    let mut generator = random::generator(seed);
    let (mut worst, mut gave_up) = (0.0_f64, 0);
    for _ in 0..BLENDS {
        let formula = random::formula(&mut generator, &LIBRARY, 12);
        let state = random::state(&mut generator);
        let mut species = random::species(&LIBRARY, &PARAMETERS, &formula, state).unwrap();
        if ideal {
            species.iter_mut().for_each(|one| one.delta = 0.0);
        }
        let problem = Problem::new(&species, PARAMETERS.families.len()).unwrap();
        let kelvin = generator.random_range(-20.0..80.0) + 273.15;
        let mut solver = Solver::new(&problem);
        let phases = solver.solve(&problem, kelvin).unwrap();
        let ours: Vec<f64> = (0..problem.crystallising()).map(|i| phases.species_solid_moles(i)).collect();
        let Some(theirs) = peer::solid_moles(&problem, kelvin, phases.delta_bar()) else {
            gave_up += 1;
            continue;
        };
        let apart = difference(&problem, &ours, &theirs);
        assert!(apart < TOLERANCE, "{apart:e} apart at {kelvin} K: {formula:?}");
        worst = worst.max(apart);
    }
    println!(
        "{BLENDS} blends (ideal {ideal}): {worst:.1e} of the mass apart at most; the general solver gave up on {gave_up}"
    );
    assert!(gave_up * 50 <= BLENDS, "the general solver gave up on {gave_up} of {BLENDS}");
}

#[test]
fn ideal_liquid_agrees_with_a_general_convex_solver() {
    compare(11, true);
}

#[test]
fn regular_liquid_agrees_with_a_general_convex_solver() {
    compare(12, false);
}
