//! Nonlinear least squares with priors and bounds: Levenberg and Marquardt, in a region of trust after Moré.
//!
//! ```text
//! minimise  F(p) = Σ_i w_i r_i(p)² + Σ_j ((p_j − m_j) / s_j)²,      lower ≤ p ≤ upper
//! ```
//! With the derivatives `A` of these rows `ρ`, and in `D_j` the largest norm that column j of `A` has had, a step solves
//!
//! ```text
//! (D⁻¹ Aᵀ A D⁻¹ + λ I) z = −D⁻¹ Aᵀ ρ,      p ← project(p + D⁻¹ z)
//! ```
//! with a λ that keeps `‖z‖` inside a region, which grows and shrinks with the share of the predicted gain that was got. A coordinate at a bound from
//! which F falls outwards is held for the step. Each coordinate has a prior, so `AᵀA` has an inverse, and Cholesky's factors are good enough.
//!
//! # Why not a crate
//! Tried on 2026-11-30: `levenberg-marquardt` 0.15, a translation of MINPACK, writes the same `data/model.toml` to the byte. It knows no priors, no bounds and no
//! covariances, so of the 262 lines of code here it would save some 90; and it needs nalgebra 0.34 beside our 0.35, whose `paste` is no longer maintained
//! (RUSTSEC-2024-0436), which `cargo deny check` refuses.
//!
//! # Source
//! Marquardt 1963, J. Soc. Ind. Appl. Math. 11:431; Moré 1978, Lecture Notes in Mathematics 630:105 (scaling, region, damping). Both recalled.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Steps accepted before giving up.
const MAX_STEPS: usize = 200;

/// Least share of the predicted gain that makes a step acceptable (Moré 1978).
const MIN_SHARE: f64 = 1e-4;

/// A step that gets less than this share of its predicted gain makes the region smaller (Moré 1978).
const POOR_SHARE: f64 = 0.25;

/// A step that gets more than this share makes it larger (Moré 1978).
const GOOD_SHARE: f64 = 0.75;

/// How near to the edge of the region a damped step must end, as a share of its radius (Moré 1978).
const EDGE_TOLERANCE: f64 = 0.1;

/// Largest number of values of the damping tried for one step (Moré 1978 finds fewer than two are needed on average).
const MAX_DAMPINGS: usize = 10;

/// Range of one coordinate, ends included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Lower end, or minus infinity.
    pub lower: f64,
    /// Upper end, or infinity.
    pub upper: f64,
}

impl Bounds {
    /// No bounds.
    pub const NONE: Bounds = Bounds::new(f64::NEG_INFINITY, f64::INFINITY);

    /// From `lower` to `upper`, which is not below it, on the scale of the coordinate.
    pub const fn new(lower: f64, upper: f64) -> Bounds {
        Bounds { lower, upper }
    }

    /// The nearest value inside, on the same scale.
    pub fn project(self, x: f64) -> f64 {
        x.max(self.lower).min(self.upper)
    }
}

/// What is known of one coordinate before the data: a normal distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Mean.
    pub mean: f64,
    /// Standard deviation, positive.
    pub sd: f64,
}

/// What is fitted.
pub trait Model {
    /// Why it may fail.
    type Error;

    /// Model less measured, each on the scale of its row, at a point on the scales of the coordinates; a step to where one is not finite is shortened.
    ///
    /// # Errors
    /// Ends the fit.
    fn residuals(&self, point: &[f64]) -> Result<Vec<f64>, Self::Error>;

    /// `∂r_i/∂p_j` at a point, each on its own scale.
    ///
    /// # Errors
    /// Ends the fit.
    fn jacobian(&self, point: &[f64]) -> Result<DMatrix<f64>, Self::Error>;
}

/// Why there is no fit.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FitError<E> {
    /// The model failed.
    #[error(transparent)]
    Model(#[from] E),
    /// The rows have no curvature to step by.
    #[error("rows and priors leave no curvature to step by: a figure among the parameters is no number")]
    NoCurvature,
    /// No more steps, or none that helps.
    #[error("no convergence after {steps} steps: sum of squares {sum_of_squares:e} at {parameters:?}")]
    NotConverged {
        /// Steps accepted.
        steps: usize,
        /// Of data and priors.
        sum_of_squares: f64,
        /// Where.
        parameters: Vec<f64>,
    },
}

