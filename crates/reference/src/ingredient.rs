//! Ingredients: waxes, butters, oils and what they are made of.

use jiff::civil::Date;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::{IngredientId, Status, ViscosityPoint};

/// Between the declared names of a blend.
pub const AND: &str = " (and) ";

/// What an ingredient is, in trade words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum IngredientKind {
    /// A wax.
    Wax,
    /// A butter: a fat that is solid or soft at room temperature.
    Butter,
    /// A liquid oil.
    Oil,
    /// A simple ester.
    Ester,
    /// A fatty alcohol.
    FattyAlcohol,
    /// A fatty acid.
    FattyAcid,
    /// A hydrocarbon, solid or liquid.
    Hydrocarbon,
    /// What smells: an essential oil, a fragrance, menthol. It dissolves, and goes in last.
    Scent,
    /// A powder that neither melts nor dissolves: mica, clay, starch, a pigment.
    Powder,
    /// Anything else.
    Other,
}

impl IngredientKind {
    /// The kinds a maker sums up or picks by, in the plural.
    pub const PLURALS: [&'static str; 7] = ["waxes", "butters", "oils", "esters", "hydrocarbons", "scents", "powders"];

    /// Returns the kind a word names, in the singular or the plural.
    ///
    /// ```
    /// use barwright_reference::IngredientKind;
    /// assert_eq!(IngredientKind::called("Waxes"), Some(IngredientKind::Wax));
    /// assert_eq!(IngredientKind::called("beeswax"), None);
    /// ```
    pub fn called(word: &str) -> Option<Self> {
        match word.trim().to_lowercase().as_str() {
            "wax" | "waxes" => Some(IngredientKind::Wax),
            "butter" | "butters" => Some(IngredientKind::Butter),
            "oil" | "oils" => Some(IngredientKind::Oil),
            "ester" | "esters" => Some(IngredientKind::Ester),
            "hydrocarbon" | "hydrocarbons" => Some(IngredientKind::Hydrocarbon),
            "scent" | "scents" => Some(IngredientKind::Scent),
            "powder" | "powders" => Some(IngredientKind::Powder),
            _ => None,
        }
    }
}

/// Whether an ingredient comes from a nut, for the allergen statement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NutOrigin {
    /// Not from a nut.
    No,
    /// From a tree nut.
    TreeNut,
    /// From peanut.
    Peanut,
    /// From coconut.
    Coconut,
    /// From shea, which some rules list among the tree nuts.
    Shea,
    /// May be, depending on the lot.
    Possible,
}

impl NutOrigin {
    /// Every nut origin, in the order of the table's documentation.
    pub const ALL: [NutOrigin; 6] = [
        NutOrigin::No,
        NutOrigin::TreeNut,
        NutOrigin::Peanut,
        NutOrigin::Coconut,
        NutOrigin::Shea,
        NutOrigin::Possible,
    ];

    /// Returns the word used in tables and files.
    pub fn word(self) -> &'static str {
        match self {
            NutOrigin::No => "no",
            NutOrigin::TreeNut => "tree-nut",
            NutOrigin::Peanut => "peanut",
            NutOrigin::Coconut => "coconut",
            NutOrigin::Shea => "shea",
            NutOrigin::Possible => "possible",
        }
    }
}

/// Whether an ingredient comes from an animal, for makers and buyers who want nothing that does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AnimalOrigin {
    /// Not from an animal.
    No,
    /// May be, depending on the lot: fatty acids from tallow, squalane from sharks.
    Possible,
    /// From an animal.
    Yes,
}

impl AnimalOrigin {
    /// Every animal origin, in the order of the table's documentation.
    pub const ALL: [AnimalOrigin; 3] = [AnimalOrigin::No, AnimalOrigin::Possible, AnimalOrigin::Yes];

    /// Returns the word used in tables and files.
    pub fn word(self) -> &'static str {
        match self {
            AnimalOrigin::No => "no",
            AnimalOrigin::Possible => "possible",
            AnimalOrigin::Yes => "yes",
        }
    }
}

