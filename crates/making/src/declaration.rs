//! What the label must say, as far as the formula decides it.
//!
//! | rule | source |
//! |---|---|
//! | ingredients in descending order of mass; those below 1 % after the others, in any order; colours last | Regulation (EC) 1223/2009, Art. 19(1)(g) (1 % text recalled); 21 CFR 701.3 (read; grouping at 1 % recalled) |
//! | scent as one word; each allergen above 0.001 % of a product that stays on the skin by name | Regulation (EC) 1223/2009, Annex III; 0.001 % read |
//! | content: the mean at least as stated, none short by twice the tolerable error | Directive 76/211/EEC (9 % at 50 g and 1.5 % from 1 kg read, steps between recalled) |
//!
//! # Validity
//! A draft for a safety assessor or the local authority to check: it knows nothing of other annexes, of languages, or of what else a label must say.

use barwright_reference::{Formula, Library, NutOrigin, Origin};
use serde::Serialize;

/// Below this share the order is free, mass %.
const MINOR_PERCENT: f64 = 1.0;

/// Scent allergens above this share are named, mass % of a product that stays on the skin.
pub const ALLERGEN_PERCENT: f64 = 0.001;

/// One ounce, g.
pub const OUNCE_G: f64 = 28.349_523;

/// One name on the label.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Declared {
    /// Name.
    pub name: String,
    /// Share of the bar, mass %.
    pub percent: f64,
}

/// What the label says of the formula.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Declaration {
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
}

impl Declaration {
    /// Makes the declaration of a formula.
    ///
    /// # Arguments
    /// * `library`: reference tables and lots.
    /// * `whole`: the formula with its scents, mass %.
    /// * `colours`: names of what is added for colour.
    ///
    /// # Example
    /// ```
    /// use barwright_making::declaration::Declaration;
    /// use barwright_reference::{Library, formula};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let library = Library::builtin().map_err(|faults| faults[0].to_string())?;
    /// let bar = formula::read_inline("beeswax 30, sunflower oil 69.5, tocopherol 0.5", "bar", &library)
    ///     .map_err(|errors| errors[0].message.clone())?;
    /// let label = Declaration::of(&library, &bar.formulas[0], &[]);
    /// assert_eq!(label.text(), "Helianthus Annuus (Sunflower) Seed Oil, Cera Flava, Tocopherol");
    /// # Ok(())
    /// # }
    /// ```
    pub fn of(library: &Library, whole: &Formula, colours: &[String]) -> Self {
        let mut ingredients: Vec<Declared> = Vec::new();
        let mut allergens: Vec<Declared> = Vec::new();
        let (mut nuts, mut animal) = (Vec::new(), Vec::new());
        let add = |list: &mut Vec<Declared>, name: &str, percent: f64| match list
            .iter_mut()
            .find(|known| known.name.eq_ignore_ascii_case(name))
        {
            Some(known) => known.percent += percent,
            None => list.push(Declared { name: name.to_owned(), percent }),
        };
        for part in &whole.parts {
            let Some(one) = library.ingredients.get(part.ingredient) else { continue };
            add(&mut ingredients, &one.inci_name, part.percent);
            for (name, of_lot) in &one.lot_allergens {
                add(&mut allergens, name, 0.01 * of_lot * part.percent);
            }
            if one.nut_origin != NutOrigin::No && !nuts.contains(&one.common_name) {
                nuts.push(one.common_name.clone());
            }
            if one.origin == Origin::Animal && !animal.contains(&one.common_name) {
                animal.push(one.common_name.clone());
            }
        }
        allergens.retain(|one| one.percent > ALLERGEN_PERCENT);
        let order = |list: &mut Vec<Declared>| {
            list.sort_by(|a, b| b.percent.total_cmp(&a.percent).then_with(|| a.name.cmp(&b.name)));
        };
        // Descending throughout is one of the orders that are allowed below 1 %.
        order(&mut ingredients);
        order(&mut allergens);
        Declaration { ingredients, allergens, colours: colours.to_vec(), nuts, animal }
    }

    /// The list as one text: ingredients, then allergens of the scent, then colours.
    pub fn text(&self) -> String {
        let named = self.ingredients.iter().chain(&self.allergens).map(|one| one.name.clone());
        named.chain(self.colours.iter().cloned()).collect::<Vec<_>>().join(", ")
    }

    /// Ingredients below 1 %, whose order is free.
    pub fn minor(&self) -> impl Iterator<Item = &Declared> {
        self.ingredients.iter().filter(|one| one.percent < MINOR_PERCENT)
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
const LEAST_CONTENT_G: f64 = 5.0;

#[derive(Debug, Clone, Copy)]
enum Tolerable {
    Share(f64),
    Gram(f64),
}

/// Tolerable negative error of a stated content, g; `None` outside 5 g to 10 kg.
///
/// # Source
/// Directive 76/211/EEC, Annex I: 9 % up to 50 g and 1.5 % from 1 kg read, the steps between recalled.
///
/// # Example
/// ```
/// use barwright_making::declaration::tolerable_error_g;
/// assert_eq!((tolerable_error_g(50.0), tolerable_error_g(80.0), tolerable_error_g(1000.0)), (Some(4.5), Some(4.5), Some(15.0)));
/// assert_eq!(tolerable_error_g(3.0), None);
/// ```
pub fn tolerable_error_g(content_g: f64) -> Option<f64> {
    if content_g.is_nan() || content_g < LEAST_CONTENT_G {
        return None;
    }
    TOLERABLE.iter().find(|(up_to_g, _)| content_g <= *up_to_g).map(|(_, tolerable)| match tolerable {
        Tolerable::Share(share) => share * content_g,
        Tolerable::Gram(grams) => *grams,
    })
}
