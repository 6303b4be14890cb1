//! The smallest change of a formula that meets every target: for an even chance and as surely as asked for, what each brings, then before and after side by side.

use barwright_blend::{Assessment, Options};
use barwright_reference::{Formula, IngredientId, Library};
use barwright_reformulate::Demand;
use barwright_reformulate::adjust::{AdjustError, Adjustment, Conflict, Least, Met, Task};
use barwright_reformulate::limits::{
    LimitError, MIN_PART_PERCENT, PriceLimit, STEP_PERCENT, is_base, is_crumb, price_per_kg,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::assess::{RULE_OF_THUMB, bar_word, interval_words};
use crate::bought::{self, WrittenBar};
use crate::cautions;
use crate::demand;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::engine::{Engine, Recipe};
use crate::limits::{self, NamedLimits, Reading};
use crate::refusal::{Fault, Refusal};
use crate::words::names::{capital, in_text, list, title};
use crate::words::number::{amount, beside, fixed, in_hundred, interval, significant, trimmed, whole};
use crate::words::units::Units;
use crate::words::visible::visible;

/// Changes below this are none, mass %.
pub(crate) const NO_CHANGE: f64 = 5e-4;

/// Confidence of an even chance, told before a surer answer, and all that is asked of being as firm as a bought bar.
const EVEN: f64 = barwright_reformulate::demand::EVEN_CHANCE;

/// Confidence of a demand, unless another is asked for.
const USUAL_CONFIDENCE: f64 = 0.9;

/// Additions are whole grams to a pot of this much or more, g, and tenths of a gram to a smaller one.
const WHOLE_GRAMS_FROM_G: f64 = 200.0;

/// What is the smallest change of a formula that meets every target?
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Adjust {
    /// The bar.
    pub formula: Recipe,
    /// How it is computed; where relief or warmth is demanded, that of the demand is taken.
    pub options: Options,
    /// What the bar must do.
    pub demands: Vec<Demand>,
    /// A bar of unknown formula that it must be as firm as, wherever that was tested.
    pub like: Option<WrittenBar>,
    /// Probability that each demand must be met with, 0 to 1; none: 0.9, and an even chance of being as firm as a bar of unknown formula.
    pub confidence: Option<f64>,
    /// What may change.
    pub limits: NamedLimits,
    /// Which change is the best.
    pub aim: ChangeAim,
    /// Amounts change in whole steps of this size, % of the bar; none: any amount.
    pub step_percent: Option<f64>,
    /// Mass of the bar that is poured already, kg: nothing can be taken out of it, and the least is added. None: the formula is still on paper.
    pub poured_kg: Option<f64>,
    /// Units of the words.
    pub units: Units,
}

/// Which of the changes that meet every target is the best.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ChangeAim {
    /// The one that moves the least mass.
    #[default]
    Smallest,
    /// The one that makes the cheapest bar.
    Cheapest,
}

impl Default for Adjust {
    fn default() -> Self {
        Adjust {
            formula: Recipe::default(),
            options: Options::default(),
            demands: Vec::new(),
            like: None,
            confidence: None,
            limits: NamedLimits::default(),
            aim: ChangeAim::Smallest,
            step_percent: Some(0.5),
            poured_kg: None,
            units: Units::default(),
        }
    }
}

/// The smallest change, and what it brings.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Adjusted {
    /// The bar as it was.
    pub before: Assessment,
    /// The bar changed for the confidence asked for, as all that follows but `even`.
    pub after: Assessment,
    /// The smaller change, for an even chance; none where no more was asked for, nothing needs to change, or there is none either.
    pub even: Option<Even>,
    /// Every amount that changes.
    pub changes: Vec<Change>,
    /// What to add to the pot that is poured already; nowhere else.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub added: Vec<Added>,
    /// Whether every demand is met within the limits; where not, the changed bar is the nearest to it.
    pub feasible: bool,
    /// Probability that each demand had to be met with.
    pub confidence: f64,
    /// Mass moved, % of the bar.
    pub mass_moved_percent: f64,
    /// Whether the amounts are in whole steps.
    pub in_steps: bool,
    /// How each demand came out.
    pub limits: Vec<Met>,
    /// Demands that can each be met, but not both.
    pub conflicts: Vec<Conflict>,
    /// How much more it costs than it may, relative; 0 where it does not.
    pub over_price: f64,
    /// The changed formula.
    #[serde(skip)]
    pub formula: Formula,
}

