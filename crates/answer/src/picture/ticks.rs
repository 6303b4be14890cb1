//! Where the ticks of an axis are.

/// Steps of ticks, within a power of ten.
const STEPS: [f64; 3] = [1.0, 2.0, 5.0];

/// Fewer powers of ten than this are parted further.
const FEW_DECADES: f64 = 2.5;

/// Ticks of a linear axis, at most so many, at round figures.
pub fn linear(from: f64, to: f64, most: usize) -> Vec<(f64, String)> {
    let span = to - from;
    if !(span.is_finite() && span > 0.0) {
        return Vec::new();
    }
    let least = span / most.max(1) as f64;
    let power = least.log10().floor();
    let steps = (0..2).flat_map(|more| STEPS.map(|step| step * 10f64.powf(power + f64::from(more))));
    let step = steps.into_iter().find(|step| *step >= least * 0.999_999).unwrap_or(span);
    let decimals = (-step.log10().floor()).clamp(0.0, 9.0) as usize;
    let first = (from / step - 1e-9).ceil() as i64;
    let last = (to / step + 1e-9).floor() as i64;
    (first..=last)
        .map(|count| {
            let value = count as f64 * step;
            (value, format!("{value:.decimals$}"))
        })
        .collect()
}

/// Ticks of a logarithmic axis: powers of ten, parted where these are few, left out where they are many.
pub fn logarithmic(from: f64, to: f64, most: usize) -> Vec<(f64, String)> {
    if !(from > 0.0 && to > from && to.is_finite()) {
        return Vec::new();
    }
    let (low, high) = (from.log10(), to.log10());
    let steps: &[f64] = if high - low < FEW_DECADES { &STEPS } else { &STEPS[..1] };
    let every = ((high - low) * steps.len() as f64 / most.max(1) as f64).ceil().max(1.0) as i32;
    (low.floor() as i32..=high.ceil() as i32)
        .filter(|power| power % every == 0 || steps.len() > 1)
        .flat_map(|power| steps.iter().map(move |step| (power, step * 10f64.powi(power))))
        .filter(|(_, value)| *value >= from * 0.999_999 && *value <= to * 1.000_001)
        .map(|(power, value)| (value, format!("{value:.*}", (-power).max(0) as usize)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(ticks: Vec<(f64, String)>) -> Vec<String> {
        ticks.into_iter().map(|(_, word)| word).collect()
    }

    #[test]
    fn ticks_are_round_and_few() {
        assert_eq!(words(linear(0.0, 70.0, 8)), ["0", "10", "20", "30", "40", "50", "60", "70"]);
        assert_eq!(words(linear(-0.31, 0.62, 5)), ["-0.2", "0.0", "0.2", "0.4", "0.6"]);
        assert_eq!(words(logarithmic(0.1, 2000.0, 8)), ["0.1", "1", "10", "100", "1000"]);
        assert_eq!(words(logarithmic(4.0, 30.0, 8)), ["5", "10", "20"]);
        for (from, to) in [(0.0, 0.0), (1.0, f64::NAN), (1.0, f64::INFINITY), (2.0, 1.0)] {
            assert!(linear(from, to, 5).is_empty() && logarithmic(from, to, 5).is_empty());
        }
    }
}
