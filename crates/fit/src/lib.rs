//! Least squares for barwright: what the parameters of a model must be for it to meet what was measured, and how well that is known.
//!
//! No I/O, no printing, no panics. The model is a function handed in by the caller; nothing here knows of waxes.
//!
//! # Contents
//! - [`least_squares`]: nonlinear, by Levenberg and Marquardt, with bounds, weights and priors.
//! - [`linear`]: linear, in one step.
//!
//! Both work on QR factors and never form `JᵀJ`. Both are tested against the Statistical Reference Datasets of NIST, `tests/nist/`.

pub mod least_squares;
pub mod linear;
mod qr;

pub use least_squares::{Bounds, Fit, FitError, Noise, Options, Prior, Problem, Stop};
pub use linear::{LinearError, LinearFit, fit_linear};
