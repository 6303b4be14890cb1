//! What one maker's own bench trials say of the scores behind the model's draws.
//!
//! Every uncertain figure of the model is drawn from a standard normal *score* with a name, see [`crate::sampling`]. Before any trial the scores
//! `z` are independent, of mean 0 and variance 1. Trials give some of them another distribution:
//!
//! ```text
//! z ~ N(m, C),      draw k:  z_k = m + G u_k,   C = G Gᵀ,   u_k the draw there would be without trials
//! ```
//! Where samples `z_j` of what was learned are known, they are drawn in place of `N(m, C)`, all scores of a draw from one sample: so an answer that is not linear in
//! the scores is as wide as the trials leave it. The central model moves to `m`. Scores without trials keep their draws to the last bit, and two formulas assessed with the same seed still
//! share theirs: a comparison stays a paired one.
//!
//! The parameters themselves are never changed: what was learned stands beside them, in [`crate::Model`].
//!
//! # Source
//! Draws of a normal distribution by the Cholesky factor of its covariance (textbook; recalled).

use barwright_reference::short;
use nalgebra::{Cholesky, DMatrix};
use statrs::distribution::{ContinuousCDF, Normal};
use thiserror::Error;

use crate::sampling::Draws;

/// Spread between casts: logarithm of the yield stress, in units of `cast_ln_sd`.
pub const CAST: &str = "cast";

/// What a rib of relief bears: logarithm, in units of `compliance_ln_sd`.
pub const COMPLIANCE: &str = "compliance";

/// Load that a standing bar carries: logarithm, in units of `load_ln_sd`.
pub const LOAD: &str = "load";

/// Holding below which oil weeps: logarithm, in units of `weep_ln_sd`.
pub const WEEP: &str = "weep";

/// Common shift of the melting points of a set of ingredients, in units of the discrepancy's `melt_shift_sd_k`.
pub const DISCREPANCY_MELT: &str = "beyond-melt";

/// How well the crystals of a set of ingredients hold oil: logarithm, in units of the discrepancy's `holding_ln_sd`.
pub const HOLDING: &str = "holding";

/// How the crystals of a set of ingredients work together: logarithm of the yield stress, in units of `interplay_ln_sd`.
pub const INTERPLAY: &str = "interplay";

/// What the model leaves out of a set, in the order in which [`crate::DiscrepancyDraws::at`] takes it.
pub const OF_SET: [&str; 3] = [DISCREPANCY_MELT, HOLDING, INTERPLAY];

/// Melting point of a species, in units of its own standard deviation: `melt:SPECIES`.
pub const MELT: &str = "melt";

/// Heat of fusion of a species, in units of its own standard deviation: `heat:SPECIES`.
pub const HEAT: &str = "heat";

/// Share of a species in an ingredient, in units of its own standard deviation: `lot:INGREDIENT:SPECIES`.
pub const LOT: &str = "lot";

/// Dimension of the draws that says which sample of what was learned is taken.
const SAMPLE: &str = "sample of what was learned";

/// How far from the model's own a score, or a sample of one, may lie, standard deviations of the prior.
///
/// Twelve sets of trials at odds with everything the model says taught means of up to 3.0 and samples of up to 6.1; no maker in
/// 10²² is 10 away.
pub const MAX_SDS: f64 = 10.0;

/// The largest variance of a score, in units of the prior's. Trials take variance away; those sets left up to 1.4.
pub const MAX_VARIANCE: f64 = 4.0;

/// How far the mean of the samples of a score may lie from its mean, standard deviations of what was learned; those sets had up to
/// 0.11.
pub const MAX_ASTRAY_SDS: f64 = 0.5;

