//! Why there is no calibration.

use barwright_blend::BlendError;
use barwright_fit::least_squares::FitError;
use thiserror::Error;

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
