//! Formulas assessed and compared.

use arbitrary::{Result, Unstructured};
use barwright_blend::BlendError;
use barwright_blend::beeswax::NEAT_PERCENT;
use barwright_blend::{Assessment, Options};
use barwright_reference::{Formula, Library};

use crate::claims;
use crate::task::{self, MODEL};

/// Draws of one input.
const MAX_DRAWS: usize = 8;

/// Parts of one formula.
const MAX_PARTS: usize = 8;

/// Solids may rise by this from one temperature to the next, mass %: the equilibrium is solved to less (`tests/physics`).
const SOLIDS_PERCENT: f64 = 1e-7;

/// A landmark may be this far on the wrong side of another, K (`tests/physics`).
const LANDMARK_K: f64 = 0.05;

/// One formula.
pub fn assess(data: &[u8]) -> u64 {
    assess_drawn(&mut Unstructured::new(data)).unwrap_or(0)
}

fn assess_drawn(bytes: &mut Unstructured<'_>) -> Result<u64> {
    let library = task::library(bytes)?;
    let options = task::options(bytes, MAX_DRAWS)?;
    let formula = task::formula(bytes, library, MAX_PARTS)?;
    task::show(&(&options, &formula));
    let answer = match barwright_blend::assess(library, &MODEL, &formula, &options) {
        Err(BlendError::OnlyPowder) => return Ok(1),
        answer => answer.expect("any formula is assessed"),
    };
    Ok(sound(library, &formula, &options, &answer))
}

/// Checks an assessment, and returns its digest.
pub fn sound(library: &Library, formula: &Formula, options: &Options, answer: &Assessment) -> u64 {
    claims::figures(&serde_json::to_value(answer).expect("JSON"));
    claims::shares(answer.formula.parts.iter().map(|part| part.percent));
    assert_eq!(answer.formula.parts.len(), formula.parts.len(), "a part was lost");
    assert!(answer.formula.parts.iter().all(|part| library.ingredient(&part.ingredient).is_some()));
    let mut solids: Vec<(f64, f64)> = answer.solids.iter().map(|one| (one.temperature_c, one.percent.value)).collect();
    for one in &answer.solids {
        claims::within("solids, %", one.percent.low, -SOLIDS_PERCENT, 100.0 + SOLIDS_PERCENT);
        claims::within("solids, %", one.percent.high, -SOLIDS_PERCENT, 100.0 + SOLIDS_PERCENT);
    }
    solids.sort_by(|a, b| a.0.total_cmp(&b.0));
    for two in solids.windows(2) {
        assert!(two[1].1 <= two[0].1 + SOLIDS_PERCENT, "solids rise with temperature: {two:?}");
    }
    for one in &answer.firmness {
        assert!(one.yield_stress_kpa.low >= 0.0, "{one:?}");
        if let Some(percent) = one.beeswax_equivalent.percent() {
            claims::within("as much beeswax, %", percent.low, 0.0, NEAT_PERCENT);
            claims::within("as much beeswax, %", percent.high, 0.0, NEAT_PERCENT);
        }
    }
    let melt = &answer.melt;
    let above = [melt.slip_point_c, melt.drop_point_c, melt.clear_point_c];
    for (lower, upper) in above.iter().zip(&above[1..]).filter_map(|(a, b)| Some((a.as_ref()?, b.as_ref()?))) {
        assert!(lower.value <= upper.value + LANDMARK_K, "landmarks out of order: {melt:?}");
    }
    if let (Some(end), Some(clear)) = (melt.melt_end_c, melt.clear_point_c) {
        assert!(end.value <= clear.value + LANDMARK_K, "melting ends above the clear point: {melt:?}");
    }
    claims::within("melted on skin, %", answer.skin.melted_percent.low, -SOLIDS_PERCENT, 100.0 + SOLIDS_PERCENT);
    claims::within("melted on skin, %", answer.skin.melted_percent.high, -SOLIDS_PERCENT, 100.0 + SOLIDS_PERCENT);
    claims::within("risk of grain", answer.grain.risk.low, 0.0, 1.0);
    claims::within("risk of grain", answer.grain.risk.high, 0.0, 1.0);
    claims::within("symmetric, %", answer.grain.symmetric_percent, 0.0, 100.0 + claims::SUM_PERCENT);
    claims::within("wax, %", answer.grain.wax_percent, 0.0, 100.0 + claims::SUM_PERCENT);
    assert!(answer.cautions.iter().all(|caution| !caution.text.trim().is_empty()), "an empty caution");
    assert_eq!((answer.draws, answer.seed, answer.state), (options.draws, options.seed, options.state));
    claims::digest((
        [melt.softening_c, melt.slip_point_c, melt.drop_point_c, melt.melt_end_c, melt.clear_point_c]
            .map(|c| c.is_some()),
        (
            answer.detail.verdict as u8,
            answer.warmth.verdict as u8,
            answer.skin.verdict as u8,
            answer.grain.verdict as u8,
        ),
        (answer.detail.finest_feature_mm.is_some(), answer.warmth.hold_c.is_some(), answer.cautions.len()),
        answer.firmness.iter().map(|one| one.needle_dmm.is_some()).collect::<Vec<_>>(),
    ))
}

/// Formulas side by side.
pub fn compare(data: &[u8]) -> u64 {
    compare_drawn(&mut Unstructured::new(data)).unwrap_or(0)
}

fn compare_drawn(bytes: &mut Unstructured<'_>) -> Result<u64> {
    let library = task::library(bytes)?;
    let options = task::options(bytes, MAX_DRAWS)?;
    let count = bytes.int_in_range(2..=4)?;
    let mut formulas = Vec::with_capacity(count);
    for _ in 0..count {
        formulas.push(task::formula(bytes, library, MAX_PARTS)?);
    }
    task::show(&(&options, &formulas));
    let found = match barwright_blend::compare(library, &MODEL, &formulas, &options) {
        Err(BlendError::OnlyPowder) => return Ok(1),
        found => found.expect("formulas are compared"),
    };
    claims::figures(&serde_json::to_value(&found).expect("JSON"));
    for (answer, formula) in found.formulas.iter().zip(&formulas) {
        sound(library, formula, &options, answer);
        let alone = barwright_blend::assess(library, &MODEL, formula, &options).expect("any formula is assessed");
        assert_eq!(serde_json::to_value(&alone).ok(), serde_json::to_value(answer).ok(), "another answer than alone");
    }
    for one in &found.differences {
        assert_eq!(one.values.len(), count, "{one:?}");
        assert!(one.steps.is_finite() && one.steps >= 0.0, "{one:?}");
        for chances in [&one.probability_highest, &one.probability_lowest] {
            let sum: f64 = chances.iter().sum();
            assert!(chances.len() == count && (sum - 1.0).abs() < claims::SUM_PERCENT, "{one:?}");
        }
    }
    Ok(claims::digest(
        found.differences.iter().map(|one| (std::mem::discriminant(&one.property), one.decisive)).collect::<Vec<_>>(),
    ))
}
