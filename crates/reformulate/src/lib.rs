//! Change a formula to meet a demand.
//!
//! # Contents
//! - [`demand`]: what is asked of a bar.
//! - [`judge`]: how surely a formula meets it, and which way is better.
//! - [`limits`]: what may change.
//! - [`linear`]: the best step inside the limits when everything is taken as linear.
//! - [`swap`](mod@swap): one ingredient in place of another.
//! - [`adjust()`]: the smallest change that meets every demand.

pub mod adjust;
pub mod demand;
pub mod judge;
pub mod limits;
pub mod linear;
pub mod swap;

pub use adjust::{Adjustment, adjust};
pub use demand::{Demand, Firmness};
pub use limits::Limits;