/// Name of a score of a set of ingredients.
///
/// # Arguments
/// * `kind`: [`DISCREPANCY_MELT`], [`HOLDING`] or [`INTERPLAY`].
/// * `keys`: keys of the ingredients, in alphabetical order.
///
/// # Example
/// ```
/// use barwright_blend::maker::{HOLDING, of_set};
/// assert_eq!(of_set(HOLDING, &["beeswax", "sunflower-oil"]), "holding:beeswax+sunflower-oil");
/// ```
pub fn of_set(kind: &str, keys: &[&str]) -> String {
    format!("{kind}:{}", keys.join("+"))
}

/// Why what was learned cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum MakerError {
    /// Lists of different lengths.
    #[error("{names} names learned, but {found} {what}")]
    Length {
        /// How many names there are.
        names: usize,
        /// What was counted.
        what: &'static str,
        /// How many of it there are.
        found: usize,
    },
    /// A name given twice.
    #[error("`{name}` is learned twice")]
    Duplicate {
        /// The name.
        name: String,
    },
    /// A name this model does not draw.
    #[error("the model draws nothing called `{name}`")]
    UnknownName {
        /// The name.
        name: String,
    },
    /// A figure that is not a number, or a matrix that is not a covariance.
    #[error("the covariance of what was learned is not positive definite, or a figure is not finite")]
    NotPositive,
    /// A score further away than any maker's.
    #[error("`{name}` is learned to be {} standard deviations from the model's own, at most {most} are believed", short(*sds))]
    Far {
        /// The score.
        name: String,
        /// Its distance, with its sign, in standard deviations of the prior.
        sds: f64,
        /// The largest believed, [`MAX_SDS`].
        most: f64,
    },
    /// A score of which less is known than before any trial.
    #[error("the variance of `{name}` is {} times that before any trial, at most {most} is believed", short(*variance))]
    Vague {
        /// The score.
        name: String,
        /// Its variance, in units of the prior's.
        variance: f64,
        /// The largest believed, [`MAX_VARIANCE`].
        most: f64,
    },
    /// Samples of another distribution than that of the mean and covariance.
    #[error("the samples of `{name}` lie {} standard deviations from its mean, at most {most} are believed", short(*sds))]
    Astray {
        /// The score.
        name: String,
        /// Mean of the samples less the mean, in standard deviations of what was learned.
        sds: f64,
        /// The largest believed, [`MAX_ASTRAY_SDS`].
        most: f64,
    },
}

/// Refuses a score, or a sample of one, that lies too far away.
fn near(name: &str, sds: f64) -> Result<(), MakerError> {
    if sds.abs() <= MAX_SDS {
        return Ok(());
    }
    Err(MakerError::Far { name: name.to_owned(), sds, most: MAX_SDS })
}

/// Scores of one maker; [`Maker::default`] has learned nothing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Maker {
    pub(crate) names: Vec<String>,
    mean: Vec<f64>,
    /// Lower Cholesky factor of the covariance, row by row.
    root: Vec<Vec<f64>>,
    /// Samples of the distribution, a figure for each name; without any it is normal.
    samples: Vec<Vec<f64>>,
    trials: usize,
}

