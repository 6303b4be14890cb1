//! Seeded stratified draws for uncertainty: a Latin hypercube whose columns are found by name.
//!
//! Every uncertain figure (`melt:POS`, `lot:cocoa-butter:SOS`, `structuring:alkane`, ...) is one dimension. Its `count` draws are
//! the standard normal quantiles of `(k + 1/2) / count`, in an order shuffled by a generator seeded with the run's seed and the
//! dimension's name. So each dimension is evenly covered, the same seed gives the same bytes, adding an ingredient does not
//! disturb the others, and two formulas that share an ingredient share its draws: their difference is a paired one.
//!
//! # Source
//! McKay, Beckman and Conover 1979, Technometrics 21:239 (Latin hypercube; recalled).

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_pcg::Pcg64;
use statrs::distribution::{ContinuousCDF, Normal};

/// Source of draws.
#[derive(Debug, Clone)]
pub struct Draws {
    seed: u64,
    scores: Vec<f64>,
}

impl Draws {
    /// Prepares `count` draws per dimension.
    ///
    /// # Example
    /// ```
    /// let draws = barwright_blend::sampling::Draws::new(7, 256);
    /// let one = draws.dimension("melt:POS");
    /// assert_eq!(one, draws.dimension("melt:POS"));
    /// assert!(one.iter().sum::<f64>().abs() < 1e-9);
    /// ```
    pub fn new(seed: u64, count: usize) -> Self {
        let normal = Normal::standard();
        let scores = (0..count).map(|k| normal.inverse_cdf((k as f64 + 0.5) / count as f64)).collect();
        Draws { seed, scores }
    }

    /// No draws: central values alone.
    pub fn none() -> Self {
        Draws { seed: 0, scores: Vec::new() }
    }

    /// Number of draws per dimension.
    pub fn count(&self) -> usize {
        self.scores.len()
    }

    /// Returns the draws of the dimension called `name`, in standard deviations from its centre.
    pub fn dimension(&self, name: &str) -> Vec<f64> {
        let mut scores = self.scores.clone();
        let mut generator = Pcg64::seed_from_u64(self.seed ^ fnv1a(name.as_bytes()));
        scores.shuffle(&mut generator);
        scores
    }
}

/// 64-bit FNV-1a hash: short, fixed for all time, and the same on every machine.
pub fn fnv1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, &byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}
