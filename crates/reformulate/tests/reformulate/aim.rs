//! `best` against every formula of a grid, refined around its best, on random spaces; and against the exact answer where nothing is demanded.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::ops::ControlFlow;

use barwright_blend::suitability::skin_ln_off;
use barwright_blend::{Model, Options, assess};
use barwright_reference::{Formula, IngredientId, IngredientKind, Library, Part};
use barwright_reformulate::aim::{Aim, AimError, Goal, Optimum, best};
use barwright_reformulate::explore::{Candidate, FirmnessAim, Settings, explore};
use barwright_reformulate::judge::Judge;
use barwright_reformulate::limits::price_per_kg;
use barwright_reformulate::space::{Filler, Group, Space};
use barwright_reformulate::{Demand, Firmness};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Spaces that are compared.
const SPACES: usize = 50;

/// Spacings of the grid: of the whole space, then around the best, mass %.
const GRIDS: [f64; 4] = [4.0, 1.0, 0.2, 0.04];

/// How much worse than the grid `best` may be: a share of a price or a firmness, of a unit of skin feel, of a percent moved.
const TOLERANCE: f64 = 0.002;

/// Step of the amounts, mass %.
const STEP: f64 = 0.5;

/// The aims in turn; the bar to be near to is too soft for most demands, and has something that no space has.
fn aim(number: usize, ingredients: usize) -> Aim {
    match number {
        0 => Aim::Cheapest,
        1 => Aim::Firmest,
        2 => Aim::Softest,
        3 => Aim::Glide,
        _ => Aim::Nearest { percent: [5.0, 9.0, 80.0, 1.0].into_iter().take(ingredients).collect() },
    }
}

/// A wax or two, a butter and an oil, half of them with a limit on what is dear and solid.
fn random_space(library: &Library, random: &mut Pcg64) -> Space {
    let mut pick = |kind: IngredientKind, taken: &[IngredientId]| loop {
        let id = library.id_at(random.random_range(0..library.ingredients.len())).unwrap();
        if library.get(id).unwrap().kind == kind && !taken.contains(&id) {
            return id;
        }
    };
    let wax = pick(IngredientKind::Wax, &[]);
    let mut ingredients = vec![wax, pick(IngredientKind::Butter, &[]), pick(IngredientKind::Oil, &[])];
    let second = pick(IngredientKind::Wax, &[wax]);
    let (mut min_percent, mut max_percent) = (vec![4.0, 8.0, 20.0], vec![36.0, 60.0, 80.0]);
    if random.random_range(0..2) == 0 {
        ingredients.push(second);
        min_percent.push(0.0);
        max_percent.push(16.0);
    }
    let solids = Group { name: "solids".into(), members: vec![0, 1], min_percent: 20.0, max_percent: 60.0 };
    let groups = if random.random_range(0..2) == 0 { vec![solids] } else { vec![] };
    let price = ingredients.iter().map(|_| f64::from(random.random_range(20..300)) / 10.0).collect();
    Space { ingredients, min_percent, max_percent, groups, price: Some(price) }
}

fn random_demands(random: &mut Pcg64) -> Vec<Demand> {
    let hold = Demand::Hold { temperature_c: random.random_range(34.0..46.0) };
    let than = Firmness::BeeswaxPercent(random.random_range(12.0..28.0));
    match random.random_range(0..4) {
        0 => vec![hold],
        1 => vec![hold, Demand::Melts { percent: random.random_range(55.0..75.0) }],
        2 => vec![Demand::Softer { than, temperature_c: 25.0 }, hold],
        _ => vec![Demand::Detail { relief_mm: random.random_range(0.6..2.0) }, hold],
    }
}

/// What is aimed at, read from where the model says it, not from the search; the smaller the better.
struct Told<'a> {
    library: &'a Library,
    model: &'a Model,
    space: &'a Space,
    aim: Aim,
}

