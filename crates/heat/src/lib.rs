//! Conduction with melting: how a bar sets, cools, and fares on a hot day.
//!
//! No I/O, no printing, no panics, and nothing specific to waxes.
//!
//! # Theory
//! Heat moves by conduction only, and the enthalpy of each cell is kept:
//!
//! ```text
//! ρ V dh/dt = Σ_faces g (T_next − T) + Σ_outer U (T_air − T),     T = T(h)
//! ```
//!
//! | module | specified | unknown | equation |
//! |---|---|---|---|
//! | [`material`] | rows of temperature, enthalpy, melted share | T(h), w(h) | straight between rows |
//! | [`convection`], [`surface`] | how a face stands, its emissivity, its wrap | U | correlations in series |
//! | [`body`] | shape, mould, packing | V, g | cells with two-point fluxes |
//! | [`solve`](mod@solve) | air temperature against time | h against time | TR-BDF2 or backward Euler, Newton, conjugate gradients |
//! | [`humidity`] | air temperature, relative humidity | dew point | Magnus |
//!
//! # Source
//! Heat equation in enthalpy form (textbook; recalled); the modules name those of their own.
//!
//! # Contents
//! - [`material`]: enthalpy curves, heating and cooling branch.
//! - [`body`]: slab, puck, box; in a mould, in a wrap, several in a box; cut into cells.
//! - [`surface`], [`convection`]: films and radiation.
//! - [`ambient`]: air temperature against time.
//! - [`solve`](mod@solve): the run itself; [`record`]: what it tells.
//! - [`humidity`](mod@humidity): dew.

pub mod ambient;
pub mod body;
pub mod convection;
mod error;
mod field;
pub mod humidity;
pub mod material;
pub mod record;
pub mod solve;
mod stencil;
pub mod surface;

pub use ambient::Ambient;
pub use body::{Body, Mould, Packed, Resolution, Shape};
pub use error::{ABSOLUTE_ZERO_C, HeatError, TEMPERATURE_RANGE_C};
pub use material::{Branch, Curve, Material};
pub use record::{Crossing, EnergyBalance, Probe, Progress, Sample, Watch, Work};
pub use solve::{Accuracy, Run, Scheme, Start, State, Task, solve};
pub use surface::{Exposure, Faces};
