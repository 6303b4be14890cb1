//! Blend model of barwright: how a water-free bar of wax, butter and oil sets, feels, releases and travels.
//!
//! No I/O, no printing, no panics. Everything is computed from a [`barwright_reference::Library`] (what ingredients are made of) and
//! [`Model`] (what crystals do), both with their spread.
//!
//! # Contents
//! - [`theory`]: the whole model on one page.
//! - [`equilibrium`]: which crystals there are at a temperature.
//! - [`solubility`]: one solid in one liquid, the textbook case.
//! - [`Mixture`], [`chain_length`]: from a formula to the species the equilibrium works on, and which crystals they share.
//! - [`certificate`]: what a lot's melting point and penetration say of its composition.
//! - [`Sampler`]: the state of a mixture at a temperature, in any draw.
//! - [`coordinate`], [`sampling`], [`Spread`]: which figures are uncertain, and how much.
//! - [`maker`]: what a maker's own trials say of those figures.
//! - [`firmness`], [`penetration`]: yield stress, and the tests that measure it; [`beeswax`]: firmness as a beeswax equivalent.
//! - [`landmarks`]: softening onset, slip, drop and clear point; [`root`]: how they are found.
//! - [`suitability`]: detail, warmth, skin and grain.
//! - [`heat_curve`]: heat and volume against temperature, for what is melted, poured and posted.
//! - [`known_off`]: known errors of the model for an ingredient, reported where a formula rests on it.
//! - [`viscosity`]: viscosity of the melt, above the clear point.
//! - [`sensitivity`]: what one more percent of each ingredient does.
//! - [`property`]: what bars are compared by.
//! - [`assess()`], [`compare()`]: the whole answer for one formula and for several.

pub mod assess;
pub mod beeswax;
mod beeswax_scale;
pub mod cautions;
pub mod certificate;
pub mod chain_length;
pub mod compare;
pub mod coordinate;
mod crystals;
mod discrepancy;
mod enthalpy;
pub mod equilibrium;
mod error;
mod exponential;
mod filler;
pub mod firmness;
pub mod heat_curve;
mod heat_properties;
mod interval;
mod kept;
pub mod known_off;
pub mod landmarks;
mod least_change;
pub mod maker;
mod measured;
mod misfit;
mod mixture;
mod model;
mod model_draw;
mod model_file;
mod outcome;
mod packing;
pub mod parameters;
pub mod penetration;
pub mod property;
pub mod root;
mod sampler;
pub mod sampling;
pub mod sensitivity;
pub mod solubility;
pub mod suitability;
pub mod theory;
mod units;
pub mod viscosity;

pub use assess::{Assessment, Options, assess};
pub use compare::{Comparison, compare, compare_on};
pub use crystals::{Point, PointRates};
pub use discrepancy::DiscrepancyDraws;
pub use error::BlendError;
pub use heat_properties::HeatProperties;
pub use interval::{Estimate, Spread};
pub use maker::Maker;
pub use measured::MeasuredYield;
pub use mixture::Mixture;
pub use model::Model;
pub use model_draw::{Draw, ModelDraw, ModelDraws, ModelScores};
pub use model_file::ParameterError;
pub use outcome::Outcome;
pub use parameters::Parameters;
pub use property::Property;
pub use sampler::{DrawnMixture, Sampler};
pub use units::ZERO_CELSIUS_K;