/// Where an ingredient comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// From a plant.
    Plant,
    /// From an animal.
    Animal,
    /// From mineral oil.
    Mineral,
    /// Made.
    Synthetic,
}

/// One species in one ingredient.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// Index into [`crate::Library::species`].
    pub species: usize,
    /// Share by mass, %.
    pub percent: f64,
    /// Spread between lots, absolute mass %, one standard deviation.
    pub sd_percent: f64,
    /// How the share was obtained.
    pub status: Status,
    /// Key of the source in `data/sources.bib`.
    pub source: String,
    /// Remarks.
    pub note: String,
}

/// One of the names that a blend is declared by, such as the oil and the hardened fat of avocado butter.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct InciPart {
    /// Declared (INCI) name.
    pub inci_name: String,
    /// Share of the blend by mass, %.
    pub percent: f64,
    /// Least share thought possible, %; that stated, when it is known.
    pub low_percent: f64,
    /// Greatest share thought possible, %; that stated, when it is known.
    pub high_percent: f64,
    /// How the share was obtained.
    pub status: Status,
    /// Key of the source in `data/sources.bib`.
    pub source: String,
    /// Remarks.
    pub note: String,
}

/// The grains of a powder.
#[derive(Debug, Clone, PartialEq)]
pub struct Powder {
    /// Median diameter, µm.
    pub diameter_um: f64,
    /// Spread of its logarithm between grades, one standard deviation.
    pub diameter_ln_sd: f64,
    /// Share of the volume at which the grains touch and nothing flows.
    pub max_packing: f64,
    /// Its spread, one standard deviation.
    pub max_packing_sd: f64,
    /// How the figures were obtained.
    pub status: Status,
    /// Key of the source in `data/sources.bib`.
    pub source: String,
    /// Remarks.
    pub note: String,
}

/// How long a fat withstands warm air before it turns rancid.
#[derive(Debug, Clone, PartialEq)]
pub struct Induction {
    /// Induction time, h.
    pub hours: f64,
    /// Temperature of the test, °C.
    pub at_c: f64,
    /// Spread of its logarithm between lots, one standard deviation.
    pub ln_sd: f64,
    /// How it was obtained.
    pub status: Status,
    /// Key of the source in `data/sources.bib`.
    pub source: String,
    /// Remarks.
    pub note: String,
}

