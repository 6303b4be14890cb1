//! The measured quantity, predicted.
//!
//! | quantity | prediction |
//! |---|---|
//! | solids, slip, drop, end, clear, needle, yield | the figure `assess` gives |
//! | gel melting | slip point: where the network fails |
//! | calorimetric peak | the hottest temperature at which the solids fall fastest |
//! | critical gelling level | the level at which the slip point reaches the test temperature |
//! | force on a probe | yield stress: only its rank counts |

use std::cmp::Ordering;
use std::collections::BTreeMap;

use barwright_blend::assess::Workbench;
use barwright_blend::landmarks::LOWEST_LANDMARK_C;
use barwright_blend::root::{End, Tolerance, try_refine};
use barwright_blend::{Assessment, BlendError, Estimate, Model, Options, Parameters};
use barwright_reference::{CrystalState, Formula, Library, Part};

use super::measurement::{Measurement, Quantity, Use};

/// Spacing of the curve on which a calorimetric peak is looked for, K.
const PEAK_STEP_K: f64 = 1.0;

/// A peak is at least this part of the greatest one: below it lies the shoulder that a calorimeter does not resolve.
const SMALLEST_PEAK: f64 = 0.4;

/// The curve reaches this far below the clear point, K.
const PEAK_REACH_K: f64 = 40.0;

/// Levels tried for a critical gelling level, mass %.
const GELLING_LEVELS: std::ops::RangeInclusive<f64> = 0.05..=30.0;

/// Spacing of the levels between which it is looked for: of their logarithm.
const GELLING_STEP: f64 = 0.7;

/// How closely the level is found: its logarithm, and K of the slip point.
const GELLING_TOLERANCE: Tolerance = Tolerance { argument: 1e-5, value: 1e-4 };

/// A measurement with its prediction.
#[derive(Debug, Clone, PartialEq)]
pub struct Scored {
    /// Position of the measurement in the table.
    pub row: usize,
    /// The prediction; `None` when the model gives none (a blend that never sets).
    pub predicted: Option<Estimate>,
}

/// Predicts every row that is not left out.
///
/// # Arguments
/// * `library`, `parameters`: as for [`barwright_blend::assess()`].
/// * `rows`: the measurements.
/// * `draws`: draws behind the intervals.
///
/// # Returns
/// One prediction for each scored row, in row order.
///
/// # Errors
/// As [`barwright_blend::assess()`].
pub fn predict(
    library: &Library,
    parameters: &Parameters,
    rows: &[Measurement],
    draws: usize,
) -> Result<Vec<Scored>, BlendError> {
    let model = &Model::from(parameters.clone());
    let mut scored = Vec::new();
    // Rows of one formula and state share one assessment.
    let mut groups: BTreeMap<(&str, CrystalState), Vec<usize>> = BTreeMap::new();
    for (index, row) in rows.iter().enumerate().filter(|(_, row)| row.use_as != Use::LeftOut) {
        groups.entry((&row.formula_text, row.state)).or_default().push(index);
    }
    let options_of = |(_, state): (&str, CrystalState), members: &[usize]| {
        let mut at_c: Vec<f64> = members.iter().filter_map(|&index| rows[index].temperature_c).collect();
        at_c.sort_by(f64::total_cmp);
        at_c.dedup();
        Options { at_c, state, draws, ..Options::default() }
    };
    let mut groups: Vec<_> = groups.into_iter().map(|(of, members)| (options_of(of, &members), members)).collect();
    // Those of one state and the same temperatures share a bench.
    groups.sort_by(|(a, _), (b, _)| a.state.cmp(&b.state).then(a.at_c.partial_cmp(&b.at_c).unwrap_or(Ordering::Equal)));
    let mut shared: Option<Workbench<'_>> = None;
    for (options, members) in groups {
        let state = options.state;
        let bench = match shared.take().filter(|bench| *bench.options() == options) {
            Some(bench) => shared.insert(bench),
            None => shared.insert(Workbench::new(library, model, options)?),
        };
        let formula = &rows[members[0]].formula;
        let answer = bench.assess(formula)?;
        for index in members {
            let predicted = match rows[index].quantity {
                Quantity::MeltPeakC => peak(library, model, formula, state, &answer)?,
                Quantity::CriticalGellingPercent => gelling_level(library, model, &rows[index], draws)?,
                _ => figure(&answer, &rows[index]),
            };
            scored.push(Scored { row: index, predicted });
        }
    }
    scored.sort_by_key(|one| one.row);
    Ok(scored)
}

/// Reads the figure off an assessment.
fn figure(answer: &Assessment, row: &Measurement) -> Option<Estimate> {
    let at =
        |celsius: f64| answer.firmness.iter().find(|one| row.temperature_c.is_some() && one.temperature_c == celsius);
    let celsius = row.temperature_c.unwrap_or(f64::NAN);
    match row.quantity {
        Quantity::SolidsPercent => answer.solids.iter().find(|one| one.temperature_c == celsius).map(|one| one.percent),
        Quantity::SlipC | Quantity::GelMeltC => answer.melt.slip_point_c,
        Quantity::DropC => answer.melt.drop_point_c,
        Quantity::ClearC => answer.melt.clear_point_c,
        Quantity::MeltEndC => answer.melt.melt_end_c,
        Quantity::NeedleDmm => at(celsius).and_then(|one| one.needle_dmm),
        Quantity::ConeYieldKpa | Quantity::YieldKpa | Quantity::ForceN => at(celsius).map(|one| one.yield_stress_kpa),
        Quantity::MeltPeakC | Quantity::CriticalGellingPercent => None,
    }
}

