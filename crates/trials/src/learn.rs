//! A maker's own scores from all trials: their most likely values by Laplace's approximation, then mean and covariance from samples weighted by the true
//! posterior.
//!
//! ```text
//! U(z) = ½ zᵀz + Σ_i w_i (−ln p_i(result | η_i(z))),        mode ẑ = arg min U,     C = (1 + Jᵀ W J)⁻¹,   W = diag(w_i ∂²(−ln p_i)/∂η²)
//! ```
//! | symbol | what |
//! |---|---|
//! | `z` | scores of the model's draws, standard normal before any trial: the spreads of `model.toml` are the prior |
//! | `η_i` | what the model says of trial `i` |
//! | `J` | `∂η/∂z` |
//! | `w_i` | 1; less for a trial that does not fit |
//!
//! The mode of a curved posterior is not its mean, and its curvature there not its width. Samples about `ẑ` with a spread like `C`, weighted by the true
//! posterior, give both (`learn/moments.rs`). With trials of more than about 40 unlike readings they would cost more than a second, and a few would
//! carry all the weight: there `ẑ` and `C` stand.
//!
//! Learned are the scores that the trials can tell something of, out of all that the model draws: this maker's casts (`yield`, `cast`, `exponent`,
//! `softening`), relief (`compliance`), warmth (`load`, `weep`), what the model leaves out of a set of ingredients (`beyond-melt`, `holding`, `interplay`), the
//! crystal families, the species, and the lots this maker has. For each trial the fewest are kept that leave out no more than [`NEGLIGIBLE`] of
//! the variance of its result. So a trial says most of other proportions of the same ingredients, less of bars that share some of them, and of others
//! only what lies in the maker's hand. Where two scores move a result alike, their sum is found, which is all that a prediction needs.
//!
//! A trial is flagged when it lies more than [`FLAG_LIMIT`] standard deviations from what the prior *and all other trials* say of it (left out by
//! algebra, not by another fit). Its weight is then `(limit / distance)⁴`, so that the further off it is the less it moves.
//!
//! # Validity
//! * Against long random walks over the true posterior of five cases, means are off by 0.02, 0.02, 0.02, 0.02 and 0.04 standard deviations in the worst score,
//!   standard deviations by 1, 2, 3, 1 and 3 % (`learn/tests.rs`). Where the mode and its curvature stand, by 0.06 to 0.17, and 1 to 26 %.
//! * On 200 makers drawn from the whole model, 90 % intervals of a yield stress hold the truth 88 to 92 % of the time after 1, 3 and 10 trials, those of a slip
//!   point 95, 89 and 95 %. What is learned is handed on as samples: slip points are not linear in the scores where crystal families come and go, and a Gaussian of the same
//!   mean and covariance does not follow (it held 95, 98 and 100 %). Where the mode and its curvature stand, the Gaussian is all there is, and wider than it need be.
//! * Lots are learned under the key of their ingredient. A new delivery is a new lot: give it a key of its own, or its composition is taken for that of the
//!   last.
//! * With many trials that contradict each other every step ends at a corner; after [`MAX_CORNERS`] of them, or [`MAX_STEPS`], the lowest point found stands, and
//!   what does not fit is flagged. Once the weights stand, such a point is looked around along every score. Another path to it may end up to [`STALL_GAIN`] lower in `U`.
//! * Where a crystal family appears the model has a corner. The mode is then the lowest point around, and slopes are taken over a third of a standard
//!   deviation of the prior. Trials are flagged by the mode and its curvature.
//!
//! # Source
//! Laplace's approximation: textbook. Gauss–Newton with the damping of Marquardt 1963, J. Soc. Ind. Appl. Math. 11:431, led by
//! the gain that a step was promised and had, as in Moré 1978, Lect. Notes Math. 630:105 (both recalled). The site taken out of
//! a Gaussian: Opper & Winther 2000, Neural Comput. 12:2655 (recalled). Weighted samples in two rounds: Oh & Berger 1992, J. Stat. Comput. Simul. 41:143
//! (adaptive importance sampling; recalled); their effective size: Kong, Liu & Wong 1994, J. Am. Stat. Assoc. 89:278 (recalled).

use barwright_blend::maker::Maker;
use barwright_blend::{Model, Parameters};
use barwright_reference::Library;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use self::moments::{Found, Gaussian};
use self::posterior::Posterior;
pub use self::posterior::{
    COARSE, CREEP_SHARE, FLAG_LIMIT, FLAG_ROUNDS, GAIN_TOLERANCE, MAX_CORNERS, MAX_STEPS, NEGLIGIBLE, PROBES,
    STALL_GAIN, STALL_STEPS,
};
use crate::error::{LearnError, LearnedError};
use crate::trial::Trial;

