//! `adjust` against every formula of a grid of 0.1 %, on random tasks: the same answer, and the same word on whether there is one.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)]

use std::sync::LazyLock;
use std::time::Instant;

use barwright_blend::{MeasuredYield, Model, Options, assess};
use barwright_reference::{Formula, IngredientId, IngredientKind, Library, Part};
use barwright_reformulate::adjust::{Least, Task, adjust};
use barwright_reformulate::demand::{EVEN_CHANCE, Likeness};
use barwright_reformulate::judge::Judge;
use barwright_reformulate::limits::{is_crumb, mass_moved, price_per_kg};
use barwright_reformulate::{Demand, Firmness, Limits};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

use crate::full::full;

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().expect("built-in tables are sound"));
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().expect("the built-in model is sound"));

/// Few draws: the grid judges up to 15,000 formulas a task, and both sides judge by the same draws.
const DRAWS: usize = 16;

/// Spacing of the grid, mass %.
const GRID: f64 = 0.1;

/// How far `adjust` may end from the best of the grid, mass % moved.
const TOLERANCE: f64 = 0.2;

/// Tasks with an answer that are compared, in the tests of every day and in full.
const ANSWERED: (usize, usize) = (10, 50);

/// Tasks without one.
const UNANSWERED: (usize, usize) = (5, 20);

/// Tasks that are rounded.
const ROUNDED: (usize, usize) = (60, 500);

/// Half width of the range of each free ingredient, mass %.
const ROOM: f64 = 6.0;

fn options() -> Options {
    Options { draws: DRAWS, ..Options::default() }
}

/// A random bar of wax, butter and oils, and what is free in it.
///
/// # Arguments
/// * `little`: whether there is little or nothing of the second wax, and it is free.
fn random_bar(random: &mut Pcg64, free: usize, little: bool) -> (Formula, Limits) {
    let mut pick = |kind: IngredientKind, taken: &[IngredientId]| loop {
        let id = LIBRARY.id_at(random.random_range(0..LIBRARY.ingredients.len())).unwrap();
        if LIBRARY.get(id).unwrap().kind == kind && !taken.contains(&id) {
            return id;
        }
    };
    let first = pick(IngredientKind::Wax, &[]);
    let other_wax = pick(IngredientKind::Wax, &[first]);
    let butter = pick(IngredientKind::Butter, &[]);
    let oil = pick(IngredientKind::Oil, &[]);
    let (wax, other, soft) = (
        random.random_range(150..250),
        random.random_range(if little { 0..15 } else { 30..100 }),
        random.random_range(150..350),
    );
    let shares = [wax, other, soft, 1000 - wax - other - soft].map(|tenths| 0.1 * f64::from(tenths));
    let parts = [first, other_wax, butter, oil].into_iter().zip(shares);
    let formula = Formula {
        name: "random".to_owned(),
        parts: parts.map(|(ingredient, percent)| Part { ingredient, percent }).collect(),
    };
    let mut limits = Limits { min_percent: shares.to_vec(), max_percent: shares.to_vec(), price: None };
    // The oil is always free, the waxes and the butter in turn.
    let mut chosen = vec![3, if little { 1 } else { random.random_range(0..3) }];
    while chosen.len() < free {
        let next = random.random_range(0..3);
        if !chosen.contains(&next) {
            chosen.push(next);
        }
    }
    for i in chosen {
        limits.min_percent[i] = (shares[i] - ROOM).max(0.0);
        limits.max_percent[i] = shares[i] + ROOM;
    }
    (formula, limits)
}

fn random_demands(random: &mut Pcg64, harder: f64) -> Vec<Demand> {
    let hold = Demand::Hold { temperature_c: random.random_range(38.0..46.0) + harder };
    let firm = Demand::Firmer {
        than: Firmness::BeeswaxPercent(random.random_range(18.0..30.0) + harder),
        temperature_c: 25.0,
    };
    let detail = Demand::Detail { relief_mm: random.random_range(0.8..2.5) };
    let melts = Demand::Melts { percent: random.random_range(60.0..75.0) };
    match random.random_range(0..4) {
        0 => vec![hold],
        1 => vec![hold, melts],
        2 => vec![firm],
        _ => vec![detail, hold],
    }
}

