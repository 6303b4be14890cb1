//! A formula as TOML: an optional `name` and `note`, and a `[parts]` table.

use toml::de::DeValue;

use super::assemble::{Written, assemble};
use super::quantity::{QuantityError, parse_quantity};
use super::{BYTE_ORDER_MARK, Reading};
use crate::finder::Finder;
use crate::findings::Findings;
use crate::toml_text::{Entry, entries, filled_text, number_text, read, unknown_key, wrong_kind};
use crate::{Diagnostic, Diagnostics, Library, Lookup};

/// The keys a formula file can have.
const KEYS: &[&str] = &["name", "note", "parts"];

/// Reads a formula from TOML text; `name` is used when the text has no `name`.
///
/// # Errors
/// Every error of the text.
///
/// ```
/// use barwright_reference::{Library, formula::read_toml};
/// let library = Library::builtin()?;
/// let text = "name = \"winter\"\n[parts]\nbeeswax = \"13 g\"\n\"sunflower oil\" = \"37 g\"\n";
/// let reading = read_toml(text, "unnamed", &library)?;
/// assert_eq!((reading.formulas[0].name.as_str(), reading.formulas[0].parts[0].percent), ("winter", 26.0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_toml(text: &str, name: &str, library: &Library) -> Result<Reading, Diagnostics> {
    let mut findings = Findings::default();
    let body = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
    let offset = text.len() - body.len();
    let (mut named, mut remark, mut parts, mut place) = (None, None, Vec::new(), 0..text.len());
    for entry in read(body, offset, &mut findings) {
        match entry.key.as_str() {
            "name" => named = filled_text(&entry, &mut findings),
            "note" => remark = filled_text(&entry, &mut findings),
            "parts" => {
                match entry.value {
                    DeValue::Table(table) => {
                        place = entry.key_span;
                        parts = entries(table, offset);
                    }
                    _ => findings.push(wrong_kind(&entry, "a table of ingredients and amounts").hint(
                        "Write a line `[parts]` and below it one line for each ingredient, such as `beeswax = 26`.",
                    )),
                }
            }
            key => findings.push(match library.find(key) {
                Lookup::Unknown { .. } => unknown_key(&entry, KEYS),
                Lookup::Found(_) | Lookup::Ambiguous(_) => {
                    unknown_key(&entry, KEYS).hint("An ingredient belongs below a line `[parts]`.")
                }
            }),
        }
    }
    let written: Vec<Written<'_>> = parts.iter().filter_map(|entry| part(entry, &mut findings)).collect();
    let name = named.unwrap_or_else(|| name.to_owned());
    // Parts that could not be read have been reported; an empty table after them is no further error.
    let formula = if written.is_empty() && findings.has_errors() {
        None
    } else {
        assemble(text, &name, place, &written, &mut Finder::new(library), &mut findings)
    };
    let (formula, notes) = findings.finish(formula)?;
    Ok(Reading { formulas: formula.into_iter().collect(), notes, remark })
}

