//! A formula belongs to the library it was made with, and to those made from it by adding lots.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::ops::ControlFlow;

use barwright::prelude::*;
use barwright::reformulate::adjust::{AdjustError, Least, Task};
use barwright::reformulate::explore::{ExploreError, Settings, explore};
use barwright::reformulate::limits::Limits;
use barwright::reformulate::space::Space;
use barwright::reformulate::swap::{SwapError, SwapTask, swap};

/// The built-in library with one lot.
fn with_lot(key: &str) -> Library {
    let text = format!("[lot.{key}]\nlike = 'cocoa butter'\n");
    Library::builtin().unwrap().with_lots(&text).unwrap().0
}

fn options() -> Options {
    Options { draws: 4, ..Options::default() }
}

#[test]
fn a_formula_outlives_the_lots_added_to_its_library() {
    let (plain, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
    let bar = Formula::from_parts(&plain, [("beeswax", 30.0), ("cocoa butter", 30.0), ("olive oil", 40.0)]).unwrap();
    let assessed = |library: &Library| assess(library, &model, &bar, &options()).unwrap();
    assert_eq!(assessed(&with_lot("spring")), assessed(&plain));
}

#[test]
fn a_formula_of_another_library_is_refused() {
    let (spring, autumn) = (with_lot("spring"), with_lot("autumn"));
    let model = Model::builtin().unwrap();
    let bar = Formula::from_parts(&spring, [("beeswax", 30.0), ("spring", 30.0), ("olive oil", 40.0)]).unwrap();
    assert!(assess(&spring, &model, &bar, &options()).is_ok());
    // Their lots stand in the same place.
    let lot = bar.parts[1].ingredient;
    assert_eq!((lot.index(), autumn.get(lot)), (autumn.ingredients.len() - 1, None));
    let refused = BlendError::UnknownIngredient { index: lot.index() };
    for library in [autumn, Library::builtin().unwrap()] {
        assert_eq!(assess(&library, &model, &bar, &options()).unwrap_err(), refused);
        let ingredients: Vec<_> = bar.parts.iter().map(|part| part.ingredient).collect();
        let demands = vec![Demand::Hold { temperature_c: 40.0 }];
        let limits = Limits::free(3);
        let task = Task {
            demands,
            confidence: 0.9,
            ingredients: ingredients.clone(),
            limits: limits.clone(),
            step_percent: None,
            least: Least::Moved,
        };
        let error = adjust(&library, &model, &options(), &bar, &task).unwrap_err();
        assert!(matches!(error, AdjustError::Blend(found) if found == refused));
        let task = SwapTask {
            replaced: ingredients[0],
            candidates: vec![lot],
            vegan: false,
            nut_free: false,
            step_percent: None,
        };
        let error = swap(&library, &model, &options(), &bar, &task).unwrap_err();
        assert!(matches!(error, SwapError::Blend(found) if found == refused));
        let Limits { min_percent, max_percent, .. } = limits;
        let space = Space { ingredients, min_percent, max_percent, groups: vec![], price: None };
        let settings = Settings { candidates: 8, ..Settings::default() };
        let error = explore(&library, &model, &space, &settings, &[], None, &|_| ControlFlow::Continue(()));
        assert!(matches!(error, Err(ExploreError::Blend(found)) if found == refused));
    }
}
