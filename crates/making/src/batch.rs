//! A batch: from the number of bars to the masses to weigh out and what they cost.
//!
//! ```text
//! melt = bars · mass of one / (1 − share left in jug and mould rim)
//! ```
//! Each ingredient is rounded to the last digit of the maker's scale so that all add up to the melt ([`apportion`]).
//!
//! # Source
//! Our own arithmetic.

use barwright_reference::apportion::apportion;
use barwright_reference::{Formula, IngredientId, IngredientKind, Library, Part};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Accepted bulk densities, g/ml: from the fluffiest silica to metal powder (judgement).
pub const BULK_G_ML: (f64, f64) = (0.02, 8.0);

/// Bars of a batch, at most.
pub const MAX_BARS: u32 = 1_000_000;

/// A scent by mass, which takes the place of some of the formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scent {
    /// The ingredient.
    pub ingredient: IngredientId,
    /// Mass in the batch, g.
    pub mass_g: f64,
}

/// A colour stirred in at the end; it is weighed, and is not part of the melt's model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Colour {
    /// Name on the label, such as a CI number.
    pub name: String,
    /// Mass in the batch, g.
    pub mass_g: f64,
    /// Bulk density as it lies loose in a level spoon, where the maker states one, g/ml.
    pub density_g_ml: Option<f64>,
    /// Whether it is measured by the spoon, and its mass computed.
    pub spooned: bool,
    /// The jug it goes into, counted from 1; without one, all of them in equal parts.
    pub jug: Option<u32>,
}

impl Colour {
    /// Volume of `mass_g` of it in a level spoon, ml; `None` without a density.
    pub fn volume_ml(&self, mass_g: f64) -> Option<f64> {
        self.density_g_ml.map(|density_g_ml| mass_g / density_g_ml)
    }
}

/// A batch to compute.
#[derive(Debug, Clone, Copy)]
pub struct BatchTask<'a> {
    /// The formula without scent.
    pub formula: &'a Formula,
    /// Bars wanted.
    pub bars: u32,
    /// Mass of one, g.
    pub bar_g: f64,
    /// Share of the melt that stays in the jug, 0 to below 1.
    pub left_share: f64,
    /// Last digit of the scale, g.
    pub scale_g: f64,
    /// Scents.
    pub scents: &'a [Scent],
    /// Colours.
    pub colours: &'a [Colour],
    /// Number of jugs the melt is divided between.
    pub jugs: u32,
    /// Labour for the batch, in the currency of the prices.
    pub labour: Option<f64>,
    /// Packaging for one bar, in the same currency.
    pub packaging: Option<f64>,
}

/// One line of the weigh sheet.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WeighLine {
    /// The ingredient.
    #[serde(skip)]
    pub ingredient: IngredientId,
    /// Share of the melt by the recipe, before it is rounded to the scale, mass %: without scents to the last bit what the formula says.
    pub percent: f64,
    /// Mass to weigh out, g.
    pub mass_g: f64,
    /// Reading of a scale that is not tared in between, g.
    pub running_g: f64,
    /// Price, where it is known.
    pub price: Option<f64>,
}

/// A share above what a certificate allows.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OverLimit {
    /// The ingredient.
    #[serde(skip)]
    pub ingredient: IngredientId,
    /// Share of the bar, mass %.
    pub percent: f64,
    /// Largest share that its certificate allows, mass %.
    pub limit_percent: f64,
}

/// Cost of a batch, in the currency of the prices given.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Cost {
    /// Ingredients, waste included.
    pub ingredients: f64,
    /// Packaging of all bars.
    pub packaging: f64,
    /// Labour.
    pub labour: f64,
    /// All of it.
    pub batch: f64,
    /// For one bar.
    pub bar: f64,
    /// For one gram sold.
    pub gram: f64,
}

/// One of the jugs the melt is divided between.
#[derive(Debug, Clone, PartialEq)]
pub struct Jug {
    /// Melt in it, g.
    pub melt_g: f64,
    /// Colours stirred into it: position among those asked for, and g.
    pub colours: Vec<(usize, f64)>,
}

