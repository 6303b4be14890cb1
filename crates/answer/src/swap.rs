//! Another ingredient in place of one that ran out: the best one first, what it cannot match, then the others.

use barwright_blend::cautions::plant_statement;
use barwright_blend::suitability::GrainRisk;
use barwright_blend::{Assessment, Options, Property};
use barwright_reference::{AnimalOrigin, Formula, Ingredient, IngredientId, Library, NutOrigin, Part};
use barwright_reformulate::swap::{Kept, Replacement, SwapError, SwapTask};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::adjust::{NO_CHANGE, before_and_after};
use crate::assess::{RULE_OF_THUMB, interval_words};
use crate::cautions;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::engine::{Engine, Recipe, find};
use crate::refusal::{Fault, Refusal};
use crate::words::names::{in_text, list, name, title};
use crate::words::number::{amount, fixed, significant};
use crate::words::units::Units;
use crate::words::visible::visible;

/// What can take the place of an ingredient, and how much of it?
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Swap {
    /// The bar.
    pub formula: Recipe,
    /// How it is computed.
    pub options: Options,
    /// The ingredient that goes.
    pub replace: String,
    /// What may take its place; empty: every other ingredient of its kind.
    pub with: Vec<String>,
    /// Whether to try nothing from animals. What may be from them, by the lot, is tried and named.
    pub vegan: bool,
    /// Whether to try nothing that is or may be from nuts.
    pub nut_free: bool,
    /// Amounts that change are multiples of this, % of the bar; none: any amount.
    pub step_percent: Option<f64>,
    /// Replacements told, at most.
    pub max_told: usize,
    /// Units of the words.
    pub units: Units,
}

impl Default for Swap {
    fn default() -> Self {
        Swap {
            formula: Recipe::default(),
            options: Options::default(),
            replace: String::new(),
            with: Vec::new(),
            vegan: false,
            nut_free: false,
            step_percent: Some(0.5),
            max_told: 8,
            units: Units::default(),
        }
    }
}

/// What can take the place of an ingredient.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Swapped {
    /// The bar as it was.
    pub before: Assessment,
    /// The bar with the best replacement.
    pub after: Assessment,
    /// The replacements, best first.
    pub replacements: Vec<Ranked>,
    /// Price of a kilogram of the bar as it was.
    pub price_per_kg: Option<f64>,
    /// The formula with each of them.
    #[serde(skip)]
    pub formulas: Vec<Formula>,
    /// What the filters leave in the bar with the best one.
    #[serde(skip)]
    pub notes: Vec<String>,
}

/// A replacement.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Ranked {
    /// Key of the ingredient that comes.
    pub ingredient: String,
    /// Mass % of what went.
    pub from_percent: f64,
    /// Mass % of what came for it.
    pub to_percent: f64,
    /// Distance from the bar as it was, in steps that a maker would notice: finer relief and more heat stood count half, less risk of grain nothing, 10 % of the
    /// bar by which the other parts become more or less one step,
    /// a higher word for the risk of grain one more, a glide that is lost two.
    pub distance: f64,
    /// Whether the bar glided on skin and does not any more.
    pub loses_glide: bool,
    /// Price of a kilogram of the bar with it.
    pub price_per_kg: Option<f64>,
    /// Whether so much of it comes that it makes a different bar: those are last.
    pub different_bar: bool,
    /// Whether what comes is from animals.
    pub animal_origin: AnimalOrigin,
    /// Every property.
    pub properties: Vec<Kept>,
}

/// What a bar is with far more of the replacement than went.
const DIFFERENT_BAR: &str = "a different bar";

