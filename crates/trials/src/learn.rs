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
//! only what lies in the maker's hand. Where two scores move a result alike, their sum is found, which is all that a prediction asks for.
//!
//! A trial is flagged when it lies more than [`FLAG_LIMIT`] standard deviations from what the prior *and all other trials* say of it (left out by
//! algebra, not by another fit). Its weight is then `(limit / distance)⁴`, so that the further off it is the less it moves.
//!
//! # Validity
//! * Against long random walks over the true posterior of five cases, means are off by 0.02, 0.02, 0.02, 0.02 and 0.04 standard deviations in the worst score,
//!   standard deviations by 1, 2, 3, 1 and 3 % (`learn/tests.rs`). Where the mode and its curvature stand, by 0.06 to 0.17, and 1 to 26 %.
//! * On 200 makers drawn from the whole model, 90 % intervals of a yield stress hold the truth 88 to 92 % of the time after 1, 3 and 10 trials, those of a slip
//!   point 95, 89 and 95 %. What is learned is handed on as samples: slip points bend with the scores where crystal families come and go, and a Gaussian of the same
//!   mean and covariance does not follow (it held 95, 98 and 100 %). Where the mode and its curvature stand, the Gaussian is all there is, and wider than need be.
//! * Lots are learned under the key of their ingredient. A new delivery is a new lot: give it a key of its own, or its composition is taken for that of the
//!   last.
//! * With many trials that contradict each other every step ends at a corner; after [`MOST_CORNERS`] of them the lowest point found stands, and what does not fit
//!   is flagged.
//! * Where a crystal family appears the model has a corner. The mode is then the lowest point around, and slopes are taken over a third of a standard
//!   deviation of the prior. Trials are flagged by the mode and its curvature.
//!
//! # Source
//! Laplace's approximation: textbook. Gauss–Newton with the damping of Marquardt 1963, J. Soc. Ind. Appl. Math. 11:431, led by
//! the gain that a step was promised and had, as in Moré 1978, Lect. Notes Math. 630:105 (both recalled). The site taken out of
//! a Gaussian: Opper & Winther 2000, Neural Comput. 12:2655 (recalled). Weighted samples in two rounds: Oh & Berger 1992, J. Stat. Comput. Simul. 41:143
//! (adaptive importance sampling; recalled); their effective size: Kong, Liu & Wong 1994, J. Am. Stat. Assoc. 89:278 (recalled).

use std::collections::BTreeSet;

use barwright_blend::maker::{Maker, MakerError};
use barwright_blend::{BlendError, Parameters};
use barwright_reference::Library;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use self::moments::{Found, Gaussian};
use crate::likelihood::Site;
use crate::reading::{Readings, Value};
use crate::trial::{Trial, TrialError};

/// A trial further than this from what all else says is flagged, standard deviations: one good trial in 2,000 is.
pub const FLAG_LIMIT: f64 = 3.5;

/// Converged when another step would gain less than this in `U`: the mode is then found within a thousandth of a standard deviation.
pub const GAIN_TOLERANCE: f64 = 1e-6;

/// Where slopes help no further, a point counts as the mode when none these many standard deviations away, along either side of every axis of the
/// posterior, is lower.
pub const PROBES: [f64; 3] = [0.3, 0.1, 0.03];

/// Steps that together gain less than [`STALL_GAIN`] are not worth another: at a corner of the model they zigzag.
pub const STALL_STEPS: usize = 4;

/// Gain in `U` of [`STALL_STEPS`] steps that still counts: about a seventh of a standard deviation.
pub const STALL_GAIN: f64 = 1e-2;

/// Damped steps that together gain less than this share of what the curvature promises creep along a corner of the model, which is then searched around (judgement).
pub const CREEP_SHARE: f64 = 0.1;

/// Corners of the model that are searched around, in all rounds together: with trials that contradict each other there is one at every step. Beyond these the
/// point reached stands.
pub const MOST_CORNERS: usize = 8;

/// Steps before giving up.
pub const MAX_STEPS: usize = 60;

/// Share of the variance of one result that the scores left out of learning may make up together. They scatter on in every prediction, and ten trials leave a
/// slip point a twentieth of its variance: with a hundredth left out its intervals held 98 in 100 after ten trials, with a five-hundredth 95.5.
pub const NEGLIGIBLE: f64 = 0.001;