/// A batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// What to weigh out, in the order of melting: the order of the formula, scents last.
    pub lines: Vec<WeighLine>,
    /// The melt, g.
    pub melt_g: f64,
    /// The jugs, together the melt.
    pub jugs: Vec<Jug>,
    /// The melt with its scents as a formula, mass %.
    pub whole: Formula,
    /// Its scents, those of the formula and those added, mass %.
    pub scents: Vec<(IngredientId, f64)>,
    /// Scents above the limits of their certificates.
    pub over: Vec<OverLimit>,
    /// Scents of which no certificate states a limit.
    pub unlimited: Vec<IngredientId>,
    /// Cost; `None` when a price is missing.
    pub cost: Option<Cost>,
    /// Ingredients without a price.
    pub without_price: Vec<IngredientId>,
}

/// Why there is no batch.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BatchError {
    /// A figure out of range.
    #[error("{what} is {value}, outside {least} to {most}")]
    OutOfRange {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Smallest accepted.
        least: f64,
        /// Largest accepted.
        most: f64,
    },
    /// The scents weigh more than the melt.
    #[error("the scents weigh {scents_g} g, as much as the melt of {melt_g} g or more")]
    AllScent {
        /// Their mass, g.
        scents_g: f64,
        /// The melt, g.
        melt_g: f64,
    },
    /// A scent that stands in the formula already.
    #[error("`{scent}` is added as a scent, and the formula has {percent} % of `{part}` already")]
    ScentTwice {
        /// Key of the scent.
        scent: String,
        /// Key of what is in the formula.
        part: String,
        /// Its share of the formula, mass %.
        percent: f64,
    },
    /// A colour for a jug that does not exist.
    #[error("`{colour}` goes into jug {jug}, and there are {jugs}")]
    NoJug {
        /// Its name.
        colour: String,
        /// Jug asked for.
        jug: u32,
        /// Number of jugs.
        jugs: u32,
    },
    /// A jug would stay empty.
    #[error("a scale that shows {scale_g} g cannot part {melt_g} g into {jugs} jugs")]
    TooManyJugs {
        /// Last digit of the scale, g.
        scale_g: f64,
        /// The melt, g.
        melt_g: f64,
        /// Number of jugs asked for.
        jugs: u32,
    },
    /// What is there does not make a bar.
    #[error("one bar takes {needed_g} g of `{ingredient}`, and there are {there_g} g")]
    NotOneBar {
        /// Key of the ingredient.
        ingredient: String,
        /// What one bar takes of it, g.
        needed_g: f64,
        /// What is there, g.
        there_g: f64,
    },
    /// Nothing that is there is in the bar.
    #[error("nothing of what is there is in the bar, or there is more of it than any batch takes")]
    NothingRunsOut,
    /// The scale is too coarse.
    #[error("a scale that shows {scale_g} g cannot weigh {mass_g} g of `{ingredient}`")]
    TooCoarse {
        /// Last digit of the scale, g.
        scale_g: f64,
        /// Mass to weigh out, g.
        mass_g: f64,
        /// Key of the ingredient.
        ingredient: String,
    },
}

