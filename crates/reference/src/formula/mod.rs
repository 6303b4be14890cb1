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

use assemble::{Written, assemble};
use quantity::parse_quantity;

use crate::finder::Finder;
use crate::findings::Findings;
use crate::{Diagnostic, Diagnostics, IngredientId, Library};

pub use assemble::{MAX_FORMULAS, MAX_PARTS};
pub use csv::read_csv;
pub use inline::read_inline;
pub use rewrite::rewrite_toml;
pub use sniff::sniff;
pub use toml::read_toml;
pub use write::{WriteError, to_toml};

/// One ingredient of a formula.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The ingredient, of the library that the formula was made with.
    pub ingredient: IngredientId,
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

impl Formula {
    /// Makes a formula of named parts.
    ///
    /// # Arguments
    /// * `parts`: any name of an ingredient, and its amount by mass, in any one unit.
    ///
    /// # Errors
    /// Every name that is unknown or means several ingredients, and every amount that is not a positive number, with its place in the list of
    /// names (`beeswax, olive oil`).
    ///
    /// ```
    /// use barwright_reference::{Formula, Library};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let library = Library::builtin()?;
    /// let formula = Formula::from_parts(&library, [("beeswax", 13.0), ("olive oil", 37.0)])?;
    /// assert_eq!(formula.parts[0].percent, 26.0);
    /// let error = Formula::from_parts(&library, [("beeswx", 13.0), ("olive oil", -1.0)]).unwrap_err();
    /// assert_eq!(error.len(), 2);
    /// # Ok(())
    /// # }
    /// ```
    pub fn from_parts<N: AsRef<str>>(
        library: &Library,
        parts: impl IntoIterator<Item = (N, f64)>,
    ) -> Result<Self, Diagnostics> {
        let parts: Vec<(N, f64)> = parts.into_iter().collect();
        let names: Vec<&str> = parts.iter().map(|(name, _)| name.as_ref()).collect();
        let text = names.join(", ");
        let mut start = 0;
        let written = names.iter().zip(&parts).map(|(&name, (_, amount))| {
            let span = start..start + name.len();
            start = span.end + ", ".len();
            let amount = parse_quantity(&amount.to_string());
            Written { name, name_span: span.clone(), amount, amount_span: span, amount_hint: None }
        });
        let written: Vec<Written<'_>> = written.collect();
        let mut findings = Findings::default();
        let mut finder = Finder::new(library);
        let made = assemble(&text, "bar", 0..text.len(), &written, &mut finder, &mut findings);
        let (made, _) = findings.finish(made)?;
        // Without a finding there is a formula.
        made.ok_or_else(Diagnostics::default)
    }

    /// Gives it a name.
    #[must_use]
    pub fn named(self, name: impl Into<String>) -> Self {
        Formula { name: name.into(), ..self }
    }
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
/// let library = Library::builtin()?;
/// let text = "beeswax 26, mango butter 22, sunflower oil 52";
/// let reading = read(text, sniff(text), "trial bar", &library)?;
/// assert_eq!(reading.formulas[0].parts[0].percent, 26.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read(text: &str, format: Format, name: &str, library: &Library) -> Result<Reading, Diagnostics> {
    match format {
        Format::Inline => read_inline(text, name, library),
        Format::Toml => read_toml(text, name, library),
        Format::Csv => read_csv(text, name, library),
    }
}

/// The byte-order mark some programs put before UTF-8 text.
pub(crate) const BYTE_ORDER_MARK: &str = "\u{feff}";
