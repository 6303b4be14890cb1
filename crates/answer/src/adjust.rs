//! The smallest change of a formula that meets every target: the change first, then what it brings, then before and after side by side.

use barwright_blend::{Assessment, Options};
use barwright_reference::{Formula, IngredientId, Library};
use barwright_reformulate::Demand;
use barwright_reformulate::adjust::{AdjustError, Adjustment, Conflict, Met, Task};
use barwright_reformulate::limits::{LimitError, PriceLimit, price_per_kg};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::assess::{RULE_OF_THUMB, bar_word, interval_words};
use crate::cautions;
use crate::demand;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::engine::{Engine, Recipe};
use crate::limits::{self, NamedLimits, Reading};
use crate::refusal::{Fault, Refusal};
use crate::words::names::{capital, in_text, list, title};
use crate::words::number::{amount, beside, in_hundred, interval, significant, whole};
use crate::words::units::Units;
use crate::words::visible::visible;

/// Changes below this are none, mass %.
const NO_CHANGE: f64 = 5e-4;

/// Confidence of an even chance, shown beside a surer answer.
const EVEN: f64 = 0.5;

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
    /// Probability that each demand must be met with, 0 to 1.
    pub confidence: f64,
    /// What may change.
    pub limits: NamedLimits,
    /// Amounts change in whole steps of this size, % of the bar; none: any amount.
    pub step_percent: Option<f64>,
    /// Units of the words.
    pub units: Units,
}

impl Default for Adjust {
    fn default() -> Self {
        Adjust {
            formula: Recipe::default(),
            options: Options::default(),
            demands: Vec::new(),
            confidence: 0.9,
            limits: NamedLimits::default(),
            step_percent: Some(0.5),
            units: Units::default(),
        }
    }
}

/// The smallest change, and what it brings.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Adjusted {
    /// The bar as it was.
    pub before: Assessment,
    /// The changed bar.
    pub after: Assessment,
    /// Every amount that changes.
    pub changes: Vec<Change>,
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
    if asked.demands.is_empty() && asked.limits.max_price.is_none() {
        return Err(demand::none().into());
    }
    let library = &engine.library;
    let formula = engine.formula(&asked.formula)?;
    let Reading { ingredients, limits, kept } = limits::read(library, &formula, &asked.limits)?;
    let options = demand::options(&asked.options, &asked.demands);
    let task = Task {
        demands: asked.demands.clone(),
        confidence: asked.confidence,
        ingredients,
        limits,
        step_percent: asked.step_percent,
    };
    let solve = |task: &Task| {
        barwright_reformulate::adjust(library, &engine.model, &options, &formula, task)
            .map_err(|error| refused(error, library, &task.ingredients))
    };
    let found = solve(&task)?;
    let even = if task.confidence > EVEN && found.mass_moved > 0.0 && !task.demands.is_empty() {
        Some(solve(&Task { confidence: EVEN, ..task.clone() })?).filter(|even| even.feasible)
    } else {
        None
    };
    let bench = engine.bench(&options)?;
    let (before, after) = (bench.assess(&formula)?, bench.assess(&found.formula)?);

    let view = View { found: &found, even: even.as_ref(), task: &task, kept: &kept, library, units: asked.units };
    let mut document = Document::new(title(&formula, &engine.library), options.state.word())
        .lead([Block::said(sentences(&view)), Block::Small(RULE_OF_THUMB.to_owned())])
        .section("Parts, % by mass", [Block::Table(parts(&view))]);
    document.sections.push(before_and_after(&before, &after, &options, asked.units));
    document = document.ending([interval_words(&after)], cautions::section(&[&after], &[]));

    let change = |(&id, (&from_percent, &to_percent)): (&IngredientId, (&f64, &f64))| {
        let ingredient = library.get(id)?.key.clone();
        (from_percent != to_percent).then_some(Change { ingredient, from_percent, to_percent })
    };
    let figures = Adjusted {
        before,
        after,
        changes: task.ingredients.iter().zip(found.before.iter().zip(&found.after)).filter_map(change).collect(),
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
    found: &'a Adjustment,
    /// The answer for an even chance, where the wish was for a surer one.
    even: Option<&'a Adjustment>,
    task: &'a Task,
    /// What stays because a bar is not built of it.
    kept: &'a [IngredientId],
    library: &'a Library,
    units: Units,
}