/// The change that meets every demand with an even chance.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Even {
    /// The bar changed by it.
    pub after: Assessment,
    /// Every amount that changes.
    pub changes: Vec<Change>,
    /// What to add to the pot that is poured already; nowhere else.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub added: Vec<Added>,
    /// Probability that each demand had to be met with.
    pub confidence: f64,
    /// Mass moved, % of the bar.
    pub mass_moved_percent: f64,
    /// Whether the amounts are in whole steps.
    pub in_steps: bool,
    /// How each demand came out.
    pub limits: Vec<Met>,
}

/// An addition to a pot.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Added {
    /// Key of the ingredient.
    pub ingredient: String,
    /// Mass, g.
    pub mass_g: f64,
}

/// A change: of the shares of a formula, or by what is added to a pot.
struct Solved {
    adjustment: Adjustment,
    /// Mass added of each ingredient, g; none where a formula is changed.
    added_g: Vec<f64>,
}

/// One ingredient before and after.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Change {
    /// Key of the ingredient.
    pub ingredient: String,
    /// Mass % before.
    pub from_percent: f64,
    /// Mass % after.
    pub to_percent: f64,
}

/// Answers [`Adjust`].
///
/// # Errors
/// Nothing is demanded, a name is unknown, no formula fits the limits, or the options are outside the model.
pub fn adjust(engine: &Engine, asked: &Adjust) -> Result<Answered<Adjusted>, Refusal> {
    let like = asked.like.as_ref().map(bought::read).transpose()?;
    let demands_with = |likeness: f64| -> Vec<Demand> {
        asked.demands.iter().copied().chain(like.iter().flat_map(|bar| bar.demands(likeness))).collect()
    };
    let demands = demands_with(asked.confidence.unwrap_or(EVEN));
    if demands.is_empty() && asked.limits.max_price.is_none() {
        return Err(demand::none().into());
    }
    let poured_g = asked.poured_kg.map(|mass| 1000.0 * mass);
    if poured_g.is_some_and(|mass| !(mass.is_finite() && mass > 0.0)) {
        return Err(Fault::new("poured", "the mass that is poured is not above 0").into());
    }
    if poured_g.is_some() && !(asked.limits.lower.is_empty() && asked.limits.bounds.is_empty()) {
        let fault = Fault::new("poured", "`--lower` and `--bound` say nothing of a pot that is poured already");
        return Err(fault
            .hint("Nothing can be taken out of it; `--raise` and `--keep` choose what may be added.")
            .into());
    }
    let library = &engine.library;
    let formula = engine.formula(&asked.formula)?;
    let Reading { ingredients, limits, kept } = limits::read(library, &formula, &asked.limits)?;
    let options = demand::options(&asked.options, &asked.demands);
    let usual = if like.is_some() && asked.demands.is_empty() { EVEN } else { USUAL_CONFIDENCE };
    if poured_g.is_some() && asked.aim != ChangeAim::Smallest {
        let fault = Fault::new("poured", "`--aim cheapest` says nothing of a pot that is poured already");
        return Err(fault.hint("The least is added, and what that costs is said where prices are known.").into());
    }
    let least = match asked.aim {
        ChangeAim::Smallest => Least::Moved,
        ChangeAim::Cheapest => Least::Price { per_kg: limits::prices(library, &ingredients, "--aim cheapest")? },
    };
    let task = Task {
        least,
        demands,
        confidence: asked.confidence.unwrap_or(usual),
        ingredients,
        limits,
        step_percent: poured_g.map_or(asked.step_percent, |mass| Some(step_of_pot(mass))),
    };
    let solve = |task: &Task| -> Result<Solved, Refusal> {
        let model = &engine.model;
        let solved = match poured_g {
            Some(mass) => barwright_reformulate::rescue(library, model, &options, &formula, task).map(|found| Solved {
                added_g: found.added_percent.iter().map(|percent| mass * percent / 100.0).collect(),
                adjustment: found.adjustment,
            }),
            None => barwright_reformulate::adjust(library, model, &options, &formula, task)
                .map(|adjustment| Solved { adjustment, added_g: Vec::new() }),
        };
        solved.map_err(|error| refused(error, library, &task.ingredients))
    };
    let solved = solve(&task)?;
    let found = &solved.adjustment;
    let unchanged = found.feasible && found.mass_moved <= 0.0;
    let even = if task.confidence > EVEN && !unchanged && !task.demands.is_empty() {
        Some(solve(&Task { confidence: EVEN, demands: demands_with(EVEN), ..task.clone() })?)
            .filter(|even| even.adjustment.feasible)
    } else {
        None
    };
    let bench = engine.bench(&options)?;
    let (before, after) = (bench.assess(&formula)?, bench.assess(&found.formula)?);
    let even_after = even.as_ref().map(|even| bench.assess(&even.adjustment.formula)).transpose()?;

    let moves = |even: &&Solved| even.adjustment.mass_moved >= NO_CHANGE;
    let view = View {
        solved: &solved,
        poured_g,
        // Where both are one change, it is told once.
        even: even.as_ref().filter(moves).filter(|even| even.adjustment.after != found.after),
        has_even_chance: even.as_ref().is_some_and(|even| !moves(&even)),
        task: &task,
        kept: &kept,
        library,
        units: asked.units,
    };
    let mut document = Document::new(title(&formula, &engine.library), options.state.word())
        .lead([Block::said(sentences(&view)), Block::Small(RULE_OF_THUMB.to_owned())])
        .section("Parts, % by mass", [Block::Table(parts(&view))]);
    let shown = even_after.as_ref().filter(|_| view.even.is_some());
    let bars: Vec<&Assessment> = std::iter::once(&before).chain(shown).chain([&after]).collect();
    let columns = columns(&view);
    document.sections.push(side_by_side(&columns, &bars, &options, asked.units));
    document = document.ending([interval_words(&after)], cautions::section(&bars[1..], &columns[1..]));

    let even = even.zip(even_after).map(|(Solved { adjustment, added_g }, after)| Even {
        after,
        changes: changed(library, &task.ingredients, &adjustment),
        added: added(library, &task.ingredients, &added_g),
        confidence: EVEN,
        mass_moved_percent: adjustment.mass_moved,
        in_steps: adjustment.in_steps,
        limits: adjustment.demands,
    });
    let Solved { adjustment: found, added_g } = solved;
    let figures = Adjusted {
        added: added(library, &task.ingredients, &added_g),
        before,
        after,
        even,
        changes: changed(library, &task.ingredients, &found),
        feasible: found.feasible,
        confidence: task.confidence,
        mass_moved_percent: found.mass_moved,
        in_steps: found.in_steps,
        conflicts: found.conflicts,
        over_price: found.over_price,
        limits: found.demands,
        formula: found.formula,
    };
    Ok(Answered { figures, document, picture: None })
}

