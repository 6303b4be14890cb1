//! `explore`: the same figures as `assess`, the same bytes for any number of threads and wherever it was interrupted.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::ops::ControlFlow;
use std::sync::{LazyLock, Mutex};

use barwright_blend::equilibrium::HIGHEST_TEMPERATURE_K;
use barwright_blend::{Model, Options, assess};
use barwright_reference::{Formula, IngredientId, IngredientKind, Library, Part};
use barwright_reformulate::explore::{Exploration, ExploreError, FirmnessAim, Progress, Settings, explore};
use barwright_reformulate::front::dominates;
use barwright_reformulate::space::{Filler, Group, Space, SpaceError};
use barwright_reformulate::{Demand, DemandError, Firmness};

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().expect("built-in tables are sound"));
static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().expect("the built-in model is sound"));

fn space_of(keys: &[&str]) -> Space {
    let find = |key: &&str| LIBRARY.id_of(key).expect("in the table");
    let ingredients: Vec<IngredientId> = keys.iter().map(find).collect();
    let count = ingredients.len();
    Space { ingredients, min_percent: vec![0.0; count], max_percent: vec![100.0; count], groups: vec![], price: None }
}

/// Three waxes, two of them with alkanes of other lengths, butters and oils.
fn shelf() -> Space {
    let mut space = space_of(&[
        "beeswax",
        "candelilla-wax",
        "carnauba-wax",
        "cocoa-butter",
        "shea-butter",
        "sunflower-oil",
        "jojoba-oil",
    ]);
    space.groups.push(Group { name: "waxes".into(), members: vec![0, 1, 2], min_percent: 10.0, max_percent: 35.0 });
    space.max_percent[4] = 40.0;
    space.price = Some(vec![18.0, 25.0, 14.0, 12.0, 9.0, 4.0, 30.0]);
    space
}

fn settings(candidates: usize, refine_rounds: usize) -> Settings {
    Settings { candidates, refine_rounds, ..Settings::default() }
}

fn run(space: &Space, settings: &Settings, demands: &[Demand]) -> Result<Exploration, ExploreError> {
    explore(&LIBRARY, &MODEL, space, settings, demands, None, &|_| ControlFlow::Continue(()))
}

fn resumed(space: &Space, settings: &Settings, previous: Exploration) -> Exploration {
    explore(&LIBRARY, &MODEL, space, settings, &[], Some(previous), &|_| ControlFlow::Continue(())).unwrap()
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-3 * b.abs()
}

#[track_caller]
fn same_as_assess(space: &Space, settings: &Settings, found: &Exploration, every: usize) {
    let options = Options {
        at_c: vec![settings.firmness_at_c, MODEL.parameters.skin.body_c],
        draws: 0,
        ..settings.options.clone()
    };
    let skin = &MODEL.parameters.skin;
    for one in found.front.iter().step_by(every) {
        let parts = space.ingredients.iter().zip(&one.percent).filter(|(_, percent)| **percent > 0.0);
        let parts = parts.map(|(&ingredient, &percent)| Part { ingredient, percent }).collect();
        let formula = Formula { name: String::new(), parts };
        let told = assess(&LIBRARY, &MODEL, &formula, &options).unwrap();
        let got = &one.properties;
        assert!(near(got.firmness_kpa, told.firmness[0].yield_stress_kpa.value), "{got:?}");
        match (got.hold_c, told.warmth.hold_c) {
            (Some(got), Some(told)) => assert!(near(got, told.value), "{got} {told:?}"),
            (got, told) => assert!(got.is_none() && told.is_none(), "{got:?} {told:?}"),
        }
        match told.detail.finest_feature_mm {
            Some(told) => assert!(near(got.finest_mm, told.value)),
            None => assert!(got.finest_mm >= 1000.0),
        }
        let [body, face] =
            [&told.firmness[1].yield_stress_kpa, &told.skin.yield_stress_kpa].map(|one| one.value.max(1e-6));
        let off = (skin.smears_below_kpa / body).ln().max((face / skin.drags_above_kpa).ln());
        assert!((got.skin_ln_off - off).abs() <= 1e-3, "{got:?} {off}");
    }
}

