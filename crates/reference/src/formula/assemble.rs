//! Turns written parts into a formula: finds the ingredients, adds up, scales to 100 %.

use std::ops::Range;

use super::quantity::{Quantity, QuantityError, Unit};
use super::{Formula, Part};
use crate::diagnostic::line_column;
use crate::finder::Finder;
use crate::findings::Findings;
use crate::wording::{quote, short};
use crate::{Diagnostic, IngredientId};

/// Largest number of parts in one formula.
pub const MAX_PARTS: usize = 200;
/// Largest number of formulas in one text.
pub const MAX_FORMULAS: usize = 1000;

/// The whole bar, mass %: no part of it is more.
pub(super) const WHOLE_PERCENT: f64 = 100.0;

/// How far shares marked % may sum from 100 before it is noted.
const PERCENT_TOLERANCE: f64 = 0.5;

/// One part as written.
#[derive(Debug)]
pub(crate) struct Written<'t> {
    /// The ingredient's name as written.
    pub(crate) name: &'t str,
    /// Its place.
    pub(crate) name_span: Range<usize>,
    /// The amount as read.
    pub(crate) amount: Result<Quantity, QuantityError>,
    /// Its place.
    pub(crate) amount_span: Range<usize>,
    /// What to do besides, if the amount is wrong.
    pub(crate) amount_hint: Option<&'static str>,
}

