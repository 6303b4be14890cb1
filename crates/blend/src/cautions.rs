//! Cautions for the maker, from the ingredients and the outcome.

use barwright_reference::{AnimalOrigin, Formula, Ingredient, IngredientKind, Library, NutOrigin};
use schemars::JsonSchema;
use serde::Serialize;

use crate::filler::{Filler, MAX_CROWDING, Space};
use crate::outcome::Outcome;
use crate::sampling::Draws;
use crate::units::ROOM_C;

/// One caution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Caution {
    /// Its subject, in one word.
    pub about: &'static str,
    /// The ingredients it is about, if any: `shea butter, argan oil`.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub of: String,
    /// The caution, in sentences.
    pub text: String,
}

impl Caution {
    /// A caution that is about no ingredient in particular.
    pub fn new(about: &'static str, text: impl Into<String>) -> Self {
        Caution { about, of: String::new(), text: text.into() }
    }
}

/// The caution that goes with every melt.
pub const HEAT: &str = "Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water out of the melt and \
                        never put water on a wax fire: smother it. A microwave heats unevenly: short bursts, stir between.";

/// The caution that goes with every powder.
const DUST: &str = "Fine powder does not belong in the lungs: weigh it without stirring it up, and wear a mask.";

/// What to ask for before a bar is called vegan; `names` are those of ingredients that come from animals or from plants, depending on the lot.
///
/// # Source
/// Tallow as a source of fatty acids and what is made of them: common practice. Sharks as a source of squalane: read in an encyclopaedia copy,
/// and on pages for vegan buyers that name both.
pub fn plant_statement(names: &str) -> String {
    format!(
        "From animals or from plants, by the lot: {names}. Ask the supplier for a plant-origin statement before you call the bar vegan."
    )
}

/// What the label should say of sensitisers; `names` are those of the ingredients, each with its sensitiser.
///
/// # Source
/// Wool alcohols of lanolin: 1.7 % of 24 449 patients patch-tested in London, 1982 to 1996 (abstract read, British Journal of Dermatology 145,
/// 2001, 28 to 31); 1.6 % of 30 269 in Italy, 1997 to 2021 (abstract read, Life 14, 2024, 916).
pub fn sensitises(names: &str) -> String {
    format!(
        "A known contact allergen: {names}. Say so plainly on the label: who is allergic to it must not use the bar, and broken or irritated skin \
         takes it worse."
    )
}

/// Name of an ingredient followed by its sensitiser: `lanolin (wool alcohols)`; `None` for one that is not known to sensitise.
pub fn sensitiser(ingredient: &Ingredient, name: &str) -> Option<String> {
    ingredient.sensitiser.as_ref().map(|what| format!("{name} ({what})"))
}

/// Share of a polar oil and of a hydrocarbon oil above which the melt may part into two liquids, mass %.
const PARTING_PERCENT: f64 = 5.0;

/// Returns the cautions of a formula, the most specific first; `known_off` are sentences from [`crate::known_off`].
pub(crate) fn of(library: &Library, formula: &Formula, outcome: &Outcome, known_off: Vec<String>) -> Vec<Caution> {
    let mut cautions = Vec::new();
    let mut add = |about, of: &str, text: String| cautions.push(Caution { about, of: of.to_owned(), text });
    if outcome.slip_c.is_none_or(|slip| slip < ROOM_C) {
        add(
            "setting",
            "",
            "This blend does not set into a bar at room temperature: it needs wax or a hard butter.".to_owned(),
        );
    }
    for text in known_off {
        add("accuracy", "", text);
    }
    let parts: Vec<_> = formula
        .parts
        .iter()
        .filter_map(|part| library.get(part.ingredient).map(|ingredient| (ingredient, part.percent)))
        .collect();
    let named = |wanted: &dyn Fn(NutOrigin) -> bool| {
        let names: Vec<_> =
            parts.iter().filter(|(i, _)| wanted(i.nut_origin)).map(|(i, _)| i.common_name.to_lowercase()).collect();
        names.join(", ")
    };
    let nuts = named(&|origin| matches!(origin, NutOrigin::TreeNut | NutOrigin::Peanut | NutOrigin::Shea));
    if !nuts.is_empty() {
        add("nuts", &nuts, format!("Nut-derived: {nuts}. Say so plainly on the label."));
    }
    let possible = named(&|origin| matches!(origin, NutOrigin::Coconut | NutOrigin::Possible));
    if !possible.is_empty() {
        add(
            "nuts",
            &possible,
            format!("Counted among nuts by some rules or lots: {possible}. Check the certificate and local rules."),
        );
    }
    let from_animals = |wanted: AnimalOrigin| {
        let names: Vec<_> = parts
            .iter()
            .filter(|(i, _)| i.animal_origin == wanted)
            .map(|(i, _)| i.common_name.to_lowercase())
            .collect();
        names.join(", ")
    };
    let animal = from_animals(AnimalOrigin::Yes);
    if !animal.is_empty() {
        add("origin", &animal, format!("Animal-derived: {animal}. The bar is not vegan."));
    }
    let possible = from_animals(AnimalOrigin::Possible);
    if !possible.is_empty() {
        add("origin", &possible, plant_statement(&possible));
    }
    let sensitisers: Vec<_> = parts.iter().filter_map(|(i, _)| sensitiser(i, &i.common_name.to_lowercase())).collect();
    if !sensitisers.is_empty() {
        let sensitisers = sensitisers.join(", ");
        add("skin", &sensitisers, sensitises(&sensitisers));
    }
    let share = |wanted: &dyn Fn(&Ingredient) -> bool| -> f64 {
        parts.iter().filter(|(i, _)| wanted(i)).map(|(_, percent)| percent).sum()
    };
    let is = |i: &Ingredient, key: &str| {
        let like = i.lot_of.and_then(|parent| library.get(parent)).unwrap_or(i);
        like.key == key
    };
    let castor = share(&|i| is(i, "castor-oil"));
    let hydrocarbon_oil = share(&|i| i.kind == IngredientKind::Hydrocarbon && i.melt_high_c < 20.0);
    if castor > PARTING_PERCENT && hydrocarbon_oil > PARTING_PERCENT {
        let text = format!(
            "Castor oil ({castor:.0} %) and hydrocarbon oil ({hydrocarbon_oil:.0} %) can part into two liquids, which this \
             model does not describe."
        );
        add("mixing", "castor oil", text);
    }
    let none = Draws::none();
    let spaces: Vec<_> = parts.iter().map(|(one, percent)| (*percent, Space::of(one, &none))).collect();
    let filler = Filler::of(spaces.iter().map(|(percent, space)| (*percent, space)), None);
    if filler.crowding >= MAX_CROWDING {
        let volume = 100.0 * filler.volume;
        let text = format!(
            "Powder takes up {volume:.0} % of the volume, about as much as packs at all: there is too little fat to wet it, \
             and it crumbles. Firmness is computed for less powder than that."
        );
        add("powder", "", text);
    }
    if filler.volume > 0.0 {
        add("powder", "", DUST.to_owned());
    }
    add("heat", "", HEAT.to_owned());
    add(
        "safety",
        "",
        "Scent limits come only from the supplier's certificate for leave-on use. Patch test a new blend. Labels and safety \
         assessment follow your local rules: ask your authority or a safety assessor. Firmness is not a safety assessment."
            .to_owned(),
    );
    cautions
}