#[test]
fn figures_are_those_of_assess() {
    let space = shelf();
    for options in [
        Options::default(),
        Options { state: barwright_reference::CrystalState::Tempered, release_c: 12.0, ..Options::default() },
        Options { state: barwright_reference::CrystalState::Fresh, ..Options::default() },
    ] {
        let settings = Settings { options, ..settings(600, 1) };
        let found = run(&space, &settings, &[]).unwrap();
        assert!(found.front.len() > 20, "{}", found.front.len());
        assert!(found.front.iter().any(|one| one.percent.contains(&0.0)));
        same_as_assess(&space, &settings, &found, 3);
    }
}

#[test]
fn the_front_is_one_lies_in_the_space_and_has_the_best_of_what_was_judged() {
    let (space, settings) = (shelf(), settings(1500, 2));
    let found = run(&space, &settings, &[]).unwrap();
    let filler = Filler::new(&space, settings.seed).unwrap();
    let scores: Vec<_> = found.front.iter().map(|one| one.properties.scores(FirmnessAim::Firmer)).collect();
    for (one, a) in found.front.iter().zip(&scores) {
        assert!(filler.contains(&one.percent), "{:?}", one.percent);
        assert!(scores.iter().all(|b| !dominates(b, a)));
    }
    assert!(found.finished && found.judged > 1500 && found.rejected == 0);
    // Refinement only adds: whatever the points of the space reached is there, or something at least as good.
    let plain = run(&space, &Settings { refine_rounds: 0, ..settings }, &[]).unwrap();
    assert_eq!(plain.judged, 1500);
    for one in &plain.front {
        let own = one.properties.scores(FirmnessAim::Firmer);
        assert!(scores.iter().any(|other| *other == own || dominates(other, &own)));
    }
    let better = scores
        .iter()
        .filter(|a| plain.front.iter().any(|one| dominates(a, &one.properties.scores(FirmnessAim::Firmer))));
    assert!(better.count() > 10);
    let few = found.thinned(12, FirmnessAim::Firmer);
    assert_eq!(few.len(), 12);
    assert_eq!(few[0], found.front[0]);
}

#[test]
fn softer_is_the_other_way() {
    let space = shelf();
    let best = |firmness: FirmnessAim| {
        let found = run(&space, &Settings { firmness, ..settings(500, 0) }, &[]).unwrap();
        found.front[0].properties.firmness_kpa
    };
    assert!(best(FirmnessAim::Firmer) > 10.0 * best(FirmnessAim::Softer));
}

#[test]
fn demands_are_met() {
    let space = shelf();
    let demands = [
        Demand::Hold { temperature_c: 42.0 },
        Demand::Detail { relief_mm: 1.0 },
        Demand::Melts { percent: 40.0 },
        Demand::Softer { than: Firmness::BeeswaxPercent(30.0), temperature_c: 30.0 },
        Demand::Firmer { than: Firmness::Kpa(20.0), temperature_c: 25.0 },
        Demand::Firmer { than: Firmness::BeeswaxPercent(4.0), temperature_c: 20.0 },
    ];
    let settings = Settings { max_price: Some(12.0), ..settings(3000, 1) };
    let found = run(&space, &settings, &demands).unwrap();
    assert!(found.front.len() > 5, "{}", found.front.len());
    let options = Options { at_c: vec![30.0, 25.0, 20.0], draws: 0, ..Options::default() };
    for one in found.front.iter().step_by(4) {
        let parts = space.ingredients.iter().zip(&one.percent);
        let parts = parts.map(|(&ingredient, &percent)| Part { ingredient, percent }).collect();
        let told = assess(&LIBRARY, &MODEL, &Formula { name: String::new(), parts }, &options).unwrap();
        assert!(told.warmth.hold_c.unwrap().value > 41.99 && told.detail.finest_feature_mm.unwrap().value < 1.001);
        assert!(told.skin.melted_percent.value > 39.99);
        assert!(told.firmness[0].beeswax_equivalent.percent().unwrap().value < 30.1);
        assert!(told.firmness[1].yield_stress_kpa.value > 19.99);
        assert!(told.firmness[2].beeswax_equivalent.percent().unwrap().value > 3.9);
        assert!(one.properties.price.unwrap() <= 12.0);
    }
    let impossible = run(&space, &settings, &[Demand::Hold { temperature_c: 110.0 }]).unwrap();
    assert!(impossible.finished && impossible.front.is_empty());
    let limit_c = HIGHEST_TEMPERATURE_K - 273.15;
    let beyond = run(&space, &settings, &[Demand::Hold { temperature_c: limit_c + 1.0 }]);
    assert!(matches!(beyond, Err(ExploreError::Blend(_))));
}

