//! For tests: bars from a line of text, answers as running text.
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use barwright_reference::formula::read_inline;

use crate::terminal::{Look, MAX_COLUMNS, text};
use crate::{Answered, Engine, engine::Recipe};

/// A formula of one line.
pub(crate) fn recipe(engine: &Engine, line: &str) -> Recipe {
    let read = read_inline(line, "bar", &engine.library).unwrap();
    Recipe::of(&read.formulas[0], &engine.library)
}

/// What is said, its line breaks evened out.
pub(crate) fn flowing<Figures>(answer: Answered<Figures>) -> String {
    let look = Look { columns: MAX_COLUMNS, colour: false, fold_cautions: false, pictures: false };
    text(&answer.document, look).split_whitespace().collect::<Vec<_>>().join(" ")
}
