//! Ids of ingredients.

use std::fmt;
use std::hash::{DefaultHasher, Hash, Hasher};

/// An ingredient of a library. It belongs to the library that made it and to every other that has an ingredient of the same key in the same place: lots are
/// appended, so an id outlives [`crate::Library::with_lots`]. Any other library answers it with `None`, and whatever is computed with it is refused.
///
/// ```
/// use barwright_reference::{Library, Lookup};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let Lookup::Found(cocoa) = library.find("cocoa butter") else { return Err("unknown".into()) };
/// let (spring, _) = library.with_lots("[lot.spring-cocoa]\nlike = 'cocoa butter'\n")?;
/// let (autumn, _) = library.with_lots("[lot.autumn-cocoa]\nlike = 'cocoa butter'\n")?;
/// assert_eq!(autumn.get(cocoa).map(|one| one.key.as_str()), Some("cocoa-butter"));
/// let Lookup::Found(lot) = spring.find("spring-cocoa") else { return Err("unknown".into()) };
/// assert_eq!((autumn.get(lot), library.get(lot)), (None, None));
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct IngredientId {
    index: usize,
    /// Hash of its key.
    key: u64,
}

impl IngredientId {
    /// The id of the ingredient of this key at this position.
    pub(crate) fn new(index: usize, key: &str) -> Self {
        let mut hasher = DefaultHasher::new();
        key.hash(&mut hasher);
        IngredientId { index, key: hasher.finish() }
    }

    /// Position in [`crate::Library::ingredients`] of the library it belongs to.
    pub fn index(self) -> usize {
        self.index
    }
}

impl fmt::Debug for IngredientId {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.index.fmt(out)
    }
}
