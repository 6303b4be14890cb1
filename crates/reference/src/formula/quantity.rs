//! One amount: a number above 0 with an optional unit of share or mass.

use std::ops::Range;

use crate::number::{Scan, scan};
use crate::suggest::nearest;
use crate::temperature::is_temperature_unit;
use crate::wording::{quote, short, visible};
use crate::{Diagnostic, Ingredient};

/// Largest amount taken, in its unit or in grams: a blend of two hundred such amounts still adds up exactly enough.
const LARGEST: f64 = 1e12;
/// Smallest amount taken, in its unit or in grams.
pub const SMALLEST: f64 = 1e-9;

/// What melts above this is solid where it is measured, °C.
const ROOM_C: f64 = 20.0;

/// Share of a heap of pellets that is not air: randomly packed spheres have 0.56 to 0.64 (textbook).
const PACKED: f64 = 0.6;

/// Density of a wax or butter just molten, over that of the solid block (judgement: they shrink by 8 to 15 % as they set).
const MOLTEN: f64 = 0.9;

/// What the value of a [`Quantity`] counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Parts by mass of any total; no unit was written.
    Parts,
    /// Percent by mass.
    Percent,
    /// Grams; every unit of mass is converted.
    Gram,
}

/// An amount above 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// The value, in `unit`.
    pub value: f64,
    /// What the value counts.
    pub unit: Unit,
}

/// A mass or a volume of something that is weighed, poured or spooned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measure {
    /// Grams; every unit of mass is converted.
    Grams(f64),
    /// Millilitres.
    Millilitres(f64),
    /// Teaspoons; a tablespoon is three of them.
    Teaspoons(f64),
}

/// Why a text is no amount.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum QuantityError {
    /// Nothing was written.
    #[error("the amount is empty")]
    Empty,
    /// Not one plain number.
    #[error("{} is not an amount", quote(.written))]
    NotANumber {
        /// What was written.
        written: String,
    },
    /// A comma that may part thousands or decimals.
    #[error("{} may be {decimal} or {thousands}", quote(.written))]
    AmbiguousComma {
        /// What was written.
        written: String,
        /// Value with the comma as decimal comma.
        decimal: f64,
        /// Value with the comma parting thousands.
        thousands: f64,
    },
    /// Infinite or not a number.
    #[error("{} is not a finite amount", quote(.written))]
    NotFinite {
        /// What was written.
        written: String,
    },
    /// Below 0.
    #[error("{} is negative", quote(.written))]
    Negative {
        /// What was written.
        written: String,
    },
    /// Exactly 0.
    #[error("{} is zero", quote(.written))]
    Zero {
        /// What was written.
        written: String,
    },
    /// Too large to be an amount.
    #[error("{} is above the largest amount taken, {LARGEST:e}", quote(.written))]
    TooLarge {
        /// What was written.
        written: String,
    },
    /// Too small to be an amount.
    #[error("{} is below the smallest amount taken, {SMALLEST:e}", quote(.written))]
    TooSmall {
        /// What was written.
        written: String,
    },
    /// A unit that is not known.
    #[error("{} is not a unit of mass or share", quote(.unit))]
    UnknownUnit {
        /// The unit written.
        unit: String,
        /// The nearest known unit.
        nearest: &'static str,
    },
    /// A volume, which cannot be turned into a mass before the ingredient is known.
    #[error("{} is a volume, and parts are weighed", quote(.written))]
    Volume {
        /// What was written.
        written: String,
        /// The volume, ml.
        millilitres: f64,
    },
    /// A number or a share where a mass or a volume is meant.
    #[error("{} has no unit of mass or volume", quote(.written))]
    NoMeasure {
        /// What was written.
        written: String,
    },
    /// A temperature.
    #[error("{} is a temperature, not an amount", quote(.written))]
    Temperature {
        /// What was written.
        written: String,
    },
}