/// Computes a batch.
///
/// # Arguments
/// * `library`: reference tables and lots.
/// * `task`: the batch.
///
/// # Errors
/// [`BatchError`].
///
/// # Example
/// ```
/// use barwright_making::batch::{BatchTask, batch};
/// use barwright_reference::{Library, formula};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let bar = formula::read_inline("beeswax 26, mango butter 32, sunflower oil 42", "bar", &library)?;
/// let task = BatchTask {
///     formula: &bar.formulas[0], bars: 6, bar_g: 57.0, left_share: 0.05, scale_g: 1.0, scents: &[], colours: &[], jugs: 1,
///     labour: None, packaging: None,
/// };
/// let sheet = batch(&library, &task)?;
/// assert_eq!(sheet.melt_g, 360.0);
/// assert_eq!(sheet.lines.iter().map(|line| line.mass_g).collect::<Vec<_>>(), [94.0, 115.0, 151.0]);
/// # Ok(())
/// # }
/// ```
pub fn batch(library: &Library, task: &BatchTask<'_>) -> Result<Batch, BatchError> {
    let within = |what, value: f64, least: f64, most: f64| {
        if value >= least && value <= most {
            Ok(value)
        } else {
            Err(BatchError::OutOfRange { what, value, least, most })
        }
    };
    within("the number of bars", f64::from(task.bars), 1.0, f64::from(MAX_BARS))?;
    within("the mass of a bar in g", task.bar_g, 0.01, 1e6)?;
    within("the share left in the jug", task.left_share, 0.0, 0.9)?;
    within("the number of jugs", f64::from(task.jugs), 1.0, 1e3)?;
    within("the last digit of the scale in g", task.scale_g, 1e-4, 1e3)?;
    for scent in task.scents {
        within("the mass of a scent in g", scent.mass_g, 0.0, 1e6)?;
    }
    if let Some(error) = task.scents.iter().find_map(|scent| scent_twice(library, task.formula, scent.ingredient)) {
        return Err(error);
    }
    for colour in task.colours {
        within("the mass of a colour in g", colour.mass_g, 0.0, 1e6)?;
        within("the bulk density of a colour in g/ml", colour.density_g_ml.unwrap_or(1.0), BULK_G_ML.0, BULK_G_ML.1)?;
    }
    for (what, money) in [("the labour", task.labour), ("the packaging", task.packaging)] {
        within(what, money.unwrap_or(0.0), 0.0, 1e9)?;
    }
    let wanted_g = f64::from(task.bars) * task.bar_g / (1.0 - task.left_share);
    let melt_g = (wanted_g / task.scale_g).round() * task.scale_g;
    let scents_g: f64 = task.scents.iter().map(|scent| scent.mass_g).sum();
    if scents_g >= melt_g {
        return Err(BatchError::AllScent { scents_g, melt_g });
    }
    let base_g = melt_g - scents_g;
    let base_share = base_g / melt_g;
    let parts = task.formula.parts.iter().map(|part| (part.ingredient, part.percent * base_share));
    let scents = task.scents.iter().map(|scent| (scent.ingredient, 100.0 * scent.mass_g / melt_g));
    let all: Vec<(IngredientId, f64)> = parts.chain(scents).collect();
    let exact: Vec<f64> = all.iter().map(|(_, percent)| 0.01 * percent * melt_g).collect();
    let rounded = apportion(&exact, melt_g, task.scale_g);
    let one = |id: IngredientId| library.get(id);
    let mut running_g = 0.0;
    let mut lines = Vec::with_capacity(all.len());
    for ((&(ingredient, percent), &exact_g), &mass_g) in all.iter().zip(&exact).zip(&rounded) {
        if mass_g <= 0.0 {
            let ingredient = one(ingredient).map_or_else(String::new, |one| one.key.clone());
            return Err(BatchError::TooCoarse { scale_g: task.scale_g, mass_g: exact_g, ingredient });
        }
        running_g += mass_g;
        let price = one(ingredient).and_then(|one| one.price_per_kg).map(|price| 1e-3 * mass_g * price);
        lines.push(WeighLine { ingredient, percent, mass_g, running_g, price });
    }
    let mut whole: Vec<Part> = Vec::new();
    for line in &lines {
        match whole.iter_mut().find(|part| part.ingredient == line.ingredient) {
            Some(part) => part.percent += line.percent,
            None => whole.push(Part { ingredient: line.ingredient, percent: line.percent }),
        }
    }
    let limit = |id: IngredientId| one(id).and_then(|one| one.lot_limit_percent);
    // What is weighed decides, not what the recipe says; of the same scent all deliveries.
    let used = uses(&lines);
    let over = used
        .iter()
        .filter_map(|&(ingredient, _)| {
            let same = used.iter().filter(|(other, _)| is_same_scent(library, ingredient, *other));
            let mass_g: f64 = same.map(|(_, mass_g)| mass_g).sum();
            let (limit_percent, percent) = (limit(ingredient)?, 100.0 * mass_g / melt_g);
            (percent > limit_percent).then_some(OverLimit { ingredient, percent, limit_percent })
        })
        .collect();
    let is_scent = |id: IngredientId| {
        let of_kind = || one(id).is_some_and(|one| one.kind == IngredientKind::Scent);
        task.scents.iter().any(|scent| scent.ingredient == id) || of_kind()
    };
    let scents: Vec<(IngredientId, f64)> =
        whole.iter().map(|part| (part.ingredient, part.percent)).filter(|(id, _)| is_scent(*id)).collect();
    let unlimited = scents.iter().map(|(id, _)| *id).filter(|id| limit(*id).is_none()).collect();
    let without_price: Vec<IngredientId> = whole
        .iter()
        .map(|part| part.ingredient)
        .filter(|&id| one(id).is_none_or(|one| one.price_per_kg.is_none()))
        .collect();
    let cost = without_price.is_empty().then(|| {
        let ingredients = lines.iter().filter_map(|line| line.price).sum();
        let packaging = task.packaging.unwrap_or(0.0) * f64::from(task.bars);
        let labour = task.labour.unwrap_or(0.0);
        let all = ingredients + packaging + labour;
        let bar = all / f64::from(task.bars);
        Cost { ingredients, packaging, labour, batch: all, bar, gram: bar / task.bar_g }
    });
    let jugs = jugs(task, melt_g)?;
    let whole = Formula { name: task.formula.name.clone(), parts: whole };
    Ok(Batch { lines, melt_g, jugs, whole, scents, over, unlimited, cost, without_price })
}

