//! Times and temperatures of `cool` and `parcel`, whose draws are mostly run on a rough grid, beside as many draws and beside 4,096, each on the fine grid. See
//! `benches/README.md`.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::ops::ControlFlow;
use std::time::Instant;

use barwright_blend::assess::Workbench;
use barwright_blend::{Estimate, Model, Options};
use barwright_making::{CoolTask, Packing, ParcelTask, Place, cool, parcel};
use barwright_reference::mould::Mould;
use barwright_reference::{Formula, Library, formula, route};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Cases, and draws on the fine grid, unless others are asked for: `-- 40 4096`.
const CASES: usize = 40;
const MANY: usize = 4096;

/// Draws of an answer.
const DRAWS: usize = 256;

/// What is compared, with its unit.
#[derive(Default)]
struct Misses {
    name: &'static str,
    sizes: Vec<f64>,
    /// The worst, and of what.
    worst: (f64, String),
}

impl Misses {
    fn add(&mut self, sizes: [f64; 3], of: &str) {
        let worst = sizes.iter().copied().fold(0.0, f64::max);
        if worst > self.worst.0 {
            self.worst = (worst, of.to_owned());
        }
        self.sizes.extend(sizes);
    }

    fn tell(&mut self) {
        self.sizes.sort_by(f64::total_cmp);
        if self.sizes.is_empty() {
            return;
        }
        let rms = (self.sizes.iter().map(|one| one * one).sum::<f64>() / self.sizes.len() as f64).sqrt();
        let at = self.sizes[self.sizes.len() * 9 / 10];
        let (worst, of) = &self.worst;
        let count = self.sizes.len();
        println!("  {}: {count} ends, rms {rms:.3}, nine in ten below {at:.3}, worst {worst:.3}: {of}", self.name);
    }
}

/// A figure of an answer: a time in s, or °C.
enum Figure {
    Time(Option<Estimate>),
    Temperature(Estimate),
}

/// Ends of the intervals of one answer beside those of another, in % of a time and in K.
fn compare(of: &str, one: &[Figure], other: &[Figure], times: &mut Misses, temperatures: &mut Misses) {
    for pair in one.iter().zip(other) {
        match pair {
            (Figure::Time(Some(one)), Figure::Time(Some(other))) => {
                let miss = |one: f64, other: f64| 100.0 * (one - other).abs() / other.max(60.0);
                let misses = [miss(one.low, other.low), miss(one.value, other.value), miss(one.high, other.high)];
                times.add(misses, &format!("{of}: {one:?} {other:?}"));
            }
            (Figure::Temperature(one), Figure::Temperature(other)) => {
                let miss = [one.low - other.low, one.value - other.value, one.high - other.high];
                temperatures.add(miss.map(f64::abs), &format!("{of}: {one:?} {other:?}"));
            }
            _ => {}
        }
    }
}

struct Case {
    name: String,
    formula: Formula,
    mould: Mould,
    /// Air to cool in and whether a fan blows, or a route and how many bars go along it.
    place: Option<Place>,
    route: Vec<(f64, f64)>,
    packing: Packing,
}

fn cases(library: &Library, count: usize) -> Vec<Case> {
    let mut random = Pcg64::seed_from_u64(20);
    let routes = route::known_routes().unwrap();
    let pick = |random: &mut Pcg64, from: &[&str]| from[random.random_range(0..from.len())].to_owned();
    (0..count)
        .map(|number| {
            let wax = pick(&mut random, &["beeswax", "candelilla wax", "soy wax", "rice bran wax", "carnauba wax"]);
            let butter = pick(&mut random, &["mango butter", "shea butter", "cocoa butter", "coconut oil"]);
            let oil = pick(&mut random, &["sunflower oil", "jojoba oil", "olive oil", "castor oil"]);
            let (a, b) = (random.random_range(5.0..35.0_f64).round(), random.random_range(15.0..50.0_f64).round());
            let text = format!("{wax} {a}, {butter} {b}, {oil} {}", 100.0 - a - b);
            let bar = text.clone();
            let formula = formula::read_inline(&text, "bar", library).unwrap().formulas.remove(0);
            let sides = [[60, 40, 20], [90, 60, 30], [45, 45, 45], [110, 55, 15]][random.random_range(0..4)];
            let [length, width, height] = sides;
            let text = if random.random_bool(0.3) {
                format!("shape = 'round'\ndiameter = {width}\nheight = {height}")
            } else {
                format!("shape = 'box'\nlength = {length}\nwidth = {width}\nheight = {height}")
            };
            let mould = Mould::read(&text).unwrap_or_else(|faults| unreachable!("{faults:?}"));
            let air_c = [20.0, 5.0, -18.0, 24.0, 12.0][random.random_range(0..5)];
            let place = number.is_multiple_of(2).then(|| Place { name: text, air_c, fan: random.random_bool(0.3) });
            let names = ["hot-day", "summer-cycle", "parked-car", "hot-parcel", "usual-summer-post"];
            let name = pick(&mut random, &names);
            let route = routes.iter().find(|one| one.name == name).unwrap().route.rows.clone();
            let bars = [1, 1, 6][random.random_range(0..3)];
            let foam_m = [0.0, 0.0, 0.02][random.random_range(0..3)];
            let packing = Packing { shape: mould.shape, bars, foam_m, ice_kg: 0.0 };
            let way = if place.is_some() {
                format!("in air of {air_c} °C")
            } else {
                format!("{name}, {bars} bars, {foam_m} m")
            };
            Case { name: format!("{bar}, {sides:?} mm, {way}"), formula, mould, place, route, packing }
        })
        .collect()
}