/// The amounts before and after.
fn parts(view: &View<'_>) -> Table {
    let mut table =
        Table::new("").columns(Kind::Words, ["ingredient"]).columns(Kind::Number, ["before", "after", "change"]);
    let amounts = view.found.before.iter().zip(&view.found.after);
    for (&index, (&before, &after)) in view.task.ingredients.iter().zip(amounts) {
        if before <= 0.0 && after < NO_CHANGE {
            continue;
        }
        let change = after - before;
        let change = if change.abs() < NO_CHANGE {
            String::new()
        } else {
            format!("{}{}", if change > 0.0 { "+" } else { "-" }, amount(change.abs()))
        };
        let called = view.library.common_name(index);
        table.row([visible(called), amount(before), amount(after), change]);
    }
    table
}

/// The plain answer: what to change, what it brings, what stands in the way.
fn sentences(view: &View<'_>) -> Vec<String> {
    let View { found, task, units, .. } = *view;
    let mut said = Vec::new();
    let wanted = in_hundred(task.confidence);
    if found.mass_moved < NO_CHANGE && found.feasible {
        said.push(format!("Nothing needs to change: every target is met with {wanted} confidence."));
    } else if found.feasible {
        said.push(format!("Move {} % of the mass: {}.", amount(found.mass_moved), changes(view, found)));
    } else {
        let nearest =
            if found.mass_moved < NO_CHANGE { "The formula as it is comes nearest" } else { "The nearest is" };
        said.push(format!(
            "No formula was found within these limits that meets every target with {wanted} confidence."
        ));
        let what = if found.mass_moved < NO_CHANGE { String::new() } else { format!(": {}", changes(view, found)) };
        said.push(format!("{nearest}{what}."));
    }
    for met in &found.demands {
        said.push(outcome(met, units, task.confidence));
    }
    if let Some(PriceLimit { per_kg, max_per_kg }) = &task.limits.price {
        let (before, after) = (price_per_kg(per_kg, &found.before), price_per_kg(per_kg, &found.after));
        let word = if found.over_price > 0.0 { "over budget" } else { "met" };
        said.push(format!(
            "Costs at most {} per kilogram: {word}, {} (was {}).",
            significant(*max_per_kg, 4),
            significant(after, 4),
            significant(before, 4)
        ));
    }
    for conflict in &found.conflicts {
        let [first, second] = [&conflict.first, &conflict.second].map(|one| demand::words(one, units));
        said.push(format!("These two seem to conflict: each can be met within these limits, but no formula was found that meets both: {first} and {second}."));
    }
    if let Some(even) = view.even {
        let what = if even.mass_moved < NO_CHANGE { "no change is needed".to_owned() } else { changes(view, even) };
        said.push(format!("For an even chance ({}): {what}.", in_hundred(EVEN)));
    }
    if !view.kept.is_empty() && found.mass_moved >= NO_CHANGE {
        let names: Vec<String> = view.kept.iter().map(|&one| in_text(view.library.common_name(one))).collect();
        let (stay, bar) = if names.len() == 1 { ("stays", "it is") } else { ("stay", "they are") };
        said.push(format!("{} {stay} as {bar}.", capital(&list(&names, "and"))));
    }
    if found.feasible && !found.in_steps && task.step_percent.is_some() && found.mass_moved >= NO_CHANGE {
        said.push("No formula near it in whole steps meets every target, so the amounts are not rounded.".to_owned());
    }
    said
}

/// The properties of two formulas side by side.
pub(crate) fn before_and_after(before: &Assessment, after: &Assessment, options: &Options, units: Units) -> Section {
    let mut table = Table::new("").columns(Kind::Words, [""]).columns(Kind::Figure, ["before", "after"]);
    let mut row = |what: String, of: &dyn Fn(&Assessment) -> String| table.row([what, of(before), of(after)]);
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
        assert!(answer.document.said()[0].starts_with("Move "), "{:?}", answer.document.said());
    }

    #[test]
    fn a_question_without_a_target_is_refused() {
        let refusal = adjust(&Engine::builtin().unwrap(), &Adjust::default()).err().unwrap();
        assert_eq!(refusal.faults[0].code, "no-demand");
    }
}