/// A trial that does not fit.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema, Deserialize)]
pub struct Flag {
    /// Its position among the trials, from 0.
    pub trial: usize,
    /// Its label.
    pub label: String,
    /// Distance from what the prior and all other trials predict, standard deviations. For a figure, positive when the prediction is above what was
    /// measured.
    pub surprise: f64,
    /// Weight it was given, below 1.
    pub weight: f64,
}

/// One score, as learned.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Told {
    /// Its name.
    pub name: String,
    /// Mean; 0 is the model's own, 1 a standard deviation of the prior above.
    pub mean: f64,
    /// Standard deviation; 1 before any trial.
    pub sd: f64,
    /// Share of the prior's variance that the trials took away, `1 − sd²`; none where they contradict each other so that more is left.
    pub share: f64,
}

/// What was learned of one maker.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Learned {
    /// Names of scores, in alphabetical order.
    pub names: Vec<String>,
    /// Mean of each; 0 is the model's own, 1 a standard deviation of the prior above.
    pub mean: Vec<f64>,
    /// Covariance, lower triangle with its diagonal; 1 and 0 before any trial.
    pub covariance: Vec<Vec<f64>>,
    /// Samples of the scores, equally likely, a figure for each name; none where the trials are too many to take them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub samples: Vec<Vec<f64>>,
    /// Number of trials it rests on, including flagged ones.
    pub trials: usize,
    /// Number of trials that teach nothing, because the model has no parameter for them.
    pub untaught: usize,
    /// Trials that do not fit.
    pub flagged: Vec<Flag>,
}

impl Learned {
    /// Returns what was learned in the form that the blend model takes.
    ///
    /// # Errors
    /// [`LearnedError`] when it is not what [`learn`] returned, because it was changed since.
    pub fn maker(&self) -> Result<Maker, LearnedError> {
        if !self.names.is_empty() && self.trials == 0 {
            return Err(LearnedError::Untold { scores: self.names.len() });
        }
        if self.samples.len() > moments::KEPT {
            return Err(LearnedError::Samples { found: self.samples.len(), most: moments::KEPT });
        }
        let trials = self.trials.saturating_add(self.untaught);
        let mut before = None;
        for flag in &self.flagged {
            let number = flag.trial.saturating_add(1);
            if number > trials || before >= Some(flag.trial) {
                return Err(LearnedError::Flag { number, trials });
            }
            before = Some(flag.trial);
            if !(flag.weight > 0.0 && flag.weight < 1.0 && flag.surprise.is_finite()) {
                return Err(LearnedError::Weight { number, weight: flag.weight, surprise: flag.surprise });
            }
        }
        let maker = Maker::new(self.names.clone(), self.mean.clone(), &self.covariance, self.trials)?;
        Ok(maker.with_samples(self.samples.clone())?)
    }

    /// Every score, the one that the trials say most about first; ties by name.
    ///
    /// # Example
    /// ```
    /// let learned = barwright_trials::Learned {
    ///     names: vec!["cast".into(), "load".into()],
    ///     mean: vec![0.1, 0.4],
    ///     covariance: vec![vec![0.9], vec![0.0, 0.5]],
    ///     samples: vec![],
    ///     trials: 1,
    ///     untaught: 0,
    ///     flagged: vec![],
    /// };
    /// assert_eq!((learned.told()[0].name.as_str(), learned.told()[0].share), ("load", 0.5));
    /// ```
    pub fn told(&self) -> Vec<Told> {
        let variances = self.covariance.iter().map(|row| row.last().copied().unwrap_or(1.0));
        let mut told: Vec<Told> = (self.names.iter().zip(&self.mean).zip(variances))
            .map(|((name, &mean), variance)| Told {
                name: name.clone(),
                mean,
                sd: variance.sqrt(),
                share: (1.0 - variance).max(0.0),
            })
            .collect();
        told.sort_by(|a, b| b.share.total_cmp(&a.share).then_with(|| a.name.cmp(&b.name)));
        told
    }

    /// The model with what was learned beside its parameters: every answer computed with it, by [`barwright_blend::assess()`] or any other function, then
    /// draws this maker's scores.
    ///
    /// # Arguments
    /// * `parameters`: those it was learned with.
    ///
    /// # Errors
    /// [`LearnedError`].
    pub fn applied(&self, parameters: &Parameters) -> Result<Model, LearnedError> {
        Ok(Model::from(parameters.clone()).taught(self.maker()?)?)
    }
}

