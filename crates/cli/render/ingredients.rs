//! The reference table, the card of one ingredient, and both as JSON.

use std::collections::BTreeMap;
use std::io;

use barwright_reference::ingredient::AND;
use barwright_reference::{
    AnimalOrigin, Component, InciPart, Ingredient, IngredientKind, Library, Market, NutOrigin, Origin, Status,
};
use serde::Serialize;

use barwright_answer::provenance::{ESTIMATE, HOW, by_share, cited, melting, source};

use super::capital;
use super::table::Sheet;
use crate::output::Output;
use barwright_answer::words::number::significant;

/// Every kind, in the order shown.
const KINDS: [IngredientKind; 8] = [
    IngredientKind::Wax,
    IngredientKind::Butter,
    IngredientKind::Oil,
    IngredientKind::Ester,
    IngredientKind::FattyAlcohol,
    IngredientKind::FattyAcid,
    IngredientKind::Hydrocarbon,
    IngredientKind::Other,
];

/// Writes the table of ingredients, one part for each kind.
pub fn write_table(output: &mut Output<'_>, shown: &[&Ingredient], with_sources: bool) -> io::Result<()> {
    let mut tests: Vec<&str> = Vec::new();
    for kind in KINDS {
        let members: Vec<_> = shown.iter().filter(|ingredient| ingredient.kind == kind).collect();
        if members.is_empty() {
            continue;
        }
        output.heading(&capital(kind_word(kind)))?;
        let mut sheet =
            Sheet::new(&["key", "name", "melts, °C", "firmness", "g/ml", "nut"]).right(&[3, 4]).whole(&[0, 2, 3, 4, 5]);
        for ingredient in members {
            let number = tests.iter().position(|test| *test == ingredient.melt_test).unwrap_or_else(|| {
                tests.push(&ingredient.melt_test);
                tests.len() - 1
            });
            sheet.row(&[
                &ingredient.key,
                &ingredient.common_name,
                &format!("{} [{}]", melting(ingredient), number + 1),
                &significant(ingredient.relative_firmness, 2),
                &format!("{:.3}", ingredient.density_g_ml),
                nut(ingredient.nut_origin),
            ]);
        }
        sheet.write(output)?;
    }
    output.heading("Melting ranges by")?;
    for (index, test) in tests.iter().enumerate() {
        output.line(&format!("  [{}] {test}", index + 1))?;
    }
    output.blank()?;
    output.text("Firmness: yield stress of the neat ingredient at 25 °C, rested; beeswax is 1.", 0)?;
    let count = if shown.len() == 1 { "1 ingredient".to_owned() } else { format!("{} ingredients", shown.len()) };
    output.text(&format!("{count}. The whole card of one: `barwright ingredients NAME`."), 0)?;
    if with_sources {
        output.heading("Where the figures come from")?;
        let mut sheet =
            Sheet::new(&["ingredient", "melting", "firmness", "density", "needle", "composition"]).whole(&[0]);
        for ingredient in shown {
            sheet.row(&[
                ingredient.key.clone(),
                credit(&ingredient.melt_source, ingredient.melt_status),
                credit(&ingredient.relative_firmness_source, ingredient.relative_firmness_status),
                credit(&ingredient.density_source, ingredient.density_status),
                match (&ingredient.needle_source, ingredient.needle_status) {
                    (Some(source), Some(status)) => credit(source, status),
                    _ => "–".to_owned(),
                },
                composition_credit(ingredient),
            ]);
        }
        sheet.write(output)?;
        write_citations(output, shown)?;
    }
    Ok(())
}

