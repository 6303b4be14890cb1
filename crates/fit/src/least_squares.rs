//! Nonlinear least squares by the method of Levenberg and Marquardt, as made robust by Moré.

pub mod differences;
mod step;

use crate::linear::t_quantile;
use crate::qr::PivotedQr;
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};
use step::LinearModel;

/// Converged when the linear model can gain no more than this share of the residual, `‖Q₁ᵀ r‖ ≤ tolerance · ‖r‖`: the parameters are
/// then that many standard deviations from the best ones (criterion of Bates & Watts 1981).
pub const OFFSET_TOLERANCE: f64 = 1e-9;

/// Converged when an undamped step changes the scaled parameters by less than this share.
pub const STEP_TOLERANCE: f64 = 1e-12;

/// Converged when the residual has fallen to this share of the first one: the model goes through every point.
pub const EXACT_FIT: f64 = 1e-14;

/// Steps accepted before giving up.
pub const MAX_ITERATIONS: usize = 2000;

/// Radius of the first region, in sizes of the scaled parameters (Moré 1978 names 0.1 to 100).
pub const FIRST_REGION: f64 = 1.0;

/// Least share of the predicted gain that makes a step acceptable (Moré 1978).
pub const LEAST_GAIN: f64 = 1e-4;

/// Relative change of the sum of squares below which it is taken for rounding, and steps are judged by the offset instead.
pub const ROUNDING: f64 = 1e-11;

/// Steps within rounding that may pass without halving the offset.
pub const IDLE_STEPS: usize = 8;

/// Offset that still counts as converged when rounding allows no better.
pub const ROUNDING_OFFSET: f64 = 1e-5;

/// Undamped step that still counts as converged when rounding allows no better.
pub const ROUNDING_STEP: f64 = 1e-8;

/// Pivot of the scaled Jacobian, over the largest, below which a column counts as a combination of others: rounding of the derivatives.
pub const SINGULAR_ANALYTIC: f64 = 1e-13;

/// The same for derivatives by differences.
pub const SINGULAR_DIFFERENCES: f64 = 1e-9;

/// Range of one parameter, ends included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Lower end, or minus infinity.
    pub lower: f64,
    /// Upper end, or infinity. Equal to `lower` to hold the parameter.
    pub upper: f64,
}

impl Bounds {
    /// No bounds.
    pub const NONE: Bounds = Bounds { lower: f64::NEG_INFINITY, upper: f64::INFINITY };

    /// From `lower` to `upper`, checked when fitting.
    pub const fn new(lower: f64, upper: f64) -> Bounds {
        Bounds { lower, upper }
    }

    fn project(self, x: f64) -> f64 {
        x.max(self.lower).min(self.upper)
    }
}

/// What is known of one parameter before the data: a normal distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Mean, in the unit of the parameter.
    pub mean: f64,
    /// Standard deviation, positive, in the unit of the parameter.
    pub sd: f64,
}

/// Where the size of the scatter comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noise {
    /// From the residuals: weights are relative, covariances are multiplied by `s²`, intervals by Student's t. No priors.
    Estimated,
    /// From the weights: each is one over the variance of its residual. Intervals are normal, and the fit can be tested.
    Known,
}

/// Settings of a fit; [`Options::default`] has the constants of this module, no tolerance of the gain and
/// [`Noise::Estimated`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// See [`OFFSET_TOLERANCE`].
    pub offset_tolerance: f64,
    /// See [`STEP_TOLERANCE`].
    pub step_tolerance: f64,
    /// Converged when a step neither gains nor promises more than this share of the sum of squares; 0 asks for the other criteria. For a
    /// function whose derivatives are only roughly known (MINPACK's `ftol`).
    pub gain_tolerance: f64,
    /// See [`MAX_ITERATIONS`].
    pub max_iterations: usize,
    /// See [`FIRST_REGION`].
    pub first_region: f64,
    /// Where the size of the scatter comes from.
    pub noise: Noise,
}

impl Default for Options {
    fn default() -> Options {
        Options {
            offset_tolerance: OFFSET_TOLERANCE,
            step_tolerance: STEP_TOLERANCE,
            gain_tolerance: 0.0,
            max_iterations: MAX_ITERATIONS,
            first_region: FIRST_REGION,
            noise: Noise::Estimated,
        }
    }
}

