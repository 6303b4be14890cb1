//! How long a bar keeps before its fats turn rancid.
//!
//! ```text
//! 1/t(T_0) = Σ w_i / t_i(T_0)          t(T) = t(T_0) · Q^((T_0 − T)/10 K)
//! ```
//! | symbol | what |
//! |---|---|
//! | `t` | time until a fat turns rancid, h |
//! | `t_i`, `T_0` | induction time of an ingredient in warm, moving air, and the temperature of that test |
//! | `w_i` | its share of the mass of all fats that oxidise: wax, hydrocarbons and powder neither hasten nor hold up the rest |
//! | `Q` | how many times as long it takes 10 K colder |
//!
//! # Validity
//! An order of things, not a date: within a factor of three. The test bubbles air through hot oil, a bar lies in a drawer; light, metal, old oil and what
//! an antioxidant adds are not in it. The sum of rates takes each fat to oxidise by itself.
//!
//! # Source
//! Induction times: `data/keeping.csv`. `Q` of 2.0 to 2.3 from the slope of such times between 100 and 140 °C (papers on many oils; recalled), here carried
//! far below that. The rule of rates is ours.

use barwright_blend::Estimate;
use barwright_reference::{Date, Formula, Ingredient, IngredientId, Library};

/// `Q`.
const TIMES_AS_LONG: f64 = 2.15;

/// Spread of its logarithm, one standard deviation.
const TIMES_AS_LONG_LN_SD: f64 = 0.06;

/// Ends of a 90 % interval, in standard deviations.
const INTERVAL_SDS: f64 = 1.645;

/// Hours of a month.
const HOURS_PER_MONTH: f64 = 730.5;

/// A room, °C.
pub const ROOM_C: f64 = 20.0;

/// A fridge, °C.
pub const FRIDGE_C: f64 = 5.0;

/// Less of an ingredient than this does not name the bar's keeping, mass %.
const SMALLEST_PERCENT: f64 = 1.0;

/// How long a bar keeps.
#[derive(Debug, Clone, PartialEq)]
pub struct Keeping {
    /// What turns rancid first.
    pub first: IngredientId,
    /// In a room, months.
    pub months: Estimate,
    /// In a fridge, months.
    pub fridge_months: Estimate,
    /// The earliest date on a lot in it, and whose.
    pub best_before: Option<(Date, IngredientId)>,
}

/// Returns how long a formula keeps; `None` for one without a fat that turns rancid.
pub fn keeping(library: &Library, formula: &Formula) -> Option<Keeping> {
    let parts = || {
        let known = |id: IngredientId| library.get(id).map(|one| (id, one));
        formula.parts.iter().filter_map(move |part| known(part.ingredient).map(|(id, one)| (id, one, part.percent)))
    };
    let fats: f64 = parts().filter(|(_, one, _)| one.induction.is_some()).map(|(_, _, percent)| percent).sum();
    let hours_at = |one: &Ingredient, celsius: f64| {
        let induction = one.induction.as_ref()?;
        Some(induction.hours * TIMES_AS_LONG.powf(0.1 * (induction.at_c - celsius)))
    };
    let named = |(_, _, percent): &(IngredientId, &Ingredient, f64)| *percent >= SMALLEST_PERCENT;
    let (first, one, _) =
        parts().filter(named).filter(|(_, one, _)| one.induction.is_some()).min_by(|(_, a, _), (_, b, _)| {
            hours_at(a, ROOM_C).partial_cmp(&hours_at(b, ROOM_C)).unwrap_or(std::cmp::Ordering::Equal)
        })?;
    let induction = one.induction.as_ref()?;
    let months = |celsius: f64| {
        let rate: f64 = parts().filter_map(|(_, one, percent)| Some(percent / fats / hours_at(one, celsius)?)).sum();
        let ln_sd = induction.ln_sd.hypot(0.1 * (induction.at_c - celsius) * TIMES_AS_LONG_LN_SD);
        let (value, factor) = (1.0 / rate / HOURS_PER_MONTH, (INTERVAL_SDS * ln_sd).exp());
        Estimate { value, low: value / factor, high: value * factor }
    };
    let dated = parts().filter_map(|(id, one, _)| Some((one.lot_best_before?, id)));
    Some(Keeping {
        first,
        months: months(ROOM_C),
        fridge_months: months(FRIDGE_C),
        best_before: dated.min_by_key(|(date, _)| *date),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use barwright_reference::formula::read_inline;

    use super::*;

    fn kept(text: &str) -> Option<(String, Keeping)> {
        let lots = "[lot.mine]\nlike = 'shea-butter'\nbest_before = 2027-06-30\n[lot.older]\nlike = 'beeswax'\nbest_before = 2027-02-28\n";
        let (library, _) = Library::builtin().unwrap().with_lots(lots).unwrap();
        let found = keeping(&library, &read_inline(text, "bar", &library).unwrap().formulas[0])?;
        Some((library.key(found.first).to_owned(), found))
    }

    #[test]
    fn shelf_lives_of_the_trade_are_met() {
        // Months that suppliers state for unopened oils in the cool and dark (common practice, no source).
        for (oil, stated) in [
            ("rosehip oil", [3.0, 9.0]),
            ("grapeseed oil", [6.0, 12.0]),
            ("sunflower oil", [6.0, 12.0]),
            ("sweet almond oil", [12.0, 18.0]),
            ("olive oil", [12.0, 24.0]),
            ("shea butter", [18.0, 36.0]),
            ("cocoa butter", [24.0, 60.0]),
            ("coconut oil", [24.0, 60.0]),
        ] {
            let months = kept(&format!("{oil} 100")).unwrap().1.months;
            assert!(months.low < stated[1] && months.high > stated[0], "{oil}: {months:?}");
            assert!(months.value > 0.4 * stated[0] && months.value < 2.0 * stated[1], "{oil}: {months:?}");
        }
    }

    #[test]
    fn rates_add_up_by_mass_and_the_shortest_lived_is_named() {
        let months = |text: &str| kept(text).unwrap().1.months.value;
        let (first, bar) = kept("beeswax 30, sunflower oil 40, cocoa butter 29.5, hemp oil 0.5").unwrap();
        assert_eq!(first, "sunflower-oil");
        // 5, 40 and 1.5 h at 110 °C, of 70 % of fats; wax counts as nothing.
        let hours = 0.70 / (0.40 / 5.0 + 0.295 / 40.0 + 0.005 / 1.5);
        assert!((bar.months.value / (months("sunflower oil 100") * hours / 5.0) - 1.0).abs() < 1e-9);
        // Fifteen kelvin colder: Q to the power of 1.5.
        assert!((bar.fridge_months.value / bar.months.value - 2.15_f64.powf(1.5)).abs() < 1e-9);
        assert!(bar.months.low < 0.5 * bar.months.value && bar.months.high > 2.0 * bar.months.value);
        assert_eq!(kept("beeswax 40, squalane 60"), None);
    }

    #[test]
    fn a_date_is_that_of_the_oldest_lot() {
        let date = |text: &str| kept(text).unwrap().1.best_before.map(|(date, _)| date.to_string());
        assert_eq!(date("beeswax 30, shea butter 70"), None);
        assert_eq!(date("beeswax 30, mine 70"), Some("2027-06-30".to_owned()));
        assert_eq!(date("older 30, mine 70"), Some("2027-02-28".to_owned()));
    }
}