/// The same where samples of all those scores would cost too much, and a Gaussian stands for them: its intervals are wider than need be in any case.
pub const COARSE: f64 = 0.01;

/// Rounds of flagging before the weights are taken as they are.
pub const FLAG_ROUNDS: usize = 12;

/// Change of a weight that counts as none.
const WEIGHT_TOLERANCE: f64 = 1e-3;

/// First damping, over the diagonal.
const FIRST_DAMPING: f64 = 1e-3;

/// Factor of damping from one try to the next.
const DAMPING_FACTOR: f64 = 10.0;

/// Damping beyond which no step helps.
const LARGEST_DAMPING: f64 = 1e5;

/// Shares of the promised gain below which a step calls for more damping, and from which on for less.
const POOR_SHARE: f64 = 0.25;
const GOOD_SHARE: f64 = 0.75;

/// Why nothing was learned.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LearnError {
    /// A trial that makes no sense.
    #[error("trial {number}{}: {error}", if label.is_empty() { String::new() } else { format!(" ({label})") })]
    Trial {
        /// Which one, from 1.
        number: usize,
        /// Its label.
        label: String,
        /// What is wrong with it.
        error: TrialError,
    },
    /// The blend model failed.
    #[error(transparent)]
    Blend(#[from] BlendError),
    /// What was learned is no maker: a score lies where none can.
    #[error("what the trials say together cannot be: {0}")]
    Beyond(#[from] LearnedError),
    /// The mode was not found.
    #[error("no most likely maker found in {steps} steps; another step would still gain {gain:.1e}")]
    NotConverged {
        /// Steps made.
        steps: usize,
        /// What another step would gain in `U`.
        gain: f64,
    },
}

/// Why what was learned cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LearnedError {
    /// Its scores are those of no maker.
    #[error(transparent)]
    Maker(#[from] MakerError),
    /// Scores without a trial to learn them from.
    #[error("{scores} scores are learned from no trial")]
    Untold {
        /// How many scores there are.
        scores: usize,
    },
    /// More samples than are ever kept.
    #[error("there are {found} samples, at most {most} are kept")]
    Samples {
        /// How many there are.
        found: usize,
        /// The most that are kept.
        most: usize,
    },
    /// A flag of a trial that is not there or of one flagged before.
    #[error("trial {number} is flagged, out of {trials}, each flagged once at most")]
    Flag {
        /// Which one, from 1.
        number: usize,
        /// How many trials there are.
        trials: usize,
    },
    /// A flag with a weight that no flagged trial has, or a distance that is no number.
    #[error(
        "trial {number} is flagged with the weight {weight}, which is not between 0 and 1, or no distance: {surprise}"
    )]
    Weight {
        /// Which one, from 1.
        number: usize,
        /// Its weight.
        weight: f64,
        /// Its distance, standard deviations.
        surprise: f64,
    },
}

/// A trial that does not fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flag {
    /// Its position among the trials, from 0.
    pub trial: usize,
    /// Its label.
    pub label: String,
    /// Distance from what the prior and all other trials say of it, standard deviations. For a figure positive when the prediction is above what was
    /// measured.
    pub surprise: f64,
    /// Weight it was given, below 1.
    pub weight: f64,
}

/// One score, as learned.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Told<'a> {
    /// Its name.
    pub name: &'a str,
    /// Mean; 0 is the model's own, 1 a standard deviation of the prior above.
    pub mean: f64,
    /// Standard deviation; 1 before any trial.
    pub sd: f64,
    /// Share of the prior's variance that the trials took away, `1 − sd²`; none where they contradict each other so that more is left.
    pub share: f64,
}

/// What was learned of one maker.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
    /// How many trials it rests on, flagged ones included.
    pub trials: usize,
    /// How many trials teach nothing: the model has no parameter for them.
    pub untaught: usize,
    /// Trials that do not fit.
    pub flagged: Vec<Flag>,
}

impl Learned {
    /// As the blend model takes it.
    ///
    /// # Errors
    /// [`LearnedError`] when it is not what [`learn`] returns: it was changed since it was learned.
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