/// Answers [`Swap`].
///
/// # Errors
/// A name is unknown, nothing is left to try, or the options are outside the model.
pub fn swap(engine: &Engine, asked: &Swap) -> Result<Answered<Swapped>, Refusal> {
    let library = &engine.library;
    let formula = engine.formula(&asked.formula)?;
    let mut faults = Vec::new();
    let mut found = |name: &str, option: &str| find(library, name, option).map_err(|fault| faults.push(*fault)).ok();
    let replaced = found(&asked.replace, "--replace");
    let candidates: Vec<IngredientId> = asked.with.iter().filter_map(|name| found(name, "--with")).collect();
    let (Some(replaced), true) = (replaced, faults.is_empty()) else {
        return Err(Refusal::input(faults));
    };
    let Swap { vegan, nut_free, step_percent, .. } = *asked;
    let task = SwapTask { replaced, candidates, vegan, nut_free, step_percent };
    let mut ranked = barwright_reformulate::swap::swap(library, &engine.model, &asked.options, &formula, &task)
        .map_err(|error| refused(error, &asked.replace))?;
    ranked.truncate(asked.max_told.max(1));
    let best = ranked.first().ok_or_else(|| Refusal::internal("a replacement was found and lost"))?;
    let bench = engine.bench(&asked.options)?;
    let (before, after) = (bench.assess(&formula)?, bench.assess(&best.formula)?);

    let view = View { ranked: &ranked, best, replaced, formula: &formula, library, asked };
    let mut document = Document::new(title(&formula, &engine.library), asked.options.state.word())
        .lead([Block::said(sentences(&view)), Block::Small(RULE_OF_THUMB.to_owned())])
        .section("Parts, % by mass", [Block::Table(parts(&view))]);
    document.sections.push(before_and_after(&before, &after, &asked.options, asked.units));
    document.sections.extend((ranked.len() > 1).then(|| nearest(&view)));
    document = document.ending([interval_words(&after)], cautions::section(&[&after], &[]));

    let notes = left(&view);
    let price_per_kg = price(&formula, library);
    let (formulas, replacements) = ranked.into_iter().map(|one| told(one, library)).unzip();
    let figures = Swapped { before, after, replacements, price_per_kg, formulas, notes };
    Ok(Answered { figures, document, picture: None })
}

/// The formula with a replacement, and its figures.
fn told(one: Replacement, library: &Library) -> (Formula, Ranked) {
    let known = library.get(one.ingredient);
    let ranked = Ranked {
        different_bar: one.is_different_bar(),
        ingredient: known.map_or_else(String::new, |known| known.key.clone()),
        from_percent: one.from_percent,
        to_percent: one.to_percent,
        distance: one.distance,
        loses_glide: one.loses_glide,
        price_per_kg: price(&one.formula, library),
        animal_origin: known.map_or(AnimalOrigin::Possible, |known| known.animal_origin),
        properties: one.properties,
    };
    (one.formula, ranked)
}

/// Price of a kilogram of a bar; none where one of its parts has no price.
fn price(formula: &Formula, library: &Library) -> Option<f64> {
    let part = |part: &Part| Some(0.01 * part.percent * library.get(part.ingredient)?.price_per_kg?);
    formula.parts.iter().map(part).sum()
}

/// Says why nothing was replaced.
fn refused(error: SwapError, written: &str) -> Refusal {
    let shown = name(written);
    match error {
        SwapError::Blend(error) => error.into(),
        SwapError::Limits(error) => Fault::new("step", error.to_string()).into(),
        SwapError::NotThere => {
            Fault::new("not-in-formula", format!("--replace: `{shown}` is not in the formula")).into()
        }
        SwapError::Itself => Fault::new("itself", format!("--with: `{shown}` cannot stand in for itself")).into(),
        error => Fault::new("no-candidates", error.to_string())
            .hint("Leave `--vegan` or `--nut-free` out, or name others behind `--with`.")
            .into(),
    }
}

/// What is put into words.
struct View<'a> {
    ranked: &'a [Replacement],
    best: &'a Replacement,
    replaced: IngredientId,
    formula: &'a Formula,
    library: &'a Library,
    asked: &'a Swap,
}

impl View<'_> {
    /// What an ingredient is called.
    fn called(&self, id: IngredientId) -> &str {
        self.library.common_name(id)
    }
}

/// The filters choose among what is tried; what else is in the formula is the maker's to know.
fn left(view: &View<'_>) -> Vec<String> {
    type Passes = fn(&Ingredient) -> bool;
    let filters: [(bool, &str, Passes); 2] = [
        (view.asked.vegan, "--vegan", |one| one.animal_origin != AnimalOrigin::Yes),
        (view.asked.nut_free, "--nut-free", |one| one.nut_origin == NutOrigin::No),
    ];
    let said = |(_, option, passes): (bool, &str, Passes)| {
        let parts = view.best.formula.parts.iter().filter_map(|part| view.library.get(part.ingredient));
        let left: Vec<String> = parts.filter(|one| !passes(one)).map(|one| format!("`{}`", one.key)).collect();
        let what = list(&left, "and");
        (!left.is_empty()).then(|| format!("`{option}` chooses the replacement only; the formula still holds {what}"))
    };
    filters.into_iter().filter(|(asked, ..)| *asked).filter_map(said).collect()
}

