//! What the label must say, as far as it follows from the formula.
//!
//! | rule | source |
//! |---|---|
//! | ingredients in descending order of mass; those below 1 % after the others, in any order; colours last | Regulation (EC) 1223/2009, Art. 19(1)(g) (read as pages for makers quote it) |
//! | the same in the US, where those of 1 % itself may stand in any order, too | 21 CFR 701.3(a) (read); 701.3(f) (read on a page for makers) |
//! | each ingredient of a blend by itself: `(and)` stands between them in a supplier's name, never on a label | common practice, no source |
//! | names of the market, one style in one list | see [`barwright_reference::label`] |
//! | scent as one word; each allergen above 0.001 % of a product that stays on the skin by name | Regulation (EC) 1223/2009, Annex III (read); one word, `fragrance`: 21 CFR 701.3(a) (read) |
//! | some 80 allergens in place of some 24; new products from 31 July 2026, those on sale before until 31 July 2028 | Regulation (EU) 2023/1545 (read as quoted) |
//! | content: none of it overstated, so rounded down | NIST on the US rules: "in no case shall rounded net contents declarations overstate a quantity" (read as quoted); EU: our choice |
//! | EU: the mean at least as stated; few short by more than the tolerable error; none by more than twice that | Directive 76/211/EEC, Annex I, 1.1 to 1.3 (read) |
//! | EU: the steps of the tolerable error, rounded up to a tenth of a gram | Directive 76/211/EEC, Annex I, 2.4 (read up to 1 kg); the whole table and the rounding on the packaged goods page of gov.uk (read) |
//! | few: in general no more than 2.5 % | guidance notes of UK trading standards (read); the Directive has sampling plans in their place, Annex II (read) |
//! | US: average content, mass for solids, ounces and grams, lower 30 % of the main panel | 21 CFR 701.13 (recalled) |
//!
//! # Validity
//! A draft for a safety assessor or the local authority to check: it knows nothing of other annexes, of languages, or of what else a label must say.

use barwright_reference::{AnimalOrigin, Formula, Ingredient, IngredientId, Library, Market, NutOrigin};
use schemars::JsonSchema;
use serde::Serialize;

/// Around this share the order is free: in the EU below it, in the US at it, too; mass %.
const MINOR_PERCENT: f64 = 1.0;

/// Scent allergens above this share are named, mass % of a product that stays on the skin.
pub const ALLERGEN_PERCENT: f64 = 0.001;

/// Share of packages that may be short by more than the tolerable error, in general, %.
pub const FEW_PERCENT: f64 = 2.5;

/// One ounce, g; exact.
pub const OUNCE_G: f64 = 28.349_523_125;

/// The caution on every label.
const LOCAL_RULES: &str = "A draft: your local rules decide what a label must say, and in which language. Have it checked by your authority or a \
                               safety assessor before you sell.";

/// The caution on allergens that an older certificate may leave out.
pub const OLD_CERTIFICATE: &str = "A certificate from before the longer list of Regulation (EU) 2023/1545 (about 80 names; new products from 31 July 2026, \
                                   those on sale before until 31 July 2028) may list too few: ask the supplier for one by the longer list.";

/// What a scent without a name of its own is declared as.
const SCENT: &str = "Parfum";

/// Words for a scent as a whole, in capitals or not.
const SCENT_WORDS: [&str; 4] = ["parfum", "fragrance", "aroma", "flavor"];

/// One name on the label.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Declared {
    /// Name.
    pub name: String,
    /// Share of the bar, mass %.
    pub percent: f64,
    /// Least share thought possible, mass %: below `percent` where it rests on an estimate of what a blend holds.
    pub low_percent: f64,
    /// Greatest share thought possible, mass %.
    pub high_percent: f64,
}

impl Declared {
    /// Whether the share, and so the place in the list, rests on an estimate.
    pub fn is_estimated(&self) -> bool {
        self.low_percent < self.high_percent
    }
}

