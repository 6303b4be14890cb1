//! Robust least squares over the fitting rows, with the literature as prior.
//!
//! ```text
//! minimise  Σ_i w_i r_i(p)² / σ_i²  +  Σ_j ((p_j − m_j) / s_j)²,      w_i = (ν + 1) / (ν + r_i² / σ_i²)
//! ```
//! `r_i` are the residuals of [`crate::observation`], `σ_i` theirs, `m_j` and `s_j` the centre and spread of coordinate j in
//! `data/priors.toml`. The weights are those of Student's t with ν = 4: a row that lies far off counts for less, and no row decides.
//! They are found by repeating the fit.
//!
//! # Source
//! Lange, Little and Taylor 1989, J. Am. Stat. Assoc. 84:881 (t weights; recalled). Levenberg and Marquardt: `barwright-fit`.

use std::num::NonZeroUsize;
use std::thread;

use barwright_blend::coordinate::{self, Coordinate};
use barwright_blend::{BlendError, Parameters};
use barwright_fit::least_squares::{Bounds, Fit, FitError, Noise, Options, Prior, Problem};
use barwright_reference::Library;
use barwright_validation::{Measurement, Scored, predict};
use nalgebra::{DMatrix, DVector};
use thiserror::Error;

use crate::discrepancy::{self, Left};
use crate::observation::{self, Observation};
use crate::packing::{self, Choice, Compared};

/// Degrees of freedom of the t weights.
const T_DEGREES: f64 = 4.0;

/// Fits with weights from the one before.
const ROUNDS: usize = 3;

/// Difference step, in prior standard deviations: far above the tolerance of the landmarks, well inside the curvature.
const STEP_SD: f64 = 0.02;

/// A coordinate that moves no residual by this much of its σ, for a move of one prior standard deviation, keeps its prior.
const LEAST_EFFECT: f64 = 0.05;

/// Share of its knowledge that must come from the data for a coordinate to count as fitted.
pub const LEAST_DATA_SHARE: f64 = 0.02;

/// The peaks of curves jump and families come and go, so derivatives are rough: a fit ends when a step gains no more than this share.
const GAIN_TOLERANCE: f64 = 1e-4;

/// Range of δ that keeps the melt one liquid, whatever the others do.
const DELTA_BOUNDS: Bounds = Bounds::new(-0.25, 1.14);

/// Range of the logarithm of the drop over the slip structure.
const DROP_BOUNDS: Bounds = Bounds::new(-4.0, -0.01);

/// Range of the exponents.
const EXPONENT_BOUNDS: Bounds = Bounds::new(coordinate::SMALLEST_EXPONENT, 6.0);

/// Why there is no calibration.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum CalibrationError {
    /// The model failed on a row.
    #[error(transparent)]
    Blend(#[from] BlendError),
    /// The fit failed.
    #[error(transparent)]
    Fit(#[from] FitError<BlendError>),
    /// The information of rows and priors has no inverse.
    #[error("rows and priors leave no curvature to step by: a figure among the parameters is no number")]
    NoCurvature,
}

/// One fitted coordinate.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// Which one.
    pub coordinate: Coordinate,
    /// Its name.
    pub name: String,
    /// Before, on its own scale.
    pub prior: Prior,
    /// After.
    pub centre: f64,
    /// Standard deviation after.
    pub sd: f64,
    /// Share of the knowledge that comes from the data.
    pub data_share: f64,
}

/// What was fitted, and how well.
#[derive(Debug, Clone)]
pub struct Calibration {
    /// Every parameter after the fit.
    pub parameters: Parameters,
    /// The coordinates that the data moved, in the order of the file.
    pub fitted: Vec<Fitted>,
    /// Correlation of those.
    pub correlation: DMatrix<f64>,
    /// The fitting rows.
    pub observations: Vec<Observation>,
    /// Their weights, 1.25 at most.
    pub weights: Vec<f64>,
    /// Residuals over their σ before and after.
    pub scores: Vec<(f64, f64)>,
    /// Residuals after, on the scale of each row.
    pub residuals: Vec<f64>,
    /// What the model leaves out.
    pub left: Left,
    /// Sum of squares of rows and coordinates, see [`packing`].
    pub objective: f64,
    /// How each way to pack the crystals compares; empty without a search.
    pub packings: Vec<Compared>,
}

