//! The posterior of a maker's scores, and its mode.
//!
//! # Source
//! As [the module above](super).

use std::collections::BTreeSet;

use barwright_blend::{BlendError, Parameters};
use barwright_reference::Library;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use rayon::prelude::*;

use super::budget::is_affordable;
use crate::error::LearnError;
use crate::likelihood::Site;
use crate::reading::{Readings, Samplers, Value};
use crate::trial::Trial;

/// A trial further than this from what all else says is flagged, standard deviations: one good trial in 2,000 is.
pub const FLAG_LIMIT: f64 = 3.5;

/// Converged when another step would gain less than this in `U`: the mode is then found within a thousandth of a standard deviation.
pub const GAIN_TOLERANCE: f64 = 1e-6;

/// Where slopes help no further, a point counts as the mode when none these many standard deviations away, along either side of every axis of the
/// posterior that the trials tell of, is lower.
pub const PROBES: [f64; 3] = [0.3, 0.1, 0.03];

/// Share of the prior's variance left in a direction below which the trials count as having told something of it.
pub(super) const INFORMED: f64 = 0.98;

/// Steps that together gain less than [`STALL_GAIN`] are not worth another: at a corner of the model they zigzag.
pub const STALL_STEPS: usize = 4;

/// Gain in `U` of [`STALL_STEPS`] steps that still counts: about a seventh of a standard deviation.
pub const STALL_GAIN: f64 = 1e-2;

/// Damped steps that together gain less than this share of what the curvature promises creep along a corner of the model, which is then searched around (judgement).
pub const CREEP_SHARE: f64 = 0.1;

/// Corners of the model that are searched around, in all rounds together: with trials that contradict each other there is one at every step. Beyond these the
/// point reached stands.
pub const MAX_CORNERS: usize = 8;

/// Steps of one search; beyond these the point reached stands.
pub const MAX_STEPS: usize = 60;

/// Share of the variance of one result that the scores left out of learning may make up together. They scatter on in every prediction, and ten trials leave a
/// slip point a twentieth of its variance: with a hundredth left out its intervals held 98 in 100 after ten trials, with a five-hundredth 95.5.
pub const NEGLIGIBLE: f64 = 0.001;

/// The same where samples of all those scores would cost too much, and a Gaussian stands for them: its intervals are wider than need be in any case.
pub const COARSE: f64 = 0.01;

/// Rounds of flagging before the weights are taken as they are.
pub const FLAG_ROUNDS: usize = 12;

/// Looks around the mode once the weights are taken as they are, each of which found a point more than [`STALL_GAIN`] lower.
const MAX_LOOKS: usize = 8;

/// Change of a weight that counts as none.
pub(super) const WEIGHT_TOLERANCE: f64 = 1e-3;

/// Fewest points that are worth a thread of their own.
const MIN_SPOTS_A_THREAD: usize = 16;

/// First damping, over the diagonal.
const FIRST_DAMPING: f64 = 1e-3;

/// Factor of damping from one try to the next.
const DAMPING_FACTOR: f64 = 10.0;

/// Damping beyond which no step helps.
const LARGEST_DAMPING: f64 = 1e5;

/// Shares of the promised gain below which a step calls for more damping, and from which on for less.
const POOR_SHARE: f64 = 0.25;
const GOOD_SHARE: f64 = 0.75;

/// The scores given the trials, up to a constant.
#[derive(Debug)]
pub(super) struct Posterior<'a> {
    pub(super) readings: Readings<'a>,
    samplers: Samplers,
    pub(super) sites: Vec<Option<Site>>,
    pub(super) weights: Vec<f64>,
    /// Corners that may still be searched around.
    pub(super) corners_left: usize,
}

/// The most likely scores, and how the readings change there.
#[derive(Debug, Clone)]
pub(super) struct Mode {
    pub(super) scores: DVector<f64>,
    pub(super) values: Vec<Value>,
    pub(super) derivatives: DMatrix<f64>,
    pub(super) hessian: Cholesky<f64, Dyn>,
    /// Whether slopes still promise something: the search ended at a corner of the model, or its steps ran out.
    pub(super) cornered: bool,
}

