//! A space of formulas as a maker writes it: what may be in a bar and how much of it, prices, and demands on the bars.

use std::sync::Arc;

use barwright_reference::space::{SpaceText, Wish, WishText};
use barwright_reference::{Diagnostic, Diagnostics, IngredientId, Library};
use barwright_reformulate::demand::EVEN_CHANCE;
use barwright_reformulate::space::{Filler, Group, SpaceError};
use barwright_reformulate::{Demand, Space};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::bought::{self, Bought, WrittenBar};
use crate::demand::{self, Asked};
use crate::refusal::{Fault, Refusal};
use crate::words::names::list;

/// A space in a question.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct WrittenSpace {
    /// The shelf as TOML: `[ingredients]`, and where wanted `[totals]`, `[prices]` and `[demands]`.
    pub text: String,
    /// Where it is written, for messages.
    pub origin: String,
    /// What the space is called where the text does not say.
    pub name: String,
    /// The bar of unknown formula that `like` below `[demands]` names.
    pub like: Option<WrittenBar>,
}

/// A space that was read.
#[derive(Debug)]
pub struct ReadSpace {
    /// Its name.
    pub name: String,
    /// A remark.
    pub note: Option<String>,
    /// The formulas.
    pub filler: Filler,
    /// Demands on the bars.
    pub demands: Vec<Demand>,
    /// Highest price of a kilogram.
    pub max_price: Option<f64>,
    /// Ingredients without a price, where others have one: price is not weighed.
    pub without_price: Option<String>,
}

/// Reads a space.
///
/// # Arguments
/// * `seed`: of the points that fill it.
///
/// # Errors
/// All its faults.
pub fn read(written: &WrittenSpace, library: &Library, seed: u64) -> Result<ReadSpace, Refusal> {
    let text: Arc<str> = Arc::from(written.text.as_str());
    let like = written.like.as_ref().map(bought::read);
    let found =
        SpaceText::read(&text, library).and_then(|space| understood(space, written, like.as_ref(), library, seed));
    let place = |error| Fault::from_diagnostic(error, &written.origin, &text);
    let (space, mut faults) = match found {
        Ok(space) => (Some(space), Vec::new()),
        Err(errors) => (None, errors.into_iter().map(place).collect()),
    };
    faults.extend(like.and_then(Result::err).into_iter().flat_map(|refusal| refusal.faults));
    space.filter(|_| faults.is_empty()).ok_or_else(|| Refusal::input(faults))
}

/// Returns the file that `like` names below the `[demands]` of a space, as written; `None` where there is none, or the space cannot be read.
///
/// # Arguments
/// * `text`: the space.
pub fn named_bar(text: &str, library: &Library) -> Option<String> {
    let space = SpaceText::read(text, library).ok()?;
    space.wishes.into_iter().find(|wish| wish.wish == Wish::Like).map(|wish| wish.text)
}

/// Resolves a space, or returns all its faults.
///
/// # Arguments
/// * `like`: the bar of unknown formula that it may name; what is wrong with it is told elsewhere.
fn understood(
    written: SpaceText,
    asked: &WrittenSpace,
    like: Option<&Result<Bought, Refusal>>,
    library: &Library,
    seed: u64,
) -> Result<ReadSpace, Diagnostics> {
    let mut errors = Vec::new();
    let (mut demands, mut max_price) = (Vec::new(), None);
    let mut refuse = |wish: &WishText, message: &str| {
        let message = format!("`{}`: {message}", wish.wish.word());
        errors.push(Diagnostic::error("bad-demand", message, wish.span.clone()));
    };
    for wish in &written.wishes {
        match demand::asked(wish) {
            Ok(Asked::Demands(asked)) => demands.extend(asked),
            Ok(Asked::Price(most)) => max_price = Some(most),
            Ok(Asked::Like(file)) => match like {
                Some(bar) => demands.extend(bar.iter().flat_map(|bar| bar.demands(EVEN_CHANCE))),
                None => refuse(wish, &format!("the tests of the bar in `{file}` are not there")),
            },
            Err(message) => refuse(wish, &message),
        }
    }
    let mut space = Space {
        ingredients: written.ingredients.iter().map(|one| one.ingredient).collect(),
        min_percent: written.ingredients.iter().map(|one| one.least).collect(),
        max_percent: written.ingredients.iter().map(|one| one.most).collect(),
        groups: (written.totals.iter())
            .map(|total| Group {
                name: total.name.clone(),
                members: total.members.clone(),
                min_percent: total.least,
                max_percent: total.most,
            })
            .collect(),
        price: None,
    };
    let stated = |id: IngredientId| {
        let here = written.prices.iter().find(|(one, _)| *one == id).map(|(_, price)| *price);
        here.or_else(|| library.get(id).and_then(|one| one.price_per_kg))
    };
    let prices: Vec<Option<f64>> = space.ingredients.iter().map(|&id| stated(id)).collect();
    let without: Vec<String> = (space.ingredients.iter().zip(&prices))
        .filter(|(_, price)| price.is_none())
        .filter_map(|(&id, _)| library.get(id))
        .map(|one| format!("`{}`", one.key))
        .collect();
    let mut without_price = None;
    if without.is_empty() {
        space.price = Some(prices.into_iter().flatten().collect());
    } else {
        let missing = list(&without, "and");
        let needed = written
            .prices_span
            .clone()
            .or_else(|| written.wishes.iter().find(|wish| wish.wish == Wish::MaxPrice).map(|wish| wish.span.clone()));
        match needed {
            Some(span) => errors.push(
                Diagnostic::error("no-price", format!("there is no price of {missing}"), span)
                    .hint("Write a line for each below `[prices]`, or `price_per_kg` into its lot."),
            ),
            None => without_price = prices.iter().any(Option::is_some).then_some(missing),
        }
    }
    match Filler::new(&space, seed) {
        Ok(filler) if errors.is_empty() => Ok(ReadSpace {
            name: written.name.unwrap_or_else(|| asked.name.clone()),
            note: written.note,
            filler,
            demands,
            max_price,
            without_price,
        }),
        checked => {
            errors.extend(checked.err().map(|error| placed(error, &written)));
            errors.sort_by_key(|error| error.span.start);
            Err(errors.into())
        }
    }
}

/// Places what is wrong with a space as a whole.
fn placed(error: SpaceError, written: &SpaceText) -> Diagnostic {
    let named = |name: &str| written.totals.iter().find(|total| total.name == name).map(|total| total.span.clone());
    let span = match &error {
        SpaceError::GroupOver { group, .. } | SpaceError::GroupUnder { group, .. } => named(group),
        SpaceError::Crossing { groups } => groups.first().and_then(|group| named(group)),
        _ => None,
    };
    let hint = match &error {
        SpaceError::LeastOverWhole { .. } => "Lower the least amounts, so that they leave room for each other.",
        SpaceError::MostUnderWhole { .. } => {
            "Raise the most amounts, or add an ingredient that may fill the rest, such as an oil."
        }
        SpaceError::GroupOver { .. } => "Raise the most of this total, or lower the least of what is in it.",
        SpaceError::GroupUnder { .. } => "Lower the least of this total, or raise the most of what is in it.",
        _ => "Loosen one of these ranges.",
    };
    Diagnostic::error("no-room", error.to_string(), span.unwrap_or_else(|| written.span.clone())).hint(hint)
}