/// A caution about the label.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Note {
    /// Its subject, in a word or two.
    pub about: &'static str,
    /// The caution, in sentences.
    pub text: String,
}

/// A label to draw up.
#[derive(Debug, Clone, Copy)]
pub struct LabelTask<'a> {
    /// The formula with its scents, mass %.
    pub whole: &'a Formula,
    /// Which of its ingredients are scents.
    pub scents: &'a [IngredientId],
    /// Names of what is added for colour.
    pub colours: &'a [String],
    /// Where the label is to be read.
    pub market: Market,
}

/// What the label says about the formula.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Declaration {
    /// Where the label is to be read.
    pub market: Market,
    /// Ingredients in their order.
    pub ingredients: Vec<Declared>,
    /// Scent allergens to be named, the greatest share first.
    pub allergens: Vec<Declared>,
    /// Colours, last and in any order.
    pub colours: Vec<String>,
    /// Names of ingredients from nuts, or possibly so.
    pub nuts: Vec<String>,
    /// Names of ingredients from animals.
    pub animal: Vec<String>,
    /// Names of ingredients from animals or from plants, depending on the lot.
    pub possibly_animal: Vec<String>,
    /// Names of ingredients that are known to sensitise skin, each with its sensitiser.
    pub sensitisers: Vec<String>,
    /// Cautions; the last is that local rules decide.
    pub notes: Vec<Note>,
}

impl Declaration {
    /// Makes the declaration of a formula.
    ///
    /// # Arguments
    /// * `library`: reference tables and lots.
    /// * `task`: the formula, its scents and colours, the market.
    ///
    /// # Example
    /// ```
    /// use barwright_making::declaration::{Declaration, LabelTask};
    /// use barwright_reference::{Library, Market, formula};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let library = Library::builtin()?;
    /// let bar = formula::read_inline("beeswax 30, sunflower oil 69.5, tocopherol 0.5", "bar", &library)?;
    /// let task = LabelTask { whole: &bar.formulas[0], scents: &[], colours: &[], market: Market::Eu };
    /// assert_eq!(Declaration::of(&library, &task).text(), "Helianthus Annuus Seed Oil, Cera Flava, Tocopherol");
    /// let us = LabelTask { market: Market::Us, ..task };
    /// assert_eq!(Declaration::of(&library, &us).text(), "Helianthus Annuus (Sunflower) Seed Oil, Beeswax, Tocopherol");
    /// # Ok(())
    /// # }
    /// ```
    pub fn of(library: &Library, task: &LabelTask<'_>) -> Self {
        let mut label = Declaration {
            market: task.market,
            ingredients: Vec::new(),
            allergens: Vec::new(),
            colours: task.colours.to_vec(),
            nuts: Vec::new(),
            animal: Vec::new(),
            possibly_animal: Vec::new(),
            sensitisers: Vec::new(),
            notes: Vec::new(),
        };
        let mut scented = !task.scents.is_empty();
        for part in &task.whole.parts {
            let Some(one) = library.get(part.ingredient) else { continue };
            let mut declare = |inci_name: &str, shares: [f64; 3]| {
                let name = library.label_name(inci_name, task.market);
                scented |= SCENT_WORDS.iter().any(|word| name.eq_ignore_ascii_case(word));
                add(&mut label.ingredients, &name, shares.map(|share| 0.01 * share * part.percent));
            };
            let scent = task.scents.contains(&part.ingredient);
            let named_by_parent = scent && unnamed(library, one);
            if named_by_parent {
                declare(SCENT, [100.0; 3]);
            } else if one.inci_parts.is_empty() {
                declare(&one.inci_name, [100.0; 3]);
            }
            for blended in one.inci_parts.iter().filter(|_| !named_by_parent) {
                declare(&blended.inci_name, [blended.percent, blended.low_percent, blended.high_percent]);
            }
            for (name, of_lot) in &one.lot_allergens {
                add(&mut label.allergens, name, [0.01 * of_lot * part.percent; 3]);
            }
            scented |= !one.lot_allergens.is_empty();
            let put = |list: &mut Vec<String>, name: String| {
                if !list.contains(&name) {
                    list.push(name);
                }
            };
            let nut_origin = if scent { one.nut_origin_as_scent() } else { one.nut_origin };
            if nut_origin != NutOrigin::No {
                put(&mut label.nuts, one.common_name.clone());
            }
            match one.animal_origin {
                AnimalOrigin::No => {}
                AnimalOrigin::Possible => put(&mut label.possibly_animal, one.common_name.clone()),
                AnimalOrigin::Yes => put(&mut label.animal, one.common_name.clone()),
            }
            let inherited = scent && one.lot_of.is_some();
            if !inherited && let Some(named) = barwright_blend::cautions::sensitiser(one, &one.common_name) {
                put(&mut label.sensitisers, named);
            }
        }
        label.allergens.retain(|one| one.percent > ALLERGEN_PERCENT);
        // Descending throughout is one of the orders that are allowed below 1 %.
        for list in [&mut label.ingredients, &mut label.allergens] {
            list.sort_by(|a, b| b.percent.total_cmp(&a.percent).then_with(|| a.name.cmp(&b.name)));
        }
        label.notes = notes(library, task, &label, scented);
        label
    }