/// Coordinates fitted to what was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// The coordinates.
    pub parameters: Vec<f64>,
    /// Residuals there, as the model gave them.
    pub residuals: Vec<f64>,
    /// `Σ ((p − mean)/sd)²` of the priors.
    pub prior_sum_of_squares: f64,
    /// `(AᵀA)⁻¹`; zero for a coordinate at a bound: the others are then given that one.
    pub covariance: DMatrix<f64>,
    /// Roots of its diagonal.
    pub standard_deviations: Vec<f64>,
    /// Share of the knowledge of each coordinate that comes from the data: 1 less its variance over that of its prior; 0 at a bound.
    pub data_share: Vec<f64>,
    /// Whether a bound holds the coordinate.
    pub at_bound: Vec<bool>,
}

/// A model with all that is known of its coordinates, ready to fit.
pub struct Problem<M> {
    /// What is fitted.
    pub model: M,
    /// One over the variance of each residual.
    pub weights: Vec<f64>,
    /// Of each coordinate.
    pub priors: Vec<Prior>,
    /// Of each coordinate.
    pub bounds: Vec<Bounds>,
}

/// The rows at one place: weighted residuals over those of the priors.
struct Point {
    parameters: Vec<f64>,
    residuals: Vec<f64>,
    rows: DVector<f64>,
    sum: f64,
}

impl<M: Model> Problem<M> {
    /// Fits the coordinates.
    ///
    /// # Arguments
    /// * `start`: where to begin, each coordinate on its own scale; moved into the bounds.
    /// * `gain_tolerance`: the fit ends when a step neither gains nor promises more than this share of `F`; above the rounding of `F`.
    ///
    /// # Returns
    /// A minimum near the start, not the lowest one, with the spread of the model made linear there.
    ///
    /// # Errors
    /// [`FitError`].
    pub fn fit(&self, start: &[f64], gain_tolerance: f64) -> Result<Fit, FitError<M::Error>> {
        let mut here = self.at(start.iter().zip(&self.bounds).map(|(&x, bounds)| bounds.project(x)).collect())?;
        let mut derivatives = self.derivatives(&here)?;
        let mut scale = DVector::<f64>::zeros(start.len());
        let mut last: Option<Region> = None;
        for steps in 0..MAX_STEPS {
            for (scale, column) in scale.iter_mut().zip(derivatives.column_iter()) {
                *scale = scale.max(column.norm());
            }
            let free = self.free(&here, &derivatives);
            if free.is_empty() {
                return self.finish(here, &derivatives);
            }
            let scaled =
                DMatrix::from_fn(here.rows.len(), free.len(), |i, k| derivatives[(i, free[k])] / scale[free[k]]);
            let linear = LinearModel::new(&scaled, &here.rows).ok_or(FitError::NoCurvature)?;
            let norm = DVector::from_column_slice(&here.parameters).component_mul(&scale).norm();
            let size = if norm > 0.0 { norm } else { 1.0 };
            let small = gain_tolerance * here.sum;
            let next = loop {
                let region = last.unwrap_or(Region { radius: size, damping: 0.0 });
                let step = linear.step(region).ok_or(FitError::NoCurvature)?;
                let mut trial = here.parameters.clone();
                for (k, &j) in free.iter().enumerate() {
                    trial[j] = self.bounds[j].project(trial[j] + step.scaled[k] / scale[j]);
                }
                // The step as projected and stored.
                let taken =
                    DVector::from_fn(free.len(), |k, _| (trial[free[k]] - here.parameters[free[k]]) * scale[free[k]]);
                let next = self.at(trial)?;
                let predicted = linear.gain(&taken);
                let gained = if next.sum.is_finite() { here.sum - next.sum } else { f64::NEG_INFINITY };
                if predicted.abs() <= small && gained.abs() <= small {
                    if gained > 0.0 {
                        derivatives = self.derivatives(&next)?;
                        here = next;
                    }
                    return self.finish(here, &derivatives);
                }
                let share = if predicted > 0.0 { gained / predicted } else { f64::NEG_INFINITY };
                let radius = if last.is_none() { region.radius.min(taken.norm()) } else { region.radius };
                let shrink = linear.shrink_factor(&taken, gained, here.sum);
                let region = Region { radius, damping: step.damping }.after(taken.norm(), share, shrink);
                last = Some(region);
                if share >= MIN_SHARE {
                    break next;
                }
                if region.radius <= f64::EPSILON * size {
                    return Err(not_converged(steps, here));
                }
            };
            derivatives = self.derivatives(&next)?;
            here = next;
        }
        Err(not_converged(MAX_STEPS, here))
    }

