//! What a maker must mind, from the ingredients and the outcome.

use barwright_reference::{AnimalOrigin, Formula, Ingredient, IngredientKind, Library, NutOrigin};
use serde::Serialize;

use crate::assess::{Outcome, ROOM_C};

/// One thing to mind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Caution {
    /// What it is about, one word.
    pub about: &'static str,
    /// The caution, in sentences.
    pub text: String,
}

/// What melting asks of everyone.
pub const HEAT: &str = "Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water out of the melt and \
                        never put water on a wax fire: smother it. A microwave heats unevenly: short bursts, stir between.";

/// What a bar asks of its maker before it is called vegan; `names` are those of ingredients that come from animals or from plants, by the lot.
///
/// # Source
/// Tallow as a source of fatty acids and what is made of them: common practice. Sharks as a source of squalane: read in an encyclopaedia copy,
/// and on pages for vegan buyers that name both.
pub fn plant_statement(names: &str) -> String {
    format!(
        "From animals or from plants, by the lot: {names}. Ask the supplier for a plant-origin statement before you call the bar vegan."
    )
}

/// What a sensitiser asks of the label; `names` are those of ingredients with what sensitises in them.
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

/// What an ingredient sensitises by, behind its name: `lanolin (wool alcohols)`; `None` for one that is not known to.
pub fn sensitiser(ingredient: &Ingredient, name: &str) -> Option<String> {
    ingredient.sensitiser.as_ref().map(|what| format!("{name} ({what})"))
}

/// Share of a polar oil and of a hydrocarbon oil above which the melt may part into two liquids, mass %.
const PARTING_PERCENT: f64 = 5.0;

