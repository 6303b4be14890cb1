//! What the model is known to get wrong of a neat ingredient, reported where a formula rests on it.
//!
//! The list is not a matter of opinion: the calibration writes it from the residuals of the published figures (`data/model.toml`), the same ones that
//! `barwright validate` prints.

use barwright_reference::{CrystalState, Formula, Library};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Share of a formula from which an ingredient's known error is reported, mass %.
pub(crate) const TOLD_FROM_PERCENT: f64 = 15.0;

/// The quantity that is off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum OffQuantity {
    /// Solids, points of mass %.
    Solids,
    /// Melting: slip, drop, end, peak or clear point, K.
    Melting,
}

impl OffQuantity {
    /// The word it is written by.
    pub fn word(self) -> &'static str {
        match self {
            OffQuantity::Solids => "solids",
            OffQuantity::Melting => "melting",
        }
    }
}

/// A known error of one neat ingredient in one crystal state.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KnownOff {
    /// Key of the ingredient.
    pub ingredient: String,
    /// The quantity that is off.
    pub quantity: OffQuantity,
    /// Crystal state.
    pub state: CrystalState,
    /// Lowest and highest temperature of the figures behind it, °C.
    pub range_c: [f64; 2],
    /// Mean of prediction less measurement: points of mass %, or K.
    pub bias: f64,
    /// Published figures behind it.
    pub figures: usize,
}

impl KnownOff {
    /// The error in one sentence.
    ///
    /// # Arguments
    /// * `name`: of the ingredient.
    /// * `percent`: its share of the formula, mass %.
    pub fn sentence(&self, name: &str, percent: f64) -> String {
        let size = self.bias.abs().round();
        let [low_c, high_c] = self.range_c;
        let off = match self.quantity {
            OffQuantity::Solids => {
                let more = if self.bias > 0.0 { "too many" } else { "too few" };
                let at = if low_c == high_c { format!("{low_c:.0}") } else { format!("{low_c:.0} to {high_c:.0}") };
                format!("has some {size:.0} points of solids {more} at {at} °C")
            }
            OffQuantity::Melting => {
                format!("melts some {size:.0} °C too {}", if self.bias > 0.0 { "high" } else { "low" })
            }
        };
        let state = match self.state {
            CrystalState::Fresh => "freshly cast",
            CrystalState::Rested => "rested",
            CrystalState::Tempered => "tempered",
        };
        let against = match self.figures {
            1 => "one published figure".to_owned(),
            count => format!("{count} published figures"),
        };
        format!("In the model {name} ({percent:.0} %), {state}, {off} against {against}.")
    }
}

/// Returns what is known to be off of the parts of a formula that make up [`TOLD_FROM_PERCENT`] or more, in the order of `known`.
///
/// # Arguments
/// * `library`, `formula`: a lot counts as the ingredient it is like.
/// * `known`: the list of the parameter file.
/// * `states`: crystal states that the answer rests on.
pub(crate) fn sentences(
    library: &Library,
    formula: &Formula,
    known: &[KnownOff],
    states: &[CrystalState],
) -> Vec<String> {
    let rests_on = |key: &str| {
        formula.parts.iter().find_map(|part| {
            let ingredient = library.get(part.ingredient)?;
            let like = ingredient.lot_of.and_then(|parent| library.get(parent)).unwrap_or(ingredient);
            (like.key == key && part.percent >= TOLD_FROM_PERCENT).then_some((ingredient, part.percent))
        })
    };
    let told = known.iter().filter(|one| states.contains(&one.state)).filter_map(|one| {
        let (ingredient, percent) = rests_on(&one.ingredient)?;
        Some(one.sentence(&ingredient.common_name.to_lowercase(), percent))
    });
    told.collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use barwright_reference::formula;

    use super::*;

    fn known() -> Vec<KnownOff> {
        let one = |ingredient: &str, quantity, state, range_c, bias, figures| KnownOff {
            ingredient: ingredient.to_owned(),
            quantity,
            state,
            range_c,
            bias,
            figures,
        };
        vec![
            one("palm-olein", OffQuantity::Solids, CrystalState::Fresh, [10.0, 15.0], 14.6, 3),
            one("cocoa-butter", OffQuantity::Melting, CrystalState::Fresh, [27.5, 27.5], 6.4, 1),
            one("palm-stearin", OffQuantity::Solids, CrystalState::Rested, [50.0, 50.0], -19.2, 1),
        ]
    }

    fn told(text: &str, states: &[CrystalState]) -> Vec<String> {
        let lots = "[lot.bag]\nlike = 'palm-olein'\n";
        let library = Library::builtin().unwrap().with_lots(lots).unwrap().0;
        let bar = formula::read_inline(text, "bar", &library).unwrap().formulas.remove(0);
        sentences(&library, &bar, &known(), states)
    }

    #[test]
    fn what_a_formula_rests_on_is_told_and_no_more() {
        let both = [CrystalState::Rested, CrystalState::Fresh];
        assert!(told("beeswax 60, palm olein 14, palm stearin 14, olive oil 12", &both).is_empty());
        assert_eq!(
            told("beeswax 60, palm olein 15, palm stearin 25", &both),
            [
                "In the model palm olein (15 %), freshly cast, has some 15 points of solids too many at 10 to 15 °C against 3 published figures.",
                "In the model palm stearin (25 %), rested, has some 19 points of solids too few at 50 °C against one published figure.",
            ]
        );
        assert_eq!(
            told("cocoa butter 100", &both),
            ["In the model cocoa butter (100 %), freshly cast, melts some 6 °C too high against one published figure."]
        );
        assert!(told("cocoa butter 100", &[CrystalState::Tempered]).is_empty());
    }

    #[test]
    fn what_melts_too_low_is_called_so_in_each_state() {
        for (state, words) in [
            (CrystalState::Fresh, "freshly cast"),
            (CrystalState::Rested, "rested"),
            (CrystalState::Tempered, "tempered"),
        ] {
            let off = KnownOff {
                ingredient: "mango-butter".to_owned(),
                quantity: OffQuantity::Melting,
                state,
                range_c: [38.0, 40.0],
                bias: -5.1,
                figures: 2,
            };
            assert_eq!(
                off.sentence("mango butter", 75.0),
                format!(
                    "In the model mango butter (75 %), {words}, melts some 5 °C too low against 2 published figures."
                )
            );
        }
    }

    #[test]
    fn the_list_is_read_by_the_words_it_is_written_by() {
        for (quantity, word) in [(OffQuantity::Solids, "solids"), (OffQuantity::Melting, "melting")] {
            assert_eq!(quantity.word(), word);
            let text = format!(
                "ingredient = 'beeswax'\nquantity = '{word}'\nstate = 'rested'\nrange_c = [20.0, 30.0]\nbias = 12.0\nfigures = 2\n"
            );
            assert_eq!(toml::from_str::<KnownOff>(&text).unwrap().quantity, quantity);
        }
    }

    #[test]
    fn a_lot_is_as_far_off_as_what_it_is_like() {
        assert_eq!(told("bag 50, beeswax 50", &[CrystalState::Fresh]).len(), 1);
    }
}