    /// Returns the step of Gauss and Newton from a place (each coordinate on its own scale), in standard deviations there; cut at the bounds.
    ///
    /// # Errors
    /// [`FitError`].
    pub fn next_step(&self, point: &[f64]) -> Result<Vec<f64>, FitError<M::Error>> {
        let here = self.at(point.to_vec())?;
        let derivatives = self.derivatives(&here)?;
        let covariance = covariance(&derivatives).ok_or(FitError::NoCurvature)?;
        let step = -(&covariance * derivatives.tr_mul(&here.rows));
        let moved = |j: usize| self.bounds[j].project(point[j] + step[j]) - point[j];
        Ok((0..point.len()).map(|j| moved(j) / covariance[(j, j)].sqrt()).collect())
    }

    fn at(&self, parameters: Vec<f64>) -> Result<Point, M::Error> {
        let residuals = self.model.residuals(&parameters)?;
        let data = residuals.iter().zip(&self.weights).map(|(residual, weight)| weight.sqrt() * residual);
        let prior = parameters.iter().zip(&self.priors).map(|(x, prior)| (x - prior.mean) / prior.sd);
        let rows = DVector::from_iterator(residuals.len() + parameters.len(), data.chain(prior));
        Ok(Point { sum: rows.norm_squared(), parameters, residuals, rows })
    }

    /// Derivatives of the rows.
    fn derivatives(&self, point: &Point) -> Result<DMatrix<f64>, M::Error> {
        let data = point.residuals.len();
        let mut rows = self.model.jacobian(&point.parameters)?.insert_rows(data, self.priors.len(), 0.0);
        for (mut row, weight) in rows.row_iter_mut().zip(&self.weights) {
            row *= weight.sqrt();
        }
        for (j, prior) in self.priors.iter().enumerate() {
            rows[(data + j, j)] = 1.0 / prior.sd;
        }
        Ok(rows)
    }

    /// The coordinates that are not held by a bound from which the sum of squares falls outwards.
    fn free(&self, point: &Point, derivatives: &DMatrix<f64>) -> Vec<usize> {
        let gradient = derivatives.tr_mul(&point.rows);
        let held = |j: usize| {
            let (x, bounds) = (point.parameters[j], self.bounds[j]);
            (x >= bounds.upper && gradient[j] < 0.0) || (x <= bounds.lower && gradient[j] > 0.0)
        };
        (0..point.parameters.len()).filter(|&j| !held(j)).collect()
    }

    fn finish(&self, here: Point, derivatives: &DMatrix<f64>) -> Result<Fit, FitError<M::Error>> {
        let n = here.parameters.len();
        let free = self.free(&here, derivatives);
        let of_free = covariance(&derivatives.select_columns(&free)).ok_or(FitError::NoCurvature)?;
        let mut covariance = DMatrix::zeros(n, n);
        for (a, &i) in free.iter().enumerate() {
            for (b, &j) in free.iter().enumerate() {
                covariance[(i, j)] = of_free[(a, b)];
            }
        }
        let at_bound: Vec<bool> = (0..n).map(|j| !free.contains(&j)).collect();
        let share = |j: usize| (1.0 - covariance[(j, j)] / self.priors[j].sd.powi(2)).clamp(0.0, 1.0);
        Ok(Fit {
            prior_sum_of_squares: here.rows.rows(here.residuals.len(), n).norm_squared(),
            standard_deviations: covariance.diagonal().iter().map(|variance| variance.sqrt()).collect(),
            data_share: (0..n).map(|j| if at_bound[j] { 0.0 } else { share(j) }).collect(),
            at_bound,
            covariance,
            parameters: here.parameters,
            residuals: here.residuals,
        })
    }
}

