//! Every figure of an assessment is one, whatever the blend.

use std::collections::BTreeMap;

use barwright_blend::{Options, assess, compare};
use barwright_reference::{Formula, Part};
use proptest::prelude::*;

use crate::kit::figures::faults;
use crate::kit::random;
use crate::{LIBRARY, MODEL};

/// What a blend may not have: those that are liquid, or too soft for a test.
const MAY_LACK: [&str; 8] = [
    "softening_c",
    "slip_point_c",
    "drop_point_c",
    "melt_end_c",
    "clear_point_c",
    "hold_c",
    "finest_feature_mm",
    "needle_dmm",
];

/// Temperatures of the tables: from a store to the end of the model, and about the melting of beeswax.
const AT_C: [f64; 9] = [-20.0, 0.0, 20.0, 35.0, 58.0, 62.0, 65.0, 70.0, 120.0];

fn options(draws: usize) -> Options {
    Options { at_c: AT_C.to_vec(), draws, ..Options::default() }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn of_random_blends(seed in 0_u64..1_000_000, trace in prop_oneof![Just(1.0), Just(1e-6), Just(1e-12), Just(1e-18)]) {
        let mut generator = random::generator(seed);
        let mut formula = random::formula(&mut generator, &LIBRARY, 8);
        formula.parts[0].percent *= trace;
        let options = Options { state: random::state(&mut generator), ..options(6) };
        let found = assess(&LIBRARY, &MODEL, &formula, &options).unwrap();
        prop_assert_eq!(faults(&found, &MAY_LACK), Vec::<String>::new(), "{:?}", formula);
    }
}

#[test]
fn of_every_ingredient_alone_and_beside_the_usual_bar() {
    let one = |index: usize| {
        let ingredient = LIBRARY.id_at(index).unwrap();
        Formula { name: String::new(), parts: vec![Part { ingredient, percent: 100.0 }] }
    };
    let fats: Vec<usize> =
        (0..LIBRARY.ingredients.len()).filter(|&i| LIBRARY.ingredients[i].powder.is_none()).collect();
    for (&index, &next) in fats.iter().zip(fats.iter().cycle().skip(1)) {
        let both = [one(index), one(next)];
        let found = compare(&LIBRARY, &MODEL, &both, &options(4)).unwrap();
        let nulls: Vec<&str> = MAY_LACK.into_iter().chain(["values"]).collect();
        assert_eq!(faults(&found, &nulls), Vec::<String>::new(), "{}", LIBRARY.ingredients[index].key);
    }
}

#[test]
fn what_is_no_figure_is_found() {
    let estimate = |value: f64, low: f64, high: f64| BTreeMap::from([("value", value), ("low", low), ("high", high)]);
    assert!(faults(&BTreeMap::from([("melted_percent", estimate(40.0, 30.0, 50.0))]), &[]).is_empty());
    for (value, low, high) in [(60.0, 30.0, 50.0), (20.0, 30.0, 50.0), (f64::NAN, 30.0, 50.0), (40.0, 30.0, 101.0)] {
        let found = faults(&BTreeMap::from([("melted_percent", estimate(value, low, high))]), &[]);
        assert!(!found.is_empty(), "{value} {low} {high}");
    }
    for (key, number, sound) in [
        ("kpa", f64::INFINITY, false),
        ("kpa", f64::NAN, false),
        ("kpa", -0.0, false),
        ("kpa", -3.0, true),
        ("probability_before", 1.2, false),
        ("probability", 1.0, true),
        ("grain_risk", -0.1, false),
        ("percent", 100.1, false),
        ("to_percent", -0.1, false),
        ("firmness_percent", -7.0, true),
    ] {
        assert_eq!(faults(&BTreeMap::from([(key, vec![number])]), &[]).is_empty(), sound, "{key} {number}");
    }
    let none = BTreeMap::from([("hold_c", None::<f64>)]);
    assert_eq!(faults(&none, &[]), [".hold_c is null"]);
    assert!(faults(&none, &["hold_c"]).is_empty());
}