/// Why a fit stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stop {
    /// The residual is at right angles to all derivatives, within [`Options::offset_tolerance`].
    RelativeOffset,
    /// An undamped step fell below [`Options::step_tolerance`].
    SmallStep,
    /// The model goes through every point, within [`EXACT_FIT`].
    ExactFit,
    /// Neither the step just tried nor its prediction gained more than [`Options::gain_tolerance`].
    SmallGain,
    /// Rounding allows no further gain; within [`ROUNDING_OFFSET`] or [`ROUNDING_STEP`].
    Rounding,
    /// Every parameter is held by a bound.
    AllAtBounds,
}

/// The bound a parameter ended at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Its lower bound.
    Lower,
    /// Its upper bound, or both.
    Upper,
}

/// Where the knowledge of one parameter comes from; the shares add to 1, or are both 0 for a parameter at a bound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Information {
    /// From the data, `1 − prior`.
    pub data: f64,
    /// From its prior, `C_jj / sd_j²`: variance after over variance before.
    pub prior: f64,
}

/// Parameters fitted to what was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// The parameters.
    pub parameters: Vec<f64>,
    /// Residuals there, as the function gave them.
    pub residuals: Vec<f64>,
    /// `Σ w r²` of the data alone.
    pub sum_of_squares: f64,
    /// `Σ ((p − mean)/sd)²` of the priors.
    pub prior_sum_of_squares: f64,
    /// Residuals of positive weight, plus priors, less free parameters.
    pub degrees_of_freedom: usize,
    /// `√((sum_of_squares + prior_sum_of_squares) / degrees_of_freedom)`; `None` without degrees of freedom. Near 1 for a good model when
    /// the noise is known.
    pub residual_sd: Option<f64>,
    /// Covariance from data and priors, `(JᵀWJ + P)⁻¹`, times `s²` when the noise is estimated. Zero for a parameter at a bound: the
    /// others are then given that one.
    pub covariance: DMatrix<f64>,
    /// Covariance from the data alone, at the same parameters; `None` when the data alone do not fix every free parameter.
    pub data_covariance: Option<DMatrix<f64>>,
    /// Roots of the diagonal of `covariance`.
    pub standard_deviations: Vec<f64>,
    /// Data and prior, parameter by parameter.
    pub information: Vec<Information>,
    /// Which bound holds a parameter.
    pub at_bound: Vec<Option<Side>>,
    /// Steps accepted.
    pub iterations: usize,
    /// Calls of the residual function.
    pub evaluations: usize,
    /// Why it stopped.
    pub stop: Stop,
    /// `‖Q₁ᵀ r‖ / ‖r‖` at the end, over the free parameters.
    pub relative_offset: f64,
    noise: Noise,
}

impl Fit {
    /// Returns the interval that holds a parameter with a given probability, in the linear approximation.
    ///
    /// `p_j ± q · sd_j`, `q` from Student's t when the noise is estimated, from the normal distribution when it is known.
    ///
    /// # Arguments
    /// * `parameter`: which one.
    /// * `level`: probability, between 0 and 1.
    ///
    /// # Returns
    /// Both ends; `None` for a parameter or level that does not exist, and for a parameter at a bound.
    pub fn interval(&self, parameter: usize, level: f64) -> Option<(f64, f64)> {
        let centre = *self.parameters.get(parameter)?;
        if self.at_bound[parameter].is_some() || !(level > 0.0 && level < 1.0) {
            return None;
        }
        let quantile = match self.noise {
            Noise::Estimated => t_quantile(level, self.degrees_of_freedom)?,
            Noise::Known => Normal::standard().inverse_cdf(0.5 + 0.5 * level),
        };
        let half = quantile * self.standard_deviations[parameter];
        Some((centre - half, centre + half))
    }

    /// Returns how often a true model would fit no better than this one.
    ///
    /// `P(χ²(ν) ≥ S)`, `S` of data and priors, `ν` the degrees of freedom.
    ///
    /// # Returns
    /// Probability; `None` when the noise was estimated or there are no degrees of freedom.
    ///
    /// # Validity
    /// Exact for a linear model with normal scatter of the stated size, free of bounds.
    pub fn chi_square_probability(&self) -> Option<f64> {
        if self.noise == Noise::Estimated {
            return None;
        }
        let distribution = ChiSquared::new(self.degrees_of_freedom as f64).ok()?;
        Some(distribution.sf(self.sum_of_squares + self.prior_sum_of_squares))
    }
}