/// Every amount that changes.
fn changed(library: &Library, ingredients: &[IngredientId], found: &Adjustment) -> Vec<Change> {
    let change = |(&id, (&from_percent, &to_percent)): (&IngredientId, (&f64, &f64))| {
        let ingredient = library.get(id)?.key.clone();
        (from_percent != to_percent).then_some(Change { ingredient, from_percent, to_percent })
    };
    ingredients.iter().zip(found.before.iter().zip(&found.after)).filter_map(change).collect()
}

/// What is added to a pot.
fn added(library: &Library, ingredients: &[IngredientId], added_g: &[f64]) -> Vec<Added> {
    let added = ingredients.iter().zip(added_g).filter(|(_, mass)| **mass > 0.0);
    added.map(|(&id, &mass_g)| Added { ingredient: library.key(id).to_owned(), mass_g }).collect()
}

/// Says why nothing could be computed, with names.
fn refused(error: AdjustError, library: &Library, ingredients: &[IngredientId]) -> Refusal {
    let loosen = "Loosen `--bound`, `--keep`, `--raise` or `--lower`.";
    match error {
        AdjustError::Blend(error) => error.into(),
        AdjustError::Limits(LimitError::Contradiction { ingredient, least, most }) => {
            let known = ingredients.get(ingredient).and_then(|&index| library.get(index));
            let key = known.map_or("", |one| &one.key);
            Fault::new("limits", format!("`{key}` must be at least {least} % and at most {most} %")).hint(loosen).into()
        }
        AdjustError::Demand(error) => demand::unmeasurable(error).into(),
        error => Fault::new("limits", error.to_string()).hint(loosen).into(),
    }
}

