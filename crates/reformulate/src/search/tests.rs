#![allow(clippy::unwrap_used)]

//! Where only the price is limited the task is a linear program with an answer on paper.

use std::sync::LazyLock;

use barwright_blend::{Model, Options};
use barwright_reference::{Formula, IngredientId, Library, formula};

use super::*;
use crate::demand::{Demand, Firmness};
use crate::limits::PriceLimit;

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap());
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().unwrap());

fn bar(text: &str) -> Formula {
    formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0)
}

fn options(draws: usize) -> Options {
    Options { draws, ..Options::default() }
}

fn close(a: &[f64], b: &[f64]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-6)
}

/// A judge that nothing is demanded of.
fn nothing_asked(bar: &Formula) -> Judge<'static> {
    let ingredients: Vec<IngredientId> = bar.parts.iter().map(|part| part.ingredient).collect();
    Judge::new(&LIBRARY, &MODEL, &options(1), &ingredients, &[], 0.9).unwrap()
}

#[test]
fn every_ordered_pair_is_a_transfer_once() {
    let pairs: Vec<(usize, usize)> = transfers(3).collect();
    assert_eq!(pairs, [(0, 1), (0, 2), (1, 0), (1, 2), (2, 0), (2, 1)]);
}

#[test]
fn amounts_are_closed_by_room() {
    let mut limits = Limits::free(3);
    let original = [30.0, 40.0, 30.0];
    // 20 too much, in proportion to what is there.
    let closed = Search::new(&original, &limits).closed(vec![50.0, 50.0, 20.0], None);
    assert!(close(&closed, &[125.0 / 3.0, 125.0 / 3.0, 50.0 / 3.0]), "{closed:?}");
    let closed = Search::new(&original, &limits).closed(vec![50.0, 50.0, 20.0], Some(2));
    assert!(close(&closed, &[40.0, 40.0, 20.0]), "{closed:?}");
    // 40 too little, in proportion to the room above.
    let closed = Search::new(&original, &limits).closed(vec![20.0, 20.0, 20.0], None);
    assert!(close(&closed, &[100.0 / 3.0; 3]), "{closed:?}");
    // The others can only give 10 of 20: the one that was to stay gives the rest.
    limits.min_percent = vec![45.0, 45.0, 0.0];
    let closed = Search::new(&original, &limits).closed(vec![50.0, 50.0, 20.0], Some(2));
    assert!(close(&closed, &[45.0, 45.0, 10.0]), "{closed:?}");
    limits.min_percent = vec![0.0; 3];
    limits.max_percent = vec![30.0, 100.0, 40.0];
    let inside = Search::new(&original, &limits).inside(&[50.0, 40.0, 10.0]);
    // 30 + 40 + 10: 20 too little, rooms of 0, 60 and 30.
    assert!(close(&inside, &[30.0, 40.0 + 20.0 * 60.0 / 90.0, 10.0 + 20.0 * 30.0 / 90.0]), "{inside:?}");
}

#[test]
fn starts_are_the_formula_and_one_ingredient_changed() {
    let original = [30.0, 70.0];
    let mut limits = Limits::free(2);
    let starts = Search::new(&original, &limits).starts();
    let expected = [[30.0, 70.0], [38.0, 62.0], [22.0, 78.0], [22.0, 78.0], [38.0, 62.0]];
    assert_eq!(starts.len(), expected.len());
    assert!(starts.iter().zip(&expected).all(|(one, other)| close(one, other)), "{starts:?}");
    // Up to 0.9 % of room is none, 1 % is some.
    limits.max_percent[0] = 30.9;
    assert_eq!(Search::new(&original, &limits).starts().len(), 4);
    limits.max_percent[0] = 31.0;
    assert_eq!(Search::new(&original, &limits).starts().len(), 5);
}

/// The plastic number, the root of x³ = x + 1, is 1.324717957244746 (recalled).
#[test]
fn points_are_spread_by_the_plastic_number() {
    const PLASTIC: f64 = 1.324_717_957_244_746;
    let original = [30.0, 70.0];
    let mut limits = Limits::free(2);
    (limits.min_percent[0], limits.max_percent[0]) = (10.0, 60.0);
    let search = Search::new(&original, &limits);
    let points = search.spread_starts();
    assert_eq!(points.len(), SPREAD_STARTS);
    for (number, point) in (1..).zip(&points) {
        let share = |power: i32| (0.5 + f64::from(number) / PLASTIC.powi(power)).fract();
        let expected = search.closed(vec![10.0 + 50.0 * share(1), 100.0 * share(2)], None);
        assert!(close(point, &expected), "{number}: {point:?} is not {expected:?}");
        assert!(limits.hold(point), "{point:?}");
    }
}