/// Whether one is a delivery of the other that is sold by the same name: a scent of which a lot says only what it is like is not.
pub(crate) fn is_delivery_of(library: &Library, lot: IngredientId, of: IngredientId) -> bool {
    library
        .get(lot)
        .zip(library.get(of))
        .is_some_and(|(lot, parent)| lot.lot_of == Some(of) && !lot.stands_alone && lot.inci_name == parent.inci_name)
}

/// Whether two ingredients are the same scent: one, or deliveries of one of the table.
fn is_same_scent(library: &Library, one: IngredientId, other: IngredientId) -> bool {
    let of =
        |id: IngredientId| library.get(id).filter(|one| one.kind == IngredientKind::Scent && !one.stands_alone)?.lot_of;
    one == other || of(one).unwrap_or(one) == of(other).unwrap_or(other)
}

/// Refuses a scent of which the formula says already how much there is of it, or of the ingredient it is a delivery of.
fn scent_twice(library: &Library, formula: &Formula, scent: IngredientId) -> Option<BatchError> {
    let of_lot =
        |id: IngredientId| library.get(id).is_some_and(|one| one.kind == IngredientKind::Scent || one.lot_of.is_some());
    let same = |part: &&Part| {
        let either = is_delivery_of(library, part.ingredient, scent) || is_delivery_of(library, scent, part.ingredient);
        of_lot(scent) && (part.ingredient == scent || (either && is_same_scent(library, part.ingredient, scent)))
    };
    let Part { ingredient, percent } = *formula.parts.iter().find(same)?;
    let [scent, part] = [scent, ingredient].map(|id| library.key(id).to_owned());
    Some(BatchError::ScentTwice { scent, part, percent })
}

/// Mass of each ingredient, g, in the order of the lines: a scent that is added twice is listed once.
pub fn uses<'l>(lines: impl IntoIterator<Item = &'l WeighLine>) -> Vec<(IngredientId, f64)> {
    let mut uses: Vec<(IngredientId, f64)> = Vec::new();
    for line in lines {
        match uses.iter_mut().find(|(ingredient, _)| *ingredient == line.ingredient) {
            Some((_, mass_g)) => *mass_g += line.mass_g,
            None => uses.push((line.ingredient, line.mass_g)),
        }
    }
    uses
}