/// `(AᵀA)⁻¹`.
fn covariance(derivatives: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    Some(derivatives.tr_mul(derivatives).cholesky()?.inverse())
}

fn not_converged<E>(steps: usize, here: Point) -> FitError<E> {
    FitError::NotConverged { steps, sum_of_squares: here.sum, parameters: here.parameters }
}

/// Where the linear model is trusted.
#[derive(Clone, Copy)]
struct Region {
    /// Of the scaled step.
    radius: f64,
    /// The damping that filled it last.
    damping: f64,
}

impl Region {
    /// The region after a step.
    ///
    /// # Arguments
    /// * `step_size`: norm of the scaled step.
    /// * `share`: what it gained over what was predicted.
    /// * `shrink`: by how much to shorten the region where that is little.
    fn after(self, step_size: f64, share: f64, shrink: f64) -> Region {
        if share < POOR_SHARE {
            Region { radius: shrink * self.radius.min(10.0 * step_size), damping: self.damping / shrink }
        } else if self.damping == 0.0 || share > GOOD_SHARE {
            Region { radius: 2.0 * step_size, damping: 0.5 * self.damping }
        } else {
            self
        }
    }
}

/// The linear problem `min ‖A z + ρ‖²` at one place, in scaled coordinates.
struct LinearModel {
    /// `AᵀA`.
    gram: DMatrix<f64>,
    /// `Aᵀρ`, half the slope of the sum of squares.
    gradient: DVector<f64>,
    /// Of `AᵀA`.
    factors: Cholesky<f64, Dyn>,
    /// The step of Gauss and Newton, without damping.
    full_step: DVector<f64>,
}

/// A step in scaled coordinates.
struct Step {
    scaled: DVector<f64>,
    damping: f64,
}

impl LinearModel {
    fn new(derivatives: &DMatrix<f64>, rows: &DVector<f64>) -> Option<Self> {
        let (gram, gradient) = (derivatives.tr_mul(derivatives), derivatives.tr_mul(rows));
        let factors = gram.clone().cholesky()?;
        let full_step = -factors.solve(&gradient);
        Some(LinearModel { gram, gradient, factors, full_step })
    }

    /// By how much a step lowers the sum of squares.
    fn gain(&self, step: &DVector<f64>) -> f64 {
        -(2.0 * self.gradient.dot(step) + step.dot(&(&self.gram * step)))
    }

    /// The step that solves `min ‖A z + ρ‖² + λ ‖z‖²` with a `λ` that fills the region, or 0 if the full step is inside.
    ///
    /// `λ` by Newton's method on `1/‖z(λ)‖ − 1/radius` between bounds. `None` when a figure is not a number.
    fn step(&self, region: Region) -> Option<Step> {
        let radius = region.radius;
        let full_size = self.full_step.norm();
        if full_size <= (1.0 + EDGE_TOLERANCE) * radius {
            return Some(Step { scaled: self.full_step.clone(), damping: 0.0 });
        }
        let mut lower = newton(&self.factors, &self.full_step, radius);
        let upper = self.gradient.norm() / radius;
        let mut damping = region.damping.max(lower).min(upper);
        let mut scaled = self.full_step.clone();
        for _ in 0..MAX_DAMPINGS {
            let ridge = DMatrix::from_diagonal_element(self.gradient.len(), self.gradient.len(), damping);
            let factors = (&self.gram + ridge).cholesky()?;
            scaled = -factors.solve(&self.gradient);
            let excess = scaled.norm() - radius;
            if excess.abs() <= EDGE_TOLERANCE * radius {
                break;
            }
            if excess > 0.0 {
                lower = lower.max(damping);
            }
            damping = (damping + newton(&factors, &scaled, radius)).max(lower);
        }
        Some(Step { scaled, damping })
    }