/// Writes everything known of one ingredient.
pub fn write_card(output: &mut Output<'_>, library: &Library, ingredient: &Ingredient) -> io::Result<()> {
    output.title(&ingredient.common_name, &ingredient.key)?;
    output.blank()?;
    output.item("Declared name", &ingredient.inci_name)?;
    for market in Market::ALL {
        let names = label_names(library, ingredient, market);
        if names.join(AND) != ingredient.inci_name {
            output.item(&format!("On a label, {}", market.name()), &names.join(", "))?;
        }
    }
    if !ingredient.inci_parts.is_empty() {
        output
            .item("A blend of", &super::list(&ingredient.inci_parts.iter().map(blended).collect::<Vec<_>>(), "and"))?;
    }
    if !ingredient.synonyms.is_empty() {
        output.item("Also called", &ingredient.synonyms.join(", "))?;
    }
    output.item("Kind", &format!("{}, {}", kind_word(ingredient.kind), origin(ingredient.origin)))?;
    output.item("Nut origin", nut_words(ingredient.nut_origin))?;
    output.item("Animal origin", animal_words(ingredient.animal_origin))?;
    if let Some(sensitiser) = &ingredient.sensitiser {
        output.item("Contact allergen", &format!("yes, {sensitiser}"))?;
    }
    if !ingredient.note.is_empty() {
        output.item("Remarks", &capital(&ingredient.note))?;
    }

    output.heading("Figures")?;
    let mut sheet = Sheet::new(&["", "figure", "how", "source"]);
    sheet.row(&[
        "melting, °C".to_owned(),
        format!("{}, {}", melting(ingredient), ingredient.melt_test),
        ingredient.melt_status.word().to_owned(),
        source(&ingredient.melt_source),
    ]);
    sheet.row(&[
        format!("density at {} °C, g/ml", ingredient.density_at_c),
        format!("{:.3}", ingredient.density_g_ml),
        ingredient.density_status.word().to_owned(),
        source(&ingredient.density_source),
    ]);
    sheet.row(&[
        "needle at 25 °C, 0.1 mm".to_owned(),
        ingredient.needle_dmm_25c.map_or_else(|| "none published".to_owned(), |needle| significant(needle, 2)),
        ingredient.needle_status.map_or("", Status::word).to_owned(),
        ingredient.needle_source.as_deref().map_or_else(String::new, source),
    ]);
    sheet.row(&[
        "firmness at 25 °C, beeswax 1".to_owned(),
        significant(ingredient.relative_firmness, 2),
        ingredient.relative_firmness_status.word().to_owned(),
        source(&ingredient.relative_firmness_source),
    ]);
    sheet.write(output)?;

    output.heading("Composition, % by mass, and its spread between lots")?;
    let mut sheet = Sheet::new(&["species", "what it is", "%", "spread", "how", "source"]).right(&[2, 3]);
    for component in by_share(ingredient) {
        let species = library.species.get(component.species);
        sheet.row(&[
            species.map_or("", |species| &species.key),
            species.map_or("", |species| &species.name),
            &format!("{:.1}", component.percent),
            &format!("± {}", significant(component.sd_percent, 2)),
            component.status.word(),
            &source(&component.source),
        ]);
    }
    sheet.write(output)?;
    let mut notes: Vec<(&str, usize)> = Vec::new();
    for component in ingredient.composition.iter().filter(|component| !component.note.is_empty()) {
        match notes.iter_mut().find(|(note, _)| *note == component.note) {
            Some((_, count)) => *count += 1,
            None => notes.push((&component.note, 1)),
        }
    }
    if !notes.is_empty() {
        output.heading("How the composition was obtained")?;
        for (note, count) in notes {
            let figures = if count == 1 { "1 figure".to_owned() } else { format!("{count} figures") };
            output.item(&figures, note)?;
        }
    }
    write_citations(output, &[ingredient])
}

/// Writes the publications behind the figures shown.
fn write_citations(output: &mut Output<'_>, shown: &[&Ingredient]) -> io::Result<()> {
    let citations = citations(shown);
    if citations.is_empty() {
        return Ok(());
    }
    output.heading("Sources")?;
    for (key, citation) in citations {
        output.item(&key, &citation)?;
    }
    output.blank()?;
    output.text(HOW, 0)
}

/// Returns the publications behind the figures of ingredients, by key.
fn citations(shown: &[&Ingredient]) -> BTreeMap<String, String> {
    cited(shown.iter().flat_map(|ingredient| {
        let figures = [&ingredient.melt_source, &ingredient.density_source, &ingredient.relative_firmness_source];
        let composition = ingredient.composition.iter().map(|component| &component.source);
        figures.into_iter().chain(&ingredient.needle_source).chain(composition).map(String::as_str)
    }))
}

/// Returns the sources of a composition with the least certain way they were obtained.
fn composition_credit(ingredient: &Ingredient) -> String {
    let mut seen: Vec<(&str, Status)> = Vec::new();
    for component in &ingredient.composition {
        if !seen.contains(&(&component.source, component.status)) {
            seen.push((&component.source, component.status));
        }
    }
    let credits: Vec<String> = seen.into_iter().map(|(source, status)| credit(source, status)).collect();
    credits.join(", ")
}

