//! Formulas changed on demand: smallest changes, replacements, trade-offs.

use std::ops::ControlFlow;

use arbitrary::{Result, Unstructured};
use barwright_blend::BlendError;
use barwright_blend::property::Property;
use barwright_blend::{Options, assess};
use barwright_reference::{Formula, IngredientId, Library, NutOrigin, Origin};
use barwright_reformulate::adjust::{AdjustError, Least, Met, Task};
use barwright_reformulate::explore::{ExploreError, FirmnessAim, Settings};
use barwright_reformulate::judge::{Judge, MARGIN_TOLERANCE, TRACE_PERCENT};
use barwright_reformulate::limits::{PriceLimit, SUM_TOLERANCE_PERCENT};
use barwright_reformulate::swap::{Kept, Replacement, SwapError, SwapTask};
use barwright_reformulate::{Adjustment, Demand, Firmness, Limits, Space};

use crate::task::{self, MODEL, MODEL_C};
use crate::{assessing, claims};

/// Draws of one change: few, so that an input is short.
const MAX_DRAWS: usize = 8;

/// Parts of a formula that is changed.
const MAX_PARTS: usize = 5;

/// A margin judged again, of the formula as it is given, may be off by this: traces are left out of it, and equilibria start elsewhere.
const JUDGED_AGAIN: f64 = 1e-4;

/// The smallest change.
pub fn adjust(data: &[u8]) -> u64 {
    adjust_drawn(&mut Unstructured::new(data)).unwrap_or(0)
}

fn adjust_drawn(bytes: &mut Unstructured<'_>) -> Result<u64> {
    let library = task::library(bytes)?;
    let options = Options { at_c: Vec::new(), ..task::options(bytes, MAX_DRAWS)? };
    let formula = task::formula(bytes, library, MAX_PARTS)?;
    let task = change(bytes, library, &formula)?;
    task::show(&(&options, &formula, &task));
    let found = match barwright_reformulate::adjust(library, &MODEL, &options, &formula, &task) {
        Ok(found) => found,
        Err(AdjustError::Blend(BlendError::OnlyPowder)) => return Ok(1),
        Err(AdjustError::Blend(error)) => panic!("{error}"),
        Err(error) => {
            claims::sentence(&error.to_string());
            return Ok(claims::digest(std::mem::discriminant(&error)));
        }
    };
    sound_change(library, &options, &formula, &task, &found);
    Ok(claims::digest((
        (found.feasible, found.in_steps, found.conflicts.len(), found.over_price > 0.0, found.mass_moved > 0.0),
        found
            .demands
            .iter()
            .map(|one| (std::mem::discriminant(&one.demand), one.met, one.met_alone))
            .collect::<Vec<_>>(),
    )))
}

/// Draws what is asked of a formula, and what may change.
fn change(bytes: &mut Unstructured<'_>, library: &Library, formula: &Formula) -> Result<Task> {
    let mut demands = Vec::new();
    for _ in 0..bytes.int_in_range(0..=3_u8)? {
        demands.push(demand(bytes)?);
    }
    let mut ingredients: Vec<IngredientId> = formula.parts.iter().map(|part| part.ingredient).collect();
    if bytes.ratio(1, 4)? {
        let other = task::ingredient(bytes, library)?;
        if !ingredients.contains(&other) {
            ingredients.push(other);
        }
    }
    let now = |place: usize| formula.parts.get(place).map_or(0.0, |part| part.percent);
    let mut limits = Limits::free(ingredients.len());
    for place in 0..ingredients.len() {
        match bytes.int_in_range(0..=7_u8)? {
            0 => (limits.min_percent[place], limits.max_percent[place]) = (now(place), now(place)),
            1 => limits.min_percent[place] = task::figure(bytes, 0.0, 100.0)?,
            2 => limits.max_percent[place] = task::figure(bytes, 0.0, 100.0)?,
            3 => {
                (limits.min_percent[place], limits.max_percent[place]) =
                    (0.5 * now(place), (1.5 * now(place)).min(100.0))
            }
            _ => {}
        }
    }
    if bytes.ratio(1, 4)? {
        let per_kg = ingredients.iter().map(|_| task::figure(bytes, 0.0, 100.0)).collect::<Result<Vec<_>>>()?;
        limits.price = Some(PriceLimit { per_kg, max_per_kg: task::magnitude(bytes, 0.1, 100.0)? });
    }
    let confidence = task::figure(bytes, 0.0, 1.0)?;
    let step_percent = if bytes.arbitrary()? { Some(task::magnitude(bytes, 0.01, 10.0)?) } else { None };
    let least = if bytes.ratio(1, 4)? {
        let per_kg = ingredients.iter().map(|_| task::figure(bytes, 0.0, 100.0)).collect::<Result<Vec<_>>>()?;
        Least::Price { per_kg }
    } else {
        Least::Moved
    };
    Ok(Task { demands, confidence, ingredients, limits, step_percent, least })
}