/// Scores, what the model says there, and `U`.
#[derive(Debug, Clone)]
pub(super) struct Spot {
    pub(super) scores: DVector<f64>,
    pub(super) values: Vec<Value>,
    pub(super) energy: f64,
}

impl Mode {
    pub(super) fn covariance(&self) -> DMatrix<f64> {
        self.hessian.inverse()
    }

    /// Variance of a reading.
    pub(super) fn variance(&self, index: usize) -> f64 {
        let row = self.derivatives.row(index).transpose();
        row.dot(&self.hessian.solve(&row))
    }
}

impl<'a> Posterior<'a> {
    pub(super) fn new(library: &Library, parameters: &'a Parameters, trials: &[Trial]) -> Result<Self, BlendError> {
        let readings = Readings::new(library, parameters, trials.iter())?;
        let sites = trials.iter().map(|trial| Site::of(&trial.test)).collect();
        let (samplers, weights) = (readings.samplers(), vec![1.0; readings.count()]);
        let mut posterior = Posterior { readings, samplers, sites, weights, corners_left: MAX_CORNERS };
        posterior.keep_what_matters()?;
        Ok(posterior)
    }

    /// Keeps the scores that the trials can tell something of: for each trial the fewest that leave out no more than [`NEGLIGIBLE`] of the variance of
    /// its result, or [`COARSE`] where samples of that many would cost too much. A trial that the prior alone cannot believe starts with the weight this
    /// gives it, so that no slip of the pen leads the search.
    pub(super) fn keep_what_matters(&mut self) -> Result<(), BlendError> {
        let Spot { scores, values, .. } = self.spot(DVector::zeros(self.readings.names().len()))?;
        let derivatives = self.readings.derivatives(&scores, &values)?;
        for (index, site) in self.sites.iter().enumerate() {
            let Some(site) = site else { continue };
            let variance = derivatives.row(index).norm_squared();
            self.weights[index] = weight(site.surprise(values[index].eta, variance));
        }
        let fine = self.mattering(&derivatives, NEGLIGIBLE);
        let sampled = is_affordable(self.readings.unlike(), fine.len());
        let kept = if sampled { fine } else { self.mattering(&derivatives, COARSE) };
        self.readings.restrict(kept);
        Ok(())
    }

