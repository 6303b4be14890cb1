//! What is in the drawer: how many bars it makes, which ingredient runs out first, what is left, what to buy.
//!
//! ```text
//! most bars: the largest n whose weigh sheet takes no more of any ingredient than is there
//! left = there − needed        to buy = needed − there, where that is above 0
//! ```
//! The search bisects on n and asks the weigh sheet itself ([`batch`]), so that what a scale rounds and what scents take counts.
//!
//! # Source
//! Our own arithmetic.

use std::ops::RangeInclusive;

use barwright_reference::{IngredientId, Library};

use crate::batch::{BatchError, BatchTask, MAX_BARS, WeighLine, batch, is_delivery_of, uses};

/// Masses taken as what is there, g.
pub const THERE_G: RangeInclusive<f64> = 0.0..=1e8;

/// Parts of a gram in which masses are compared: far below the last digit of any scale.
const PER_G: f64 = 1e6;

/// What is there of one ingredient.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct There {
    /// The ingredient, or a delivery of it.
    pub ingredient: IngredientId,
    /// Mass, g.
    pub mass_g: f64,
}

/// One ingredient of a batch held against what is there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Held {
    /// The ingredient.
    pub ingredient: IngredientId,
    /// What the batches take, g.
    pub needed_g: f64,
    /// What is there, g; `None` when nobody said.
    pub there_g: Option<f64>,
}

impl Held {
    /// What is left of it, g; below 0 when there is too little.
    pub fn left_g(&self) -> Option<f64> {
        self.there_g.map(|there_g| settled(there_g - self.needed_g))
    }

    /// What is lacking, g: all of it when nobody said what is there.
    pub fn lacking_g(&self) -> f64 {
        settled(self.needed_g - self.there_g.unwrap_or(0.0)).max(0.0)
    }
}

/// A difference of masses without the dust of its subtraction, g; zero has no sign.
fn settled(mass_g: f64) -> f64 {
    (mass_g * PER_G).round() / PER_G + 0.0
}

/// The most bars that what is there makes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Most {
    /// How many.
    pub bars: u32,
    /// The ingredient that does not reach for one bar more.
    pub runs_out: IngredientId,
}

/// Holds a batch against what is there.
///
/// # Arguments
/// * `lines`: the weigh sheet of one batch.
/// * `there`: what is there; of deliveries of the same ingredient the sum counts.
/// * `batches`: how many times the batch is made.
///
/// # Returns
/// Every ingredient of the batch once, in the order of the sheet.
pub fn hold(library: &Library, lines: &[WeighLine], there: &[There], batches: u32) -> Vec<Held> {
    let needed = uses(lines);
    let of = |ingredient| {
        let its = there.iter().filter(|one| taken_for(library, &needed, one.ingredient) == Some(ingredient));
        its.map(|one| one.mass_g).reduce(|sum, mass_g| sum + mass_g)
    };
    let held = needed.iter().map(|&(ingredient, mass_g)| Held {
        ingredient,
        needed_g: f64::from(batches) * mass_g,
        there_g: of(ingredient),
    });
    held.collect()
}

/// Which ingredient of a batch something in the drawer is weighed in for: itself, else one that it is a delivery of, or that is a delivery of it.
///
/// # Arguments
/// * `needed`: what the batch takes of each ingredient, g.
pub fn taken_for(library: &Library, needed: &[(IngredientId, f64)], there: IngredientId) -> Option<IngredientId> {
    let ids = || needed.iter().map(|(ingredient, _)| *ingredient);
    ids()
        .find(|id| *id == there)
        .or_else(|| ids().find(|id| is_delivery_of(library, *id, there) || is_delivery_of(library, there, *id)))
}