fn demand(bytes: &mut Unstructured<'_>) -> Result<Demand> {
    let (low, high) = MODEL_C;
    let than = |bytes: &mut Unstructured<'_>| -> Result<Firmness> {
        Ok(if bytes.arbitrary()? {
            Firmness::Kpa(task::magnitude(bytes, 1e-3, 1e5)?)
        } else {
            Firmness::BeeswaxPercent(task::figure(bytes, 0.1, 200.0)?)
        })
    };
    Ok(match bytes.int_in_range(0..=4_u8)? {
        0 => Demand::Hold { temperature_c: task::figure(bytes, low, high)? },
        1 => Demand::Detail { relief_mm: task::magnitude(bytes, 0.05, 50.0)? },
        2 => Demand::Firmer { than: than(bytes)?, temperature_c: task::figure(bytes, low, high)? },
        3 => Demand::Softer { than: than(bytes)?, temperature_c: task::figure(bytes, low, high)? },
        _ => Demand::Melts { percent: task::figure(bytes, 0.0, 100.0)? },
    })
}

fn sound_change(library: &Library, options: &Options, formula: &Formula, task: &Task, found: &Adjustment) {
    let sum = |percents: &[f64]| percents.iter().sum::<f64>();
    assert!(
        (sum(&found.after) - 100.0).abs() <= SUM_TOLERANCE_PERCENT,
        "sums to {}: {:?}",
        sum(&found.after),
        found.after
    );
    assert!(found.after.iter().all(|percent| percent.is_finite() && *percent >= 0.0), "{:?}", found.after);
    assert!((sum(&found.before) - 100.0).abs() <= SUM_TOLERANCE_PERCENT, "{:?}", found.before);
    assert!(found.formula.parts.iter().all(|part| part.percent > TRACE_PERCENT), "{:?}", found.formula);
    let given = found.formula.parts.iter().map(|part| part.percent).sum::<f64>();
    assert!((given - 100.0).abs() <= SUM_TOLERANCE_PERCENT + TRACE_PERCENT * 8.0, "the formula sums to {given}");
    let moved = 0.5 * found.before.iter().zip(&found.after).map(|(a, b)| (a - b).abs()).sum::<f64>();
    assert!((found.mass_moved - moved).abs() <= SUM_TOLERANCE_PERCENT, "{} is not the {moved} moved", found.mass_moved);
    assert!(found.over_price.is_finite() && found.over_price >= 0.0, "{}", found.over_price);
    for ((after, least), most) in found.after.iter().zip(&task.limits.min_percent).zip(&task.limits.max_percent) {
        claims::within("an amount, %", *after, least - SUM_TOLERANCE_PERCENT, most + SUM_TOLERANCE_PERCENT);
    }
    assert_eq!(found.demands.len(), task.demands.len());
    assert_eq!(found.feasible, found.demands.iter().all(|one| one.met) && task.limits.hold(&found.after), "{found:?}");
    if found.in_steps {
        let step = task.step_percent.expect("steps were asked for");
        let odd = found.before.iter().zip(&found.after).filter(|(before, after)| {
            let apart = (*after / step - (*after / step).round()).abs() * step;
            (*before - *after).abs() > SUM_TOLERANCE_PERCENT && apart > SUM_TOLERANCE_PERCENT
        });
        assert!(odd.count() <= 1, "more than one that changed is no multiple of {step} %: {:?}", found.after);
    }
    for one in &found.conflicts {
        assert!([one.first, one.second].iter().all(|demand| task.demands.contains(demand)), "{:?}", found.conflicts);
    }
    for one in &found.demands {
        claims::within("probability before", one.probability_before, 0.0, 1.0);
        claims::within("probability after", one.probability_after, 0.0, 1.0);
    }
    assert!(formula.name == found.formula.name);
    judged_again(library, options, task, found);
}

