#![allow(clippy::unwrap_used, clippy::panic)]

//! Where only the price is limited the task is a linear program with an answer on paper; where one wax is free in one oil, bisection finds it.

use std::sync::LazyLock;

use barwright_reference::formula;

use super::*;
use crate::demand::Firmness;
use crate::limits::PriceLimit;
use crate::search::SPREAD_STARTS;

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap());
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().unwrap());

/// More than the first search has.
const DRAWS: usize = 64;

fn bar(text: &str) -> Formula {
    formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0)
}

fn options(draws: usize) -> Options {
    Options { draws, ..Options::default() }
}

fn of(bar: &Formula, demands: &[Demand]) -> Task {
    Task {
        demands: demands.to_vec(),
        confidence: 0.9,
        ingredients: bar.parts.iter().map(|part| part.ingredient).collect(),
        limits: Limits::free(bar.parts.len()),
        step_percent: None,
        least: Least::Moved,
    }
}

fn priced(bar: &Formula, price: &[f64], most: f64) -> Task {
    let mut task = of(bar, &[]);
    task.limits.price = Some(PriceLimit { per_kg: price.to_vec(), max_per_kg: most });
    task
}

fn run(bar: &Formula, task: &Task) -> Adjustment {
    adjust(&LIBRARY, &MODEL, &options(DRAWS), bar, task).unwrap()
}

fn close(a: &[f64], b: &[f64]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-6)
}

/// 20 a kilogram of wax and 5 of oil: 30 % of wax cost 9.50, 20 % cost 8.00.
#[test]
fn a_price_alone_is_met_by_the_least_change() {
    let start = bar("beeswax 30, sunflower oil 70");
    let found = run(&start, &priced(&start, &[20.0, 5.0], 8.0));
    assert!(found.feasible && !found.in_steps && found.over_price == 0.0, "{found:?}");
    assert!(close(&found.before, &[30.0, 70.0]), "{:?}", found.before);
    assert!(close(&found.after, &[20.0, 80.0]), "{:?}", found.after);
    assert!((found.mass_moved - 10.0).abs() < 1e-6, "{}", found.mass_moved);
    assert_eq!(found.formula.parts.len(), 2);
    assert_eq!(found.formula.name, start.name);
}

#[test]
fn what_meets_everything_stays_and_is_judged_once_to_find_out() {
    let start = bar("beeswax 30, sunflower oil 70");
    let found = run(&start, &priced(&start, &[20.0, 5.0], 9.5));
    assert!(found.feasible && found.mass_moved == 0.0, "{found:?}");
    // Once as what may be the answer, once as what was before.
    assert_eq!(found.judged, [Judged { draws: DRAWS, times: 2 }]);
}

#[test]
fn the_first_search_has_few_draws_and_the_last_all() {
    let start = bar("beeswax 30, sunflower oil 70");
    let mut draws: Vec<usize> =
        run(&start, &priced(&start, &[20.0, 5.0], 8.0)).judged.iter().map(|one| one.draws).collect();
    draws.sort_unstable();
    assert_eq!(draws, [FEW_DRAWS, DRAWS]);
}

#[test]
fn with_nothing_asked_nothing_is_done() {
    let start = bar("beeswax 30, sunflower oil 70");
    let answer = adjust(&LIBRARY, &MODEL, &options(1), &start, &of(&start, &[]));
    assert_eq!(answer.unwrap_err(), AdjustError::NoDemand);
    let mut task = of(&start, &[Demand::Hold { temperature_c: 30.0 }]);
    task.limits.price = None;
    assert!(adjust(&LIBRARY, &MODEL, &options(1), &start, &task).is_ok());
}

/// Nothing costs less than the oil, at 5: 25 % more than 4.
#[test]
fn a_price_below_the_cheapest_is_told_with_what_is_left_over() {
    let start = bar("beeswax 30, sunflower oil 70");
    let found = run(&start, &priced(&start, &[20.0, 5.0], 4.0));
    assert!(!found.feasible, "{found:?}");
    assert!((found.over_price - 0.25).abs() < 1e-9, "{}", found.over_price);
    assert!(close(&found.after, &[0.0, 100.0]), "{:?}", found.after);
    // What is not there is no part.
    assert_eq!(found.formula.parts.len(), 1);
    let first = found.judged.iter().find(|one| one.draws == FEW_DRAWS).unwrap();
    assert!(first.times >= SPREAD_STARTS, "points spread over the limits were not tried: {first:?}");
}

