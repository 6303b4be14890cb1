//! Root of a function of one variable, between two points of opposite sign.
//!
//! Regula falsi with the Illinois rule: the value at an end that stays twice is halved, so that both ends close in.
//!
//! # Source
//! Dowell and Jarratt 1971, BIT 11:168 (recalled).

use std::convert::Infallible;

/// Evaluations of one search; a handful is usual.
const MAX_EVALUATIONS: usize = 60;

/// When a search ends: whichever comes first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    /// Distance of the two ends.
    pub argument: f64,
    /// Size of the function.
    pub value: f64,
}

/// One end of a bracket.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct End {
    /// Argument.
    pub at: f64,
    /// Function there.
    pub value: f64,
}

/// Returns the root of `f`, of any unit, between `first` and `second`, whose values have opposite signs.
///
/// # Returns
/// The best argument found, in the unit of the ends; with ends of the same sign, one between them.
///
/// # Example
/// ```
/// use barwright_blend::root::{End, Tolerance, find_root};
/// let square = |x: f64| x * x - 2.0;
/// let ends = (End { at: 0.0, value: -2.0 }, End { at: 2.0, value: 2.0 });
/// let tolerance = Tolerance { argument: 1e-12, value: 1e-12 };
/// let root = find_root(ends.0, ends.1, tolerance, square);
/// assert!((root - 2.0_f64.sqrt()).abs() < 1e-9);
/// ```
pub fn find_root(first: End, second: End, tolerance: Tolerance, mut f: impl FnMut(f64) -> f64) -> f64 {
    let found = try_find_root(first, second, tolerance, |x| Ok::<f64, Infallible>(f(x)));
    match found {
        Ok(root) => root,
        Err(never) => match never {},
    }
}

/// As [`find_root`], for a function that can fail.
///
/// # Errors
/// Whatever `f` fails with.
pub fn try_find_root<E>(
    first: End,
    second: End,
    tolerance: Tolerance,
    mut f: impl FnMut(f64) -> Result<f64, E>,
) -> Result<f64, E> {
    let (mut positive, mut negative) = if first.value >= second.value { (first, second) } else { (second, first) };
    for _ in 0..MAX_EVALUATIONS {
        if positive.value == 0.0 {
            return Ok(positive.at);
        }
        if (positive.at - negative.at).abs() < tolerance.argument {
            break;
        }
        let next = (positive.at * negative.value - negative.at * positive.value) / (negative.value - positive.value);
        let value = f(next)?;
        if value.abs() < tolerance.value {
            return Ok(next);
        }
        if value > 0.0 {
            positive = End { at: next, value };
            negative.value *= 0.5;
        } else {
            negative = End { at: next, value };
            positive.value *= 0.5;
        }
    }
    Ok(0.5 * (positive.at + negative.at))
}

/// Returns where a function is zero between two points, by the polynomial of the argument in the value through all points given; where that leaves
/// the two, by the straight line between them.
///
/// # Arguments
/// * `ends`: values of opposite signs.
/// * `near`: points of the function, those two among them.
pub(crate) fn interpolated([first, second]: [End; 2], near: impl Iterator<Item = End> + Clone) -> f64 {
    let weight = |of: usize, one: End| -> f64 {
        let others = near.clone().enumerate().filter(|(index, _)| *index != of);
        others.map(|(_, other)| other.value / (other.value - one.value)).product()
    };
    let curved: f64 = near.clone().enumerate().map(|(index, one)| one.at * weight(index, one)).sum();
    if curved > first.at.min(second.at) && curved < first.at.max(second.at) {
        return curved;
    }
    (second.at * first.value - first.at * second.value) / (first.value - second.value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_directions_and_a_root_at_the_end() {
        let tolerance = Tolerance { argument: 1e-10, value: 1e-14 };
        let end = |at: f64, f: fn(f64) -> f64| End { at, value: f(at) };
        for (f, low, high, root) in [
            ((|x| x.exp() - 3.0) as fn(f64) -> f64, 0.0, 9.0, 3.0_f64.ln()),
            ((|x| 3.0 - x.exp()) as fn(f64) -> f64, 0.0, 9.0, 3.0_f64.ln()),
            ((|x| x) as fn(f64) -> f64, 0.0, 1.0, 0.0),
        ] {
            assert!((find_root(end(low, f), end(high, f), tolerance, f) - root).abs() < 1e-9);
            assert!((find_root(end(high, f), end(low, f), tolerance, f) - root).abs() < 1e-9);
        }
    }

    #[test]
    fn failure_is_passed_on() {
        let ends = (End { at: 0.0, value: 1.0 }, End { at: 1.0, value: -1.0 });
        let found = try_find_root(ends.0, ends.1, Tolerance { argument: 0.0, value: 0.0 }, |_| Err("no"));
        assert_eq!(found, Err("no"));
    }
}