/// What is put into words.
struct View<'a> {
    /// The change for the confidence asked for.
    solved: &'a Solved,
    /// Mass that is poured already, g.
    poured_g: Option<f64>,
    /// The change for an even chance, where it is another.
    even: Option<&'a Solved>,
    /// Whether the formula has an even chance as it is.
    has_even_chance: bool,
    task: &'a Task,
    /// What stays because a bar is not built of it.
    kept: &'a [IngredientId],
    library: &'a Library,
    units: Units,
}

/// Titles of the columns: the formula as it was, changed for an even chance, changed as asked for.
fn columns(view: &View<'_>) -> Vec<String> {
    let wanted = in_hundred(view.task.confidence);
    let changed = match (view.even, view.solved.adjustment.feasible) {
        (None, _) => vec!["after".to_owned()],
        (Some(_), true) => vec!["even chance".to_owned(), format!("{wanted} sure")],
        (Some(_), false) => vec!["even chance".to_owned(), format!("nearest to {wanted}")],
    };
    std::iter::once("before".to_owned()).chain(changed).collect()
}

/// The amounts before and after.
fn parts(view: &View<'_>) -> Table {
    let found = &view.solved.adjustment;
    let mut table = Table::new("")
        .columns(Kind::Words, ["ingredient"])
        .columns(Kind::Number, columns(view))
        .columns(Kind::Number, view.even.is_none().then_some("change"));
    for (at, &index) in view.task.ingredients.iter().enumerate() {
        let (before, after) = (found.before[at], found.after[at]);
        let even = view.even.map(|even| even.adjustment.after[at]);
        if before <= 0.0 && after < NO_CHANGE && even.is_none_or(|even| even < NO_CHANGE) {
            continue;
        }
        let amounts = std::iter::once(before).chain(even).chain([after]).map(amount);
        let change = even.is_none().then(|| change(after - before));
        table.row(std::iter::once(visible(view.library.common_name(index))).chain(amounts).chain(change));
    }
    table
}

/// A change of an amount, with its sign; nothing where there is none.
fn change(percent: f64) -> String {
    if percent.abs() < NO_CHANGE {
        return String::new();
    }
    format!("{}{}", if percent > 0.0 { "+" } else { "-" }, amount(percent.abs()))
}