#[test]
fn a_firmness_that_no_beeswax_has_is_refused() {
    let asked = |percent: f64, temperature_c: f64| {
        let demands = [
            Demand::Firmer { than: Firmness::BeeswaxPercent(30.0), temperature_c: 20.0 },
            Demand::Softer { than: Firmness::BeeswaxPercent(percent), temperature_c },
        ];
        run(&shelf(), &settings(20, 0), &demands).map(|found| found.finished)
    };
    assert_eq!(asked(100.0, 20.0), Ok(true));
    for percent in [0.0, -1.0, 100.1, f64::NAN, f64::INFINITY] {
        assert!(
            matches!(asked(percent, 20.0), Err(ExploreError::Demand(DemandError::NoPercentage { .. }))),
            "{percent}"
        );
    }
    for (percent, temperature_c) in [(100.0, 70.0), (1.0, 60.0)] {
        let liquid = DemandError::BeeswaxIsLiquid { percent, temperature_c };
        assert_eq!(asked(percent, temperature_c), Err(ExploreError::Demand(liquid)));
    }
}

#[test]
fn any_number_of_threads_gives_the_same() {
    let (space, settings) = (shelf(), settings(5000, 2));
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| run(&space, &settings, &[]).unwrap())
    };
    let one = with(1);
    assert_eq!(one, with(2));
    assert_eq!(one, with(3));
}

#[test]
fn stopped_anywhere_and_resumed_gives_the_same() {
    let (space, settings) = (shelf(), settings(9000, 3));
    let told = Mutex::new(Vec::new());
    let count = |progress: Progress| {
        told.lock().unwrap().push(progress);
        ControlFlow::Continue(())
    };
    let unbroken = explore(&LIBRARY, &MODEL, &space, &settings, &[], None, &count).unwrap();
    // Points of the space 4,096 at a time, then 16 from each of 256 members of the front, three times.
    let told = told.into_inner().unwrap();
    let done: Vec<u64> = told.iter().map(|one| one.done).collect();
    assert_eq!(done, [4096, 8192, 9000, 9000 + 4096, 9000 + 2 * 4096, 9000 + 3 * 4096]);
    assert!(told.iter().all(|one| one.total == 9000 + 3 * 4096));
    assert_eq!(told[5].front, unbroken.front.len());
    // Stopped after every chunk.
    let mut state = None;
    let mut times = 0;
    loop {
        let found = explore(&LIBRARY, &MODEL, &space, &settings, &[], state, &|_| ControlFlow::Break(())).unwrap();
        times += 1;
        assert!(!found.front.is_empty());
        if found.finished {
            assert_eq!(found, unbroken);
            break;
        }
        assert!(times < 6);
        state = Some(found);
    }
    assert_eq!(times, 6);
}