/// Returns the cautions of a formula, the most particular first.
pub(crate) fn of(library: &Library, formula: &Formula, outcome: &Outcome) -> Vec<Caution> {
    let mut cautions = Vec::new();
    let mut add = |about, text: String| cautions.push(Caution { about, text });
    if outcome.slip_c.is_none_or(|slip| slip < ROOM_C) {
        add(
            "setting",
            "This blend does not set into a bar at room temperature: it needs wax or a hard butter.".to_owned(),
        );
    }
    let parts: Vec<_> = formula
        .parts
        .iter()
        .filter_map(|part| library.ingredients.get(part.ingredient).map(|ingredient| (ingredient, part.percent)))
        .collect();
    let named = |wanted: &dyn Fn(NutOrigin) -> bool| {
        let names: Vec<_> =
            parts.iter().filter(|(i, _)| wanted(i.nut_origin)).map(|(i, _)| i.common_name.to_lowercase()).collect();
        names.join(", ")
    };
    let nuts = named(&|origin| matches!(origin, NutOrigin::TreeNut | NutOrigin::Peanut | NutOrigin::Shea));
    if !nuts.is_empty() {
        add("nuts", format!("Nut-derived: {nuts}. Say so plainly on the label."));
    }
    let possible = named(&|origin| matches!(origin, NutOrigin::Coconut | NutOrigin::Possible));
    if !possible.is_empty() {
        add(
            "nuts",
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
        add("origin", format!("Animal-derived: {animal}. The bar is not vegan."));
    }
    let possible = from_animals(AnimalOrigin::Possible);
    if !possible.is_empty() {
        add("origin", plant_statement(&possible));
    }
    let sensitisers: Vec<_> = parts.iter().filter_map(|(i, _)| sensitiser(i, &i.common_name.to_lowercase())).collect();
    if !sensitisers.is_empty() {
        add("skin", sensitises(&sensitisers.join(", ")));
    }
    let share = |wanted: &dyn Fn(&Ingredient) -> bool| -> f64 {
        parts.iter().filter(|(i, _)| wanted(i)).map(|(_, percent)| percent).sum()
    };
    let is = |i: &Ingredient, key: &str| {
        let like = i.lot_of.and_then(|parent| library.ingredients.get(parent)).unwrap_or(i);
        like.key == key
    };
    let castor = share(&|i| is(i, "castor-oil"));
    let hydrocarbon_oil = share(&|i| i.kind == IngredientKind::Hydrocarbon && i.melt_high_c < 20.0);
    if castor > PARTING_PERCENT && hydrocarbon_oil > PARTING_PERCENT {
        let text = format!(
            "Castor oil ({castor:.0} %) and hydrocarbon oil ({hydrocarbon_oil:.0} %) can part into two liquids, which this \
             model does not describe."
        );
        add("mixing", text);
    }
    add("heat", HEAT.to_owned());
    add(
        "safety",
        "Scent limits come only from the supplier's certificate for leave-on use. Patch test a new blend. Labels and safety \
         assessment follow your local rules: ask your authority or a safety assessor. Firmness is not a safety assessment."
            .to_owned(),
    );
    cautions
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use crate::{Options, Parameters, assess};

    /// The cautions of a text, with some lots of the maker.
    fn texts(text: &str) -> Vec<(&'static str, String)> {
        let lots = "[lot.my-peanut]\nlike = \"peanut-oil\"\n[lot.my-shea]\nlike = \"shea-butter\"\nname = \"Village butter\"\n\
                    [lot.my-castor]\nlike = \"castor-oil\"\n[lot.my-wool]\nlike = \"lanolin\"\n[lot.plant-acid]\nlike = \"stearic-acid\"\nanimal_origin = \"no\"\n";
        let (library, _) = Library::builtin().unwrap().with_lots(lots).unwrap();
        let formula = barwright_reference::formula::read_inline(text, "bar", &library).unwrap().formulas.remove(0);
        let options = Options { draws: 0, ..Options::default() };
        let found = assess(&library, &Parameters::builtin().unwrap(), &formula, &options).unwrap();
        found.cautions.into_iter().map(|caution| (caution.about, caution.text)).collect()
    }

    fn about<'c>(cautions: &'c [(&'static str, String)], wanted: &str) -> Vec<&'c str> {
        cautions.iter().filter(|(about, _)| *about == wanted).map(|(_, text)| text.as_str()).collect()
    }

    #[test]
    fn lots_of_peanut_and_shea_are_named_as_nuts() {
        let found = texts("my-peanut 40, my-shea 30, candelilla wax 30");
        assert_eq!(about(&found, "nuts"), ["Nut-derived: my-peanut, village butter. Say so plainly on the label."]);
        assert_eq!(about(&texts("sunflower oil 70, candelilla wax 30"), "nuts"), [] as [&str; 0]);
    }

    #[test]
    fn what_may_be_from_animals_is_named_until_the_lot_says_it_is_not() {
        let found = texts("stearic acid 10, squalane 30, candelilla wax 60");
        let [only] = about(&found, "origin")[..] else { unreachable!("{found:?}") };
        assert!(only.contains("stearic acid, squalane") && only.contains("plant-origin statement"), "{only}");
        assert_eq!(about(&texts("plant-acid 10, sunflower oil 60, candelilla wax 30"), "origin"), [] as [&str; 0]);
        let both = texts("stearic acid 10, beeswax 30, sunflower oil 60");
        assert_eq!(about(&both, "origin").len(), 2, "{both:?}");
    }

    #[test]
    fn lanolin_and_lots_of_it_sensitise() {
        for (text, named) in [("lanolin 10", "lanolin (wool alcohols)"), ("my-wool 10", "my-wool (wool alcohols)")] {
            let found = texts(&format!("{text}, sunflower oil 60, candelilla wax 30"));
            let [only] = about(&found, "skin")[..] else { unreachable!("{found:?}") };
            assert!(only.contains(named) && only.contains("on the label"), "{only}");
        }
        assert_eq!(about(&texts("sunflower oil 70, candelilla wax 30"), "skin"), [] as [&str; 0]);
    }

    #[test]
    fn a_lot_of_castor_oil_parts_from_mineral_oil_as_castor_oil_does() {
        for castor in ["castor oil", "my-castor"] {
            let found = texts(&format!("{castor} 40, light mineral oil 40, candelilla wax 20"));
            assert_eq!(about(&found, "mixing").len(), 1, "{castor}: {found:?}");
        }
    }

    #[test]
    fn every_formula_defers_to_local_rules() {
        let found = texts("sunflower oil 70, candelilla wax 30");
        assert!(about(&found, "safety")[0].contains("local rules"), "{found:?}");
    }
}
