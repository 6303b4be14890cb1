//! Change a formula to meet a demand.
//!
//! # Contents
//! - [`demand`]: demands on a bar.
//! - [`judge`]: how surely a formula meets them, and which change would help.
//! - [`limits`]: what may change.
//! - [`linear`]: the best step inside the limits when everything is taken as linear.
//! - [`swap`](mod@swap): one ingredient in place of another.
//! - [`adjust()`]: the smallest change that meets every demand.
//! - [`rescue()`]: the least to add to a pot already poured.
//! - [`space`]: a space of formulas, filled with points ([`quasi_random`]).
//! - [`front`]: the best trade-offs of many points.
//! - [`explore()`]: the best trade-offs of a space.
//! - [`aim`]: the one bar of a space that is best in one way.

pub mod adjust;
pub mod aim;
pub mod demand;
pub mod explore;
pub mod front;
pub mod judge;
pub mod limits;
pub mod linear;
pub mod quasi_random;
pub mod rescue;
mod rounding;
mod search;
pub mod space;
pub mod swap;

pub use adjust::{Adjustment, adjust};
pub use demand::{Demand, DemandError, Firmness};
pub use explore::{Exploration, explore};
pub use limits::Limits;
pub use rescue::{Rescue, rescue};
pub use space::Space;
