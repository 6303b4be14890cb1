//! `adjust`: the smallest change of a formula that meets every demand.

use barwright_answer::words::names;
use std::path::Path;

use barwright_blend::{Assessment, Model, Options, assess};
use barwright_reference::formula::{rewrite_toml, to_toml};
use barwright_reference::range::parse_range;
use barwright_reference::{Formula, IngredientKind, Library};
use barwright_reformulate::adjust::{AdjustError, Adjustment, Met, Task, adjust};
use barwright_reformulate::limits::LimitError;
use barwright_reformulate::{Demand, Limits};
use serde::Serialize;

use crate::args::Adjust;
use crate::error::CliError;
use crate::input::{load, read_file};
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;
use crate::render;
use crate::save::save;
use barwright_answer::Fault;
use barwright_answer::engine::find;

/// Confidence of an even chance, shown beside a surer answer.
const EVEN: f64 = 0.5;

/// One ingredient before and after.
#[derive(Debug, Clone, Serialize)]
struct Change {
    ingredient: String,
    from_percent: f64,
    to_percent: f64,
}

/// Two demands that cannot both be met.
#[derive(Debug, Clone, Serialize)]
struct Conflict {
    first: Demand,
    second: Demand,
}

/// The answer as JSON.
#[derive(Debug, Serialize)]
pub struct Answer<'a> {
    before: &'a Assessment,
    after: &'a Assessment,
    changes: Vec<Change>,
    feasible: bool,
    confidence: f64,
    mass_moved_percent: f64,
    in_steps: bool,
    limits: &'a [Met],
    conflicts: Vec<Conflict>,
    over_price: f64,
}

/// What was found, with everything shown of it.
pub struct Found {
    /// The answer.
    pub found: Adjustment,
    /// The answer for an even chance, where the wish was for a surer one.
    pub even: Option<Adjustment>,
    /// The formula as it was.
    pub before: Assessment,
    /// The changed one.
    pub after: Assessment,
}

/// Finds the smallest change, and what it brings.
pub fn find_change(
    library: &Library,
    model: &Model,
    options: &Options,
    formula: &Formula,
    task: &Task,
) -> Result<Found, CliError> {
    let answer = |task: &Task| {
        adjust(library, model, options, formula, task).map_err(|error| refused(error, library, &task.ingredients))
    };
    let found = answer(task)?;
    let even = if task.confidence > EVEN && found.mass_moved > 0.0 && !task.demands.is_empty() {
        Some(answer(&Task { confidence: EVEN, ..task.clone() })?).filter(|even| even.feasible)
    } else {
        None
    };
    let before = assess(library, model, formula, options)?;
    let after = assess(library, model, &found.formula, options)?;
    Ok(Found { found, even, before, after })
}

/// The ingredients of a formula, each once, in its order.
pub fn distinct(formula: &Formula) -> Vec<usize> {
    let mut ingredients: Vec<usize> = Vec::new();
    for part in &formula.parts {
        if !ingredients.contains(&part.ingredient) {
            ingredients.push(part.ingredient);
        }
    }
    ingredients
}

/// Runs the subcommand.
pub fn run(order: &Adjust, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&order.formula], profile.lots(order.making.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, order.named.as_deref(), "adjust")?;
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let library = &loaded.library;
    let demands = demands(order);
    if demands.is_empty() && order.max_price.is_none() {
        return Err(CliError::command_line(Fault::new("no-demand", "nothing is asked of the formula").hint(
            "Say what it must do: `--hold 45C`, `--detail 0.8mm`, `--firmness 30%@25C`, `--skin 60`, `--max-price 12`.",
        )));
    }
    let mut ingredients = distinct(formula);
    let written = ingredients.len();
    let mut faults = Vec::new();
    for (place, name) in shelf(order)? {
        match find(library, &name, &place) {
            Ok(found) if ingredients.contains(&found) => {}
            Ok(found) => ingredients.push(found),
            Err(fault) => faults.push(*fault),
        }
    }
    let limits = limits(order, library, formula, &ingredients, written, &mut faults);
    if !faults.is_empty() {
        return Err(CliError::input(faults));
    }
    let model = profile.model(streams)?;
    let options = order.options();
    let task = Task {
        demands,
        confidence: order.confidence / 100.0,
        ingredients,
        limits,
        step_percent: (order.step > 0.0).then_some(order.step),
    };
    let Found { found, even, before, after } = find_change(library, &model, &options, formula, &task)?;
    if order.showing.json {
        streams.data.json(&json(&found, &before, &after, &task, library))?;
    } else {
        let view = render::adjust::View {
            found: &found,
            even: even.as_ref(),
            before: &before,
            after: &after,
            task: &task,
            library,
            options: &options,
            units: order.showing.units,
        };
        render::adjust::write(&mut streams.data, &view)?;
    }
    let Some(path) = &order.out else { return Ok(()) };
    if !found.feasible {
        return Err(Fault::new(
            "not-written",
            format!("`{}` is not written: nothing within the limits meets everything", path.display()),
        )
        .hint("Ask for less, loosen a limit, or lower `--confidence`.")
        .into());
    }
    let text = loaded.texts.get(index).and_then(Option::as_deref);
    write_formula(path, text, &found.formula, library, streams)
}

