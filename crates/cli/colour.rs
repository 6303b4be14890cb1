//! A pigment as the command line names it: by mass, or by spoon with its bulk density; into one jug, or into all.

use barwright_making::batch::{BULK_G_ML, Colour};
use barwright_reference::formula::quantity::{METRIC_TEASPOON_ML, Measure, parse_measure};
use barwright_reference::short;

/// Masses of a colour taken, g.
const COLOUR_G: std::ops::RangeInclusive<f64> = 1e-3..=1e5;

/// How a colour is written.
const SUCH_AS: &str = "write such as `CI 77491=2g`, or by spoon `green mica=1/4 tsp@0.35g/ml`";

/// How a density is found.
const WEIGH_SPOONS: &str = "loose powders differ several fold, so no density is guessed: weigh ten level spoons, divide by \
                            ten and by the ml one spoon holds";

/// Units a bulk density may have; all are the same.
const DENSITY_UNITS: [&str; 4] = ["g/ml", "g/cm3", "g/cm³", "g/cc"];

/// A colour wished for.
#[derive(Debug, Clone, PartialEq)]
pub struct ColourWish {
    /// Name on the label.
    pub name: String,
    /// How much of it.
    pub amount: Measure,
    /// Bulk density, g/ml; there is one for everything but a mass.
    pub density_g_ml: Option<f64>,
    /// Jug, counted from 1.
    pub jug: Option<u32>,
}

impl ColourWish {
    /// Returns it as the batch takes it.
    ///
    /// # Arguments
    /// * `teaspoon_ml`: what a teaspoon holds.
    pub fn colour(&self, teaspoon_ml: f64) -> Colour {
        let of_volume =
            |millilitres: f64| self.density_g_ml.map_or(f64::NAN, |density_g_ml| millilitres * density_g_ml);
        let mass_g = match self.amount {
            Measure::Grams(grams) => grams,
            Measure::Millilitres(millilitres) => of_volume(millilitres),
            Measure::Teaspoons(count) => of_volume(count * teaspoon_ml),
        };
        let spooned = !matches!(self.amount, Measure::Grams(_));
        Colour { name: self.name.clone(), mass_g, density_g_ml: self.density_g_ml, spooned, jug: self.jug }
    }
}

/// Reads `NAME=AMOUNT[@DENSITY][#JUG]`.
///
/// # Errors
/// What is wrong, in one sentence.
pub fn parse_colour(text: &str) -> Result<ColourWish, String> {
    let (name, rest) = text.rsplit_once('=').ok_or_else(|| format!("there is no `=`; {SUCH_AS}"))?;
    let name = name.trim();
    if name.is_empty() {
        return Err(format!("the pigment has no name; {SUCH_AS}"));
    }
    let (rest, jug) = match rest.split_once('#') {
        Some((rest, jug)) => (rest, Some(parse_jug(jug)?)),
        None => (rest, None),
    };
    let (amount, density_g_ml) = match rest.split_once('@') {
        Some((amount, density)) => (amount, Some(parse_density(density)?)),
        None => (rest, None),
    };
    let measure = parse_measure(amount).map_err(|error| format!("{error}; {SUCH_AS}"))?;
    if density_g_ml.is_none() && !matches!(measure, Measure::Grams(_)) {
        let amount = amount.trim();
        return Err(format!(
            "`{amount}` is a volume without a density; {WEIGH_SPOONS}, and write `{name}={amount}@0.35g/ml`"
        ));
    }
    let wish = ColourWish { name: name.to_owned(), amount: measure, density_g_ml, jug };
    let mass_g = wish.colour(METRIC_TEASPOON_ML).mass_g;
    if COLOUR_G.contains(&mass_g) {
        Ok(wish)
    } else {
        Err(format!("{} g is outside {} to {} g", short(mass_g), COLOUR_G.start(), COLOUR_G.end()))
    }
}

/// Reads the number of a jug.
fn parse_jug(text: &str) -> Result<u32, String> {
    let jug = text.trim().parse().ok().filter(|jug| *jug > 0);
    jug.ok_or_else(|| format!("`{}` is no jug; count them from 1, such as `green mica=2g#2`", text.trim()))
}

/// Reads a bulk density; without a unit it is in g/ml.
fn parse_density(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let number = DENSITY_UNITS.iter().find_map(|unit| text.strip_suffix(unit)).unwrap_or(text).trim_end();
    let wrong = || format!("`{text}` is no bulk density; write such as `0.35g/ml`");
    let density: f64 = number.replace(',', ".").parse().map_err(|_| wrong())?;
    let (low, high) = BULK_G_ML;
    if (low..=high).contains(&density) {
        Ok(density)
    } else {
        Err(format!("a bulk density of {} g/ml is outside {low} to {high} g/ml; {WEIGH_SPOONS}", short(density)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_are_read_by_mass_and_by_spoon() {
        for (text, mass_g, density_g_ml, jug) in [
            ("green mica=2g", 2.0, None, None),
            ("green mica = 2 g @ 0.35 # 2", 2.0, Some(0.35), Some(2)),
            ("green mica=1/4 tsp@0.35g/ml", 0.4375, Some(0.35), None),
            ("green mica=1.25ml@0,35 g/cm³", 0.4375, Some(0.35), None),
            ("a=b=1 1/2 tbsp@0.4#12", 9.0, Some(0.4), Some(12)),
        ] {
            let seen = parse_colour(text).map(|wish| wish.colour(METRIC_TEASPOON_ML));
            let seen = seen.map(|seen| ((seen.mass_g * 1e9).round() / 1e9, seen.density_g_ml, seen.jug));
            assert_eq!(seen, Ok((mass_g, density_g_ml, jug)), "{text}");
        }
    }

    #[test]
    fn what_is_no_colour_says_why() {
        for (text, words) in [
            ("green", "no `=`"),
            ("=2g", "no name"),
            ("green=1/4 tsp", "weigh ten level spoons"),
            ("green=1ml", "is a volume without a density"),
            ("green=2", "no unit of mass or volume"),
            ("green=-1/4 tsp@0.3", "is negative"),
            ("green=1/0 tsp@0.3", "not a finite amount"),
            ("green=1 spoonful@0.3", "is not a unit"),
            ("green=1 tsp@0", "outside 0.02 to 8 g/ml"),
            ("green=1 tsp@-0.3", "outside 0.02 to 8 g/ml"),
            ("green=1 tsp@nan", "outside 0.02 to 8 g/ml"),
            ("green=1 tsp@", "no bulk density"),
            ("green=1 tsp@0.3kg", "no bulk density"),
            ("green=2g#0", "is no jug"),
            ("green=2g#two", "is no jug"),
            ("green=1e6 g", "outside 0.001 to 100000 g"),
        ] {
            let seen = parse_colour(text).err().unwrap_or_default();
            assert!(seen.contains(words), "{text}: {seen}");
        }
    }
}