/// Finds the most bars that what is there makes.
///
/// # Arguments
/// * `task`: the batch; its number of bars does not count.
/// * `there`: what is there, g from 0 to 100,000,000; of what is not named there is enough.
///
/// # Errors
/// [`BatchError::NotOneBar`], [`BatchError::NothingRunsOut`] when none of it is in the bar, and what [`batch`] refuses.
///
/// # Example
/// ```
/// use barwright_making::batch::BatchTask;
/// use barwright_making::stock::{There, most_bars};
/// use barwright_reference::{Library, formula};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let bar = formula::read_inline("beeswax 25, sunflower oil 75", "bar", &library)?;
/// let task = BatchTask {
///     formula: &bar.formulas[0], bars: 1, bar_g: 40.0, left_share: 0.0, scale_g: 1.0, scents: &[], colours: &[], jugs: 1,
///     labour: None, packaging: None,
/// };
/// let beeswax = library.id_of("beeswax").ok_or("no beeswax")?;
/// assert_eq!(most_bars(&library, &task, &[There { ingredient: beeswax, mass_g: 125.0 }])?.bars, 12);
/// # Ok(())
/// # }
/// ```
pub fn most_bars(library: &Library, task: &BatchTask<'_>, there: &[There]) -> Result<Most, BatchError> {
    let short_of = |bars: u32| {
        let sheet = batch(library, &BatchTask { bars, ..*task })?;
        let held = hold(library, &sheet.lines, there, 1);
        let lacking = held.into_iter().filter(|one| one.there_g.is_some() && one.lacking_g() > 0.0);
        let ratio = |one: &Held| one.needed_g / one.there_g.unwrap_or(0.0);
        Ok(lacking.max_by(|one, other| ratio(one).total_cmp(&ratio(other))))
    };
    // A batch too small to be weighed or to hold its scents lacks nothing: a larger one may be.
    let reaches = |bars: u32| match short_of(bars) {
        Ok(short) => Ok(short.is_none()),
        Err(BatchError::TooCoarse { .. } | BatchError::AllScent { .. } | BatchError::TooManyJugs { .. }) => Ok(true),
        Err(error) => Err(error),
    };
    let (mut enough, mut too_many) = (0, MAX_BARS + 1);
    while too_many - enough > 1 {
        let middle = enough + (too_many - enough) / 2;
        if reaches(middle)? {
            enough = middle;
        } else {
            too_many = middle;
        }
    }
    if too_many > MAX_BARS {
        return Err(BatchError::NothingRunsOut);
    }
    let short = short_of(too_many)?.ok_or(BatchError::NothingRunsOut)?;
    if enough == 0 {
        let Held { ingredient, needed_g, there_g } = short;
        let ingredient = library.key(ingredient).to_owned();
        return Err(BatchError::NotOneBar { ingredient, needed_g, there_g: there_g.unwrap_or(0.0) });
    }
    Ok(Most { bars: enough, runs_out: short.ingredient })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use barwright_reference::{Formula, formula};

    use super::*;
    use crate::batch::Scent;

    const LOTS: &str = "[lot.A]\nlike = 'beeswax'\n[lot.B]\nlike = 'beeswax'\n\
                        [lot.spring-scent]\nlike = 'isopropyl myristate'\ninci = 'Parfum'\n";

    fn library() -> Library {
        Library::builtin().unwrap().with_lots(LOTS).unwrap().0
    }

    fn bar(library: &Library, text: &str) -> Formula {
        formula::read_inline(text, "bar", library).unwrap().formulas.remove(0)
    }

    fn task<'a>(formula: &'a Formula, scents: &'a [Scent]) -> BatchTask<'a> {
        BatchTask {
            formula,
            bars: 1,
            bar_g: 50.0,
            left_share: 0.05,
            scale_g: 1.0,
            scents,
            colours: &[],
            jugs: 1,
            labour: None,
            packaging: None,
        }
    }

    fn there(library: &Library, all: &[(&str, f64)]) -> Vec<There> {
        all.iter().map(|(name, mass_g)| There { ingredient: library.id_of(name).unwrap(), mass_g: *mass_g }).collect()
    }

    #[test]
    fn no_bar_more_can_be_weighed_than_the_most() {
        let library = library();
        let formula = bar(&library, "beeswax 26, shea butter 32, sunflower oil 42");
        for grams in 14..400_u32 {
            let have = there(&library, &[("beeswax", f64::from(grams)), ("shea-butter", 200.0)]);
            let most = most_bars(&library, &task(&formula, &[]), &have).unwrap();
            let lacking = |bars| -> Vec<IngredientId> {
                let sheet = batch(&library, &BatchTask { bars, ..task(&formula, &[]) }).unwrap();
                let held = hold(&library, &sheet.lines, &have, 1).into_iter();
                held.filter(|one| one.left_g().is_some_and(|left_g| left_g < 0.0)).map(|one| one.ingredient).collect()
            };
            assert_eq!(lacking(most.bars), [], "{grams} g");
            assert!(lacking(most.bars + 1).contains(&most.runs_out), "{grams} g");
        }
    }

    #[test]
    fn what_a_scent_takes_is_left_to_the_rest() {
        let library = library();
        let formula = bar(&library, "beeswax 50, sunflower oil 50");
        let have = there(&library, &[("beeswax", 50.0)]);
        let scent = [Scent { ingredient: library.id_of("spring-scent").unwrap(), mass_g: 60.0 }];
        let most = |scents| most_bars(&library, &task(&formula, scents), &have).unwrap().bars;
        assert_eq!((most(&[]), most(&scent)), (1, 3));
    }

    #[test]
    fn deliveries_count_for_their_ingredient_and_a_scent_not_for_what_it_is_like() {
        let library = library();
        let formula = bar(&library, "beeswax 40, isopropyl myristate 60");
        let sheet = batch(&library, &BatchTask { bars: 2, left_share: 0.0, ..task(&formula, &[]) }).unwrap();
        let have = there(&library, &[("A", 15.0), ("B", 20.0), ("spring-scent", 500.0)]);
        let held = hold(&library, &sheet.lines, &have, 3);
        let told: Vec<_> = held.iter().map(|one| (one.needed_g, one.there_g, one.left_g(), one.lacking_g())).collect();
        assert_eq!(told, [(120.0, Some(35.0), Some(-85.0), 85.0), (180.0, None, None, 180.0)]);
    }

    #[test]
    fn too_little_for_a_bar_and_nothing_of_the_bar_are_refused() {
        let library = library();
        let formula = bar(&library, "beeswax 50, sunflower oil 50");
        let most = |all: &[(&str, f64)]| most_bars(&library, &task(&formula, &[]), &there(&library, all));
        let little = BatchError::NotOneBar { ingredient: "beeswax".to_owned(), needed_g: 27.0, there_g: 10.0 };
        assert_eq!(most(&[("beeswax", 10.0)]), Err(little));
        assert_eq!(most(&[("shea-butter", 10.0)]), Err(BatchError::NothingRunsOut));
        assert_eq!(most(&[]), Err(BatchError::NothingRunsOut));
    }
}
