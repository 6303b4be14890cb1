//! Bench tests of a maker's own bars, and what the blend model learns from them.
//!
//! No I/O, no printing, no panics. What was learned stands beside the model's parameters ([`barwright_blend::Maker`]) and never changes them.
//!
//! # Contents
//! - [`trial`]: a bench test of one formula, and what is refused.
//! - [`predict`](mod@predict): what the model expects of it, before or after learning.
//! - [`bought`]: a bar of unknown formula, known by its tests alone.
//! - [`learn`](mod@learn): a maker's own scores from all trials, and which trials do not fit.

pub mod bought;
mod error;
pub mod learn;
mod likelihood;
pub mod predict;
mod reading;
pub mod trial;

pub use error::{LearnError, LearnedError};
pub use learn::{Fit, Flag, Learned, Told, fit, learn};
pub use predict::{Expected, predict};
pub use trial::{Test, Trial, TrialError};