/// The plain answer: what to change for an even chance and to be surer, what each brings, what stands in the way.
fn sentences(view: &View<'_>) -> Vec<String> {
    let View { task, units, .. } = *view;
    let found = &view.solved.adjustment;
    let wanted = in_hundred(task.confidence);
    let even = format!("For an even chance ({})", in_hundred(EVEN));
    let mut said: Vec<String> = Vec::new();
    if let Some(solved) = view.even {
        said.push(told(view, solved, Some(&even)));
    } else if view.has_even_chance {
        let what = if view.poured_g.is_some() { "be added" } else { "change" };
        said.push(format!("{even}, nothing needs to {what}."));
    }
    if found.feasible {
        let sure = format!("To be {wanted} sure");
        said.push(told(view, view.solved, (!said.is_empty()).then_some(&sure)));
    } else {
        said.extend(nearest(view));
    }
    said.extend(found.demands.iter().enumerate().map(|(at, met)| match view.even {
        Some(even) => two_outcomes(met, &even.adjustment.demands[at], view),
        None => outcome(met, units, task.confidence),
    }));
    said.extend(costs(view));
    for conflict in &found.conflicts {
        let [first, second] = [&conflict.first, &conflict.second].map(|one| demand::words(one, units));
        said.push(format!("These two seem to conflict: each can be met within these limits, but no formula was found that meets both: {first} and {second}."));
    }
    if !view.kept.is_empty() && found.mass_moved >= NO_CHANGE {
        let names: Vec<String> = view.kept.iter().map(|&one| in_text(view.library.common_name(one))).collect();
        let (stay, bar) = if names.len() == 1 { ("stays", "it is") } else { ("stay", "they are") };
        said.push(format!("{} {stay} as {bar}.", capital(&list(&names, "and"))));
    }
    let answers: Vec<&Adjustment> = view.even.into_iter().chain([view.solved]).map(|one| &one.adjustment).collect();
    let changes = |one: &&&Adjustment| one.feasible && one.mass_moved >= NO_CHANGE;
    if task.step_percent.is_some() && answers.iter().filter(changes).any(|one| !one.in_steps) {
        said.push(
            "No formula was found in whole steps that meets every target, so the amounts are not rounded.".to_owned(),
        );
    }
    let mut crumbs: Vec<String> = Vec::new();
    for one in answers.iter().filter(changes) {
        for (at, &id) in task.ingredients.iter().enumerate() {
            let base = view.library.get(id).is_some_and(is_base);
            // What is in a pot already is thinned by what is added.
            let new = view.poured_g.is_none() || one.before[at] <= 0.0;
            let name = in_text(view.library.common_name(id));
            if base && new && is_crumb(one.before[at], one.after[at]) && !crumbs.contains(&name) {
                crumbs.push(name);
            }
        }
    }
    if !crumbs.is_empty() {
        said.push(format!(
            "No formula was found that meets every target without a part under {} %: {}.",
            trimmed(MIN_PART_PERCENT, 1),
            list(&crumbs, "and")
        ));
    }
    said
}

/// What the bar costs, where that is limited or aimed at.
fn costs(view: &View<'_>) -> Option<String> {
    let Task { limits, least, .. } = view.task;
    let found = &view.solved.adjustment;
    let (per_kg, limit) = match (&limits.price, least) {
        (Some(PriceLimit { per_kg, max_per_kg }), _) => {
            let word = if found.over_price > 0.0 { "over budget" } else { "met" };
            (per_kg, Some(format!("Costs at most {} per kilogram: {word}, ", significant(*max_per_kg, 4))))
        }
        (None, Least::Price { per_kg }) => (per_kg, None),
        (None, Least::Moved) => return None,
    };
    let price = |percent: &[f64]| trimmed(price_per_kg(per_kg, percent), 2);
    let (after, before) = (price(&found.after), price(&found.before));
    let after = match view.even {
        Some(even) => format!("{} and {after}", price(&even.adjustment.after)),
        None => after,
    };
    Some(match limit {
        Some(limit) => format!("{limit}{after} (was {before})."),
        None => format!("Costs {after} per kilogram (was {before})."),
    })
}