/// Why there is no fit. `E` is what the caller's function fails with.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FitError<E> {
    /// The caller's function failed.
    #[error("the model failed at {parameters:?}: {cause}")]
    Model {
        /// Where.
        parameters: Vec<f64>,
        /// With what.
        cause: E,
    },
    /// A list of the wrong length.
    #[error("{found} {what} given, {expected} needed")]
    DimensionMismatch {
        /// What was counted.
        what: &'static str,
        /// How many there must be.
        expected: usize,
        /// How many there are.
        found: usize,
    },
    /// Not enough data and priors for the parameters.
    #[error("{rows} residuals and priors cannot fix {parameters} free parameters{}", if *rows >= *parameters { " and the scatter" } else { "" })]
    TooFewRows {
        /// Residuals of positive weight and priors.
        rows: usize,
        /// Parameters not held by equal bounds.
        parameters: usize,
    },
    /// A starting value, weight, bound, prior or option out of its range.
    #[error("{what} {index} is {value}, {must}")]
    Invalid {
        /// What it is.
        what: &'static str,
        /// Which one, from 0.
        index: usize,
        /// What was found.
        value: f64,
        /// What it must be.
        must: &'static str,
    },
    /// Priors count in standard deviations, so residuals must as well.
    #[error("priors need residuals of known size: weights of one over the variance and Noise::Known")]
    PriorNeedsKnownNoise,
    /// A residual that is no number, or too large to square, at the start or wherever the fit turns.
    #[error("residual {index} is {value} at {parameters:?}")]
    NonFiniteResidual {
        /// Which one, from 0; those of the priors come after the data's.
        index: usize,
        /// What was found.
        value: f64,
        /// Where.
        parameters: Vec<f64>,
    },
    /// A derivative that is no number.
    #[error("derivative of residual {row} with parameter {column} is {value} at {parameters:?}")]
    NonFiniteDerivative {
        /// Residual, from 0.
        row: usize,
        /// Parameter, from 0.
        column: usize,
        /// What was found.
        value: f64,
        /// Where.
        parameters: Vec<f64>,
    },
    /// Data and priors do not fix a parameter.
    #[error(
        "data and priors do not fix parameter {column}: its derivatives are a combination of the others' (pivot {pivot:.1e} of the largest) at {parameters:?}"
    )]
    Singular {
        /// Parameter, from 0.
        column: usize,
        /// Its pivot over the largest.
        pivot: f64,
        /// Where.
        parameters: Vec<f64>,
    },
    /// No more steps, or none that helps.
    #[error(
        "no convergence after {iterations} steps: the last changed the parameters by {last_step:.1e}, relative offset {relative_offset:.1e}, sum of squares {sum_of_squares:e} at {parameters:?}"
    )]
    NotConverged {
        /// Steps accepted.
        iterations: usize,
        /// Size of the last step over the size of the scaled parameters.
        last_step: f64,
        /// See [`Fit::relative_offset`].
        relative_offset: f64,
        /// Of data and priors.
        sum_of_squares: f64,
        /// Where.
        parameters: Vec<f64>,
    },
}

type ResidualFn<'a, E> = Box<dyn Fn(&[f64], &mut [f64]) -> Result<(), E> + 'a>;
type JacobianFn<'a, E> = Box<dyn Fn(&[f64], &mut DMatrix<f64>) -> Result<(), E> + 'a>;

/// A model with what was measured, ready to fit.
pub struct Problem<'a, E> {
    residual_count: usize,
    residual: ResidualFn<'a, E>,
    jacobian: Option<JacobianFn<'a, E>>,
    weights: Option<Vec<f64>>,
    bounds: Option<Vec<Bounds>>,
    priors: Option<Vec<Option<Prior>>>,
    options: Options,
}

impl<'a, E> Problem<'a, E> {
    /// Takes the residual function.
    ///
    /// # Arguments
    /// * `residual_count`: how many residuals there are.
    /// * `residual`: from parameters to residuals, model less measured. It may write a value that is not finite where the model does not
    ///   exist: a step that leads there is shortened. An error ends the fit. The same parameters must give the same residuals.
    pub fn new(residual_count: usize, residual: impl Fn(&[f64], &mut [f64]) -> Result<(), E> + 'a) -> Problem<'a, E> {
        Problem {
            residual_count,
            residual: Box::new(residual),
            jacobian: None,
            weights: None,
            bounds: None,
            priors: None,
            options: Options::default(),
        }
    }

    /// Sets the derivatives, `J_ij = ∂r_i/∂p_j`, without weights. The matrix comes filled with zeros.
    pub fn jacobian(mut self, jacobian: impl Fn(&[f64], &mut DMatrix<f64>) -> Result<(), E> + 'a) -> Problem<'a, E> {
        self.jacobian = Some(Box::new(jacobian));
        self
    }

    /// Sets the weight of each squared residual, 0 or more: one over its variance for [`Noise::Known`]. All 1 if not set.
    pub fn weights(mut self, weights: Vec<f64>) -> Problem<'a, E> {
        self.weights = Some(weights);
        self
    }

    /// Sets the range of each parameter.
    pub fn bounds(mut self, bounds: Vec<Bounds>) -> Problem<'a, E> {
        self.bounds = Some(bounds);
        self
    }

