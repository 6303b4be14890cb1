//! The same equilibrium by a general convex solver (the `clarabel` crate, exponential cones).

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

#[path = "../tests/kit/mod.rs"]
mod kit;
mod peer;

use std::sync::LazyLock;

use barwright_blend::equilibrium::{Problem, Solver};
use rand::RngExt;

use barwright_blend::Model;
use barwright_reference::Library;
use kit::random;

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().expect("built-in tables are sound"));
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().expect("the built-in model is sound"));

/// Random blends compared.
const BLENDS: usize = 200;

/// Largest difference of any species' solid, share of the total mass.
const TOLERANCE: f64 = 1e-6;

/// Where the general solver stops short of that, it may be so far off, and then only if its Gibbs energy is the higher one.
const SHORT_OF: f64 = 1e-5;

/// Largest difference of the solids by mass between ours and the peer's, each species on its own.
fn difference(problem: &Problem, ours: &[f64], theirs: &[f64]) -> f64 {
    let mass = |i: usize| problem.species_molar_mass(i) / problem.mean_molar_mass();
    (0..problem.crystallising()).map(|i| (ours[i] - theirs[i]).abs() * mass(i)).fold(0.0, f64::max)
}

/// Gibbs energy over RT of one split into crystals and liquid; `ln_k` is that of each crystallising species, γ included.
fn energy(problem: &Problem, ln_k: &[f64], solid: &[f64]) -> f64 {
    let moles = |i: usize| problem.species_moles(i);
    let crystals: Vec<f64> = solid.iter().enumerate().map(|(i, n)| n.clamp(0.0, moles(i))).collect();
    let liquid: Vec<f64> = (0..problem.len()).map(|i| moles(i) - crystals.get(i).copied().unwrap_or(0.0)).collect();
    let mixed = |of: &[f64]| {
        let total: f64 = of.iter().sum();
        of.iter().filter(|n| **n > 0.0).map(|n| n * (n / total).ln()).sum::<f64>()
    };
    let solids: f64 = problem.blocks().iter().map(|block| mixed(&crystals[block.start..block.end])).sum();
    solids + mixed(&liquid) + ln_k.iter().zip(&liquid).map(|(ln_k, n)| ln_k * n).sum::<f64>()
}

/// Compares on random blends; `ideal` sets every δ to zero, else the peer gets our δ̄ and must land on our solids.
fn compare(seed: u64, ideal: bool) {
    let mut generator = random::generator(seed);
    let (mut worst, mut gave_up) = (0.0_f64, 0);
    for _ in 0..BLENDS {
        let formula = random::formula(&mut generator, &LIBRARY, 12);
        let state = random::state(&mut generator);
        let mut species = random::species(&LIBRARY, &MODEL, &formula, state).unwrap();
        if ideal {
            species.iter_mut().for_each(|one| one.delta = 0.0);
        }
        let problem = Problem::new(&species, MODEL.parameters.families.len()).unwrap();
        let kelvin = generator.random_range(-20.0..80.0) + 273.15;
        let mut solver = Solver::new(&problem);
        let phases = solver.solve(&problem, kelvin).unwrap();
        let ours: Vec<f64> = (0..problem.crystallising()).map(|i| phases.species_solid_moles(i)).collect();
        let Some(theirs) = peer::solid_moles(&problem, kelvin, phases.delta_bar()) else {
            gave_up += 1;
            continue;
        };
        let apart = difference(&problem, &ours, &theirs);
        if apart >= TOLERANCE {
            let ln_k: Vec<f64> = (0..problem.crystallising()).map(|i| phases.ln_k(i)).collect();
            let (own, other) = (energy(&problem, &ln_k, &ours), energy(&problem, &ln_k, &theirs));
            println!("{apart:.1e} apart, the general solver {:.1e} RT above ours", other - own);
            assert!(apart < SHORT_OF && own < other, "{apart:e} apart at {kelvin} K, {own} {other}: {formula:?}");
        }
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
