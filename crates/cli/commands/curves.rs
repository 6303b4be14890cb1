//! What the curves of formulas are drawn from: their assessments at many temperatures.

use barwright_blend::{Assessment, Options, Parameters, assess};
use barwright_reference::{Formula, Library};

use crate::args::Units;
use crate::error::CliError;
use crate::plot::Picture;
use crate::plot::curves::{Curve, DRAWS, grid_c, melting};
use crate::render::{capital, list, names};

/// Most formulas named in a title.
const MOST_NAMED: usize = 3;

/// Assesses formulas at the temperatures of a curve.
///
/// # Arguments
/// * `answers`: of the same formulas, for their clear points.
/// * `options`: as for the answers; their temperatures and draws are replaced.
pub fn computed(
    library: &Library,
    parameters: &Parameters,
    formulas: &[Formula],
    answers: &[Assessment],
    options: &Options,
) -> Result<Vec<Assessment>, CliError> {
    let at_c = grid_c(answers.iter().map(|answer| answer.melt.clear_point_c.map(|clear| clear.value)));
    let options = Options { at_c, draws: options.draws.min(DRAWS), ..options.clone() };
    formulas.iter().map(|formula| Ok(assess(library, parameters, formula, &options)?)).collect()
}

/// Describes the curves of formulas.
pub fn picture(formulas: &[Formula], computed: &[Assessment], units: Units) -> Picture {
    let names = titles(formulas);
    let curves: Vec<Curve<'_>> = names.iter().zip(computed).map(|(name, answer)| Curve { name, answer }).collect();
    let title = if names.len() > MOST_NAMED { format!("{} formulas", names.len()) } else { list(&names, "and") };
    melting(&format!("{title}: solids and firmness"), &curves, units)
}

/// Names of formulas as shown at the head of something, each different from the others.
pub fn titles(formulas: &[Formula]) -> Vec<String> {
    names(formulas.iter().map(|formula| formula.name.as_str())).iter().map(|name| capital(name)).collect()
}