impl Maker {
    /// Makes a maker of what was learned.
    ///
    /// # Arguments
    /// * `names`: names of scores.
    /// * `mean`: of each score, within [`MAX_SDS`]; 0 is the model's own.
    /// * `covariance`: lower triangle with its diagonal, a row for each name; 1 and 0 are the model's own. Variances above 0, at
    ///   most [`MAX_VARIANCE`].
    /// * `trials`: how many trials it rests on.
    ///
    /// # Errors
    /// [`MakerError`]; whether the model knows the names is seen by [`crate::Model::taught`].
    ///
    /// # Example
    /// ```
    /// use barwright_blend::Maker;
    /// let maker = Maker::new(vec!["cast".into()], vec![0.8], &[vec![0.2]], 3)?;
    /// assert_eq!((maker.centre("cast"), maker.centre("load"), maker.trials()), (0.8, 0.0, 3));
    /// # Ok::<(), barwright_blend::maker::MakerError>(())
    /// ```
    pub fn new(names: Vec<String>, mean: Vec<f64>, covariance: &[Vec<f64>], trials: usize) -> Result<Self, MakerError> {
        let count = names.len();
        let length = |what, found| {
            if found == count { Ok(()) } else { Err(MakerError::Length { names: count, what, found }) }
        };
        length("means", mean.len())?;
        length("rows of the covariance", covariance.len())?;
        for (index, row) in covariance.iter().enumerate() {
            if row.len() != index + 1 {
                return Err(MakerError::Length { names: index + 1, what: "figures in its row", found: row.len() });
            }
        }
        for (index, name) in names.iter().enumerate() {
            if names[..index].contains(name) {
                return Err(MakerError::Duplicate { name: name.clone() });
            }
        }
        if mean.iter().chain(covariance.iter().flatten()).any(|figure| !figure.is_finite()) {
            return Err(MakerError::NotPositive);
        }
        for (name, (mean, row)) in names.iter().zip(mean.iter().zip(covariance)) {
            near(name, *mean)?;
            let variance = row.last().copied().unwrap_or_default();
            if variance > MAX_VARIANCE {
                return Err(MakerError::Vague { name: name.clone(), variance, most: MAX_VARIANCE });
            }
        }
        let full = DMatrix::from_fn(count, count, |i, j| covariance[i.max(j)][i.min(j)]);
        let lower = Cholesky::new(full).ok_or(MakerError::NotPositive)?.l();
        let root = (0..count).map(|i| (0..=i).map(|j| lower[(i, j)]).collect()).collect();
        Ok(Maker { names, mean, root, samples: Vec::new(), trials })
    }

    /// Adds samples of the distribution, to be drawn in place of a normal one of this mean and covariance.
    ///
    /// # Arguments
    /// * `samples`: equally likely, a score for each name in each; none to keep the normal distribution.
    ///
    /// # Errors
    /// [`MakerError`] for a sample with too few or too many figures, one that is not a number or too far away, or samples that lie
    /// elsewhere than the mean.
    ///
    /// # Example
    /// ```
    /// use barwright_blend::{Maker, sampling::Draws};
    /// let maker = Maker::new(vec!["cast".into()], vec![0.5], &[vec![0.25]], 3)?.with_samples(vec![vec![0.0], vec![1.0]])?;
    /// let drawn = maker.scores(&Draws::new(20, 8), "cast");
    /// assert_eq!(drawn.iter().filter(|score| **score == 1.0).count(), 4);
    /// # Ok::<(), barwright_blend::maker::MakerError>(())
    /// ```
    pub fn with_samples(mut self, samples: Vec<Vec<f64>>) -> Result<Self, MakerError> {
        for sample in &samples {
            if sample.len() != self.names.len() {
                return Err(MakerError::Length {
                    names: self.names.len(),
                    what: "figures in a sample",
                    found: sample.len(),
                });
            }
            if sample.iter().any(|figure| !figure.is_finite()) {
                return Err(MakerError::NotPositive);
            }
            self.names.iter().zip(sample).try_for_each(|(name, figure)| near(name, *figure))?;
        }
        let scores = if samples.is_empty() { [].iter() } else { self.names.iter() };
        for (index, (name, row)) in scores.zip(&self.root).enumerate() {
            let drawn = samples.iter().filter_map(|sample| sample.get(index)).sum::<f64>() / samples.len() as f64;
            let sd = row.iter().map(|factor| factor * factor).sum::<f64>().sqrt();
            let sds = (drawn - self.mean[index]) / sd;
            if sds.abs() > MAX_ASTRAY_SDS {
                return Err(MakerError::Astray { name: name.clone(), sds, most: MAX_ASTRAY_SDS });
            }
        }
        self.samples = samples;
        Ok(self)
    }

    /// Number of trials it rests on.
    pub fn trials(&self) -> usize {
        self.trials
    }

