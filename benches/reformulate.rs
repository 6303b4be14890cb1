//! `adjust` beside a derivative-free search for the same answer; `explore` with and without its refinement. See `benches/README.md`.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::cell::{Cell, RefCell};
use std::ops::ControlFlow;
use std::time::Instant;

use barwright_blend::{Model, Options};
use barwright_reference::{Formula, IngredientId, IngredientKind, Library, formula};
use barwright_reformulate::adjust::{Adjustment, Least, Task, adjust};
use barwright_reformulate::explore::{Exploration, FirmnessAim, Properties, Settings, explore};
use barwright_reformulate::front::{Front, Scores};
use barwright_reformulate::judge::{Judge, Standing};
use barwright_reformulate::limits::mass_moved;
use barwright_reformulate::space::{Group, Space};
use barwright_reformulate::{Demand, Limits};
use cobyla::{RhoBeg, StopTols};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Five ingredients, all free.
const BAR: &str = "beeswax 26, mango butter 22, shea butter 10, sunflower oil 30, jojoba oil 12";

/// Starts of the derivative-free search: it sees one valley at a time.
const STARTS: usize = 8;

/// Evaluations of one of its runs.
const MAX_EVALUATIONS: usize = 300;

/// The first ingredients of a shelf: few, and unlike each other, so that the front is large.
const FIRST: [&str; 7] =
    ["beeswax", "cocoa-butter", "sunflower-oil", "shea-butter", "jojoba-oil", "candelilla-wax", "carnauba-wax"];

/// Kinds of the others, again and again.
const OTHERS: [IngredientKind; 3] = [IngredientKind::Oil, IngredientKind::Butter, IngredientKind::Wax];

/// Least and most wax in a bar, mass %.
const WAXES: (f64, f64) = (10.0, 35.0);

/// Random points that volumes are measured with.
const VOLUME_POINTS: usize = 100_000;

struct Bench {
    library: Library,
    model: Model,
    bar: Formula,
    task: Task,
}

impl Bench {
    fn new() -> Self {
        let library = Library::builtin().expect("built-in tables are sound");
        let model = Model::builtin().expect("the built-in model is sound");
        let bar = formula::read_inline(BAR, "bench", &library).expect(BAR).formulas.remove(0);
        let task = Task {
            demands: vec![Demand::Hold { temperature_c: 42.0 }, Demand::Detail { relief_mm: 0.8 }],
            confidence: 0.75,
            ingredients: bar.parts.iter().map(|part| part.ingredient).collect(),
            limits: Limits::free(bar.parts.len()),
            step_percent: None,
            least: Least::Moved,
        };
        Bench { library, model, bar, task }
    }

    fn adjust(&self) -> Adjustment {
        adjust(&self.library, &self.model, &Options::default(), &self.bar, &self.task).unwrap()
    }

    /// The same by COBYLA from several starts: mass moved, and how often the formula was judged.
    fn derivative_free(&self) -> (f64, usize) {
        let (ingredients, demands) = (&self.task.ingredients, &self.task.demands);
        let options = Options::default();
        let judge =
            Judge::new(&self.library, &self.model, &options, ingredients, demands, self.task.confidence).unwrap();
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
                MAX_EVALUATIONS,
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
    let ours: usize = found.judged.iter().map(|one| 2 * one.draws * one.times).sum();
    println!("adjust: {:.2} % moved, {ours} equilibria {:?}", found.mass_moved, found.judged);
    println!("COBYLA: {moved:.2} % moved, {} equilibria, judged {judged} times", 2 * 256 * judged);
    let mut group = criterion.benchmark_group("smallest change, 5 ingredients, 2 demands");
    group.sample_size(10);
    group.bench_function("adjust", |bencher| bencher.iter(|| bench.adjust()));
    group.bench_function("derivative-free (COBYLA, 8 starts)", |bencher| bencher.iter(|| bench.derivative_free()));
    group.finish();
}

/// A space to explore.
struct Shelf {
    library: Library,
    model: Model,
    space: Space,
}

impl Shelf {
    fn new(count: usize) -> Self {
        let library = Library::builtin().expect("built-in tables are sound");
        let model = Model::builtin().expect("the built-in model is sound");
        let place = |key: &&str| library.id_of(key).expect("in the table");
        let mut ingredients: Vec<IngredientId> = FIRST.iter().take(count).map(place).collect();
        for kind in OTHERS.into_iter().cycle().take(count.saturating_sub(FIRST.len())) {
            let next = library.by_id().find(|(id, one)| one.kind == kind && !ingredients.contains(id));
            ingredients.push(next.expect("enough of each kind").0);
        }
        let kind = |place: usize| library.get(ingredients[place]).expect("of this library").kind;
        let is_wax = |place: &usize| kind(*place) == IngredientKind::Wax;
        let members = (0..count).filter(is_wax).collect();
        // Made up, but all different.
        let prices: Vec<f64> = (0..count).map(|place| 4.0 + (place * 17 % 41) as f64).collect();
        let space = Space {
            ingredients,
            min_percent: vec![0.0; count],
            max_percent: vec![100.0; count],
            groups: vec![Group { name: "waxes".into(), members, min_percent: WAXES.0, max_percent: WAXES.1 }],
            price: Some(prices),
        };
        Shelf { library, model, space }
    }

