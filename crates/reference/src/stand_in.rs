//! What stands in for an ingredient that the table lacks, and how little is known of it then.

use crate::{AnimalOrigin, Component, Ingredient, IngredientId, IngredientKind, Library, NutOrigin};

/// The spread of a composition that is not its own, as a multiple of that between the lots of the stand-in.
const WIDER: f64 = 3.0;

/// It is at least this part of each share.
const LEAST_SD_RELATIVE: f64 = 0.15;

/// Spread of the logarithm of a grain's diameter that nobody has stated.
const GRAIN_LN_SD: f64 = 1.0;

/// What stands in for a kind by itself, most usual first: these kinds are alike, or are all liquid.
const USUAL: [(IngredientKind, &[&str]); 4] = [
    (IngredientKind::Scent, &["fragrance-oil"]),
    (IngredientKind::Powder, &["kaolin"]),
    (IngredientKind::Oil, &["sunflower-oil"]),
    (IngredientKind::Ester, &["isopropyl-myristate"]),
];

/// Returns the ingredient whose composition stands in for something of a kind: the one that melts nearest, where a melting point, °C, is known; `None` where a
/// kind needs one.
pub(crate) fn stand_in(library: &Library, kind: IngredientKind, melt_c: Option<f64>) -> Option<IngredientId> {
    let usual = USUAL.iter().find(|(known, _)| *known == kind).map_or(&[][..], |(_, keys)| keys);
    let of_kind = || library.by_id().filter(|(_, one)| one.kind == kind);
    let apart = |one: &Ingredient, melt_c: f64| (0.5 * (one.melt_low_c + one.melt_high_c) - melt_c).abs();
    match melt_c.filter(|_| kind != IngredientKind::Powder && kind != IngredientKind::Scent) {
        Some(melt_c) => of_kind().min_by(|(_, a), (_, b)| apart(a, melt_c).total_cmp(&apart(b, melt_c))),
        // The first of a kind stands for it where the usual one is not in the table.
        None if usual.is_empty() => None,
        None => of_kind().find(|(_, one)| usual.contains(&one.key.as_str())).or_else(|| of_kind().next()),
    }
    .map(|(id, _)| id)
}

/// Returns a stand-in as something of its own: the composition with a wide spread, nothing of its names, and of its origins nothing sure.
pub(crate) fn widened(stand_in: &Ingredient, kind: IngredientKind) -> Ingredient {
    let wider = |component: &Component| Component {
        sd_percent: (WIDER * component.sd_percent).max(LEAST_SD_RELATIVE * component.percent),
        ..component.clone()
    };
    // No scent and no powder is a nut as such, and a scent is declared by one word.
    let (nut_origin, animal_origin) = match kind {
        IngredientKind::Scent | IngredientKind::Powder => (NutOrigin::No, AnimalOrigin::No),
        _ => (NutOrigin::Possible, AnimalOrigin::Possible),
    };
    let inci_name = if kind == IngredientKind::Scent { stand_in.inci_name.clone() } else { String::new() };
    let powder = stand_in.powder.clone().map(|powder| crate::Powder { diameter_ln_sd: GRAIN_LN_SD, ..powder });
    Ingredient {
        kind,
        nut_origin,
        animal_origin,
        inci_name,
        inci_parts: Vec::new(),
        sensitiser: stand_in.sensitiser.clone().filter(|_| kind == IngredientKind::Scent),
        composition: stand_in.composition.iter().map(wider).collect(),
        powder,
        ..stand_in.clone()
    }
}