/// 90 % of wax down to 10 %: steps of 8, 16 and 32 %, and what is left.
#[test]
fn a_search_doubles_its_reach_where_tangents_hold() {
    let start = bar("beeswax 90, sunflower oil 10");
    let original = [90.0, 10.0];
    let limits = Limits { price: Some(PriceLimit { per_kg: vec![20.0, 5.0], max_per_kg: 6.5 }), ..Limits::free(2) };
    let judge = nothing_asked(&start);
    let mut whole = Search::new(&original, &limits);
    let found = whole.descend(&judge, original.to_vec(), MAX_STEPS).unwrap();
    assert!(close(&found.percent, &[10.0, 90.0]), "{:?}", found.percent);
    assert_eq!(whole.judged, [Judged { draws: 1, times: 5 }]);
    // Two steps bring it 24 % of the way.
    let found = Search::new(&original, &limits).descend(&judge, original.to_vec(), 2).unwrap();
    assert!(close(&found.percent, &[66.0, 34.0]), "{:?}", found.percent);
    assert!((found.missing - limits.over_price(&[66.0, 34.0])).abs() < 1e-9);
    assert!((found.cost - (24.0 + 1000.0 * found.missing)).abs() < 1e-6);
}

/// Where the margin bends, a step that goes too far is taken back and the next is shorter.
#[test]
fn a_search_ends_where_the_central_margin_is_just_met() {
    for (text, temperature_c, wax) in [
        ("beeswax 8, sunflower oil 92", 45.0, 0),
        ("sunflower oil 40, beeswax 60", 40.0, 1),
        ("candelilla wax 1, jojoba oil 99", 52.0, 0),
    ] {
        let start = bar(text);
        let ingredients: Vec<IngredientId> = start.parts.iter().map(|part| part.ingredient).collect();
        let demands = if start.parts[wax].percent < 30.0 {
            [Demand::Hold { temperature_c }]
        } else {
            [Demand::Softer { than: Firmness::Kpa(30.0), temperature_c: 25.0 }]
        };
        let judge = Judge::new(&LIBRARY, &MODEL, &options(0), &ingredients, &demands, 0.9).unwrap();
        let original: Vec<f64> = start.parts.iter().map(|part| part.percent).collect();
        let limits = Limits::free(2);
        let mut search = Search::new(&original, &limits);
        let found = search.descend(&judge, original.clone(), MAX_STEPS).unwrap();
        assert!(found.missing <= 1e-4, "{text}: {found:?}");
        assert!(found.standings[0].margin < 5e-3, "{text}: {found:?}");
        assert!(search.judged[0].times <= 14, "{text}: {:?}", search.judged);
    }
}

#[test]
fn the_first_start_and_the_best_are_followed() {
    let start = bar("beeswax 90, sunflower oil 10");
    let original = [90.0, 10.0];
    let limits = Limits { price: Some(PriceLimit { per_kg: vec![20.0, 5.0], max_per_kg: 6.5 }), ..Limits::free(2) };
    let judge = nothing_asked(&start);
    // At 10 % and below nothing is missing: 10 is the best, 6 the second.
    let starts = || [90.0, 50.0, 6.0, 10.0].iter().map(|&wax| vec![wax, 100.0 - wax]).collect::<Vec<_>>();
    let judged = |most: usize| {
        let mut search = Search::new(&original, &limits);
        let found = search.followed(&judge, starts(), most).unwrap();
        assert_eq!(found.len(), most.min(4));
        assert!(found.iter().all(|one| close(&one.percent, &[10.0, 90.0])), "{found:?}");
        search.judged[0].times
    };
    // All four are judged where some are left out. Followed: from 90 in 1 + 4 judgements, from 10 in 1, from 6 in 2, from 50 in 1 + 3.
    assert_eq!([1, 2, 3, 4, 9].map(judged), [9, 10, 12, 12, 12]);
}

