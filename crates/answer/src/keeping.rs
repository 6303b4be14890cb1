//! How long a bar keeps, in words.

use barwright_blend::Estimate;
use barwright_making::keeping::{Keeping, keeping};
use barwright_reference::{Formula, Library};
use schemars::JsonSchema;
use serde::Serialize;

use crate::document::{Block, Section};
use crate::words::number::{interval, significant};
use crate::words::visible::visible;

/// What it rests on, and what to do.
const RESTS_ON: &str = "From induction times in hot air, most of them recalled, carried down to a room: an order of things, no date. Vitamin E, a fifth of a \
                        percent to one, slows it; light, warmth, metal and oil that was old before hasten it. A bar that smells of crayons or old nuts is past it.";

/// How long a bar keeps before its fats turn rancid.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Keeps {
    /// Key of what turns rancid first.
    first: String,
    /// In a room of 20 °C, months.
    months: Estimate,
    /// In a fridge of 5 °C, months.
    fridge_months: Estimate,
    /// The earliest best-before date among its lots.
    best_before: Option<String>,
}

/// How long a formula keeps; `None` for one without a fat that turns rancid.
pub(crate) fn keeps(library: &Library, formula: &Formula) -> Option<Keeps> {
    let Keeping { first, months, fridge_months, best_before } = keeping(library, formula)?;
    let best_before = best_before.map(|(date, _)| date.to_string());
    Some(Keeps { first: library.key(first).to_owned(), months, fridge_months, best_before })
}

/// It as a section.
pub(crate) fn section(library: &Library, formula: &Formula) -> Option<Section> {
    let Keeping { first, months, fridge_months, best_before } = keeping(library, formula)?;
    let keeps = format!(
        "{} turns rancid first: the bar keeps some {} months in a room, {} in a fridge.",
        visible(library.common_name(first)),
        interval(&months, |one| significant(one, 2)),
        significant(fridge_months.value, 2),
    );
    let date = match best_before {
        Some((date, lot)) => format!(
            "Best before {date}, by the date on `{}`: no date on the label later than that.",
            visible(library.key(lot))
        ),
        None => "No lot states a date, so the label has none: a `best_before` in each lot gives one.".to_owned(),
    };
    Some(Section::new("Keeping", [Block::said([keeps, date]), Block::Small(RESTS_ON.to_owned())]))
}
