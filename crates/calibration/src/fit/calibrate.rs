//! Robust least squares over the fitting rows, with the literature as prior.
//!
//! ```text
//! minimise  Σ_i w_i r_i(p)² / σ_i²  +  Σ_j ((p_j − m_j) / s_j)²,      w_i = (ν + 1) / (ν + r_i² / σ_i²)
//! ```
//! `r_i` are the residuals of [`super::observation`], `σ_i` theirs, `m_j` and `s_j` the centre and spread of coordinate j in
//! `data/priors.toml`. The weights are those of Student's t with ν = 4: a row that lies far off counts for less, and no row decides.
//! They are found by repeating the fit.
//!
//! # Source
//! Lange, Little and Taylor 1989, J. Am. Stat. Assoc. 84:881 (t weights; recalled).

use barwright_blend::Parameters;
use barwright_blend::coordinate::Coordinate;
use barwright_reference::Library;
use nalgebra::DMatrix;

use super::discrepancy::{self, Left};
use super::error::CalibrationError;
use super::least_squares::{Model, Prior};
use super::observation::{self, Observation};
use super::packing::{self, Choice, Compared};
use super::robust::{Bench, Fitting, Trial, spread_out, t_weights};
use crate::published::Measurement;

/// Share of its knowledge that must come from the data for a coordinate to count as fitted.
const MIN_DATA_SHARE: f64 = 0.02;

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
        (0..free.len()).filter(|&j| fit.data_share[j] >= MIN_DATA_SHARE || fit.at_bound[j]).collect();
    let mut parameters = priors.clone();
    let priors = &priors;
    let mut fitted = Vec::with_capacity(kept.len());
    for (j, (coordinate, prior)) in free.iter().enumerate() {
        // One at its bound keeps the spread it had: the fit says nothing about it.
        let sd = if fit.at_bound[j] { prior.sd } else { fit.standard_deviations[j] };
        coordinate.store(&mut parameters, fit.parameters[j], sd);
        if kept.contains(&j) {
            fitted.push(Fitted {
                coordinate: *coordinate,
                name: coordinate.name(priors),
                prior: *prior,
                centre: fit.parameters[j],
                sd,
                data_share: fit.data_share[j],
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
/// For each coordinate its name and the step, in standard deviations after the fit; 0 for one that is held back by its bound.
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
    let rows = bench.rows(priors, &free);
    let weights = t_weights(&rows.residuals(&point)?, &variances);
    let steps = rows.problem(&weights, &variances).next_step(&point)?;
    Ok(free.iter().zip(steps).map(|((coordinate, _), step)| (coordinate.name(priors), step)).collect())
}
