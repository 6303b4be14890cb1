//! Root of a function of one variable, between two points of opposite sign.
//!
//! Inverse interpolation: the argument as a polynomial of the value, through the points around the root. The middle is taken where that does not close in.
//!
//! # Source
//! Brent 1973, Algorithms for Minimization without Derivatives (recalled), with all points that are near in place of the last three.

use std::convert::Infallible;

/// Evaluations of one search; a handful is usual.
const MAX_EVALUATIONS: usize = 60;

/// Points on either side of a root that are interpolated between; more of them bend more than the function.
const MAX_BESIDE: usize = 2;

/// A point that neither halves the bracket nor lowers the value to this part of itself is followed by one in the middle.
const SLOWEST_FALL: f64 = 0.25;

/// A root that one point more or less moves by less than this part of the tolerance of the argument is found: slopes are taken of roots.
const SMALLEST_CHANGE: f64 = 0.01;

/// When a search ends, whichever comes first; what is left is interpolated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    /// Distance of the two ends; the search ends, too, where one point more would not move the root.
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
    let mut at = |at: f64| Ok::<_, Infallible>(End { at, value: f(at) });
    match try_refine(&mut vec![first, second], 1, tolerance, |end| *end, &mut at) {
        Ok(root) => root,
        Err(never) => match never {},
    }
}

/// Returns the root of a function that is known at several points, by inverse interpolation; the points it tries stay with the others, for the next
/// root of the same points.
///
/// # Arguments
/// * `points`: in order of their argument, rising or falling.
/// * `index`: of the first of them beyond the root; the one before has the other sign.
/// * `end`: argument and value of a point, in any units.
/// * `at`: the point at an argument, in the unit of the arguments.
///
/// # Returns
/// The root, in the unit of the arguments.
///
/// # Errors
/// Whatever `at` fails with.
pub fn try_refine<P, E>(
    points: &mut Vec<P>,
    mut index: usize,
    tolerance: Tolerance,
    end: impl Fn(&P) -> End,
    mut at: impl FnMut(f64) -> Result<P, E>,
) -> Result<f64, E> {
    let mut bisect = false;
    let mut guess = f64::NAN;
    for _ in 0..MAX_EVALUATIONS {
        let [before, beyond] = [end(&points[index - 1]), end(&points[index])];
        let near = &points[index.saturating_sub(MAX_BESIDE)..points.len().min(index + MAX_BESIDE)];
        let mut ends = [before; 2 * MAX_BESIDE];
        ends.iter_mut().zip(near).for_each(|(into, point)| *into = end(point));
        let (best, change) = interpolated([before, beyond], &ends[..near.len()]);
        guess = best;
        let width = (beyond.at - before.at).abs();
        let smallest = before.value.abs().min(beyond.value.abs());
        if width < tolerance.argument || smallest < tolerance.value || change < SMALLEST_CHANGE * tolerance.argument {
            break;
        }
        let point = at(if bisect { 0.5 * (before.at + beyond.at) } else { guess })?;
        let found = end(&point);
        points.insert(index, point);
        let left = if (found.value < 0.0) == (before.value < 0.0) {
            index += 1;
            beyond.at - found.at
        } else {
            found.at - before.at
        };
        bisect = !bisect && left.abs() > 0.5 * width && found.value.abs() > SLOWEST_FALL * smallest;
    }
    Ok(guess)
}

/// Where a function is zero between two points, by the polynomial of the argument in the value through all points given; where that leaves the two, by
/// the straight line between them. Beside it, how far the point whose value is farthest from 0 moves it; no end where it is the line.
fn interpolated([first, second]: [End; 2], near: &[End]) -> (f64, f64) {
    let through = |left_out: Option<usize>| -> f64 {
        let kept = || near.iter().enumerate().filter(move |(index, _)| Some(*index) != left_out);
        let weight = |of: usize, one: &End| -> f64 {
            kept().filter(|(index, _)| *index != of).map(|(_, other)| other.value / (other.value - one.value)).product()
        };
        kept().map(|(index, one)| one.at * weight(index, one)).sum()
    };
    let curved = through(None);
    if curved > first.at.min(second.at) && curved < first.at.max(second.at) {
        let farthest = (0..near.len()).max_by(|&a, &b| near[a].value.abs().total_cmp(&near[b].value.abs()));
        return (curved, (through(farthest) - curved).abs());
    }
    ((second.at * first.value - first.at * second.value) / (first.value - second.value), f64::INFINITY)
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
    fn a_second_root_of_the_same_points_needs_fewer_evaluations_and_a_kink_is_no_obstacle() {
        let tolerance = Tolerance { argument: 1e-6, value: 1e-6 };
        let smooth = |x: f64| (-0.1 * x).exp();
        let kinked = |x: f64| if x < 3.0 { 1.0 - 0.2 * x } else { 0.4 * (3.0 - x).exp() };
        for (f, exact) in
            [(&smooth as &dyn Fn(f64) -> f64, [-10.0 * 0.5_f64.ln(), -10.0 * 0.45_f64.ln()]), (&kinked, [2.5, 2.75])]
        {
            let mut points = vec![End { at: 0.0, value: 1.0 }, End { at: 10.0, value: f(10.0) }];
            let mut spent = [0, 0];
            for (which, level) in [0.5, 0.45].into_iter().enumerate() {
                let index = points.iter().position(|one| one.value < level).unwrap_or(1);
                let found = try_refine(
                    &mut points,
                    index,
                    tolerance,
                    |one| End { at: one.at, value: one.value - level },
                    |at| {
                        spent[which] += 1;
                        Ok::<_, ()>(End { at, value: f(at) })
                    },
                );
                assert!((found.unwrap_or(f64::NAN) - exact[which]).abs() < 1e-7, "{found:?} {exact:?}");
            }
            assert!(spent[0] <= 8 && spent[1] <= 3, "{spent:?}");
            assert!(points.is_sorted_by(|a, b| a.at < b.at));
        }
    }

    #[test]
    fn a_search_ends_where_one_point_more_would_not_move_the_root() {
        // No value is small enough here, and two ends this near are never met: what ends the search is the change of the root alone.
        let tolerance = Tolerance { argument: 1e-4, value: 0.0 };
        for tenths in 1..=90 {
            let root = 0.1 * f64::from(tenths);
            let mut spent = 0;
            let f = |x: f64| (0.3 * (root - x)).exp() - 1.0;
            let ends = [0.0, 10.0].map(|at| End { at, value: f(at) });
            let found = find_root(ends[0], ends[1], tolerance, |x| {
                spent += 1;
                f(x)
            });
            assert!((found - root).abs() < 1e-6 && spent <= 7, "{found} for {root} after {spent}");
        }
    }

    #[test]
    fn failure_is_passed_on() {
        let ends = (End { at: 0.0, value: 1.0 }, End { at: 1.0, value: -1.0 });
        let found = try_refine(
            &mut vec![ends.0, ends.1],
            1,
            Tolerance { argument: 0.0, value: 0.0 },
            |end| *end,
            |_| Err("no"),
        );
        assert_eq!(found, Err("no"));
    }
}