impl Told<'_> {
    fn of(&self, percent: &[f64]) -> f64 {
        let bar = || {
            let parts = self.space.ingredients.iter().zip(percent).filter(|(_, percent)| **percent > 0.0);
            let parts = parts.map(|(&ingredient, &percent)| Part { ingredient, percent }).collect();
            let skin = &self.model.parameters.skin;
            let options = Options { draws: 0, at_c: vec![25.0, skin.body_c, skin.temperature_c], ..Options::default() };
            let told = assess(self.library, self.model, &Formula { name: String::new(), parts }, &options).unwrap();
            let [firm, body, face] = [0, 1, 2].map(|at| told.firmness[at].yield_stress_kpa.value);
            (firm, skin_ln_off(skin, body, face))
        };
        match &self.aim {
            Aim::Cheapest => price_per_kg(self.space.price.as_ref().unwrap(), percent),
            Aim::Firmest => -bar().0.ln(),
            Aim::Softest => bar().0.ln(),
            Aim::Glide => bar().1,
            Aim::Nearest { percent: bar } => {
                bar.iter().zip(percent).map(|(before, after)| (after - before).max(0.0)).sum()
            }
        }
    }

    /// The same of an answer.
    fn answered(&self, value: f64) -> f64 {
        match self.aim {
            Aim::Firmest => -value.ln(),
            Aim::Softest => value.ln(),
            Aim::Cheapest | Aim::Glide | Aim::Nearest { .. } => value,
        }
    }
}

/// The lowest and the highest price in a space.
fn price_range(space: &Space) -> (f64, f64) {
    let prices = space.price.iter().flatten();
    prices.fold((f64::INFINITY, 0.0), |(low, high), price| (low.min(*price), high.max(*price)))
}

/// The best of a grid ever finer, by a value of each formula that is `None` where it is not allowed.
fn grid(space: &Space, value: &dyn Fn(&[f64]) -> Option<f64>) -> Option<(f64, Vec<f64>)> {
    let free = space.ingredients.len() - 1;
    let mut found: Option<(f64, Vec<f64>)> = None;
    let mut before = 100.0;
    for spacing in GRIDS {
        let mut points: Vec<Vec<f64>> = vec![Vec::new()];
        for at in 0..free {
            let (least, most) = (space.min_percent[at], space.max_percent[at]);
            let (from, to) = match &found {
                Some((_, best)) => ((best[at] - before).max(least), (best[at] + before).min(most)),
                None => (least, most),
            };
            let count = ((to - from) / spacing + 1e-9).floor() as usize;
            let choices: Vec<f64> = (0..=count).map(|n| from + n as f64 * spacing).collect();
            points = points
                .iter()
                .flat_map(|one| choices.iter().map(move |choice| [one.as_slice(), &[*choice]].concat()))
                .collect();
        }
        for mut point in points {
            point.push(100.0 - point.iter().sum::<f64>());
            if let Some(value) = value(&point)
                && found.as_ref().is_none_or(|(best, _)| value < *best)
            {
                found = Some((value, point));
            }
        }
        found.as_ref()?;
        before = spacing;
    }
    found
}

