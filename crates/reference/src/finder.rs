//! Finds ingredients by the names in a text and reports the names that are not one ingredient's.

use std::collections::HashMap;
use std::ops::Range;

use crate::classes::{Class, class_of};
use crate::findings::Findings;
use crate::names::normalise;
use crate::wording::{list, quote};
use crate::{Diagnostic, Ingredient, IngredientId, Library, Lookup};

/// Finds ingredients by name, reporting every name that is not one ingredient's.
pub(crate) struct Finder<'l> {
    library: &'l Library,
    known: HashMap<String, Lookup>,
}

impl<'l> Finder<'l> {
    /// Starts with a library.
    pub(crate) fn new(library: &'l Library) -> Self {
        Self { library, known: HashMap::new() }
    }

    /// Returns the ingredient of this id.
    pub(crate) fn ingredient(&self, id: IngredientId) -> Option<&'l Ingredient> {
        self.library.get(id)
    }

    /// Returns the ingredient, or reports why there is none.
    pub(crate) fn find(&mut self, name: &str, span: Range<usize>, findings: &mut Findings) -> Option<IngredientId> {
        let library = self.library;
        let lookup = self.known.entry(name.to_owned()).or_insert_with(|| {
            // The nearest names are not worked out for an error that is only counted.
            let uncounted = findings.is_full() && !library.names.is_taken(name);
            if uncounted { Lookup::Unknown { nearest: Vec::new() } } else { library.find(name) }
        });
        match lookup {
            Lookup::Found(index) => Some(*index),
            Lookup::Ambiguous(several) => {
                let message = format!("{} is the declared name of {} ingredients", quote(name), several.len());
                let hint = format!("Write {}.", list(self.library.keys(several), "or"));
                findings.push(
                    Diagnostic::error("ambiguous-ingredient", message, span)
                        .label("more than one ingredient")
                        .hint(hint),
                );
                None
            }
            Lookup::Unknown { nearest } => {
                let class = class_of(name);
                if let Some(Class::Watery(instead)) = class {
                    let message = format!("{} holds water", quote(name));
                    findings.push(
                        Diagnostic::error("holds-water", message, span)
                            .label("does not mix with wax and oil")
                            .hint(format!("Water weeps out of a bar, and mould grows in it: {instead}.")),
                    );
                    return None;
                }
                let message = format!("no ingredient is called {}", quote(name));
                let mut diagnostic = Diagnostic::error("unknown-ingredient", message, span).label("not in the table");
                if matches!(normalise(name).as_str(), "total" | "sum") {
                    diagnostic = diagnostic.hint("Leave the total out; it is worked out.");
                } else if let Some(Class::Listed(keys)) = class {
                    let keys = list(keys.iter().copied(), "or");
                    diagnostic = diagnostic.hint(format!(
                        "By its name it is of a kind with {keys}: write that, or describe yours as a lot that is like it."
                    ));
                } else if !nearest.is_empty() {
                    let names = list(self.library.keys(nearest), "and");
                    let are = if nearest.len() == 1 { "name is" } else { "names are" };
                    diagnostic = diagnostic.hint(format!("The nearest {are} {names}."));
                } else {
                    diagnostic =
                        diagnostic.hint("No name is near it: describe it as a lot that is like something known.");
                }
                findings.push(diagnostic);
                None
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::sample::{id, library};

    #[test]
    fn messages_carry_the_right_names() {
        let library = library();
        let mut finder = Finder::new(&library);
        let mut findings = Findings::default();
        assert_eq!(finder.find("bees wax", 0..1, &mut findings), Some(id(0)));
        for name in ["castr oil", "shared wax", "Total"] {
            assert_eq!(finder.find(name, 0..1, &mut findings), None);
        }
        let errors = findings.finish(()).unwrap_err();
        let hints: Vec<&str> = errors.iter().map(|error| error.hints[0].as_str()).collect();
        assert!(hints[0].starts_with("The nearest name is `castor-oil`."), "{}", hints[0]);
        assert_eq!(hints[1..], ["Write `plain-wax` or `hard-wax`.", "Leave the total out; it is worked out."]);
    }

    #[test]
    fn what_holds_water_is_refused_and_what_is_of_a_kind_is_answered_by_it() {
        let library = library();
        let mut findings = Findings::default();
        for name in ["raw honey", "vetiver essential oil"] {
            assert_eq!(Finder::new(&library).find(name, 0..1, &mut findings), None);
        }
        let errors = findings.finish(()).unwrap_err();
        let seen: Vec<_> = errors.iter().map(|error| (error.code, error.hints[0].as_str())).collect();
        assert_eq!((seen[0].0, seen[1].0), ("holds-water", "unknown-ingredient"));
        assert!(seen[0].1.starts_with("Water weeps out of a bar") && seen[1].1.contains("`essential-oil`"), "{seen:?}");
    }

    #[test]
    fn a_flood_of_unknown_names_is_counted() {
        let library = library();
        let mut finder = Finder::new(&library);
        let mut findings = Findings::default();
        for count in 0..100_000 {
            finder.find(&format!("wax number {count}"), 0..1, &mut findings);
        }
        assert_eq!(finder.find("castor oil", 0..1, &mut findings), Some(id(3)));
        let errors = findings.finish(()).unwrap_err();
        assert_eq!(errors.last().unwrap().message, "99800 more errors are not listed");
    }
}
