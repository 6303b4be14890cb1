//! Amounts as a person would write them: few digits, and the total stays what it was.

use crate::trim_zeros;

/// Finest share of the total worth writing: a kitchen scale shows no more.
const SHARE_OF_TOTAL: f64 = 1e-3;
/// How far below a round total the digits of the round one are used, as a factor.
const NEARLY_ROUND: f64 = 1.05;
/// Finest share of an amount itself, so that a small dose keeps two digits.
const SHARE_OF_AMOUNT: f64 = 0.1;
/// Share of the total below which two amounts are the same.
const SAME: f64 = 1e-6;
/// Share of the total below which a sum is exact.
const EXACT: f64 = 1e-9;
/// Least remainder, in steps, worth a step. Among the 200 parts a formula can have, those that make up a whole step have more.
const MIN_REMAINDER: f64 = 1e-3;
/// Most decimals more than its own that the largest amount gets to keep the total.
const MAX_DECIMALS_ADDED: usize = 3;
/// Most decimals written.
const MAX_DECIMALS: usize = 17;

/// An amount to be written.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wanted {
    /// The amount above 0, in its own unit.
    pub(crate) amount: f64,
    /// What one of its unit is in the unit of the total.
    pub(crate) per_unit: f64,
    /// The amount written so far, in its own unit.
    pub(crate) old: Option<f64>,
}

/// An amount while it is being rounded.
struct Rounding {
    value: f64,
    decimals: usize,
    /// Unchanged, so written as it stands.
    pinned: bool,
    /// Rounded to the share of the total, not finer.
    coarse: bool,
    moved: bool,
}

/// Returns the text of each amount with as many decimals as a thousandth of the total needs, or two digits of the amount, without
/// trailing zeros; `None` where the text written so far says the same.
///
/// Rounded amounts add up to the total again: those nearest to the next step take it, as in [`crate::apportion`], and
/// where finer amounts are among them, the largest one takes the rest.
pub(crate) fn round(wanted: &[Wanted], total: f64) -> Vec<Option<String>> {
    let mut amounts: Vec<Rounding> = wanted.iter().map(|one| start(one, total)).collect();
    spread(wanted, &mut amounts, total);
    settle(wanted, &mut amounts, total);
    let texts = wanted.iter().zip(&amounts).map(|(one, rounding)| {
        let same = one.old.is_some_and(|old| (old - rounding.value).abs() <= EXACT * old);
        (!rounding.pinned && !same).then(|| number(rounding.value, rounding.decimals))
    });
    texts.collect()
}

/// Rounds one amount for itself.
fn start(one: &Wanted, total: f64) -> Rounding {
    let of_total = decimals(NEARLY_ROUND * SHARE_OF_TOTAL * total / one.per_unit);
    let of_amount = decimals(SHARE_OF_AMOUNT * one.amount);
    let count = of_total.max(of_amount);
    match one.old {
        Some(old) if (old - one.amount).abs() * one.per_unit <= SAME * total => {
            Rounding { value: old, decimals: count, pinned: true, coarse: false, moved: false }
        }
        _ => Rounding {
            value: to_decimals(one.amount, count),
            decimals: count,
            pinned: false,
            coarse: of_amount <= of_total,
            moved: false,
        },
    }
}

/// Moves amounts that were rounded the other way by one step each as long as that brings the sum nearer to the total.
fn spread(wanted: &[Wanted], amounts: &mut [Rounding], total: f64) {
    for _ in 0..amounts.len() {
        let missing = missing(wanted, amounts, total);
        let remainder = |one: &Wanted, rounding: &Rounding| {
            (one.amount - rounding.value) * missing.signum() / step(rounding.decimals)
        };
        let best = wanted
            .iter()
            .zip(amounts.iter_mut())
            .filter(|(one, rounding)| {
                let step = step(rounding.decimals) * one.per_unit;
                let fits = step <= (1.0 + SAME) * missing.abs();
                rounding.coarse && !rounding.moved && fits && remainder(one, rounding) > MIN_REMAINDER
            })
            .max_by(|(one, left), (other, right)| remainder(one, left).total_cmp(&remainder(other, right)));
        let Some((_, rounding)) = best else { return };
        rounding.value = to_decimals(rounding.value + missing.signum() * step(rounding.decimals), rounding.decimals);
        rounding.moved = true;
    }
}

