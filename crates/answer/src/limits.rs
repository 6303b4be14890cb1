//! What may change of a formula, read from names as a maker writes them.

use barwright_reference::range::parse_range;
use barwright_reference::{Formula, IngredientId, IngredientKind, Library};
use barwright_reformulate::Limits;
use barwright_reformulate::limits::{PriceLimit, is_base};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::engine::find;
use crate::refusal::{Fault, Refusal};
use crate::words::names::{list, name};

/// What may change of a formula. A name is an ingredient, or a kind: `waxes`, `butters`, `oils`, `esters`, `hydrocarbons`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct NamedLimits {
    /// Ingredients that are not in the formula yet and may be used.
    pub shelf: Vec<Shelved>,
    /// What stays as it is.
    pub keep: Vec<String>,
    /// What may rise, beside the shelf; everything else may only fall. Empty: anything.
    pub raise: Vec<String>,
    /// What may fall; everything else may only rise. Empty: anything.
    pub lower: Vec<String>,
    /// `NAME=LOW..HIGH` in % of the bar, either end open.
    pub bounds: Vec<String>,
    /// Highest price of a kilogram, in the money of the lots' prices.
    pub max_price: Option<f64>,
}

/// An ingredient on the shelf.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shelved {
    /// Any of its names.
    pub name: String,
    /// Where it is written, for messages.
    pub written_at: String,
}

/// Names, read.
pub(crate) struct Reading {
    /// The ingredients of the formula, each once and in its order, then those of the shelf.
    pub ingredients: Vec<IngredientId>,
    /// What may change of each.
    pub limits: Limits,
    /// Ingredients of the formula that stay although nobody asked for it: a bar is not built of them.
    pub kept: Vec<IngredientId>,
}

/// Bounds of some ingredients, each end as far as it is given, mass %.
struct Bound {
    places: Vec<usize>,
    min_percent: Option<f64>,
    max_percent: Option<f64>,
}

/// Reads what may change of a formula. What is no base of a bar ([`is_base`]) stays unless it is named behind an option; a kind names all that is of it.
///
/// # Errors
/// All faults of the names, the bounds and the prices.
pub(crate) fn read(library: &Library, formula: &Formula, asked: &NamedLimits) -> Result<Reading, Refusal> {
    let mut faults = Vec::new();
    let mut ingredients: Vec<IngredientId> = Vec::new();
    for part in &formula.parts {
        if !ingredients.contains(&part.ingredient) {
            ingredients.push(part.ingredient);
        }
    }
    let in_formula = ingredients.len();
    for one in &asked.shelf {
        match find(library, &one.name, &one.written_at) {
            Ok(found) if ingredients.contains(&found) => {}
            Ok(found) => ingredients.push(found),
            Err(fault) => faults.push(*fault),
        }
    }
    let names = Names { library, ingredients: &ingredients };
    let mut all = |written: &[String], option: &str| -> Vec<usize> {
        let mut places = Vec::new();
        for name in written {
            match names.places(name, option) {
                Ok(found) => places.extend(found),
                Err(fault) => faults.push(*fault),
            }
        }
        places
    };
    let (raise, lower) = (all(&asked.raise, "--raise"), all(&asked.lower, "--lower"));
    let keep = all(&asked.keep, "--keep");
    let mut limits = Limits::free(ingredients.len());
    let mut kept = Vec::new();
    for (at, &ingredient) in ingredients.iter().enumerate() {
        let parts = formula.parts.iter().filter(|part| part.ingredient == ingredient);
        let now: f64 = parts.map(|part| part.percent).sum();
        // What comes from the shelf is there to be raised.
        let may_rise = asked.raise.is_empty() || raise.contains(&at) || at >= in_formula;
        let may_fall = asked.lower.is_empty() || lower.contains(&at);
        let named = [&keep, &raise, &lower].iter().any(|places| places.contains(&at));
        if at < in_formula && !named && !library.get(ingredient).is_some_and(is_base) {
            kept.push(ingredient);
            (limits.min_percent[at], limits.max_percent[at]) = (now, now);
            continue;
        }
        if keep.contains(&at) || !may_rise || lower.contains(&at) {
            limits.max_percent[at] = now;
        }
        if keep.contains(&at) || !may_fall || raise.contains(&at) {
            limits.min_percent[at] = now;
        }
    }
    for text in &asked.bounds {
        match names.bound(text) {
            // A bound may ask for a change by itself, whatever may rise or fall.
            Ok(Bound { places, min_percent, max_percent }) => places.into_iter().for_each(|at| {
                kept.retain(|&one| one != ingredients[at]);
                limits.min_percent[at] = min_percent.unwrap_or(limits.min_percent[at]);
                limits.max_percent[at] = max_percent.unwrap_or(limits.max_percent[at]);
            }),
            Err(fault) => faults.push(*fault),
        }
    }
    if let Some(most) = asked.max_price {
        match names.prices("--max-price") {
            Ok(prices) => limits.price = Some(PriceLimit { per_kg: prices, max_per_kg: most }),
            Err(fault) => faults.push(*fault),
        }
    }
    if faults.is_empty() { Ok(Reading { ingredients, limits, kept }) } else { Err(Refusal::input(faults)) }
}