    /// Every score, the one the trials say most of first; equal ones by name.
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
    /// assert_eq!((learned.told()[0].name, learned.told()[0].share), ("load", 0.5));
    /// ```
    pub fn told(&self) -> Vec<Told<'_>> {
        let variances = self.covariance.iter().map(|row| row.last().copied().unwrap_or(1.0));
        let mut told: Vec<Told<'_>> = (self.names.iter().zip(&self.mean).zip(variances))
            .map(|((name, &mean), variance)| Told { name, mean, sd: variance.sqrt(), share: (1.0 - variance).max(0.0) })
            .collect();
        told.sort_by(|a, b| b.share.total_cmp(&a.share).then_with(|| a.name.cmp(b.name)));
        told
    }

    /// The parameters with what was learned beside them: every answer computed with them, by [`barwright_blend::assess()`] or any other function, then
    /// draws this maker's scores.
    ///
    /// # Arguments
    /// * `parameters`: those it was learned with.
    ///
    /// # Errors
    /// [`LearnedError`].
    pub fn applied(&self, parameters: &Parameters) -> Result<Parameters, LearnedError> {
        Ok(parameters.clone().taught(self.maker()?)?)
    }
}

/// Learns a maker's own scores from bench trials.
///
/// `z | trials ≈ N(m, C)`, mean and covariance of the posterior, see [the module](self).
///
/// # Arguments
/// * `library`: reference tables, with the maker's lots.
/// * `parameters`: the model, whose spreads are the prior; what was learned before is not asked for, give all trials.
/// * `trials`: all trials of the maker, in any order.
///
/// # Returns
/// Means and covariance of the scores, and which trials do not fit.
///
/// # Validity
/// See [the module](self).
///
/// # Errors
/// [`LearnError`].
///
/// # Example
/// A maker whose bars are firmer than the model expects:
/// ```
/// use barwright_blend::{Options, Parameters, assess};
/// use barwright_reference::{Library, formula};
/// use barwright_trials::{Test, Trial, learn};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin().map_err(|faults| faults[0].to_string())?;
/// let parameters = Parameters::builtin()?;
/// let reading = formula::read_inline("beeswax 30, cocoa butter 30, sunflower oil 40", "bar", &library)
///     .map_err(|errors| errors[0].message.clone())?;
/// let bar = &reading.formulas[0];
/// let before = assess(&library, &parameters, bar, &Options::default())?.firmness[0].yield_stress_kpa;
/// let grams = barwright_trials::trial::grams_from_yield(3.0, 2.0 * before.value);
/// let rod = |n: u32| Trial {
///     label: format!("rod {n}"), formula: bar.clone(), days: 7.0, tempered: false,
///     test: Test::Rod { diameter_mm: 3.0, grams, at_c: 20.0 },
/// };
/// let learned = learn(&library, &parameters, &[rod(1), rod(2), rod(3)])?;
/// let after = assess(&library, &learned.applied(&parameters)?, bar, &Options::default())?;
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
    Ok(learned)
}

/// The scores given the trials, up to a constant.
#[derive(Debug)]
struct Posterior<'a> {
    readings: Readings<'a>,
    sites: Vec<Option<Site>>,
    weights: Vec<f64>,
    /// Corners that may still be searched around.
    corners_left: usize,
}

/// The most likely scores, and how the readings change there.
#[derive(Debug, Clone)]
struct Mode {
    scores: DVector<f64>,
    values: Vec<Value>,
    derivatives: DMatrix<f64>,
    hessian: Cholesky<f64, Dyn>,
}

/// Scores, what the model says there, and `U`.
#[derive(Debug, Clone)]
struct Spot {
    scores: DVector<f64>,
    values: Vec<Value>,
    energy: f64,
}

impl Mode {
    fn covariance(&self) -> DMatrix<f64> {
        self.hessian.inverse()
    }

    /// Variance of a reading.
    fn variance(&self, index: usize) -> f64 {
        let row = self.derivatives.row(index).transpose();
        row.dot(&self.hessian.solve(&row))
    }
}

impl<'a> Posterior<'a> {
    fn new(library: &Library, parameters: &'a Parameters, trials: &[Trial]) -> Result<Self, BlendError> {
        let readings = Readings::new(library, parameters, trials.iter())?;
        let sites = trials.iter().map(|trial| Site::of(&trial.test)).collect();
        let mut posterior =
            Posterior { weights: vec![1.0; readings.count()], readings, sites, corners_left: MOST_CORNERS };
        posterior.keep_what_matters()?;
        Ok(posterior)
    }