/// Gives what is still missing to the largest amount, where a round total can be met so.
fn settle(wanted: &[Wanted], amounts: &mut [Rounding], total: f64) {
    let missing = missing(wanted, amounts, total);
    let largest = (0..amounts.len())
        .filter(|index| amounts.get(*index).is_some_and(|rounding| rounding.coarse))
        .max_by(|left, right| mass(wanted, amounts, *left).total_cmp(&mass(wanted, amounts, *right)));
    let Some((index, one)) = largest.and_then(|index| Some((index, wanted.get(index)?))) else { return };
    let Some(rounding) = amounts.get_mut(index) else { return };
    let round_total = to_decimals(total / one.per_unit, rounding.decimals) * one.per_unit;
    if missing.abs() <= EXACT * total || (round_total - total).abs() > EXACT * total {
        return;
    }
    // A smaller dose than these digits show leaves its error in the sum, where nobody sees it.
    for decimals in rounding.decimals..=rounding.decimals + MAX_DECIMALS_ADDED {
        let value = to_decimals(rounding.value + missing / one.per_unit, decimals);
        let left = missing - (value - rounding.value) * one.per_unit;
        if value > 0.0 && left.abs() <= EXACT * total {
            (rounding.value, rounding.decimals) = (value, decimals);
            return;
        }
    }
}

fn mass(wanted: &[Wanted], amounts: &[Rounding], index: usize) -> f64 {
    wanted.get(index).zip(amounts.get(index)).map_or(0.0, |(one, rounding)| rounding.value * one.per_unit)
}

fn missing(wanted: &[Wanted], amounts: &[Rounding], total: f64) -> f64 {
    total - wanted.iter().zip(amounts).map(|(one, rounding)| rounding.value * one.per_unit).sum::<f64>()
}

/// Returns the fewest decimals whose last place is not above `finest`.
fn decimals(finest: f64) -> usize {
    (0..MAX_DECIMALS).find(|count| step(*count) <= finest * (1.0 + EXACT)).unwrap_or(MAX_DECIMALS)
}

/// Returns the last place of a number with a number of decimals.
fn step(decimals: usize) -> f64 {
    10_f64.powi(-i32::try_from(decimals).unwrap_or(i32::MAX))
}

fn to_decimals(value: f64, decimals: usize) -> f64 {
    format!("{value:.decimals$}").parse().unwrap_or(value)
}

