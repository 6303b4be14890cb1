//! Formulas: a blend by mass, from inline text, TOML or CSV.
//!
//! Each format has one entry ([`read_inline`], [`read_toml`], [`read_csv`]); [`sniff`] tells the formats apart and [`read`]
//! takes any of them. Every entry returns all findings of the text at once. [`to_toml`] writes a formula as a fresh file,
//! [`rewrite_toml`] changes one and leaves everything else in it as it was written.

mod assemble;
mod csv;
pub(crate) mod delimited;
mod inline;
pub mod quantity;
mod rewrite;
mod rounding;
mod sniff;
mod toml;
mod write;

use crate::{Diagnostic, Library};

pub use assemble::{MOST_FORMULAS, MOST_PARTS};
pub use csv::read_csv;
pub use inline::read_inline;
pub use rewrite::rewrite_toml;
pub use sniff::sniff;
pub use toml::read_toml;
pub use write::{WriteError, to_toml};

/// One ingredient of a formula.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Index into [`crate::Library::ingredients`].
    pub ingredient: usize,
    /// Share by mass, % of the whole; the parts of a formula sum to 100.
    pub percent: f64,
}

/// A blend by mass.
#[derive(Debug, Clone, PartialEq)]
pub struct Formula {
    /// Name to show.
    pub name: String,
    /// The parts, in the order written, each ingredient once.
    pub parts: Vec<Part>,
}

/// What was read from a text.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The formulas, in the order written; at least one.
    pub formulas: Vec<Formula>,
    /// How the text was read where it could be read in more than one way.
    pub notes: Vec<Diagnostic>,
    /// The remark a TOML formula carries in its `note` key.
    pub remark: Option<String>,
}

/// The formats a formula can be written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// `beeswax 26, mango butter 22, sunflower oil 52`.
    Inline,
    /// A `[parts]` table.
    Toml,
    /// A table with a header line.
    Csv,
}

/// Reads formulas in the given format; `name` is used for a formula the text gives no name.
///
/// # Errors
/// Every error of the text.
///
/// ```
/// use barwright_reference::Library;
/// use barwright_reference::formula::{read, sniff};
/// let library = Library::builtin().map_err(|faults| format!("{faults:?}"))?;
/// let text = "beeswax 26, mango butter 22, sunflower oil 52";
/// let reading = read(text, sniff(text), "trial bar", &library).map_err(|errors| format!("{errors:?}"))?;
/// assert_eq!(reading.formulas[0].parts[0].percent, 26.0);
/// # Ok::<(), String>(())
/// ```
pub fn read(text: &str, format: Format, name: &str, library: &Library) -> Result<Reading, Vec<Diagnostic>> {
    match format {
        Format::Inline => read_inline(text, name, library),
        Format::Toml => read_toml(text, name, library),
        Format::Csv => read_csv(text, name, library),
    }
}

/// The byte-order mark some programs put before UTF-8 text.
pub(crate) const BYTE_ORDER_MARK: &str = "\u{feff}";
