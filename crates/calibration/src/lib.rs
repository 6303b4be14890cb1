//! Calibration of the blend model: literature priors and the fitting rows of `data/validation` in, `data/model.toml` out.
//!
//! Nothing here runs when a user asks for a prediction. The unseen rows of the table never come near this crate's fit.
//!
//! # Contents
//! - [`observation`]: a fitting row as a residual of known size.
//! - [`calibrate()`]: robust least squares with priors, and what the model leaves out.
//! - [`write`](mod@write): the parameter file, the same bytes for the same input.

pub mod calibrate;
pub mod discrepancy;
pub mod observation;
pub mod write;

pub use calibrate::{Calibration, CalibrationError, calibrate};
