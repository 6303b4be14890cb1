//! Names, counts and lists as they stand in a sentence.

use barwright_reference::suggest::nearest;
use barwright_reference::{Formula, Library};

use super::number::amount;
use super::visible::visible;

/// Begins the name of a formula without a name of its own.
const NAMELESS: &str = "formula ";

/// Number of parts in the title of an unnamed formula.
const MAX_PARTS: usize = 3;

/// Names in a hint.
const MAX_NEAREST: usize = 3;

/// Largest number of characters of a formula's name shown.
const LONGEST_NAME: usize = 40;

/// Returns a name as shown: safe and not too long.
pub fn name(name: &str) -> String {
    cut(name.trim(), LONGEST_NAME)
}

/// Name of an unnamed formula, counted from 1.
pub fn nameless(number: usize) -> String {
    format!("{NAMELESS}{number}")
}

/// Whether a formula is unnamed.
fn is_nameless(name: &str) -> bool {
    name.strip_prefix(NAMELESS).is_some_and(|number| number.parse::<usize>().is_ok())
}

/// Heading of a formula: its name, or, of an unnamed one, its parts, the largest first: `Olive oil 70 / beeswax 30`.
pub fn title(formula: &Formula, library: &Library) -> String {
    if !is_nameless(&formula.name) {
        return capital(&name(&formula.name));
    }
    let mut parts: Vec<_> = formula.parts.iter().collect();
    parts.sort_by(|a, b| b.percent.total_cmp(&a.percent));
    let known = parts.iter().filter_map(|part| Some((library.get(part.ingredient)?, part.percent)));
    let mut words: Vec<String> = known
        .take(MAX_PARTS)
        .map(|(one, percent)| format!("{} {}", in_text(&one.common_name), amount(percent)))
        .collect();
    if parts.len() > MAX_PARTS {
        words.push("…".to_owned());
    }
    capital(&words.join(" / "))
}

/// Names of formulas as shown at the head of something, each different from the others.
pub fn titles(formulas: &[Formula], library: &Library) -> Vec<String> {
    let all: Vec<String> = formulas.iter().map(|formula| title(formula, library)).collect();
    let shown: Vec<&str> = all.iter().map(String::as_str).collect();
    distinct(&shown)
}

/// Returns a text as shown: safe, and cut to a number of characters.
pub fn cut(text: &str, most: usize) -> String {
    let shown = visible(text);
    if shown.chars().count() > most { shown.chars().take(most - 1).chain(['…']).collect() } else { shown }
}

/// Returns a count in words: `1 test`, `3 tests`.
pub fn count(count: usize, one: &str, several: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {several}") }
}

/// Returns names in back quotes as a list: ``` `a`, `b` and `c` ```.
pub fn quoted<S: AsRef<str>>(names: &[S], last: &str) -> String {
    list(&names.iter().map(|one| format!("`{}`", name(one.as_ref()))).collect::<Vec<_>>(), last)
}

/// Returns the names nearest to the one that was written, as a list; `None` when none is near.
pub fn nearest_names<S: AsRef<str>>(written: &str, names: &[S]) -> Option<String> {
    let near = nearest(written, names.iter().map(AsRef::as_ref).enumerate(), MAX_NEAREST);
    let near: Vec<&str> = near.iter().filter_map(|index| names.get(*index)).map(AsRef::as_ref).collect();
    (!near.is_empty()).then(|| quoted(&near, "and"))
}

/// Returns names, each different from the others.
fn distinct(all: &[&str]) -> Vec<String> {
    let mut shown: Vec<String> = Vec::new();
    for plain in all {
        let mut unique = (*plain).to_owned();
        let mut count = 1;
        while shown.contains(&unique) {
            count += 1;
            unique = format!("{plain} ({count})");
        }
        shown.push(unique);
    }
    shown
}

/// Returns words as a list: `a, b and c`.
pub fn list(words: &[String], last: &str) -> String {
    match words.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((end, rest)) => format!("{} {last} {end}", rest.join(", ")),
    }
}

/// Returns a text with a capital letter first.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// Returns a text with a small letter first.
pub fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_lowercase().chain(letters).collect()).unwrap_or_default()
}

/// Returns a name as it stands in running text: `Beeswax` is no name of its own, `MCT oil` starts with one.
pub fn in_text(name: &str) -> String {
    let shown = visible(name);
    let mut letters = shown.chars();
    match (letters.next(), letters.next()) {
        (Some(_), Some(second)) if second.is_lowercase() => lower(&shown),
        _ => shown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_safe_short_and_different() {
        assert_eq!(distinct(&["a", "b", "a", "a"]), ["a", "b", "a (2)", "a (3)"]);
        assert_eq!(name(&"x".repeat(99)).chars().count(), LONGEST_NAME);
        assert_eq!(name("\u{1b}[31m"), "␛[31m");
    }
}
