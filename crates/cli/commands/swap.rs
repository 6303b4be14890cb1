//! `swap`: another ingredient in place of one that ran out.

use barwright_answer::words::names;
use barwright_blend::{Assessment, assess};
use barwright_reference::{AnimalOrigin, Ingredient, Library, NutOrigin};
use barwright_reformulate::swap::{Kept, Replacement, SwapError, SwapTask, swap};
use serde::Serialize;

use super::adjust::write_formula;
use crate::args::Swap;
use crate::error::CliError;
use crate::input::load;
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;
use crate::render;
use barwright_answer::Fault;
use barwright_answer::engine::find;

/// One replacement as JSON.
#[derive(Debug, Serialize)]
struct Ranked<'a> {
    ingredient: &'a str,
    from_percent: f64,
    to_percent: f64,
    distance: f64,
    animal_origin: AnimalOrigin,
    properties: &'a [Kept],
}

/// The answer as JSON.
#[derive(Debug, Serialize)]
pub struct Answer<'a> {
    before: &'a Assessment,
    after: &'a Assessment,
    replacements: Vec<Ranked<'a>>,
}

/// Runs the subcommand.
pub fn run(order: &Swap, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&order.formula], profile.lots(order.wishes.making.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, order.named.as_deref(), "swap")?;
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let library = &loaded.library;
    let mut faults = Vec::new();
    let mut found = |name: &str, option: &str| find(library, name, option).map_err(|fault| faults.push(*fault)).ok();
    let replaced = found(&order.replace, "--replace");
    let candidates: Vec<usize> = order.with.iter().filter_map(|name| found(name, "--with")).collect();
    let (Some(replaced), true) = (replaced, faults.is_empty()) else {
        return Err(CliError::input(faults));
    };
    let task = SwapTask {
        replaced,
        candidates,
        vegan: order.vegan,
        nut_free: order.nut_free,
        step_percent: (order.step > 0.0).then_some(order.step),
    };
    let model = profile.model(streams)?;
    let options = order.wishes.options();
    let mut found = swap(library, &model, &options, formula, &task).map_err(|error| refused(error, &order.replace))?;
    found.truncate(usize::try_from(order.most).unwrap_or(usize::MAX));
    let Some(first) = found.first() else { return Err(CliError::internal("a replacement was found and lost")) };
    let known = |ingredient: usize| formula.parts.iter().any(|part| part.ingredient == ingredient);
    let brought = first.formula.parts.iter().map(|part| part.ingredient).filter(|ingredient| !known(*ingredient));
    loaded.about.write(brought, streams)?;
    let before = assess(library, &model, formula, &options)?;
    let after = assess(library, &model, &first.formula, &options)?;
    type Passes = fn(&Ingredient) -> bool;
    // The filters choose among what is tried; what else is in the formula is the maker's to know.
    let left = |kept: Passes| -> Vec<String> {
        let parts = first.formula.parts.iter().filter_map(|part| library.ingredients.get(part.ingredient));
        parts.filter(|one| !kept(one)).map(|one| format!("`{}`", one.key)).collect()
    };
    let asked: [(bool, &str, Passes); 2] = [
        (order.vegan, "--vegan", |one| one.animal_origin != AnimalOrigin::Yes),
        (order.nut_free, "--nut-free", |one| one.nut_origin == NutOrigin::No),
    ];
    for (_, option, kept) in asked.iter().filter(|(asked, ..)| *asked) {
        let left = left(*kept);
        if !left.is_empty() {
            let what = names::list(&left, "and");
            streams
                .remarks
                .note(&format!("`{option}` chooses the replacement only; the formula still holds {what}"))?;
        }
    }
    if order.wishes.showing.json {
        streams.data.json(&json(&found, &before, &after, library))?;
    } else {
        let view = render::swap::View {
            found: &found,
            replaced,
            before: &before,
            after: &after,
            formula,
            library,
            options: &options,
            units: order.wishes.showing.units,
            vegan: order.vegan,
        };
        render::swap::write(&mut streams.data, &view)?;
    }
    match &order.out {
        Some(path) => {
            let text = loaded.texts.get(index).and_then(Option::as_deref);
            write_formula(path, text, &first.formula, library, streams)
        }
        None => Ok(()),
    }
}

/// The answer as JSON.
pub fn json<'a>(
    found: &'a [Replacement],
    before: &'a Assessment,
    after: &'a Assessment,
    library: &'a Library,
) -> Answer<'a> {
    let of = |index: usize| library.ingredients.get(index);
    let ranked = found.iter().map(|one| Ranked {
        ingredient: of(one.ingredient).map_or("", |one| one.key.as_str()),
        animal_origin: of(one.ingredient).map_or(AnimalOrigin::Possible, |one| one.animal_origin),
        from_percent: one.from_percent,
        to_percent: one.to_percent,
        distance: one.distance,
        properties: &one.properties,
    });
    Answer { before, after, replacements: ranked.collect() }
}

/// Says why nothing was replaced.
pub fn refused(error: SwapError, name: &str) -> CliError {
    let shown = names::name(name);
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