    /// The list as one text: ingredients, then allergens of the scent, then colours.
    pub fn text(&self) -> String {
        let named = self.ingredients.iter().chain(&self.allergens).map(|one| one.name.clone());
        named.chain(self.colours.iter().cloned()).collect::<Vec<_>>().join(", ")
    }

    /// Ingredients whose order is free.
    pub fn minor(&self) -> impl Iterator<Item = &Declared> {
        let market = self.market;
        self.ingredients.iter().filter(move |one| match market {
            Market::Eu => one.percent < MINOR_PERCENT,
            Market::Us => one.percent <= MINOR_PERCENT,
        })
    }
}

/// Whether a lot has no name of its own on the label, but that of the ingredient it is like.
fn unnamed(library: &Library, one: &Ingredient) -> bool {
    one.lot_of.and_then(|parent| library.get(parent)).is_some_and(|parent| parent.inci_name == one.inci_name)
}

/// Adds a share, with its least and greatest, to the entry of this name.
fn add(list: &mut Vec<Declared>, name: &str, [percent, low_percent, high_percent]: [f64; 3]) {
    match list.iter_mut().find(|known| known.name.eq_ignore_ascii_case(name)) {
        Some(known) => {
            known.percent += percent;
            known.low_percent += low_percent;
            known.high_percent += high_percent;
        }
        None => list.push(Declared { name: name.to_owned(), percent, low_percent, high_percent }),
    }
}

/// Cautions about the label.
fn notes(library: &Library, task: &LabelTask<'_>, label: &Declaration, scented: bool) -> Vec<Note> {
    let mut notes = Vec::new();
    let mut note = |about, text: String| notes.push(Note { about, text });
    let estimated: Vec<&str> =
        label.ingredients.iter().filter(|one| one.is_estimated()).map(|one| one.name.as_str()).collect();
    if !estimated.is_empty() {
        note(
            "Order",
            format!(
                "The places of {} rest on an estimate of what a blend holds. Ask its supplier for the composition sheet, and write it into the lot: \
                 `inci = {{ \"first name\" = 65, \"second name\" = 35 }}`.",
                estimated.join(" and of ")
            ),
        );
    }
    for one in task.scents.iter().filter_map(|index| library.get(*index)).filter(|one| unnamed(library, one)) {
        note(
            "Scent",
            format!(
                "{} is declared as {}, for its lot states no `inci`: write there what its supplier states.",
                one.common_name,
                library.label_name(SCENT, task.market)
            ),
        );
    }
    if scented {
        note("Certificate", OLD_CERTIFICATE.to_owned());
    }
    note("Rules", LOCAL_RULES.to_owned());
    notes
}