impl QuantityError {
    /// Returns the stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            QuantityError::Empty => "empty-amount",
            QuantityError::NotANumber { .. } => "not-a-number",
            QuantityError::AmbiguousComma { .. } => "ambiguous-comma",
            QuantityError::NotFinite { .. } => "amount-not-finite",
            QuantityError::Negative { .. } => "negative-amount",
            QuantityError::Zero { .. } => "zero-amount",
            QuantityError::TooLarge { .. } => "amount-too-large",
            QuantityError::TooSmall { .. } => "amount-too-small",
            QuantityError::UnknownUnit { .. } => "unknown-unit",
            QuantityError::Volume { .. } => "volume",
            QuantityError::NoMeasure { .. } => "no-measure",
            QuantityError::Temperature { .. } => "temperature-as-amount",
        }
    }

    /// Returns this error at a place in a text; with the ingredient known, a volume's hint gives the mass.
    pub fn diagnostic(&self, span: Range<usize>, ingredient: Option<&Ingredient>) -> Diagnostic {
        let diagnostic = Diagnostic::error(self.code(), self.to_string(), span);
        match self {
            QuantityError::Empty => diagnostic.hint("Write an amount by mass, such as `26`, `26 %` or `26 g`."),
            QuantityError::NotANumber { .. } | QuantityError::NotFinite { .. } => {
                diagnostic.hint("Write one plain number with an optional unit, such as `26`, `1.5 %` or `26 g`.")
            }
            QuantityError::AmbiguousComma { decimal, thousands, .. } => {
                diagnostic.hint(format!("Write `{decimal:?}` with a decimal point, or `{thousands}` without a comma."))
            }
            QuantityError::Negative { .. } => diagnostic.hint("Write an amount above 0."),
            QuantityError::Zero { .. } => diagnostic.hint("Leave the ingredient out, or write an amount above 0."),
            QuantityError::TooLarge { .. } | QuantityError::TooSmall { .. } => {
                diagnostic.hint("Check the number and the unit.")
            }
            QuantityError::UnknownUnit { nearest, .. } => diagnostic
                .hint(format!("The nearest unit is `{nearest}`; mg, g, kg, oz, lb, % and parts are understood.")),
            QuantityError::Volume { written, millilitres } => match ingredient {
                Some(ingredient) => diagnostic.hint(weigh_it(written, *millilitres, ingredient)),
                None => diagnostic.hint("Weigh it, and write the mass in g, kg, oz or lb."),
            },
            QuantityError::NoMeasure { .. } => {
                diagnostic.hint("Write the unit, such as `2 g`, `1.25 ml` or `1/4 tsp`.")
            }
            QuantityError::Temperature { .. } => diagnostic
                .hint("Write an amount by mass here; a temperature is given to the command, such as `--at 25`."),
        }
    }
}

/// What a unit means for an amount.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Meaning {
    /// A share.
    Share(Unit),
    /// A mass; grams in one.
    Mass(f64),
    /// A volume; millilitres in one.
    Volume(f64),
    /// A spoon; teaspoons in one.
    Spoon(f64),
}

