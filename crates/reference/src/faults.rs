//! All faults of a text, as one error.

use std::fmt;
use std::ops::{Deref, DerefMut};

use crate::{DataFault, Diagnostic};

/// Everything that was found wrong at once, in the order of the text.
///
/// ```
/// use barwright_reference::{Diagnostic, Faults};
/// let faults = Faults::from(vec![Diagnostic::error("no-part", "no wax", 0..3), Diagnostic::error("no-part", "no oil", 4..7)]);
/// let error: Box<dyn std::error::Error> = faults.into();
/// assert_eq!(error.to_string(), "no wax\nno oil");
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faults<T>(Vec<T>);

/// All faults of what a maker wrote.
pub type Diagnostics = Faults<Diagnostic>;

/// All faults of the tables.
pub type DataFaults = Faults<DataFault>;

impl<T: fmt::Display> fmt::Display for Faults<T> {
    /// Each on a line of its own.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.0.iter().enumerate() {
            write!(f, "{}{fault}", if index > 0 { "\n" } else { "" })?;
        }
        Ok(())
    }
}

impl<T: fmt::Display + fmt::Debug> std::error::Error for Faults<T> {}

impl<T> Default for Faults<T> {
    /// Nothing is wrong.
    fn default() -> Self {
        Faults(Vec::new())
    }
}

impl<T> From<Vec<T>> for Faults<T> {
    fn from(faults: Vec<T>) -> Self {
        Faults(faults)
    }
}

impl<T> Deref for Faults<T> {
    type Target = Vec<T>;

    fn deref(&self) -> &Vec<T> {
        &self.0
    }
}

impl<T> DerefMut for Faults<T> {
    fn deref_mut(&mut self) -> &mut Vec<T> {
        &mut self.0
    }
}

impl<T> IntoIterator for Faults<T> {
    type Item = T;
    type IntoIter = std::vec::IntoIter<T>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.into_iter()
    }
}
