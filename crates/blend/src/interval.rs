//! An estimate and its 90 % interval.

use serde::{Deserialize, Serialize};
use statrs::statistics::{Data, OrderStatistics};

/// Share of draws below the lower end of an interval; the upper end mirrors it.
pub const TAIL: f64 = 0.05;

/// A value with its 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best estimate: every parameter at its central value.
    pub value: f64,
    /// 5 % of the draws lie below.
    pub low: f64,
    /// 5 % of the draws lie above.
    pub high: f64,
}

impl Estimate {
    /// Builds the interval of `value` from `draws`; the interval always holds the value.
    ///
    /// # Example
    /// ```
    /// use barwright_blend::interval::Estimate;
    /// let draws = (0..=100).map(f64::from).collect();
    /// let estimate = Estimate::from_draws(50.0, draws);
    /// assert!((estimate.low - 5.0).abs() < 1.0 && (estimate.high - 95.0).abs() < 1.0);
    /// ```
    pub fn from_draws(value: f64, draws: Vec<f64>) -> Self {
        if draws.is_empty() {
            return Estimate { value, low: value, high: value };
        }
        let mut data = Data::new(draws);
        let (low, high) = (data.quantile(TAIL), data.quantile(1.0 - TAIL));
        Estimate { value, low: low.min(value), high: high.max(value) }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp)]
    use super::*;

    #[test]
    fn without_draws_the_interval_is_the_value() {
        assert_eq!(Estimate::from_draws(3.0, Vec::new()), Estimate { value: 3.0, low: 3.0, high: 3.0 });
    }

    #[test]
    fn a_value_beyond_its_draws_widens_the_interval() {
        let estimate = Estimate::from_draws(9.0, vec![1.0, 2.0, 3.0]);
        assert_eq!(estimate.high, 9.0);
        assert!(estimate.low < 2.0);
    }
}
