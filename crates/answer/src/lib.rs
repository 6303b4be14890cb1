//! From a question to what a person reads: each question is one type, answered by one pure function into figures (with JSON) and a [`Document`]
//! (words, tables, pictures), which a writer turns into text for a terminal ([`terminal`]), a page ([`html`]) or a picture ([`picture`]). Nothing
//! here opens a file, looks at a clock or prints.

pub mod adjust;
pub mod aim;
pub mod assess;
pub mod batch;
pub mod bought;
mod cautions;
pub mod compare;
pub mod cool;
pub mod demand;
pub mod document;
pub mod engine;
pub mod explore;
pub mod firmness;
pub mod html;
pub mod ingredients;
mod keeping;
pub mod limits;
pub mod live;
pub mod lot;
mod mould;
pub mod palette;
pub mod parcel;
pub mod picture;
pub mod places;
mod plans;
pub mod pour;
pub mod question;
pub mod reading;
pub mod refusal;
pub mod report;
pub mod routes;
#[cfg(test)]
mod sample;
pub mod space;
pub mod stock;
pub mod swap;
pub mod terminal;
pub mod trial;
mod usual;
pub mod validate;
pub mod weigh_sheet;
mod why;
pub mod words;

use std::ops::ControlFlow;

use serde::Serialize;

pub use document::Document;
pub use engine::Engine;
use picture::Picture;
pub use refusal::{Fault, Refusal};

/// Told the parts done and all parts, from any thread; says whether to go on.
pub type Control<'c> = &'c (dyn Fn(usize, usize) -> ControlFlow<()> + Sync);

/// An answer: the figures, and what they say.
#[derive(Debug, Clone, Serialize)]
pub struct Answered<F> {
    /// The figures. Their JSON is a contract: keys are added, never renamed.
    pub figures: F,
    /// The figures in words and tables.
    pub document: Document,
    /// The picture, where one was asked for.
    pub picture: Option<Picture>,
}