/// The amounts before and after, in the order of the formula.
fn parts(view: &View<'_>) -> Table {
    let mut order: Vec<IngredientId> = Vec::new();
    for part in view.formula.parts.iter().chain(&view.best.formula.parts) {
        if !order.contains(&part.ingredient) {
            order.push(part.ingredient);
        }
    }
    let shown = |formula: &Formula, id: IngredientId| {
        let parts = formula.parts.iter().filter(|part| part.ingredient == id);
        let percent: f64 = parts.map(|part| part.percent).sum();
        if percent > 0.0 { amount(percent) } else { "–".to_owned() }
    };
    Table::new("").columns(Kind::Words, ["ingredient"]).columns(Kind::Number, ["before", "after"]).rows(
        order.into_iter().map(|id| [visible(view.called(id)), shown(view.formula, id), shown(&view.best.formula, id)]),
    )
}

/// All replacements, best first.
fn nearest(view: &View<'_>) -> Section {
    let costs: Vec<Option<f64>> = view.ranked.iter().map(|one| price(&one.formula, view.library)).collect();
    let priced = costs.iter().any(Option::is_some);
    let mut table = Table::new("")
        .columns(Kind::Figure, ["in its place"])
        .columns(Kind::Number, ["%", "times the mass", "off by, steps"])
        .columns(Kind::Number, priced.then_some("per kg"))
        .columns(Kind::Words, ["what it cannot match"]);
    for (one, cost) in view.ranked.iter().zip(costs) {
        let missed = one.properties.iter().filter(|one| !one.matched).map(brief);
        let missed: Vec<String> = missed.chain(one.loses_glide.then(|| "no longer glides".to_owned())).collect();
        let missed = list(&missed, "and");
        let missed = match (one.is_different_bar(), missed.as_str()) {
            (false, _) => missed,
            (true, "") => DIFFERENT_BAR.to_owned(),
            (true, _) => format!("{DIFFERENT_BAR}: {missed}"),
        };
        let cells = [
            visible(view.called(one.ingredient)),
            amount(one.to_percent),
            significant(one.mass_ratio(), 2),
            significant(one.distance, 2),
        ];
        let cost = priced.then(|| cost.map_or_else(|| "–".to_owned(), |cost| fixed(cost, 2)));
        table.row(cells.into_iter().chain(cost).chain([missed]));
    }
    let steps = "A step is what a maker would notice: firmness or relief by 1.3 times, 2 °C, 5 % melted, 0.15 of the grain index, 10 % of the bar in how much there \
        is of the other parts. Finer relief and more warmth count half.";
    Section::new("The nearest, best first", [Block::Table(table), Block::Small(steps.to_owned())])
}

/// The plain answer: how much of what, and what it cannot match.
fn sentences(view: &View<'_>) -> Vec<String> {
    let best = view.best;
    let missed: Vec<String> =
        best.properties.iter().filter(|one| !one.matched).map(|one| unmatched(one, view.asked.units)).collect();
    let matched = if !missed.is_empty() {
        format!("It cannot match everything: {}.", list(&missed, "and"))
    } else if best.loses_glide {
        "Firmness, relief, warmth, melting and grain stay within a step.".to_owned()
    } else {
        "Nobody should notice: firmness, relief, warmth, skin feel and grain stay within a step.".to_owned()
    };
    let mut said = vec![format!(
        "In place of {} % {}, take {} % {}: {} times the mass.",
        amount(best.from_percent),
        in_text(view.called(view.replaced)),
        amount(best.to_percent),
        in_text(view.called(best.ingredient)),
        significant(best.mass_ratio(), 2)
    )];
    said.extend(others(view));
    said.push(if best.is_different_bar() { format!("That is {DIFFERENT_BAR}. {matched}") } else { matched });
    said.extend(best.loses_glide.then(|| "It no longer glides on skin as the bar did.".to_owned()));
    if let (Some(before), Some(after)) = (price(view.formula, view.library), price(&best.formula, view.library)) {
        said.push(format!("A kilogram of the bar costs {} (was {}).", fixed(after, 2), fixed(before, 2)));
    }
    said.push("Colour, scent and gloss are not considered.".to_owned());
    said.extend(possibly_animal(view));
    said
}