/// Content of one bar as the label states it: never more than is in it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Content {
    /// Whole grams, below 10 g tenths of one.
    pub grams: f64,
    /// Hundredths of an ounce, never above the grams.
    pub ounces: f64,
    /// Tolerable error of the grams stated, g; `None` outside 5 g to 10 kg.
    pub tolerable_error_g: Option<f64>,
}

/// Grams are stated whole from here on, in tenths below.
const WHOLE_FROM_G: f64 = 10.0;

/// What multiplying and adding may have taken off a mass, relative to it: a bar of 57 g must not become one of 56 g for it.
const BINARY_NOISE: f64 = 1e-12;

impl Content {
    /// Returns the content stated for a bar; `None` for less than a tenth of a gram.
    ///
    /// ```text
    /// grams = ⌊bar⌋, below 10 g ⌊10 bar⌋ / 10;  ounces = ⌊100 grams / 28.349523125⌋ / 100
    /// ```
    ///
    /// # Arguments
    /// * `bar_g`: mean mass of a bar, g.
    ///
    /// # Example
    /// ```
    /// use barwright_making::declaration::Content;
    /// let content = Content::of(127.9).ok_or("nothing to state")?;
    /// assert_eq!((content.grams, content.ounces, content.tolerable_error_g), (127.0, 4.47, Some(5.8)));
    /// # Ok::<(), &str>(())
    /// ```
    ///
    /// # Source
    /// As [the module](self): content.
    pub fn of(bar_g: f64) -> Option<Self> {
        let bar_g = bar_g * (1.0 + BINARY_NOISE);
        let tenths = (10.0 * bar_g).floor();
        let grams = if tenths < 10.0 * WHOLE_FROM_G { tenths / 10.0 } else { bar_g.floor() };
        if !(grams > 0.0 && grams.is_finite()) {
            return None;
        }
        let ounces = (100.0 * grams / OUNCE_G).floor() / 100.0;
        Some(Content { grams, ounces, tolerable_error_g: tolerable_error_g(grams) })
    }
}

/// Upper end of a range of contents, g, and what is tolerable up to there: a share, or g.
const TOLERABLE: [(f64, Tolerable); 7] = [
    (50.0, Tolerable::Share(0.09)),
    (100.0, Tolerable::Gram(4.5)),
    (200.0, Tolerable::Share(0.045)),
    (300.0, Tolerable::Gram(9.0)),
    (500.0, Tolerable::Share(0.03)),
    (1000.0, Tolerable::Gram(15.0)),
    (10_000.0, Tolerable::Share(0.015)),
];

/// Least content the rule speaks of, g.
const MIN_CONTENT_G: f64 = 5.0;

#[derive(Debug, Clone, Copy)]
enum Tolerable {
    Share(f64),
    Gram(f64),
}

/// Tolerable negative error of a stated content, g, shares rounded up to a tenth of a gram; `None` outside 5 g to 10 kg.
///
/// # Example
/// ```
/// use barwright_making::declaration::tolerable_error_g;
/// assert_eq!((tolerable_error_g(50.0), tolerable_error_g(80.0), tolerable_error_g(1000.0)), (Some(4.5), Some(4.5), Some(15.0)));
/// assert_eq!((tolerable_error_g(5.0), tolerable_error_g(3.0)), (Some(0.5), None));
/// ```
///
/// # Source
/// Directive 76/211/EEC, Annex I, 2.4 (read up to 1 kg); the whole table and the rounding on the packaged goods page of gov.uk (read).
pub fn tolerable_error_g(content_g: f64) -> Option<f64> {
    if content_g.is_nan() || content_g < MIN_CONTENT_G {
        return None;
    }
    TOLERABLE.iter().find(|(up_to_g, _)| content_g <= *up_to_g).map(|(_, tolerable)| match tolerable {
        Tolerable::Share(share) => (10.0 * share * content_g * (1.0 - BINARY_NOISE)).ceil() / 10.0,
        Tolerable::Gram(grams) => *grams,
    })
}