/// Returns a number with at most this many decimals, without trailing zeros.
fn number(value: f64, decimals: usize) -> String {
    trim_zeros(&format!("{value:.decimals$}")).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(total: f64, amounts: &[(f64, Option<f64>)]) -> Vec<String> {
        let wanted: Vec<Wanted> =
            amounts.iter().map(|(amount, old)| Wanted { amount: *amount, per_unit: 1.0, old: *old }).collect();
        round(&wanted, total).into_iter().map(|text| text.unwrap_or("kept".to_owned())).collect()
    }

    #[test]
    fn digits_follow_the_total() {
        for (total, amounts, written) in [
            (100.0, [100.0 / 3.0, 200.0 / 3.0], ["33.3", "66.7"]),
            (100.0, [0.1 + 0.2, 99.7], ["0.3", "99.7"]),
            (500.0, [500.0 / 3.0, 1000.0 / 3.0], ["166.7", "333.3"]),
            (1.0, [1.0 / 3.0, 2.0 / 3.0], ["0.333", "0.667"]),
            (5000.0, [5000.0 / 3.0, 10000.0 / 3.0], ["1667", "3333"]),
            (100.0, [20.0, 80.0], ["20", "80"]),
        ] {
            assert_eq!(texts(total, &amounts.map(|amount| (amount, None))), written, "{total}");
        }
    }

    #[test]
    fn the_largest_remainders_take_what_rounding_leaves() {
        let thirds = [(100.0 / 3.0, None); 3];
        let written = texts(100.0, &thirds);
        let sum: f64 = written.iter().filter_map(|text| text.parse::<f64>().ok()).sum();
        assert!((sum - 100.0).abs() < 1e-9, "{written:?}");
        // Seven amounts that all round down: the three nearest to the next step go up.
        let many = [0.01, 0.02, 0.03, 0.04, 0.045, 0.046].map(|part| (16.0 + part, None));
        let sum: f64 = many.iter().map(|(amount, _)| amount).sum();
        let all: Vec<_> = many.into_iter().chain([(100.0 - sum, None)]).collect();
        assert_eq!(texts(100.0, &all), ["16", "16", "16", "16", "16.1", "16.1", "3.8"]);
    }

    /// One step of 0.1, 0.01 or 0.001 is missing or too much; the amounts are 0.2, 0.3, 0.4 and 0.1 of it away from their rounded ones.
    #[test]
    fn a_step_goes_to_the_amount_nearest_to_it_and_not_to_the_largest() {
        for (total, amounts, written) in [
            (100.0, [10.02, 20.03, 30.04, 39.91], ["10", "20", "30.1", "39.9"]),
            (100.0, [10.08, 20.07, 30.06, 39.79], ["10.1", "20.1", "30", "39.8"]),
            (10.0, [1.002, 2.003, 3.004, 3.991], ["1", "2", "3.01", "3.99"]),
            (1.0, [0.1002, 0.2003, 0.3004, 0.3991], ["0.1", "0.2", "0.301", "0.399"]),
        ] {
            assert_eq!(texts(total, &amounts.map(|amount| (amount, None))), written, "{total}");
        }
    }

    /// A bar of 1 kg in tonnes: a small dose, a total that is not round, and a dose that changes by a hundredth of the total.
    #[test]
    fn what_is_the_same_goes_by_the_total_and_not_by_the_number() {
        let third = 3.333e-4;
        for (total, amounts, written) in [
            (1e-3, [(4.37e-7, None), (3e-4, None), (6.995_63e-4, None)], ["0.00000044", "0.0003", "0.00069956"]),
            (
                9.999e-4,
                [(3.9996e-4, Some(third)), (2.9997e-4, Some(third)), (2.9997e-4, Some(third))],
                ["0.0004", "0.0003", "0.0003"],
            ),
            (1e-3, [(3e-5, Some(2e-5)), (4.7e-4, Some(4.8e-4)), (5e-4, Some(5e-4))], ["0.00003", "0.00047", "kept"]),
        ] {
            assert_eq!(texts(total, &amounts), written);
        }
    }

    #[test]
    fn a_small_dose_keeps_two_digits_and_the_total_its_sum() {
        assert_eq!(texts(100.0, &[(0.0437, None), (30.0, None), (69.9563, None)]), ["0.044", "30", "69.956"]);
        let kept = [(0.25, Some(0.25)), (28.0, Some(26.0)), (71.75, Some(73.75))];
        assert_eq!(texts(100.0, &kept), ["kept", "28", "71.75"]);
    }

    /// The same of amounts in kilograms and grams, with a total in grams.
    #[test]
    fn units_are_weighed_against_each_other() {
        let written = |amounts: &[(f64, f64)], total: f64| -> Vec<String> {
            let wanted: Vec<Wanted> =
                amounts.iter().map(|&(amount, per_unit)| Wanted { amount, per_unit, old: None }).collect();
            round(&wanted, total).into_iter().map(|text| text.unwrap_or_default()).collect()
        };
        assert_eq!(written(&[(1.0 / 3.0, 1e3); 3], 1000.0), ["0.333", "0.333", "0.334"]);
        assert_eq!(written(&[(0.5 / 3.0, 1e3), (1000.0 / 3.0, 1.0)], 500.0), ["0.1667", "333.3"]);
        // The largest by mass takes what a small dose leaves, whatever its number.
        assert_eq!(written(&[(0.0699563, 1e3), (0.0437, 1.0), (30.0, 1.0)], 100.0), ["0.069956", "0.044", "30"]);
        assert_eq!(written(&[(0.03, 1e3), (0.0437, 1.0), (69.9563, 1.0)], 100.0), ["0.03", "0.044", "69.956"]);
    }

    #[test]
    fn the_finest_place_is_not_above_what_is_asked() {
        for (finest, count) in [(1.0, 0), (5.0, 0), (0.99, 1), (0.1, 1), (0.0999, 2), (1e-3, 3), (0.0, MAX_DECIMALS)] {
            assert_eq!(decimals(finest), count, "{finest}");
        }
    }

    #[test]
    fn what_does_not_change_is_not_written_again() {
        let third = 100.0 / 3.0;
        assert_eq!(
            texts(100.0, &[(third, Some(third)), (26.0 + 1e-9, Some(26.0)), (40.7, Some(40.6))])[..2],
            ["kept", "kept"]
        );
        assert_eq!(texts(100.0, &[(26.02, Some(26.0)), (73.98, Some(74.0))]), ["kept", "kept"]);
    }

    #[test]
    fn a_total_that_is_not_round_is_not_chased() {
        assert_eq!(
            texts(99.99, &[(39.996, Some(33.33)), (29.997, Some(33.33)), (29.997, Some(33.33))]),
            ["40", "30", "30"]
        );
    }
}