    /// Keeps the scores that the trials can tell something of: for each trial the fewest that leave out no more than [`NEGLIGIBLE`] of the variance of
    /// its result, or [`COARSE`] where samples of so many would cost too much. A trial that the prior alone cannot believe starts with the weight this
    /// gives it, so that no slip of the pen leads the search.
    fn keep_what_matters(&mut self) -> Result<(), BlendError> {
        let centre = DVector::zeros(self.readings.names().len());
        let values = self.readings.values(&centre)?;
        let derivatives = self.readings.derivatives(&centre, &values)?;
        for (index, site) in self.sites.iter().enumerate() {
            let Some(site) = site else { continue };
            let variance = derivatives.row(index).norm_squared();
            self.weights[index] = weight(site.surprise(values[index].eta, variance));
        }
        let fine = self.mattering(&derivatives, NEGLIGIBLE);
        let sampled = moments::is_affordable(self.readings.unlike(), fine.len());
        let kept = if sampled { fine } else { self.mattering(&derivatives, COARSE) };
        self.readings.restrict(kept);
        Ok(())
    }

    /// Names of the fewest scores that leave out no more than a share of the variance of each result.
    fn mattering(&self, derivatives: &DMatrix<f64>, negligible: f64) -> BTreeSet<String> {
        let mut kept = BTreeSet::new();
        for (index, site) in self.sites.iter().enumerate() {
            let Some(site) = site else { continue };
            let mut shares: Vec<(usize, f64)> =
                derivatives.row(index).iter().map(|slope| slope * slope).enumerate().collect();
            shares.sort_by(|a, b| b.1.total_cmp(&a.1));
            let mut left: f64 = shares.iter().map(|one| one.1).sum();
            let most = negligible * (left + site.sd() * site.sd());
            for (place, share) in shares {
                if left <= most {
                    break;
                }
                left -= share;
                kept.insert(self.readings.names()[place].clone());
            }
        }
        kept
    }

    /// `U`.
    fn energy(&self, scores: &DVector<f64>, values: &[Value]) -> f64 {
        let sites = self.sites.iter().zip(&self.weights).zip(values);
        let data: f64 =
            sites.map(|((site, w), value)| site.as_ref().map_or(0.0, |site| w * site.loss(value.eta).value)).sum();
        0.5 * scores.norm_squared() + data
    }

    /// Gradient of `U`, and its second derivatives but for those of the readings.
    fn slopes(&self, scores: &DVector<f64>, values: &[Value], rows: &DMatrix<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let mut gradient = scores.clone();
        let mut hessian = DMatrix::identity(scores.len(), scores.len());
        for (index, ((site, w), value)) in self.sites.iter().zip(&self.weights).zip(values).enumerate() {
            let Some(site) = site else { continue };
            let loss = site.loss(value.eta);
            let row = rows.row(index).transpose();
            gradient.axpy(w * loss.first, &row, 1.0);
            hessian.ger(w * loss.second, &row, &row, 1.0);
        }
        (gradient, hessian)
    }

    /// Reads every trial at some scores.
    fn spot(&mut self, scores: DVector<f64>) -> Result<Spot, BlendError> {
        let values = self.readings.values(&scores)?;
        let energy = self.energy(&scores, &values);
        Ok(Spot { scores, values, energy })
    }

    /// The most likely scores, from a start.
    fn mode(&mut self, start: DVector<f64>) -> Result<Mode, LearnError> {
        let mut here = self.spot(start)?;
        let mut damping = 0.0;
        let mut gain = f64::INFINITY;
        let mut history = Vec::new();
        for _ in 0..MAX_STEPS {
            let derivatives = self.readings.derivatives(&here.scores, &here.values)?;
            let (gradient, matrix) = self.slopes(&here.scores, &here.values, &derivatives);
            let Some(hessian) = Cholesky::new(matrix.clone()) else { break };
            gain = 0.5 * gradient.dot(&hessian.solve(&gradient));
            history.push(here.energy);
            let before = history.len().checked_sub(1 + STALL_STEPS).and_then(|index| history.get(index));
            let stalled = before.is_some_and(|before| before - here.energy < STALL_GAIN);
            if gain <= GAIN_TOLERANCE || stalled {
                return Ok(Mode { scores: here.scores, values: here.values, derivatives, hessian });
            }
            let creeps = damping > 0.0 && before.is_some_and(|before| before - here.energy < CREEP_SHARE * gain);
            let mut next = None;
            while !creeps && next.is_none() && damping <= LARGEST_DAMPING {
                let mut damped = matrix.clone();
                for k in 0..damped.nrows() {
                    damped[(k, k)] *= 1.0 + damping;
                }
                if let Some(factor) = Cholesky::new(damped) {
                    let step = factor.solve(&gradient);
                    let there = self.spot(&here.scores - &step)?;
                    let gained = here.energy - there.energy;
                    if gained > GAIN_TOLERANCE {
                        let promised = gradient.dot(&step) - 0.5 * step.dot(&(&matrix * &step));
                        damping = next_damping(damping, gained / promised);
                        next = Some(there);
                        continue;
                    }
                }
                damping = (damping * DAMPING_FACTOR).max(FIRST_DAMPING);
            }
            if let Some(there) = next {
                here = there;
                continue;
            }
            // A corner of the model: a crystal family appears there, and slopes say nothing of the other side.
            let found = if self.corners_left > 0 { self.lower_nearby(&here, &hessian)? } else { None };
            self.corners_left = self.corners_left.saturating_sub(1);
            match found {
                Some(found) => here = found,
                None => return Ok(Mode { scores: here.scores, values: here.values, derivatives, hessian }),
            }
            damping = 0.0;
            history.clear();
        }
        Err(LearnError::NotConverged { steps: MAX_STEPS, gain })
    }