/// Every unit, in lower case without spaces and dots. Ounce and pound are avoirdupois; cups and pints are US.
const UNITS: &[(&str, Meaning)] = &[
    ("%", Meaning::Share(Unit::Percent)),
    ("percent", Meaning::Share(Unit::Percent)),
    ("pct", Meaning::Share(Unit::Percent)),
    ("%w/w", Meaning::Share(Unit::Percent)),
    ("part", Meaning::Share(Unit::Parts)),
    ("parts", Meaning::Share(Unit::Parts)),
    ("partsbymass", Meaning::Share(Unit::Parts)),
    ("partsbyweight", Meaning::Share(Unit::Parts)),
    ("g", Meaning::Mass(1.0)),
    ("gram", Meaning::Mass(1.0)),
    ("grams", Meaning::Mass(1.0)),
    ("gramme", Meaning::Mass(1.0)),
    ("grammes", Meaning::Mass(1.0)),
    ("kg", Meaning::Mass(1000.0)),
    ("kilo", Meaning::Mass(1000.0)),
    ("kilos", Meaning::Mass(1000.0)),
    ("kilogram", Meaning::Mass(1000.0)),
    ("kilograms", Meaning::Mass(1000.0)),
    ("mg", Meaning::Mass(0.001)),
    ("milligram", Meaning::Mass(0.001)),
    ("milligrams", Meaning::Mass(0.001)),
    ("oz", Meaning::Mass(GRAMS_PER_OUNCE)),
    ("ounce", Meaning::Mass(GRAMS_PER_OUNCE)),
    ("ounces", Meaning::Mass(GRAMS_PER_OUNCE)),
    ("lb", Meaning::Mass(16.0 * GRAMS_PER_OUNCE)),
    ("lbs", Meaning::Mass(16.0 * GRAMS_PER_OUNCE)),
    ("pound", Meaning::Mass(16.0 * GRAMS_PER_OUNCE)),
    ("pounds", Meaning::Mass(16.0 * GRAMS_PER_OUNCE)),
    ("ml", Meaning::Volume(1.0)),
    ("cc", Meaning::Volume(1.0)),
    ("millilitre", Meaning::Volume(1.0)),
    ("millilitres", Meaning::Volume(1.0)),
    ("milliliter", Meaning::Volume(1.0)),
    ("milliliters", Meaning::Volume(1.0)),
    ("cl", Meaning::Volume(10.0)),
    ("dl", Meaning::Volume(100.0)),
    ("l", Meaning::Volume(1000.0)),
    ("litre", Meaning::Volume(1000.0)),
    ("litres", Meaning::Volume(1000.0)),
    ("liter", Meaning::Volume(1000.0)),
    ("liters", Meaning::Volume(1000.0)),
    ("drop", Meaning::Volume(0.05)),
    ("drops", Meaning::Volume(0.05)),
    ("tsp", Meaning::Spoon(1.0)),
    ("teaspoon", Meaning::Spoon(1.0)),
    ("teaspoons", Meaning::Spoon(1.0)),
    ("tbsp", Meaning::Spoon(3.0)),
    ("tablespoon", Meaning::Spoon(3.0)),
    ("tablespoons", Meaning::Spoon(3.0)),
    ("floz", Meaning::Volume(MILLILITRES_PER_US_FLUID_OUNCE)),
    ("fluidounce", Meaning::Volume(MILLILITRES_PER_US_FLUID_OUNCE)),
    ("fluidounces", Meaning::Volume(MILLILITRES_PER_US_FLUID_OUNCE)),
    ("cup", Meaning::Volume(8.0 * MILLILITRES_PER_US_FLUID_OUNCE)),
    ("cups", Meaning::Volume(8.0 * MILLILITRES_PER_US_FLUID_OUNCE)),
    ("pint", Meaning::Volume(16.0 * MILLILITRES_PER_US_FLUID_OUNCE)),
    ("pints", Meaning::Volume(16.0 * MILLILITRES_PER_US_FLUID_OUNCE)),
    ("pt", Meaning::Volume(16.0 * MILLILITRES_PER_US_FLUID_OUNCE)),
];

/// Grams in an avoirdupois ounce, exact by definition.
const GRAMS_PER_OUNCE: f64 = 28.349_523_125;
/// Millilitres in a US fluid ounce, exact by definition.
const MILLILITRES_PER_US_FLUID_OUNCE: f64 = 29.573_529_562_5;
/// Millilitres in a US teaspoon, a sixth of a fluid ounce.
pub const US_TEASPOON_ML: f64 = MILLILITRES_PER_US_FLUID_OUNCE / 6.0;
/// Millilitres in a metric teaspoon.
pub const METRIC_TEASPOON_ML: f64 = 5.0;

/// Longest unit, in bytes, that can be in the table; a longer text is not compared at all.
const LONGEST_UNIT: usize = 32;