    /// Names of the fewest scores that leave out no more than a share of the variance of each result.
    pub(super) fn mattering(&self, derivatives: &DMatrix<f64>, negligible: f64) -> BTreeSet<String> {
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
    pub(super) fn energy(&self, scores: &DVector<f64>, values: &[Value]) -> f64 {
        let sites = self.sites.iter().zip(&self.weights).zip(values);
        let data: f64 =
            sites.map(|((site, w), value)| site.as_ref().map_or(0.0, |site| w * site.loss(value.eta).value)).sum();
        0.5 * scores.norm_squared() + data
    }

    /// Gradient of `U`, and its second derivatives but for those of the readings.
    pub(super) fn slopes(
        &self,
        scores: &DVector<f64>,
        values: &[Value],
        rows: &DMatrix<f64>,
    ) -> (DVector<f64>, DMatrix<f64>) {
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
    pub(super) fn spot(&mut self, scores: DVector<f64>) -> Result<Spot, BlendError> {
        let values = self.readings.values_while(&mut self.samplers, &scores, |_, _| true)?.unwrap_or_default();
        let energy = self.energy(&scores, &values);
        Ok(Spot { scores, values, energy })
    }

    /// The same where `U` is no more than `most`; elsewhere reading stops as soon as that is sure: no trial lowers it.
    pub(super) fn spot_below(&mut self, scores: DVector<f64>, most: f64) -> Result<Option<Spot>, BlendError> {
        let mut samplers = std::mem::take(&mut self.samplers);
        let spot = self.spot_in(&mut samplers, scores, most);
        self.samplers = samplers;
        spot
    }

    fn spot_in(&self, samplers: &mut Samplers, scores: DVector<f64>, most: f64) -> Result<Option<Spot>, BlendError> {
        let mut energy = 0.5 * scores.norm_squared();
        let values = self.readings.values_while(samplers, &scores, |index, value| {
            energy += self.sites[index].as_ref().map_or(0.0, |site| self.weights[index] * site.loss(value.eta).value);
            energy <= most
        })?;
        Ok(values.map(|values| Spot { energy: self.energy(&scores, &values), scores, values }))
    }

    /// The same for many at once, each with its own `most`.
    pub(super) fn spots_below(&self, tried: Vec<(DVector<f64>, f64)>) -> Result<Vec<Option<Spot>>, BlendError> {
        let tried = tried.into_par_iter().with_min_len(MIN_SPOTS_A_THREAD);
        let one = |samplers: &mut Samplers, (scores, most)| self.spot_in(samplers, scores, most);
        tried.map_init(|| self.readings.samplers(), one).collect()
    }

    /// The most likely scores, from a start and, where they are known, the derivatives there.
    pub(super) fn mode(&mut self, start: Spot, known: Option<DMatrix<f64>>) -> Result<Mode, LearnError> {
        let (mut here, mut known) = (start, known);
        let mut damping = 0.0;
        let mut history = Vec::new();
        let mut steps = 0;
        loop {
            let derivatives = match known.take() {
                Some(known) => known,
                None => self.readings.derivatives(&here.scores, &here.values)?,
            };
            let (gradient, matrix) = self.slopes(&here.scores, &here.values, &derivatives);
            let hessian = Cholesky::new(matrix.clone()).ok_or(LearnError::NotFinite { steps })?;
            let gain = 0.5 * gradient.dot(&hessian.solve(&gradient));
            let cornered = gain > GAIN_TOLERANCE;
            steps += 1;
            history.push(here.energy);
            let before = history.len().checked_sub(1 + STALL_STEPS).and_then(|index| history.get(index));
            let stalled = before.is_some_and(|before| before - here.energy < STALL_GAIN);
            if !cornered || stalled || steps > MAX_STEPS {
                return Ok(Mode { scores: here.scores, values: here.values, derivatives, hessian, cornered });
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
                    let there = self.spot_below(&here.scores - &step, here.energy - GAIN_TOLERANCE)?;
                    if let Some(there) = there.filter(|there| here.energy - there.energy > GAIN_TOLERANCE) {
                        let gained = here.energy - there.energy;
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
            let axes = if self.corners_left > 0 { told_of(&hessian) } else { Vec::new() };
            self.corners_left = self.corners_left.saturating_sub(1);
            match lowest(self.lower_along(&axes, &here)?.into_iter()) {
                Some(found) => here = found,
                None => return Ok(Mode { scores: here.scores, values: here.values, derivatives, hessian, cornered }),
            }
            damping = 0.0;
            history.clear();
        }
    }

    /// Along each axis of the posterior the lowest of the points [`PROBES`] standard deviations away, where one is lower than here.
    fn lower_along(&self, axes: &[DVector<f64>], here: &Spot) -> Result<Vec<Spot>, BlendError> {
        let below = here.energy - GAIN_TOLERANCE;
        let steps = || PROBES.into_iter().flat_map(|step| [step, -step]);
        let around = axes.iter().flat_map(|axis| steps().map(move |step| (&here.scores + step * axis, below)));
        let mut found = self.spots_below(around.collect())?.into_iter();
        let along = |_| lowest(found.by_ref().take(steps().count()).flatten().filter(|there| there.energy < below));
        Ok(axes.iter().filter_map(along).collect())
    }

    /// A last look around a corner, along every score: the lowest point found, that of all steps that gain taken together among them.
    fn last_look(&mut self, here: &Spot, hessian: &Cholesky<f64, Dyn>) -> Result<Option<Spot>, BlendError> {
        let each = self.lower_along(&pulled(hessian), here)?;
        let together = each.iter().fold(here.scores.clone(), |sum, there| sum + &there.scores - &here.scores);
        let together = self.spot_below(together, here.energy)?;
        Ok(lowest(each.into_iter().chain(together)))
    }

    /// How far a trial lies from what the prior and the other trials say of it.
    ///
    /// The trial is a Gaussian of curvature `κ` and slope `g` in `η`; taken out of `N(η̂, v)` it leaves variance `v / (1 − κ v)` and mean `η̂ + g v / (1 − κ v)`.
    pub(super) fn surprise(&self, index: usize, mode: &Mode) -> f64 {
        let Some(site) = &self.sites[index] else { return 0.0 };
        let (eta, w) = (mode.values[index].eta, self.weights[index]);
        let loss = site.loss(eta);
        let variance = mode.variance(index);
        let left = variance / (1.0 - w * loss.second * variance).max(f64::EPSILON);
        site.surprise(eta + w * loss.first * left, left)
    }

    /// The most likely scores, with trials that do not fit weighted down.
    pub(super) fn robust_mode(&mut self) -> Result<Mode, LearnError> {
        let start = self.spot(DVector::zeros(self.readings.names().len()))?;
        let mut mode = self.mode(start, None)?;
        for round in 0..FLAG_ROUNDS + MAX_LOOKS {
            let weights: Vec<f64> = (0..self.sites.len()).map(|index| weight(self.surprise(index, &mode))).collect();
            let alike = weights.iter().zip(&self.weights).all(|(a, b)| (a - b).abs() <= WEIGHT_TOLERANCE);
            let Mode { scores, values, derivatives, hessian, cornered } = mode.clone();
            if alike || round >= FLAG_ROUNDS {
                let here = Spot { energy: self.energy(&scores, &values), scores, values };
                match if cornered { self.last_look(&here, &hessian)? } else { None } {
                    Some(lower) if here.energy - lower.energy > STALL_GAIN => mode = self.mode(lower, None)?,
                    _ => break,
                }
                continue;
            }
            // Half way in the logarithm: two trials that contradict all else take turns otherwise, each round further than the last.
            for (w, target) in self.weights.iter_mut().zip(weights) {
                *w = (*w * target).sqrt();
            }
            let energy = self.energy(&scores, &values);
            mode = self.mode(Spot { scores, values, energy }, Some(derivatives))?;
        }
        Ok(mode)
    }
}

fn lowest(spots: impl Iterator<Item = Spot>) -> Option<Spot> {
    spots.min_by(|one, other| one.energy.total_cmp(&other.energy))
}

/// Axes of the posterior that the trials tell of ([`INFORMED`]), a standard deviation long. There are no more of these than trials; along the others the
/// prior alone speaks.
fn told_of(hessian: &Cholesky<f64, Dyn>) -> Vec<DVector<f64>> {
    let lower = hessian.l();
    let eigen = (&lower * lower.transpose()).symmetric_eigen();
    let told = |(curvature, _): &(&f64, _)| 1.0 / **curvature < INFORMED;
    let axes = eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()).filter(told);
    axes.map(|(curvature, axis)| axis / curvature.sqrt()).collect()
}

/// Where all scores go when one of them is pulled a standard deviation away: more axes than [`told_of`] has, for corners that no slope tells of.
fn pulled(hessian: &Cholesky<f64, Dyn>) -> Vec<DVector<f64>> {
    let covariance = hessian.inverse();
    covariance.column_iter().enumerate().map(|(score, column)| column / covariance[(score, score)].sqrt()).collect()
}

/// Damping after a step that gained a share of what the quadratic model of `U` promised. A step that gains little lands on the far side of the valley, and the
/// next would come back: without more damping the search zigzags.
pub(super) fn next_damping(damping: f64, share: f64) -> f64 {
    match share {
        share if share < POOR_SHARE => (damping * DAMPING_FACTOR).max(FIRST_DAMPING),
        share if share < GOOD_SHARE => damping,
        _ if damping > FIRST_DAMPING => damping / DAMPING_FACTOR,
        _ => 0.0,
    }
}

/// Weight of a trial at a distance in standard deviations.
pub(super) fn weight(surprise: f64) -> f64 {
    let distance = surprise.abs();
    if distance > FLAG_LIMIT { (FLAG_LIMIT / distance).powi(4) } else { 1.0 }
}
