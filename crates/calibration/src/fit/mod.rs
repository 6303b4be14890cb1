//! Calibration of the blend model: literature priors and the fitting rows of `data/validation` in, `data/model.toml` out.
//!
//! Nothing here runs when a user asks for a prediction. The unseen rows of the table never come near the fit.
//!
//! # Contents
//! - [`observation`]: a fitting row as a residual of known size.
//! - [`calibrate()`]: robust least squares with priors, and what the model leaves out; [`next_step()`]: whether a parameter set is where that ends.
//! - [`least_squares`]: one fit, with priors and bounds.
//! - [`packing`]: which crystals the species share, as part of the fit.
//! - [`held_out()`](held_out::held_out): sources left out in turn.
//! - [`write`](mod@write): the parameter file, the same bytes for the same input.

pub mod calibrate;
pub mod discrepancy;
mod error;
pub mod held_out;
pub mod least_squares;
pub mod observation;
pub mod packing;
mod robust;
pub mod write;

pub use calibrate::{Calibration, calibrate, next_step};
pub use error::CalibrationError;