#[test]
fn what_may_come_in_counts_as_none_of_it_before() {
    let start = bar("beeswax 30, sunflower oil 70");
    let mut task = priced(&start, &[20.0, 5.0, 1.0], 7.6);
    task.ingredients.push(LIBRARY.id_of("soy-wax-soft").unwrap());
    task.limits.min_percent.push(0.0);
    task.limits.max_percent.push(100.0);
    let found = run(&start, &task);
    assert_eq!(found.before, [30.0, 70.0, 0.0]);
    assert!(found.before[2].is_sign_positive());
    // A percent of wax for one of the third saves 0.19: 1.90 are ten of them.
    assert!(close(&found.after, &[20.0, 70.0, 10.0]), "{:?}", found.after);
}

/// The same ingredient named twice counts as one.
#[test]
fn parts_of_one_ingredient_are_added() {
    let mut start = bar("beeswax 30, sunflower oil 70");
    start.parts.insert(1, Part { percent: 12.0, ..start.parts[0].clone() });
    start.parts[0].percent = 18.0;
    let mut task = priced(&start, &[20.0, 5.0], 8.0);
    task.ingredients.remove(1);
    task.limits = Limits { price: task.limits.price, ..Limits::free(2) };
    assert_eq!(run(&start, &task).before, [30.0, 70.0]);
}

#[test]
fn whole_steps_go_as_far_as_they_must_and_no_further() {
    let start = bar("beeswax 30, sunflower oil 70");
    // No more than 20 % of wax may stay: the multiples of 3, 5, 0.5, 7 and 60 at or below it.
    for (step, wax) in [(3.0, 18.0), (5.0, 20.0), (0.5, 20.0), (7.0, 14.0), (60.0, 0.0)] {
        let mut task = priced(&start, &[20.0, 5.0], 8.0);
        task.step_percent = Some(step);
        let found = run(&start, &task);
        assert!(found.feasible && found.in_steps, "{step}");
        assert!(close(&found.after, &[wax, 100.0 - wax]), "{step}: {:?}", found.after);
    }
    // Where a bound leaves no multiple, the amounts are what they must be.
    let mut task = priced(&start, &[20.0, 5.0], 8.0);
    task.limits.min_percent[0] = 19.0;
    task.step_percent = Some(7.0);
    let found = run(&start, &task);
    assert!(found.feasible && !found.in_steps, "{found:?}");
    assert!(close(&found.after, &[20.0, 80.0]), "{:?}", found.after);
}

/// 33.3 % becomes 28 %, not 28.3 %; what stays odd stays, and the largest that changes takes what is left.
#[test]
fn amounts_that_change_are_multiples_of_the_step_themselves() {
    let start = bar("beeswax 33.3, cocoa butter 33.3, sunflower oil 33.4");
    let mut task = priced(&start, &[20.0, 6.0, 5.0], 9.5);
    task.limits.min_percent[1] = 33.3;
    task.step_percent = Some(1.0);
    let found = run(&start, &task);
    assert!(found.in_steps && found.feasible, "{found:?}");
    assert!(close(&found.after, &[27.0, 33.3, 39.7]), "{:?}", found.after);
}

