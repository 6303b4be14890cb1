//! Numbers with sensible digits, and estimates with their interval.

use barwright_blend::Estimate;
use barwright_blend::suitability::whole_percent;
use barwright_reference::trim_zeros;

/// Decimals of a small number, at most.
const MAX_DECIMALS: i32 = 12;

/// A number below this is shown as none: it has no digit among [`MAX_DECIMALS`].
const SMALLEST: f64 = 1e-12;

/// A number from here on would be a row of zeros and is written with an exponent.
const LARGEST: f64 = 1e15;

/// Returns a number, of any unit, rounded to this many significant digits, without an exponent unless there would be a row of zeros.
pub fn significant(value: f64, digits: u8) -> String {
    if value.abs() < SMALLEST {
        return "0".to_owned();
    }
    if !value.is_finite() {
        return "none".to_owned();
    }
    if value.abs() >= LARGEST {
        return format!("{value:.*e}", usize::from(digits.saturating_sub(1)));
    }
    // Position of the first digit: 0 for units, 1 for tens, -1 for tenths.
    let first = |value: f64| value.abs().log10().floor() as i32;
    let last = first(value) + 1 - i32::from(digits);
    let step = 10f64.powi(last);
    let rounded = (value / step).round() * step;
    // Rounding can move the first digit (0.996 is 1.0), and with it the number of decimals.
    let decimals = (i32::from(digits) - 1 - first(rounded)).clamp(0, MAX_DECIMALS) as usize;
    format!("{rounded:.decimals$}")
}

/// Returns a number, of any unit, with a number of decimals; what rounds to zero has no minus.
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|digit| matches!(digit, '0' | '.')) => digits.to_owned(),
        _ => text,
    }
}

/// Returns a number, of any unit, with its sign and a number of decimals; the sign of zero is plus.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    if text.starts_with('-') { text } else { format!("+{text}") }
}

/// Returns `value (low to high)` without the unit, or only the value when the ends look the same.
pub fn interval(estimate: &Estimate, show: impl Fn(f64) -> String) -> String {
    let [value, low, high] = [estimate.value, estimate.low, estimate.high].map(show);
    if low == value && high == value { value } else { format!("{value} ({low} to {high})") }
}

/// Returns a number, of any unit, with the decimals it has, at most `decimals` (1 or more).
pub fn trimmed(value: f64, decimals: usize) -> String {
    trim_zeros(&fixed(value, decimals)).to_owned()
}

/// Returns an amount in %: as many decimals as it has, two at most.
pub fn amount(percent: f64) -> String {
    trimmed(percent, 2)
}

/// Returns a number, of any unit, rounded to a whole one.
pub fn whole(value: f64) -> String {
    fixed(value.round(), 0)
}

/// Returns a probability in %, never certain: `86 %`, `over 99 %`.
pub fn in_hundred(probability: f64) -> String {
    match probability * 100.0 {
        p if p < 1.0 => "under 1 %".to_owned(),
        p if p > 99.0 => "over 99 %".to_owned(),
        _ => format!("{:.0} %", whole_percent(probability)),
    }
}

/// Returns a probability beside the one wanted, in %: one that misses it is never shown as the same number.
pub fn beside(probability: f64, wanted: f64) -> String {
    let shown = in_hundred(probability);
    if probability < wanted && shown == in_hundred(wanted) { format!("just under {shown}") } else { shown }
}

#[cfg(test)]
mod tests {
    use barwright_blend::suitability::Verdict;

    use super::*;

    #[test]
    fn two_digits_are_kept() {
        for (value, text) in [
            (0.0, "0"),
            (312.4, "310"),
            (9.96, "10"),
            (0.996, "1.0"),
            (0.0623, "0.062"),
            (1.04, "1.0"),
            (99.6, "100"),
            (12.3, "12"),
            (1234.0, "1200"),
            (-4.26, "-4.3"),
            (1e-308, "0"),
            (-1e308, "-1.0e308"),
            (f64::INFINITY, "none"),
            (2e-12, "0.000000000002"),
            (-2e-13, "0"),
        ] {
            assert_eq!(significant(value, 2), text, "{value}");
        }
        assert_eq!(significant(0.793_75, 3), "0.794");
    }

    #[test]
    fn no_zero_ends_the_decimals() {
        for (value, decimals, text) in [(2.0, 4, "2"), (0.4375, 4, "0.4375"), (0.4375, 2, "0.44"), (100.0, 1, "100")] {
            assert_eq!(trimmed(value, decimals), text);
        }
    }

    #[test]
    fn zero_has_no_minus() {
        for (value, decimals, plain, with_sign) in [
            (-0.04, 1, "0.0", "+0.0"),
            (-0.0, 2, "0.00", "+0.00"),
            (-0.06, 1, "-0.1", "-0.1"),
            (0.26, 1, "0.3", "+0.3"),
            (-10.0, 0, "-10", "-10"),
        ] {
            assert_eq!(
                (fixed(value, decimals).as_str(), signed(value, decimals).as_str()),
                (plain, with_sign),
                "{value}"
            );
        }
        assert_eq!(whole(-0.4), "0");
    }

    #[test]
    fn intervals_that_say_nothing_are_left_out() {
        let of = |value, low, high| interval(&Estimate { value, low, high }, whole);
        assert_eq!(of(38.2, 31.0, 44.4), "38 (31 to 44)");
        assert_eq!(of(0.1, -0.2, 0.3), "0");
    }

    #[test]
    fn probabilities_are_never_certain() {
        assert_eq!(in_hundred(1.0), "over 99 %");
        assert_eq!(in_hundred(0.0), "under 1 %");
        assert_eq!(in_hundred(0.784), "78 %");
        assert_eq!([0.898, 0.84, 0.9].map(|one| beside(one, 0.9)), ["just under 90 %", "84 %", "90 %"]);
    }

    #[test]
    fn one_percentage_has_one_word() {
        let mut words = std::collections::HashMap::new();
        for step in 0..=2560 {
            let probability = f64::from(step) / 2560.0;
            let word = Verdict::from_probability(probability);
            let shown = in_hundred(probability);
            assert_eq!(*words.entry(shown.clone()).or_insert(word), word, "{shown}, {probability}");
        }
        assert_eq!((words["90 %"], words["67 %"], words["59 %"]), (Verdict::Yes, Verdict::Likely, Verdict::Open));
    }
}
