//! The reference table: a list of ingredients, or the card of one.

mod entry;
mod sources;

use std::collections::BTreeMap;

use barwright_reference::ingredient::AND;
use barwright_reference::names::normalise;
use barwright_reference::{
    AnimalOrigin, Component, InciPart, Ingredient, IngredientId, IngredientKind, Library, Lookup, Market, NutOrigin,
    Origin,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::refusal::{Fault, Refusal};
use crate::words::names::{capital, count, list, name, quoted};
use crate::words::number::significant;

pub use entry::Entry;
pub use sources::sources;

/// Every kind, in the order shown.
const KINDS: [IngredientKind; 10] = [
    IngredientKind::Wax,
    IngredientKind::Butter,
    IngredientKind::Oil,
    IngredientKind::Ester,
    IngredientKind::FattyAlcohol,
    IngredientKind::FattyAcid,
    IngredientKind::Hydrocarbon,
    IngredientKind::Scent,
    IngredientKind::Powder,
    IngredientKind::Other,
];

/// Which ingredients are there, and what is known of each?
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Ingredients {
    /// A name or a part of one; without it, all.
    pub query: Option<String>,
    /// Only those of this kind.
    pub kind: Option<IngredientKind>,
    /// Whether a list says where each figure comes from.
    pub sources: bool,
}

/// Ingredients with every figure.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Found {
    /// The ingredients.
    pub ingredients: Vec<Entry>,
    /// Publications by key.
    pub sources: BTreeMap<String, String>,
}

/// Answers [`Ingredients`]: the card of the one that is meant, or a list of several.
///
/// # Errors
/// No ingredient has the name, or none of that kind.
pub fn ingredients(library: &Library, asked: &Ingredients) -> Result<Answered<Found>, Refusal> {
    let matches = search(library, asked.query.as_deref(), asked.kind)?;
    let (shown, document) = match matches {
        Matches::One(one) => (vec![one], card(library, one)),
        Matches::Several(several) => {
            let document = table(&several, asked.sources);
            (several, document)
        }
    };
    let figures = Found {
        ingredients: shown.iter().map(|one| Entry::of(one, library)).collect(),
        sources: sources::cited(shown.into_iter().flat_map(sources::keys)),
    };
    Ok(Answered { figures, document, picture: None })
}

/// What a query matches.
enum Matches<'l> {
    /// The name of one ingredient.
    One(&'l Ingredient),
    /// Several, or all of a kind.
    Several(Vec<&'l Ingredient>),
}

/// Finds what a query means: the name of one ingredient, a name that several share, or a part of names.
fn search<'l>(library: &'l Library, query: Option<&str>, kind: Option<IngredientKind>) -> Result<Matches<'l>, Refusal> {
    let of_kind = |ingredient: &&Ingredient| kind.is_none_or(|kind| ingredient.kind == kind);
    let all = || library.ingredients.iter().filter(of_kind);
    let Some(query) = query else {
        return Ok(Matches::Several(all().collect()));
    };
    let wanted = normalise(query);
    let lookup = library.find(query);
    let mut found: Vec<&Ingredient> = match &lookup {
        Lookup::Found(index) => match library.get(*index).filter(of_kind) {
            Some(one) => return Ok(Matches::One(one)),
            None => Vec::new(),
        },
        Lookup::Ambiguous(indices) => indices.iter().filter_map(|index| library.get(*index)).collect(),
        Lookup::Unknown { .. } => Vec::new(),
    };
    found.retain(of_kind);
    if found.is_empty() && !wanted.is_empty() {
        found =
            all().filter(|ingredient| every_name(ingredient).any(|name| normalise(name).contains(&wanted))).collect();
    }
    match found.as_slice() {
        [] => Err(nothing(library, query, &lookup, kind.is_some()).into()),
        [one] => Ok(Matches::One(one)),
        _ => Ok(Matches::Several(found)),
    }
}

/// Every name of an ingredient.
fn every_name(ingredient: &Ingredient) -> impl Iterator<Item = &str> {
    let names = [&ingredient.key, &ingredient.common_name, &ingredient.inci_name];
    names.into_iter().chain(&ingredient.synonyms).map(String::as_str)
}

