//! `ingredients`: the reference table and the card of one ingredient.

use barwright_reference::names::normalise;
use barwright_reference::{Ingredient, IngredientKind, Library, Lookup};

use crate::args::Ingredients;
use crate::error::CliError;
use crate::output::Streams;
use crate::render::ingredients::{Document, write_card, write_table};
use crate::render::{list, name};
use barwright_answer::Fault;
use barwright_answer::engine::builtin_library;

/// What a query matched.
enum Matches<'l> {
    /// The name of one ingredient.
    One(&'l Ingredient),
    /// Several, or all of a kind.
    Several(Vec<&'l Ingredient>),
}

/// Runs the subcommand.
pub fn run(order: &Ingredients, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let library = builtin_library()?;
    let kind = order.kind.map(IngredientKind::from);
    let found = search(&library, order.query.as_deref(), kind)?;
    if order.json {
        let shown = match found {
            Matches::One(one) => vec![one],
            Matches::Several(several) => several,
        };
        return streams.data.json(&Document::new(&library, &shown));
    }
    match found {
        Matches::One(one) => write_card(&mut streams.data, &library, one)?,
        Matches::Several(several) => write_table(&mut streams.data, &several, order.sources)?,
    }
    Ok(())
}

/// Finds what a query means: the name of one ingredient, a name that several share, or a part of names.
fn search<'l>(
    library: &'l Library,
    query: Option<&str>,
    kind: Option<IngredientKind>,
) -> Result<Matches<'l>, CliError> {
    let of_kind = |ingredient: &&Ingredient| kind.is_none_or(|kind| ingredient.kind == kind);
    let all = || library.ingredients.iter().filter(of_kind);
    let Some(query) = query else {
        return Ok(Matches::Several(all().collect()));
    };
    let wanted = normalise(query);
    let by_index = |indices: &[usize]| -> Vec<&'l Ingredient> {
        indices.iter().filter_map(|index| library.ingredients.get(*index)).collect()
    };
    let lookup = library.find(query);
    let mut found = match &lookup {
        Lookup::Found(index) => match by_index(&[*index]).first() {
            Some(one) if of_kind(one) => return Ok(Matches::One(one)),
            _ => Vec::new(),
        },
        Lookup::Ambiguous(indices) => by_index(indices),
        Lookup::Unknown { .. } => Vec::new(),
    };
    found.retain(of_kind);
    if found.is_empty() && !wanted.is_empty() {
        found =
            all().filter(|ingredient| every_name(ingredient).any(|name| normalise(name).contains(&wanted))).collect();
    }
    match found.as_slice() {
        [] => Err(nothing(library, query, &lookup, kind.is_some())),
        [one] => Ok(Matches::One(one)),
        _ => Ok(Matches::Several(found)),
    }
}

/// Returns every name of an ingredient.
fn every_name(ingredient: &Ingredient) -> impl Iterator<Item = &str> {
    [&ingredient.key, &ingredient.common_name, &ingredient.inci_name]
        .into_iter()
        .chain(&ingredient.synonyms)
        .map(String::as_str)
}

/// Says that nothing was found, and what may be meant.
fn nothing(library: &Library, query: &str, lookup: &Lookup, narrowed: bool) -> CliError {
    let keys = |indices: &[usize]| -> Vec<String> {
        indices
            .iter()
            .filter_map(|index| library.ingredients.get(*index))
            .map(|ingredient| format!("`{}`", ingredient.key))
            .collect()
    };
    let shown = name(query);
    match lookup {
        Lookup::Found(index) if narrowed => {
            let key = list(&keys(&[*index]), "and");
            Fault::new("unknown-ingredient", format!("{key} is not of that kind")).hint("Leave `--kind` out.")
        }
        Lookup::Unknown { nearest } => {
            let fault = Fault::new("unknown-ingredient", format!("no ingredient is called `{shown}`"))
                .hint(format!("The nearest names are {}.", list(&keys(nearest), "and")));
            if narrowed { fault.hint("Leave `--kind` out to search all kinds.") } else { fault }
        }
        _ => Fault::new("unknown-ingredient", format!("no ingredient of that kind is called `{shown}`"))
            .hint("Leave `--kind` out."),
    }
    .into()
}