/// The least value of all formulas of the grid that meet every demand.
fn grid(judge: &Judge<'_>, original: &[f64], limits: &Limits, value: &dyn Fn(&[f64]) -> f64) -> Option<f64> {
    let free: Vec<usize> = (0..original.len()).filter(|&i| limits.max_percent[i] > limits.min_percent[i]).collect();
    let (last, others) = free.split_last()?;
    let steps = (ROOM / GRID).round() as i32;
    let mut points: Vec<Vec<f64>> = vec![original.to_vec()];
    for &i in others {
        points = points
            .iter()
            .flat_map(|point| {
                (-steps..=steps).map(move |step| {
                    let mut moved = point.clone();
                    moved[i] += f64::from(step) * GRID;
                    moved
                })
            })
            .collect();
    }
    for point in &mut points {
        point[*last] += 100.0 - point.iter().sum::<f64>();
    }
    points.retain(|point| limits.hold(point));
    points.sort_by(|a, b| value(a).total_cmp(&value(b)));
    let meets = |point: &Vec<f64>| judge.judge(point, false).unwrap().iter().all(|one| one.margin >= 0.0);
    points.iter().find(|point| meets(point)).map(|point| value(point))
}

/// How many of each.
fn wanted((few, many): (usize, usize)) -> usize {
    if full() { many } else { few }
}

/// One task; returns the answers of both sides. `None`: the bar is not off its demands by a margin within `off`.
fn compare(
    random: &mut Pcg64,
    number: usize,
    off: std::ops::Range<f64>,
    harder: f64,
) -> Option<(Option<f64>, Option<f64>)> {
    let (formula, limits) = random_bar(random, 2 + number % 2, false);
    let demands = random_demands(random, harder);
    answers(&formula, limits, demands, number, off)
}

/// The answers of both sides to some demands.
fn answers(
    formula: &Formula,
    limits: Limits,
    demands: Vec<Demand>,
    number: usize,
    off: std::ops::Range<f64>,
) -> Option<(Option<f64>, Option<f64>)> {
    let ingredients: Vec<IngredientId> = formula.parts.iter().map(|part| part.ingredient).collect();
    let original: Vec<f64> = formula.parts.iter().map(|part| part.percent).collect();
    let judge = Judge::new(&LIBRARY, &MODEL, &options(), &ingredients, &demands, 0.9).unwrap();
    let worst = judge.judge(&original, false).unwrap().iter().map(|one| one.margin).fold(f64::INFINITY, f64::min);
    if !off.contains(&worst) {
        return None;
    }
    let best = grid(&judge, &original, &limits, &|point| mass_moved(&original, point));
    let task = Task { demands, confidence: 0.9, ingredients, limits, step_percent: None, least: Least::Moved };
    let started = Instant::now();
    let found = adjust(&LIBRARY, &MODEL, &options(), formula, &task).unwrap();
    let ours = found.feasible.then_some(found.mass_moved);
    let names: Vec<&str> =
        formula.parts.iter().map(|part| LIBRARY.get(part.ingredient).unwrap().key.as_str()).collect();
    println!(
        "{number:>3} grid {best:.2?} ours {ours:.2?} {:?} judged {:?} {names:?} {:?}",
        started.elapsed(),
        found.judged,
        task.demands
    );
    Some((best, ours))
}

#[test]
fn random_tasks_end_where_the_grid_ends() {
    let mut random = Pcg64::seed_from_u64(4);
    let (mut answered, mut three) = (0, 0);
    for tried in 0.. {
        // Off by a little: bars that meet everything teach nothing, and those far off have no answer within the room.
        let Some((Some(best), ours)) = compare(&mut random, tried, -0.8..-0.01, 0.0) else { continue };
        assert!(best > 0.0);
        let ours =
            ours.unwrap_or_else(|| panic!("task {tried}: the grid has an answer, {best} % moved, and adjust has none"));
        assert!((ours - best).abs() <= TOLERANCE, "task {tried}: {ours} against {best} % moved");
        answered += 1;
        three += usize::from(tried % 2 == 1);
        if answered == wanted(ANSWERED) {
            println!("{answered} tasks with an answer, {three} of them with three free ingredients, {tried} tried");
            break;
        }
    }
}

#[test]
fn tasks_without_an_answer_are_called_so() {
    let mut random = Pcg64::seed_from_u64(5);
    let mut without = 0;
    for tried in 0.. {
        let Some((None, ours)) = compare(&mut random, tried, -20.0..-2.0, 10.0) else { continue };
        // Between the points of the grid there may be an answer that no point of it is; so far off there is none.
        assert!(ours.is_none(), "task {tried}: {ours:?} % moved where the grid has none");
        without += 1;
        if without == wanted(UNANSWERED) {
            break;
        }
    }
}

