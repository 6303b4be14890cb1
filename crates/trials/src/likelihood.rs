//! How well one trial agrees with a prediction `η` of it, and how fast that changes.
//!
//! | result | `−ln p(result | η)` |
//! |---|---|
//! | a figure `y` of standard deviation `σ` | `(η − y)² / 2σ²` |
//! | above a threshold `t` | `−ln Φ((η − t)/σ)` |
//! | below it | `−ln Φ((t − η)/σ)` |
//!
//! All are convex in `η`.
//!
//! # Source
//! Normal and probit likelihoods, and Laplace's continued fraction for the tail of `Φ` (textbook; recalled).

use barwright_blend::landmarks::LOWEST_LANDMARK_C;
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

use crate::trial::{
    DAY_HOURS, MIN_TUBE_SD_K, RELIEF_LN_SD, SHELF_SD_K, SHELF_SD_K_PER_LN_HOUR, TUBE_SD_K, Test, measured_kpa,
};

/// Below this, `ln Φ` is taken from a continued fraction: `Φ` itself would soon be 0.
const FAR_TAIL: f64 = -5.0;

/// Terms of that fraction: enough for the last digit.
const TAIL_TERMS: u32 = 60;

/// Smallest probability of a result that is told apart from 0, so that scores stay finite.
const MIN_PROBABILITY: f64 = 1e-300;

/// A yes or no: whether `η` is above (`sign` 1) or below (−1) a threshold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Step {
    threshold: f64,
    sd: f64,
    sign: f64,
}

/// The result of one trial.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Site {
    /// A figure.
    Figure { measured: f64, sd: f64 },
    /// One or two yeses and noes.
    Steps(Vec<Step>),
}

/// `−ln p` and its derivatives with `η`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Loss {
    pub value: f64,
    pub first: f64,
    pub second: f64,
}

impl Site {
    /// The result of a test on the scale of its prediction, see [`crate::reading`]; `None` when it teaches nothing.
    pub fn of(test: &Test) -> Option<Self> {
        use crate::trial::FIRMNESS_LN_SD;
        match *test {
            Test::Tube { melt_c, sd_k } => Some(Site::Figure {
                measured: melt_c.max(LOWEST_LANDMARK_C),
                sd: sd_k.unwrap_or(TUBE_SD_K).max(MIN_TUBE_SD_K),
            }),
            Test::Needle { .. } | Test::Rod { .. } => {
                Some(Site::Figure { measured: measured_kpa(test)?.ln(), sd: FIRMNESS_LN_SD })
            }
            Test::Shelf { at_c, hours, kept } => {
                let sd = SHELF_SD_K.hypot(SHELF_SD_K_PER_LN_HOUR * (hours / DAY_HOURS).ln());
                Some(Site::Steps(vec![Step { threshold: at_c, sd, sign: if kept { 1.0 } else { -1.0 } }]))
            }
            Test::Relief { survived_mm, broke_mm, .. } => {
                let step = |mm: f64, sign| Step { threshold: mm.ln(), sd: RELIEF_LN_SD, sign };
                let survived = survived_mm.map(|mm| step(mm, -1.0));
                let broke = broke_mm.map(|mm| step(mm, 1.0));
                Some(Site::Steps(survived.into_iter().chain(broke).collect()))
            }
            Test::Grain { .. } => None,
        }
    }

    /// Standard deviation of the test in the unit of `η`, the smallest of several.
    pub fn sd(&self) -> f64 {
        match self {
            Site::Figure { sd, .. } => *sd,
            Site::Steps(steps) => steps.iter().map(|step| step.sd).fold(f64::INFINITY, f64::min),
        }
    }

    /// `−ln p` of the result at a prediction, in the unit of the reading (see [`crate::reading`]).
    pub fn loss(&self, eta: f64) -> Loss {
        match self {
            Site::Figure { measured, sd } => {
                let residual = (eta - measured) / sd;
                Loss { value: 0.5 * residual * residual, first: residual / sd, second: 1.0 / (sd * sd) }
            }
            Site::Steps(steps) => steps.iter().map(|step| step.loss(eta)).fold(Loss::default(), |sum, one| Loss {
                value: sum.value + one.value,
                first: sum.first + one.first,
                second: sum.second + one.second,
            }),
        }
    }