#[test]
fn the_best_bar_is_no_worse_than_the_best_of_a_grid() {
    let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
    let mut random = Pcg64::seed_from_u64(20_261_202);
    let options = Options { draws: 0, ..Options::default() };
    let (mut compared, mut worst) = (0, [f64::NEG_INFINITY; 5]);
    while compared < SPACES {
        let space = random_space(&library, &mut random);
        let demands = random_demands(&mut random);
        let number = compared % worst.len();
        let aim = aim(number, space.ingredients.len());
        let told = Told { library: &library, model: &model, space: &space, aim };
        let judge = Judge::new(&library, &model, &options, &space.ingredients, &demands, 0.5).unwrap();
        let filler = Filler::new(&space, 20).unwrap();
        // For some, no more than halfway between the lowest price and the highest.
        let max_price = (number == 1 || number == 3).then(|| 0.5 * (price_range(&space).0 + price_range(&space).1));
        let settings = Settings { max_price, ..Settings::default() };
        let meets = |percent: &[f64]| {
            filler.contains(percent)
                && max_price.is_none_or(|most| price_per_kg(space.price.as_ref().unwrap(), percent) <= most + 1e-6)
                && judge
                    .judge_within(percent, f64::INFINITY, false)
                    .unwrap()
                    .unwrap()
                    .iter()
                    .all(|one| one.margin >= 0.0)
        };
        let Some((least, at)) = grid(&space, &|percent| meets(percent).then(|| told.of(percent))) else { continue };
        compared += 1;
        let goal = Goal { aim: told.aim.clone(), steps_percent: vec![STEP] };
        let found = best(&library, &model, &filler, &settings, &demands, &goal, &[]).unwrap();
        let Optimum { percent, value, unrounded, step_percent, agree, searches, judged } =
            found.unwrap_or_else(|| unreachable!("{compared}: the grid has one at {at:?}"));
        let (free, rounded) = (told.answered(unrounded), told.answered(value));
        let scale = if told.aim == Aim::Cheapest { least } else { 1.0 };
        println!(
            "{compared} {:?}: {least:.4} on the grid, {free:.4} found by {agree} of {searches} ({judged} judged), {rounded:.4} in steps",
            told.aim
        );
        assert!((free - least) / scale <= TOLERANCE, "{compared} {:?}: {free} where {least} is at {at:?}", told.aim);
        worst[number] = worst[number].max((free - least) / scale);
        // The bar answered is in the space, meets everything, is in whole steps and worth what is said of it.
        assert!(meets(&percent), "{compared}: {percent:?}");
        let standings = judge.judge(&percent, false).unwrap();
        assert!(standings.iter().all(|one| one.margin >= -1e-6), "{compared}: {standings:?}");
        assert!((told.of(&percent) - rounded).abs() < 1e-6, "{compared}: {} is not {rounded}", told.of(&percent));
        assert!(rounded >= free - 1e-4, "{compared}: {rounded} in steps, {free} without");
        if step_percent.is_some() {
            let whole = |one: &f64| (one / STEP - (one / STEP).round()).abs() < 1e-9;
            assert!(percent.iter().all(whole), "{compared}: {percent:?}");
            // No transfer of one step is better.
            for (from, to) in (0..percent.len()).flat_map(|from| (0..percent.len()).map(move |to| (from, to))) {
                let mut other = percent.clone();
                other[from] -= STEP;
                other[to] += STEP;
                assert!(
                    from == to || !meets(&other) || told.of(&other) >= rounded - 1e-5,
                    "{compared}: {other:?} is better than {percent:?}"
                );
            }
        }
    }
    println!("worst, over the grid: {worst:?}");
}