/// Fits every coordinate that the rows can move.
///
/// # Arguments
/// * `library`: reference tables.
/// * `priors`: parameters before.
/// * `table`: measurements; only rows for fitting are used.
/// * `choice`: whether to search for the packings.
///
/// # Errors
/// [`CalibrationError`].
pub fn calibrate(
    library: &Library,
    priors: &Parameters,
    table: &[Measurement],
    choice: Choice,
) -> Result<Calibration, CalibrationError> {
    let observations = observation::of(library, table);
    let rows: Vec<Measurement> = observations.iter().map(|one| one.row.clone()).collect();
    let bench = Bench { library, rows: &rows, observations: &observations };
    let variances = bench.variances(priors)?;
    let before = bench.residuals(priors)?;
    let trial = Trial { bench: &bench, variances: &variances };

    let mut start = trial.whole(priors)?;
    let mut packings = Vec::new();
    let mut priors = priors.clone();
    if choice == Choice::Search {
        packings = packing::choose(&trial, &start)?;
        for (packing, compared) in priors.packings.iter_mut().zip(&packings) {
            packing.chosen = compared.chosen;
        }
        if packings.iter().any(|one| one.chosen) {
            start = trial.whole(&priors)?;
        }
    }
    let Fitting { free, fit, weights, objective, .. } = start;

    let kept: Vec<usize> =
        (0..free.len()).filter(|&j| fit.information[j].data >= LEAST_DATA_SHARE || fit.at_bound[j].is_some()).collect();
    let mut parameters = priors.clone();
    let priors = &priors;
    let mut fitted = Vec::with_capacity(kept.len());
    for (j, (coordinate, prior)) in free.iter().enumerate() {
        // One at its bound keeps the spread it had: the fit says nothing about it.
        let known = fit.at_bound[j].is_none();
        let sd = if known { fit.standard_deviations[j] } else { prior.sd };
        coordinate.store(&mut parameters, fit.parameters[j], sd);
        if kept.contains(&j) {
            fitted.push(Fitted {
                coordinate: *coordinate,
                name: coordinate.name(priors),
                prior: *prior,
                centre: fit.parameters[j],
                sd,
                data_share: fit.information[j].data,
            });
        }
    }
    let correlation = DMatrix::from_fn(kept.len(), kept.len(), |a, b| {
        let (i, j) = (kept[a], kept[b]);
        let scale = fit.standard_deviations[i] * fit.standard_deviations[j];
        if i == j || scale == 0.0 { f64::from(u8::from(i == j)) } else { fit.covariance[(i, j)] / scale }
    });
    let score = |residual: &f64, variance: &f64| residual / variance.sqrt();
    let scores = (before.iter().zip(&fit.residuals).zip(&variances))
        .map(|((before, after), variance)| (score(before, variance), score(after, variance)))
        .collect();
    let left = discrepancy::find(&bench, &parameters, &fit.residuals)?;
    left.store(&mut parameters);
    Ok(Calibration {
        parameters,
        fitted,
        correlation,
        observations,
        weights,
        scores,
        residuals: fit.residuals,
        left,
        objective,
        packings,
    })
}