    /// The lowest of the points [`PROBES`] standard deviations away along each axis of the posterior, if it is lower than here.
    fn lower_nearby(&mut self, here: &Spot, hessian: &Cholesky<f64, Dyn>) -> Result<Option<Spot>, BlendError> {
        let mut lowest = None;
        let mut best = here.energy - GAIN_TOLERANCE;
        let Some(axes) = hessian.l().transpose().try_inverse() else { return Ok(None) };
        for axis in axes.column_iter() {
            for step in PROBES.into_iter().flat_map(|step| [step, -step]) {
                let there = self.spot(&here.scores + step * axis)?;
                if there.energy < best {
                    best = there.energy;
                    lowest = Some(there);
                }
            }
        }
        Ok(lowest)
    }

    /// How far a trial lies from what the prior and the other trials say of it.
    ///
    /// The trial is a Gaussian of curvature `κ` and slope `g` in `η`; taken out of `N(η̂, v)` it leaves variance `v / (1 − κ v)` and mean `η̂ + g v / (1 − κ v)`.
    fn surprise(&self, index: usize, mode: &Mode) -> f64 {
        let Some(site) = &self.sites[index] else { return 0.0 };
        let (eta, w) = (mode.values[index].eta, self.weights[index]);
        let loss = site.loss(eta);
        let variance = mode.variance(index);
        let left = variance / (1.0 - w * loss.second * variance).max(f64::EPSILON);
        site.surprise(eta + w * loss.first * left, left)
    }

    /// The most likely scores, with trials that do not fit weighted down.
    fn robust_mode(&mut self) -> Result<Mode, LearnError> {
        let mut mode = self.mode(DVector::zeros(self.readings.names().len()))?;
        for _ in 0..FLAG_ROUNDS {
            let weights: Vec<f64> = (0..self.sites.len()).map(|index| weight(self.surprise(index, &mode))).collect();
            let settled = weights.iter().zip(&self.weights).all(|(a, b)| (a - b).abs() <= WEIGHT_TOLERANCE);
            if settled {
                break;
            }
            // Half way in the logarithm: two trials that contradict all else take turns otherwise, each round further than the last.
            for (w, target) in self.weights.iter_mut().zip(weights) {
                *w = (*w * target).sqrt();
            }
            mode = self.mode(mode.scores)?;
        }
        Ok(mode)
    }
}

/// Damping after a step that gained a share of what the quadratic model of `U` promised. A step that gains little lands on the far side of the valley, and the
/// next would come back: without more damping the search zigzags.
fn next_damping(damping: f64, share: f64) -> f64 {
    match share {
        share if share < POOR_SHARE => (damping * DAMPING_FACTOR).max(FIRST_DAMPING),
        share if share < GOOD_SHARE => damping,
        _ if damping > FIRST_DAMPING => damping / DAMPING_FACTOR,
        _ => 0.0,
    }
}

/// Weight of a trial at a distance of so many standard deviations.
fn weight(surprise: f64) -> f64 {
    let distance = surprise.abs();
    if distance > FLAG_LIMIT { (FLAG_LIMIT / distance).powi(4) } else { 1.0 }
}

mod moments;

#[cfg(test)]
mod tests;