/// Returns a source with how a figure was obtained from it.
fn credit(key: &str, status: Status) -> String {
    if key == ESTIMATE { status.word().to_owned() } else { format!("{key} ({})", status.word()) }
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

/// Returns the nut flag of the table.
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

/// Names on a label: one, or those of a blend.
fn label_names(library: &Library, ingredient: &Ingredient, market: Market) -> Vec<String> {
    let name = |inci_name: &String| library.label_name(inci_name, market);
    match ingredient.inci_parts.as_slice() {
        [] => vec![name(&ingredient.inci_name)],
        parts => parts.iter().map(|part| name(&part.inci_name)).collect(),
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

/// Ingredients as one JSON document.
#[derive(Debug, Serialize)]
pub struct Document<'l> {
    ingredients: Vec<Entry<'l>>,
    /// Publications by key.
    sources: BTreeMap<String, String>,
}

#[derive(Debug, Serialize)]
struct Entry<'l> {
    key: &'l str,
    common_name: &'l str,
    inci_name: &'l str,
    synonyms: &'l [String],
    kind: IngredientKind,
    nut_origin: NutOrigin,
    origin: Origin,
    animal_origin: AnimalOrigin,
    sensitiser: Option<&'l str>,
    label_names: LabelNames,
    inci_parts: &'l [InciPart],
    melt: Melting<'l>,
    density: Density<'l>,
    needle_25c: Option<Figure<'l>>,
    relative_firmness_25c: Figure<'l>,
    composition: Vec<Share<'l>>,
    note: &'l str,
}

/// Names on labels: one, or those of a blend.
#[derive(Debug, Serialize)]
struct LabelNames {
    eu: Vec<String>,
    us: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Melting<'l> {
    low_c: f64,
    high_c: f64,
    test: &'l str,
    status: Status,
    source: &'l str,
}

#[derive(Debug, Serialize)]
struct Density<'l> {
    g_ml: f64,
    at_c: f64,
    status: Status,
    source: &'l str,
}

#[derive(Debug, Serialize)]
struct Figure<'l> {
    value: f64,
    status: Status,
    source: &'l str,
}

#[derive(Debug, Serialize)]
struct Share<'l> {
    species: &'l str,
    name: &'l str,
    percent: f64,
    sd_percent: f64,
    status: Status,
    source: &'l str,
    note: &'l str,
}

impl<'l> Document<'l> {
    /// Makes the document.
    pub fn new(library: &'l Library, shown: &[&'l Ingredient]) -> Self {
        Document {
            ingredients: shown.iter().map(|ingredient| entry(library, ingredient)).collect(),
            sources: citations(shown),
        }
    }
}

fn entry<'l>(library: &'l Library, ingredient: &'l Ingredient) -> Entry<'l> {
    let needle = match (ingredient.needle_dmm_25c, ingredient.needle_status, &ingredient.needle_source) {
        (Some(value), Some(status), Some(source)) => Some(Figure { value, status, source }),
        _ => None,
    };
    let share = |component: &'l Component| {
        let species = library.species.get(component.species);
        Share {
            species: species.map_or("", |species| &species.key),
            name: species.map_or("", |species| &species.name),
            percent: component.percent,
            sd_percent: component.sd_percent,
            status: component.status,
            source: &component.source,
            note: &component.note,
        }
    };
    Entry {
        key: &ingredient.key,
        common_name: &ingredient.common_name,
        inci_name: &ingredient.inci_name,
        synonyms: &ingredient.synonyms,
        kind: ingredient.kind,
        nut_origin: ingredient.nut_origin,
        origin: ingredient.origin,
        animal_origin: ingredient.animal_origin,
        sensitiser: ingredient.sensitiser.as_deref(),
        label_names: LabelNames {
            eu: label_names(library, ingredient, Market::Eu),
            us: label_names(library, ingredient, Market::Us),
        },
        inci_parts: &ingredient.inci_parts,
        melt: Melting {
            low_c: ingredient.melt_low_c,
            high_c: ingredient.melt_high_c,
            test: &ingredient.melt_test,
            status: ingredient.melt_status,
            source: &ingredient.melt_source,
        },
        density: Density {
            g_ml: ingredient.density_g_ml,
            at_c: ingredient.density_at_c,
            status: ingredient.density_status,
            source: &ingredient.density_source,
        },
        needle_25c: needle,
        relative_firmness_25c: Figure {
            value: ingredient.relative_firmness,
            status: ingredient.relative_firmness_status,
            source: &ingredient.relative_firmness_source,
        },
        composition: by_share(ingredient).into_iter().map(share).collect(),
        note: &ingredient.note,
    }
}