/// A change in one sentence, behind what it is for.
fn told(view: &View<'_>, Solved { adjustment, added_g }: &Solved, purpose: Option<&String>) -> String {
    let (what, more) = match view.poured_g {
        _ if adjustment.mass_moved < NO_CHANGE => {
            let what = if view.poured_g.is_some() { "nothing needs to be added" } else { "nothing needs to change" };
            let wanted = demand::confidence_words(&view.task.demands, view.task.confidence);
            (format!("{what}: every target is met with {wanted}."), String::new())
        }
        Some(poured_g) => pot_sentence(view, added_g, poured_g),
        None => {
            let moved = amount(adjustment.mass_moved);
            (format!("move {moved} % of the mass: {}.", changes(view, adjustment)), String::new())
        }
    };
    let what = purpose.map_or_else(|| capital(&what), |purpose| format!("{purpose}, {what}"));
    format!("{what}{more}")
}

/// That nothing meets every target as surely as asked for, and what is nearest.
fn nearest(view: &View<'_>) -> [String; 2] {
    let Solved { adjustment: found, added_g } = view.solved;
    let wanted = demand::confidence_words(&view.task.demands, view.task.confidence);
    let none = match view.poured_g {
        Some(_) => format!(
            "Nothing was found that could be added to meet every target with {wanted}: what is in the pot cannot be taken out."
        ),
        None => format!("No formula was found within these limits that meets every target with {wanted}."),
    };
    let nearest = if found.mass_moved < NO_CHANGE {
        "The formula as it is comes nearest.".to_owned()
    } else if view.poured_g.is_some() {
        format!("The nearest is: add {}.", additions(view, added_g))
    } else {
        format!("The nearest is: {}.", changes(view, found))
    };
    [none, nearest]
}

/// The properties of two formulas side by side.
pub(crate) fn before_and_after(before: &Assessment, after: &Assessment, options: &Options, units: Units) -> Section {
    side_by_side(&["before".to_owned(), "after".to_owned()], &[before, after], options, units)
}

/// The properties of some bars side by side, each below its title.
fn side_by_side(titles: &[String], bars: &[&Assessment], options: &Options, units: Units) -> Section {
    let mut table = Table::new("").columns(Kind::Words, [""]).columns(Kind::Figure, titles.iter().cloned());
    let mut row = |what: String, of: &dyn Fn(&Assessment) -> String| {
        table.row(std::iter::once(what).chain(bars.iter().map(|bar| of(bar))));
    };
    row(format!("keeps its shape up to, {}", units.degree()), &|one| {
        one.warmth.hold_c.as_ref().map_or_else(|| "never".to_owned(), |hold| units.temperature(hold))
    });
    let leaving = bar_word(options.release_state());
    row(format!("finest relief {leaving}, {}", units.length_unit()), &|one| {
        units.relief(one.detail.finest_feature_mm.as_ref())
    });
    for (at, &celsius) in options.at_c.iter().enumerate() {
        row(format!("yield stress at {}, {}", units.given_degrees(celsius), units.stress()), &|one| {
            one.firmness.get(at).map_or_else(String::new, |at| units.yield_stress(&at.yield_stress_kpa))
        });
    }
    row("melted on skin, %".to_owned(), &|one| interval(&one.skin.melted_percent, whole));
    row("on skin it".to_owned(), &|one| one.skin.verdict.word().to_owned());
    row("risk of grain".to_owned(), &|one| one.grain.verdict.word().to_owned());
    Section::new("Before and after", [Block::Table(table)])
}

/// Step of additions, % of the pot: what a kitchen scale shows.
fn step_of_pot(poured_g: f64) -> f64 {
    let grams = if poured_g >= WHOLE_GRAMS_FROM_G { 1.0 } else { 0.1 };
    (100.0 * grams / poured_g).clamp(*STEP_PERCENT.start(), *STEP_PERCENT.end())
}

