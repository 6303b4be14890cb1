//! Convergence of the equilibrium, shown on random blends rather than hoped for.

use barwright_blend::equilibrium::{Solver, residuals};
use rand::RngExt;

use crate::kit::random;
use crate::{LIBRARY, MODEL};

/// Random blends of 1 to 12 ingredients.
const BLENDS: usize = 10_000;

/// Temperatures solved for each blend: one cold start, then warm ones.
const TEMPERATURES: usize = 3;

/// Mass balance and equal chemical potentials hold to this.
const TOLERANCE: f64 = 1e-10;

#[test]
fn ten_thousand_random_blends_reach_equilibrium() {
    let mut generator = random::generator(1);
    let (mut mass_balance, mut chemical_potential, mut supersaturation) = (0.0_f64, 0.0_f64, f64::NEG_INFINITY);
    let (mut most_iterations, mut two_phase, mut solved) = (0, 0, 0);
    for blend in 0..BLENDS {
        let formula = random::formula(&mut generator, &LIBRARY, 12);
        let state = random::state(&mut generator);
        let at_c: [f64; TEMPERATURES] = std::array::from_fn(|_| generator.random_range(-20.0..120.0));
        for problem in random::problems(&LIBRARY, &MODEL, &formula, state).unwrap() {
            let mut solver = Solver::new(&problem);
            for celsius in at_c {
                let phases = solver.solve(&problem, celsius + 273.15).unwrap();
                let found = residuals(&problem, &phases);
                assert!(
                    found.mass_balance < TOLERANCE
                        && found.chemical_potential < TOLERANCE
                        && found.supersaturation < TOLERANCE,
                    "blend {blend} at {celsius} °C ({state:?}): {found:?}, formula {formula:?}"
                );
                mass_balance = mass_balance.max(found.mass_balance);
                chemical_potential = chemical_potential.max(found.chemical_potential);
                supersaturation = supersaturation.max(found.supersaturation);
                most_iterations = most_iterations.max(phases.iterations());
                two_phase += usize::from(phases.liquid_moles() > 0.0 && phases.liquid_moles() < 1.0);
                solved += 1;
            }
        }
    }
    assert!(solved > BLENDS * TEMPERATURES, "some blends have crystals that form anew");
    println!(
        "worst of {} equilibria ({two_phase} with solid and liquid): mass balance {mass_balance:.1e}, chemical potential \
         {chemical_potential:.1e}, supersaturation {supersaturation:.1e}, {most_iterations} iterations at most",
        solved
    );
    assert!(two_phase > BLENDS, "most equilibria should hold both phases, {two_phase} did");
}

#[test]
fn a_warm_solver_allocates_nothing() {
    let mut generator = random::generator(3);
    let mut solved = 0;
    for _ in 0..100 {
        let formula = random::formula(&mut generator, &LIBRARY, 12);
        let problem = random::problem(&LIBRARY, &MODEL, &formula, random::state(&mut generator)).unwrap();
        let mut solver = Solver::new(&problem);
        let mut solve = |kelvin: f64| solver.solve(&problem, kelvin).unwrap().solid_mass_fraction();
        // Its buffers grow with what is solved first.
        let before: f64 = (253..393).map(|kelvin| solve(f64::from(kelvin))).sum();
        let mut after = 0.0;
        let counted = allocation_counter::measure(|| after = (253..393).map(|kelvin| solve(f64::from(kelvin))).sum());
        assert_eq!(counted.count_total, 0, "{formula:?}");
        assert!((before - after).abs() < 1e-6);
        solved += 140;
    }
    // The counter counts.
    assert!(allocation_counter::measure(|| drop(std::hint::black_box(vec![solved; 9]))).count_total > 0);
}

#[test]
fn the_same_blend_gives_the_same_bits() {
    let run = || {
        let mut generator = random::generator(2);
        let mut bits = Vec::new();
        for _ in 0..200 {
            let formula = random::formula(&mut generator, &LIBRARY, 12);
            let state = random::state(&mut generator);
            let problem = random::problem(&LIBRARY, &MODEL, &formula, state).unwrap();
            let mut solver = Solver::new(&problem);
            for celsius in [70.0, 40.0, 20.0] {
                bits.push(solver.solve(&problem, celsius + 273.15).unwrap().solid_mass_fraction().to_bits());
            }
        }
        bits
    };
    assert_eq!(run(), run());
}

#[test]
fn the_starting_point_does_not_matter() {
    let mut generator = random::generator(3);
    for _ in 0..500 {
        let formula = random::formula(&mut generator, &LIBRARY, 12);
        let state = random::state(&mut generator);
        let problem = random::problem(&LIBRARY, &MODEL, &formula, state).unwrap();
        let celsius: f64 = generator.random_range(-20.0..90.0);
        let cold = Solver::new(&problem).solve(&problem, celsius + 273.15).unwrap().solid_mass_fraction();
        let mut solver = Solver::new(&problem);
        for step in 0..8 {
            solver.solve(&problem, celsius + 8.0 - f64::from(step) + 273.15).unwrap();
        }
        let warm = solver.solve(&problem, celsius + 273.15).unwrap().solid_mass_fraction();
        assert!((cold - warm).abs() < 1e-9, "{cold} cold, {warm} warm at {celsius} °C: {formula:?}");
    }
}
