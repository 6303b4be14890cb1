//! The figures of one ingredient, for programs.

use barwright_reference::{
    AnimalOrigin, Component, InciPart, Ingredient, IngredientKind, Library, Market, NutOrigin, Origin, Status,
};
use schemars::JsonSchema;
use serde::Serialize;

use super::sources::by_share;

/// One ingredient.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Entry {
    key: String,
    common_name: String,
    inci_name: String,
    synonyms: Vec<String>,
    kind: IngredientKind,
    nut_origin: NutOrigin,
    origin: Origin,
    animal_origin: AnimalOrigin,
    sensitiser: Option<String>,
    label_names: LabelNames,
    inci_parts: Vec<InciPart>,
    melt: Melting,
    density: Density,
    needle_25c: Option<Figure>,
    relative_firmness_25c: Figure,
    composition: Vec<Share>,
    note: String,
}

/// Names on labels: one, or those of a blend.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct LabelNames {
    eu: Vec<String>,
    us: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct Melting {
    low_c: f64,
    high_c: f64,
    test: String,
    status: Status,
    source: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct Density {
    g_ml: f64,
    at_c: f64,
    status: Status,
    source: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct Figure {
    value: f64,
    status: Status,
    source: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct Share {
    species: String,
    name: String,
    percent: f64,
    sd_percent: f64,
    status: Status,
    source: String,
    note: String,
}

impl Entry {
    /// The figures of an ingredient.
    pub(super) fn of(ingredient: &Ingredient, library: &Library) -> Self {
        let one = ingredient.clone();
        let needle = one.needle_dmm_25c.zip(one.needle_status).zip(one.needle_source);
        Entry {
            label_names: LabelNames {
                eu: label_names(library, ingredient, Market::Eu),
                us: label_names(library, ingredient, Market::Us),
            },
            composition: by_share(ingredient).into_iter().map(|component| Share::of(component, library)).collect(),
            key: one.key,
            common_name: one.common_name,
            inci_name: one.inci_name,
            synonyms: one.synonyms,
            kind: one.kind,
            nut_origin: one.nut_origin,
            origin: one.origin,
            animal_origin: one.animal_origin,
            sensitiser: one.sensitiser,
            inci_parts: one.inci_parts,
            melt: Melting {
                low_c: one.melt_low_c,
                high_c: one.melt_high_c,
                test: one.melt_test,
                status: one.melt_status,
                source: one.melt_source,
            },
            density: Density {
                g_ml: one.density_g_ml,
                at_c: one.density_at_c,
                status: one.density_status,
                source: one.density_source,
            },
            needle_25c: needle.map(|((value, status), source)| Figure { value, status, source }),
            relative_firmness_25c: Figure {
                value: one.relative_firmness,
                status: one.relative_firmness_status,
                source: one.relative_firmness_source,
            },
            note: one.note,
        }
    }
}

impl Share {
    fn of(component: &Component, library: &Library) -> Self {
        let (species, name) = (library.species.get(component.species))
            .map_or_else(Default::default, |species| (species.key.clone(), species.name.clone()));
        Share {
            species,
            name,
            percent: component.percent,
            sd_percent: component.sd_percent,
            status: component.status,
            source: component.source.clone(),
            note: component.note.clone(),
        }
    }
}

/// Names on a label: one, or those of a blend.
pub(super) fn label_names(library: &Library, ingredient: &Ingredient, market: Market) -> Vec<String> {
    let name = |inci_name: &String| library.label_name(inci_name, market);
    match ingredient.inci_parts.as_slice() {
        [] => vec![name(&ingredient.inci_name)],
        parts => parts.iter().map(|part| name(&part.inci_name)).collect(),
    }
}
