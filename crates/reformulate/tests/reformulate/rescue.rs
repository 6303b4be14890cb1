//! `rescue` against every mixture of a grid of additions, refined around its best, on random pots: the same mass, and nothing taken out.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use barwright_blend::{Model, Options};
use barwright_reference::{Formula, IngredientId, IngredientKind, Library, Part};
use barwright_reformulate::adjust::{Least, Task};
use barwright_reformulate::judge::Judge;
use barwright_reformulate::limits::is_crumb;
use barwright_reformulate::{Demand, Firmness, Limits, rescue};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Few draws: the grid judges some thousand mixtures a task, and both sides judge by the same draws.
const DRAWS: usize = 16;

/// Largest addition of each on the grid, % of the pot, and its spacings: of all of it, then around the best.
const MAX_ADDED: f64 = 40.0;
const GRIDS: [f64; 4] = [4.0, 1.0, 0.25, 0.05];

/// How much more than the grid `rescue` may add, % of the pot.
const TOLERANCE: f64 = 0.2;

/// Pots that are compared.
const POTS: usize = 50;

/// A pot of wax, butter and oil, in tenths of a percent, and a wax that may come in.
fn random_pot(library: &Library, random: &mut Pcg64) -> (Formula, Vec<IngredientId>) {
    let mut pick = |kind: IngredientKind, taken: &[IngredientId]| loop {
        let id = library.id_at(random.random_range(0..library.ingredients.len())).unwrap();
        if library.get(id).unwrap().kind == kind && !taken.contains(&id) {
            return id;
        }
    };
    let wax = pick(IngredientKind::Wax, &[]);
    let other = pick(IngredientKind::Wax, &[wax]);
    let (butter, oil) = (pick(IngredientKind::Butter, &[]), pick(IngredientKind::Oil, &[]));
    let (hard, soft) = (random.random_range(120..220), random.random_range(200..450));
    let shares = [hard, soft, 1000 - hard - soft].map(|tenths| 0.1 * f64::from(tenths));
    let parts = [wax, butter, oil].into_iter().zip(shares);
    let parts = parts.map(|(ingredient, percent)| Part { ingredient, percent }).collect();
    (Formula { name: "pot".to_owned(), parts }, vec![wax, butter, oil, other])
}

fn random_demands(random: &mut Pcg64) -> Vec<Demand> {
    let hold = Demand::Hold { temperature_c: random.random_range(36.0..46.0) };
    let than = Firmness::BeeswaxPercent(random.random_range(15.0..28.0));
    let softer = Demand::Softer { than, temperature_c: 25.0 };
    match random.random_range(0..4) {
        0 => vec![hold],
        1 => vec![hold, Demand::Melts { percent: random.random_range(55.0..70.0) }],
        2 => vec![softer],
        _ => vec![Demand::Detail { relief_mm: random.random_range(0.8..2.0) }, hold],
    }
}

/// The least of the sums of two additions at which everything is met, on grids ever finer around the best.
fn grid(meets: &dyn Fn([f64; 2]) -> bool) -> Option<f64> {
    let mut best: Option<[f64; 2]> = None;
    let mut before = MAX_ADDED;
    for spacing in GRIDS {
        let center = best.unwrap_or([0.0; 2]);
        let reach = if spacing == GRIDS[0] { MAX_ADDED } else { 2.0 * before };
        let steps = (reach / spacing).round() as i32;
        let along = |at: f64| (-steps..=steps).map(move |n| at + f64::from(n) * spacing).filter(|x| *x >= 0.0);
        let mut points: Vec<[f64; 2]> = along(center[0]).flat_map(|x| along(center[1]).map(move |y| [x, y])).collect();
        let sum = |point: &[f64; 2]| point[0] + point[1];
        points.sort_by(|a, b| sum(a).total_cmp(&sum(b)));
        let limit = best.as_ref().map_or(f64::INFINITY, sum);
        best = points.into_iter().filter(|one| sum(one) < limit).find(|one| meets(*one)).or(best);
        best?;
        before = spacing;
    }
    best.map(|point| point[0] + point[1])
}

#[test]
fn the_least_is_added_that_a_grid_finds() {
    let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
    let options = Options { draws: DRAWS, ..Options::default() };
    let mut random = Pcg64::seed_from_u64(20_261_201);
    let (mut compared, mut worst) = (0, f64::NEG_INFINITY);
    while compared < POTS {
        let (pot, ingredients) = random_pot(&library, &mut random);
        let demands = random_demands(&mut random);
        let before = [pot.parts[0].percent, pot.parts[1].percent, pot.parts[2].percent, 0.0];
        // Two may be added: one of the pot and another, or two of the pot.
        let addable = if random.random_range(0..2) == 0 { [0, 3] } else { [0, 2] };
        let mut limits = Limits { min_percent: before.to_vec(), max_percent: before.to_vec(), price: None };
        addable.iter().for_each(|&at| limits.max_percent[at] = 100.0);
        let judge = Judge::new(&library, &model, &options, &ingredients, &demands, 0.9).unwrap();
        let mixture = |added: [f64; 2]| -> Vec<f64> {
            let mut mass = before;
            addable.iter().zip(added).for_each(|(&at, added)| mass[at] += added);
            let whole: f64 = mass.iter().sum();
            mass.iter().map(|mass| 100.0 * mass / whole).collect()
        };
        let meets = |added: [f64; 2]| {
            let mixed = mixture(added);
            // What comes in new is no crumb.
            let crumb = before[addable[1]] == 0.0 && is_crumb(0.0, mixed[addable[1]]);
            !crumb && judge.judge(&mixed, false).unwrap().iter().all(|one| one.margin >= 0.0)
        };
        let Some(least) = grid(&meets).filter(|least| *least > 0.0) else { continue };
        compared += 1;
        let task = Task { demands, confidence: 0.9, ingredients, limits, step_percent: None, least: Least::Moved };
        let found = rescue(&library, &model, &options, &pot, &task).unwrap();
        let total: f64 = found.added_percent.iter().sum();
        println!("{compared}: {least:.2} on the grid, {total:.3} found");
        assert!(found.adjustment.feasible, "{compared}: {task:?}");
        assert!(total <= least + TOLERANCE, "{compared}: {total} where {least} do, {task:?}");
        worst = worst.max(total - least);
        let standings = judge.judge(&found.adjustment.after, false).unwrap();
        assert!(standings.iter().all(|one| one.margin >= -1e-6), "{compared}: {standings:?}");
        for (at, added) in found.added_percent.iter().enumerate() {
            assert!(*added >= 0.0 && (addable.contains(&at) || *added == 0.0), "{:?}", found.added_percent);
            let expected = 100.0 * (before[at] + added) / (100.0 + total);
            assert!((found.adjustment.after[at] - expected).abs() < 1e-2, "{:?}", found.adjustment.after);
        }
    }
    println!("worst: {worst:.3} % of the pot more than the grid");
}