/// Says that nothing was found, and what may be meant.
fn nothing(library: &Library, query: &str, lookup: &Lookup, narrowed: bool) -> Fault {
    let keys = |ids: &[IngredientId]| -> String {
        let found = ids.iter().filter_map(|id| library.get(*id));
        quoted(&found.map(|ingredient| &ingredient.key).collect::<Vec<_>>(), "and")
    };
    let shown = name(query);
    let fault = |message: String| Fault::new("unknown-ingredient", message);
    match lookup {
        Lookup::Found(index) if narrowed => {
            fault(format!("{} is not of that kind", keys(&[*index]))).hint("Leave `--kind` out.")
        }
        Lookup::Unknown { nearest } => {
            let fault = fault(format!("no ingredient is called `{shown}`"));
            let fault = if nearest.is_empty() {
                fault.hint("`barwright ingredients` lists them all.")
            } else {
                fault.hint(format!("The nearest names are {}.", keys(nearest)))
            };
            if narrowed { fault.hint("Leave `--kind` out to search all kinds.") } else { fault }
        }
        _ => fault(format!("no ingredient of that kind is called `{shown}`")).hint("Leave `--kind` out."),
    }
}

/// A list of ingredients, one table for each kind.
fn table(shown: &[&Ingredient], with_sources: bool) -> Document {
    let mut document = Document::new("Ingredients", format!("{} listed", shown.len()));
    let mut tests: Vec<&str> = Vec::new();
    for kind in KINDS {
        let members = shown.iter().filter(|ingredient| ingredient.kind == kind);
        let rows: Vec<_> = members
            .map(|one| {
                let number = tests.iter().position(|test| *test == one.melt_test).unwrap_or_else(|| {
                    tests.push(&one.melt_test);
                    tests.len() - 1
                });
                [
                    one.key.clone(),
                    one.common_name.clone(),
                    format!("{} [{}]", sources::melting(one), number + 1),
                    significant(one.relative_firmness, 2),
                    format!("{:.3}", one.density_g_ml),
                    nut(one.nut_origin).to_owned(),
                ]
            })
            .collect();
        if rows.is_empty() {
            continue;
        }
        let table = Table::new("")
            .columns(Kind::Figure, ["key"])
            .columns(Kind::Words, ["name"])
            .columns(Kind::Figure, ["melts, °C"])
            .columns(Kind::Number, ["firmness", "g/ml"])
            .columns(Kind::Figure, ["nut"])
            .rows(rows);
        document = document.section(capital(kind_word(kind)), [Block::Table(table)]);
    }
    let tests = tests.iter().enumerate().map(|(index, test)| format!("[{}] {test}", index + 1));
    let notes = [
        "Firmness: yield stress of the neat ingredient at 25 °C, rested; beeswax is 1.",
        "All there is about one: `barwright ingredients NAME`.",
    ];
    document = document
        .section("Melting ranges by", [Block::said(tests)])
        .section("Notes", notes.map(|note| Block::Small(note.to_owned())));
    if with_sources {
        let cited = sources::cited(shown.iter().flat_map(|one| sources::keys(one)));
        document = document.section("Where the figures come from", [Block::Table(sources::credits(shown))]);
        document.sections.extend(sources::references(cited));
    }
    document
}

/// Everything known of one ingredient.
fn card(library: &Library, ingredient: &Ingredient) -> Document {
    let terms = Block::terms(terms(library, ingredient));
    let mut document = Document::new(&ingredient.common_name, &ingredient.key)
        .lead([terms])
        .section("Figures", [Block::Table(sources::table("", sources::figures(ingredient)))]);
    if !ingredient.composition.is_empty() {
        document = document.section(
            "Composition, % by mass, and its spread between lots",
            [Block::Table(composition(library, ingredient))],
        );
    }
    let mut notes: Vec<(&str, usize)> = Vec::new();
    for component in ingredient.composition.iter().filter(|component| !component.note.is_empty()) {
        match notes.iter_mut().find(|(note, _)| *note == component.note) {
            Some((_, count)) => *count += 1,
            None => notes.push((&component.note, 1)),
        }
    }
    if !notes.is_empty() {
        let notes = notes.into_iter().map(|(note, number)| (count(number, "figure", "figures"), note));
        document.sections.push(Section::new("How the composition was obtained", [Block::terms(notes)]));
    }
    document.sections.extend(sources::references(sources::cited(sources::all_keys(ingredient))));
    document
}

