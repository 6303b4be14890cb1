//! What may change, and how far.

use barwright_reference::{Ingredient, IngredientKind};

/// Largest error of a sum of shares, mass %.
pub const SUM_TOLERANCE_PERCENT: f64 = 1e-6;

/// Accepted steps of amounts, mass %: from what a fine scale resolves of a bar to all of it.
pub const STEP_PERCENT: std::ops::RangeInclusive<f64> = 1e-3..=100.0;

/// Least share of a part that a change makes, mass %: less of a wax, butter or oil is a crumb that no maker weighs for its own sake (judgement).
pub const MIN_PART_PERCENT: f64 = 2.0;

/// Limit on the price of a formula.
#[derive(Debug, Clone, PartialEq)]
pub struct PriceLimit {
    /// Price per kilogram of each ingredient, in any one currency.
    pub per_kg: Vec<f64>,
    /// Highest price per kilogram of the whole, in the same currency.
    pub max_per_kg: f64,
}

/// Bounds of each ingredient, and the price.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Least mass %, one for each ingredient.
    pub min_percent: Vec<f64>,
    /// Most mass %.
    pub max_percent: Vec<f64>,
    /// Limit on the price; `None`: any price.
    pub price: Option<PriceLimit>,
}

/// Why no formula fits the limits, whatever the demands.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LimitError {
    /// A list of another length than the ingredients.
    #[error("{found} limits for {expected} ingredients")]
    Length {
        /// How many there are.
        found: usize,
        /// How many there must be.
        expected: usize,
    },
    /// Bounds that no amount satisfies.
    #[error("ingredient {ingredient}: at least {least} % and at most {most} %")]
    Contradiction {
        /// Position in the list given.
        ingredient: usize,
        /// Least mass %.
        least: f64,
        /// Most mass %.
        most: f64,
    },
    /// A step of amounts that is too fine, too coarse, or none.
    #[error("a step of {step:e} % is outside {} to {} %", STEP_PERCENT.start(), STEP_PERCENT.end())]
    Step {
        /// The step, mass %.
        step: f64,
    },
    /// The least amounts add up to more than the whole.
    #[error("the least amounts add up to {sum} %, more than 100 %")]
    LeastOverWhole {
        /// Their sum, mass %.
        sum: f64,
    },
    /// The most amounts do not fill the whole.
    #[error("the most amounts add up to {sum} %, less than 100 %")]
    MostUnderWhole {
        /// Their sum, mass %.
        sum: f64,
    },
}

impl Limits {
    /// No limits: each ingredient from 0 to 100 %.
    pub fn free(count: usize) -> Self {
        Limits { min_percent: vec![0.0; count], max_percent: vec![100.0; count], price: None }
    }

    /// Checks that some formula fits.
    ///
    /// # Errors
    /// [`LimitError`].
    pub fn check(&self, count: usize) -> Result<(), LimitError> {
        for list in [&self.min_percent, &self.max_percent] {
            if list.len() != count {
                return Err(LimitError::Length { found: list.len(), expected: count });
            }
        }
        for (ingredient, (&least, &most)) in self.min_percent.iter().zip(&self.max_percent).enumerate() {
            if !(least >= 0.0 && most <= 100.0 && least <= most) {
                return Err(LimitError::Contradiction { ingredient, least, most });
            }
        }
        let sum: f64 = self.min_percent.iter().sum();
        if sum > 100.0 + SUM_TOLERANCE_PERCENT {
            return Err(LimitError::LeastOverWhole { sum });
        }
        let sum: f64 = self.max_percent.iter().sum();
        if sum < 100.0 - SUM_TOLERANCE_PERCENT {
            return Err(LimitError::MostUnderWhole { sum });
        }
        Ok(())
    }

    /// The limits with an amount held in a narrower range, mass %; `None` where that leaves no formula.
    fn narrowed(&self, ingredient: usize, (low, high): (f64, f64)) -> Option<Limits> {
        let mut limits = self.clone();
        limits.min_percent[ingredient] = low.max(self.min_percent[ingredient]);
        limits.max_percent[ingredient] = high.min(self.max_percent[ingredient]);
        limits.check(self.min_percent.len()).ok().map(|()| limits)
    }

    /// The limits without an ingredient.
    pub(crate) fn without(&self, ingredient: usize) -> Option<Limits> {
        self.narrowed(ingredient, (0.0, 0.0))
    }

    /// The limits under which an ingredient is no crumb: without it, with as much as it was, with [`MIN_PART_PERCENT`] or more.
    pub(crate) fn without_crumb(&self, ingredient: usize, before: f64) -> Vec<Limits> {
        let ranges = [(0.0, 0.0), (before, before), (MIN_PART_PERCENT, 100.0)];
        let ranges = &ranges[usize::from(before == 0.0)..];
        ranges.iter().filter_map(|range| self.narrowed(ingredient, *range)).collect()
    }

    /// Whether a formula, mass %, lies inside the bounds and within the price limit.
    pub fn hold(&self, percent: &[f64]) -> bool {
        let inside = |((p, least), most): ((&f64, &f64), &f64)| {
            *p >= least - SUM_TOLERANCE_PERCENT && *p <= most + SUM_TOLERANCE_PERCENT
        };
        percent.iter().zip(&self.min_percent).zip(&self.max_percent).all(inside)
            && self.over_price(percent) <= SUM_TOLERANCE_PERCENT
    }

    /// How far a formula is over the price limit, as a share of the limit; 0 within it.
    pub fn over_price(&self, percent: &[f64]) -> f64 {
        let Some(PriceLimit { per_kg, max_per_kg }) = &self.price else { return 0.0 };
        (price_per_kg(per_kg, percent) / max_per_kg - 1.0).max(0.0)
    }
}