fn answer(library: &Library, model: &Model, case: &Case, draws: usize, fine: bool) -> Vec<Figure> {
    let bench = Workbench::new(library, model, Options { draws, ..Options::default() }).unwrap();
    let Case { formula, mould, place, route, packing, .. } = case;
    match place {
        Some(place) => {
            let pour_c = bench.heat_curves(formula, 0).unwrap().central.clear_c.map_or(70.0, |clear_c| clear_c + 5.0);
            let places = std::slice::from_ref(place);
            let task = CoolTask { formula, mould, pour_c, mould_c: 20.0, places, room: (20.0, 50.0), fine };
            let found = cool(&bench, &task, &|_, _| ControlFlow::Continue(())).unwrap().places.remove(0);
            vec![Figure::Time(found.set_s), Figure::Time(found.release_s)]
        }
        None => {
            let (bar_ml, start_c, cell_m) = (mould.volume_ml, 20.0, barwright_making::cool::CELLS.cell_m);
            let task = ParcelTask { formula, packing: *packing, bar_ml, start_c, route, cell_m, fine };
            // The way asked for alone, of those tried: three with more around it, one with less where there is foam, one later where there is a night.
            let night = route.last().is_some_and(|row| row.0 >= 23.0 * 3600.0);
            let ways = 4 + usize::from(packing.foam_m > 0.0) + usize::from(night);
            let stop = |done: usize, total: usize| {
                if done * ways > total { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
            };
            let found = parcel(&bench, &task, &stop).unwrap().asked;
            let temperatures = [found.core_c, found.mean_c, found.edge_c].map(Figure::Temperature);
            std::iter::once(Figure::Time(found.fails_s)).chain(temperatures).collect()
        }
    }
}

fn main() {
    let numbers: Vec<usize> = std::env::args().filter_map(|argument| argument.parse().ok()).collect();
    let (count, many) = (numbers.first().copied().unwrap_or(CASES), numbers.get(1).copied().unwrap_or(MANY));
    let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
    let time = || Misses { name: "times, % (of a minute at least)", ..Misses::default() };
    let temperature = || Misses { name: "temperatures, K", ..Misses::default() };
    let (mut grids, mut luck, mut both) = ((time(), temperature()), (time(), temperature()), (time(), temperature()));
    let (mut quick_s, mut fine_s) = (0.0, 0.0);
    for case in cases(&library, count) {
        let started = Instant::now();
        let quick = answer(&library, &model, &case, DRAWS, false);
        quick_s += started.elapsed().as_secs_f64();
        let started = Instant::now();
        let fine = answer(&library, &model, &case, DRAWS, true);
        fine_s += started.elapsed().as_secs_f64();
        let most = answer(&library, &model, &case, many, true);
        compare(&case.name, &quick, &fine, &mut grids.0, &mut grids.1);
        compare(&case.name, &fine, &most, &mut luck.0, &mut luck.1);
        compare(&case.name, &quick, &most, &mut both.0, &mut both.1);
    }
    println!(
        "{count} bars; {DRAWS} draws take {quick_s:.1} s, all on the fine grid {fine_s:.1} s: 1/{:.0}",
        fine_s / quick_s
    );
    for (name, misses) in [
        ("rough grid, corrected, beside the same draws on the fine one", &mut grids),
        ("those beside many draws on the fine grid: luck of the draw", &mut luck),
        ("the answer beside many draws on the fine grid", &mut both),
    ] {
        println!("{name}");
        misses.0.tell();
        misses.1.tell();
    }
}