    /// Sets what is known of each parameter before the data, which needs [`Noise::Known`].
    pub fn priors(mut self, priors: Vec<Option<Prior>>) -> Problem<'a, E> {
        self.priors = Some(priors);
        self
    }

    /// Sets the options.
    pub fn options(mut self, options: Options) -> Problem<'a, E> {
        self.options = options;
        self
    }

    /// Returns the parameters that bring the model nearest to what was measured and to what was known.
    ///
    /// `min_p Σ w_i r_i(p)² + Σ ((p_j − mean_j)/sd_j)²`, `lower ≤ p ≤ upper`. Each step solves
    /// `min_z ‖J D⁻¹ z + r‖² + λ ‖z‖²` by QR, `p ← project(p + D⁻¹ z)`, with `D_j` the largest norm the column `j` of `J` has had, and `λ`
    /// such that `‖z‖` fills a region that grows and shrinks with the share of the predicted gain that was got. A parameter at a bound
    /// whose derivative points out of the box is frozen for the step.
    ///
    /// # Arguments
    /// * `start`: one value a parameter; moved into the box.
    ///
    /// # Returns
    /// Parameters with their spread, see [`Fit`].
    ///
    /// # Errors
    /// [`FitError`]: bad input, a model that fails or is not finite, parameters that data and priors do not fix, no convergence.
    ///
    /// # Validity
    /// Finds a minimum near the start, not the lowest one. Spread is that of the model made linear there. Without
    /// [`Problem::jacobian`], derivatives are central differences, see [`differences`], good to about 10 digits where a parameter must
    /// change by about its own size to matter, fewer for a narrow peak far from 0.
    /// `tests/nist.rs` says how many digits are reached on NIST's problems.
    ///
    /// # Example
    /// A decay, with its rate known to 0.5 ± 0.2 beforehand and residuals of standard deviation 0.05:
    /// ```
    /// use barwright_fit::{Noise, Options, Prior, Problem};
    /// let (t, y) = ([0.0, 1.0, 2.0, 4.0], [2.02, 1.31, 0.82, 0.33]);
    /// let fit = Problem::new(4, |p, r| {
    ///     for i in 0..4 {
    ///         r[i] = p[0] * f64::exp(-p[1] * t[i]) - y[i];
    ///     }
    ///     Ok::<(), std::convert::Infallible>(())
    /// })
    /// .weights(vec![1.0 / (0.05 * 0.05); 4])
    /// .priors(vec![None, Some(Prior { mean: 0.5, sd: 0.2 })])
    /// .options(Options { noise: Noise::Known, ..Options::default() })
    /// .fit(&[1.0, 1.0])?;
    /// assert!((fit.parameters[1] - 0.45).abs() < 0.01);
    /// assert!(fit.information[1].data > 0.9); // the data say more than the prior did
    /// assert!(fit.chi_square_probability().unwrap() > 0.05);
    /// # Ok::<(), barwright_fit::FitError<std::convert::Infallible>>(())
    /// ```
    ///
    /// # Source
    /// Marquardt 1963, J. Soc. Ind. Appl. Math. 11:431 (recalled); Moré 1978, Lecture Notes in Mathematics 630:105 (scaling, region, damping;
    /// recalled); Bates & Watts 1981, Technometrics 23:179 (when to stop; recalled). Certified values: NIST Statistical Reference Datasets.
    pub fn fit(&self, start: &[f64]) -> Result<Fit, FitError<E>> {
        Search::new(self, start)?.run()
    }
}

/// Weighted residuals over prior rows at one point.
#[derive(Clone)]
struct Point {
    parameters: Vec<f64>,
    raw: Vec<f64>,
    rows: DVector<f64>,
    sum: f64,
    /// First residual that is not finite.
    bad: Option<(usize, f64)>,
}

/// One fit under way.
struct Search<'p, 'a, E> {
    problem: &'p Problem<'a, E>,
    bounds: Vec<Bounds>,
    root_weights: Vec<f64>,
    priors: Vec<(usize, Prior)>,
    typical: Vec<f64>,
    start: Vec<f64>,
    evaluations: usize,
}