/// Of a wax at 4 % at most 1.7 % may stay: none of it does. Where it was 1.7 % already it stays; scent may be a trace; what must stay is a crumb.
#[test]
fn no_crumb_is_left_of_what_a_bar_is_built_of() {
    let after = |text: &str, prices: &[f64], most: f64, least: f64| {
        let start = bar(text);
        let mut task = priced(&start, prices, most);
        task.limits.min_percent[0] = least;
        task.step_percent = Some(0.1);
        let found = run(&start, &task);
        assert!(found.feasible && found.in_steps, "{text}: {found:?}");
        found.after
    };
    // 100 a kilogram: with 1.7 % of it and 5 a kilogram for the rest it costs 6.615.
    let found = after("carnauba wax 4, sunflower oil 96", &[100.0, 5.0], 6.615, 0.0);
    assert!(close(&found, &[0.0, 100.0]), "{found:?}");
    // 2.5 % of it may stay, and does.
    let found = after("carnauba wax 4, sunflower oil 96", &[100.0, 5.0], 7.375, 0.0);
    assert!(close(&found, &[2.5, 97.5]), "{found:?}");
    let found = after("carnauba wax 4, sunflower oil 96", &[100.0, 5.0], 6.615, 1.0);
    assert!(close(&found, &[1.7, 98.3]), "{found:?}");
    let found = after("lavender oil 4, sunflower oil 96", &[100.0, 5.0], 6.615, 0.0);
    assert!(close(&found, &[1.7, 98.3]), "{found:?}");
    // 1.2 % more of the cheap one are wanted, of which there was 0.5 %: 2 % or none of it, or it stays and another changes.
    let found = after("jojoba oil 0.5, sunflower oil 99.5", &[1.0, 5.0], 4.932, 0.0);
    assert!(close(&found, &[2.0, 98.0]), "{found:?}");
}

/// Three go up or down by a fraction of a step. 3.7 % of the dearest have to go, most of what comes may only be 2.2 %.
#[test]
fn several_are_rounded_together() {
    let start = bar("beeswax 20, cocoa butter 20, sunflower oil 60");
    let mut task = priced(&start, &[100.0, 20.0, 1.0], 100.0);
    task.limits.max_percent = vec![16.3, 100.0, 62.2];
    let exact = run(&start, &task);
    assert!((exact.mass_moved - 3.7).abs() < 1e-6 && exact.feasible, "{exact:?}");
    task.step_percent = Some(1.0);
    let found = run(&start, &task);
    assert!(found.in_steps && found.feasible, "{found:?}");
    assert!((found.mass_moved - 4.0).abs() < 1e-6, "{}", found.mass_moved);
    assert!(found.after.iter().all(|p| (p - p.round()).abs() < 1e-9), "{:?}", found.after);
    assert!(found.after[2] <= 62.0 + 1e-9);
}

/// 1.7 % of two have to go, and two of those that come may only be 1.1 % more: of five that change each goes to the step below or above.
#[test]
fn five_that_change_are_rounded_to_either_side() {
    let start = bar("beeswax 20, candelilla wax 20, cocoa butter 20, shea butter 20, sunflower oil 20");
    let mut task = priced(&start, &[1.0; 5], 2.0);
    task.limits.max_percent = vec![18.3, 18.3, 21.1, 21.1, 22.4];
    task.step_percent = Some(1.0);
    let found = run(&start, &task);
    assert!(found.in_steps && found.feasible, "{found:?}");
    assert!(close(&found.after, &[18.0, 18.0, 21.0, 21.0, 22.0]), "{:?}", found.after);
    // Where the oil may take all of it, what need not change does not.
    task.limits.max_percent[4] = 100.0;
    assert!(close(&run(&start, &task).after, &[18.0, 18.0, 20.0, 20.0, 24.0]));
}

/// Wax and butter cannot keep their shape at 90 °C, nor this bar melt so far on skin beside holding: the nearest is in steps, too, and misses little more.
#[test]
fn the_nearest_to_what_cannot_be_met_is_in_whole_steps() {
    for (text, demands, step) in [
        ("beeswax 23.3, cocoa butter 26.6, sunflower oil 50.1", vec![Demand::Hold { temperature_c: 90.0 }], 0.5),
        (
            "beeswax 26, mango butter 22, shea butter 10, sunflower oil 30, jojoba oil 12",
            vec![Demand::Hold { temperature_c: 48.0 }, Demand::Melts { percent: 85.0 }],
            1.0,
        ),
    ] {
        let start = bar(text);
        let any = run(&start, &of(&start, &demands));
        let found = run(&start, &Task { step_percent: Some(step), ..of(&start, &demands) });
        assert!(!any.feasible && !any.in_steps && !found.feasible && found.in_steps, "{found:?}");
        let odd = found.before.iter().zip(&found.after).filter(|(before, after)| {
            (*before - *after).abs() > 1e-6 && (*after / step - (*after / step).round()).abs() > 1e-6
        });
        assert!(odd.count() <= 1, "{:?}", found.after);
        assert!((found.after.iter().sum::<f64>() - 100.0).abs() < 1e-6, "{:?}", found.after);
        let ingredients: Vec<IngredientId> = start.parts.iter().map(|part| part.ingredient).collect();
        let judge = Judge::new(&LIBRARY, &MODEL, &options(DRAWS), &ingredients, &demands, 0.9).unwrap();
        let missing = |percent: &[f64]| -> f64 {
            judge.judge(percent, false).unwrap().iter().map(|one| (-one.margin).max(0.0)).sum()
        };
        let (without, with) = (missing(&any.after), missing(&found.after));
        assert!(with < without + 0.05 * step, "{with} missing in steps, {without} in any amounts");
    }
}

