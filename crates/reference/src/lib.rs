//! Reference data of barwright: crystallising species, ingredients, the maker's own lots, and formulas.
//!
//! This crate reads, checks, looks up and suggests. It holds no model, opens no file, prints nothing and never panics on any
//! input: text comes in, typed values and [`Diagnostic`]s go out.
//!
//! # Contents
//! - [`Library`]: the built-in tables, parsed and checked, with look-up by name.
//! - [`Species`], [`CrystalForm`], [`Ingredient`]: one row each, with source and [`Status`] beside every figure.
//! - [`formula`]: a blend by mass, from inline text, TOML or CSV; [`formula::quantity`] reads one amount.
//! - [`space`]: a space of formulas, from TOML; [`range`] reads one range of amounts.
//! - [`bought`]: a bar of unknown formula, known by bench tests, from TOML.
//! - [`mould`]: a mould, from TOML; [`length`]: lengths in mm.
//! - [`route`]: the air around a parcel against time, from CSV or built in.
//! - [`text_cell`]: text in a table that no spreadsheet computes.
//! - [`temperature`]: temperatures in °C, °F or K.
//! - [`lots`]: the maker's own deliveries, which stand in for an ingredient.
//! - [`label`]: what an ingredient is called on a label, in the EU and in the US.
//! - [`names`] and [`suggest`]: whose name a name is, and the nearest right names for a misspelt one.
//! - [`ViscosityPoint`]: viscosities of the melts, each ingredient's own or those of its kind.
//! - [`sources`]: the publications named in the tables.
//! - [`apportion`](mod@apportion): amounts in whole steps that keep their total.
//! - [`diagnostic`]: what was wrong, where, and what to do.

pub mod apportion;
pub mod bought;
mod classes;
mod columns;
mod data_fault;
pub mod diagnostic;
mod faults;
mod finder;
mod findings;
pub mod formula;
mod id;
pub mod ingredient;
pub mod label;
pub mod label_name;
pub mod length;
pub mod library;
pub mod lots;
pub mod mould;
pub mod names;
mod number;
pub mod range;
pub mod route;
#[cfg(test)]
mod sample;
pub mod sources;
pub mod space;
pub mod species;
mod stand_in;
pub mod status;
pub mod suggest;
mod tables;
pub mod temperature;
pub mod text_cell;
mod toml_text;
pub mod viscosity;
mod wording;

pub use data_fault::DataFault;
pub use diagnostic::{Diagnostic, Severity};
pub use faults::{DataFaults, Diagnostics, Faults};
pub use formula::{Formula, Part, Reading};
pub use id::IngredientId;
pub use ingredient::{
    AnimalOrigin, Component, InciPart, Induction, Ingredient, IngredientKind, NutOrigin, Origin, Powder,
};
pub use jiff::civil::Date;
pub use label::Market;
pub use library::{Library, TableTexts};
pub use names::Lookup;
pub use species::{CrystalForm, CrystalState, FormRef, Species};
pub use status::Status;
pub use viscosity::{ViscosityPoint, ViscosityUnit};
pub use wording::{short, trim_zeros};
