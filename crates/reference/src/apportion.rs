//! Shares out a whole in steps: masses on a scale, percents on a page.

/// A step whose inverse is this near to a whole number is a tenth, a hundredth, a half.
const SLACK: f64 = 1e-6;

/// Rounds amounts to whole steps that add up to the total in steps: those nearest to the next step take what rounding down leaves. Of equal remainders
/// the first takes it.
///
/// # Arguments
/// * `amounts`: 0 or more, in any one unit.
/// * `total`: what they should add up to, in the same unit; it is rounded to whole steps itself.
/// * `step`: above 0, in the same unit.
///
/// # Returns
/// The amounts in the same unit; each moves by less than a step.
///
/// # Example
/// ```
/// use barwright_reference::apportion::apportion;
/// assert_eq!(apportion(&[33.37, 33.37, 33.26], 100.0, 0.5), [33.5, 33.5, 33.0]);
/// ```
///
/// # Source
/// Method of the largest remainder (textbook; recalled).
pub fn apportion(amounts: &[f64], total: f64, step: f64) -> Vec<f64> {
    let mut steps: Vec<f64> = amounts.iter().map(|amount| (amount / step).floor()).collect();
    let mut order: Vec<usize> = (0..amounts.len()).collect();
    let remainder = |i: &usize| amounts[*i] / step - steps[*i];
    order.sort_by(|a, b| remainder(b).total_cmp(&remainder(a)));
    let missing = (total / step).round() - steps.iter().sum::<f64>();
    for i in order.into_iter().take(missing.max(0.0) as usize) {
        steps[i] += 1.0;
    }
    // Dividing by the inverse keeps tenths and hundredths free of the error of the step itself.
    let inverse = (1.0 / step).round();
    let whole = (inverse * step - 1.0).abs() < SLACK;
    steps.into_iter().map(|count| if whole { count / inverse } else { count * step }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_rounding_down_leaves_goes_to_the_largest_remainders() {
        // By hand: 1.2, 20.6, 40.9 and 37.3 steps; rounding down leaves two, for the third and the second.
        assert_eq!(apportion(&[1.2, 20.6, 40.9, 37.3], 100.0, 1.0), [1.0, 21.0, 41.0, 37.0]);
        assert_eq!(apportion(&[0.6, 10.3, 20.45, 18.65], 50.0, 0.5), [0.5, 10.5, 20.5, 18.5]);
        // Of equal remainders the first.
        assert_eq!(apportion(&[2.5, 4.5, 3.0], 10.0, 1.0), [3.0, 4.0, 3.0]);
        assert_eq!(apportion(&[33.37, 33.37, 33.26], 100.0, 0.5), [33.5, 33.5, 33.0]);
    }

    #[test]
    fn tenths_are_the_figures_a_reader_writes() {
        // 3 × 0.1 is 0.30000000000000004.
        assert_eq!(apportion(&[0.3, 0.7], 1.0, 0.1), [0.3, 0.7]);
        assert_eq!(apportion(&[0.6, 0.9], 1.5, 0.3), [2.0 * 0.3, 3.0 * 0.3]);
        assert_eq!(apportion(&[5.0, 15.0], 20.0, 5.0), [5.0, 15.0]);
    }

    #[test]
    fn the_total_is_kept_and_nothing_moves_by_a_step() {
        // A linear congruential generator: any numbers will do.
        let mut state = 7_u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        for step in [0.01, 0.1, 0.5, 1.0, 2.0, 5.0] {
            for count in [1, 2, 7, 40] {
                let amounts: Vec<f64> = (0..count).map(|_| 100.0 * next()).collect();
                let total: f64 = amounts.iter().sum();
                let rounded = apportion(&amounts, total, step);
                let sum: f64 = rounded.iter().sum();
                assert!((sum - (total / step).round() * step).abs() < 1e-6, "{step} {count}: {sum} of {total}");
                for (a, b) in amounts.iter().zip(&rounded) {
                    assert!((a - b).abs() < step * (1.0 + 1e-6), "{a} {b} {step}");
                }
            }
        }
    }
}