/// Of seven, too, no transfer of one step is better, nor is any of the best trade-offs, which are searched for in another way.
#[test]
fn no_exchange_of_one_step_is_better_on_a_whole_shelf() {
    let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
    let keys =
        ["beeswax", "candelilla-wax", "shea-butter", "mango-butter", "cocoa-butter", "sunflower-oil", "jojoba-oil"];
    let space = Space {
        ingredients: keys.iter().map(|key| library.id_of(key).unwrap()).collect(),
        min_percent: vec![0.0, 0.0, 0.0, 0.0, 0.0, 10.0, 5.0],
        max_percent: vec![35.0, 12.0, 30.0, 30.0, 25.0, 100.0, 20.0],
        groups: vec![Group { name: "butters".into(), members: vec![2, 3, 4], min_percent: 15.0, max_percent: 55.0 }],
        price: Some(vec![19.0, 24.0, 11.0, 14.0, 16.0, 5.0, 32.0]),
    };
    let demands = [Demand::Hold { temperature_c: 40.0 }, Demand::Detail { relief_mm: 0.8 }];
    let options = Options { draws: 0, ..Options::default() };
    let judge = Judge::new(&library, &model, &options, &space.ingredients, &demands, 0.5).unwrap();
    let filler = Filler::new(&space, 20).unwrap();
    let fronts = [FirmnessAim::Firmer, FirmnessAim::Softer].map(|firmness| {
        let settings = Settings { candidates: 500, firmness, ..Settings::default() };
        let go_on = |_| ControlFlow::Continue(());
        explore(&library, &model, &space, &settings, &demands, None, &go_on).unwrap().front
    });
    for number in 0..5 {
        let aim = match number {
            4 => Aim::Nearest { percent: vec![10.0, 0.0, 30.0, 0.0, 0.0, 60.0, 0.0] },
            number => aim(number, 0),
        };
        let told = Told { library: &library, model: &model, space: &space, aim };
        let goal = Goal { aim: told.aim.clone(), steps_percent: vec![STEP] };
        let found = best(&library, &model, &filler, &Settings::default(), &demands, &goal, &[]).unwrap().unwrap();
        let value = told.answered(found.value);
        let property = |one: &Candidate| match &told.aim {
            Aim::Cheapest => one.properties.price.unwrap(),
            Aim::Firmest => -one.properties.firmness_kpa.ln(),
            Aim::Softest => one.properties.firmness_kpa.ln(),
            Aim::Glide => one.properties.skin_ln_off,
            Aim::Nearest { .. } => told.of(&one.percent),
        };
        let known = fronts.iter().flatten().map(property).fold(f64::INFINITY, f64::min);
        let free = told.answered(found.unrounded);
        println!("{:?}: {known:.4} on the front, {free:.4} found, {value:.4} in steps", goal.aim);
        assert!(free <= known + 1e-6, "{:?}: {free} where {known} is known", goal.aim);
        for (from, to) in (0..7).flat_map(|from| (0..7).map(move |to| (from, to))) {
            let mut other = found.percent.clone();
            other[from] -= STEP;
            other[to] += STEP;
            let meets = || judge.judge(&other, false).unwrap().iter().all(|one| one.margin >= 0.0);
            let better = from != to && filler.contains(&other) && told.of(&other) < value - 1e-5 && meets();
            assert!(!better, "{other:?} is better than {:?}", found.percent);
        }
    }
}

/// Without a demand the cheapest bar is filled from the cheapest ingredient up, each to its most: 50 spaces.
#[test]
fn the_cheapest_bar_of_all_is_filled_from_the_cheapest_up() {
    let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
    let mut random = Pcg64::seed_from_u64(7);
    for number in 0..SPACES {
        let space = Space { groups: vec![], ..random_space(&library, &mut random) };
        let price = space.price.clone().unwrap();
        let mut exact = space.min_percent.clone();
        let mut order: Vec<usize> = (0..exact.len()).collect();
        order.sort_by(|&a, &b| price[a].total_cmp(&price[b]));
        for at in order {
            let left = 100.0 - exact.iter().sum::<f64>();
            exact[at] += left.min(space.max_percent[at] - exact[at]);
        }
        let filler = Filler::new(&space, 20).unwrap();
        let goal = Goal { aim: Aim::Cheapest, steps_percent: vec![STEP] };
        let found = best(&library, &model, &filler, &Settings::default(), &[], &goal, &[]).unwrap().unwrap();
        let exact = price_per_kg(&price, &exact);
        assert!((found.value - exact).abs() < 1e-6 * exact, "{number}: {} where {exact} do", found.value);
    }
}

#[test]
fn what_cannot_be_aimed_at_is_refused() {
    let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
    let space = Space { price: None, ..random_space(&library, &mut Pcg64::seed_from_u64(1)) };
    let filler = Filler::new(&space, 20).unwrap();
    let aimed = |aim, demands: &[Demand]| {
        let goal = Goal { aim, steps_percent: vec![STEP] };
        best(&library, &model, &filler, &Settings::default(), demands, &goal, &[])
    };
    assert_eq!(aimed(Aim::Cheapest, &[]), Err(AimError::NoPrices));
    let expected = space.ingredients.len();
    assert_eq!(aimed(Aim::Nearest { percent: vec![10.0] }, &[]), Err(AimError::NoBar { found: 1, expected }));
    assert_eq!(aimed(Aim::Firmest, &[Demand::Hold { temperature_c: 110.0 }]), Ok(None));
}
