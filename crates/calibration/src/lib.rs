//! Published measurements: the blend model held against them, and its parameters fitted to them.
//!
//! # Contents
//! - [`published`]: the measurements, their predictions and the errors; this is what `barwright validate` shows.
//! - [`fit`]: literature priors and the fitting rows in, `data/model.toml` out; run by hand.

#[cfg(feature = "fit")]
pub mod fit;
pub mod published;