/// The formula as it is given does what the answer says it does.
fn judged_again(library: &Library, options: &Options, task: &Task, found: &Adjustment) {
    let ingredients: Vec<IngredientId> = found.formula.parts.iter().map(|part| part.ingredient).collect();
    let percent: Vec<f64> = found.formula.parts.iter().map(|part| part.percent).collect();
    let judge = Judge::new(library, &MODEL, options, &ingredients, &task.demands, task.confidence);
    let standings = match judge.and_then(|judge| judge.judge(&percent, false)) {
        // Limits that leave nothing but powder have no bar that could be judged.
        Err(BlendError::OnlyPowder) => return,
        standings => standings.expect("the answer is judged again"),
    };
    for (met, standing) in found.demands.iter().zip(&standings) {
        let met_again = standing.margin >= -MARGIN_TOLERANCE - JUDGED_AGAIN;
        assert!(!met.met || met_again, "{:?} is met, and judged again misses by {}", met.demand, standing.margin);
        let least = task.confidence - 1e-9;
        assert!(!met.met || met.probability_after >= least, "{met:?} of {}", task.confidence);
        assessed_again(library, options, met, found);
    }
}

/// What was judged is what `assess` says of the same bar: but for one draw, that at the margin.
fn assessed_again(library: &Library, options: &Options, met: &Met, found: &Adjustment) {
    let with = match met.demand {
        Demand::Hold { temperature_c } => Options { hold_c: temperature_c, ..options.clone() },
        Demand::Detail { relief_mm } => Options { relief_mm, ..options.clone() },
        _ => return,
    };
    let answer = assess(library, &MODEL, &found.formula, &with).expect("any formula is assessed");
    let probability =
        if let Demand::Hold { .. } = met.demand { answer.warmth.probability } else { answer.detail.probability };
    let one_draw = 1.0 / options.draws.max(1) as f64;
    let off = (probability - met.probability_after).abs();
    assert!(off <= one_draw + 1e-9, "{:?}: {} judged, {probability} assessed", met.demand, met.probability_after);
}

/// Replacements.
pub fn swap(data: &[u8]) -> u64 {
    swap_drawn(&mut Unstructured::new(data)).unwrap_or(0)
}

fn swap_drawn(bytes: &mut Unstructured<'_>) -> Result<u64> {
    let library = task::library(bytes)?;
    let options = task::options(bytes, 0)?;
    let formula = task::formula(bytes, library, MAX_PARTS)?;
    let replaced = match bytes.int_in_range(0..=15_u8)? {
        0 => task::ingredient(bytes, library)?,
        _ => formula.parts[bytes.choose_index(formula.parts.len())?].ingredient,
    };
    let mut candidates = Vec::new();
    // None means all of its kind, which takes longest.
    let some = !bytes.ratio(1, 16)?;
    for _ in 0..if some { bytes.int_in_range(1..=3_u8)? } else { 0 } {
        candidates.push(task::ingredient(bytes, library)?);
    }
    let task = SwapTask {
        replaced,
        candidates,
        vegan: bytes.ratio(1, 8)?,
        nut_free: bytes.ratio(1, 8)?,
        step_percent: if bytes.arbitrary()? { Some(task::magnitude(bytes, 0.01, 50.0)?) } else { None },
    };
    task::show(&(&options, &formula, &task));
    let found = match barwright_reformulate::swap::swap(library, &MODEL, &options, &formula, &task) {
        Ok(found) => found,
        Err(SwapError::Blend(BlendError::OnlyPowder)) => return Ok(1),
        Err(SwapError::Blend(error)) => panic!("{error}"),
        Err(error) => {
            claims::sentence(&error.to_string());
            return Ok(claims::digest(std::mem::discriminant(&error)));
        }
    };
    assert!(!found.is_empty(), "no error and nothing found");
    let place = |one: &Replacement| (one.is_different_bar(), one.distance);
    assert!(found.windows(2).all(|two| place(&two[0]) <= place(&two[1])), "not the nearest first, other bars last");
    let went: f64 = formula.parts.iter().filter(|part| part.ingredient == replaced).map(|part| part.percent).sum();
    for one in &found {
        let new = library.get(one.ingredient).expect("a known ingredient");
        assert!(
            one.ingredient != replaced && (task.candidates.is_empty() || task.candidates.contains(&one.ingredient))
        );
        assert!(!task.vegan || new.origin != Origin::Animal, "{} is not vegan", new.key);
        assert!(!task.nut_free || new.nut_origin == NutOrigin::No, "{} is or may be from nuts", new.key);
        claims::formula(&one.formula, library);
        assert!(one.formula.parts.iter().all(|part| part.ingredient != replaced), "what went is still there");
        assert!(one.distance.is_finite() && one.distance >= 0.0, "{one:?}");
        assert!((one.from_percent - went).abs() <= claims::SUM_PERCENT, "{one:?}");
        claims::within("what came, %", one.to_percent, 0.0, 100.0 + claims::SUM_PERCENT);
        let there = |of: &Formula| -> f64 {
            of.parts.iter().filter(|part| part.ingredient == one.ingredient).map(|part| part.percent).sum()
        };
        let came = there(&one.formula) - there(&formula);
        assert!((came - one.to_percent).abs() <= claims::SUM_PERCENT, "{came} % came, {} told", one.to_percent);
        let in_full = |kept: &&Kept| matches!(kept.property, Property::YieldStress { .. } | Property::SkinMelted);
        let squares: f64 = one.properties.iter().filter(in_full).map(|kept| kept.steps.powi(2)).sum();
        assert!(squares.sqrt() <= one.distance * (1.0 + 1e-9) + 1e-9, "{one:?}");
        for kept in &one.properties {
            let finite = kept.before.is_finite() && kept.after.is_finite() && kept.steps.is_finite();
            assert!(finite, "{kept:?}");
            let is_grain = kept.property == Property::GrainRisk;
            assert!(is_grain || kept.matched == (kept.steps.abs() <= 1.0), "{kept:?}");
            assert!(!is_grain || !kept.matched || kept.steps <= 1.0, "{kept:?}");
        }
    }
    let best = &found[0];
    let answer = assess(library, &MODEL, &best.formula, &options).expect("any formula is assessed");
    assessing::sound(library, &best.formula, &options, &answer);
    Ok(claims::digest((found.len().min(3), best.properties.iter().map(|kept| kept.matched).collect::<Vec<_>>())))
}

