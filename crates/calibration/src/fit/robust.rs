//! One robust least-squares fit of some coordinates to the rows.
//!
//! # Source
//! Lange, Little and Taylor 1989, J. Am. Stat. Assoc. 84:881 (t weights; recalled).

use barwright_blend::coordinate::{self, Coordinate};
use barwright_blend::{BlendError, Parameters};
use barwright_reference::Library;
use nalgebra::DMatrix;
use rayon::prelude::*;

use super::error::CalibrationError;
use super::least_squares::{Bounds, Fit, Model, Prior, Problem};
use super::observation::{self, Observation};
use crate::published::{Measurement, Scored, predict};

/// Draws behind a standard deviation.
pub const DRAWS: usize = 128;

/// Degrees of freedom of the t weights.
const T_DEGREES: f64 = 4.0;

/// Fits with weights from the one before.
const ROUNDS: usize = 3;

/// Difference step, in prior standard deviations: far above the tolerance of the landmarks, well inside the curvature.
const STEP_SD: f64 = 0.02;

/// A coordinate that moves no residual by this much of its σ, for a move of one prior standard deviation, keeps its prior.
const MIN_EFFECT: f64 = 0.05;

/// The peaks of curves jump and families come and go, so derivatives are rough: a fit ends when a step gains no more than this share.
const GAIN_TOLERANCE: f64 = 1e-4;

/// Range of δ that keeps the melt one liquid, whatever the others do.
const DELTA_BOUNDS: Bounds = Bounds::new(-0.25, 1.14);

/// Range of the logarithm of the drop over the slip structure.
const DROP_BOUNDS: Bounds = Bounds::new(-4.0, -0.01);

/// Range of the exponents.
const EXPONENT_BOUNDS: Bounds = Bounds::new(coordinate::SMALLEST_EXPONENT, 6.0);

/// The same parameters, all coordinates known exactly: what is left is the spread of lots and species and of what the model leaves out.
pub fn without_model_spread(parameters: &Parameters) -> Parameters {
    let mut still = parameters.clone();
    still.correlation = barwright_blend::parameters::Correlation::default();
    for one in coordinate::all(parameters) {
        let (centre, _) = one.spread(parameters);
        one.store(&mut still, centre, 0.0);
    }
    still
}

/// Weights of Student's t.
pub(crate) fn t_weights(residuals: &[f64], variances: &[f64]) -> Vec<f64> {
    residuals
        .iter()
        .zip(variances)
        .map(|(residual, variance)| (T_DEGREES + 1.0) / (T_DEGREES + residual * residual / variance))
        .collect()
}

/// One set of coordinates fitted to the rows.
pub(crate) struct Fitting {
    /// Parameters before the fit.
    pub priors: Parameters,
    /// What was free.
    pub free: Vec<(Coordinate, Prior)>,
    /// The fit.
    pub fit: Fit,
    /// Weights of the rows in it.
    pub weights: Vec<f64>,
    /// Sum of squares of the rows, each counted in full, and of the coordinates.
    pub objective: f64,
}

/// The rows with the variance of each residual: what fits are made on and compared by.
pub(crate) struct Trial<'a> {
    pub bench: &'a Bench<'a>,
    pub variances: &'a [f64],
}

impl Trial<'_> {
    /// Fits every coordinate that the rows can move, from the priors.
    pub(crate) fn whole(&self, priors: &Parameters) -> Result<Fitting, CalibrationError> {
        let all = spread_out(priors);
        let means: Vec<f64> = all.iter().map(|(_, prior)| prior.mean).collect();
        let jacobian = self.bench.rows(priors, &all).jacobian(&means)?;
        let effect = |column: usize, sd: f64| {
            let slopes = jacobian.column(column);
            slopes
                .iter()
                .zip(self.variances)
                .map(|(slope, variance)| (slope * sd / variance.sqrt()).abs())
                .fold(0.0, f64::max)
        };
        let free: Vec<_> = all
            .iter()
            .enumerate()
            .filter(|(j, (_, prior))| effect(*j, prior.sd) >= MIN_EFFECT)
            .map(|(_, one)| *one)
            .collect();
        let start: Vec<f64> = free.iter().map(|(_, prior)| prior.mean).collect();
        self.from(priors, free, start, ROUNDS, GAIN_TOLERANCE)
    }

    /// Fits `free` from `start`, each coordinate on its own scale, in a number of rounds of weights.
    ///
    /// # Errors
    /// [`CalibrationError`].
    pub fn from(
        &self,
        priors: &Parameters,
        free: Vec<(Coordinate, Prior)>,
        mut start: Vec<f64>,
        rounds: usize,
        gain_tolerance: f64,
    ) -> Result<Fitting, CalibrationError> {
        let rows = self.bench.rows(priors, &free);
        let mut residuals = rows.residuals(&start)?;
        let mut left = rounds;
        loop {
            let weights = t_weights(&residuals, self.variances);
            let fit = rows.problem(&weights, self.variances).fit(&start, gain_tolerance)?;
            start.clone_from(&fit.parameters);
            residuals.clone_from(&fit.residuals);
            left -= 1;
            if left == 0 {
                let objective = self.objective(&fit);
                return Ok(Fitting { priors: priors.clone(), free, fit, weights, objective });
            }
        }
    }

    /// Sum of squares of the rows, each counted in full, and of the coordinates.
    fn objective(&self, fit: &Fit) -> f64 {
        let rows: f64 = fit.residuals.iter().zip(self.variances).map(|(r, variance)| r * r / variance).sum();
        rows + fit.prior_sum_of_squares
    }
}

