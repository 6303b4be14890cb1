//! An estimate and its 90 % interval.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::statistics::{Data, OrderStatistics};

/// Share of draws below the lower end of an interval; the upper end mirrors it.
pub(crate) const TAIL: f64 = 0.05;

/// A value with its 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema, Deserialize)]
pub struct Estimate {
    /// Best estimate: every parameter at its central value.
    pub value: f64,
    /// 5 % of the draws lie below.
    pub low: f64,
    /// 5 % of the draws lie above.
    pub high: f64,
}

impl Estimate {
    /// Builds the interval of a value from draws of it; it always holds the value.
    ///
    /// # Arguments
    /// * `value`, `draws`: in the same unit, any.
    pub fn from_draws(value: f64, draws: Vec<f64>) -> Self {
        if draws.is_empty() {
            return Estimate { value, low: value, high: value };
        }
        let mut data = Data::new(draws);
        let (low, high) = (data.quantile(TAIL), data.quantile(1.0 - TAIL));
        Estimate { value, low: low.min(value), high: high.max(value) }
    }

    /// The same in another unit.
    ///
    /// # Arguments
    /// * `unit`: a rising function, which is applied to the value and to both ends.
    #[must_use]
    pub fn map(self, unit: impl Fn(f64) -> f64) -> Self {
        Estimate { value: unit(self.value), low: unit(self.low), high: unit(self.high) }
    }
}

/// One answer for the central model and for each draw.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread<T> {
    /// By the central model.
    pub central: T,
    /// In each draw.
    pub drawn: Vec<T>,
}

impl<T> Spread<T> {
    /// An estimate of something that is always there, in the unit of `of`.
    pub fn estimate(&self, of: impl Fn(&T) -> f64) -> Estimate {
        Estimate::from_draws(of(&self.central), self.drawn.iter().map(&of).collect())
    }

    /// An estimate of something that may not be there, in the unit of `of`: `None` when it is not by the central model; draws without it count as `missing`.
    pub fn estimate_or(&self, missing: f64, of: impl Fn(&T) -> Option<f64>) -> Option<Estimate> {
        let central = of(&self.central)?;
        let drawn = self.drawn.iter().map(|one| of(one).unwrap_or(missing)).collect();
        Some(Estimate::from_draws(central, drawn))
    }

    /// Share of the draws in which something holds; without draws, whether it does by the central model.
    ///
    /// # Example
    /// ```
    /// use barwright_blend::Spread;
    /// let melts = Spread { central: 40.0, drawn: vec![38.0, 39.0, 41.0, 44.0] };
    /// assert_eq!(melts.probability(|&melt_c| melt_c > 40.0), 0.5);
    /// ```
    pub fn probability(&self, holds: impl Fn(&T) -> bool) -> f64 {
        if self.drawn.is_empty() {
            return f64::from(u8::from(holds(&self.central)));
        }
        self.drawn.iter().filter(|one| holds(one)).count() as f64 / self.drawn.len() as f64
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp, clippy::unwrap_used)]
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

    #[test]
    fn an_interval_leaves_a_twentieth_on_either_side() {
        let draws: Vec<f64> = (0..10_000).map(|n| f64::from(n) / 9_999.0).collect();
        let estimate = Estimate::from_draws(0.5, draws);
        assert!((estimate.low - 0.05).abs() < 1e-3 && (estimate.high - 0.95).abs() < 1e-3, "{estimate:?}");
    }

    #[test]
    fn what_is_missing_by_the_central_model_is_missing_and_a_draw_without_it_counts() {
        let spread = Spread { central: Some(4.0), drawn: vec![Some(3.0), None, Some(5.0), None] };
        let found = spread.estimate_or(-20.0, |one| *one).unwrap();
        assert!(found.low < 0.0 && (found.value - 4.0).abs() < 1e-12 && found.high <= 5.0, "{found:?}");
        assert_eq!(Spread { central: None, ..spread }.estimate_or(-20.0, |one| *one), None);
        let sure = Spread { central: 7.0, drawn: vec![1.0, 2.0] };
        assert_eq!(sure.estimate(|one| 10.0 * one), Estimate::from_draws(70.0, vec![10.0, 20.0]));
    }

    #[test]
    fn the_odds_are_the_share_of_the_draws() {
        let melts = Spread { central: 40.0, drawn: vec![38.0, 39.0, 41.0, 44.0] };
        let above = |limit: f64| melts.probability(|&melt_c| melt_c > limit);
        assert_eq!([37.0, 38.5, 40.0, 43.0, 50.0].map(above), [1.0, 0.75, 0.5, 0.25, 0.0]);
    }

    #[test]
    fn without_draws_the_odds_are_those_of_the_central_model() {
        let alone = Spread { central: 1, drawn: Vec::new() };
        assert_eq!((alone.probability(|one| *one > 0), alone.probability(|one| *one > 1)), (1.0, 0.0));
    }
}