/// Prices of a kilogram of each ingredient, in the money of the lots.
///
/// # Errors
/// Some have none.
pub(crate) fn prices(library: &Library, ingredients: &[IngredientId], option: &str) -> Result<Vec<f64>, Refusal> {
    Names { library, ingredients }.prices(option).map_err(|fault| Refusal::input(vec![*fault]))
}

/// What names may mean: the ingredients of a formula and of the shelf.
struct Names<'a> {
    library: &'a Library,
    ingredients: &'a [IngredientId],
}

impl Names<'_> {
    /// Positions among the ingredients of what a name or a kind means.
    fn places(&self, written: &str, option: &str) -> Result<Vec<usize>, Box<Fault>> {
        let kind = IngredientKind::called(written);
        let index = if kind.is_none() { Some(find(self.library, written, option)?) } else { None };
        let belongs = |ingredient: IngredientId| match kind {
            Some(kind) => self.library.get(ingredient).is_some_and(|one| one.kind == kind),
            None => Some(ingredient) == index,
        };
        let places = self.ingredients.iter().enumerate().filter(|(_, one)| belongs(**one));
        let places: Vec<usize> = places.map(|(at, _)| at).collect();
        if !places.is_empty() {
            return Ok(places);
        }
        let what = if kind.is_some() { name(written) } else { format!("`{}`", name(written)) };
        Err(Box::new(
            Fault::new("not-in-formula", format!("{option}: there is no {what} in the formula"))
                .hint("Name an ingredient of the formula, or one that `--add` or `--shelf` allows."),
        ))
    }

    /// Reads `NAME=LOW..HIGH`, either end open.
    fn bound(&self, text: &str) -> Result<Bound, Box<Fault>> {
        let wrong = |what: String| {
            Box::new(Fault::new("bad-bound", format!("--bound: {what}")).hint(
                "Write a name, `=`, and amounts in % of the bar: `beeswax=15..25`, `beeswax=..25`, `beeswax=20..`, `beeswax=20`.",
            ))
        };
        let (written, range) = text.split_once('=').ok_or_else(|| wrong(format!("`{}` has no `=`", name(text))))?;
        let (min_percent, max_percent) = parse_range(range).map_err(wrong)?;
        Ok(Bound { places: self.places(written.trim(), "--bound")?, min_percent, max_percent })
    }

    /// Prices of a kilogram of each ingredient.
    ///
    /// # Arguments
    /// * `option`: what asks for them.
    fn prices(&self, option: &str) -> Result<Vec<f64>, Box<Fault>> {
        let known = || self.ingredients.iter().filter_map(|&index| self.library.get(index));
        let without: Vec<String> =
            known().filter(|one| one.price_per_kg.is_none()).map(|one| format!("`{}`", one.key)).collect();
        if without.is_empty() {
            return Ok(known().filter_map(|one| one.price_per_kg).collect());
        }
        Err(Box::new(
            Fault::new("no-price", format!("{option}: there is no price of {}", list(&without, "and"))).hint(
                "Prices come from your lots: write `price_per_kg` into a file of lots, name it behind `--lots`, and use the lots in the formula.",
            ),
        ))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use barwright_reference::formula::read_inline;

    use super::*;

    fn names(all: &[&str]) -> Vec<String> {
        all.iter().map(|one| (*one).to_owned()).collect()
    }

    /// What may change of 30 % beeswax, 20 % shea butter and 50 % olive oil: from and to, mass %.
    fn limits(asked: &NamedLimits) -> Result<Vec<(f64, f64)>, Vec<&'static str>> {
        let library = Library::builtin().unwrap();
        let formula =
            read_inline("beeswax 30, shea butter 20, olive oil 50", "bar", &library).unwrap().formulas.remove(0);
        match read(&library, &formula, asked) {
            Ok(Reading { limits, .. }) => Ok(limits.min_percent.into_iter().zip(limits.max_percent).collect()),
            Err(refusal) => Err(refusal.faults.iter().map(|fault| fault.code).collect()),
        }
    }

    #[test]
    fn names_and_kinds_say_what_may_change() {
        let usual = NamedLimits::default();
        assert_eq!(limits(&usual), Ok(vec![(0.0, 100.0); 3]));
        let keep = NamedLimits { keep: names(&["shea butter"]), ..usual.clone() };
        assert_eq!(limits(&keep), Ok(vec![(0.0, 100.0), (20.0, 20.0), (0.0, 100.0)]));
        let raise = NamedLimits { raise: names(&["waxes"]), ..usual.clone() };
        assert_eq!(limits(&raise), Ok(vec![(30.0, 100.0), (0.0, 20.0), (0.0, 50.0)]));
        let lower = NamedLimits { lower: names(&["oils"]), ..usual.clone() };
        assert_eq!(limits(&lower), Ok(vec![(30.0, 100.0), (20.0, 100.0), (0.0, 50.0)]));
        let bounds = names(&["beeswax=10..20", "olive oil=60.."]);
        let bounds = NamedLimits { bounds, ..raise };
        assert_eq!(limits(&bounds), Ok(vec![(10.0, 20.0), (0.0, 20.0), (60.0, 50.0)]), "a bound comes last");
    }

    #[test]
    fn the_shelf_is_there_to_be_raised() {
        let shelf = ["candelilla wax", "beeswax"]
            .map(|name| Shelved { name: name.to_owned(), written_at: "shelf.txt:1".to_owned() })
            .to_vec();
        let asked = NamedLimits { shelf, raise: names(&["beeswax"]), ..NamedLimits::default() };
        assert_eq!(limits(&asked), Ok(vec![(30.0, 100.0), (0.0, 20.0), (0.0, 50.0), (0.0, 100.0)]));
    }

    /// Scent, powder and vitamin E stay unless they are named, by themselves or by their kind.
    #[test]
    fn what_is_no_base_of_a_bar_stays_unless_it_is_named() {
        let library = Library::builtin().unwrap();
        let text = "beeswax 30, olive oil 55, lavender oil 2, kaolin 12, vitamin e 1";
        let formula = read_inline(text, "bar", &library).unwrap().formulas.remove(0);
        let range = |asked: &NamedLimits| {
            let Reading { limits, kept, .. } = read(&library, &formula, asked).unwrap();
            let ranges: Vec<(f64, f64)> = limits.min_percent.into_iter().zip(limits.max_percent).collect();
            (ranges[2..].to_vec(), kept.len())
        };
        let usual = NamedLimits::default();
        assert_eq!(range(&usual), (vec![(2.0, 2.0), (12.0, 12.0), (1.0, 1.0)], 3));
        let raise = NamedLimits { raise: names(&["waxes"]), ..usual.clone() };
        assert_eq!(range(&raise), range(&usual));
        let lower = NamedLimits { lower: names(&["powders", "vitamin e"]), ..usual.clone() };
        assert_eq!(range(&lower), (vec![(2.0, 2.0), (0.0, 12.0), (0.0, 1.0)], 1));
        let bounds = NamedLimits { bounds: names(&["lavender oil=1..3"]), ..usual.clone() };
        assert_eq!(range(&bounds), (vec![(1.0, 3.0), (12.0, 12.0), (1.0, 1.0)], 2));
        let keep = NamedLimits { keep: names(&["scents"]), ..usual };
        assert_eq!(range(&keep), (vec![(2.0, 2.0), (12.0, 12.0), (1.0, 1.0)], 2), "asked for: no news");
    }

    #[test]
    fn everything_wrong_is_named_at_once() {
        let asked = NamedLimits {
            keep: names(&["esters", "no such wax"]),
            bounds: names(&["beeswax", "beeswax=3..2"]),
            max_price: Some(3.0),
            ..NamedLimits::default()
        };
        let codes = ["not-in-formula", "unknown-ingredient", "bad-bound", "bad-bound", "no-price"];
        assert_eq!(limits(&asked), Err(codes.to_vec()));
    }
}