/// Learns a maker's own scores from bench trials.
///
/// `z | trials ≈ N(m, C)`, mean and covariance of the posterior, see [the module](self).
///
/// # Arguments
/// * `library`: reference tables, with the maker's lots.
/// * `parameters`: those of the model, whose spreads are the prior; what was learned before is not used: give all trials.
/// * `trials`: all trials of the maker, in any order.
///
/// # Returns
/// Means and covariance of the scores, and which trials do not fit.
///
/// # Errors
/// [`LearnError`].
///
/// # Validity
/// See [the module](self).
///
/// # Example
/// A maker whose bars are firmer than the model expects:
/// ```
/// use barwright_blend::{Model, Options, assess};
/// use barwright_reference::{Library, formula};
/// use barwright_trials::{Test, Trial, learn};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let model = Model::builtin()?;
/// let reading = formula::read_inline("beeswax 30, cocoa butter 30, sunflower oil 40", "bar", &library)?;
/// let bar = &reading.formulas[0];
/// let before = assess(&library, &model, bar, &Options::default())?.firmness[0].yield_stress_kpa;
/// let grams = barwright_trials::trial::grams_from_yield(3.0, 2.0 * before.value);
/// let rod = |n: u32| Trial {
///     label: format!("rod {n}"), formula: bar.clone(), days: 7.0, tempered: false,
///     test: Test::Rod { diameter_mm: 3.0, grams, at_c: 20.0 },
/// };
/// let learned = learn(&library, &model.parameters, &[rod(1), rod(2), rod(3)])?;
/// let after = assess(&library, &learned.applied(&model.parameters)?, bar, &Options::default())?;
/// let firmness = after.firmness[0].yield_stress_kpa;
/// assert!(firmness.value > 1.5 * before.value);
/// assert!(firmness.high / firmness.low < before.high / before.low);
/// assert_eq!(after.trials, 3);
/// # Ok(())
/// # }
/// ```
///
/// # Source
/// See [the module](self).
pub fn learn(library: &Library, parameters: &Parameters, trials: &[Trial]) -> Result<Learned, LearnError> {
    Ok(fit(library, parameters, trials)?.learned)
}

/// What was learned, where the search ended, and what it took.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// What was learned.
    pub learned: Learned,
    /// `U` at the mode, with the weights found.
    pub energy: f64,
    /// Readings of one quantity off one bar that the search for the mode took, those behind slopes included.
    pub search_readings: usize,
    /// The same of the samples.
    pub sample_readings: usize,
}

/// Learns as [`learn`] does, and tells how the search went.
///
/// # Arguments
/// As those of [`learn`].
///
/// # Errors
/// [`LearnError`].
pub fn fit(library: &Library, parameters: &Parameters, trials: &[Trial]) -> Result<Fit, LearnError> {
    for (index, trial) in trials.iter().enumerate() {
        let fault = |error| LearnError::Trial { number: index + 1, label: trial.label.clone(), error };
        trial.check().map_err(fault)?;
    }
    let mut posterior = Posterior::new(library, parameters, trials)?;
    let mode = posterior.robust_mode()?;
    let flagged =
        trials.iter().enumerate().filter(|(index, _)| posterior.weights[*index] < 1.0).map(|(index, trial)| {
            let surprise = posterior.surprise(index, &mode);
            Flag { trial: index, label: trial.label.clone(), surprise, weight: posterior.weights[index] }
        });
    let flagged = flagged.collect();
    let energy = posterior.energy(&mode.scores, &mode.values);
    let search_readings = posterior.readings.taken();
    let taught = posterior.sites.iter().flatten().count();
    let Found { gaussian: Gaussian { mean, covariance }, samples } = posterior.moments(&mode)?;
    let learned = Learned {
        mean: mean.iter().copied().collect(),
        covariance: (0..covariance.nrows()).map(|i| (0..=i).map(|j| covariance[(i, j)]).collect()).collect(),
        samples,
        trials: taught,
        untaught: trials.len() - taught,
        flagged,
        names: posterior.readings.names().to_vec(),
    };
    learned.maker()?;
    let sample_readings = posterior.readings.taken() - search_readings;
    Ok(Fit { learned, energy, search_readings, sample_readings })
}

mod budget;
mod moments;
mod posterior;

#[cfg(test)]
mod tests;
