//! Linear least squares.

use crate::qr::PivotedQr;
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Size of a pivot of the scaled design, over the largest, below which its column counts as a combination of others,
/// in units of rows times the rounding of a double.
pub const RANK_TOLERANCE: f64 = 1.0;

/// A line, plane or polynomial fitted to what was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearFit {
    /// One coefficient a column of the design.
    pub parameters: Vec<f64>,
    /// Standard deviation of each coefficient.
    pub standard_deviations: Vec<f64>,
    /// Covariance of the coefficients, `s² (XᵀX)⁻¹`.
    pub covariance: DMatrix<f64>,
    /// `Σ (y − X b)²`.
    pub sum_of_squares: f64,
    /// Standard deviation of one residual, `√(S / (m − n))`.
    pub residual_sd: f64,
    /// Share of the variation explained: about the mean when the design has a constant column, else about 0.
    pub r_squared: f64,
    /// `m − n`.
    pub degrees_of_freedom: usize,
}

impl LinearFit {
    /// Returns the interval that holds a coefficient with a given probability, by Student's t.
    ///
    /// `b_j ± t((1 + level)/2; m − n) · sd_j`
    ///
    /// # Arguments
    /// * `column`: which coefficient.
    /// * `level`: probability, between 0 and 1.
    ///
    /// # Returns
    /// Both ends; `None` for a column or level that does not exist.
    pub fn interval(&self, column: usize, level: f64) -> Option<(f64, f64)> {
        let (centre, sd) = (self.parameters.get(column)?, self.standard_deviations.get(column)?);
        let half = t_quantile(level, self.degrees_of_freedom)? * sd;
        Some((centre - half, centre + half))
    }
}

/// Half-width of the central interval of Student's t.
pub(crate) fn t_quantile(level: f64, degrees_of_freedom: usize) -> Option<f64> {
    if !(level > 0.0 && level < 1.0) {
        return None;
    }
    let t = StudentsT::new(0.0, 1.0, degrees_of_freedom as f64).ok()?;
    Some(t.inverse_cdf(0.5 + 0.5 * level))
}

/// What is wrong with a linear problem.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LinearError {
    /// The design and what was observed differ in length.
    #[error("the design has {rows} rows but {observed} values were observed")]
    DimensionMismatch {
        /// Rows of the design.
        rows: usize,
        /// Observed values.
        observed: usize,
    },
    /// Nothing is left to tell the scatter from.
    #[error("{rows} observations cannot fix {columns} coefficients and their spread: at least {} are needed", columns + 1)]
    TooFewRows {
        /// Rows of the design.
        rows: usize,
        /// Columns of the design.
        columns: usize,
    },
    /// An entry that is no number.
    #[error("row {row} has {value} in {}", column.map_or("the observed values".to_owned(), |c| format!("column {c} of the design")))]
    NonFinite {
        /// Row, from 0.
        row: usize,
        /// Column of the design, from 0; `None` for the observed value.
        column: Option<usize>,
        /// What was found.
        value: f64,
    },
    /// A column is a combination of others.
    #[error("column {column} of the design is a combination of the others: its pivot is {pivot:.1e} of the largest")]
    Singular {
        /// Column, from 0.
        column: usize,
        /// Its pivot over the largest.
        pivot: f64,
    },
}