/// Writes a changed formula: into the text it came from, where that is a formula file, or as a fresh one.
pub fn write_formula(
    path: &Path,
    text: Option<&str>,
    formula: &Formula,
    library: &Library,
    streams: &mut Streams<'_>,
) -> Result<(), CliError> {
    let text = match text {
        Some(text) => rewrite_toml(text, &formula.parts, None, library),
        None => to_toml(formula, None, "", library),
    };
    let text = text.map_err(|error| CliError::internal(format!("the formula could not be written: {error}")))?;
    save(path, text.as_bytes())?;
    streams.remarks.note(&format!("written into {}", path.display()))?;
    Ok(())
}

/// Everything asked of the bar but its price.
fn demands(order: &Adjust) -> Vec<Demand> {
    let mut demands = Vec::new();
    demands.extend(order.hold.map(|temperature_c| Demand::Hold { temperature_c }));
    demands.extend(order.detail.map(|relief_mm| Demand::Detail { relief_mm }));
    demands.extend(order.firmness.iter().flat_map(|wish| wish.0.iter().copied()));
    demands.extend(order.skin.map(|percent| Demand::Melts { percent }));
    demands
}

/// Names of what may be added, each with where it was written.
fn shelf(order: &Adjust) -> Result<Vec<(String, String)>, CliError> {
    let mut names: Vec<(String, String)> = order.add.iter().map(|name| ("--add".to_owned(), name.clone())).collect();
    if let Some(path) = &order.shelf {
        let text = read_file(path, &path.display().to_string()).map_err(|fault| CliError::input(vec![*fault]))?;
        for (number, line) in text.lines().enumerate() {
            let name = line.split('#').next().unwrap_or("").trim().trim_start_matches('\u{feff}');
            if !name.is_empty() {
                names.push((format!("{}:{}", path.display(), number + 1), name.to_owned()));
            }
        }
    }
    Ok(names)
}

/// Positions among `ingredients` of what a name or a kind means.
fn meant(library: &Library, ingredients: &[usize], name: &str, option: &str) -> Result<Vec<usize>, Box<Fault>> {
    let places = |belongs: &dyn Fn(usize) -> bool| -> Vec<usize> {
        (0..ingredients.len()).filter(|&at| belongs(ingredients[at])).collect()
    };
    let absent = |what: &str| {
        Box::new(
            Fault::new("not-in-formula", format!("{option}: there is no {what} in the formula"))
                .hint("Name an ingredient of the formula, or one that `--add` or `--shelf` allows."),
        )
    };
    if let Some(kind) = IngredientKind::called(name) {
        let found = places(&|index| library.ingredients.get(index).is_some_and(|one| one.kind == kind));
        return if found.is_empty() { Err(absent(&names::name(name))) } else { Ok(found) };
    }
    let index = find(library, name, option)?;
    let found = places(&|one| one == index);
    if found.is_empty() { Err(absent(&format!("`{}`", names::name(name)))) } else { Ok(found) }
}