/// Makes a formula of the written parts, or reports everything that is wrong with them.
///
/// `place` is where the whole formula stands in `text`.
pub(crate) fn assemble(
    text: &str,
    name: &str,
    place: Range<usize>,
    written: &[Written<'_>],
    finder: &mut Finder<'_>,
    findings: &mut Findings,
) -> Option<Formula> {
    if written.is_empty() {
        findings.push(
            Diagnostic::error("no-parts", format!("the formula {} has no parts", quote(name)), place)
                .hint("Write each ingredient with its amount by mass, such as `beeswax 26, sunflower oil 74`."),
        );
        return None;
    }
    if written.len() > MAX_PARTS {
        let message = format!("the formula {} has {} parts, more than {MAX_PARTS}", quote(name), written.len());
        findings.push(Diagnostic::error("too-many-parts", message, place).hint("Split it into several formulas."));
        return None;
    }
    let mut sound = check_units(text, written, findings);
    // Ingredient, sum of its amounts, place of its first name.
    let mut sums: Vec<(IngredientId, f64, &Written<'_>)> = Vec::new();
    for part in written {
        let ingredient = finder.find(part.name, part.name_span.clone(), findings);
        if let Err(error) = &part.amount {
            let known = ingredient.and_then(|index| finder.ingredient(index));
            let mut diagnostic = error.diagnostic(part.amount_span.clone(), known);
            diagnostic.hints.extend(part.amount_hint.map(str::to_owned));
            findings.push(diagnostic);
        }
        if let Ok(Quantity { value, unit: Unit::Percent }) = part.amount
            && value > WHOLE_PERCENT
        {
            let message = format!("{} % is more than the whole bar, 100 %", short(value));
            findings.push(
                Diagnostic::error("over-whole", message, part.amount_span.clone())
                    .hint("Write a share of the bar in %, or parts by mass without `%`: those may have any sum."),
            );
            sound = false;
        }
        let (Some(ingredient), Ok(quantity)) = (ingredient, &part.amount) else {
            sound = false;
            continue;
        };
        match sums.iter_mut().find(|(earlier, ..)| *earlier == ingredient) {
            Some((_, sum, first)) => {
                *sum += quantity.value;
                let (line, column) = line_column(text, first.name_span.start);
                let message = format!(
                    "{} is the same ingredient as {} in line {line}, column {column}; their amounts are added",
                    quote(part.name),
                    quote(first.name)
                );
                findings.push(Diagnostic::note("ingredient-twice", message, part.name_span.clone()));
            }
            None => sums.push((ingredient, quantity.value, part)),
        }
    }
    if !sound {
        return None;
    }
    let total: f64 = sums.iter().map(|(_, sum, _)| sum).sum();
    let marked_percent = written.iter().any(|part| matches!(part.amount, Ok(Quantity { unit: Unit::Percent, .. })));
    if marked_percent && (total - 100.0).abs() > PERCENT_TOLERANCE {
        let message = format!("the shares marked % sum to {}, not 100; they are scaled to 100", short(total));
        findings.push(Diagnostic::note("percent-sum", message, place));
    }
    let parts =
        sums.into_iter().map(|(ingredient, sum, _)| Part { ingredient, percent: 100.0 * sum / total }).collect();
    Some(Formula { name: name.to_owned(), parts })
}

/// Checks that masses and shares are not mixed.
fn check_units(text: &str, written: &[Written<'_>], findings: &mut Findings) -> bool {
    let first = |mass: bool| {
        written.iter().find(|part| part.amount.as_ref().is_ok_and(|quantity| (quantity.unit == Unit::Gram) == mass))
    };
    let (Some(mass), Some(share)) = (first(true), first(false)) else {
        return true;
    };
    let say = |part: &Written<'_>| {
        let (line, column) = line_column(text, part.amount_span.start);
        let amount = text.get(part.amount_span.clone()).unwrap_or("");
        format!("{} of {} in line {line}, column {column}", quote(amount), quote(part.name))
    };
    let message = format!("{} is a mass, but {} is a share", say(mass), say(share));
    let later = mass.amount_span.start.max(share.amount_span.start);
    let span = if later == mass.amount_span.start { &mass.amount_span } else { &share.amount_span };
    findings.push(
        Diagnostic::error("mixed-units", message, span.clone())
            .label("the other kind of amount")
            .hint("Write every amount as a mass, or every amount as a share."),
    );
    false
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use crate::formula::read_inline;
    use crate::sample::{library, parts};

    #[test]
    fn an_ingredient_written_twice_is_added_up_and_noted() {
        let reading = read_inline("beeswax 1, castor oil 2\nBees-Wax 1", "x", &library()).unwrap();
        assert_eq!(reading.notes.len(), 1);
        assert_eq!(
            reading.notes[0].message,
            "`Bees-Wax` is the same ingredient as `beeswax` in line 1, column 1; their amounts are added"
        );
        assert_eq!(parts(&library(), Ok(reading)), [("beeswax", 50.0), ("castor-oil", 50.0)]);
    }

    #[test]
    fn shares_that_do_not_sum_to_100_are_noted() {
        for (text, notes) in [
            ("beeswax 25.4 %, castor oil 75", 0),
            ("beeswax 26 %, castor oil 75 %", 1),
            ("beeswax 3", 0),
            ("beeswax 25.5 %, castor oil 75 %", 0),
        ] {
            let reading = read_inline(text, "x", &library()).unwrap();
            assert_eq!(reading.notes.len(), notes, "{text}");
            let sum: f64 = reading.formulas[0].parts.iter().map(|part| part.percent).sum();
            assert!((sum - 100.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_share_of_more_than_the_whole_is_refused() {
        let errors = read_inline("beeswax 120 %, castor oil 101%, lavender 3", "x", &library()).unwrap_err();
        let seen: Vec<_> = errors.iter().map(|error| (error.code, error.span.clone())).collect();
        assert_eq!(seen[..2], [("over-whole", 8..13), ("over-whole", 26..30)], "{errors:?}");
        assert!(errors[0].message.starts_with("120 % is more than the whole bar"), "{errors:?}");
        assert!(
            read_inline("beeswax 100 %", "x", &library()).is_ok()
                && read_inline("beeswax 120", "x", &library()).is_ok()
        );
    }

    #[test]
    fn the_most_parts_are_taken_and_no_more() {
        let of = |count: usize| read_inline(&"beeswax 1, ".repeat(count), "x", &library());
        assert_eq!(parts(&library(), of(super::MAX_PARTS)), [("beeswax", 100.0)]);
        assert_eq!(crate::sample::codes(of(super::MAX_PARTS + 1)), ["too-many-parts"]);
    }

    #[test]
    fn mixed_units_name_both_places() {
        let errors = read_inline("beeswax 26 %\ncastor oil 52 g", "x", &library()).unwrap_err();
        assert_eq!(
            errors[0].message,
            "`52 g` of `castor oil` in line 2, column 12 is a mass, but `26 %` of `beeswax` in line 1, column 9 is a share"
        );
    }

    #[test]
    fn a_volume_says_what_it_would_weigh() {
        let errors = read_inline("10 ml castor oil", "x", &library()).unwrap_err();
        assert_eq!(errors[0].hints, ["Weigh it: 10 ml of castor oil is about 9.6 g at 25 °C."]);
    }
}
