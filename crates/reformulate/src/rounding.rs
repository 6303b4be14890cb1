//! Amounts that a maker would weigh: whole steps near amounts that were computed, and no crumbs.
//!
//! What changes becomes a multiple of the step itself, whatever it was before (35.5 from 33.3, not 35.8); what does not change stays. Where the amounts that
//! stay leave no whole number of steps, the largest that changes takes what is left.

use crate::limits::is_crumb;

/// A change below this is none, mass %.
const NO_CHANGE: f64 = 1e-3;

/// Multiples that are tried of each amount, from the one below it: of up to four that change, of five, and of more.
const MULTIPLES: [&[f64]; 3] = [&[-2.0, -1.0, 0.0, 1.0, 2.0, 3.0], &[-1.0, 0.0, 1.0, 2.0], &[0.0, 1.0]];

/// Combinations of multiples, at most.
const MAX_COMBINATIONS: usize = 1 << 14;

/// How far a number of steps may be from a whole one.
const WHOLE_TOLERANCE: f64 = 1e-6;

/// Finds amounts in whole steps near some, as [`near`].
pub(crate) type Near = fn(&[f64], &[f64], f64, bool) -> Vec<Vec<f64>>;

/// How amounts become what a maker would weigh.
pub(crate) struct Rounding {
    /// Finds amounts in whole steps near some.
    pub near: Near,
    /// Whether amounts that did not change may, too.
    pub wide: bool,
    /// Which of the amounts may be a crumb: those a bar is built of.
    pub may_crumble: Vec<bool>,
}

impl Rounding {
    /// The smallest crumb that a change leaves.
    ///
    /// # Arguments
    /// * `original`, `percent`: amounts before and after, mass %.
    pub fn crumb(&self, original: &[f64], percent: &[f64]) -> Option<usize> {
        let crumbs = (0..percent.len()).filter(|&at| self.may_crumble[at] && is_crumb(original[at], percent[at]));
        crumbs.min_by(|&a, &b| percent[a].total_cmp(&percent[b]))
    }
}

/// Formulas in whole steps near some amounts: of all that changes, each in multiples below and above it or as it was, but for one with what is left: the largest
/// that changes, or the largest of all; where it is wide, any.
///
/// # Arguments
/// * `original`, `percent`: amounts before and after, mass %.
/// * `step`: the step, mass %.
/// * `wide`: whether what does not change may as well, and each may take what is left.
pub(crate) fn near(original: &[f64], percent: &[f64], step: f64, wide: bool) -> Vec<Vec<f64>> {
    let changes = |at: &usize| wide || (percent[*at] - original[*at]).abs() > NO_CHANGE;
    let moved: Vec<usize> = (0..percent.len()).filter(changes).collect();
    let larger = |a: &usize, b: &usize| percent[*a].total_cmp(&percent[*b]);
    let Some(largest) = moved.iter().copied().max_by(larger) else { return vec![original.to_vec()] };
    let all = 0..percent.len();
    let rests: Vec<usize> = if wide {
        all.collect()
    } else {
        all.max_by(larger).filter(|at| *at != largest).into_iter().chain([largest]).collect()
    };
    rests.into_iter().flat_map(|rest| with_rest(original, percent, step, &moved, rest)).collect()
}

/// Those where one ingredient takes what is left.
fn with_rest(original: &[f64], percent: &[f64], step: f64, moved: &[usize], rest: usize) -> Vec<Vec<f64>> {
    let multiples = match moved.len() {
        0..=4 => MULTIPLES[0],
        5 => MULTIPLES[1],
        _ => MULTIPLES[2],
    };
    let mut formulas = vec![original.to_vec()];
    for &at in moved.iter().filter(|at| **at != rest) {
        let below = (percent[at] / step + WHOLE_TOLERANCE).floor();
        let mut amounts: Vec<f64> = multiples.iter().map(|extra| (below + extra) * step).collect();
        amounts.retain(|amount| (0.0..=100.0).contains(amount) && *amount != original[at]);
        if (percent[at] - original[at]).abs() <= step {
            amounts.push(original[at]);
        }
        let with = |formula: &Vec<f64>, amount: f64| {
            let mut formula = formula.clone();
            formula[at] = amount;
            formula
        };
        let longer = formulas.iter().flat_map(|one| amounts.iter().map(|&amount| with(one, amount)));
        formulas = longer.take(MAX_COMBINATIONS).collect();
    }
    for formula in &mut formulas {
        formula[rest] = 0.0;
        let left = 100.0 - formula.iter().sum::<f64>();
        let whole = (left / step).round();
        formula[rest] = if (left / step - whole).abs() < WHOLE_TOLERANCE { whole * step } else { left };
    }
    formulas.retain(|formula| formula[rest] >= 0.0);
    formulas
}
