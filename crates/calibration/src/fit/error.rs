//! Why there is no calibration.

use barwright_blend::BlendError;
use thiserror::Error;

use super::least_squares::FitError;

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
}
