//! `adjust`: limits hold whatever is tried on the way.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use barwright_blend::{Model, Options};
use barwright_reference::{Library, formula};
use barwright_reformulate::adjust::{Least, Task, adjust};
use barwright_reformulate::{Demand, Limits};

/// An ingredient above its most has to give way to a trace of another, which then is tried without: the first must not come back.
#[test]
fn an_ingredient_above_its_most_stays_down_when_another_is_left_out() {
    let library = Library::builtin().expect("built-in tables are sound");
    let model = Model::builtin().expect("the built-in model is sound");
    let options = Options { draws: 2, ..Options::default() };
    let amounts =
        [("babassu oil", 14.4), ("macadamia oil", 1e-5), ("bayberry wax", 54.5), ("rice bran oil", 31.099_99)];
    for first in 0..amounts.len() {
        let mut order = amounts;
        order.rotate_left(first);
        let text = order.map(|(name, amount)| format!("{name} {amount}")).join(", ");
        let bar = formula::read_inline(&text, "bar", &library).expect(&text).formulas.remove(0);
        let place = |name: &str| order.iter().position(|(one, _)| *one == name).unwrap();
        let mut limits = Limits::free(bar.parts.len());
        limits.max_percent[place("babassu oil")] = 6.0;
        let kept = place("rice bran oil");
        (limits.min_percent[kept], limits.max_percent[kept]) = (bar.parts[kept].percent, bar.parts[kept].percent);
        let task = Task {
            demands: vec![Demand::Hold { temperature_c: -13.0 }],
            confidence: 0.5,
            ingredients: bar.parts.iter().map(|part| part.ingredient).collect(),
            limits,
            step_percent: None,
            least: Least::Moved,
        };
        let found = adjust(&library, &model, &options, &bar, &task).unwrap();
        assert!(task.limits.hold(&found.after), "{text}: {:?}", found.after);
        assert!(found.feasible, "{text}: {found:?}");
    }
}