/// A bar within the room is measured; the way to it, or to what cannot be told from it, is as short as that of the grid.
#[test]
fn the_way_to_a_measured_bar_is_that_of_the_grid() {
    let mut random = Pcg64::seed_from_u64(6);
    let mut answered = 0;
    for tried in 0.. {
        let (formula, limits) = random_bar(&mut random, 2 + tried % 2, false);
        let free: Vec<usize> = (0..4).filter(|&i| limits.max_percent[i] > limits.min_percent[i]).collect();
        let mut other = formula.clone();
        let by = random.random_range(2.0..ROOM);
        other.parts[free[0]].percent += by;
        other.parts[free[1]].percent -= by;
        let at_c = vec![20.0, 30.0];
        let told = assess(&LIBRARY, &MODEL, &other, &Options { at_c, ..options() }).unwrap();
        let like = |at: &barwright_blend::assess::FirmnessAt| {
            let measured = MeasuredYield { kpa: at.yield_stress_kpa.value, ln_sd: 0.2 };
            Demand::like(Likeness { measured, confidence: EVEN_CHANCE }, at.temperature_c)
        };
        if told.firmness.iter().any(|at| at.yield_stress_kpa.value <= 0.0) {
            continue;
        }
        let demands = told.firmness.iter().flat_map(like).collect();
        let Some((Some(best), ours)) = answers(&formula, limits, demands, tried, -0.8..-0.01) else { continue };
        let ours =
            ours.unwrap_or_else(|| panic!("task {tried}: the grid has an answer, {best} %, and adjust has none"));
        assert!((ours - best).abs() <= TOLERANCE, "task {tried}: {ours} against {best} % moved");
        answered += 1;
        if answered == wanted(ANSWERED) {
            println!("{answered} measured bars, {tried} tried");
            break;
        }
    }
}

/// Whether a formula is in whole steps: what changes is a multiple of the step, but for one.
fn is_in_steps(before: &[f64], after: &[f64], step: f64) -> bool {
    let changed = before.iter().zip(after).filter(|(before, after)| (*before - *after).abs() > 1e-6);
    changed.filter(|(_, after)| (*after / step - (*after / step).round()).abs() > 1e-6).count() <= 1
}

/// The least mass moved of all formulas in whole steps that meet every demand, without crumbs or with.
fn whole_steps(judge: &Judge<'_>, original: &[f64], limits: &Limits, step: f64, crumbs: bool) -> Option<f64> {
    let count = original.len();
    let amounts = |at: usize| -> Vec<f64> {
        let multiples = (0..=(100.0 / step) as i32).map(|n| f64::from(n) * step);
        let inside = |p: &f64| *p >= limits.min_percent[at] && *p <= limits.max_percent[at] && *p != original[at];
        std::iter::once(original[at]).chain(multiples.filter(inside)).collect()
    };
    let mut formulas: Vec<Vec<f64>> = Vec::new();
    for rest in (0..count).filter(|&at| limits.max_percent[at] > limits.min_percent[at]) {
        let mut some = vec![original.to_vec()];
        for at in (0..count).filter(|&at| at != rest && limits.max_percent[at] > limits.min_percent[at]) {
            let with = |formula: &Vec<f64>, amount: f64| {
                let mut formula = formula.clone();
                formula[at] = amount;
                formula
            };
            some = some.iter().flat_map(|one| amounts(at).into_iter().map(|amount| with(one, amount))).collect();
        }
        for formula in &mut some {
            formula[rest] += 100.0 - formula.iter().sum::<f64>();
        }
        formulas.extend(some);
    }
    formulas.retain(|one| limits.hold(one) && is_in_steps(original, one, step));
    formulas.retain(|one| crumbs || !original.iter().zip(one).any(|(before, after)| is_crumb(*before, *after)));
    formulas.sort_by(|a, b| mass_moved(original, a).total_cmp(&mass_moved(original, b)));
    let meets = |one: &Vec<f64>| judge.judge(one, false).unwrap().iter().all(|one| one.margin >= 0.0);
    formulas.iter().find(|one| meets(one)).map(|one| mass_moved(original, one))
}