/// Every coordinate that has a spread.
pub(crate) fn spread_out(priors: &Parameters) -> Vec<(Coordinate, Prior)> {
    let all = coordinate::all(priors).into_iter().map(|one| (one, one.spread(priors)));
    all.filter(|(_, (_, sd))| *sd > 0.0).map(|(one, (mean, sd))| (one, Prior { mean, sd })).collect()
}

/// The rows and what is needed to predict them.
pub(crate) struct Bench<'a> {
    pub library: &'a Library,
    pub rows: &'a [Measurement],
    pub observations: &'a [Observation],
}

impl Bench<'_> {
    fn predict(&self, parameters: &Parameters, draws: usize) -> Result<Vec<Scored>, BlendError> {
        predict(self.library, parameters, self.rows, draws)
    }

    /// Residuals of the central predictions, each on its row's scale.
    ///
    /// # Errors
    /// [`BlendError`].
    pub fn residuals(&self, parameters: &Parameters) -> Result<Vec<f64>, BlendError> {
        let mut residuals = vec![0.0; self.rows.len()];
        observation::residuals(self.observations, &self.predict(parameters, 0)?, &mut residuals);
        Ok(residuals)
    }

    /// Variance of each residual, with the spread of the species table alone, so that packings are compared on one scale.
    pub(crate) fn variances(&self, priors: &Parameters) -> Result<Vec<f64>, BlendError> {
        let mut table_only = without_model_spread(priors);
        table_only.packings.iter_mut().for_each(|packing| packing.chosen = false);
        Ok(observation::variances(self.observations, &self.spread(&table_only)?))
    }

    /// Standard deviation of each prediction, on the scale of its row.
    ///
    /// # Errors
    /// [`BlendError`].
    pub fn spread(&self, parameters: &Parameters) -> Result<Vec<f64>, BlendError> {
        let scored = self.predict(parameters, DRAWS)?;
        Ok(self.observations.iter().zip(&scored).map(|(one, scored)| one.predicted_sd(scored)).collect())
    }

    /// The rows as a function of the coordinates `free`, the others as in `priors`.
    pub(crate) fn rows<'a>(&'a self, priors: &'a Parameters, free: &'a [(Coordinate, Prior)]) -> Rows<'a> {
        Rows { bench: self, priors, free }
    }
}

/// The rows as a function of some coordinates.
#[derive(Clone, Copy)]
pub(crate) struct Rows<'a> {
    bench: &'a Bench<'a>,
    priors: &'a Parameters,
    free: &'a [(Coordinate, Prior)],
}

impl<'a> Rows<'a> {
    /// The least squares of these rows.
    ///
    /// # Arguments
    /// * `weights`: of the rows, see [`t_weights`].
    /// * `variances`: of their residuals.
    pub(crate) fn problem(self, weights: &[f64], variances: &[f64]) -> Problem<Rows<'a>> {
        Problem {
            model: self,
            weights: weights.iter().zip(variances).map(|(weight, variance)| weight / variance).collect(),
            priors: self.free.iter().map(|(_, prior)| *prior).collect(),
            bounds: self.free.iter().map(|(coordinate, _)| bounds(*coordinate)).collect(),
        }
    }
}

impl Model for Rows<'_> {
    type Error = BlendError;

    fn residuals(&self, point: &[f64]) -> Result<Vec<f64>, BlendError> {
        let mut parameters = self.priors.clone();
        for ((coordinate, prior), value) in self.free.iter().zip(point) {
            coordinate.store(&mut parameters, *value, prior.sd);
        }
        self.bench.residuals(&parameters)
    }

    /// By central differences; columns are shared out among threads, each the same on any of them.
    fn jacobian(&self, point: &[f64]) -> Result<DMatrix<f64>, BlendError> {
        let column = |j: usize| -> Result<Vec<f64>, BlendError> {
            let (coordinate, prior) = self.free[j];
            let range = bounds(coordinate);
            let step = STEP_SD * prior.sd;
            let (low, high) = (range.project(point[j] - step), range.project(point[j] + step));
            let side = |value: f64| {
                let mut moved = point.to_vec();
                moved[j] = value;
                self.residuals(&moved)
            };
            let (left, right) = (side(low)?, side(high)?);
            Ok(left.iter().zip(&right).map(|(left, right)| (right - left) / (high - low)).collect())
        };
        let columns: Vec<Vec<f64>> = (0..point.len()).into_par_iter().map(column).collect::<Result<_, _>>()?;
        Ok(DMatrix::from_vec(self.bench.rows.len(), point.len(), columns.concat()))
    }
}

/// Range in which a coordinate is physical.
fn bounds(coordinate: Coordinate) -> Bounds {
    match coordinate {
        Coordinate::Delta(_) => DELTA_BOUNDS,
        Coordinate::Misfit(_) => Bounds::new(0.0, f64::INFINITY),
        Coordinate::Packing(_) => Bounds::new(0.0, 1.0),
        Coordinate::Exponent => EXPONENT_BOUNDS,
        Coordinate::Softening => Bounds::new(0.0, EXPONENT_BOUNDS.upper),
        Coordinate::Drop => DROP_BOUNDS,
        _ => Bounds::NONE,
    }
}
