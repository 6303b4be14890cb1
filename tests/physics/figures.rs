//! Every figure of an assessment is one, whatever the blend.

use barwright_blend::{Options, assess, compare};
use barwright_reference::{Formula, Part};
use barwright_testkit::figures::faults;
use barwright_testkit::random;
use proptest::prelude::*;

use crate::{LIBRARY, PARAMETERS};

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
        let found = assess(&LIBRARY, &PARAMETERS, &formula, &options).unwrap();
        prop_assert_eq!(faults(&found, &MAY_LACK), Vec::<String>::new(), "{:?}", formula);
    }
}

#[test]
fn of_every_ingredient_alone_and_beside_the_usual_bar() {
    let one = |index: usize| Formula { name: String::new(), parts: vec![Part { ingredient: index, percent: 100.0 }] };
    for index in 0..LIBRARY.ingredients.len() {
        let both = [one(index), one((index + 1) % LIBRARY.ingredients.len())];
        let found = compare(&LIBRARY, &PARAMETERS, &both, &options(4)).unwrap();
        let nulls: Vec<&str> = MAY_LACK.into_iter().chain(["values"]).collect();
        assert_eq!(faults(&found, &nulls), Vec::<String>::new(), "{}", LIBRARY.ingredients[index].key);
    }
}