    /// Whether nothing was learned.
    pub(crate) fn is_empty(&self) -> bool {
        self.names.is_empty()
    }

    /// Mean of a score; 0 when nothing was learned of it.
    pub fn centre(&self, name: &str) -> f64 {
        self.position(name).and_then(|index| self.mean.get(index)).copied().unwrap_or(0.0)
    }

    /// Draws of a score; those of `draws` when nothing was learned of it.
    pub fn scores(&self, draws: &Draws, name: &str) -> Vec<f64> {
        let Some(index) = self.position(name) else { return draws.dimension(name) };
        if !self.samples.is_empty() {
            return self.sampled(draws, index);
        }
        let mut scores = vec![self.mean[index]; draws.count()];
        for (factor, other) in self.root[index].iter().zip(&self.names) {
            if *factor != 0.0 {
                for (score, u) in scores.iter_mut().zip(draws.dimension(other)) {
                    *score += factor * u;
                }
            }
        }
        scores
    }

    /// Draws of a score from the samples: one dimension names the sample of each draw, for all scores.
    fn sampled(&self, draws: &Draws, index: usize) -> Vec<f64> {
        let (normal, count) = (Normal::standard(), self.samples.len());
        let sample = |z: f64| ((normal.cdf(z) * count as f64) as usize).min(count - 1);
        let which = draws.dimension(SAMPLE).into_iter().map(sample);
        which.filter_map(|which| self.samples.get(which)?.get(index).copied()).collect()
    }

