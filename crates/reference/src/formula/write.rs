//! A formula as TOML text: what both a fresh file and a changed one are made of.

use super::rounding::{Wanted, round};
use super::toml::read_toml;
use super::{Formula, Part};
use crate::wording::short;
use crate::{Diagnostic, Diagnostics, IngredientId, Library, Lookup};

/// Share up to which a part is nothing, %: what a calculation leaves of an ingredient it took out.
const NOTHING_PERCENT: f64 = 1e-6;
/// A part that had so little before, and has still this much of it, is a trace its maker wants.
const TRACE_KEPT: f64 = 0.5;

/// Why a formula cannot be written.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The text to change is no formula.
    #[error("the text to change is not a formula: {}", first(.0))]
    Unreadable(Diagnostics),
    /// An ingredient of another library.
    #[error("there is no ingredient number {0:?}")]
    NoSuchIngredient(IngredientId),
    /// A share that is no share.
    #[error("{percent} is not a share of `{ingredient}`")]
    BadShare {
        /// Key of the ingredient.
        ingredient: String,
        /// The share, %.
        percent: f64,
    },
    /// No part above zero.
    #[error("a formula needs at least one part above 0 %")]
    NothingLeft,
    /// The new name is blank.
    #[error("the new name is empty")]
    EmptyName,
    /// What would be written could not be read again, for example because a part is too small or there are too many.
    #[error("the formula cannot be written: {}", first(.0))]
    Rejected(Diagnostics),
}

/// The first of several findings, and how many more there are.
fn first(errors: &[Diagnostic]) -> String {
    match errors {
        [] => String::new(),
        [only] => only.message.clone(),
        [first, rest @ ..] => format!("{}, and {} more", first.message, rest.len()),
    }
}

/// Returns a formula as the text of a new TOML file.
///
/// Parts are written in percent with one decimal, or two digits where a part is below 1 %, and sum to 100.
///
/// # Arguments
/// * `formula`: its name and its parts; shares of any sum are scaled to 100 %, parts below 0.000001 % left out.
/// * `note`: text of the `note` key, left out when blank.
/// * `header`: comment at the top, each line made a comment line; none when empty.
/// * `library`: the library `formula` was read with; ingredients go by their common names, lots by their keys.
///
/// # Errors
/// [`WriteError`] when the shares are no formula or the name is blank.
///
/// ```
/// use barwright_reference::{Library, formula::{read_inline, read_toml, to_toml}};
/// let library = Library::builtin()?;
/// let reading = read_inline("beeswax 1, mango butter 2", "trial", &library)?;
/// let text = to_toml(&reading.formulas[0], None, "Made stiffer for summer", &library).map_err(|e| e.to_string())?;
/// assert_eq!(text, "# Made stiffer for summer\nname = \"trial\"\n\n[parts]\nbeeswax = 33.3\n\"mango butter\" = 66.7\n");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn to_toml(formula: &Formula, note: Option<&str>, header: &str, library: &Library) -> Result<String, WriteError> {
    if formula.name.trim().is_empty() {
        return Err(WriteError::EmptyName);
    }
    let shares = shares(&formula.parts, &[], library)?;
    let mut text = String::new();
    for line in header.lines() {
        text.push_str(&comment(line));
        text.push('\n');
    }
    text.push_str(&format!("name = {}\n", quoted(formula.name.trim(), false)));
    if let Some(note) = note.map(str::trim).filter(|note| !note.is_empty()) {
        text.push_str(&format!("note = {}\n", quoted(note, false)));
    }
    text.push_str("\n[parts]\n");
    let wanted: Vec<Wanted> =
        shares.iter().map(|part| Wanted { amount: part.percent, per_unit: 1.0, old: None }).collect();
    for (part, amount) in shares.iter().zip(round(&wanted, 100.0)) {
        let name = key(&plain_name(part.ingredient, library)?, false);
        text.push_str(&format!("{name} = {}\n", amount.unwrap_or_else(|| short(part.percent))));
    }
    checked(text, library)
}