/// Trade-offs of a space.
pub fn explore(data: &[u8]) -> u64 {
    explore_drawn(&mut Unstructured::new(data)).unwrap_or(0)
}

fn explore_drawn(bytes: &mut Unstructured<'_>) -> Result<u64> {
    let library = task::library(bytes)?;
    let formula = task::formula(bytes, library, MAX_PARTS)?;
    let limits = change(bytes, library, &formula)?;
    let settings = Settings {
        candidates: bytes.int_in_range(1..=60)?,
        seed: u64::from(bytes.arbitrary::<u16>()?),
        options: task::options(bytes, 0)?,
        firmness_at_c: task::figure(bytes, MODEL_C.0, MODEL_C.1)?,
        firmness: if bytes.arbitrary()? { FirmnessAim::Firmer } else { FirmnessAim::Softer },
        max_price: if bytes.ratio(1, 4)? { Some(task::magnitude(bytes, 0.1, 100.0)?) } else { None },
        refine_rounds: bytes.int_in_range(0..=2)?,
    };
    let space = Space {
        ingredients: limits.ingredients,
        min_percent: limits.limits.min_percent,
        max_percent: limits.limits.max_percent,
        groups: Vec::new(),
        price: limits.limits.price.map(|price| price.per_kg),
    };
    task::show(&(&settings, &space, &limits.demands));
    let go_on = |_| ControlFlow::Continue(());
    let found = barwright_reformulate::explore(library, &MODEL, &space, &settings, &limits.demands, None, &go_on);
    let found = match found {
        Ok(found) => found,
        Err(ExploreError::Blend(BlendError::OnlyPowder)) => return Ok(1),
        Err(ExploreError::Blend(error)) => panic!("{error}"),
        Err(error) => {
            claims::sentence(&error.to_string());
            return Ok(claims::digest(std::mem::discriminant(&error)));
        }
    };
    assert!(found.finished, "not stopped, and not finished");
    for one in &found.front {
        let sum: f64 = one.percent.iter().sum();
        assert!((sum - 100.0).abs() <= SUM_TOLERANCE_PERCENT, "sums to {sum}: {one:?}");
        for ((percent, least), most) in one.percent.iter().zip(&space.min_percent).zip(&space.max_percent) {
            claims::within("an amount, %", *percent, least - SUM_TOLERANCE_PERCENT, most + SUM_TOLERANCE_PERCENT);
        }
        let of = &one.properties;
        assert!(of.firmness_kpa.is_finite() && of.firmness_kpa >= 0.0, "{of:?}");
        assert!(of.finest_mm.is_finite() && of.finest_mm > 0.0 && of.skin_ln_off.is_finite(), "{of:?}");
        assert!(of.hold_c.is_none_or(f64::is_finite) && of.price.is_none_or(f64::is_finite), "{of:?}");
        if let (Some(price), Some(most)) = (of.price, settings.max_price) {
            assert!(price <= most * (1.0 + 1e-9), "{price} is over {most}");
        }
    }
    Ok(claims::digest((found.front.len().min(4), found.rejected > 0, found.judged > 0)))
}