/// What to add to the pot and how much it is then, and what the addition costs where all prices are known.
fn pot_sentence(view: &View<'_>, added_g: &[f64], poured_g: f64) -> (String, String) {
    let total: f64 = added_g.iter().sum();
    let there = trimmed(poured_g, 1);
    let price = |(&id, &mass_g): (&IngredientId, &f64)| {
        let price = view.library.get(id).and_then(|one| one.price_per_kg);
        if mass_g > 0.0 { price.map(|price| price * mass_g / 1000.0) } else { Some(0.0) }
    };
    let cost: Option<f64> = view.task.ingredients.iter().zip(added_g).map(price).sum();
    let cost = cost.map_or_else(String::new, |cost| format!(" What is added costs {}.", fixed(cost, 2)));
    let what = additions(view, added_g);
    (format!("add {what} to the {there} g: {} g in all.", trimmed(poured_g + total, 1)), cost)
}

/// `84 g of beeswax and 10 g of cocoa butter`.
fn additions(view: &View<'_>, added_g: &[f64]) -> String {
    let added = view.task.ingredients.iter().zip(added_g).filter(|(_, mass)| **mass > 0.0);
    let one = |(&id, &mass): (&IngredientId, &f64)| {
        format!("{} g of {}", trimmed(mass, 1), in_text(view.library.common_name(id)))
    };
    list(&added.map(one).collect::<Vec<_>>(), "and")
}

/// `beeswax 26 to 33 %, sunflower oil 30 to 23 %`, what rises first.
fn changes(view: &View<'_>, found: &Adjustment) -> String {
    let all = view.task.ingredients.iter().zip(found.before.iter().zip(&found.after));
    let mut moved: Vec<(f64, String)> = all
        .filter(|(_, (before, after))| (*after - *before).abs() >= NO_CHANGE)
        .map(|(&index, (&before, &after))| {
            let name = view.library.common_name(index);
            (after - before, format!("{} {} to {} %", in_text(name), amount(before), amount(after)))
        })
        .collect();
    moved.sort_by(|a, b| b.0.total_cmp(&a.0));
    list(&moved.into_iter().map(|(_, text)| text).collect::<Vec<_>>(), "and")
}

/// How a demand came out.
fn outcome(met: &Met, units: Units, confidence: f64) -> String {
    let confidence = met.demand.confidence(confidence);
    let before = beside(met.probability_before, confidence);
    let said = capital(&demand::words(&met.demand, units));
    if met.met {
        return format!("{said}: met, {} (was {before}).", in_hundred(met.probability_after));
    }
    let alone = match met.met_alone {
        Some(true) => "; it could be met as the only target",
        Some(false) => "; not met as the only target either",
        None => "",
    };
    let after = beside(met.probability_after, confidence);
    format!("{said}: not met, {after} where {} is wanted (was {before}){alone}.", in_hundred(confidence))
}

