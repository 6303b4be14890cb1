//! Solids and firmness against temperature, of one formula or several.

use barwright_blend::{Assessment, Estimate, Options, assess};
use barwright_reference::{Formula, Library};

use super::chart::{Axis, Chart, Naming, Picture, Place, Series};
use crate::engine::Engine;
use crate::places;
use crate::refusal::Refusal;
use crate::words::names::{list, titles};
use crate::words::units::{PSI_KPA, Units};

/// Most formulas named in a title.
const MOST_NAMED: usize = 3;

/// Curves begin here, °C.
const FROM_C: f64 = 0.0;

/// Curves go at least to here, so that all places are on them, °C.
const AT_LEAST_TO_C: f64 = 55.0;

/// Curves go on above the clear point by this much, K.
const BEYOND_K: f64 = 5.0;

/// The model goes no further, °C.
const AT_MOST_TO_C: f64 = 120.0;

/// Curves end at a multiple of this, K.
const ROUND_K: f64 = 5.0;

/// Temperatures of a curve lie apart by this, K.
const STEP_K: f64 = 1.0;

/// Simulated draws behind the bands of curves: fewer than behind the figures, and enough for an eye.
pub const DRAWS: usize = 64;

/// What is softer is drawn as nothing, kPa.
const SOFTEST_KPA: f64 = 0.1;

/// The axis of firmness goes at least up to here, kPa.
const FIRM_KPA: f64 = 100.0;

/// Bands of more formulas than this would hide each other.
const MAX_BANDS: usize = 4;

/// Width of a curve.
const WIDTH: f64 = 1.8;

/// A formula and what was computed of it at the temperatures of [`grid_c`].
#[derive(Debug, Clone, Copy)]
pub struct Curve<'a> {
    /// Its name as shown.
    pub name: &'a str,
    /// Its solids and firmness.
    pub answer: &'a Assessment,
}

/// Temperatures of a curve: every kelvin, to a little above where the last of the formulas is clear.
///
/// # Arguments
/// * `clear_c`: clear points; `None` for one that is clear at any temperature.
pub fn grid_c(clear_c: impl IntoIterator<Item = Option<f64>>) -> Vec<f64> {
    let last = clear_c.into_iter().flatten().map(|clear| clear + BEYOND_K).fold(AT_LEAST_TO_C, f64::max);
    let to = ((last / ROUND_K).ceil() * ROUND_K).min(AT_MOST_TO_C);
    let count = ((to - FROM_C) / STEP_K).round() as usize;
    (0..=count).map(|step| FROM_C + STEP_K * step as f64).collect()
}

/// Assesses formulas at the temperatures of a curve.
///
/// # Arguments
/// * `answers`: of the same formulas, for their clear points.
/// * `options`: as for the answers; their temperatures and draws are replaced.
pub fn computed(
    engine: &Engine,
    formulas: &[Formula],
    answers: &[Assessment],
    options: &Options,
) -> Result<Vec<Assessment>, Refusal> {
    let at_c = grid_c(answers.iter().map(|answer| answer.melt.clear_point_c.map(|clear| clear.value)));
    let options = Options { at_c, draws: options.draws.min(DRAWS), ..options.clone() };
    formulas.iter().map(|formula| Ok(assess(&engine.library, &engine.model, formula, &options)?)).collect()
}

/// Describes the curves of formulas.
pub fn picture(formulas: &[Formula], library: &Library, computed: &[Assessment], units: Units) -> Picture {
    let names = titles(formulas, library);
    let curves: Vec<Curve<'_>> = names.iter().zip(computed).map(|(name, answer)| Curve { name, answer }).collect();
    let title = if names.len() > MOST_NAMED { format!("{} formulas", names.len()) } else { list(&names, "and") };
    melting(&format!("{title}: solids and firmness"), &curves, units)
}

/// Describes solids over firmness.
///
/// # Arguments
/// * `title`: over both.
/// * `curves`: one or more, computed at the same temperatures.
/// * `units`: °C and kPa, or °F and psi.
pub fn melting(title: &str, curves: &[Curve<'_>], units: Units) -> Picture {
    Picture {
        title: title.to_owned(),
        charts: vec![solids(curves, units), firmness(curves, units)],
        beside: 1,
        caption: caption(curves),
    }
}

/// Describes the solids of formulas against temperature.
pub fn solids(curves: &[Curve<'_>], units: Units) -> Chart {
    let of = |answer: &Assessment| answer.solids.iter().map(|one| (one.temperature_c, one.percent)).collect::<Vec<_>>();
    chart("solids, % by mass", Axis::linear("").within(0.0, 100.0), curves, units, &of)
}

/// Describes the firmness of formulas against temperature.
pub fn firmness(curves: &[Curve<'_>], units: Units) -> Chart {
    let factor = match units {
        Units::Metric => 1.0,
        Units::Us => 1.0 / PSI_KPA,
    };
    let scaled = |one: Estimate| Estimate { value: factor * one.value, low: factor * one.low, high: factor * one.high };
    let of = |answer: &Assessment| {
        answer.firmness.iter().map(|one| (one.temperature_c, scaled(one.yield_stress_kpa))).collect::<Vec<_>>()
    };
    let highest = curves.iter().flat_map(|curve| of(curve.answer)).map(|(_, one)| one.high).fold(0.0, f64::max);
    let axis = Axis::logarithmic("").within(factor * SOFTEST_KPA, 1.2 * highest.max(factor * FIRM_KPA));
    chart(&format!("firmness: yield stress, {}", units.stress()), axis, curves, units, &of)
}

fn chart(
    label: &str,
    axis: Axis,
    curves: &[Curve<'_>],
    units: Units,
    of: &dyn Fn(&Assessment) -> Vec<(f64, Estimate)>,
) -> Chart {
    let degrees = |celsius: f64| units.scaled(celsius);
    let banded = curves.len() <= MAX_BANDS;
    let series: Vec<Series> = (curves.iter().enumerate())
        .map(|(look, curve)| {
            let figures = of(curve.answer);
            let points = figures.iter().map(|(celsius, one)| (degrees(*celsius), one.value)).collect();
            let mut series = Series::line(curve.name, look, WIDTH, points);
            if banded && curve.answer.draws > 0 {
                series.band = figures.iter().map(|(celsius, one)| (degrees(*celsius), one.low, one.high)).collect();
            }
            if curves.len() == 1 { series.named(Naming::None) } else { series }
        })
        .collect();
    let ends = series.first().and_then(|one| one.points.first().zip(one.points.last()));
    let mut x = Axis::linear(format!("temperature, {}", units.degree()));
    if let Some((first, last)) = ends {
        x = x.within(first.0, last.0);
    }
    let places = places::MARKED
        .map(|(word, celsius)| Place { at: degrees(celsius), words: [word.to_owned(), units.whole_degrees(celsius)] });
    Chart { title: String::new(), x, y: Axis { label: label.to_owned(), ..axis }, series, places: places.into() }
}

fn caption(curves: &[Curve<'_>]) -> String {
    let draws = curves.iter().map(|curve| curve.answer.draws).max().unwrap_or(0);
    if draws == 0 {
        return String::new();
    }
    if curves.len() > MAX_BANDS {
        return "Central estimates; bands are left out, as they would hide each other.".to_owned();
    }
    format!(
        "Line: central estimate. Shaded: 90 % band from {draws} simulated draws, fewer than behind the figures of the tables."
    )
}