/// Wax, oil: the least wax that holds, by bisection over the same draws.
#[test]
fn one_wax_in_one_oil_is_where_bisection_ends() {
    for (text, demand) in [
        ("beeswax 20, sunflower oil 80", Demand::Hold { temperature_c: 45.0 }),
        ("candelilla wax 8, jojoba oil 92", Demand::Hold { temperature_c: 50.0 }),
        ("beeswax 12, olive oil 88", Demand::Firmer { than: Firmness::Kpa(60.0), temperature_c: 25.0 }),
        ("beeswax 45, olive oil 55", Demand::Softer { than: Firmness::Kpa(60.0), temperature_c: 25.0 }),
        ("beeswax 60, olive oil 40", Demand::Melts { percent: 60.0 }),
    ] {
        let start = bar(text);
        let task = of(&start, &[demand]);
        let judge = Judge::new(&LIBRARY, &MODEL, &options(16), &task.ingredients, &[demand], 0.9).unwrap();
        let meets = |wax: f64| judge.judge(&[wax, 100.0 - wax], false).unwrap()[0].margin >= 0.0;
        let original = start.parts[0].percent;
        let more = matches!(demand, Demand::Hold { .. } | Demand::Firmer { .. });
        let (mut fails, mut holds) = (original, if more { 60.0 } else { 5.0 });
        assert!(!meets(fails) && meets(holds), "{text}: nothing to find");
        while (holds - fails).abs() > 1e-3 {
            let middle = 0.5 * (fails + holds);
            if meets(middle) { holds = middle } else { fails = middle }
        }
        let found = adjust(&LIBRARY, &MODEL, &options(16), &start, &task).unwrap();
        assert!(found.feasible, "{text}: {found:?}");
        assert!((found.after[0] - holds).abs() < 0.06, "{text}: {} is not {holds}", found.after[0]);
        let met = &found.demands[0];
        assert!(met.met && met.probability_before < 0.9 && met.probability_after >= 0.9, "{met:?}");
        assert_eq!(met.met_alone, None);
        assert!(found.conflicts.is_empty());
    }
}

/// Firm and soft at once cannot be; each alone can, and so can each with the third.
#[test]
fn demands_in_each_others_way_are_named() {
    let start = bar("beeswax 20, sunflower oil 80");
    let demands = [
        Demand::Hold { temperature_c: 15.0 },
        Demand::Firmer { than: Firmness::Kpa(120.0), temperature_c: 25.0 },
        Demand::Softer { than: Firmness::Kpa(60.0), temperature_c: 25.0 },
    ];
    let found = adjust(&LIBRARY, &MODEL, &options(8), &start, &of(&start, &demands)).unwrap();
    assert!(!found.feasible);
    assert_eq!(found.conflicts, [Conflict { first: demands[1], second: demands[2] }]);
    let alone: Vec<Option<bool>> = found.demands.iter().map(|one| one.met_alone).collect();
    assert_eq!(alone, [Some(true); 3]);

    // What cannot be met alone is in nobody's way.
    let demands = [Demand::Hold { temperature_c: 150.0 }, Demand::Hold { temperature_c: 30.0 }];
    let found = adjust(&LIBRARY, &MODEL, &options(8), &start, &of(&start, &demands)).unwrap();
    assert!(!found.feasible && found.conflicts.is_empty());
    let alone: Vec<Option<bool>> = found.demands.iter().map(|one| one.met_alone).collect();
    assert_eq!(alone, [Some(false), Some(true)]);
    assert!(!found.demands[0].met);
}