    fn position(&self, name: &str) -> Option<usize> {
        self.names.iter().position(|known| known == name)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::float_cmp)]
    use super::*;
    use crate::model::Model;
    use crate::model_draw::{ModelDraw, ModelDraws};

    fn maker() -> Maker {
        let names = ["yield", "cast", "exponent", "load", "beyond-melt:beeswax"].map(str::to_owned).to_vec();
        let covariance =
            [vec![0.5], vec![-0.3, 0.6], vec![0.1, 0.0, 0.9], vec![0.0, 0.0, 0.0, 0.4], vec![0.0, 0.1, 0.2, 0.0, 0.3]];
        Maker::new(names, vec![0.4, 0.2, -0.3, 1.1, -0.7], &covariance, 5).unwrap()
    }

    #[test]
    fn draws_have_the_mean_and_the_covariance_learned() {
        let (maker, draws) = (maker(), Draws::new(3, 20_000));
        let [one, two] = ["yield", "cast"].map(|name| maker.scores(&draws, name));
        let mean = |list: &[f64]| list.iter().sum::<f64>() / list.len() as f64;
        let product: Vec<f64> = one.iter().zip(&two).map(|(a, b)| (a - 0.4) * (b - 0.2)).collect();
        // Source: definition; a covariance from 20,000 draws has an error of about 0.005.
        assert!((mean(&one) - 0.4).abs() < 1e-9 && (mean(&two) - 0.2).abs() < 1e-9);
        assert!((mean(&product) + 0.3).abs() < 0.02, "{}", mean(&product));
    }

    #[test]
    fn what_is_not_learned_keeps_its_draws_and_nothing_learned_changes_nothing() {
        let draws = Draws::new(3, 64);
        assert_eq!(maker().scores(&draws, "weep"), draws.dimension("weep"));
        let plain = Model::builtin().unwrap();
        let taught = plain.clone().taught(Maker::default()).unwrap();
        assert_eq!(ModelDraws::new(&plain, &draws), ModelDraws::new(&taught, &draws));
        assert_eq!(ModelDraws::new(&plain, &draws).central, ModelDraw::at(&plain.parameters, |_| 0.0));
        let taught = plain.clone().taught(maker()).unwrap();
        let (before, after) = (ModelDraws::new(&plain, &draws), ModelDraws::new(&taught, &draws));
        for (a, b) in before.drawn.iter().zip(&after.drawn) {
            assert_eq!((&a.delta, &a.misfit, a.weep_below), (&b.delta, &b.misfit, b.weep_below));
            assert!(a.load_kpa != b.load_kpa && a.yield_kpa != b.yield_kpa);
        }
        assert!(after.central.load_kpa > before.central.load_kpa);
    }

    #[test]
    fn one_draw_is_the_model_at_its_scores() {
        let plain = Model::builtin().unwrap();
        let draws = Draws::new(9, 4);
        let drawn = ModelDraws::new(&plain, &draws).drawn;
        for (k, one) in drawn.into_iter().enumerate() {
            let mut again = ModelDraw::at(&plain.parameters, |name| draws.dimension(name)[k]);
            again.heat = one.heat;
            assert_eq!(format!("{one:.9?}"), format!("{again:.9?}"));
        }
    }

    #[test]
    fn a_score_no_maker_has_is_refused_with_its_figures() {
        let make = |mean, variance| Maker::new(vec!["cast".to_owned()], vec![mean], &[vec![variance]], 1);
        assert!(make(MAX_SDS, MAX_VARIANCE).is_ok() && make(-MAX_SDS, 1e-9).is_ok());
        for mean in [-1e4, -50.0, 1.001 * MAX_SDS, 50.0, 1e300] {
            let far = MakerError::Far { name: "cast".to_owned(), sds: mean, most: MAX_SDS };
            assert_eq!(make(mean, 1.0), Err(far));
        }
        for variance in [1.001 * MAX_VARIANCE, 1e300] {
            let vague = MakerError::Vague { name: "cast".to_owned(), variance, most: MAX_VARIANCE };
            assert_eq!(make(0.0, variance), Err(vague));
        }
        let told = make(0.0, 1e300).unwrap_err().to_string();
        assert_eq!(told, "the variance of `cast` is 1.00e300 times that before any trial, at most 4 is believed");
        assert_eq!(make(0.0, 0.0), Err(MakerError::NotPositive));
        let sampled = |figure: f64| make(0.5, 0.25).unwrap().with_samples(vec![vec![figure]; 3]);
        assert!(sampled(0.5).is_ok() && sampled(0.75).is_ok());
        let astray = MakerError::Astray { name: "cast".to_owned(), sds: 3.0, most: MAX_ASTRAY_SDS };
        assert_eq!(sampled(2.0), Err(astray));
        assert!(matches!(sampled(-1e4), Err(MakerError::Far { sds: -1e4, .. })));
        assert_eq!(sampled(f64::INFINITY), Err(MakerError::NotPositive));
        assert_eq!(make(0.5, 0.25).unwrap().with_samples(vec![]), make(0.5, 0.25));
    }

    #[test]
    fn what_makes_no_distribution_is_refused() {
        let named = |names: &[&str]| names.iter().map(|&name| name.to_owned()).collect::<Vec<_>>();
        let make = |names: &[&str], mean: &[f64], rows: &[Vec<f64>]| Maker::new(named(names), mean.to_vec(), rows, 1);
        assert!(matches!(make(&["cast"], &[], &[vec![1.0]]), Err(MakerError::Length { .. })));
        assert!(matches!(make(&["cast"], &[0.0], &[vec![]]), Err(MakerError::Length { .. })));
        assert_eq!(make(&["cast"], &[0.0], &[vec![-1.0]]), Err(MakerError::NotPositive));
        assert_eq!(make(&["cast"], &[f64::NAN], &[vec![1.0]]), Err(MakerError::NotPositive));
        let twice = make(&["cast", "cast"], &[0.0, 0.0], &[vec![1.0], vec![0.0, 1.0]]);
        assert!(matches!(twice, Err(MakerError::Duplicate { .. })));
        let unknown = make(&["gloss:POS"], &[0.0], &[vec![1.0]]).unwrap();
        let answer = Model::builtin().unwrap().taught(unknown);
        assert!(matches!(answer, Err(MakerError::UnknownName { .. })));
    }
}