impl<'p, 'a, E> Search<'p, 'a, E> {
    fn new(problem: &'p Problem<'a, E>, start: &[f64]) -> Result<Search<'p, 'a, E>, FitError<E>> {
        let (m, n) = (problem.residual_count, start.len());
        let length = |what, expected, found| {
            if expected == found { Ok(()) } else { Err(FitError::DimensionMismatch { what, expected, found }) }
        };
        let valid = |good: bool, what, index, value, must| {
            if good { Ok(()) } else { Err(FitError::Invalid { what, index, value, must }) }
        };
        let options = &problem.options;
        let positive = |x: f64| x > 0.0 && x.is_finite();
        valid(options.offset_tolerance >= 0.0, "offset tolerance", 0, options.offset_tolerance, "must be 0 or more")?;
        valid(options.step_tolerance >= 0.0, "step tolerance", 0, options.step_tolerance, "must be 0 or more")?;
        valid(options.gain_tolerance >= 0.0, "gain tolerance", 0, options.gain_tolerance, "must be 0 or more")?;
        valid(positive(options.first_region), "first region", 0, options.first_region, "must be positive")?;
        for (j, &x) in start.iter().enumerate() {
            valid(x.is_finite(), "starting value", j, x, "must be finite")?;
        }
        let bounds = problem.bounds.clone().unwrap_or_else(|| vec![Bounds::NONE; n]);
        length("bounds", n, bounds.len())?;
        for (j, b) in bounds.iter().enumerate() {
            valid(b.lower < f64::INFINITY, "lower bound", j, b.lower, "must be a number below infinity")?;
            valid(
                b.upper >= b.lower && b.upper > f64::NEG_INFINITY,
                "upper bound",
                j,
                b.upper,
                "must not be below the lower one",
            )?;
        }
        let weights = problem.weights.clone().unwrap_or_else(|| vec![1.0; m]);
        length("weights", m, weights.len())?;
        for (i, &w) in weights.iter().enumerate() {
            valid(w >= 0.0 && w.is_finite(), "weight", i, w, "must be finite and 0 or more")?;
        }
        let prior_list = problem.priors.clone().unwrap_or_else(|| vec![None; n]);
        length("priors", n, prior_list.len())?;
        let priors: Vec<(usize, Prior)> =
            prior_list.iter().enumerate().filter_map(|(j, p)| p.map(|p| (j, p))).collect();
        for &(j, prior) in &priors {
            valid(prior.mean.is_finite(), "mean of the prior of parameter", j, prior.mean, "must be finite")?;
            valid(positive(prior.sd), "standard deviation of the prior of parameter", j, prior.sd, "must be positive")?;
        }
        if !priors.is_empty() && options.noise == Noise::Estimated {
            return Err(FitError::PriorNeedsKnownNoise);
        }
        let start: Vec<f64> = start.iter().zip(&bounds).map(|(&x, b)| b.project(x)).collect();
        let typical = (0..n)
            .map(|j| {
                let sd = prior_list[j].map_or(0.0, |p| p.sd);
                let width = bounds[j].upper - bounds[j].lower;
                [start[j].abs(), sd, width].into_iter().find(|&size| positive(size)).unwrap_or(1.0)
            })
            .collect();
        let root_weights: Vec<f64> = weights.iter().map(|w| w.sqrt()).collect();
        let search = Search { problem, bounds, root_weights, priors, typical, start, evaluations: 0 };
        let (rows, parameters) = (search.counted_rows(), search.bounds.iter().filter(|b| b.lower < b.upper).count());
        if rows < parameters || (rows == parameters && options.noise == Noise::Estimated) {
            return Err(FitError::TooFewRows { rows, parameters });
        }
        Ok(search)
    }

    fn singular(&self) -> f64 {
        if self.problem.jacobian.is_some() { SINGULAR_ANALYTIC } else { SINGULAR_DIFFERENCES }
    }

    /// Residuals of positive weight and priors.
    fn counted_rows(&self) -> usize {
        self.root_weights.iter().filter(|&&w| w > 0.0).count() + self.priors.len()
    }

    fn raw_residuals(&mut self, parameters: &[f64]) -> Result<Vec<f64>, FitError<E>> {
        let mut raw = vec![0.0; self.problem.residual_count];
        self.evaluations += 1;
        (self.problem.residual)(parameters, &mut raw)
            .map_err(|cause| FitError::Model { parameters: parameters.to_vec(), cause })?;
        Ok(raw)
    }

