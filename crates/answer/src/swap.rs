//! Another ingredient in place of one that ran out: the best one first, what it cannot match, then the others.

use barwright_blend::cautions::plant_statement;
use barwright_blend::{Assessment, Options, Property};
use barwright_reference::{AnimalOrigin, Formula, Ingredient, IngredientId, Library, NutOrigin};
use barwright_reformulate::swap::{Kept, Replacement, SwapError, SwapTask};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::adjust::before_and_after;
use crate::assess::{RULE_OF_THUMB, interval_words};
use crate::cautions;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::engine::{Engine, Recipe, find};
use crate::refusal::{Fault, Refusal};
use crate::words::names::{in_text, list, name, title};
use crate::words::number::{amount, significant};
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
    /// The amount is a multiple of this, % of the bar; none: any amount.
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
    /// Distance from the bar as it was, in steps that a maker would notice.
    pub distance: f64,
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
    let (formulas, replacements) = ranked.into_iter().map(|one| told(one, library)).unzip();
    Ok(Answered { figures: Swapped { before, after, replacements, formulas, notes }, document, picture: None })
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
        animal_origin: known.map_or(AnimalOrigin::Possible, |known| known.animal_origin),
        properties: one.properties,
    };
    (one.formula, ranked)
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
    let table = Table::new("")
        .columns(Kind::Figure, ["in its place"])
        .columns(Kind::Number, ["%", "times the mass", "off by, steps"])
        .columns(Kind::Words, ["what it cannot match"])
        .rows(view.ranked.iter().map(|one| {
            let missed: Vec<String> = one.properties.iter().filter(|one| !one.matched).map(brief).collect();
            let missed = list(&missed, "and");
            let missed = match (one.is_different_bar(), missed.as_str()) {
                (false, _) => missed,
                (true, "") => DIFFERENT_BAR.to_owned(),
                (true, _) => format!("{DIFFERENT_BAR}: {missed}"),
            };
            [
                visible(view.called(one.ingredient)),
                amount(one.to_percent),
                significant(one.mass_ratio(), 2),
                significant(one.distance, 2),
                missed,
            ]
        }));
    let steps = "A step is what a maker would notice: firmness or relief by 1.3 times, 2 °C, 5 % melted.";
    Section::new("The nearest, best first", [Block::Table(table), Block::Small(steps.to_owned())])
}

/// The plain answer: how much of what, and what it cannot match.
fn sentences(view: &View<'_>) -> Vec<String> {
    let best = view.best;
    let missed: Vec<String> =
        best.properties.iter().filter(|one| !one.matched).map(|one| unmatched(one, view.asked.units)).collect();
    let matched = if missed.is_empty() {
        "Nobody should notice: firmness, relief, warmth and skin feel stay within a step.".to_owned()
    } else {
        format!("It cannot match everything: {}.", list(&missed, "and"))
    };
    let mut said = vec![
        format!(
            "In place of {} % {}, take {} % {}: {} times the mass.",
            amount(best.from_percent),
            in_text(view.called(view.replaced)),
            amount(best.to_percent),
            in_text(view.called(best.ingredient)),
            significant(best.mass_ratio(), 2)
        ),
        if best.is_different_bar() { format!("That is {DIFFERENT_BAR}. {matched}") } else { matched },
        "Colour, scent and gloss are not considered.".to_owned(),
    ];
    said.extend(possibly_animal(view));
    said
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
        _ => ("melts less on skin", "melts more on skin"),
    };
    if one.steps > 0.0 { more } else { less }.to_owned()
}
