//! Time and equilibria of `adjust`, beside a derivative-free search for the same answer. See `benches/README.md`.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::cell::{Cell, RefCell};

use barwright_blend::{Options, Parameters};
use barwright_reference::{Formula, Library, formula};
use barwright_reformulate::adjust::{Adjustment, Task, adjust};
use barwright_reformulate::judge::{Judge, Standing};
use barwright_reformulate::linear::mass_moved;
use barwright_reformulate::{Demand, Limits};
use cobyla::{RhoBeg, StopTols};
use criterion::{Criterion, criterion_group, criterion_main};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Five ingredients, all free.
const BAR: &str = "beeswax 26, mango butter 22, shea butter 10, sunflower oil 30, jojoba oil 12";

/// Starts of the derivative-free search: it sees one valley at a time.
const STARTS: usize = 8;

/// Evaluations of one of its runs.
const MOST_EVALUATIONS: usize = 300;

struct Bench {
    library: Library,
    parameters: Parameters,
    bar: Formula,
    task: Task,
}

impl Bench {
    fn new() -> Self {
        let library = Library::builtin().expect("built-in tables are sound");
        let parameters = Parameters::builtin().expect("built-in parameters are sound");
        let bar = formula::read_inline(BAR, "bench", &library).expect(BAR).formulas.remove(0);
        let task = Task {
            demands: vec![Demand::Hold { temperature_c: 42.0 }, Demand::Detail { relief_mm: 0.8 }],
            confidence: 0.75,
            ingredients: bar.parts.iter().map(|part| part.ingredient).collect(),
            limits: Limits::free(bar.parts.len()),
            step_percent: None,
        };
        Bench { library, parameters, bar, task }
    }

    fn adjust(&self) -> Adjustment {
        adjust(&self.library, &self.parameters, &Options::default(), &self.bar, &self.task).unwrap()
    }

    /// The same by COBYLA from several starts: mass moved, and how often the formula was judged.
    fn derivative_free(&self) -> (f64, usize) {
        let (ingredients, demands) = (&self.task.ingredients, &self.task.demands);
        let options = Options::default();
        let judge =
            Judge::new(&self.library, &self.parameters, &options, ingredients, demands, self.task.confidence).unwrap();
        let original: Vec<f64> = self.bar.parts.iter().map(|part| part.percent).collect();
        let free = original.len() - 1;
        let judged = Cell::new(0);
        let last: RefCell<(Vec<f64>, Vec<Standing>)> = RefCell::default();
        // The last ingredient fills up to 100 %.
        let whole = |x: &[f64]| [x, &[100.0 - x.iter().sum::<f64>()]].concat();
        let margin = |x: &[f64], demand: usize| {
            if last.borrow().0 != x {
                let percent: Vec<f64> = whole(x).iter().map(|p| p.max(0.0)).collect();
                judged.set(judged.get() + 1);
                *last.borrow_mut() = (x.to_vec(), judge.judge(&percent, false).unwrap());
            }
            last.borrow().1[demand].margin
        };
        let moved = |x: &[f64], (): &mut ()| mass_moved(&original, &whole(x));
        let hold = |x: &[f64], (): &mut ()| margin(x, 0);
        let detail = |x: &[f64], (): &mut ()| margin(x, 1);
        let rest = |x: &[f64], (): &mut ()| 100.0 - x.iter().sum::<f64>();
        let constraints: [&dyn cobyla::Func<()>; 3] = [&hold, &detail, &rest];
        let bounds = vec![(0.0, 100.0); free];
        let mut random = Pcg64::seed_from_u64(1);
        let mut best = f64::INFINITY;
        for start in 0..STARTS {
            let spread = if start == 0 { 0.0 } else { 15.0 };
            let from: Vec<f64> = original[..free]
                .iter()
                .map(|p| (p + random.random_range(-1.0..1.0) * spread).clamp(0.0, 100.0))
                .collect();
            let tolerances = StopTols { xtol_abs: vec![0.02; free], ..StopTols::default() };
            let ended = cobyla::minimize(
                moved,
                &from,
                &bounds,
                &constraints,
                (),
                MOST_EVALUATIONS,
                RhoBeg::All(5.0),
                Some(tolerances),
            );
            let (_, x, value) = match ended {
                Ok(found) => found,
                Err((status, x, value)) => {
                    println!("COBYLA: {status:?}");
                    (cobyla::SuccessStatus::Success, x, value)
                }
            };
            if (0..demands.len()).all(|demand| margin(&x, demand) >= -1e-3) {
                best = best.min(value);
            }
        }
        (best, judged.get())
    }
}

fn smallest_change(criterion: &mut Criterion) {
    let bench = Bench::new();
    let found = bench.adjust();
    let (moved, judged) = bench.derivative_free();
    // Two spots, fresh and rested: two equilibria for each draw.
    let ours: usize = found.judged.iter().map(|(draws, times)| 2 * draws * times).sum();
    println!("adjust: {:.2} % moved, {ours} equilibria {:?}", found.mass_moved, found.judged);
    println!("COBYLA: {moved:.2} % moved, {} equilibria, judged {judged} times", 2 * 256 * judged);
    let mut group = criterion.benchmark_group("smallest change, 5 ingredients, 2 demands");
    group.sample_size(10);
    group.bench_function("adjust", |bencher| bencher.iter(|| bench.adjust()));
    group.bench_function("derivative-free (COBYLA, 8 starts)", |bencher| bencher.iter(|| bench.derivative_free()));
    group.finish();
}

criterion_group!(benches, smallest_change);
criterion_main!(benches);