/// What an ingredient is, in words.
fn terms(library: &Library, ingredient: &Ingredient) -> Vec<(String, String)> {
    let mut terms = vec![("Declared name".to_owned(), ingredient.inci_name.clone())];
    for market in Market::ALL {
        let names = entry::label_names(library, ingredient, market);
        if names.join(AND) != ingredient.inci_name {
            terms.push((format!("On a label, {}", market.name()), names.join(", ")));
        }
    }
    let mut add = |term: &str, text: String| {
        if !text.is_empty() {
            terms.push((term.to_owned(), text));
        }
    };
    add("A blend of", list(&ingredient.inci_parts.iter().map(blended).collect::<Vec<_>>(), "and"));
    add("Also called", ingredient.synonyms.join(", "));
    add("Kind", format!("{}, {}", kind_word(ingredient.kind), origin(ingredient.origin)));
    add("Nut origin", nut_words(ingredient.nut_origin).to_owned());
    add("Animal origin", animal_words(ingredient.animal_origin).to_owned());
    add("Contact allergen", ingredient.sensitiser.as_ref().map_or_else(String::new, |of| format!("yes, {of}")));
    add("Remarks", capital(&ingredient.note));
    terms
}

/// The composition, the largest share first.
fn composition(library: &Library, ingredient: &Ingredient) -> Table {
    let row = |component: &Component| {
        let species = library.species.get(component.species);
        [
            species.map_or_else(String::new, |species| species.key.clone()),
            species.map_or_else(String::new, |species| species.name.clone()),
            format!("{:.1}", component.percent),
            format!("± {}", significant(component.sd_percent, 2)),
            component.status.word().to_owned(),
            sources::source(&component.source),
        ]
    };
    Table::new("")
        .columns(Kind::Words, ["species", "what it is"])
        .columns(Kind::Number, ["%", "spread"])
        .columns(Kind::Words, ["how", "source"])
        .rows(sources::by_share(ingredient).into_iter().map(row))
}

fn kind_word(kind: IngredientKind) -> &'static str {
    match kind {
        IngredientKind::Wax => "wax",
        IngredientKind::Butter => "butter",
        IngredientKind::Oil => "oil",
        IngredientKind::Ester => "ester",
        IngredientKind::FattyAlcohol => "fatty alcohol",
        IngredientKind::FattyAcid => "fatty acid",
        IngredientKind::Hydrocarbon => "hydrocarbon",
        IngredientKind::Scent => "scent",
        IngredientKind::Powder => "powder",
        IngredientKind::Other => "other",
    }
}

fn origin(origin: Origin) -> &'static str {
    match origin {
        Origin::Plant => "from a plant",
        Origin::Animal => "from an animal",
        Origin::Mineral => "from mineral oil",
        Origin::Synthetic => "made",
    }
}

/// The nut flag of the table.
fn nut(origin: NutOrigin) -> &'static str {
    match origin {
        NutOrigin::No => "–",
        other => other.word(),
    }
}

fn nut_words(origin: NutOrigin) -> &'static str {
    match origin {
        NutOrigin::No => "no",
        NutOrigin::TreeNut => "yes, from a tree nut",
        NutOrigin::Peanut => "yes, from peanut",
        NutOrigin::Coconut => "coconut, which some rules count among the nuts",
        NutOrigin::Shea => "shea, which some rules count among the tree nuts",
        NutOrigin::Possible => "possible, depending on the lot",
    }
}

fn animal_words(origin: AnimalOrigin) -> &'static str {
    match origin {
        AnimalOrigin::No => "no",
        AnimalOrigin::Possible => "possible, depending on the lot",
        AnimalOrigin::Yes => "yes",
    }
}

/// `35 % (15 to 50) Hydrogenated Olive Oil, estimated`.
fn blended(part: &InciPart) -> String {
    let range = if part.low_percent < part.high_percent {
        format!(" ({} to {})", significant(part.low_percent, 3), significant(part.high_percent, 3))
    } else {
        String::new()
    };
    format!("{} %{range} {} [{}]", significant(part.percent, 3), part.inci_name, part.status.word())
}