    fn explore(&self, candidates: usize, refine_rounds: usize) -> Exploration {
        let settings = Settings { candidates, refine_rounds, ..Settings::default() };
        let all = |_| ControlFlow::Continue(());
        explore(&self.library, &self.model, &self.space, &settings, &[], None, &all).unwrap()
    }

    /// Explores once, and prints the seconds.
    fn timed(&self, candidates: usize, refine_rounds: usize) -> Exploration {
        let start = Instant::now();
        let found = self.explore(candidates, refine_rounds);
        let (count, seconds) = (self.space.ingredients.len(), start.elapsed().as_secs_f64());
        let (judged, front) = (found.judged, found.front.len());
        println!("explore: {count} ingredients, {judged} judged, front of {front}, {seconds:.2} s, {}", peak_memory());
        found
    }
}

/// Lower is better, on scales of about equal meaning; what does not hold at all counts as −20 °C.
fn scaled(one: &Properties) -> Scores {
    let [_, _, finest, skin, price] = one.scores(FirmnessAim::Firmer);
    [-one.firmness_kpa.max(1e-6).ln(), -one.hold_c.unwrap_or(-20.0), finest.ln(), skin, price]
}

/// Peak memory of the process so far, as Linux tells it.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or(" not known").trim();
    format!("peak memory {peak}")
}

fn front_of(found: &Exploration) -> Front<()> {
    let mut front = Front::default();
    for one in &found.front {
        front.insert(scaled(&one.properties), ());
    }
    front
}

/// Prints how well two sets of the same size cover what is worth having.
fn print_cover(ours: &Front<()>, theirs: &Front<()>) {
    let points: Vec<Scores> = ours.iter().chain(theirs.iter()).map(|(scores, ())| *scores).collect();
    let corner = |of: fn(f64, f64) -> f64| -> Scores {
        points.iter().copied().reduce(|a, b| std::array::from_fn(|i| of(a[i], b[i]))).unwrap()
    };
    let (low, high) = (corner(f64::min), corner(f64::max));
    let mut random = Pcg64::seed_from_u64(1);
    let cloud: Vec<Scores> = (0..VOLUME_POINTS)
        .map(|_| std::array::from_fn(|i| low[i] + (high[i] - low[i]) * random.random_range(0.0..1.0)))
        .collect();
    let percent = |part: usize, of: usize| 100.0 * part as f64 / of as f64;
    for (name, one, other) in [("with refinement", ours, theirs), ("filling alone", theirs, ours)] {
        let volume = percent(cloud.iter().filter(|point| one.covers(point)).count(), cloud.len());
        let covered = percent(other.iter().filter(|(scores, ())| one.covers(scores)).count(), other.len());
        println!(
            "{name}: front of {}, volume {volume:.1} % of the box, as good as {covered:.0} % of the other front",
            one.len()
        );
    }
}

fn trade_offs(criterion: &mut Criterion) {
    let shelf = Shelf::new(FIRST.len());
    // A pass without timing only shows that it runs.
    let pass = std::env::args().any(|argument| argument == "--test");
    for candidates in [10_000, 100_000, 1_000_000].into_iter().take(if pass { 1 } else { 3 }) {
        shelf.timed(candidates, 0);
    }
    let refined = shelf.timed(3600, 4);
    let filled = shelf.timed(refined.judged, 0);
    print_cover(&front_of(&refined), &front_of(&filled));

    let mut group = criterion.benchmark_group("explore");
    group.sample_size(10);
    for candidates in [10_000, 100_000] {
        let id = BenchmarkId::new("candidates of 7 ingredients", candidates);
        group.bench_function(id, |bencher| bencher.iter(|| shelf.explore(candidates, 0)));
    }
    for count in [5, 10, 20, 40] {
        let shelf = Shelf::new(count);
        let id = BenchmarkId::new("10000 candidates, ingredients", count);
        group.bench_function(id, |bencher| bencher.iter(|| shelf.explore(10_000, 0)));
    }
    group.finish();
}

criterion_group!(benches, smallest_change, trade_offs);
criterion_main!(benches);