/// What becomes more or less of the other parts, where the replacement takes another mass than what went.
fn others(view: &View<'_>) -> Option<String> {
    let Replacement { ingredient, formula, .. } = view.best;
    let percent = |formula: &Formula, id: IngredientId| {
        formula.parts.iter().filter(|part| part.ingredient == id).map(|part| part.percent).sum::<f64>()
    };
    let mut names: Vec<IngredientId> = Vec::new();
    for id in view.formula.parts.iter().map(|part| part.ingredient) {
        if id != view.replaced && id != *ingredient && !names.contains(&id) {
            names.push(id);
        }
    }
    let changes = names.into_iter().filter_map(|id| {
        let (before, after) = (percent(view.formula, id), percent(formula, id));
        let told = format!("{} ({} to {} %)", in_text(view.called(id)), amount(before), amount(after));
        ((after - before).abs() >= NO_CHANGE).then_some(told)
    });
    let changes = list(&changes.collect::<Vec<_>>(), "and");
    let more = view.best.to_percent - view.best.from_percent;
    (!changes.is_empty()).then(|| {
        let mass = amount(more.abs());
        if more > 0.0 {
            format!("The extra {mass} % comes out of {changes}.")
        } else {
            format!("The {mass} % left over is made up with {changes}.")
        }
    })
}

/// Asked for nothing from animals: what of all that is offered may be from them.
fn possibly_animal(view: &View<'_>) -> Option<String> {
    let parts = view.best.formula.parts.iter().map(|part| part.ingredient);
    let mut names: Vec<String> = Vec::new();
    for index in parts.chain(view.ranked.iter().map(|one| one.ingredient)) {
        let Some(one) = view.library.get(index) else { continue };
        let named = in_text(&one.common_name);
        if one.animal_origin == AnimalOrigin::Possible && !names.contains(&named) {
            names.push(named);
        }
    }
    (view.asked.vegan && !names.is_empty()).then(|| plant_statement(&list(&names, "and")))
}

/// What a property is called.
fn called(property: Property) -> &'static str {
    match property {
        Property::YieldStress { at_c: 20.0 } => "firmness in a cool room",
        Property::YieldStress { .. } => "firmness in a warm room",
        Property::FinestFeature => "relief",
        Property::Hold => "warmth",
        Property::GrainRisk => "risk of grain",
        _ => "the share melted on skin",
    }
}

/// `firmness in a warm room (1.8 times)`.
fn unmatched(one: &Kept, units: Units) -> String {
    let how = match one.property {
        Property::Hold => {
            format!("{} to {}", units.given_degrees(one.before.round()), units.given_degrees(one.after.round()))
        }
        Property::SkinMelted => format!("{:.0} to {:.0} %", one.before, one.after),
        Property::GrainRisk => {
            let [before, after] = [one.before, one.after].map(|index| GrainRisk::from_index(index).word());
            if before == after { format!("{after}, but more than it was") } else { format!("{before} to {after}") }
        }
        _ => format!("{} times", significant(one.after / one.before, 2)),
    };
    format!("{} ({how})", called(one.property))
}

/// `softer in a warm room`.
fn brief(one: &Kept) -> String {
    let (less, more) = match one.property {
        Property::YieldStress { at_c: 20.0 } => ("softer in a cool room", "firmer in a cool room"),
        Property::YieldStress { .. } => ("softer in a warm room", "firmer in a warm room"),
        Property::FinestFeature => ("finer relief", "coarser relief"),
        Property::Hold => ("stands less heat", "stands more heat"),
        Property::GrainRisk => ("less risk of grain", "more risk of grain"),
        _ => ("melts less on skin", "melts more on skin"),
    };
    if one.steps > 0.0 { more } else { less }.to_owned()
}
