//! Instruction counts (valgrind), repeatable on a busy machine. See `benches/README.md`.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

#[path = "../tests/kit/mod.rs"]
mod kit;
mod peer;

use std::hint::black_box;

use barwright_blend::Model;
use barwright_blend::equilibrium::{Problem, Solver};
use barwright_reference::{CrystalState, Library, formula};
use gungraun::{library_benchmark, library_benchmark_group, main};
use kit::random;

fn problem() -> Problem {
    let library = Library::builtin().expect("built-in tables are sound");
    let model = Model::builtin().expect("the built-in model is sound");
    let text = "beeswax 26, mango butter 22, sunflower oil 30, jojoba oil 22";
    let formula = formula::read_inline(text, "bench", &library).expect(text).formulas.remove(0);
    random::problem(&library, &model, &formula, CrystalState::Rested).expect(text)
}

#[library_benchmark]
#[bench::four_ingredients(setup = problem)]
fn solids_curve(problem: Problem) -> f64 {
    let mut solver = Solver::new(&problem);
    let mut sum = 0.0;
    for step in 0..81 {
        sum += solver.solve(&problem, 273.15 + f64::from(step)).unwrap().solid_mass_fraction();
    }
    black_box(sum)
}

#[library_benchmark]
#[bench::four_ingredients(setup = problem)]
fn its_exponentials(problem: Problem) -> f64 {
    let mut sum = 0.0;
    for step in 0..81 {
        for i in 0..problem.crystallising() {
            sum += black_box(problem.ln_ideal_k(i, 273.15 + f64::from(step)).exp());
        }
    }
    sum
}

// One temperature of the 81: the peer is slow under valgrind.
#[library_benchmark]
#[bench::four_ingredients(setup = problem)]
fn one_temperature_by_the_general_solver(problem: Problem) -> Option<Vec<f64>> {
    black_box(peer::solid_moles(&problem, 303.15, 0.3))
}

library_benchmark_group!(
    name = curve,
    benchmarks = [solids_curve, its_exponentials, one_temperature_by_the_general_solver]
);
main!(library_benchmark_groups = curve);