/// What a volume of an ingredient weighs, and, of one that is solid in a room, in which form.
fn weigh_it(written: &str, millilitres: f64, ingredient: &Ingredient) -> String {
    let (of, at_c) = (visible(&ingredient.common_name.to_lowercase()), ingredient.density_at_c);
    let of = format!("{} of {of} is about", visible(written));
    let grams = millilitres * ingredient.density_g_ml;
    if ingredient.melt_low_c < ROOM_C {
        return format!("Weigh it: {of} {} g at {at_c} °C.", short(grams));
    }
    let (block_g, molten_g) =
        if at_c < ingredient.melt_low_c { (grams, MOLTEN * grams) } else { (grams / MOLTEN, grams) };
    let [block, pellets, molten] = [block_g, PACKED * block_g, molten_g].map(short);
    format!(
        "Weigh it: {of} {block} g as a solid block, {pellets} g as pellets with the air between them, {molten} g molten."
    )
}

/// Returns a unit in lower case without spaces and dots.
fn plain_unit(unit: &str) -> String {
    unit.chars().filter(|letter| !letter.is_whitespace() && *letter != '.').flat_map(char::to_lowercase).collect()
}

/// Returns what a unit of share, mass or volume means.
fn meaning(unit: &str) -> Option<Meaning> {
    if unit.len() > LONGEST_UNIT {
        return None;
    }
    let plain = plain_unit(unit);
    UNITS.iter().find(|(name, _)| *name == plain).map(|(_, meaning)| *meaning)
}

/// Whether a text is a unit an amount or a temperature can have.
pub(crate) fn is_unit(text: &str) -> bool {
    meaning(text).is_some() || (text.len() <= LONGEST_UNIT && is_temperature_unit(text))
}

/// Reads one amount: a number above 0 with an optional unit (`%`, parts, mg, g, kg, oz, lb).
///
/// # Errors
/// [`QuantityError`] for anything that is not one finite amount above 0, for volumes and for temperatures.
///
/// ```
/// use barwright_reference::formula::quantity::{Quantity, Unit, parse_quantity};
/// assert_eq!(parse_quantity("1.5 kg"), Ok(Quantity { value: 1500.0, unit: Unit::Gram }));
/// assert_eq!(parse_quantity("10 ml").map_err(|error| error.code()), Err("volume"));
/// ```
pub fn parse_quantity(text: &str) -> Result<Quantity, QuantityError> {
    let (value, meaning) = read(text.trim(), text.trim())?;
    let volume = |millilitres: f64| QuantityError::Volume { written: text.trim().to_owned(), millilitres };
    let (value, unit) = match meaning {
        Meaning::Share(unit) => (value, unit),
        Meaning::Mass(grams) => (value * grams, Unit::Gram),
        Meaning::Volume(millilitres) => return Err(volume(value * millilitres)),
        Meaning::Spoon(teaspoons) => return Err(volume(value * teaspoons * US_TEASPOON_ML)),
    };
    Ok(Quantity { value: in_range(value, text)?, unit })
}

/// Reads a mass, a volume or a measure in spoons; the number may be a fraction.
///
/// # Errors
/// [`QuantityError`] for anything that is not one finite amount above 0 with such a unit.
///
/// ```
/// use barwright_reference::formula::quantity::{Measure, parse_measure};
/// assert_eq!(parse_measure("1/4 tsp"), Ok(Measure::Teaspoons(0.25)));
/// assert_eq!(parse_measure("1 1/2 tbsp"), Ok(Measure::Teaspoons(4.5)));
/// assert_eq!(parse_measure("1.25ml"), Ok(Measure::Millilitres(1.25)));
/// assert_eq!(parse_measure("0.5 oz"), Ok(Measure::Grams(14.1747615625)));
/// assert_eq!(parse_measure("1/0 tsp").map_err(|error| error.code()), Err("amount-not-finite"));
/// ```
pub fn parse_measure(text: &str) -> Result<Measure, QuantityError> {
    let text = text.trim();
    let minus = text.strip_prefix(['-', '\u{2212}']);
    if minus.and_then(fraction).is_some() {
        return Err(QuantityError::Negative { written: text.to_owned() });
    }
    let (value, meaning) = match fraction(text) {
        Some((value, _)) if !value.is_finite() => return Err(QuantityError::NotFinite { written: text.to_owned() }),
        Some((value, unit)) => {
            let (one, meaning) = read(&format!("1 {unit}"), text)?;
            (one * value, meaning)
        }
        None => read(text, text)?,
    };
    if value <= 0.0 {
        return Err(QuantityError::Zero { written: text.to_owned() });
    }
    let checked = |value: f64| in_range(value, text);
    match meaning {
        Meaning::Share(_) => Err(QuantityError::NoMeasure { written: text.to_owned() }),
        Meaning::Mass(grams) => checked(value * grams).map(Measure::Grams),
        Meaning::Volume(millilitres) => checked(value * millilitres).map(Measure::Millilitres),
        Meaning::Spoon(teaspoons) => checked(value * teaspoons).map(Measure::Teaspoons),
    }
}