/// Reads one line of the parts table.
fn part<'e>(entry: &'e Entry<'_>, findings: &mut Findings) -> Option<Written<'e>> {
    if entry.key.trim().is_empty() {
        let message = "an amount has no ingredient";
        findings.push(
            Diagnostic::error("name-missing", message, entry.key_span.clone())
                .hint("Write the ingredient's name as key."),
        );
        return None;
    }
    let amount = match &entry.value {
        DeValue::String(amount) => parse_quantity(amount),
        value => match number_text(value) {
            Some(number) => parse_quantity(number),
            None if matches!(value, DeValue::Integer(_)) => {
                Err(QuantityError::NotANumber { written: "a number that is not decimal".to_owned() })
            }
            None => {
                let diagnostic = wrong_kind(entry, "an amount").hint("Write `26`, or a text such as `\"26 g\"`.");
                findings.push(match value {
                    DeValue::Table(_) => diagnostic.hint("Write a name with a dot or a blank in quotes."),
                    _ => diagnostic,
                });
                return None;
            }
        },
    };
    Some(Written {
        name: &entry.key,
        name_span: entry.key_span.clone(),
        amount,
        amount_span: entry.value_span.clone(),
        amount_hint: None,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::sample::{codes, library, parts};

    #[test]
    fn every_kind_of_amount_is_read_in_the_order_written() {
        for text in [
            "[parts]\ncastor-oil = 3\nbeeswax = 1",
            "name = 'x'\nnote = \"\"\"soft\nbar\"\"\"\n[parts]\n\"Castor oil\" = \"75 %\"\nbeeswax = 25.0",
            "parts = { \"castor oil\" = '1.5 oz', beeswax = '0,5 oz' }",
            "\u{feff}parts.castor-oil = 3_000\nparts.beeswax = 1e3",
        ] {
            let reading = read_toml(text, "x", &library());
            assert_eq!(reading.as_ref().map(|reading| reading.formulas[0].name.as_str()), Ok("x"), "{text}");
            assert_eq!(reading.as_ref().map(|reading| reading.remark.is_some()), Ok(text.contains("note")), "{text}");
            assert_eq!(parts(&library(), reading), [("castor-oil", 75.0), ("beeswax", 25.0)], "{text}");
        }
    }

    #[test]
    fn every_refusal_has_its_code_and_place() {
        for (text, code, place) in [
            ("", "no-parts", ""),
            ("# x\n", "no-parts", "# x\n"),
            ("[parts]\n", "no-parts", "parts"),
            ("parts = 3", "wrong-kind", "3"),
            ("name = 3\n[parts]\nbeeswax = 1", "wrong-kind", "3"),
            ("name = ' '\n[parts]\nbeeswax = 1", "empty-text", "' '"),
            ("nmae = 'a'\n[parts]\nbeeswax = 1", "unknown-key", "nmae"),
            ("beeswax = 1", "unknown-key", "beeswax"),
            ("[parts]\nbeeswax = 1\nbeeswax = 2", "duplicate-key", "beeswax"),
            ("[parts]\nbeeswax = ", "toml-syntax", ""),
            ("[parts]\ncastor oil = 1", "toml-syntax", ""),
            ("[parts]\ncastor.oil = 1", "wrong-kind", "castor"),
            ("[parts]\nbeeswax = [1]", "wrong-kind", "[1]"),
            ("[parts]\nbeeswax = true", "wrong-kind", "true"),
            ("[parts]\nbeeswax = 1979-05-27", "wrong-kind", "1979-05-27"),
            ("[parts]\n'' = 1", "name-missing", "''"),
            ("[parts]\nbeeswax = 0x1A", "not-a-number", "0x1A"),
            ("[parts]\nbeeswax = nan", "amount-not-finite", "nan"),
            ("[parts]\nbeeswax = -inf", "amount-not-finite", "-inf"),
            ("[parts]\nbeeswax = 1e999", "amount-too-large", "1e999"),
            ("[parts]\nbeeswax = -1", "negative-amount", "-1"),
            ("[parts]\nbeeswax = ''", "empty-amount", "''"),
            ("[parts]\nbeeswax = '10 ml'", "volume", "'10 ml'"),
            ("[parts]\n'bee wox' = 1", "unknown-ingredient", "'bee wox'"),
        ] {
            let errors = read_toml(text, "x", &library()).unwrap_err();
            let seen: Vec<_> = errors.iter().map(|error| (error.code, &text[error.span.clone()])).collect();
            assert_eq!(seen, [(code, place)], "{text:?}: {errors:?}");
        }
    }

    #[test]
    fn a_misplaced_ingredient_is_sent_below_parts() {
        let errors = read_toml("castor-oil = 1\n[parts]\nbeeswax = 1", "x", &library()).unwrap_err();
        assert_eq!(errors[0].hints.last().unwrap(), "An ingredient belongs below a line `[parts]`.");
    }

    #[test]
    fn a_name_cut_at_its_dot_is_to_be_put_in_quotes() {
        let last = |text: &str| {
            let errors = read_toml(text, "x", &library()).unwrap_err();
            errors[0].hints.last().unwrap().clone()
        };
        assert_eq!(last("[parts]\ncastor.oil = 1"), "Write a name with a dot or a blank in quotes.");
        assert_eq!(last("[parts]\nbeeswax = [1]"), "Write `26`, or a text such as `\"26 g\"`.");
    }

    #[test]
    fn depth_cannot_exhaust_the_stack() {
        let deep = 100_000;
        for text in [
            format!("[parts]\nx = {}{}", "[".repeat(deep), "]".repeat(deep)),
            format!("parts = {}1{}", "{a=".repeat(deep), "}".repeat(deep)),
            format!("[parts]\n{}a = 1", "a.".repeat(deep)),
            format!("[{}a]\nb = 1", "parts.".repeat(deep)),
            format!("[parts]\nx = {}", "[".repeat(deep)),
        ] {
            assert!(codes(read_toml(&text, "x", &library())).contains(&"toml-syntax"));
        }
        let list = format!("[parts]\nx = [{}]", "1,".repeat(deep));
        assert_eq!(codes(read_toml(&list, "x", &library())), ["wrong-kind"]);
    }
}