/// How a demand came out with the change for an even chance, and with the other.
fn two_outcomes(met: &Met, even: &Met, view: &View<'_>) -> String {
    let confidence = met.demand.confidence(view.task.confidence);
    let said = capital(&demand::words(&met.demand, view.units));
    let other = if view.solved.adjustment.feasible { "the surer one" } else { "the nearest" };
    let alone = match met.met_alone {
        Some(false) => "; not met as surely as the only target either",
        _ => "",
    };
    format!(
        "{said}: {} with the even-chance change, {} with {other} (was {}){alone}.",
        in_hundred(even.probability_after),
        beside(met.probability_after, confidence),
        beside(met.probability_before, confidence)
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    #[test]
    fn a_script_asks_in_json() {
        let asked: Adjust = serde_json::from_str(
            r#"{
                "formula": { "name": "bar", "parts": [{ "ingredient": "beeswax", "amount": 1 }, { "ingredient": "olive oil", "amount": 3 }] },
                "options": { "draws": 16 },
                "demands": [{ "demand": "firmer", "than": { "unit": "beeswax-percent", "value": 30 }, "temperature_c": 25 }],
                "limits": { "raise": ["waxes"] }
            }"#,
        )
        .unwrap();
        let answer = adjust(&Engine::builtin().unwrap(), &asked).unwrap();
        let json = serde_json::to_value(&answer.figures).unwrap();
        assert_eq!(json["changes"][0]["ingredient"], "beeswax");
        assert!(answer.figures.feasible && json.get("formula").is_none());
        let said = answer.document.said();
        assert!(
            said[0].starts_with("For an even chance (50 %), move ") && said[1].starts_with("To be 90 % sure, move "),
            "{said:?}"
        );
        // The keys of before are those of the surer change, and the even one is beside them.
        assert!(json["confidence"] == 0.9 && json["even"]["confidence"] == 0.5, "{json}");
        let to = |of: &serde_json::Value| of["changes"][0]["to_percent"].as_f64().unwrap();
        assert!(to(&json["even"]) < to(&json), "{json}");
        let met = json["even"]["limits"][0]["probability_after"].as_f64().unwrap();
        assert!((0.5..0.9).contains(&met), "{met}");
        assert!(json["even"]["after"]["warmth"].is_object());

        // No more than an even chance is asked for: nothing is told twice.
        let even = adjust(&Engine::builtin().unwrap(), &Adjust { confidence: Some(0.5), ..asked.clone() }).unwrap();
        assert!(
            even.figures.even.is_none() && even.document.said()[0].starts_with("Move "),
            "{:?}",
            even.document.said()
        );
        assert_eq!(to(&serde_json::to_value(&even.figures).unwrap()), to(&json["even"]));
    }

    /// The pot is named with its mass, whole grams are added, and 13 % of beeswax is no more in a bigger pot.
    #[test]
    fn a_pot_is_added_to_in_grams() {
        let engine = Engine::builtin().unwrap();
        let mut asked: Adjust = serde_json::from_str(
            r#"{
                "formula": { "name": "bar", "parts": [{ "ingredient": "beeswax", "amount": 1 }, { "ingredient": "olive oil", "amount": 5 }] },
                "options": { "draws": 16 },
                "demands": [{ "demand": "hold", "temperature_c": 40 }],
                "poured_kg": 0.5
            }"#,
        )
        .unwrap();
        let answer = adjust(&engine, &asked).unwrap();
        let [Added { ingredient, mass_g }] = &answer.figures.added[..] else { unreachable!("one is added") };
        assert!(ingredient == "beeswax" && *mass_g > 0.0 && (mass_g - mass_g.round()).abs() < 1e-6, "{mass_g}");
        let added = |mass: f64| format!("add {mass} g of beeswax to the 500 g: {} g in all.", 500.0 + mass);
        let even_g = answer.figures.even.as_ref().unwrap().added[0].mass_g.round();
        assert!(even_g > 0.0 && even_g < *mass_g, "{even_g}");
        let said = answer.document.said();
        assert_eq!(said[0], format!("For an even chance (50 %), {}", added(even_g)));
        assert_eq!(said[1], format!("To be 90 % sure, {}", added(mass_g.round())));
        let shares = &answer.figures.formula.parts;
        assert!((shares[0].percent - 100.0 * (500.0 / 6.0 + mass_g) / (500.0 + mass_g)).abs() < 1e-6, "{shares:?}");

        asked.limits.raise = vec!["oils".to_owned()];
        let answer = adjust(&engine, &asked).unwrap();
        assert!(!answer.figures.feasible && answer.figures.limits[0].met_alone == Some(false));
        assert!(answer.document.said()[0].starts_with("Nothing was found that could be added"));
        asked.limits.bounds = vec!["beeswax=..20".to_owned()];
        assert_eq!(adjust(&engine, &asked).err().unwrap().faults[0].code, "poured");
    }

    #[test]
    fn a_question_without_a_target_is_refused() {
        let refusal = adjust(&Engine::builtin().unwrap(), &Adjust::default()).err().unwrap();
        assert_eq!(refusal.faults[0].code, "no-demand");
    }
}