    /// Probability of the result when the prediction, in the unit of the reading, is known to a variance; `None` for a figure.
    pub fn probability(&self, eta: f64, variance: f64) -> Option<f64> {
        match self {
            Site::Figure { .. } => None,
            Site::Steps(steps) => Some(steps.iter().map(|step| step.probability(eta, variance)).product()),
        }
    }

    /// How surprising the result is when the prediction is known to a variance, in standard deviations: signed for a figure (positive when the
    /// prediction is above it), for a yes or no the normal score of its probability, 0 when it is at least one half.
    pub fn surprise(&self, eta: f64, variance: f64) -> f64 {
        match self {
            Site::Figure { measured, sd } => (eta - measured) / (sd * sd + variance).sqrt(),
            Site::Steps(steps) => {
                let least = steps.iter().map(|step| step.probability(eta, variance)).fold(0.5, f64::min);
                // Adding zero turns the -0 of one half into 0.
                -Normal::standard().inverse_cdf(least.max(MIN_PROBABILITY)) + 0.0
            }
        }
    }
}

impl Step {
    fn loss(self, eta: f64) -> Loss {
        let scale = self.sign / self.sd;
        let x = scale * (eta - self.threshold);
        let (log, excess) = tail(x);
        let hazard = excess - x;
        Loss { value: -log, first: -hazard * scale, second: hazard * excess * scale * scale }
    }

    fn probability(self, eta: f64, variance: f64) -> f64 {
        Normal::standard().cdf(self.sign * (eta - self.threshold) / (self.sd * self.sd + variance).sqrt())
    }
}

/// `ln Φ(x)`, and `φ/Φ + x`, which is positive and falls to 0 far below.
///
/// Below [`FAR_TAIL`] by Laplace's continued fraction, `φ/Φ = y + 1/(y + 2/(y + 3/…))`, `y = −x`: nothing cancels.
fn tail(x: f64) -> (f64, f64) {
    let normal = Normal::standard();
    if x > FAR_TAIL {
        let below = normal.cdf(x);
        return (below.ln(), normal.pdf(x) / below + x);
    }
    let excess = (1..=TAIL_TERMS).rev().fold(0.0, |rest, k| f64::from(k) / (rest - x));
    (normal.ln_pdf(x) - (excess - x).ln(), excess)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn derivatives_are_those_of_the_value() {
        let relief = Test::Relief { survived_mm: Some(0.9), broke_mm: Some(0.5), release_c: 20.0 };
        let shelf = |kept| Test::Shelf { at_c: 40.0, hours: 6.0, kept };
        let tests = [
            (Test::Tube { melt_c: 55.0, sd_k: None }, 54.0),
            (shelf(true), 37.0),
            (shelf(false), 44.0),
            (relief, -0.3),
        ];
        for (test, eta) in tests {
            let site = Site::of(&test).unwrap();
            for eta in [eta, eta + 0.4, eta - 7.0, eta + 7.0] {
                let (low, here, high) = (site.loss(eta - 1e-4), site.loss(eta), site.loss(eta + 1e-4));
                let slope = |of: fn(&Loss) -> f64| (of(&high) - of(&low)) / 2e-4;
                let near = |a: f64, b: f64| (a - b).abs() < 1e-5 * (1.0 + a.abs());
                assert!(near(here.first, slope(|one| one.value)), "{test:?} {eta}");
                assert!(near(here.second, slope(|one| one.first)), "{test:?} {eta}");
                assert!(here.second >= 0.0);
            }
        }
        assert_eq!(Site::of(&Test::Grain { seen: true }), None);
    }

    #[test]
    fn the_far_tail_joins_the_rest() {
        // Source: ln(erfc(−x/√2)/2) with Python 3's `math.erfc`.
        for (x, log) in [(-20.0, -203.917_155_371_097_24), (-12.0, -75.410_673_001_568_78)] {
            assert!((tail(x).0 - log).abs() < 1e-12 * -log, "{x}: {}", tail(x).0);
        }
        let (inside, outside) = (tail(FAR_TAIL + 1e-12), tail(FAR_TAIL - 1e-12));
        assert!((inside.0 - outside.0).abs() < 1e-9 && (inside.1 - outside.1).abs() < 1e-9, "{inside:?} {outside:?}");
        assert!(tail(-1e3).0.is_finite() && tail(-1e3).1 > 0.0);
    }
}
