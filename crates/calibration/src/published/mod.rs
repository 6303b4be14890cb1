//! Published measurements against predictions: every row runs through the same code a user runs.
//!
//! # Contents
//! - [`measurement`]: reads and checks `data/validation/measurements.csv`, every fault with its line.
//! - [`samples`]: what a publication says its samples were made of.
//! - [`predict()`]: the same quantity from the blend model.
//! - [`before`]: how each group stood before.
//! - [`known_off()`]: what the residuals say is wrong of a neat ingredient.
//! - [`reproducibility`]: the error of a published value itself.
//! - [`score()`]: bias, errors, quantiles, interval coverage, rank correlation; rows that parameters may be fitted on and rows they
//!   never see apart.

pub mod before;
pub mod group;
pub mod known_off;
pub mod measurement;
pub mod predict;
pub mod reproducibility;
pub mod samples;
pub mod score;

pub use known_off::known_off;
pub use measurement::{Bound, Measurement, Quantity, RowFault, Status, Use};
pub use predict::{Scored, predict};
pub use score::{Report, score};