/// In whole steps and without crumbs where any formula of the grid is, and then the nearest of those to within a step.
#[test]
fn amounts_are_whole_steps_without_crumbs_where_the_grid_has_any() {
    let mut random = Pcg64::seed_from_u64(6);
    let (mut tasks, mut rounded, mut crumbs_are_nearer, mut farthest) = (0, 0, 0, 0.0_f64);
    for tried in 0.. {
        let little = tried % 4 > 1;
        let (formula, limits) = random_bar(&mut random, 2 + tried % 2, little);
        let ingredients: Vec<IngredientId> = formula.parts.iter().map(|part| part.ingredient).collect();
        let original: Vec<f64> = formula.parts.iter().map(|part| part.percent).collect();
        let demands = random_demands(&mut random, 0.0);
        let judge = Judge::new(&LIBRARY, &MODEL, &options(), &ingredients, &demands, 0.9).unwrap();
        let off = judge.judge(&original, false).unwrap().iter().map(|one| one.margin).fold(f64::INFINITY, f64::min);
        if !(if little { -0.05 } else { -0.8 }..-0.003).contains(&off) {
            continue;
        }
        let step = [0.5, 1.0, 2.0][tried / 4 % 3];
        let neat = whole_steps(&judge, &original, &limits, step, false);
        let any = whole_steps(&judge, &original, &limits, step, true);
        let task =
            Task { demands, confidence: 0.9, ingredients, limits, step_percent: Some(step), least: Least::Moved };
        let found = adjust(&LIBRARY, &MODEL, &options(), &formula, &task).unwrap();
        if !found.feasible {
            continue;
        }
        let what = format!(
            "task {tried} of {original:.1?}, steps of {step}: grid {neat:.2?} or {any:.2?}, ours {:.2?}",
            found.after
        );
        assert!(!found.in_steps || is_in_steps(&original, &found.after, step), "{what}");
        assert!(found.in_steps || any.is_none(), "{what}");
        let crumb = original.iter().zip(&found.after).any(|(before, after)| is_crumb(*before, *after));
        assert!(!crumb || neat.is_none(), "{what}");
        if let (true, Some(best)) = (found.in_steps, neat.or(any)) {
            assert!(found.mass_moved - best <= step + 1e-6, "{what}");
            farthest = farthest.max(found.mass_moved - best);
            rounded += 1;
        }
        crumbs_are_nearer += usize::from(any < neat && neat.is_some());
        tasks += 1;
        if tasks == wanted(ROUNDED) {
            break;
        }
    }
    println!(
        "{rounded} of {tasks} in steps, {crumbs_are_nearer} nearer with crumbs; {farthest:.2} % more moved than need be"
    );
    assert!(crumbs_are_nearer > 0, "nothing is known of crumbs");
}

/// The cheapest formula without crumbs of random tasks at random prices is that of the grid to within 0.2 % of its price, and as cheap in whole steps as a step allows.
#[test]
fn the_cheapest_formula_is_that_of_the_grid() {
    let mut random = Pcg64::seed_from_u64(8);
    let (mut answered, mut cheaper) = (0, 0);
    for tried in 0.. {
        let (formula, limits) = random_bar(&mut random, 2 + tried % 2, false);
        let ingredients: Vec<IngredientId> = formula.parts.iter().map(|part| part.ingredient).collect();
        let original: Vec<f64> = formula.parts.iter().map(|part| part.percent).collect();
        let per_kg: Vec<f64> = original.iter().map(|_| f64::from(random.random_range(30..300)) / 10.0).collect();
        let demands = random_demands(&mut random, 0.0);
        let judge = Judge::new(&LIBRARY, &MODEL, &options(), &ingredients, &demands, 0.9).unwrap();
        let price = |point: &[f64]| price_per_kg(&per_kg, point);
        let crumb = |point: &[f64]| original.iter().zip(point).any(|(before, after)| is_crumb(*before, *after));
        let neat = |point: &[f64]| if crumb(point) { f64::INFINITY } else { price(point) };
        let Some(best) = grid(&judge, &original, &limits, &neat).filter(|best| best.is_finite()) else { continue };
        let least = Least::Price { per_kg: per_kg.clone() };
        let task = Task { demands, confidence: 0.9, ingredients, limits, step_percent: None, least };
        let found = adjust(&LIBRARY, &MODEL, &options(), &formula, &task).unwrap();
        let ours = price(&found.after);
        assert!(found.feasible && task.limits.hold(&found.after), "task {tried}: {:?}", found.after);
        let met = |percent: &[f64]| judge.judge(percent, false).unwrap().iter().all(|one| one.margin >= -1e-6);
        assert!(met(&found.after), "task {tried}");
        println!("{answered:>3} grid {best:.3} ours {ours:.3} {:.2?}", found.after);
        assert!(ours <= 1.002 * best, "task {tried}: {ours} a kilogram where {best} do");
        let stepped =
            adjust(&LIBRARY, &MODEL, &options(), &formula, &Task { step_percent: Some(0.5), ..task }).unwrap();
        let in_steps = price(&stepped.after);
        assert!(met(&stepped.after) && in_steps >= ours - 0.002 * best, "task {tried}: {in_steps} in steps");
        assert!(!stepped.in_steps || in_steps <= ours + 0.02 * best, "task {tried}: {in_steps} in steps, {ours}");
        cheaper += usize::from(ours < price(&original) - 1e-3);
        answered += 1;
        if answered == wanted(ANSWERED) {
            break;
        }
    }
    println!("{answered} tasks, {cheaper} of them cheaper than before");
    assert!(cheaper > 0);
}
