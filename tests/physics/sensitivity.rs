//! Exact derivatives against differences of whole solutions, on random blends.

use barwright_blend::assess::Workbench;
use barwright_blend::{Assessment, Model, Options, sensitivity};
use barwright_reference::{CrystalState, Formula, Library, Part};
use proptest::prelude::*;

/// Half width of the central difference, % of the bar.
const STEP: f64 = 0.02;

/// A landmark that moves faster than this lies on a plateau, K per % of the bar.
const PLATEAU_K: f64 = 5.0;

/// Temperatures compared, °C.
const AT_C: [f64; 3] = [10.0, 25.0, 40.0];

fn bench<'a>(library: &'a Library, model: &'a Model, state: CrystalState) -> Workbench<'a> {
    let options = Options { at_c: AT_C.to_vec(), state, draws: 0, ..Options::default() };
    Workbench::new(library, model, options).unwrap()
}

/// The formula with `step` % of the bar more of part `raised`, all scaled back to 100 %.
fn moved(formula: &Formula, raised: usize, step: f64) -> Formula {
    let mut formula = formula.clone();
    formula.parts[raised].percent += step;
    for part in &mut formula.parts {
        part.percent *= 100.0 / (100.0 + step);
    }
    formula
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn effects_are_the_differences_of_solutions(
        picks in proptest::sample::subsequence(crate::LIBRARY.by_id().map(|(id, _)| id).collect::<Vec<_>>(), 3..6),
        weights in proptest::collection::vec(5.0_f64..60.0, 6),
        state in proptest::sample::select(CrystalState::ALL.to_vec()),
    ) {
        // Powder alone is no bar.
        prop_assume!(picks.iter().any(|id| crate::LIBRARY.get(*id).is_some_and(|one| one.powder.is_none())));
        let total: f64 = weights[..picks.len()].iter().sum();
        let parts = picks.iter().zip(&weights).map(|(&ingredient, weight)| Part { ingredient, percent: 100.0 * weight / total });
        let formula = Formula { name: String::new(), parts: parts.collect() };
        let bench = bench(&crate::LIBRARY, &crate::MODEL, state);
        let effects = sensitivity::effects(&bench, &formula).unwrap();
        // On a plateau a landmark is known no better than the tolerance of its root, and its slope not at all.
        let steep = |of: fn(&sensitivity::Effect) -> Option<f64>| effects.iter().all(|one| of(one).is_none_or(|rate| rate.abs() < PLATEAU_K));
        let (steep_hold, steep_slip) = (steep(|one| one.hold_k), steep(|one| one.slip_point_k));
        for (raised, effect) in effects.iter().enumerate() {
            let ends = [-STEP, STEP].map(|step| bench.assess(&moved(&formula, raised, step)).unwrap());
            let middle = bench.assess(&formula).unwrap();
            let slope = |of: &dyn Fn(&Assessment) -> f64| {
                let (low, at, high) = (of(&ends[0]), of(&middle), of(&ends[1]));
                // One-sided slopes that disagree: a crystal appears in between, and there is no derivative to compare.
                let (left, right) = ((at - low) / STEP, (high - at) / STEP);
                let bend = (left - right).abs();
                (bend <= 0.05 * (left.abs() + right.abs()) + 1e-3).then_some((0.5 * (left + right), bend))
            };
            let near = |what: &str, found: f64, expected: Option<(f64, f64)>| {
                let Some((expected, bend)) = expected else { return Ok(()) };
                let allowed = bend + 0.01 * expected.abs() + 5e-3;
                prop_assert!((found - expected).abs() <= allowed, "{what}: {found} against {expected}");
                Ok(())
            };
            for (index, &found) in effect.firmness_percent.iter().enumerate() {
                if middle.firmness[index].yield_stress_kpa.value > 1e-3 {
                    near("firmness", found, slope(&|one| 100.0 * one.firmness[index].yield_stress_kpa.value.ln()))?;
                }
            }
            near("melted", effect.melted_points, slope(&|one| one.skin.melted_percent.value))?;
            if let (Some(found), Some(_), true) = (effect.hold_k, middle.warmth.hold_c, steep_hold) {
                near("hold", found, slope(&|one| one.warmth.hold_c.map_or(f64::NAN, |hold| hold.value)))?;
            }
            if let (Some(found), Some(_), true) = (effect.slip_point_k, middle.melt.slip_point_c, steep_slip) {
                near("slip", found, slope(&|one| one.melt.slip_point_c.map_or(f64::NAN, |slip| slip.value)))?;
            }
            if let (Some(found), Some(finest)) = (effect.finest_feature_percent, middle.detail.finest_feature_mm)
                && finest.value < 100.0
            {
                near("relief", found, slope(&|one| one.detail.finest_feature_mm.map_or(f64::NAN, |mm| 100.0 * mm.value.ln())))?;
            }
        }
    }
}
