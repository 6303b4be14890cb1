//! Mean and covariance of the scores, from samples weighted by the true posterior.
//!
//! ```text
//! z = μ + s R_V ε + R_⊥ ε,      s² = ν / χ²_ν,      w ∝ exp(−U(z)) / q(z),      m = Σ w z / Σ w,      C = Σ w (z − m)(z − m)ᵀ / Σ w
//! ```
//! | symbol | what |
//! |---|---|
//! | `V` | directions in which the trials took away part of the prior's variance: eigenvectors of the Laplace covariance, eigenvalue below [`INFORMED`] |
//! | `R_V`, `R_⊥` | symmetric roots of the covariance within `V` and outside it |
//! | `ε` | standard normal, a Latin hypercube named by the scores, each draw with its mirror image |
//! | `q` | the density of such a `z`: a Student distribution of `ν` [`FREEDOM`] within `V`, whose wide tails catch those of the posterior |
//!
//! Two rounds: [`FIRST_ROUND`] samples about the mode, then, about the mean and with the covariance that these found within `V`, as many as
//! [`EFFECTIVE_SIZE`] asks for. Both are put together by their effective sizes `n = (Σ w)² / Σ w²`. What comes out counts as `n` samples against one for
//! each score on the side of the mode and its curvature: where a few samples carry all the weight, these stay.
//!
//! Roots are symmetric because the axes outside `V` have no order: so two runs that differ by rounding take the same samples.
//!
//! # Validity
//! Weights say nothing of a place where no sample came: other scores that agree with the trials, far from the mode, are not found.
//!
//! # Source
//! As [the module above](super).

use nalgebra::{DMatrix, DVector};

use super::budget::{FIRST_ROUND, is_affordable, most_samples};
use super::posterior::{INFORMED, Mode, Posterior, Spot};
use barwright_blend::BlendError;
use barwright_blend::sampling::Draws;

/// Effective size aimed at: the error of a mean is then 0.018 standard deviations.
const EFFECTIVE_SIZE: f64 = 3_000.0;

/// Degrees of freedom of the samples in the directions told of.
const FREEDOM: usize = 8;

/// Seeds of the two rounds.
const SEEDS: [u64; 2] = [1, 2];

/// Samples kept of what was learned, equally likely.
pub(super) const KEPT: usize = 1_000;

/// Effective size below which no samples are kept: few would stand many times.
const MIN_EFFECTIVE: f64 = 300.0;

/// A sample whose weight is less than `e` to minus this over the largest has none: thousands of them change no digit.
const NO_WEIGHT: f64 = 45.0;

/// Samples that are read side by side; the largest weight is looked up in between. A fixed number, so that the number of threads changes nothing.
const BLOCK: usize = 256;

/// Scores of a sample are kept to this.
const SAMPLE_DIGIT: f64 = 1e-4;

/// What the samples say.
pub(super) struct Found {
    pub gaussian: Gaussian,
    /// Equally likely; none where they would stand for too little.
    pub samples: Vec<Vec<f64>>,
}

/// Weighted samples.
struct Round {
    gaussian: Gaussian,
    /// Effective size.
    size: f64,
    offsets: Vec<DVector<f64>>,
    weights: Vec<f64>,
}

/// Mean and covariance of the scores.
#[derive(Debug, Clone)]
pub(super) struct Gaussian {
    pub mean: DVector<f64>,
    pub covariance: DMatrix<f64>,
}

impl Gaussian {
    /// A share of the way from here to another.
    fn towards(&self, other: &Gaussian, share: f64) -> Gaussian {
        Gaussian {
            mean: &self.mean + share * (&other.mean - &self.mean),
            covariance: &self.covariance + share * (&other.covariance - &self.covariance),
        }
    }
}

/// Where samples are taken.
pub(super) struct Proposal {
    mean: DVector<f64>,
    /// Symmetric root within the directions told of.
    pub inside: DMatrix<f64>,
    /// Symmetric root outside them.
    pub outside: DMatrix<f64>,
    /// Projector on the directions told of, and their number.
    projector: DMatrix<f64>,
    told: usize,
}

impl Proposal {
    /// About the mode.
    pub fn new(laplace: &Gaussian) -> Self {
        let count = laplace.mean.len();
        let eigen = laplace.covariance.clone().symmetric_eigen();
        let mut proposal = Proposal {
            mean: laplace.mean.clone(),
            inside: DMatrix::zeros(count, count),
            outside: DMatrix::zeros(count, count),
            projector: DMatrix::zeros(count, count),
            told: 0,
        };
        for (&value, axis) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
            let sd = value.max(0.0).sqrt();
            if value < INFORMED {
                proposal.inside.ger(sd, &axis, &axis, 1.0);
                proposal.projector.ger(1.0, &axis, &axis, 1.0);
                proposal.told += 1;
            } else {
                proposal.outside.ger(sd, &axis, &axis, 1.0);
            }
        }
        proposal
    }

    /// About another mean and with another covariance within the directions told of.
    fn moved(mut self, found: &Gaussian) -> Self {
        self.mean += &self.projector * (&found.mean - &self.mean);
        let within = (&self.projector * &found.covariance * &self.projector).symmetric_eigen();
        self.inside.fill(0.0);
        for (&value, axis) in within.eigenvalues.iter().zip(within.eigenvectors.column_iter()) {
            self.inside.ger(value.max(0.0).sqrt(), &axis, &axis, 1.0);
        }
        self
    }
}