/// Parts a fraction without a sign, `3/4` or `1 1/2`, from the unit behind it.
fn fraction(text: &str) -> Option<(f64, &str)> {
    let (before, after) = text.split_once('/')?;
    let unit_at = after.find(|letter: char| !letter.is_ascii_digit() && letter != ' ').unwrap_or(after.len());
    let (below, unit) = after.split_at(unit_at);
    let count = |digits: &str| -> Option<f64> {
        let digits = digits.trim();
        let plain = !digits.is_empty() && digits.bytes().all(|digit| digit.is_ascii_digit());
        plain.then(|| digits.parse().ok())?
    };
    let (whole, above) = match before.trim().split_once(' ') {
        Some((whole, above)) => (count(whole)?, count(above)?),
        None => (0.0, count(before)?),
    };
    Some((whole + above / count(below)?, unit))
}

/// Reads a number that is not negative, with what its unit means; `whole` is what was written, for messages.
fn read(text: &str, whole: &str) -> Result<(f64, Meaning), QuantityError> {
    let written = || whole.to_owned();
    if text.is_empty() {
        return Err(QuantityError::Empty);
    }
    let scanned = scan(text);
    let Some(unit) = scanned.rest().map(str::trim) else {
        return Err(QuantityError::NotANumber { written: written() });
    };
    let meaning = if unit.is_empty() { Some(Meaning::Share(Unit::Parts)) } else { meaning(unit) };
    let temperature = unit.len() <= LONGEST_UNIT && is_temperature_unit(unit);
    if meaning.is_none() && !temperature && !unit.starts_with(char::is_alphabetic) {
        return Err(QuantityError::NotANumber { written: written() });
    }
    let (value, written_nonzero) = match scanned {
        Scan::Number { value, written_nonzero, .. } => (value, written_nonzero),
        Scan::Ambiguous { decimal, thousands, .. } => {
            return Err(QuantityError::AmbiguousComma { written: written(), decimal, thousands });
        }
        Scan::NotFinite { .. } | Scan::None => return Err(QuantityError::NotFinite { written: written() }),
    };
    if temperature {
        return Err(QuantityError::Temperature { written: written() });
    }
    let Some(meaning) = meaning else {
        let names = UNITS.iter().enumerate().map(|(index, (name, _))| (index, *name));
        let best = nearest(&plain_unit(unit), names, 1).first().and_then(|index| UNITS.get(*index));
        return Err(QuantityError::UnknownUnit { unit: unit.to_owned(), nearest: best.map_or("g", |(name, _)| name) });
    };
    if value < 0.0 {
        return Err(QuantityError::Negative { written: written() });
    }
    if value == 0.0 && !written_nonzero {
        return Err(QuantityError::Zero { written: written() });
    }
    Ok((value, meaning))
}