/// Divides melt and colours between the jugs.
fn jugs(task: &BatchTask<'_>, melt_g: f64) -> Result<Vec<Jug>, BatchError> {
    let jugs = task.jugs;
    if let Some((colour, jug)) = task.colours.iter().find_map(|colour| {
        let jug = colour.jug.filter(|jug| !(1..=jugs).contains(jug))?;
        Some((colour.name.clone(), jug))
    }) {
        return Err(BatchError::NoJug { colour, jug, jugs });
    }
    let each_g = melt_g / f64::from(jugs);
    let masses = apportion(&vec![each_g; jugs as usize], melt_g, task.scale_g);
    if masses.iter().any(|mass_g| *mass_g <= 0.0) {
        return Err(BatchError::TooManyJugs { scale_g: task.scale_g, melt_g, jugs });
    }
    let of = |number: u32| {
        let colours = task.colours.iter().enumerate().filter_map(move |(index, colour)| match colour.jug {
            None => Some((index, colour.mass_g / f64::from(jugs))),
            Some(jug) => (jug == number).then_some((index, colour.mass_g)),
        });
        colours.collect()
    };
    Ok((1..).zip(masses).map(|(number, melt_g)| Jug { melt_g, colours: of(number) }).collect())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn colour(name: &str, mass_g: f64, jug: Option<u32>) -> Colour {
        Colour { name: name.to_owned(), mass_g, density_g_ml: Some(0.5), spooned: false, jug }
    }

    fn of(jugs: u32, colours: &[Colour]) -> Result<Batch, BatchError> {
        let library = Library::builtin().unwrap();
        let bar = barwright_reference::formula::read_inline("beeswax 30, olive oil 70", "bar", &library).unwrap();
        let task = BatchTask {
            formula: &bar.formulas[0],
            bars: 1,
            bar_g: 101.0,
            left_share: 0.0,
            scale_g: 1.0,
            scents: &[],
            colours,
            jugs,
            labour: None,
            packaging: None,
        };
        batch(&library, &task)
    }

    #[test]
    fn jugs_share_the_melt_and_what_has_no_jug() {
        let asked = [colour("green", 2.0, Some(2)), colour("white", 3.0, None)];
        let jugs = of(2, &asked).unwrap().jugs;
        assert_eq!(jugs.iter().map(|jug| jug.melt_g).collect::<Vec<_>>(), [51.0, 50.0]);
        assert_eq!(jugs[0].colours, [(1, 1.5)]);
        assert_eq!(jugs[1].colours, [(0, 2.0), (1, 1.5)]);
        assert_eq!(asked[0].volume_ml(2.0), Some(4.0));
        for number in 1..=101 {
            let jugs = of(number, &asked[1..]).unwrap().jugs;
            let (melt_g, colour_g) = jugs.iter().fold((0.0, 0.0), |(melt, colour), jug| {
                (melt + jug.melt_g, colour + jug.colours.iter().map(|(_, mass_g)| mass_g).sum::<f64>())
            });
            assert!((melt_g - 101.0).abs() < 1e-9 && (colour_g - 3.0).abs() < 1e-9, "{number}");
        }
    }

    #[test]
    fn jugs_that_are_not_there_are_refused() {
        for jug in [0, 3, u32::MAX] {
            let found = of(2, &[colour("green", 2.0, Some(jug))]);
            assert!(matches!(found, Err(BatchError::NoJug { .. })), "{jug}");
        }
        assert!(matches!(of(0, &[]), Err(BatchError::OutOfRange { .. })));
        assert!(matches!(of(102, &[]), Err(BatchError::TooManyJugs { .. })));
        for density_g_ml in [0.0, -1.0, f64::NAN, 100.0] {
            let bad = Colour { density_g_ml: Some(density_g_ml), ..colour("green", 2.0, None) };
            assert!(matches!(of(1, &[bad]), Err(BatchError::OutOfRange { .. })), "{density_g_ml}");
        }
    }
}