/// One ingredient of the reference table, or a maker's own lot of one.
#[derive(Debug, Clone, PartialEq)]
pub struct Ingredient {
    /// Unique key, e.g. `cocoa-butter`.
    pub key: String,
    /// Common name.
    pub common_name: String,
    /// Declared (INCI) name; of a blend, its names with [`AND`] between them.
    pub inci_name: String,
    /// The names and shares of a blend; empty for everything that is declared by one name.
    pub inci_parts: Vec<InciPart>,
    /// Other names a maker may write.
    pub synonyms: Vec<String>,
    /// What it is.
    pub kind: IngredientKind,
    /// Nut origin.
    pub nut_origin: NutOrigin,
    /// Where it comes from.
    pub origin: Origin,
    /// Whether it comes from an animal.
    pub animal_origin: AnimalOrigin,
    /// What in it is known to sensitise skin, such as `wool alcohols`.
    pub sensitiser: Option<String>,
    /// Lower end of the typical melting range, °C.
    pub melt_low_c: f64,
    /// Upper end of the typical melting range, °C.
    pub melt_high_c: f64,
    /// The test the melting range belongs to.
    pub melt_test: String,
    /// How the melting range was obtained.
    pub melt_status: Status,
    /// Source of the melting range.
    pub melt_source: String,
    /// Density, g/ml.
    pub density_g_ml: f64,
    /// Temperature of the density, °C.
    pub density_at_c: f64,
    /// How the density was obtained.
    pub density_status: Status,
    /// Source of the density.
    pub density_source: String,
    /// Needle penetration at 25 °C, 0.1 mm, where one is published.
    pub needle_dmm_25c: Option<f64>,
    /// How the needle penetration was obtained.
    pub needle_status: Option<Status>,
    /// Source of the needle penetration.
    pub needle_source: Option<String>,
    /// Yield stress of the neat ingredient at 25 °C, rested, relative to beeswax = 1.
    pub relative_firmness: f64,
    /// How the relative firmness was obtained.
    pub relative_firmness_status: Status,
    /// Source of the relative firmness.
    pub relative_firmness_source: String,
    /// What it is made of; closes to 100 %, and is empty for a powder.
    pub composition: Vec<Component>,
    /// Its grains, of a powder.
    pub powder: Option<Powder>,
    /// Its induction time, of a fat that turns rancid.
    pub induction: Option<Induction>,
    /// Viscosities of the melt at two temperatures or more: its own, or those of its kind; a lot has those of what it is like.
    pub viscosity: Vec<ViscosityPoint>,
    /// Price per kilogram in the maker's own money, known only for a lot.
    pub price_per_kg: Option<f64>,
    /// Index of the ingredient this is a maker's lot of; `None` for an ingredient of the reference table.
    pub lot_of: Option<IngredientId>,
    /// Whether the lot is of something the table lacks: only its composition is that of what it is a lot of, with a wide spread.
    pub stands_alone: bool,
    /// Melting point of the lot's certificate, °C.
    pub lot_melt_c: Option<f64>,
    /// Needle penetration at 25 °C of the lot's certificate, 0.1 mm.
    pub lot_needle_dmm: Option<f64>,
    /// Flash point of the lot's certificate, °C.
    pub lot_flash_c: Option<f64>,
    /// Most of the lot that its certificate allows in this kind of product, mass %.
    pub lot_limit_percent: Option<f64>,
    /// Nut origin that the lot states.
    pub lot_nut_origin: Option<NutOrigin>,
    /// Scent allergens of the lot's certificate, mass % of the lot.
    pub lot_allergens: Vec<(String, f64)>,
    /// Day until which the lot is at its best, by its label or certificate.
    pub lot_best_before: Option<Date>,
    /// Remarks.
    pub note: String,
}

impl Ingredient {
    /// Returns the nut origin of this as a scent: a scent's lot is `like` an oil for its physics alone, and comes from no nut unless it says so.
    pub fn nut_origin_as_scent(&self) -> NutOrigin {
        match self.lot_of {
            Some(_) => self.lot_nut_origin.unwrap_or(NutOrigin::No),
            None => self.nut_origin,
        }
    }
}

#[cfg(test)]
mod tests {
    use serde::de::value::{Error, StrDeserializer};
    use serde::de::{Deserialize, IntoDeserializer};

    use super::*;

    #[test]
    fn kinds_are_called_in_the_singular_and_the_plural() {
        let words = [
            ("wax", "waxes", IngredientKind::Wax),
            ("butter", "butters", IngredientKind::Butter),
            ("oil", "oils", IngredientKind::Oil),
            ("ester", "esters", IngredientKind::Ester),
            ("hydrocarbon", "hydrocarbons", IngredientKind::Hydrocarbon),
            ("scent", "scents", IngredientKind::Scent),
            ("powder", "powders", IngredientKind::Powder),
        ];
        for (one, many, kind) in words {
            assert_eq!((IngredientKind::called(one), IngredientKind::called(many)), (Some(kind), Some(kind)));
        }
        assert_eq!(IngredientKind::called(" Oils "), Some(IngredientKind::Oil));
        assert_eq!(IngredientKind::PLURALS.map(IngredientKind::called), words.map(|(_, _, kind)| Some(kind)));
    }

    #[test]
    fn words_are_those_of_the_tables() {
        for origin in NutOrigin::ALL {
            let word: StrDeserializer<'_, Error> = origin.word().into_deserializer();
            assert_eq!(NutOrigin::deserialize(word), Ok(origin));
        }
        for origin in AnimalOrigin::ALL {
            let word: StrDeserializer<'_, Error> = origin.word().into_deserializer();
            assert_eq!(AnimalOrigin::deserialize(word), Ok(origin));
        }
    }
}