/// The hottest peak of melting of the central draw, with the spread of the clear point around it.
fn peak(
    library: &Library,
    model: &Model,
    formula: &Formula,
    state: CrystalState,
    answer: &Assessment,
) -> Result<Option<Estimate>, BlendError> {
    let Some(clear) = answer.melt.clear_point_c else { return Ok(None) };
    let steps = (PEAK_REACH_K / PEAK_STEP_K) as usize;
    let at_c: Vec<f64> = (0..=steps).map(|step| clear.value + PEAK_STEP_K * (1.0 - step as f64)).collect();
    let options = Options { at_c, state, draws: 0, ..Options::default() };
    let curve = Workbench::new(library, model, options)?.assess(formula)?.solids;
    // From hot to cold: what melts between one temperature and the next.
    let falls: Vec<f64> = curve.windows(2).map(|pair| pair[1].percent.value - pair[0].percent.value).collect();
    let greatest = falls.iter().copied().fold(0.0, f64::max);
    let beside = |index: Option<usize>| index.and_then(|index| falls.get(index)).copied().unwrap_or(0.0);
    let is_peak = |index: usize| {
        falls[index] >= SMALLEST_PEAK * greatest
            && falls[index] >= beside(index.checked_sub(1))
            && falls[index] >= beside(Some(index + 1))
    };
    Ok((0..falls.len()).find(|&index| is_peak(index)).map(|index| {
        let middle = 0.5 * (curve[index].temperature_c + curve[index + 1].temperature_c);
        // A parabola through the peak and its neighbours: the peak moves as smoothly as the curve.
        let (hotter, colder) = (beside(index.checked_sub(1)), beside(Some(index + 1)));
        let curvature = hotter + colder - 2.0 * falls[index];
        let off = if curvature < 0.0 { 0.5 * (colder - hotter) / curvature } else { 0.0 };
        let value = (middle + PEAK_STEP_K * off).min(clear.value);
        Estimate { value, low: value + clear.low - clear.value, high: value + clear.high - clear.value }
    }))
}

/// A level that was tried, and the slip point there.
struct Tried {
    ln_level: f64,
    slip: Estimate,
}

/// Level of the first part at which the slip point reaches the test temperature.
fn gelling_level(
    library: &Library,
    model: &Model,
    row: &Measurement,
    draws: usize,
) -> Result<Option<Estimate>, BlendError> {
    let target_c = row.temperature_c.unwrap_or(barwright_blend::firmness::REFERENCE_C);
    let with_draws = |draws: usize| {
        Workbench::new(library, model, Options { at_c: Vec::new(), state: row.state, draws, ..Options::default() })
    };
    let (least, most) = (GELLING_LEVELS.start().ln(), GELLING_LEVELS.end().ln());
    let try_at = |bench: &Workbench<'_>, ln_level: f64| -> Result<Tried, BlendError> {
        let slip = bench.slip_point_c(&with_level(&row.formula, ln_level.exp()))?;
        let never = Estimate { value: LOWEST_LANDMARK_C, low: LOWEST_LANDMARK_C, high: LOWEST_LANDMARK_C };
        Ok(Tried { ln_level, slip: slip.unwrap_or(never) })
    };
    let level_where = |bench: &Workbench<'_>, of: fn(&Estimate) -> f64, tried: &mut Vec<Tried>| {
        let end = |one: &Tried| End { at: one.ln_level, value: of(&one.slip) - target_c };
        loop {
            // A blend that gels at any level, or at none, is given the end of the range.
            let (lowest, highest) = (tried[0].ln_level, tried[tried.len() - 1].ln_level);
            let ln_level = match tried.iter().position(|one| end(one).value >= 0.0) {
                Some(0) if lowest > least => {
                    tried.insert(0, try_at(bench, (lowest - GELLING_STEP).max(least))?);
                    continue;
                }
                None if highest < most => {
                    tried.push(try_at(bench, (highest + GELLING_STEP).min(most))?);
                    continue;
                }
                Some(0) => lowest,
                None => highest,
                Some(index) => try_refine(tried, index, GELLING_TOLERANCE, end, |level| try_at(bench, level))?,
            };
            return Ok::<f64, BlendError>(ln_level.exp());
        }
    };
    let central = with_draws(0)?;
    let mut tried = vec![try_at(&central, 0.5 * (least + most))?];
    let value = level_where(&central, |slip| slip.value, &mut tried)?;
    // The warm end of the interval gels soonest; without draws there is no interval.
    let (low, high) = if draws == 0 {
        (value, value)
    } else {
        // Both ends are read off the same levels, around that of the central draw.
        let bench = with_draws(draws)?;
        let mut tried = vec![try_at(&bench, value.ln())?];
        (level_where(&bench, |slip| slip.high, &mut tried)?, level_where(&bench, |slip| slip.low, &mut tried)?)
    };
    Ok(Some(Estimate { value, low: low.min(value), high: high.max(value) }))
}

/// The same formula with its first part at `level` mass %, the others in proportion.
fn with_level(formula: &Formula, level: f64) -> Formula {
    let rest: f64 = formula.parts.iter().skip(1).map(|part| part.percent).sum();
    let parts = formula.parts.iter().enumerate().map(|(index, part)| Part {
        ingredient: part.ingredient,
        percent: if index == 0 { level } else { part.percent / rest * (100.0 - level) },
    });
    Formula { name: formula.name.clone(), parts: parts.collect() }
}