/// What may change; what is wrong with the options is added to `faults`.
fn limits(
    order: &Adjust,
    library: &Library,
    formula: &Formula,
    ingredients: &[usize],
    written: usize,
    faults: &mut Vec<Fault>,
) -> Limits {
    let mut limits = Limits::free(ingredients.len());
    let now: Vec<f64> = (ingredients.iter())
        .map(|&one| formula.parts.iter().filter(|part| part.ingredient == one).map(|part| part.percent).sum())
        .collect();
    let mut all = |names: &[String], option: &str| -> Vec<usize> {
        let mut places = Vec::new();
        for name in names {
            match meant(library, ingredients, name, option) {
                Ok(found) => places.extend(found),
                Err(fault) => faults.push(*fault),
            }
        }
        places
    };
    let (raise, lower) = (all(&order.raise, "--raise"), all(&order.lower, "--lower"));
    let keep = all(&order.keep, "--keep");
    for (at, &now) in now.iter().enumerate() {
        // What comes from the shelf is there to be raised.
        let may_rise = order.raise.is_empty() || raise.contains(&at) || at >= written;
        let may_fall = order.lower.is_empty() || lower.contains(&at);
        let (named_up, named_down) = (raise.contains(&at), lower.contains(&at));
        if keep.contains(&at) || !may_rise || named_down {
            limits.most[at] = now;
        }
        if keep.contains(&at) || !may_fall || named_up {
            limits.least[at] = now;
        }
    }
    for text in &order.bound {
        match bound(library, ingredients, text) {
            Ok((places, least, most)) => {
                for at in places {
                    // A bound may ask for a change by itself, whatever may rise or fall.
                    (limits.least[at], limits.most[at]) =
                        (least.unwrap_or(limits.least[at]), most.unwrap_or(limits.most[at]));
                }
            }
            Err(fault) => faults.push(*fault),
        }
    }
    if let Some(most) = order.max_price {
        let price = |&index: &usize| library.ingredients.get(index).and_then(|one| one.price_per_kg);
        let without: Vec<String> = (ingredients.iter())
            .filter(|index| price(index).is_none())
            .filter_map(|&index| library.ingredients.get(index))
            .map(|one| format!("`{}`", one.key))
            .collect();
        if without.is_empty() {
            limits.price = Some((ingredients.iter().filter_map(price).collect(), most));
        } else {
            faults.push(
                Fault::new("no-price", format!("--max-price: there is no price of {}", names::list(&without, "and")))
                    .hint("Prices come from your lots: write `price_per_kg` into a file of lots, name it behind `--lots`, and use the lots in the formula."),
            );
        }
    }
    limits
}

/// Reads `NAME=LOW..HIGH`, either end open.
#[allow(clippy::type_complexity)]
fn bound(
    library: &Library,
    ingredients: &[usize],
    text: &str,
) -> Result<(Vec<usize>, Option<f64>, Option<f64>), Box<Fault>> {
    let wrong = |what: String| {
        Box::new(
            Fault::new("bad-bound", format!("--bound: {what}"))
                .hint("Write a name, `=`, and amounts in % of the bar: `beeswax=15..25`, `beeswax=..25`, `beeswax=20..`, `beeswax=20`."),
        )
    };
    let (name, range) = text.split_once('=').ok_or_else(|| wrong(format!("`{}` has no `=`", names::name(text))))?;
    let (least, most) = parse_range(range).map_err(wrong)?;
    Ok((meant(library, ingredients, name.trim(), "--bound")?, least, most))
}

/// What to do about a firmness that cannot be asked for.
pub const MEASURABLE: &str = "Ask for more beeswax in the oil, at a lower temperature, or in kPa.";

/// Says why nothing could be computed, with names.
fn refused(error: AdjustError, library: &Library, ingredients: &[usize]) -> CliError {
    let loosen = "Loosen `--bound`, `--keep`, `--raise` or `--lower`.";
    match error {
        AdjustError::Blend(error) => error.into(),
        AdjustError::Limits(LimitError::Contradiction { ingredient, least, most }) => {
            let key = ingredients
                .get(ingredient)
                .and_then(|&index| library.ingredients.get(index))
                .map_or("", |one| &one.key);
            Fault::new("limits", format!("`{key}` must be at least {least} % and at most {most} %")).hint(loosen).into()
        }
        AdjustError::Demand(error) => Fault::new("demand", error.to_string()).hint(MEASURABLE).into(),
        error => Fault::new("limits", error.to_string()).hint(loosen).into(),
    }
}

/// The answer as JSON.
pub fn json<'a>(
    found: &'a Adjustment,
    before: &'a Assessment,
    after: &'a Assessment,
    task: &Task,
    library: &Library,
) -> Answer<'a> {
    let changes = task.ingredients.iter().zip(found.before.iter().zip(&found.after));
    let changes = changes.filter(|(_, (from, to))| from != to).filter_map(|(&index, (&from_percent, &to_percent))| {
        let ingredient = library.ingredients.get(index)?.key.clone();
        Some(Change { ingredient, from_percent, to_percent })
    });
    let conflicts = found
        .conflicts
        .iter()
        .map(|&(first, second)| Conflict { first: found.demands[first].demand, second: found.demands[second].demand });
    Answer {
        before,
        after,
        changes: changes.collect(),
        feasible: found.feasible,
        confidence: task.confidence,
        mass_moved_percent: found.mass_moved,
        in_steps: found.in_steps,
        limits: &found.demands,
        conflicts: conflicts.collect(),
        over_price: found.over_price,
    }
}