/// How far a parameter set stands from the optimum of the fit: the next step of the fit from where it stands, coordinate by coordinate.
///
/// ```text
/// step = −(Jᵀ W J + S⁻²)⁻¹ (Jᵀ W r + S⁻² (p − m)),      W = w_i / σ_i²
/// ```
/// A calibration takes minutes and this takes seconds: whether a file still belongs to its rows, its priors and the model can be told without
/// fitting again.
///
/// # Arguments
/// * `library`, `priors`, `table`: as for [`calibrate`]; the packings are those the priors say are chosen.
/// * `found`: parameters after the fit.
///
/// # Returns
/// For each coordinate its name and the step over its standard deviation after the fit; 0 for one that is held back by its bound.
///
/// # Errors
/// [`CalibrationError`].
pub fn next_step(
    library: &Library,
    priors: &Parameters,
    found: &Parameters,
    table: &[Measurement],
) -> Result<Vec<(String, f64)>, CalibrationError> {
    let observations = observation::of(library, table);
    let rows: Vec<Measurement> = observations.iter().map(|one| one.row.clone()).collect();
    let bench = Bench { library, rows: &rows, observations: &observations };
    let variances = bench.variances(priors)?;
    let free = spread_out(priors);
    let point: Vec<f64> = free.iter().map(|(coordinate, _)| coordinate.spread(found).0).collect();
    let residuals = bench.residuals(&Bench::at(priors, &free, &point))?;
    let jacobian = bench.jacobian(priors, &free, &point)?;
    let weights = DVector::from_iterator(
        rows.len(),
        t_weights(&residuals, &variances).iter().zip(&variances).map(|(weight, variance)| weight / variance),
    );
    let weighted = DMatrix::from_diagonal(&weights) * &jacobian;
    let mut information = jacobian.tr_mul(&weighted);
    let mut slope = weighted.tr_mul(&DVector::from_vec(residuals));
    for (j, (_, prior)) in free.iter().enumerate() {
        let known = 1.0 / (prior.sd * prior.sd);
        information[(j, j)] += known;
        slope[j] += known * (point[j] - prior.mean);
    }
    let covariance = information.cholesky().ok_or(CalibrationError::NoCurvature)?.inverse();
    let step = -(&covariance * slope);
    Ok(free
        .iter()
        .enumerate()
        .map(|(j, (coordinate, _))| {
            let range = bounds(*coordinate);
            let moved = (point[j] + step[j]).clamp(range.lower, range.upper) - point[j];
            (coordinate.name(priors), moved / covariance[(j, j)].sqrt())
        })
        .collect())
}

