//! Where the figures of ingredients come from.

use std::collections::BTreeMap;

use barwright_reference::lots::LOT_SOURCE;
use barwright_reference::sources::{SOURCES, read_sources};
use barwright_reference::viscosity::ViscosityUnit;
use barwright_reference::{Component, Formula, Ingredient, IngredientId, Library, Status};

use crate::document::{Block, Kind, Section, Table};
use crate::words::names::{capital, name};
use crate::words::number::significant;
use crate::words::visible::visible;

/// Source of a figure without a publication.
const ESTIMATE: &str = "estimate";

/// What the statuses mean.
const HOW: &str =
    "How: `read` seen in the named publication; `recalled` quoted from memory of it; `estimated` worked out by us.";

/// Every figure of the ingredients of formulas, with its status and source.
pub fn sources(library: &Library, formulas: &[Formula]) -> Section {
    let mut used: Vec<IngredientId> = Vec::new();
    for part in formulas.iter().flat_map(|formula| &formula.parts) {
        if !used.contains(&part.ingredient) {
            used.push(part.ingredient);
        }
    }
    let used: Vec<&Ingredient> = used.into_iter().filter_map(|id| library.get(id)).collect();
    let tables = used.iter().map(|one| {
        let caption = format!("{} ({})", capital(&name(&one.common_name)), visible(&one.inci_name));
        Block::Table(table(caption, figures(one).into_iter().chain(composition(library, one))))
    });
    let mut blocks: Vec<Block> = tables.collect();
    blocks.push(Block::Small(HOW.to_owned()));
    blocks.push(Block::Under("References".to_owned()));
    blocks.push(Block::terms(cited(used.into_iter().flat_map(all_keys))));
    Section::new("Where the figures of the ingredients come from", blocks)
}

/// The publications behind figures, as a section; `None` where there are none.
pub(super) fn references(citations: BTreeMap<String, String>) -> Option<Section> {
    let blocks = [Block::terms(citations.clone()), Block::Small(HOW.to_owned())];
    (!citations.is_empty()).then(|| Section::new("Sources", blocks))
}

/// A table of figures with their statuses and sources.
pub(super) fn table(caption: impl Into<String>, rows: impl IntoIterator<Item = [String; 4]>) -> Table {
    Table::new(caption).columns(Kind::Words, ["figure", "value", "how", "source"]).rows(rows)
}

/// The figures of an ingredient but for its composition.
pub(super) fn figures(ingredient: &Ingredient) -> Vec<[String; 4]> {
    let row = |what: &str, value: String, status: Status, key: &str| {
        [what.to_owned(), value, status.word().to_owned(), source(key)]
    };
    let one = ingredient;
    let melting_range = format!("{} ({})", melting(one), one.melt_test);
    let density = format!("density at {} °C, g/ml", one.density_at_c);
    let mut rows = vec![
        row("melting range, °C", melting_range, one.melt_status, &one.melt_source),
        row(&density, one.density_g_ml.to_string(), one.density_status, &one.density_source),
    ];
    if let (Some(value), Some(status), Some(key)) = (one.needle_dmm_25c, one.needle_status, &one.needle_source) {
        rows.push(row("needle at 25 °C, 0.1 mm", value.to_string(), status, key));
    }
    let firmness = significant(one.relative_firmness, 2);
    let (status, key) = (one.relative_firmness_status, &one.relative_firmness_source);
    rows.push(row("firmness at 25 °C against beeswax", firmness, status, key));
    if let Some(powder) = &one.powder {
        let (diameter, packing) = (powder.diameter_um.to_string(), powder.max_packing.to_string());
        rows.push(row("median diameter of the grains, µm", diameter, powder.status, &powder.source));
        rows.push(row("share of the volume at which they touch", packing, powder.status, &powder.source));
    }
    rows.extend(one.viscosity.iter().map(|point| {
        let unit = match point.unit {
            ViscosityUnit::Dynamic => "mPa·s",
            ViscosityUnit::Kinematic => "mm²/s",
        };
        let of = if point.of_kind { ", of its kind" } else { "" };
        let what = format!("viscosity at {} °C, {unit}{of}", point.temperature_c);
        row(&what, point.viscosity.to_string(), point.status, &point.source)
    }));
    rows
}

