//! Where the figures of ingredients come from: how each was obtained, and its publication.

use std::collections::BTreeMap;

use barwright_reference::lots::LOT_SOURCE;
use barwright_reference::sources::{SOURCES, read_sources};
use barwright_reference::viscosity::ViscosityUnit;
use barwright_reference::{Component, Formula, Ingredient, Library, Status};

use crate::document::{Block, Kind, Section, Table};
use crate::words::names::{capital, name};
use crate::words::number::significant;
use crate::words::visible::visible;

/// The key of figures without a publication.
pub const ESTIMATE: &str = "estimate";

/// Every figure of every ingredient of formulas, with how it was obtained and where from.
pub(crate) fn section(library: &Library, formulas: &[Formula]) -> Section {
    let mut blocks = Vec::new();
    let mut seen = Vec::new();
    let mut keys = Vec::new();
    for part in formulas.iter().flat_map(|formula| &formula.parts) {
        let Some(ingredient) = library.ingredients.get(part.ingredient) else { continue };
        if seen.contains(&part.ingredient) {
            continue;
        }
        seen.push(part.ingredient);
        let caption = format!("{} ({})", capital(&name(&ingredient.common_name)), visible(&ingredient.inci_name));
        let figures = figures(library, ingredient);
        keys.extend(figures.iter().map(|figure| figure.source.clone()));
        let rows = figures.into_iter().map(|one| [one.what, one.value, one.how, source(&one.source)]);
        blocks.push(Block::Table(Table::new(caption).columns(Kind::Words, FIGURES).rows(rows)));
    }
    blocks.push(Block::Small(HOW.to_owned()));
    blocks.push(Block::Under("References".to_owned()));
    blocks.push(Block::terms(cited(keys.iter().map(String::as_str))));
    Section::new("Where the figures of the ingredients come from", blocks)
}

/// Returns publications by key.
pub fn cited<'k>(keys: impl IntoIterator<Item = &'k str>) -> BTreeMap<String, String> {
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

/// What the ways mean in which figures were obtained.
pub const HOW: &str =
    "How: `read` seen in the named publication; `recalled` quoted from memory of it; `estimated` worked out by us.";

/// The heads of a table of [`figures`].
const FIGURES: [&str; 4] = ["figure", "value", "how", "source"];

/// A figure of an ingredient.
struct Known {
    /// What it is, with its unit.
    what: String,
    /// How much.
    value: String,
    /// How it was obtained.
    how: String,
    /// Key of its source.
    source: String,
}

/// Every figure of an ingredient, with how it was obtained and where from; those of the composition in groups of one source.
fn figures(library: &Library, ingredient: &Ingredient) -> Vec<Known> {
    let known = |what: String, value: String, status: Status, source: &str| Known {
        what,
        value,
        how: status.word().to_owned(),
        source: source.to_owned(),
    };
    let mut all = vec![
        known(
            "melting range, °C".to_owned(),
            format!("{} ({})", melting(ingredient), ingredient.melt_test),
            ingredient.melt_status,
            &ingredient.melt_source,
        ),
        known(
            format!("density at {} °C, g/ml", ingredient.density_at_c),
            ingredient.density_g_ml.to_string(),
            ingredient.density_status,
            &ingredient.density_source,
        ),
    ];
    if let (Some(value), Some(status), Some(source)) =
        (ingredient.needle_dmm_25c, ingredient.needle_status, &ingredient.needle_source)
    {
        all.push(known("needle at 25 °C, 0.1 mm".to_owned(), value.to_string(), status, source));
    }
    all.push(known(
        "firmness at 25 °C against beeswax".to_owned(),
        significant(ingredient.relative_firmness, 2),
        ingredient.relative_firmness_status,
        &ingredient.relative_firmness_source,
    ));
    let mut groups: Vec<(Status, &str, Vec<String>)> = Vec::new();
    for component in by_share(ingredient) {
        let species = library.species.get(component.species).map_or("", |species| &species.key);
        let share = format!("{species} {:.1}", component.percent);
        match groups.iter_mut().find(|(status, source, _)| *status == component.status && *source == component.source) {
            Some((_, _, shares)) => shares.push(share),
            None => groups.push((component.status, &component.source, vec![share])),
        }
    }
    let composition = groups
        .into_iter()
        .map(|(status, source, shares)| known("composition, % by mass".to_owned(), shares.join(", "), status, source));
    all.extend(composition);
    all.extend(ingredient.viscosity.iter().map(|point| {
        let of = if point.of_kind { ", of its kind" } else { "" };
        known(
            format!("viscosity at {} °C, {}{of}", point.temperature_c, unit_of(point.unit)),
            point.viscosity.to_string(),
            point.status,
            &point.source,
        )
    }));
    all
}

/// Returns the components, the largest share first.
pub fn by_share(ingredient: &Ingredient) -> Vec<&Component> {
    let mut components: Vec<&Component> = ingredient.composition.iter().collect();
    components.sort_by(|a, b| b.percent.total_cmp(&a.percent));
    components
}

/// Returns the key of a source; a figure without a publication has none.
pub fn source(key: &str) -> String {
    if key == ESTIMATE { "–".to_owned() } else { key.to_owned() }
}

/// Unit of a viscosity.
fn unit_of(unit: ViscosityUnit) -> &'static str {
    match unit {
        ViscosityUnit::Dynamic => "mPa·s",
        ViscosityUnit::Kinematic => "mm²/s",
    }
}

/// Returns the melting range.
pub fn melting(ingredient: &Ingredient) -> String {
    if ingredient.melt_low_c == ingredient.melt_high_c {
        format!("{}", ingredient.melt_low_c)
    } else {
        format!("{} to {}", ingredient.melt_low_c, ingredient.melt_high_c)
    }
}