    /// By how much to shorten a region that promised too much: to the minimum of the parabola through what was got, between 0.1 and 0.5.
    fn shrink_factor(&self, step: &DVector<f64>, gained: f64, sum: f64) -> f64 {
        if gained >= 0.0 {
            return 0.5;
        }
        if gained <= -99.0 * sum {
            return 0.1;
        }
        let slope = self.gradient.dot(step);
        (0.5 * slope / (slope + 0.5 * gained)).clamp(0.1, 0.5)
    }
}

/// Newton's change of the damping that brings a step to the edge of the region.
fn newton(factors: &Cholesky<f64, Dyn>, step: &DVector<f64>, radius: f64) -> f64 {
    let size = step.norm();
    let direction = step / size;
    (size - radius) / (radius * direction.dot(&factors.solve(&direction)))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::convert::Infallible;

    /// A formula with its derivatives, and what was measured.
    struct Curve<'a> {
        formula: fn(&[f64], f64) -> (f64, Vec<f64>),
        x: &'a [f64],
        y: &'a [f64],
    }

    impl Model for Curve<'_> {
        type Error = Infallible;

        fn residuals(&self, point: &[f64]) -> Result<Vec<f64>, Infallible> {
            Ok(self.x.iter().zip(self.y).map(|(&x, y)| (self.formula)(point, x).0 - y).collect())
        }

        fn jacobian(&self, point: &[f64]) -> Result<DMatrix<f64>, Infallible> {
            Ok(DMatrix::from_fn(self.x.len(), point.len(), |i, j| (self.formula)(point, self.x[i]).1[j]))
        }
    }

    /// Small enough to find the minimum to the digits asked for.
    const GAIN_TOLERANCE: f64 = 1e-13;

    const TIMES: [f64; 8] = [0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0];
    const VALUES: [f64; 8] = [3.02, 2.27, 1.72, 1.39, 1.09, 0.80, 0.66, 0.49];

    /// A decay with a background.
    const DECAY: Curve<'_> = Curve {
        formula: |p, t| {
            let e = (-p[1] * t).exp();
            (p[0] * e + p[2], vec![e, -p[0] * t * e, 1.0])
        },
        x: &TIMES,
        y: &VALUES,
    };

    /// With priors that say next to nothing.
    fn problem<M: Model>(model: M, rows: usize, coordinates: usize) -> Problem<M> {
        Problem {
            model,
            weights: vec![1.0; rows],
            priors: vec![Prior { mean: 0.0, sd: 1e6 }; coordinates],
            bounds: vec![Bounds::NONE; coordinates],
        }
    }

    fn close(a: f64, b: f64, relative: f64) -> bool {
        (a / b - 1.0).abs() <= relative
    }

    /// `Misra1a` of NIST's Statistical Reference Datasets, from both of its starts, with its standard deviation of a residual.
    #[test]
    fn a_reference_problem_has_its_certified_answer() {
        let x = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0];
        let y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78];
        let formula = |p: &[f64], x: f64| {
            let e = (-p[1] * x).exp();
            (p[0] * (1.0 - e), vec![1.0 - e, p[0] * x * e])
        };
        let mut problem = problem(Curve { formula, x: &x, y: &y }, 14, 2);
        problem.weights = vec![1.018_787_633_0e-1_f64.powi(-2); 14];
        for start in [[500.0, 0.0001], [250.0, 0.0005]] {
            let fit = problem.fit(&start, GAIN_TOLERANCE).unwrap();
            assert!(close(fit.parameters[0], 2.389_421_291_8e2, 1e-7), "{:?}", fit.parameters);
            assert!(close(fit.parameters[1], 5.501_564_318_1e-4, 1e-7), "{:?}", fit.parameters);
            assert!(close(fit.standard_deviations[0], 2.707_007_524_1, 1e-6), "{:?}", fit.standard_deviations);
            assert!(close(fit.standard_deviations[1], 7.266_868_843_6e-6, 1e-6), "{:?}", fit.standard_deviations);
        }
    }

    /// A mean of four values of variance 1 (2.5 ± 0.5) and a prior of 0.5 ± 0.5: halfway, with twice the information.
    #[test]
    fn a_prior_counts_as_one_more_measurement() {
        let mean = Curve { formula: |p, _| (p[0], vec![1.0]), x: &[0.0; 4], y: &[1.0, 2.0, 3.0, 4.0] };
        let problem = Problem { priors: vec![Prior { mean: 0.5, sd: 0.5 }], ..problem(mean, 4, 1) };
        let fit = problem.fit(&[7.0], GAIN_TOLERANCE).unwrap();
        assert!(close(fit.parameters[0], 1.5, 1e-9) && close(fit.covariance[(0, 0)], 0.125, 1e-12));
        assert!(close(fit.data_share[0], 0.5, 1e-12) && close(fit.prior_sum_of_squares, 4.0, 1e-8));
        assert!(problem.next_step(&fit.parameters).unwrap()[0].abs() < 1e-6);
        assert!(close(problem.next_step(&[2.5]).unwrap()[0], -1.0 / 0.125_f64.sqrt(), 1e-9));
    }

    #[test]
    fn bounds_hold_and_the_rest_is_given_them() {
        let free = problem(DECAY, 8, 3).fit(&[1.0, 1.0, 0.0], GAIN_TOLERANCE).unwrap();
        assert!(close(free.parameters[1], 0.7, 0.02) && free.at_bound == [false; 3], "{:?}", free.parameters);
        let upper = 0.4;
        let mut bounded = problem(DECAY, 8, 3);
        bounded.bounds[1] = Bounds::new(0.05, upper);
        let fit = bounded.fit(&[1.0, 3.0, 0.0], GAIN_TOLERANCE).unwrap();
        assert_eq!((fit.parameters[1], fit.standard_deviations[1], fit.data_share[1]), (upper, 0.0, 0.0));
        assert_eq!(fit.at_bound, [false, true, false]);
        assert_eq!(bounded.next_step(&fit.parameters).unwrap()[1], 0.0);
        let line = Curve {
            formula: |p, t| {
                let e = (-0.4 * t).exp();
                (p[0] * e + p[1], vec![e, 1.0])
            },
            ..DECAY
        };
        let given = problem(line, 8, 2).fit(&[1.0, 0.0], GAIN_TOLERANCE).unwrap();
        for (j, k) in [(0, 0), (2, 1)] {
            assert!(close(fit.parameters[j], given.parameters[k], 1e-6), "{:?} {:?}", fit.parameters, given.parameters);
            assert!(close(fit.standard_deviations[j], given.standard_deviations[k], 1e-6));
        }
        // A start at a bound is left where F falls inwards.
        bounded.bounds[1] = Bounds::new(0.0, 5.0);
        let left = bounded.fit(&[1.0, 0.0, 0.0], GAIN_TOLERANCE).unwrap();
        assert!(close(left.parameters[1], free.parameters[1], 1e-5), "{:?}", left.parameters);
        bounded.bounds = vec![Bounds::new(2.0, 2.0), Bounds::new(0.5, 0.5), Bounds::new(0.1, 0.1)];
        assert_eq!(bounded.fit(&[9.0; 3], GAIN_TOLERANCE).unwrap().parameters, [2.0, 0.5, 0.1]);
    }

    #[test]
    fn a_step_to_where_the_model_is_no_number_is_shortened() {
        let formula =
            |p: &[f64], x: f64| if x == 0.0 { (p[0].ln() + 3.0, vec![1.0 / p[0]]) } else { (0.01 * p[0], vec![0.01]) };
        let problem = problem(Curve { formula, x: &[0.0, 1.0], y: &[0.0; 2] }, 2, 1);
        let fit = problem.fit(&[20.0], GAIN_TOLERANCE).unwrap();
        assert!(close(fit.parameters[0], (-3f64).exp(), 1e-3), "{:?}", fit.parameters);
        assert_eq!(problem.fit(&[-2.0], GAIN_TOLERANCE), Err(FitError::NoCurvature));
    }

    #[test]
    fn a_model_that_is_a_number_nowhere_else_does_not_converge() {
        let formula = |p: &[f64], _| (if p[0] == 7.0 { 1.0 } else { f64::NAN }, vec![1.0]);
        let error = problem(Curve { formula, x: &[0.0], y: &[0.0] }, 1, 1).fit(&[7.0], GAIN_TOLERANCE).unwrap_err();
        assert!(matches!(error, FitError::NotConverged { steps: 0, .. }), "{error}");
    }
}