#[test]
fn the_last_search_goes_on_from_the_best_and_from_each_once() {
    let start = bar("beeswax 90, sunflower oil 10");
    let original = [90.0, 10.0];
    let limits = Limits { price: Some(PriceLimit { per_kg: vec![20.0, 5.0], max_per_kg: 6.5 }), ..Limits::free(2) };
    let judge = nothing_asked(&start);
    let mut search = Search::new(&original, &limits);
    let coarse: Vec<Found> = [50.0, 10.0, 10.01, 6.0]
        .iter()
        .map(|&wax| search.found(&judge, vec![wax, 100.0 - wax], false).unwrap())
        .collect();
    search.judged.clear();
    let best = search.finish(&judge, coarse.clone(), 1).unwrap();
    assert!(close(&best.percent, &[10.0, 90.0]), "{:?}", best.percent);
    // The best of them is there already, and its neighbour is taken for the same.
    assert_eq!(search.judged, [Judged { draws: 1, times: 1 }]);
    search.judged.clear();
    search.finish(&judge, coarse.clone(), 2).unwrap();
    assert_eq!(search.judged, [Judged { draws: 1, times: 3 }]);
    search.judged.clear();
    // From 50 % it takes steps of 8, 16 and 16.
    search.finish(&judge, coarse, 3).unwrap();
    assert_eq!(search.judged, [Judged { draws: 1, times: 7 }]);
    // With none to go on from, it is the formula as it was.
    let none = search.finish(&judge, Vec::new(), 4).unwrap();
    assert!(close(&none.percent, &original), "{:?}", none.percent);
}

/// From 15 % less of the wax than there was to the 10 % that must go.
#[test]
fn polishing_takes_back_what_need_not_move() {
    let start = bar("beeswax 30, sunflower oil 70");
    let original = [30.0, 70.0];
    let limits = Limits { price: Some(PriceLimit { per_kg: vec![20.0, 5.0], max_per_kg: 8.0 }), ..Limits::free(2) };
    let judge = nothing_asked(&start);
    let mut search = Search::new(&original, &limits);
    let rough = search.found(&judge, vec![15.0, 85.0], false).unwrap();
    search.judged.clear();
    let best = search.polish(&judge, rough).unwrap();
    assert!((-1e-9..2.0 * LAST_TRANSFER).contains(&(best.cost - 10.0)) && best.missing <= MARGIN_TOLERANCE, "{best:?}");
    assert!(search.judged[0].times <= MAX_TRANSFERS, "{:?}", search.judged);
    // Up to 20.17 %: six times 0.8, 0.4 is too much, then 0.2, 0.1 and 0.05 once each. What costs too much is not judged.
    let limits = Limits {
        price: Some(PriceLimit { per_kg: vec![20.0, 5.0], max_per_kg: 5.0 + 0.15 * 20.17 }),
        ..Limits::free(2)
    };
    let mut search = Search::new(&original, &limits);
    let rough = search.found(&judge, vec![15.0, 85.0], false).unwrap();
    search.judged.clear();
    let best = search.polish(&judge, rough).unwrap();
    assert!(close(&best.percent, &[20.15, 79.85]), "{:?}", best.percent);
    assert_eq!(search.judged, [Judged { draws: 1, times: 9 }]);
    // What misses much is not polished, nor what has not moved.
    for (percent, limit) in [(vec![30.0, 70.0], 7.0), (vec![30.0, 70.0], 9.5)] {
        let limits =
            Limits { price: Some(PriceLimit { per_kg: vec![20.0, 5.0], max_per_kg: limit }), ..Limits::free(2) };
        let mut search = Search::new(&original, &limits);
        let rough = search.found(&judge, percent.clone(), false).unwrap();
        search.judged.clear();
        assert!(close(&search.polish(&judge, rough).unwrap().percent, &percent));
        assert!(search.judged.is_empty());
    }
}

/// 4 % of something dear: without it the bar costs 9.50, and 4 % have moved.
#[test]
fn polishing_leaves_out_the_little_there_is_of_something() {
    let start = bar("carnauba wax 4, beeswax 30, sunflower oil 66");
    let original = [4.0, 30.0, 66.0];
    let judge = nothing_asked(&start);
    let rough = vec![4.0, 1.0, 95.0];
    let polished = |least: f64| {
        let mut limits =
            Limits { price: Some(PriceLimit { per_kg: vec![100.0, 20.0, 5.0], max_per_kg: 9.5 }), ..Limits::free(3) };
        limits.min_percent[0] = least;
        let mut search = Search::new(&original, &limits);
        let rough = search.found(&judge, rough.clone(), false).unwrap();
        assert_eq!(rough.missing, 0.0);
        search.polish(&judge, rough).unwrap()
    };
    let best = polished(0.0);
    assert!(close(&best.percent, &[0.0, 30.0, 70.0]), "{:?}", best.percent);
    // Where some of it must stay, it stays: 15 × 25.33 % of beeswax for oil save the 3.80.
    let kept = polished(3.9);
    assert!(kept.percent[0] >= 3.9 - 1e-9 && kept.cost > 20.0, "{kept:?}");
}