/// Returns the coefficients that bring a linear model nearest to what was observed.
///
/// `min_b Σ (y_i − Σ_j X_ij b_j)²`, with `X P = Q R` by Householder reflections on scaled and pivoted columns, `R Pᵀ b = Qᵀ y`,
/// covariance `s² P R⁻¹ R⁻ᵀ Pᵀ`, `s² = S / (m − n)`.
///
/// # Arguments
/// * `design`: `X`, one row an observation, one column a coefficient; a constant column for an intercept. Multiply each row of it and of
///   `observed` by the root of its weight for a weighted fit.
/// * `observed`: `y`, in any unit.
///
/// # Returns
/// Coefficients with their spread, see [`LinearFit`].
///
/// # Errors
/// [`LinearError`]: lengths that differ, fewer than `n + 1` rows, an entry that is not finite, a column that depends on others.
///
/// # Validity
/// Loses about as many digits as the scaled design has in its condition number: `tests/nist.rs` says how many are left on NIST's problems.
///
/// # Example
/// ```
/// use nalgebra::DMatrix;
/// let x = [0.0, 1.0, 2.0, 3.0];
/// let design = DMatrix::from_fn(4, 2, |i, j| if j == 0 { 1.0 } else { x[i] });
/// let fit = barwright_fit::fit_linear(&design, &[1.0, 3.1, 4.9, 7.0]).unwrap();
/// assert!((fit.parameters[0] - 1.03).abs() < 1e-12 && (fit.parameters[1] - 1.98).abs() < 1e-12);
/// assert!(fit.r_squared > 0.999);
/// ```
///
/// # Source
/// Golub & Van Loan 2013, Matrix Computations, 4th ed., 5.3 and 5.4 (recalled). Certified values: NIST Statistical Reference Datasets.
pub fn fit_linear(design: &DMatrix<f64>, observed: &[f64]) -> Result<LinearFit, LinearError> {
    let (rows, columns) = design.shape();
    if rows != observed.len() {
        return Err(LinearError::DimensionMismatch { rows, observed: observed.len() });
    }
    if rows <= columns || columns == 0 {
        return Err(LinearError::TooFewRows { rows, columns });
    }
    for row in 0..rows {
        if !observed[row].is_finite() {
            return Err(LinearError::NonFinite { row, column: None, value: observed[row] });
        }
        if let Some(column) = (0..columns).find(|&j| !design[(row, j)].is_finite()) {
            return Err(LinearError::NonFinite { row, column: Some(column), value: design[(row, column)] });
        }
    }
    let qr = PivotedQr::new(design.clone());
    let rank = qr.rank(RANK_TOLERANCE * rows as f64 * f64::EPSILON);
    if rank < columns {
        return Err(LinearError::Singular { column: qr.column(rank), pivot: qr.relative_pivot(rank) });
    }
    let y = DVector::from_column_slice(observed);
    let mut parameters = qr.solve(&qr.rotate(&y), columns);
    let mut residuals = exact_residuals(design, &parameters, observed);
    parameters += qr.solve(&qr.rotate(&residuals), columns); // one refinement takes off the rounding of the first solution
    residuals = exact_residuals(design, &parameters, observed);

    let sum_of_squares = residuals.norm_squared();
    let degrees_of_freedom = rows - columns;
    let variance = sum_of_squares / degrees_of_freedom as f64;
    let covariance = qr.inverse_gram() * variance;
    let has_constant = design.column_iter().any(|column| column[0] != 0.0 && column.iter().all(|&x| x == column[0]));
    let centre = if has_constant { y.mean() } else { 0.0 };
    let variation: f64 = observed.iter().map(|value| (value - centre).powi(2)).sum();
    Ok(LinearFit {
        parameters: parameters.as_slice().to_vec(),
        standard_deviations: covariance.diagonal().iter().map(|v| v.sqrt()).collect(),
        covariance,
        sum_of_squares,
        residual_sd: variance.sqrt(),
        r_squared: if variation > 0.0 { 1.0 - sum_of_squares / variation } else { 1.0 },
        degrees_of_freedom,
    })
}

/// `y − X b` with the products and sums carried to twice the working precision.
fn exact_residuals(design: &DMatrix<f64>, parameters: &DVector<f64>, observed: &[f64]) -> DVector<f64> {
    DVector::from_fn(observed.len(), |i, _| {
        let (mut high, mut low) = (observed[i], 0.0);
        for (x, b) in design.row(i).iter().zip(parameters.iter()) {
            let product = -x * b;
            let product_error = (-x).mul_add(*b, -product);
            let sum = high + product;
            let back = sum - high;
            low += (high - (sum - back)) + (product - back) + product_error;
            high = sum;
        }
        high + low
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn a_dependent_column_is_named() {
        let design = DMatrix::from_fn(5, 3, |i, j| [1.0, i as f64, 2.0 + 3.0 * i as f64][j]);
        let error = fit_linear(&design, &[1.0, 2.0, 3.0, 4.0, 6.0]).unwrap_err();
        assert!(matches!(error, LinearError::Singular { pivot, .. } if pivot < 1e-14), "{error}");
    }

    #[test]
    fn lengths_and_numbers_are_checked() {
        let design = DMatrix::from_element(3, 1, 1.0);
        let short = fit_linear(&design, &[1.0]).unwrap_err();
        assert_eq!(short, LinearError::DimensionMismatch { rows: 3, observed: 1 });
        let nan = fit_linear(&design, &[1.0, f64::NAN, 2.0]).unwrap_err();
        assert_eq!(nan.to_string(), "row 1 has NaN in the observed values");
        let few = fit_linear(&DMatrix::identity(2, 2), &[1.0, 2.0]).unwrap_err();
        assert_eq!(few, LinearError::TooFewRows { rows: 2, columns: 2 });
    }

    #[test]
    fn a_mean_has_the_interval_of_the_textbook() {
        let fit = fit_linear(&DMatrix::from_element(4, 1, 1.0), &[1.0, 2.0, 3.0, 4.0]).unwrap();
        let (low, high) = fit.interval(0, 0.95).unwrap();
        // t(0.975; 3) = 3.182446, s = 1.290994, over the root of 4
        assert!((low - (2.5 - 3.182_446_305 * 1.290_994_449 / 2.0)).abs() < 1e-6, "{low}");
        assert!((high + low - 5.0).abs() < 1e-12);
        assert_eq!(fit.interval(1, 0.95), None);
        assert_eq!(fit.interval(0, 1.0), None);
    }
}
