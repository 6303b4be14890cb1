//! Formulas as a table with a header line, in long form (one part a row) or wide form (one formula a column).

use std::collections::HashMap;
use std::ops::Range;

use super::assemble::{MAX_FORMULAS, Written, assemble};
use super::delimited::{Field, Row, delimiter, split};
use super::quantity::{Quantity, Unit, parse_quantity};
use super::{BYTE_ORDER_MARK, Formula, Reading};
use crate::finder::Finder;
use crate::findings::Findings;
use crate::names::normalise;
use crate::suggest::nearest;
use crate::wording::{list, quote};
use crate::{Diagnostic, Diagnostics, Library};

/// The columns of the long form besides the amount.
const LONG_COLUMNS: &[&str] = &["formula", "ingredient", "note"];
/// The amount columns of the long form, with the unit a bare number in them has.
const AMOUNT_COLUMNS: &[(&str, Unit)] = &[
    ("parts", Unit::Parts),
    ("percent", Unit::Percent),
    ("grams", Unit::Gram),
    ("mass", Unit::Parts),
    ("amount", Unit::Parts),
];

/// A formula being collected: its name, its place and its parts.
struct Draft<'r> {
    name: &'r str,
    place: Range<usize>,
    parts: Vec<Written<'r>>,
}

/// Reads formulas from delimited text; `name` is used for a formula the text gives no name.
///
/// # Errors
/// Every error of the text.
///
/// ```
/// use barwright_reference::{Library, formula::read_csv};
/// let library = Library::builtin()?;
/// let text = "ingredient;winter;summer\nbeeswax;20;26,5\nsunflower oil;80;73,5\n";
/// let reading = read_csv(text, "unnamed", &library)?;
/// assert_eq!(reading.formulas[1].name, "summer");
/// assert_eq!(reading.formulas[1].parts[0].percent, 26.5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_csv(text: &str, name: &str, library: &Library) -> Result<Reading, Diagnostics> {
    let mut findings = Findings::default();
    let start = if text.starts_with(BYTE_ORDER_MARK) { BYTE_ORDER_MARK.len() } else { 0 };
    let body = text.get(start..).unwrap_or("");
    let header = body.lines().find(|line| !line.trim().is_empty() && !line.starts_with('#')).unwrap_or("");
    let rows = split(text, start, delimiter(header), &mut findings);
    let formulas = match rows.split_first() {
        None => {
            if !findings.has_errors() {
                findings.push(no_rows(text, "the table is empty"));
            }
            Vec::new()
        }
        Some((header, rows)) => {
            let even = check_ragged(header, rows, &mut findings);
            let drafts = match columns(header, &mut findings) {
                Some(Shape::Long { columns, amount, unit }) => {
                    long_form(name, &even, &columns, amount, unit, text.len(), &mut findings)
                }
                Some(Shape::Wide) => wide_form(header, &even, &mut findings),
                None => Vec::new(),
            };
            if drafts.is_empty() && !findings.has_errors() {
                findings.push(no_rows(text, "the table has no parts below its header"));
            }
            let mut finder = Finder::new(library);
            // Parts that could not be read have been reported; that none is left is no further error.
            let unread = findings.has_errors();
            drafts
                .iter()
                .filter(|draft| !(unread && draft.parts.is_empty()))
                .filter_map(|draft| {
                    assemble(text, draft.name, draft.place.clone(), &draft.parts, &mut finder, &mut findings)
                })
                .collect::<Vec<Formula>>()
        }
    };
    let (formulas, notes) = findings.finish(formulas)?;
    Ok(Reading { formulas, notes, remark: None })
}

/// Makes the error for a table without parts.
fn no_rows(text: &str, message: &str) -> Diagnostic {
    Diagnostic::error("no-parts", message, 0..text.len())
        .hint("Write a header line such as `ingredient,percent` and one line for each ingredient.")
}