    fn evaluate(&mut self, parameters: Vec<f64>) -> Result<Point, FitError<E>> {
        let raw = self.raw_residuals(&parameters)?;
        let data = raw.iter().zip(&self.root_weights).map(|(r, w)| w * r);
        let prior = self.priors.iter().map(|&(j, prior)| (parameters[j] - prior.mean) / prior.sd);
        let rows = DVector::from_iterator(raw.len() + self.priors.len(), data.chain(prior));
        let sum = rows.norm_squared();
        let mut bad = raw.iter().copied().enumerate().find(|(_, r)| !r.is_finite());
        if bad.is_none() && !sum.is_finite() {
            bad = rows.iter().copied().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())); // too large to square
        }
        Ok(Point { parameters, raw, rows, sum, bad })
    }

    /// Weighted derivatives over those of the priors.
    fn derivatives(&mut self, point: &Point) -> Result<DMatrix<f64>, FitError<E>> {
        let (m, n) = (self.problem.residual_count, point.parameters.len());
        let mut jacobian = DMatrix::zeros(m, n);
        if let Some(function) = &self.problem.jacobian {
            function(&point.parameters, &mut jacobian)
                .map_err(|cause| FitError::Model { parameters: point.parameters.clone(), cause })?;
            if jacobian.nrows() != m || jacobian.ncols() != n {
                let (what, expected, found) = if jacobian.nrows() == m {
                    ("columns of the Jacobian", n, jacobian.ncols())
                } else {
                    ("rows of the Jacobian", m, jacobian.nrows())
                };
                return Err(FitError::DimensionMismatch { what, expected, found });
            }
        } else {
            for j in 0..n {
                let mut moved = point.parameters.clone();
                for (x, factor) in differences::stencil(moved[j], self.typical[j], self.bounds[j]) {
                    moved[j] = x;
                    let residuals =
                        if x == point.parameters[j] { point.raw.clone() } else { self.raw_residuals(&moved)? };
                    for (entry, residual) in jacobian.column_mut(j).iter_mut().zip(residuals) {
                        *entry += factor * residual;
                    }
                }
            }
        }
        let mut rows = jacobian.insert_rows(m, self.priors.len(), 0.0);
        for (i, w) in self.root_weights.iter().enumerate() {
            for j in 0..n {
                let value = rows[(i, j)];
                rows[(i, j)] = w * value;
                if !rows[(i, j)].is_finite() {
                    return Err(FitError::NonFiniteDerivative {
                        row: i,
                        column: j,
                        value,
                        parameters: point.parameters.clone(),
                    });
                }
            }
        }
        for (k, &(j, prior)) in self.priors.iter().enumerate() {
            rows[(m + k, j)] = 1.0 / prior.sd;
        }
        Ok(rows)
    }

    /// Parameters that are not held by a bound at which the sum of squares falls outwards.
    fn free(&self, point: &Point, jacobian: &DMatrix<f64>) -> Vec<usize> {
        let gradient = jacobian.tr_mul(&point.rows);
        (0..point.parameters.len()).filter(|&j| self.side(j, point.parameters[j], gradient[j]).is_none()).collect()
    }

    fn side(&self, j: usize, x: f64, gradient: f64) -> Option<Side> {
        let Bounds { lower, upper } = self.bounds[j];
        if x >= upper && (gradient < 0.0 || lower == upper) {
            Some(Side::Upper)
        } else if x <= lower && gradient > 0.0 {
            Some(Side::Lower)
        } else {
            None
        }
    }

    fn run(mut self) -> Result<Fit, FitError<E>> {
        let options = self.problem.options;
        let mut here = self.evaluate(self.start.clone())?;
        if let Some((index, value)) = here.bad {
            return Err(FitError::NonFiniteResidual { index, value, parameters: here.parameters });
        }
        let n = here.parameters.len();
        let first_size = here.sum.sqrt();
        let mut scale = DVector::<f64>::zeros(n);
        let mut radius: Option<f64> = None;
        let mut damping = 0.0;
        let mut last_step = f64::INFINITY;
        let mut best: Option<(f64, Point, DMatrix<f64>)> = None;
        let mut idle = 0;
        let mut iterations = 0;

        loop {
            let jacobian = self.derivatives(&here)?;
            for (j, column) in jacobian.column_iter().enumerate() {
                scale[j] = column.norm().max(scale[j]);
                if !scale[j].is_finite() {
                    let row = column.iamax();
                    let value = column[row];
                    return Err(FitError::NonFiniteDerivative { row, column: j, value, parameters: here.parameters });
                }
            }
            let weight = |j: usize| if scale[j] > 0.0 { scale[j] } else { 1.0 };
            let free = self.free(&here, &jacobian);
            if free.is_empty() {
                return self.finish(here, jacobian, iterations, Stop::AllAtBounds, 0.0);
            }
            let scaled =
                DMatrix::from_fn(jacobian.nrows(), free.len(), |i, k| jacobian[(i, free[k])] / weight(free[k]));
            let model = LinearModel::new(scaled.clone(), &here.rows, self.singular());
            let offset = model.relative_offset;
            let size = (0..n).map(|j| (weight(j) * here.parameters[j]).powi(2)).sum::<f64>().sqrt();
            let relative = |step: f64| if size > 0.0 { step / size } else { step };
            let full_step = relative(model.full_step().norm());

            if here.sum.sqrt() <= EXACT_FIT * first_size {
                return self.finish(here, jacobian, iterations, Stop::ExactFit, offset);
            }
            if offset <= options.offset_tolerance {
                return self.finish(here, jacobian, iterations, Stop::RelativeOffset, offset);
            }
            if best.as_ref().is_none_or(|(least, ..)| offset < 0.5 * least) {
                best = Some((offset, here.clone(), jacobian.clone()));
                idle = 0;
            }
            let converged_to_rounding = offset <= ROUNDING_OFFSET || full_step <= ROUNDING_STEP;
            if idle >= IDLE_STEPS && converged_to_rounding {
                let (offset, here, jacobian) = best.unwrap_or((offset, here, jacobian));
                return self.finish(here, jacobian, iterations, Stop::Rounding, offset);
            }
            if iterations >= options.max_iterations {
                return Err(not_converged(iterations, last_step, offset, here));
            }

            let mut reach = radius.unwrap_or(options.first_region * if size > 0.0 { size } else { 1.0 });
            loop {
                let step = model.step(reach, damping);
                let mut trial = here.parameters.clone();
                for (k, &j) in free.iter().enumerate() {
                    trial[j] = self.bounds[j].project(trial[j] + step.scaled[k] / weight(j));
                }
                // the step as projected and stored
                let taken =
                    DVector::from_fn(free.len(), |k, _| (trial[free[k]] - here.parameters[free[k]]) * weight(free[k]));
                let step_size = taken.norm();
                let change = &scaled * &taken;
                let predicted = -(2.0 * here.rows.dot(&change) + change.norm_squared());
                let next = self.evaluate(trial)?;
                let gained = if next.bad.is_some() { f64::NEG_INFINITY } else { here.sum - next.sum };
                let small = options.gain_tolerance * here.sum;
                if next.bad.is_none() && predicted.abs() < small && gained.abs() < small {
                    let end = if gained > 0.0 { next } else { here };
                    let jacobian = self.derivatives(&end)?;
                    return self.finish(end, jacobian, iterations, Stop::SmallGain, offset);
                }
                let in_rounding = predicted.abs() <= ROUNDING * here.sum && gained.abs() <= ROUNDING * here.sum;
                let ratio = match (in_rounding, predicted > 0.0) {
                    (true, _) => 1.0,
                    (false, true) => gained / predicted,
                    (false, false) => f64::NEG_INFINITY,
                };
                if radius.is_none() {
                    reach = reach.min(step_size.max(f64::MIN_POSITIVE));
                }
                damping = step.damping;
                if ratio < 0.25 {
                    let shrink = shrink_factor(&here, &next, &change, gained);
                    reach = shrink * reach.min(10.0 * step_size);
                    damping /= shrink;
                } else if step.damping == 0.0 || ratio > 0.75 {
                    reach = 2.0 * step_size;
                    damping *= 0.5;
                }
                let stuck = step_size == 0.0 || relative(reach) <= f64::EPSILON || reach < f64::MIN_POSITIVE;
                if ratio >= LEAST_GAIN && step_size > 0.0 {
                    idle = if in_rounding { idle + 1 } else { 0 };
                    last_step = relative(step_size);
                    here = next;
                    iterations += 1;
                    radius = Some(reach);
                    if step.damping == 0.0 && last_step <= options.step_tolerance {
                        let jacobian = self.derivatives(&here)?;
                        return self.finish(here, jacobian, iterations, Stop::SmallStep, offset);
                    }
                    break;
                }
                if stuck {
                    if converged_to_rounding {
                        return self.finish(here, jacobian, iterations, Stop::Rounding, offset);
                    }
                    if let Some((index, value)) = next.bad {
                        return Err(FitError::NonFiniteResidual { index, value, parameters: next.parameters });
                    }
                    return Err(not_converged(iterations, last_step, offset, here));
                }
                radius = Some(reach);
            }
        }
    }

    fn finish(
        self,
        here: Point,
        jacobian: DMatrix<f64>,
        iterations: usize,
        stop: Stop,
        offset: f64,
    ) -> Result<Fit, FitError<E>> {
        let (m, n) = (self.problem.residual_count, here.parameters.len());
        let gradient = jacobian.tr_mul(&here.rows);
        let at_bound: Vec<Option<Side>> = (0..n).map(|j| self.side(j, here.parameters[j], gradient[j])).collect();
        let free: Vec<usize> = (0..n).filter(|&j| at_bound[j].is_none()).collect();
        let noise = self.problem.options.noise;
        let degrees_of_freedom = self.counted_rows() - free.len();
        let residual_sd = (degrees_of_freedom > 0).then(|| (here.sum / degrees_of_freedom as f64).sqrt());
        let variance = match noise {
            Noise::Known => 1.0,
            Noise::Estimated => residual_sd.map_or(f64::NAN, |s| s * s),
        };
        let tolerance = self.singular();
        let columns = jacobian.select_columns(&free);
        let covariance = covariance(columns.clone(), tolerance).map_err(|(k, pivot)| FitError::Singular {
            column: free[k],
            pivot,
            parameters: here.parameters.clone(),
        })? * variance;
        let data_covariance = if self.priors.is_empty() {
            Some(covariance.clone())
        } else if m >= free.len() {
            self::covariance(columns.rows(0, m).into_owned(), tolerance).ok().map(|c| c * variance)
        } else {
            None
        };
        let spread = |small: &DMatrix<f64>| {
            let mut whole = DMatrix::zeros(n, n);
            for (a, &i) in free.iter().enumerate() {
                for (b, &j) in free.iter().enumerate() {
                    whole[(i, j)] = small[(a, b)];
                }
            }
            whole
        };
        let covariance = spread(&covariance);
        let information = (0..n)
            .map(|j| {
                if at_bound[j].is_some() {
                    return Information { data: 0.0, prior: 0.0 };
                }
                let precision = self.priors.iter().find(|(k, _)| *k == j).map_or(0.0, |(_, p)| 1.0 / (p.sd * p.sd));
                let prior = (covariance[(j, j)] * precision).clamp(0.0, 1.0);
                Information { data: 1.0 - prior, prior }
            })
            .collect();
        Ok(Fit {
            sum_of_squares: here.rows.rows(0, m).norm_squared(),
            prior_sum_of_squares: here.rows.rows(m, self.priors.len()).norm_squared(),
            degrees_of_freedom,
            residual_sd,
            standard_deviations: covariance.diagonal().iter().map(|v| v.sqrt()).collect(),
            covariance,
            data_covariance: data_covariance.as_ref().map(spread),
            information,
            at_bound,
            iterations,
            evaluations: self.evaluations,
            stop,
            relative_offset: offset,
            parameters: here.parameters,
            residuals: here.raw,
            noise,
        })
    }
}