/// Returns the parts above nothing, each ingredient once, scaled to 100 %; `old` are the parts before the change.
pub(super) fn shares(parts: &[Part], old: &[Part], library: &Library) -> Result<Vec<Part>, WriteError> {
    let mut shares: Vec<Part> = Vec::new();
    for part in parts {
        let known = library.get(part.ingredient).ok_or(WriteError::NoSuchIngredient(part.ingredient))?;
        if !part.percent.is_finite() || part.percent < 0.0 {
            return Err(WriteError::BadShare { ingredient: known.key.clone(), percent: part.percent });
        }
        match shares.iter_mut().find(|earlier| earlier.ingredient == part.ingredient) {
            Some(earlier) => earlier.percent += part.percent,
            None => shares.push(part.clone()),
        }
    }
    let scale = |shares: &mut Vec<Part>| {
        let total: f64 = shares.iter().map(|part| part.percent).sum();
        shares.iter_mut().for_each(|part| part.percent *= 100.0 / total);
        total
    };
    let total = scale(&mut shares);
    if total.is_infinite() {
        let part = shares.into_iter().next().and_then(|part| library.get(part.ingredient));
        let ingredient = part.map_or(String::new(), |known| known.key.clone());
        return Err(WriteError::BadShare { ingredient, percent: total });
    }
    let trace = |part: &Part| {
        let before = old.iter().find(|before| before.ingredient == part.ingredient);
        before.is_some_and(|before| part.percent > TRACE_KEPT * before.percent)
    };
    shares.retain(|part| part.percent > NOTHING_PERCENT || trace(part));
    if shares.is_empty() {
        return Err(WriteError::NothingLeft);
    }
    scale(&mut shares);
    Ok(shares)
}

/// Returns the text if it can be read as a formula again.
pub(super) fn checked(text: String, library: &Library) -> Result<String, WriteError> {
    read_toml(&text, "", library).map_err(WriteError::Rejected)?;
    Ok(text)
}

/// Returns the name by which an ingredient is written: its common name as in running text, or its key where that is a lot's or the
/// name is not its own.
pub(super) fn plain_name(id: IngredientId, library: &Library) -> Result<String, WriteError> {
    let known = library.get(id).ok_or(WriteError::NoSuchIngredient(id))?;
    let name = running(&known.common_name);
    let own = known.lot_of.is_none() && library.find(&name) == Lookup::Found(id);
    Ok(if own { name } else { known.key.clone() })
}

/// Returns a name with its first letter small, unless the word is an abbreviation.
fn running(name: &str) -> String {
    let mut letters = name.chars();
    match (letters.next(), letters.next()) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            first.to_lowercase().chain([second]).chain(letters).collect()
        }
        _ => name.to_owned(),
    }
}

/// Returns a line as a comment, without the control characters TOML does not allow there.
fn comment(line: &str) -> String {
    let line: String = line.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
    format!("# {line}").trim_end().to_owned()
}

/// Returns a text as a TOML key, in quotes only where needed.
pub(super) fn key(name: &str, literal: bool) -> String {
    let bare = |letter: u8| letter.is_ascii_alphanumeric() || matches!(letter, b'-' | b'_');
    if !name.is_empty() && name.bytes().all(bare) { name.to_owned() } else { quoted(name, literal) }
}