/// Whether a change leaves a crumb of an ingredient, mass %: some, but less than [`MIN_PART_PERCENT`], and not what it was.
pub fn is_crumb(before: f64, after: f64) -> bool {
    after > SUM_TOLERANCE_PERCENT
        && after < MIN_PART_PERCENT - SUM_TOLERANCE_PERCENT
        && (after - before).abs() > SUM_TOLERANCE_PERCENT
}

/// Whether an ingredient is one a bar is built of: a wax, a butter, an oil or the like. What scents, colours, fills or preserves a bar is in it for its own
/// sake, so that it is no means of making the bar firmer or softer.
pub fn is_base(ingredient: &Ingredient) -> bool {
    !matches!(ingredient.kind, IngredientKind::Scent | IngredientKind::Powder | IngredientKind::Other)
}

/// Checks the step of amounts, mass %; `None`: any amount.
///
/// # Errors
/// [`LimitError::Step`].
pub fn check_step(step_percent: Option<f64>) -> Result<(), LimitError> {
    match step_percent {
        Some(step) if !STEP_PERCENT.contains(&step) => Err(LimitError::Step { step }),
        _ => Ok(()),
    }
}

/// Price of a kilogram of a formula, in the currency of `price`, which is per kilogram of each ingredient.
pub fn price_per_kg(price: &[f64], percent: &[f64]) -> f64 {
    price.iter().zip(percent).map(|(price, percent)| price * percent / 100.0).sum()
}

/// Mass moved from one formula to another, mass %.
pub fn mass_moved(original: &[f64], percent: &[f64]) -> f64 {
    0.5 * original.iter().zip(percent).map(|(before, after)| (after - before).abs()).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_that_leave_no_formula_are_named() {
        let limits = |least: &[f64], most: &[f64]| Limits {
            min_percent: least.to_vec(),
            max_percent: most.to_vec(),
            price: None,
        };
        assert_eq!(limits(&[0.0, 0.0], &[100.0, 100.0]).check(2), Ok(()));
        assert_eq!(limits(&[0.0], &[100.0]).check(2), Err(LimitError::Length { found: 1, expected: 2 }));
        let contradiction = LimitError::Contradiction { ingredient: 1, least: 30.0, most: 20.0 };
        assert_eq!(limits(&[0.0, 30.0], &[100.0, 20.0]).check(2), Err(contradiction));
        assert_eq!(limits(&[60.0, 50.0], &[100.0, 100.0]).check(2), Err(LimitError::LeastOverWhole { sum: 110.0 }));
        assert_eq!(limits(&[0.0, 0.0], &[40.0, 50.0]).check(2), Err(LimitError::MostUnderWhole { sum: 90.0 }));
        assert!(limits(&[f64::NAN, 0.0], &[40.0, 90.0]).check(2).is_err());
    }

    #[test]
    fn a_formula_is_held_to_its_bounds_and_its_price() {
        let mut limits = Limits { min_percent: vec![10.0, 20.0], max_percent: vec![40.0, 90.0], price: None };
        for (percent, holds) in [
            ([10.0, 90.0], true),
            ([40.0, 60.0], true),
            ([9.9, 90.0], false),
            ([40.1, 59.9], false),
            ([10.0, 90.1], false),
        ] {
            assert_eq!(limits.hold(&percent), holds, "{percent:?}");
        }
        // Rounding is no breach.
        assert!(limits.hold(&[10.0 - 1e-7, 90.0 + 1e-7]));
        assert_eq!(limits.over_price(&[10.0, 90.0]), 0.0);
        // 6.50 a kilogram: 30 % above 5.
        assert_eq!(price_per_kg(&[20.0, 5.0], &[10.0, 90.0]), 6.5);
        limits.price = Some(PriceLimit { per_kg: vec![20.0, 5.0], max_per_kg: 6.5 });
        assert!(limits.hold(&[10.0, 90.0]) && !limits.hold(&[11.0, 89.0]));
        limits.price = Some(PriceLimit { per_kg: vec![20.0, 5.0], max_per_kg: 5.0 });
        assert!((limits.over_price(&[10.0, 90.0]) - 0.3).abs() < 1e-12);
    }

    #[test]
    fn sums_are_taken_with_rounding() {
        let check = |least: [f64; 2], most: [f64; 2]| {
            Limits { min_percent: least.to_vec(), max_percent: most.to_vec(), price: None }.check(2)
        };
        assert_eq!(check([60.0, 40.0 + 1e-7], [100.0, 100.0]), Ok(()));
        assert_eq!(check([0.0, 0.0], [60.0, 40.0 - 1e-7]), Ok(()));
        assert!(check([60.0, 40.1], [100.0, 100.0]).is_err() && check([0.0, 0.0], [60.0, 39.9]).is_err());
        assert!(check([0.0, -0.1], [100.0, 100.0]).is_err() && check([0.0, 0.0], [100.1, 100.0]).is_err());
        assert_eq!(check([50.0, 0.0], [50.0, 100.0]), Ok(()));
    }

    #[test]
    fn a_step_no_scale_shows_is_refused() {
        for step in [None, Some(1e-3), Some(0.5), Some(100.0)] {
            assert_eq!(check_step(step), Ok(()), "{step:?}");
        }
        for step in [0.0, -0.5, 9e-4, 101.0, 1e-308, 5e-324, 1e308, f64::INFINITY, f64::NAN] {
            assert!(matches!(check_step(Some(step)), Err(LimitError::Step { .. })), "{step}");
        }
        let message = LimitError::Step { step: 1e308 }.to_string();
        assert!(message.len() < 400 && message.ends_with("is outside 0.001 to 100 %"), "{message}");
    }
}