/// By how much to shorten a region that promised too much: to the minimum of the parabola through what was got, between 0.1 and 0.5.
fn shrink_factor(here: &Point, next: &Point, change: &DVector<f64>, gained: f64) -> f64 {
    if next.bad.is_some() || next.sum >= 100.0 * here.sum {
        return 0.1;
    }
    if gained >= 0.0 {
        return 0.5;
    }
    let slope = here.rows.dot(change); // half the derivative along the step, negative
    let factor = 0.5 * slope / (slope + 0.5 * gained);
    if factor.is_finite() { factor.clamp(0.1, 0.5) } else { 0.1 }
}

/// `(AᵀA)⁻¹`, or the column that is a combination of others with its pivot.
fn covariance(matrix: DMatrix<f64>, tolerance: f64) -> Result<DMatrix<f64>, (usize, f64)> {
    let columns = matrix.ncols();
    let qr = PivotedQr::new(matrix);
    let rank = qr.rank(tolerance);
    if rank < columns { Err((qr.column(rank), qr.relative_pivot(rank))) } else { Ok(qr.inverse_gram()) }
}

fn not_converged<E>(iterations: usize, last_step: f64, relative_offset: f64, here: Point) -> FitError<E> {
    FitError::NotConverged {
        iterations,
        last_step,
        relative_offset,
        sum_of_squares: here.sum,
        parameters: here.parameters,
    }
}