/// Reports rows that have not as many fields as the header, and returns the others.
fn check_ragged<'r, 't>(header: &Row<'t>, rows: &'r [Row<'t>], findings: &mut Findings) -> Vec<&'r Row<'t>> {
    let wanted = header.fields.len();
    let (even, ragged): (Vec<_>, Vec<_>) = rows.iter().partition(|row| row.fields.len() == wanted);
    for row in ragged {
        let seen = row.fields.len();
        let place = row.fields.get(wanted).or(row.fields.last()).map_or(0..0, |field| field.span.clone());
        let message = format!(
            "line {} has {seen} fields, the header has {wanted}; column {} is the first that does not match",
            row.line,
            seen.min(wanted) + 1
        );
        findings
            .push(Diagnostic::error("ragged-row", message, place).hint(
                "Give every row as many fields as the header; put a field with the delimiter in it into quotes.",
            ));
    }
    even
}

/// Which form a table has.
enum Shape {
    /// One part a row: the place of each known column, the amount column and the unit of its bare numbers.
    Long { columns: HashMap<&'static str, usize>, amount: usize, unit: Unit },
    /// One formula a column.
    Wide,
}

/// Tells the form from the header, or reports what is wrong with it.
fn columns(header: &Row<'_>, findings: &mut Findings) -> Option<Shape> {
    let mut columns: HashMap<&'static str, usize> = HashMap::new();
    let mut amounts: Vec<(usize, Unit, &Field<'_>)> = Vec::new();
    let mut unknown = Vec::new();
    let mut sound = true;
    for (place, field) in header.fields.iter().enumerate() {
        let plain = match normalise(&field.text).as_str() {
            "ingredients" => "ingredient".to_owned(),
            "" if field.text.trim() == "%" => "percent".to_owned(),
            plain => plain.to_owned(),
        };
        if let Some((_, unit)) = AMOUNT_COLUMNS.iter().find(|(column, _)| *column == plain) {
            amounts.push((place, *unit, field));
        } else if let Some(column) = LONG_COLUMNS.iter().find(|column| **column == plain) {
            if columns.insert(column, place).is_some() {
                let message = format!("the column {} comes twice", quote(&field.text));
                findings.push(Diagnostic::error("column-twice", message, field.span.clone()));
                sound = false;
            }
        } else {
            unknown.push(field);
        }
    }
    if !columns.contains_key("ingredient") {
        let first = header.fields.first().map_or(0..0, |field| field.span.clone());
        let message = format!("line {} has no column `ingredient`, so it is not a header", header.line);
        findings.push(
            Diagnostic::error("no-ingredient-column", message, first).hint(
                "Write a header line such as `ingredient,percent`, or `ingredient` and one formula name a column.",
            ),
        );
        return None;
    }
    let Some((&(amount, unit, _), more)) = amounts.split_first() else {
        if columns.contains_key("formula") || header.fields.len() < 2 || columns.get("ingredient") != Some(&0) {
            let names = list(AMOUNT_COLUMNS.iter().map(|(column, _)| *column), "or");
            let place = header.fields.last().map_or(0..0, |field| field.span.clone());
            let message = "the table has no column of amounts";
            findings.push(Diagnostic::error("no-amount-column", message, place).hint(format!("Add a column {names}.")));
            return None;
        }
        return sound.then_some(Shape::Wide);
    };
    for (_, _, field) in more {
        let message = format!("{} is a second column of amounts", quote(&field.text));
        findings.push(Diagnostic::error("column-twice", message, field.span.clone()).hint("Keep one of them."));
        sound = false;
    }
    for field in unknown {
        let known = || LONG_COLUMNS.iter().copied().chain(AMOUNT_COLUMNS.iter().map(|(column, _)| *column));
        let best = nearest(&normalise(&field.text), known().enumerate(), 1);
        let best = best.first().and_then(|index| known().nth(*index)).unwrap_or("note");
        let message = format!("{} is not a column of this table", quote(&field.text));
        findings.push(
            Diagnostic::error("unknown-column", message, field.span.clone())
                .hint(format!("The nearest column is `{best}`; {} can be used.", list(known(), "and"))),
        );
        sound = false;
    }
    sound.then_some(Shape::Long { columns, amount, unit })
}

/// Collects the formulas of a table in long form.
fn long_form<'r>(
    name: &'r str,
    rows: &[&'r Row<'_>],
    columns: &HashMap<&'static str, usize>,
    amount: usize,
    unit: Unit,
    end: usize,
    findings: &mut Findings,
) -> Vec<Draft<'r>> {
    let mut drafts: Vec<Draft<'r>> = Vec::new();
    let mut place_of: HashMap<&str, usize> = HashMap::new();
    for row in rows {
        let field = |column: &str| columns.get(column).and_then(|place| row.fields.get(*place));
        let (Some(ingredient), Some(amount)) = (field("ingredient"), row.fields.get(amount)) else {
            continue;
        };
        let formula = match field("formula") {
            None => name,
            Some(formula) if formula.text.is_empty() => {
                let message = format!("line {} names no formula", row.line);
                findings.push(
                    Diagnostic::error("formula-missing", message, formula.span.clone())
                        .hint("Write the formula's name on every line."),
                );
                continue;
            }
            Some(formula) => &formula.text,
        };
        let Some(part) = part(row.line, ingredient, amount, unit, findings) else {
            continue;
        };
        let place = *place_of.entry(formula).or_insert(drafts.len());
        if place == MAX_FORMULAS {
            findings.push(too_many(ingredient.span.clone()));
            return Vec::new();
        }
        match drafts.get_mut(place) {
            Some(draft) => draft.parts.push(part),
            None => {
                let place = field("formula").map_or(0..end, |field| field.span.clone());
                drafts.push(Draft { name: formula, place, parts: vec![part] });
            }
        }
    }
    drafts
}

/// Collects the formulas of a table in wide form.
fn wide_form<'r>(header: &'r Row<'_>, rows: &[&'r Row<'_>], findings: &mut Findings) -> Vec<Draft<'r>> {
    let mut drafts: Vec<Draft<'r>> = Vec::new();
    let mut seen: HashMap<&str, usize> = HashMap::new();
    for (place, name) in header.fields.iter().enumerate().skip(1) {
        let cells = || rows.iter().filter_map(|row| Some((*row, row.fields.first()?, row.fields.get(place)?)));
        let mut filled = cells().filter(|(_, _, amount)| !amount.text.is_empty()).peekable();
        if name.text.is_empty() {
            if let Some((row, _, amount)) = filled.peek() {
                let message = format!("column {} has an amount in line {} but no name", place + 1, row.line);
                findings.push(
                    Diagnostic::error("formula-missing", message, amount.span.clone())
                        .hint("Write the formula's name into the header."),
                );
            }
            continue;
        }
        if let Some(earlier) = seen.insert(&name.text, place) {
            let message = format!("the formula {} is in column {} already", quote(&name.text), earlier + 1);
            findings.push(
                Diagnostic::error("column-twice", message, name.span.clone()).hint("Give each formula its own name."),
            );
        }
        if drafts.len() == MAX_FORMULAS {
            findings.push(too_many(name.span.clone()));
            return Vec::new();
        }
        let parts = filled
            .filter_map(|(row, ingredient, amount)| part(row.line, ingredient, amount, Unit::Parts, findings))
            .collect();
        drafts.push(Draft { name: &name.text, place: name.span.clone(), parts });
    }
    for row in rows {
        if let Some((ingredient, amounts)) = row.fields.split_first()
            && amounts.iter().all(|amount| amount.text.is_empty())
        {
            let message = format!("{} in line {} has no amount in any formula", quote(&ingredient.text), row.line);
            findings.push(Diagnostic::note("ingredient-not-used", message, ingredient.span.clone()));
        }
    }
    drafts
}

/// Makes the error for a table with too many formulas.
fn too_many(span: Range<usize>) -> Diagnostic {
    let message = format!("the table has more than {MAX_FORMULAS} formulas");
    Diagnostic::error("too-many-formulas", message, span).hint("Split it into several files.")
}

/// Makes a part of an ingredient's and an amount's field; a bare number takes the column's unit.
fn part<'r>(
    line: usize,
    ingredient: &'r Field<'_>,
    amount: &Field<'_>,
    column: Unit,
    findings: &mut Findings,
) -> Option<Written<'r>> {
    if ingredient.text.is_empty() {
        let message = format!("the amount {} in line {line} has no ingredient", quote(&amount.text));
        findings.push(
            Diagnostic::error("name-missing", message, amount.span.clone())
                .hint("Write the ingredient's name on every line."),
        );
        return None;
    }
    if amount.text.is_empty() {
        let message = format!("{} in line {line} has no amount", quote(&ingredient.text));
        findings.push(
            Diagnostic::error("amount-missing", message, ingredient.span.clone())
                .hint("Write an amount, or leave the line out."),
        );
        return None;
    }
    let mut quantity = parse_quantity(&amount.text);
    if let Ok(Quantity { unit, .. }) = &mut quantity {
        match (column, *unit) {
            (Unit::Percent, Unit::Parts) => *unit = Unit::Percent,
            (Unit::Gram, Unit::Parts) => *unit = Unit::Gram,
            (Unit::Percent, Unit::Gram) | (Unit::Gram, Unit::Percent) => {
                let message = format!("{} has another unit than its column", quote(&amount.text));
                findings.push(
                    Diagnostic::error("unit-against-column", message, amount.span.clone())
                        .hint("Leave the unit out, or name the column `amount`."),
                );
                return None;
            }
            _ => {}
        }
    }
    Some(Written {
        name: &ingredient.text,
        name_span: ingredient.span.clone(),
        amount: quantity,
        amount_span: amount.span.clone(),
        amount_hint: None,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::sample::{codes, library, parts};

    #[test]
    fn both_forms_and_every_delimiter_are_read() {
        for text in [
            "ingredient,parts\nbeeswax,1\ncastor oil,3\n",
            "\u{feff}Ingredient;Percent\r\nbeeswax;25,0 %\r\n\r\ncastor oil;75\r\n",
            "grams\tingredient\tnote\n50\tbeeswax\tfirm\n0.15 kg\tcastor oil\t",
            "ingredient,amount\nbeeswax,1 oz\ncastor oil,3 oz",
            "formula,ingredient,mass\nx,beeswax,\"2,5\"\nx,castor oil,\"7,5\"\n",
            "# mine\nIngredients,%\n\"bees wax\",25\n,\n\"castor oil\",75",
            "ingredient,x,\nbeeswax,1,\ncastor oil,3,\n",
        ] {
            let reading = read_csv(text, "x", &library());
            assert_eq!(reading.as_ref().map(|reading| reading.formulas[0].name.as_str()), Ok("x"), "{text:?}");
            assert_eq!(parts(&library(), reading), [("beeswax", 25.0), ("castor-oil", 75.0)], "{text:?}");
        }
    }

    #[test]
    fn several_formulas_keep_their_order() {
        for text in [
            "ingredient;B;A\nbeeswax;1;2\ncastor oil;1;\nplain wax;;\n",
            "formula,ingredient,parts\nB,beeswax,1\nA,beeswax,2\nB,castor oil,1\n",
        ] {
            let reading = read_csv(text, "x", &library()).unwrap();
            let seen: Vec<_> = reading.formulas.iter().map(|f| (f.name.as_str(), f.parts.len())).collect();
            assert_eq!(seen, [("B", 2), ("A", 1)]);
            assert_eq!(reading.notes.len(), usize::from(text.contains("plain")));
        }
    }

    #[test]
    fn every_refusal_has_its_code_and_place() {
        for (text, code, place) in [
            ("", "no-parts", ""),
            ("\n# x\n", "no-parts", "\n# x\n"),
            ("ingredient,parts\n", "no-parts", "ingredient,parts\n"),
            ("ingredient,A\n", "no-parts", "A"),
            ("beeswax,1\n", "no-ingredient-column", "beeswax"),
            ("ingredient\nbeeswax\n", "no-amount-column", "ingredient"),
            ("formula,ingredient\nA,beeswax\n", "no-amount-column", "ingredient"),
            ("ingredient,parts,grams\nbeeswax,1,2\n", "column-twice", "grams"),
            ("ingredient,A,A\nbeeswax,1,2\n", "column-twice", "A"),
            ("ingredient,parts,formla\nbeeswax,1,x\n", "unknown-column", "formla"),
            ("ingredient,parts\nbeeswax,1,2\n", "ragged-row", "2"),
            ("ingredient,parts\nbeeswax\ncastor oil,1", "ragged-row", "beeswax"),
            ("ingredient,parts\nbeeswax,\n", "amount-missing", "beeswax"),
            ("ingredient,parts\n,3\n", "name-missing", "3"),
            ("ingredient,A\n,3\nbeeswax,1", "name-missing", "3"),
            ("ingredient,A,\nbeeswax,1,2\n", "formula-missing", "2"),
            ("formula,ingredient,parts\nA,beeswax,1\n,beeswax,1", "formula-missing", ""),
            ("ingredient,percent\nbeeswax,1 g\n", "unit-against-column", "1 g"),
            ("ingredient,grams\nbeeswax,1 %\n", "unit-against-column", "1 %"),
            ("ingredient,A\nbeeswax,0\n", "zero-amount", "0"),
            ("ingredient,A\ntotal,100\nbeeswax,1", "unknown-ingredient", "total"),
            ("ingredient,A\n\"beeswax,1", "quote-not-closed", "\""),
        ] {
            let errors = read_csv(text, "x", &library()).unwrap_err();
            let seen: Vec<_> = errors.iter().map(|error| (error.code, &text[error.span.clone()])).collect();
            assert_eq!(seen, [(code, place)], "{text:?}: {errors:?}");
        }
    }

    #[test]
    fn plain_numbers_take_the_unit_of_their_column() {
        for (text, notes) in [
            ("ingredient,percent\nbeeswax,26\ncastor oil,75\n", vec!["percent-sum"]),
            ("ingredient,parts\nbeeswax,26\ncastor oil,75\n", vec![]),
            ("ingredient,grams\nbeeswax,26\ncastor oil,75 g\n", vec![]),
        ] {
            let reading = read_csv(text, "x", &library()).unwrap();
            assert_eq!(reading.notes.iter().map(|note| note.code).collect::<Vec<_>>(), notes, "{text:?}");
        }
    }

    #[test]
    fn a_ragged_row_names_line_and_column() {
        let errors = read_csv("ingredient,A,B\n\nbeeswax,1\n", "x", &library()).unwrap_err();
        let message = "line 3 has 2 fields, the header has 3; column 3 is the first that does not match";
        assert_eq!(errors[0].message, message);
    }

    #[test]
    fn too_many_formulas_are_one_error() {
        let long: String = (0..=MAX_FORMULAS).map(|count| format!("f{count},beeswax,1\n")).collect();
        let names: String = (0..=MAX_FORMULAS).map(|count| format!(",f{count}")).collect();
        let wide = format!("ingredient{names}\nbeeswax{}\n", ",1".repeat(MAX_FORMULAS + 1));
        for text in [format!("formula,ingredient,parts\n{long}"), wide] {
            assert_eq!(codes(read_csv(&text, "x", &library())), ["too-many-formulas"]);
        }
    }
}
