//! The firmness of a bar that was measured, not predicted: its formula need not be known.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use crate::interval::{Estimate, Spread, TAIL};
use crate::sampling::Draws;

/// A yield stress as measured: log-normal.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MeasuredYield {
    /// Best value, kPa.
    pub kpa: f64,
    /// Standard deviation of its logarithm.
    pub ln_sd: f64,
}

impl MeasuredYield {
    /// Whether it is one: a yield stress above 0 with a spread of 0 or more.
    pub fn is_sound(&self) -> bool {
        self.kpa > 0.0 && self.kpa.is_finite() && self.ln_sd >= 0.0 && self.ln_sd.is_finite()
    }

    /// The yield stress in every draw, kPa.
    ///
    /// `ln τ_k = ln τ + s z_k`, `z` a dimension of the draws of its own: what was measured owes nothing to the model.
    ///
    /// # Arguments
    /// * `temperature_c`: of the measurement, °C; each has a dimension of its own.
    /// * `draws`: those of the bars it is held against.
    ///
    /// # Example
    /// ```
    /// use barwright_blend::{MeasuredYield, sampling::Draws};
    /// let measured = MeasuredYield { kpa: 70.0, ln_sd: 0.3 };
    /// let drawn = measured.spread(20.0, &Draws::new(7, 100)).drawn;
    /// assert_eq!(drawn.iter().filter(|kpa| **kpa > 70.0).count(), 50);
    /// ```
    ///
    /// # Source
    /// As [`crate::sampling`].
    pub fn spread(&self, temperature_c: f64, draws: &Draws) -> Spread<f64> {
        let scores = draws.dimension(&format!("measured:{temperature_c}"));
        Spread { central: self.kpa, drawn: scores.iter().map(|score| self.kpa * (self.ln_sd * score).exp()).collect() }
    }

    /// The yield stress with its 90 % interval, kPa.
    ///
    /// # Source
    /// Quantiles of the log-normal distribution (textbook; recalled).
    pub fn estimate(&self) -> Estimate {
        let reach = (self.ln_sd * Normal::standard().inverse_cdf(1.0 - TAIL)).exp();
        Estimate { value: self.kpa, low: self.kpa / reach, high: self.kpa * reach }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The draws have the spread that was measured, and each temperature draws on its own.
    #[test]
    fn draws_have_the_measured_spread() {
        let draws = Draws::new(20, 4096);
        let measured = MeasuredYield { kpa: 70.0, ln_sd: 0.3 };
        let logs = |at_c| -> Vec<f64> {
            measured.spread(at_c, &draws).drawn.iter().map(|kpa| (kpa / 70.0).ln() / 0.3).collect()
        };
        let (cool, warm) = (logs(20.0), logs(30.0));
        let moment = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>() / a.len() as f64;
        assert!((moment(&cool, &cool) - 1.0).abs() < 0.01, "{}", moment(&cool, &cool));
        assert!(moment(&cool, &warm).abs() < 0.05, "{}", moment(&cool, &warm));
    }

    #[test]
    fn the_interval_leaves_a_twentieth_on_either_side() {
        let estimate = MeasuredYield { kpa: 70.0, ln_sd: 0.3 }.estimate();
        // 1.6449 standard deviations, textbook.
        assert!(((estimate.high / 70.0).ln() / 0.3 - 1.6449).abs() < 1e-4, "{estimate:?}");
        assert!(((70.0 / estimate.low).ln() / 0.3 - 1.6449).abs() < 1e-4, "{estimate:?}");
    }

    #[test]
    fn what_is_no_yield_stress_is_not_sound() {
        let sound = |kpa, ln_sd| MeasuredYield { kpa, ln_sd }.is_sound();
        assert!(sound(70.0, 0.0) && sound(0.01, 2.0));
        assert!(!sound(0.0, 0.3) && !sound(70.0, -0.1) && !sound(f64::NAN, 0.3) && !sound(70.0, f64::INFINITY));
    }
}