/// Returns a text as a TOML string of one line, in single quotes if wished for and possible.
pub(super) fn quoted(text: &str, literal: bool) -> String {
    if literal && !text.chars().any(|letter| letter == '\'' || letter.is_control()) {
        return format!("'{text}'");
    }
    let mut quoted = String::from('"');
    for letter in text.chars() {
        match letter {
            '"' | '\\' => quoted.extend(['\\', letter]),
            '\n' => quoted.push_str("\\n"),
            '\t' => quoted.push_str("\\t"),
            letter if letter.is_control() => quoted.push_str(&format!("\\u{:04X}", u32::from(letter))),
            letter => quoted.push(letter),
        }
    }
    quoted.push('"');
    quoted
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::sample::library;

    fn formula(name: &str, parts: &[(usize, f64)]) -> Formula {
        // What is not in the table is a lot.
        let id = |index: usize| library().id_at(index).unwrap_or(IngredientId::new(index, "my-wax"));
        let parts = parts.iter().map(|&(index, percent)| Part { ingredient: id(index), percent });
        Formula { name: name.to_owned(), parts: parts.collect() }
    }

    #[test]
    fn a_fresh_file_has_header_name_note_and_parts() {
        let note = "two\nlines \"quoted\" \\ \u{1}\u{7f}";
        let text = to_toml(
            &formula("it's \"mine\"", &[(0, 1.0), (3, 2.0), (2, 0.0)]),
            Some(note),
            "one\r\n\ntwo \u{7}",
            &library(),
        )
        .unwrap();
        assert_eq!(
            text,
            "# one\n#\n# two\nname = \"it's \\\"mine\\\"\"\nnote = \"two\\nlines \\\"quoted\\\" \\\\ \\u0001\\u007F\"\n\n\
             [parts]\nbeeswax = 33.3\n\"castor oil\" = 66.7\n"
        );
        let reading = read_toml(&text, "", &library()).unwrap();
        assert_eq!((reading.formulas[0].name.as_str(), reading.remark.as_deref()), ("it's \"mine\"", Some(note)));
    }

    #[test]
    fn an_ingredient_given_twice_is_written_once() {
        let text = to_toml(&formula("x", &[(0, 1.0), (3, 3.0), (0, 2.0)]), None, "", &library()).unwrap();
        assert_eq!(text, "name = \"x\"\n\n[parts]\nbeeswax = 50\n\"castor oil\" = 50\n");
    }

    #[test]
    fn a_trace_is_kept_only_where_one_was() {
        let kept = |now: f64, before: f64| {
            let parts = |trace: f64| formula("x", &[(0, 100.0), (3, trace)]).parts;
            shares(&parts(now), &parts(before), &library()).unwrap().len() == 2
        };
        assert!(kept(1.0, 0.0) && kept(1e-7, 1e-7));
        assert!(!kept(1e-7, 1.0) && !kept(0.0, 1e-7));
    }

    #[test]
    fn a_lot_goes_by_its_key() {
        let lots = "[lot.my-wax]\nlike = 'beeswax'\nname = 'May wax, 2nd'\n";
        let (library, _) = library().with_lots(lots).unwrap();
        let text = to_toml(&formula("x", &[(5, 1.0), (0, 1.0)]), Some(" "), "", &library).unwrap();
        assert_eq!(text, "name = \"x\"\n\n[parts]\nmy-wax = 50\nbeeswax = 50\n");
    }

    #[test]
    fn every_builtin_name_is_found_again() {
        let library = Library::builtin().unwrap();
        for (id, _) in library.by_id() {
            let name = plain_name(id, &library).unwrap();
            assert_eq!(library.find(&name), Lookup::Found(id), "{name}");
        }
        for (name, written) in [("MCT oil", "MCT oil"), ("Vitamin E", "vitamin E"), ("Beeswax", "beeswax")] {
            assert_eq!(running(name), written);
        }
    }

    #[test]
    fn what_is_no_formula_is_refused() {
        let (nan, huge) = (f64::NAN, f64::MAX);
        for (name, parts, message) in [
            ("x", &[(9, 1.0)][..], "there is no ingredient number 9"),
            ("x", &[(0, 1.0), (3, -1.0)], "-1 is not a share of `castor-oil`"),
            ("x", &[(0, nan)], "NaN is not a share of `beeswax`"),
            ("x", &[(0, huge), (1, huge)], "inf is not a share of `beeswax`"),
            ("x", &[(0, 0.0)], "a formula needs at least one part above 0 %"),
            ("x", &[], "a formula needs at least one part above 0 %"),
            (" ", &[(0, 1.0)], "the new name is empty"),
        ] {
            let error = to_toml(&formula(name, parts), None, "", &library()).unwrap_err();
            assert_eq!(error.to_string(), message);
        }
    }
}