impl Posterior<'_> {
    /// Mean and covariance of the scores, and samples of them.
    pub(super) fn moments(&mut self, mode: &Mode) -> Result<Found, BlendError> {
        let laplace = Gaussian { mean: mode.scores.clone(), covariance: mode.covariance() };
        let count = laplace.mean.len();
        let most = most_samples(self.readings.unlike());
        if count == 0 || !is_affordable(self.readings.unlike(), count) {
            return Ok(Found { gaussian: laplace, samples: Vec::new() });
        }
        let proposal = Proposal::new(&laplace);
        let Round { gaussian: first, size: first_size, .. } = self.round(&proposal, FIRST_ROUND, SEEDS[0])?;
        let worth = |size: f64| size / (size + count as f64);
        let proposal = proposal.moved(&laplace.towards(&first, worth(first_size)));
        let more = FIRST_ROUND as f64 * (EFFECTIVE_SIZE / first_size - 1.0);
        let second = self.round(&proposal, (more as usize).min(most - FIRST_ROUND), SEEDS[1])?;
        let size = first_size + second.size;
        let both = if size > 0.0 { first.towards(&second.gaussian, second.size / size) } else { first };
        let samples = if second.size < MIN_EFFECTIVE { Vec::new() } else { second.kept(&proposal.mean) };
        Ok(Found { gaussian: laplace.towards(&both, worth(size)), samples })
    }

    /// One round of samples: their weighted mean and covariance, and their effective size.
    fn round(&mut self, proposal: &Proposal, samples: usize, seed: u64) -> Result<Round, BlendError> {
        let draws = Draws::new(seed, samples / 2);
        let scores: Vec<Vec<f64>> = self.readings.names().iter().map(|name| draws.dimension(name)).collect();
        let breadths: Vec<Vec<f64>> = (0..FREEDOM).map(|part| draws.dimension(&format!("breadth {part}"))).collect();
        let (count, freedom) = (scores.len(), FREEDOM as f64);
        let epsilon = DMatrix::from_fn(count, draws.count(), |score, draw| scores[score][draw]);
        let within = &proposal.projector * &epsilon;
        let (inside, outside) = (&proposal.inside * &within, &proposal.outside * &epsilon);
        let drawn = (0..draws.count()).flat_map(|draw| {
            let chi_squared: f64 = breadths.iter().map(|part| part[draw] * part[draw]).sum();
            let breadth = (freedom / chi_squared).sqrt();
            let rest = (epsilon.column(draw) - within.column(draw)).norm_squared();
            let tail = (breadth * breadth * within.column(draw).norm_squared() / freedom).ln_1p();
            let log_density = -0.5 * ((freedom + proposal.told as f64) * tail + rest);
            let offset = breadth * inside.column(draw) + outside.column(draw);
            [(-&offset, log_density), (offset, log_density)]
        });
        let (offsets, log_densities): (Vec<DVector<f64>>, Vec<f64>) = drawn.unzip();
        let (mut logs, mut top) = (Vec::with_capacity(samples), f64::MIN);
        for (offsets, log_densities) in offsets.chunks(BLOCK).zip(log_densities.chunks(BLOCK)) {
            let spots = offsets
                .iter()
                .zip(log_densities)
                .map(|(offset, log_density)| (&proposal.mean + offset, NO_WEIGHT - top - log_density));
            let spots = self.spots_below(spots.collect())?;
            let log = |(spot, log_density): (Option<Spot>, &f64)| {
                spot.map_or(f64::NEG_INFINITY, |spot| -spot.energy - log_density)
            };
            logs.extend(spots.into_iter().zip(log_densities).map(log));
            top = logs.iter().copied().fold(top, f64::max);
        }
        let weights: Vec<f64> = logs.iter().map(|log| (log - top).exp()).collect();
        let total: f64 = weights.iter().sum();
        let mut gaussian = Gaussian { mean: DVector::zeros(count), covariance: DMatrix::zeros(count, count) };
        if total <= 0.0 {
            return Ok(Round { gaussian, size: 0.0, offsets, weights });
        }
        for (weight, offset) in weights.iter().zip(&offsets) {
            gaussian.mean.axpy(weight / total, offset, 1.0);
        }
        let far: Vec<DVector<f64>> = weights
            .iter()
            .zip(&offsets)
            .map(|(weight, offset)| (weight / total).sqrt() * (offset - &gaussian.mean))
            .collect();
        let far = DMatrix::from_columns(&far);
        gaussian.covariance = &far * far.transpose();
        gaussian.mean += &proposal.mean;
        let size = total * total / weights.iter().map(|weight| weight * weight).sum::<f64>();
        Ok(Round { gaussian, size, offsets, weights })
    }
}

impl Round {
    /// Equally likely samples in place of weighted ones: systematic resampling, every `Σ w / KEPT` along the sum of the weights.
    fn kept(&self, mean: &DVector<f64>) -> Vec<Vec<f64>> {
        let step = self.weights.iter().sum::<f64>() / KEPT as f64;
        let (mut kept, mut passed) = (Vec::with_capacity(KEPT), 0.0);
        for (offset, weight) in self.offsets.iter().zip(&self.weights) {
            passed += weight;
            while kept.len() < KEPT && passed > (kept.len() as f64 + 0.5) * step {
                let scores =
                    (mean + offset).iter().map(|score| (score / SAMPLE_DIGIT).round() * SAMPLE_DIGIT).collect();
                kept.push(scores);
            }
        }
        kept
    }
}