#[test]
fn extended_gives_the_same_as_all_at_once() {
    let space = shelf();
    let unbroken = run(&space, &settings(2500, 3), &[]).unwrap();
    let fewer = run(&space, &settings(1000, 2), &[]).unwrap();
    assert!(fewer.finished);
    let more = resumed(&space, &settings(2500, 1), fewer);
    assert_ne!(more, unbroken);
    assert_eq!(resumed(&space, &settings(2500, 3), more), unbroken);
    // Nothing to do.
    assert_eq!(resumed(&space, &settings(2500, 3), unbroken.clone()), unbroken);
    let other = Settings { seed: 21, ..settings(2500, 3) };
    let refused = explore(&LIBRARY, &MODEL, &space, &other, &[], Some(unbroken), &|_| ControlFlow::Continue(()));
    assert_eq!(refused, Err(ExploreError::OtherExploration));
}

#[test]
fn one_point_no_volume_and_no_formula() {
    let mut space = space_of(&["beeswax", "sunflower-oil"]);
    (space.min_percent, space.max_percent) = (vec![20.0, 80.0], vec![20.0, 80.0]);
    let one = run(&space, &settings(10_000, 5), &[]).unwrap();
    assert_eq!((one.judged, one.front.len(), one.finished), (1, 1, true));
    assert_eq!(one.front[0].percent, [20.0, 80.0]);
    assert_eq!(one.front[0].properties.price, None);
    same_as_assess(&space, &settings(1, 0), &one, 1);

    let mut flat = space_of(&["beeswax", "cocoa-butter", "sunflower-oil"]);
    (flat.min_percent[1], flat.max_percent[1]) = (30.0, 30.0);
    let found = run(&flat, &settings(300, 2), &[]).unwrap();
    assert!(found.front.len() > 1 && found.front.iter().all(|one| one.percent[1] == 30.0));

    space.max_percent = vec![20.0, 70.0];
    space.min_percent = vec![0.0, 0.0];
    let none = run(&space, &settings(10, 0), &[]);
    assert_eq!(none, Err(ExploreError::Space(SpaceError::MostUnderWhole { sum: 90.0 })));
    assert_eq!(run(&shelf(), &settings(0, 3), &[]).unwrap().front, []);
}

#[test]
fn crossing_groups_reject_some_candidates() {
    let mut space = shelf();
    space.groups.push(Group { name: "local".into(), members: vec![0, 5], min_percent: 40.0, max_percent: 80.0 });
    let found = run(&space, &settings(600, 2), &[]).unwrap();
    assert!(found.rejected > 50 && found.judged > 600 - found.rejected, "{found:?}");
    let filler = Filler::new(&space, 0).unwrap();
    assert!(found.front.len() > 5 && found.front.iter().all(|one| filler.contains(&one.percent)));
    let plain = run(&space, &settings(600, 0), &[]).unwrap();
    assert_eq!((plain.judged + plain.rejected, plain.rejected), (600, found.rejected));
}

#[test]
fn forty_ingredients() {
    let count = 40.min(LIBRARY.ingredients.len());
    assert_eq!(count, 40);
    let waxes = (0..count).filter(|&i| LIBRARY.ingredients[i].kind == IngredientKind::Wax).collect();
    let space = Space {
        ingredients: LIBRARY.by_id().map(|(id, _)| id).take(count).collect(),
        min_percent: vec![0.0; count],
        max_percent: vec![100.0; count],
        groups: vec![Group { name: "waxes".into(), members: waxes, min_percent: 20.0, max_percent: 35.0 }],
        price: None,
    };
    let settings = settings(400, 1);
    let found = run(&space, &settings, &[]).unwrap();
    let filler = Filler::new(&space, 0).unwrap();
    assert!(found.front.len() > 3 && found.front.iter().all(|one| filler.contains(&one.percent)));
    same_as_assess(&space, &settings, &found, 4);
}

#[test]
fn powder_alone_is_no_candidate_and_ends_nothing() {
    let mut space = space_of(&["kaolin", "mica", "beeswax"]);
    space.max_percent[2] = 0.0;
    let found = run(&space, &settings(16, 0), &[]).unwrap();
    assert!(found.front.is_empty(), "{:?}", found.front);
}