/// The composition of an ingredient: one row for each source and status.
fn composition(library: &Library, ingredient: &Ingredient) -> Vec<[String; 4]> {
    let mut groups: Vec<(Status, &str, Vec<String>)> = Vec::new();
    for component in by_share(ingredient) {
        let species = library.species.get(component.species).map_or("", |species| &species.key);
        let share = format!("{species} {:.1}", component.percent);
        match groups.iter_mut().find(|(status, key, _)| *status == component.status && *key == component.source) {
            Some((_, _, shares)) => shares.push(share),
            None => groups.push((component.status, &component.source, vec![share])),
        }
    }
    let row = |(status, key, shares): (Status, &str, Vec<String>)| {
        ["composition, % by mass".to_owned(), shares.join(", "), status.word().to_owned(), source(key)]
    };
    groups.into_iter().map(row).collect()
}

/// The components, the largest share first.
pub(super) fn by_share(ingredient: &Ingredient) -> Vec<&Component> {
    let mut components: Vec<&Component> = ingredient.composition.iter().collect();
    components.sort_by(|a, b| b.percent.total_cmp(&a.percent));
    components
}

/// The melting range, °C.
pub(super) fn melting(ingredient: &Ingredient) -> String {
    if ingredient.melt_low_c == ingredient.melt_high_c {
        ingredient.melt_low_c.to_string()
    } else {
        format!("{} to {}", ingredient.melt_low_c, ingredient.melt_high_c)
    }
}

/// Where the figures of ingredients come from, one row each.
pub(super) fn credits(shown: &[&Ingredient]) -> Table {
    let row = |one: &&Ingredient| {
        let needle = one.needle_source.as_ref().zip(one.needle_status);
        let mut composition: Vec<String> = Vec::new();
        for component in &one.composition {
            let credit = credit(&component.source, component.status);
            if !composition.contains(&credit) {
                composition.push(credit);
            }
        }
        [
            one.key.clone(),
            credit(&one.melt_source, one.melt_status),
            credit(&one.relative_firmness_source, one.relative_firmness_status),
            credit(&one.density_source, one.density_status),
            needle.map_or_else(|| "–".to_owned(), |(key, status)| credit(key, status)),
            composition.join(", "),
        ]
    };
    Table::new("")
        .columns(Kind::Figure, ["ingredient"])
        .columns(Kind::Words, ["melting", "firmness", "density", "needle", "composition"])
        .rows(shown.iter().map(row))
}

/// A source with the status of what was taken from it.
fn credit(key: &str, status: Status) -> String {
    if key == ESTIMATE { status.word().to_owned() } else { format!("{key} ({})", status.word()) }
}

/// The key of a source; a figure without a publication has none.
pub(super) fn source(key: &str) -> String {
    if key == ESTIMATE { "–".to_owned() } else { key.to_owned() }
}

/// Keys of the sources of an ingredient but for its viscosities.
pub(super) fn keys(ingredient: &Ingredient) -> impl Iterator<Item = &str> {
    let figures = [&ingredient.melt_source, &ingredient.density_source, &ingredient.relative_firmness_source];
    let composition = ingredient.composition.iter().map(|component| &component.source);
    figures.into_iter().chain(&ingredient.needle_source).chain(composition).map(String::as_str)
}

/// Keys of all sources of an ingredient.
pub(super) fn all_keys(ingredient: &Ingredient) -> impl Iterator<Item = &str> {
    keys(ingredient)
        .chain(ingredient.powder.iter().map(|powder| powder.source.as_str()))
        .chain(ingredient.viscosity.iter().map(|point| point.source.as_str()))
}

/// Publications by key.
pub(super) fn cited<'k>(keys: impl IntoIterator<Item = &'k str>) -> BTreeMap<String, String> {
    let known = read_sources(SOURCES).unwrap_or_default();
    let mut citations = BTreeMap::new();
    for key in keys.into_iter().filter(|key| *key != ESTIMATE) {
        citations.entry(key.to_owned()).or_insert_with(|| match known.iter().find(|source| source.key == key) {
            Some(source) => source.citation(),
            None if key == LOT_SOURCE => "your own lot file".to_owned(),
            None => "not in the bibliography".to_owned(),
        });
    }
    citations
}
