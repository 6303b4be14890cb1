//! What a maker must mind, from the ingredients and the outcome.

use barwright_reference::{Formula, IngredientKind, Library, NutOrigin, Origin};
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
    let animal: Vec<_> =
        parts.iter().filter(|(i, _)| i.origin == Origin::Animal).map(|(i, _)| i.common_name.to_lowercase()).collect();
    if !animal.is_empty() {
        add("origin", format!("Animal-derived: {}. The bar is not vegan.", animal.join(", ")));
    }
    let share = |wanted: &dyn Fn(&barwright_reference::Ingredient) -> bool| -> f64 {
        parts.iter().filter(|(i, _)| wanted(i)).map(|(_, percent)| percent).sum()
    };
    let castor = share(&|i| i.key == "castor-oil");
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