/// Weights of Student's t.
fn t_weights(residuals: &[f64], variances: &[f64]) -> Vec<f64> {
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
    fn whole(&self, priors: &Parameters) -> Result<Fitting, CalibrationError> {
        let all = spread_out(priors);
        let means: Vec<f64> = all.iter().map(|(_, prior)| prior.mean).collect();
        let jacobian = self.bench.jacobian(priors, &all, &means)?;
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
            .filter(|(j, (_, prior))| effect(*j, prior.sd) >= LEAST_EFFECT)
            .map(|(_, one)| *one)
            .collect();
        let start: Vec<f64> = free.iter().map(|(_, prior)| prior.mean).collect();
        self.from(priors, free, start, ROUNDS, GAIN_TOLERANCE)
    }

    /// Fits `free` from `start`, in so many rounds of weights.
    pub fn from(
        &self,
        priors: &Parameters,
        free: Vec<(Coordinate, Prior)>,
        mut start: Vec<f64>,
        rounds: usize,
        gain_tolerance: f64,
    ) -> Result<Fitting, CalibrationError> {
        let mut residuals = self.bench.residuals(&Bench::at(priors, &free, &start))?;
        let mut left = rounds;
        loop {
            let weights = t_weights(&residuals, self.variances);
            let scaled = weights.iter().zip(self.variances).map(|(weight, variance)| weight / variance).collect();
            let fit = self.bench.fit(priors, &free, scaled, &start, gain_tolerance)?;
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

    /// Residuals of the central predictions.
    pub fn residuals(&self, parameters: &Parameters) -> Result<Vec<f64>, BlendError> {
        let mut residuals = vec![0.0; self.rows.len()];
        observation::residuals(self.observations, &self.predict(parameters, 0)?, &mut residuals);
        Ok(residuals)
    }

    /// Variance of each residual, with the spread of the species table alone, so that packings are compared on one scale.
    fn variances(&self, priors: &Parameters) -> Result<Vec<f64>, BlendError> {
        let mut table_only = discrepancy::without_model_spread(priors);
        table_only.packings.iter_mut().for_each(|packing| packing.chosen = false);
        Ok(observation::variances(self.observations, &self.spread(&table_only)?))
    }

    /// Standard deviation of each prediction, on the scale of its row.
    pub fn spread(&self, parameters: &Parameters) -> Result<Vec<f64>, BlendError> {
        let scored = self.predict(parameters, discrepancy::DRAWS)?;
        Ok(self.observations.iter().zip(&scored).map(|(one, scored)| one.predicted_sd(scored)).collect())
    }

    fn at(priors: &Parameters, free: &[(Coordinate, Prior)], point: &[f64]) -> Parameters {
        let mut parameters = priors.clone();
        for ((coordinate, prior), value) in free.iter().zip(point) {
            coordinate.store(&mut parameters, *value, prior.sd);
        }
        parameters
    }

    /// Derivatives by central differences; columns are shared out among threads, each the same on any of them.
    fn jacobian(
        &self,
        priors: &Parameters,
        free: &[(Coordinate, Prior)],
        point: &[f64],
    ) -> Result<DMatrix<f64>, BlendError> {
        let column = |j: usize| -> Result<Vec<f64>, BlendError> {
            let (coordinate, prior) = free[j];
            let range = bounds(coordinate);
            let step = STEP_SD * prior.sd;
            let (low, high) = ((point[j] - step).max(range.lower), (point[j] + step).min(range.upper));
            let side = |value: f64| {
                let mut moved = point.to_vec();
                moved[j] = value;
                self.residuals(&Self::at(priors, free, &moved))
            };
            let (left, right) = (side(low)?, side(high)?);
            Ok(left.iter().zip(&right).map(|(left, right)| (right - left) / (high - low)).collect())
        };
        let threads = thread::available_parallelism().map_or(1, NonZeroUsize::get);
        let mut columns: Vec<(usize, Result<Vec<f64>, BlendError>)> = Vec::with_capacity(free.len());
        thread::scope(|scope| {
            let workers: Vec<_> = (0..threads)
                .map(|first| {
                    let column = &column;
                    scope
                        .spawn(move || (first..free.len()).step_by(threads).map(|j| (j, column(j))).collect::<Vec<_>>())
                })
                .collect();
            for worker in workers {
                if let Ok(found) = worker.join() {
                    columns.extend(found);
                }
            }
        });
        let mut jacobian = DMatrix::from_element(self.rows.len(), free.len(), f64::NAN);
        for (j, column) in columns {
            jacobian.column_mut(j).copy_from_slice(&column?);
        }
        Ok(jacobian)
    }

    fn fit(
        &self,
        priors: &Parameters,
        free: &[(Coordinate, Prior)],
        weights: Vec<f64>,
        start: &[f64],
        gain_tolerance: f64,
    ) -> Result<Fit, CalibrationError> {
        let options = Options { noise: Noise::Known, gain_tolerance, ..Options::default() };
        let residual = |point: &[f64], into: &mut [f64]| {
            into.copy_from_slice(&self.residuals(&Self::at(priors, free, point))?);
            Ok(())
        };
        let jacobian = |point: &[f64], into: &mut DMatrix<f64>| {
            into.copy_from(&self.jacobian(priors, free, point)?);
            Ok(())
        };
        let problem = Problem::new(self.rows.len(), residual)
            .jacobian(jacobian)
            .weights(weights)
            .bounds(free.iter().map(|(coordinate, _)| bounds(*coordinate)).collect())
            .priors(free.iter().map(|(_, prior)| Some(*prior)).collect())
            .options(options);
        Ok(problem.fit(start)?)
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