/// Refuses a value that is too large or too small to be an amount.
fn in_range(value: f64, text: &str) -> Result<f64, QuantityError> {
    let written = || text.trim().to_owned();
    if value > LARGEST {
        Err(QuantityError::TooLarge { written: written() })
    } else if value < SMALLEST {
        Err(QuantityError::TooSmall { written: written() })
    } else {
        Ok(value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_volume_across_lines_is_shown_in_one() {
        let library = crate::sample::library();
        let hints =
            parse_quantity("0,5 fl o\nz").map_err(|error| error.diagnostic(0..10, library.ingredients.first()).hints);
        assert_eq!(hints, Err(vec!["Weigh it: 0,5 fl o\\nz of beeswax is about 14.2 g as a solid block, 8.52 g as pellets with the air between them, 12.8 g molten.".to_owned()]));
    }

    #[test]
    fn amounts_are_read_in_every_unit() {
        for (text, value, unit) in [
            ("26", 26.0, Unit::Parts),
            (" 26 parts ", 26.0, Unit::Parts),
            ("26,5 %", 26.5, Unit::Percent),
            ("26 per cent", 26.0, Unit::Percent),
            ("26g", 26.0, Unit::Gram),
            ("1.5 Kg", 1500.0, Unit::Gram),
            ("250mg", 0.25, Unit::Gram),
            ("1 oz", 28.349523125, Unit::Gram),
            ("1 oz.", 28.349523125, Unit::Gram),
            ("2 lb", 907.18474, Unit::Gram),
            ("1e2", 100.0, Unit::Parts),
        ] {
            let seen = parse_quantity(text).unwrap_or(Quantity { value: f64::NAN, unit });
            assert!((seen.value - value).abs() <= 1e-12 * value && seen.unit == unit, "{text}: {seen:?}");
        }
    }

    /// A litre of each: what is solid in a room has three masses, whichever state its density was measured in.
    #[test]
    fn a_volume_of_what_is_solid_says_in_which_form() {
        let library = crate::Library::builtin().unwrap_or_else(|_| unreachable!());
        for (key, hint) in [
            (
                "beeswax",
                "Weigh it: 1 l of beeswax is about 960 g as a solid block, 576 g as pellets with the air between them, 864 g molten.",
            ),
            (
                "cetearyl-alcohol",
                "Weigh it: 1 l of cetearyl alcohol is about 911 g as a solid block, 547 g as pellets with the air between them, 820 g molten.",
            ),
            ("castor-oil", "Weigh it: 1 l of castor oil is about 959 g at 25 °C."),
        ] {
            let Some(ingredient) = library.ingredient(key) else { unreachable!() };
            let volume = parse_quantity("1 l").err().map(|error| error.diagnostic(0..3, Some(ingredient)).hints);
            assert_eq!(volume, Some(vec![hint.to_owned()]));
        }
    }

    #[test]
    fn each_refusal_has_its_code() {
        for (text, code) in [
            ("", "empty-amount"),
            ("some", "not-a-number"),
            ("20-30", "not-a-number"),
            ("1/2 oz", "not-a-number"),
            ("½ oz", "not-a-number"),
            ("1.2.3", "not-a-number"),
            ("1,000 g", "ambiguous-comma"),
            ("NaN", "amount-not-finite"),
            ("inf %", "amount-not-finite"),
            ("-3 g", "negative-amount"),
            ("\u{2212}3", "negative-amount"),
            ("0", "zero-amount"),
            ("-0.0", "zero-amount"),
            ("1e999", "amount-too-large"),
            ("1e13", "amount-too-large"),
            ("1e-999", "amount-too-small"),
            ("1e-10 g", "amount-too-small"),
            ("5 gm", "unknown-unit"),
            ("5 handfuls", "unknown-unit"),
            ("10 ml", "volume"),
            ("2 fl. oz", "volume"),
            ("3 Tbsp", "volume"),
            ("20 drops", "volume"),
            ("45 C", "temperature-as-amount"),
            ("113 °F", "temperature-as-amount"),
        ] {
            assert_eq!(parse_quantity(text).map_err(|error| error.code()), Err(code), "{text}");
        }
    }

    #[test]
    fn measures_keep_spoons_apart_and_read_fractions() {
        for (text, measure) in [
            ("2g", Measure::Grams(2.0)),
            ("1/2 oz", Measure::Grams(0.5 * GRAMS_PER_OUNCE)),
            ("1.25 ml", Measure::Millilitres(1.25)),
            ("3/4tsp", Measure::Teaspoons(0.75)),
            ("2 1/4 teaspoons", Measure::Teaspoons(2.25)),
            ("1 Tbsp.", Measure::Teaspoons(3.0)),
        ] {
            assert_eq!(parse_measure(text), Ok(measure), "{text}");
        }
        for (text, code) in [
            ("", "empty-amount"),
            ("-1 tsp", "negative-amount"),
            ("-1/4 tsp", "negative-amount"),
            ("0 tsp", "zero-amount"),
            ("0/4 tsp", "zero-amount"),
            ("1/0 tsp", "amount-not-finite"),
            ("0/0 tsp", "amount-not-finite"),
            ("1/4", "no-measure"),
            ("2 %", "no-measure"),
            ("1/4 spoonful", "unknown-unit"),
            ("1/2/3 tsp", "not-a-number"),
            ("1.5/2 tsp", "not-a-number"),
            ("1 2 1/2 tsp", "not-a-number"),
            ("/4 tsp", "not-a-number"),
            ("20 C", "temperature-as-amount"),
            ("1e13 ml", "amount-too-large"),
        ] {
            assert_eq!(parse_measure(text).map_err(|error| error.code()), Err(code), "{text}");
        }
    }

    /// NIST Handbook 44, appendix C (recalled): a US fluid ounce is 29.5735295625 ml, a tablespoon half of that, a teaspoon a sixth.
    #[test]
    fn volumes_are_told_in_millilitres() {
        for (text, wanted_ml) in [
            ("10 ml", 10.0),
            ("2 fl. oz", 59.147_059_125),
            ("3 Tbsp", 44.360_294_343_75),
            ("1 tsp", 4.928_921_593_75),
            ("0.5 l", 500.0),
        ] {
            let seen = match parse_quantity(text) {
                Err(QuantityError::Volume { millilitres, .. }) => millilitres,
                _ => f64::NAN,
            };
            assert!((seen - wanted_ml).abs() < 1e-9 * wanted_ml, "{text}: {seen}");
        }
        assert_eq!(parse_measure("1/2 l"), Ok(Measure::Millilitres(500.0)));
    }

    /// By definition a pound is 16 ounces, 453.59237 g; NIST Handbook 44, appendix C (recalled): a cup is 8 fluid ounces, a pint 16.
    #[test]
    fn every_name_of_the_pound_the_cup_and_the_pint_means_the_same() {
        for pound in ["lb", "lbs", "pound", "pounds"] {
            let Ok(Measure::Grams(grams)) = parse_measure(&format!("1 {pound}")) else { unreachable!("{pound}") };
            assert!((grams - 453.592_37).abs() < 1e-9, "{pound}: {grams}");
        }
        for (names, wanted_ml) in
            [(["cup", "cups"].as_slice(), 236.588_236_5), (["pint", "pints", "pt"].as_slice(), 473.176_473)]
        {
            for name in names {
                let Ok(Measure::Millilitres(seen)) = parse_measure(&format!("1 {name}")) else {
                    unreachable!("{name}")
                };
                assert!((seen - wanted_ml).abs() < 1e-9, "{name}: {seen}");
            }
        }
    }

    #[test]
    fn a_unit_longer_than_any_is_none() {
        let spread = |start: &str, end: &str, length: usize| {
            format!("{start}{}{end}", " ".repeat(length - start.len() - end.len()))
        };
        let parts = |length: usize| parse_quantity(&format!("26 {}", spread("parts by", "mass", length)));
        assert_eq!(parts(32), Ok(Quantity { value: 26.0, unit: Unit::Parts }));
        assert_eq!(parts(33).map_err(|error| error.code()), Err("unknown-unit"));
        let degrees = |length: usize| parse_quantity(&format!("26 {}", spread("degrees", "C", length)));
        assert_eq!(degrees(32).map_err(|error| error.code()), Err("temperature-as-amount"));
        assert_eq!(degrees(33).map_err(|error| error.code()), Err("unknown-unit"));
    }

    #[test]
    fn unit_names_are_plain_and_unique() {
        for (index, (name, _)) in UNITS.iter().enumerate() {
            assert_eq!(plain_unit(name), *name);
            assert!(UNITS.iter().skip(index + 1).all(|(other, _)| other != name), "{name} twice");
            assert!(!is_temperature_unit(name) && name.len() <= LONGEST_UNIT);
        }
    }
}
