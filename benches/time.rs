//! Time, each figure beside a peer in the same run. See `benches/README.md`.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

#[path = "../tests/kit/mod.rs"]
mod kit;
mod peer;

use std::hint::black_box;

use barwright_blend::equilibrium::{Problem, Solver};
use barwright_blend::{Model, Options, assess, compare};
use barwright_reference::{CrystalState, Formula, Library, formula};
use criterion::{Criterion, criterion_group, criterion_main};
use kit::random;

/// Four ingredients; the bench prints how many species they hold.
const BLEND: &str = "beeswax 26, mango butter 22, sunflower oil 30, jojoba oil 22";

/// Temperatures of the solids curve: 0 to 80 °C.
const TEMPERATURES: usize = 81;

struct Bench {
    library: Library,
    model: Model,
    formula: Formula,
    problem: Problem,
}

impl Bench {
    fn new() -> Self {
        let library = Library::builtin().expect("built-in tables are sound");
        let model = Model::builtin().expect("the built-in model is sound");
        let formula = formula::read_inline(BLEND, "bench", &library).expect(BLEND).formulas.remove(0);
        let problem = random::problem(&library, &model, &formula, CrystalState::Rested).expect(BLEND);
        Bench { library, model, formula, problem }
    }

    fn temperatures_k() -> impl Iterator<Item = f64> {
        (0..TEMPERATURES).map(|step| 273.15 + step as f64)
    }
}

fn solids_curve(criterion: &mut Criterion) {
    let bench = Bench::new();
    println!("{} species in {} families", bench.problem.len(), bench.problem.blocks().len());
    assert!(bench.problem.len() >= 30);
    let mut group = criterion.benchmark_group("solids curve, 81 temperatures");
    let mut solver = Solver::new(&bench.problem);
    group.bench_function("barwright", |bencher| {
        bencher.iter(|| {
            solver.reset();
            Bench::temperatures_k()
                .map(|kelvin| solver.solve(&bench.problem, kelvin).unwrap().solid_mass_fraction())
                .sum::<f64>()
        });
    });
    group.bench_function("its exponentials alone", |bencher| {
        bencher.iter(|| {
            let mut sum = 0.0;
            for kelvin in Bench::temperatures_k() {
                for i in 0..bench.problem.crystallising() {
                    sum += black_box(bench.problem.ln_ideal_k(i, kelvin).exp());
                }
            }
            sum
        });
    });
    group.sample_size(10);
    group.bench_function("general convex solver (clarabel)", |bencher| {
        bencher.iter(|| {
            Bench::temperatures_k()
                .filter_map(|kelvin| peer::solid_moles(&bench.problem, kelvin, 0.3))
                .map(|solids| solids.iter().sum::<f64>())
                .sum::<f64>()
        });
    });
    group.finish();
}

fn answers(criterion: &mut Criterion) {
    let bench = Bench::new();
    let options = Options::default();
    let mut group = criterion.benchmark_group("answers with intervals");
    group.bench_function("assess, 256 draws", |bencher| {
        bencher.iter(|| assess(&bench.library, &bench.model, &bench.formula, &options).unwrap());
    });
    group.bench_function("assess, central value only", |bencher| {
        let central = Options { draws: 0, ..Options::default() };
        bencher.iter(|| assess(&bench.library, &bench.model, &bench.formula, &central).unwrap());
    });
    group.bench_function("compare two, 256 draws", |bencher| {
        let pair = [bench.formula.clone(), bench.formula.clone()];
        bencher.iter(|| compare(&bench.library, &bench.model, &pair, &options).unwrap());
    });
    group.bench_function("read the reference tables", |bencher| bencher.iter(|| Library::builtin().unwrap()));
    group.finish();
}

criterion_group!(benches, solids_curve, answers);
criterion_main!(benches);
