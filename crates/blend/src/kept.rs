//! The last answer of a dear computation, for the next who asks the same.

use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

use barwright_reference::Part;

/// The last answer about the parts of a formula.
pub(crate) struct Kept<T> {
    last: Mutex<Option<Answer<T>>>,
}

/// An answer: the parts it is of, the number of draws, what was found.
type Answer<T> = (Vec<Part>, usize, Arc<T>);

impl<T> Default for Kept<T> {
    fn default() -> Self {
        Kept { last: Mutex::new(None) }
    }
}

impl<T> fmt::Debug for Kept<T> {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("Kept")
    }
}

impl<T> Kept<T> {
    /// The answer for these parts and so many draws: the one kept, or a new one, which is kept in its place.
    ///
    /// # Errors
    /// Those of `make`; then what was kept stays.
    pub fn or_make<E>(&self, parts: &[Part], draws: usize, make: impl FnOnce() -> Result<T, E>) -> Result<Arc<T>, E> {
        // Not locked while it computes: others may ask about other formulas.
        let last = self.last.lock().unwrap_or_else(PoisonError::into_inner).clone();
        if let Some((of, count, kept)) = last
            && count == draws
            && of == parts
        {
            return Ok(kept);
        }
        let made = Arc::new(make()?);
        *self.last.lock().unwrap_or_else(PoisonError::into_inner) = Some((parts.to_vec(), draws, Arc::clone(&made)));
        Ok(made)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use barwright_reference::{Library, formula};

    use super::*;

    #[test]
    fn the_last_answer_is_kept_and_no_other() {
        let library = Library::builtin().unwrap();
        let parts = |text: &str| formula::read_inline(text, "bar", &library).unwrap().formulas.remove(0).parts;
        let (one, other) = (parts("beeswax 30, sunflower oil 70"), parts("beeswax 31, sunflower oil 69"));
        let kept: Kept<u32> = Kept::default();
        let ask = |parts: &[Part], draws: usize, made: u32| *kept.or_make(parts, draws, || Ok::<_, ()>(made)).unwrap();
        assert_eq!((ask(&one, 8, 1), ask(&one, 8, 2)), (1, 1));
        assert_eq!((ask(&one, 9, 3), ask(&other, 9, 4), ask(&one, 9, 5)), (3, 4, 5));
        assert_eq!(kept.or_make(&other, 9, || Err("refused")), Err("refused"));
        assert_eq!(ask(&one, 9, 6), 5);
    }
}
