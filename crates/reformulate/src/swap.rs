//! One ingredient in place of another: how much of it keeps the bar as near as possible to what it was, and which of several does it best.
//!
//! ```text
//! minimise over y   d² = Σ_k (w_k s_k)² + (|y − x| / 10 %)² + Σ g²,     s_k = (property_k(y) − property_k before) / step_k
//! ```
//! `x` is the mass % of what went, `y` that of the replacement. What it needs more or less than `x` is taken from, or given to, the liquids of the
//! formula in proportion; without liquids, all the rest in proportion; what a bar is not built of ([`is_base`]) keeps its share. Properties: logarithm of the
//! yield stress at [`AT_C`] in use, logarithm of the finest relief, the temperature up to which it keeps its shape, the share melted on skin, the risk of
//! grain; each in steps that a maker would notice ([`Property::step`]). The weight `w` is 1, of what a maker gains `GAIN_WEIGHT`, of less grain 0. The second
//! term is how far the other parts are thinned or crowded (`OTHERS_STEP_PERCENT`), `g` what is read as a worse word: a glide that is lost
//! (`LOST_GLIDE_STEPS`), a higher risk of grain (`WORSE_GRAIN_STEPS`). All weights are judgement. Central values: both bars share almost all of what is uncertain.
//!
//! The least is looked for on a grid and then by golden section between its neighbours, since there may be several valleys.
//!
//! # Source
//! Golden section: Kiefer 1953, Proc. Amer. Math. Soc. 4:502 (recalled).

use barwright_blend::assess::Workbench;
use barwright_blend::landmarks::LOWEST_LANDMARK_C;
use barwright_blend::property::Step;
use barwright_blend::suitability::{GrainRisk, SkinFeel};
use barwright_blend::{Assessment, BlendError, Model, Options, Property};
use barwright_reference::{AnimalOrigin, Formula, Ingredient, IngredientId, IngredientKind, Library, NutOrigin, Part};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use crate::limits::{LimitError, check_step, is_base};

/// Temperatures at which firmness is kept, °C: a cool and a warm room.
pub const AT_C: [f64; 2] = [20.0, 30.0];

/// Spacing of the grid, mass %.
const GRID_PERCENT: f64 = 2.0;

/// The amount is found to this, mass %.
const AMOUNT_TOLERANCE: f64 = 0.02;

/// An ingredient that is molten below this counts as liquid, °C.
const LIQUID_BELOW_C: f64 = 20.0;

/// A property further off than this number of noticeable steps is not matched.
const MATCHED_STEPS: f64 = 1.0;

/// A yield stress below this counts as 0, kPa: keeps logarithms finite.
const SMALLEST_KPA: f64 = 1e-3;

/// A relief coarser than this counts as none, mm.
const COARSEST_MM: f64 = 1e3;

/// Times the mass that went above which what comes makes a different bar: it is no replacement of an ingredient any more (judgement).
pub const MAX_MASS_RATIO: f64 = 1.5;

/// What a difference counts that a maker gains by: finer relief, more heat stood (judgement).
const GAIN_WEIGHT: f64 = 0.5;

/// Mass by which the other parts of a bar become more or less that counts as one noticeable step, mass % (judgement).
const OTHERS_STEP_PERCENT: f64 = 10.0;

/// Steps that a bar counts which glided and does not any more (judgement).
const LOST_GLIDE_STEPS: f64 = 2.0;

/// Steps that a bar counts for each word its risk of grain is higher: low, moderate, high (judgement).
const WORSE_GRAIN_STEPS: f64 = 1.0;

/// Inverse of the golden ratio.
const GOLDEN: f64 = 0.618_033_988_749_895;

/// Why no replacement was found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SwapError {
    /// The model failed.
    #[error(transparent)]
    Blend(#[from] BlendError),
    /// The step of amounts is too fine or too coarse.
    #[error(transparent)]
    Limits(#[from] LimitError),
    /// The ingredient to replace is not in the formula.
    #[error("the ingredient to replace is not in the formula")]
    NotThere,
    /// An ingredient in place of itself.
    #[error("an ingredient cannot stand in for itself")]
    Itself,
    /// No candidate is left to try.
    #[error("no ingredient is left to try: of {tried}, {animal} are from animals, {nut} are or may be from nuts")]
    NoCandidates {
        /// How many there were.
        tried: usize,
        /// Left out as animal-derived.
        animal: usize,
        /// Left out as nut-derived.
        nut: usize,
    },
}

/// A replacement to look for.
#[derive(Debug, Clone, PartialEq)]
pub struct SwapTask {
    /// The ingredient to be replaced.
    pub replaced: IngredientId,
    /// What may take its place; empty: every other ingredient of its kind.
    pub candidates: Vec<IngredientId>,
    /// Nothing from animals. What may come from animals, depending on the lot, is still tried, and has to be shown with that caution.
    pub vegan: bool,
    /// Nothing that is or may be from nuts.
    pub nut_free: bool,
    /// Amounts that change are multiples of this, mass %, but for the largest that makes up the whole; `None`: any.
    pub step_percent: Option<f64>,
}

/// One property before and after.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Kept {
    /// The property.
    pub property: Property,
    /// Unit.
    pub unit: &'static str,
    /// Before.
    pub before: f64,
    /// After.
    pub after: f64,
    /// Difference in steps that a maker would notice, with its sign.
    pub steps: f64,
    /// Whether it is within one step; of the risk of grain: not a step more, and no worse in a word.
    pub matched: bool,
}

/// One replacement.
#[derive(Debug, Clone, PartialEq)]
pub struct Replacement {
    /// The replacement.
    pub ingredient: IngredientId,
    /// The formula with it.
    pub formula: Formula,
    /// Mass % of what was replaced.
    pub from_percent: f64,
    /// Mass % of the replacement, without what the formula already held of it.
    pub to_percent: f64,
    /// Distance from the bar as it was, in weighted steps.
    pub distance: f64,
    /// Whether the bar glided on skin and does not any more.
    pub loses_glide: bool,
    /// Every property.
    pub properties: Vec<Kept>,
}

impl Replacement {
    /// Mass that comes over mass that went.
    pub fn mass_ratio(&self) -> f64 {
        self.to_percent / self.from_percent
    }

    /// Whether it takes so much that it is a different bar.
    pub fn is_different_bar(&self) -> bool {
        self.mass_ratio() > MAX_MASS_RATIO
    }
}

/// Finds the best amount of every candidate, the nearest bar first; those that need more than [`MAX_MASS_RATIO`] times the mass that went come last.
///
/// # Arguments
/// * `library`, `model`: as for [`barwright_blend::assess()`].
/// * `options`: crystal state and temperature at release; draws are not used.
/// * `formula`: mass %.
/// * `task`: what is replaced, and by what.
///
/// # Errors
/// [`SwapError`].
///
/// # Validity
/// Only what the model knows is kept: not colour, scent, gloss or how the bar drags. A candidate already in the formula is added to.
///
/// # Example
/// ```
/// use barwright_blend::{Model, Options};
/// use barwright_reference::{Library, formula};
/// use barwright_reformulate::swap::{SwapTask, swap};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let bar = formula::read_inline("beeswax 26, mango butter 32, sunflower oil 42", "bar", &library)?.formulas.remove(0);
/// let replaced = bar.parts[0].ingredient;
/// let task = SwapTask { replaced, candidates: Vec::new(), vegan: true, nut_free: false, step_percent: Some(0.5) };
/// let found = swap(&library, &Model::builtin()?, &Options::default(), &bar, &task)?;
/// assert!(found[0].distance <= found[1].distance);
/// # Ok(())
/// # }
/// ```
pub fn swap(
    library: &Library,
    model: &Model,
    options: &Options,
    formula: &Formula,
    task: &SwapTask,
) -> Result<Vec<Replacement>, SwapError> {
    check_step(task.step_percent)?;
    let from_percent: f64 =
        formula.parts.iter().filter(|part| part.ingredient == task.replaced).map(|part| part.percent).sum();
    if from_percent <= 0.0 {
        return Err(SwapError::NotThere);
    }
    if task.candidates.contains(&task.replaced) {
        return Err(SwapError::Itself);
    }
    let candidates = candidates(library, task)?;
    let central = Options { draws: 0, at_c: AT_C.to_vec(), ..options.clone() };
    let bench = Workbench::new(library, model, central)?;
    let before = Seen::new(&bench.assess(formula)?);
    let one = |&ingredient: &IngredientId| -> Result<Replacement, BlendError> {
        let place = Place { library, formula, replaced: task.replaced, with: ingredient, from_percent };
        let distance = |amount: f64, formula: &Formula| -> Result<f64, BlendError> {
            let after = match bench.assess(formula) {
                // So much powder that it is all there is: no bar.
                Err(BlendError::OnlyPowder) => return Ok(f64::INFINITY),
                found => Seen::new(&found?),
            };
            Ok(before.distance(&after).hypot((amount - from_percent) / OTHERS_STEP_PERCENT))
        };
        // With nothing to give or take, the amount is what went.
        let fixed = place.giving().0 <= 0.0;
        let exact = |amount: f64| distance(amount, &place.formula(amount));
        let amount = if fixed { from_percent } else { least(&exact, place.most())? };
        let (to_percent, formula) = match task.step_percent.filter(|_| !fixed) {
            Some(step) => {
                let [below, above] =
                    [(amount / step).floor() * step, ((amount / step).ceil() * step).min(place.most())];
                let (less, more) = (place.in_steps(below, step), place.in_steps(above, step));
                if distance(below, &less)? < distance(above, &more)? { (below, less) } else { (above, more) }
            }
            None => (amount, place.formula(amount)),
        };
        let after = Seen::new(&bench.assess(&formula)?);
        Ok(Replacement {
            ingredient,
            from_percent,
            to_percent,
            distance: distance(to_percent, &formula)?,
            loses_glide: before.loses_glide(&after),
            properties: before.kept(&after),
            formula,
        })
    };
    let mut found = candidates.par_iter().map(one).collect::<Result<Vec<_>, _>>()?;
    let key = |one: &Replacement| library.key(one.ingredient);
    let other = Replacement::is_different_bar;
    found.sort_by(|a, b| {
        other(a).cmp(&other(b)).then(a.distance.total_cmp(&b.distance)).then_with(|| key(a).cmp(key(b)))
    });
    Ok(found)
}

/// Ingredients that may take its place.
fn candidates(library: &Library, task: &SwapTask) -> Result<Vec<IngredientId>, SwapError> {
    let kind = library.get(task.replaced).map(|one| one.kind);
    let all: Vec<IngredientId> = if task.candidates.is_empty() {
        let same = library.by_id().filter(|(id, one)| Some(one.kind) == kind && *id != task.replaced);
        same.map(|(id, _)| id).collect()
    } else {
        task.candidates.clone()
    };
    let (mut left, mut animal, mut nut) = (Vec::new(), 0, 0);
    for &id in &all {
        let Some(one) = library.get(id) else {
            return Err(BlendError::UnknownIngredient { index: id.index() }.into());
        };
        if task.vegan && one.animal_origin == AnimalOrigin::Yes {
            animal += 1;
        } else if task.nut_free && one.nut_origin != NutOrigin::No {
            nut += 1;
        } else if !left.contains(&id) {
            left.push(id);
        }
    }
    if left.is_empty() { Err(SwapError::NoCandidates { tried: all.len(), animal, nut }) } else { Ok(left) }
}

/// A place in a formula that something else takes.
struct Place<'a> {
    library: &'a Library,
    formula: &'a Formula,
    replaced: IngredientId,
    with: IngredientId,
    from_percent: f64,
}

impl Place<'_> {
    /// Whether a part gives or takes the difference: none that a bar is not built of does.
    fn gives(&self, part: &Part, liquids: bool) -> bool {
        let liquid = |one: &Ingredient| one.kind == IngredientKind::Oil || one.melt_high_c < LIQUID_BELOW_C;
        let fits = |one: &Ingredient| is_base(one) && (!liquids || liquid(one));
        let other = part.ingredient != self.replaced && part.ingredient != self.with;
        other && self.library.get(part.ingredient).is_some_and(fits)
    }

    /// Mass % that can give, and whether only liquids do.
    fn giving(&self) -> (f64, bool) {
        let sum = |liquids: bool| -> f64 {
            self.formula.parts.iter().filter(|part| self.gives(part, liquids)).map(|part| part.percent).sum()
        };
        if sum(true) > 0.0 { (sum(true), true) } else { (sum(false), false) }
    }

    /// Most of the replacement that there is room for, mass %.
    fn most(&self) -> f64 {
        self.from_percent + self.giving().0
    }

    /// The formula with this much of the replacement, mass %.
    fn formula(&self, amount: f64) -> Formula {
        let (giving, liquids) = self.giving();
        let factor = if giving > 0.0 { (giving + self.from_percent - amount) / giving } else { 1.0 };
        let mut parts: Vec<Part> = Vec::with_capacity(self.formula.parts.len() + 1);
        for part in &self.formula.parts {
            if part.ingredient == self.replaced || part.ingredient == self.with {
                let added = if part.ingredient == self.replaced {
                    amount * part.percent / self.from_percent
                } else {
                    part.percent
                };
                match parts.iter_mut().find(|one| one.ingredient == self.with) {
                    Some(there) => there.percent += added,
                    None => parts.push(Part { ingredient: self.with, percent: added }),
                }
            } else if self.gives(part, liquids) {
                parts.push(Part { percent: part.percent * factor, ..part.clone() });
            } else {
                parts.push(part.clone());
            }
        }
        parts.retain(|part| part.percent > 0.0);
        Formula { name: self.formula.name.clone(), parts }
    }

    /// The same where what gives or takes is in whole multiples of a step, mass %, too; the largest of it makes up the whole. As it is where that leaves
    /// no room.
    fn in_steps(&self, amount: f64, step: f64) -> Formula {
        let plain = self.formula(amount);
        let (_, liquids) = self.giving();
        let changed = |at: &usize| self.gives(&plain.parts[*at], liquids);
        let percent = |at: usize| plain.parts[at].percent;
        let largest = (0..plain.parts.len()).filter(changed).max_by(|&a, &b| percent(a).total_cmp(&percent(b)));
        let Some(largest) = largest.filter(|_| amount != self.from_percent) else { return plain };
        let mut rounded = plain.clone();
        for at in (0..plain.parts.len()).filter(changed).filter(|at| *at != largest) {
            let whole = ((percent(at) / step).round() * step).max(step);
            rounded.parts[at].percent = whole;
            rounded.parts[largest].percent += percent(at) - whole;
        }
        if rounded.parts[largest].percent < step { plain } else { rounded }
    }
}

/// The central value of a property.
struct Reading {
    property: Property,
    value: f64,
}

/// What is compared of a bar.
struct Seen {
    readings: Vec<Reading>,
    feel: SkinFeel,
    grain: GrainRisk,
}

impl Seen {
    fn new(found: &Assessment) -> Self {
        let yields = found.firmness.iter().map(|at| Reading {
            property: Property::YieldStress { at_c: at.temperature_c },
            value: at.yield_stress_kpa.value.max(SMALLEST_KPA),
        });
        let finest_mm = found.detail.finest_feature_mm.map_or(COARSEST_MM, |finest| finest.value);
        let hold_c = found.warmth.hold_c.map_or(LOWEST_LANDMARK_C, |hold| hold.value);
        let others = [
            (Property::FinestFeature, finest_mm),
            (Property::Hold, hold_c),
            (Property::SkinMelted, found.skin.melted_percent.value),
            (Property::GrainRisk, found.grain.risk.value),
        ];
        let others = others.map(|(property, value)| Reading { property, value });
        Seen { readings: yields.chain(others).collect(), feel: found.skin.likeliest, grain: found.grain.verdict }
    }

    fn loses_glide(&self, after: &Seen) -> bool {
        self.feel == SkinFeel::Glides && after.feel != SkinFeel::Glides
    }

    /// How many words higher the risk of grain is.
    fn words_worse(&self, after: &Seen) -> u8 {
        (after.grain as u8).saturating_sub(self.grain as u8)
    }

    /// Root of the sum of squared weighted steps.
    fn distance(&self, after: &Seen) -> f64 {
        let weighted = self.readings.iter().zip(&after.readings).map(|(before, after)| {
            let steps = steps(before, after);
            weight(before.property, steps) * steps
        });
        let lost = if self.loses_glide(after) { LOST_GLIDE_STEPS } else { 0.0 };
        let grain = WORSE_GRAIN_STEPS * f64::from(self.words_worse(after));
        weighted.chain([lost, grain]).map(|one| one * one).sum::<f64>().sqrt()
    }

    fn kept(&self, after: &Seen) -> Vec<Kept> {
        let worse = self.words_worse(after);
        let kept = |(before, after): (&Reading, &Reading)| {
            let steps = steps(before, after);
            let matched = match before.property {
                Property::GrainRisk => steps <= MATCHED_STEPS && worse == 0,
                _ => steps.abs() <= MATCHED_STEPS,
            };
            let (property, unit) = (before.property, before.property.unit());
            Kept { property, unit, before: before.value, after: after.value, steps, matched }
        };
        self.readings.iter().zip(&after.readings).map(kept).collect()
    }
}

/// What a difference of so many steps counts.
fn weight(property: Property, steps: f64) -> f64 {
    match property {
        Property::Hold if steps > 0.0 => GAIN_WEIGHT,
        Property::FinestFeature if steps < 0.0 => GAIN_WEIGHT,
        Property::GrainRisk if steps < 0.0 => 0.0,
        _ => 1.0,
    }
}

/// Difference in steps that a maker would notice.
fn steps(before: &Reading, after: &Reading) -> f64 {
    match before.property.step() {
        Step::Absolute(step) => (after.value - before.value) / step,
        Step::Ratio(ratio) => (after.value / before.value).ln() / ratio.ln(),
    }
}

/// The argument from 0 to `most` at which `of` is least.
fn least(of: &impl Fn(f64) -> Result<f64, BlendError>, most: f64) -> Result<f64, BlendError> {
    let count = (most / GRID_PERCENT).ceil().max(1.0) as usize;
    let grid = |number: usize| most * number as f64 / count as f64;
    let mut best = (0, f64::INFINITY);
    for number in 0..=count {
        let value = of(grid(number))?;
        if value < best.1 {
            best = (number, value);
        }
    }
    let (mut low, mut high) = (grid(best.0.saturating_sub(1)), grid((best.0 + 1).min(count)));
    let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut at_left, mut at_right) = (of(left)?, of(right)?);
    while high - low > AMOUNT_TOLERANCE {
        if at_left < at_right {
            (high, right, at_right) = (right, left, at_left);
            left = high - GOLDEN * (high - low);
            at_left = of(left)?;
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = low + GOLDEN * (high - low);
            at_right = of(right)?;
        }
    }
    let middle = 0.5 * (low + high);
    Ok(if of(middle)? <= best.1 { middle } else { grid(best.0) })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use std::sync::LazyLock;

    use barwright_blend::property::{NOTICEABLE_K, NOTICEABLE_POINTS, NOTICEABLE_RATIO};
    use barwright_reference::formula;

    use super::*;

    static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap());
    static MODEL: LazyLock<Model> = LazyLock::new(|| Model::builtin().unwrap());

    fn bar(text: &str) -> Formula {
        formula::read_inline(text, "bar", &LIBRARY).unwrap().formulas.remove(0)
    }

    fn index(key: &str) -> IngredientId {
        LIBRARY.id_of(key).unwrap()
    }

    fn place<'a>(formula: &'a Formula, replaced: &str, with: &str, from_percent: f64) -> Place<'a> {
        Place { library: &LIBRARY, formula, replaced: index(replaced), with: index(with), from_percent }
    }

    fn task(replaced: &str, with: &[&str]) -> SwapTask {
        let candidates = with.iter().map(|key| index(key)).collect();
        SwapTask { replaced: index(replaced), candidates, vegan: false, nut_free: false, step_percent: None }
    }

    #[track_caller]
    fn is(formula: &Formula, expected: &[(&str, f64)]) {
        let found: Vec<(&str, f64)> = formula
            .parts
            .iter()
            .map(|part| (LIBRARY.get(part.ingredient).unwrap().key.as_str(), part.percent))
            .collect();
        let alike = |((a, x), (b, y)): (&(&str, f64), &(&str, f64))| a == b && (x - y).abs() < 1e-9;
        assert!(found.len() == expected.len() && found.iter().zip(expected).all(alike), "{found:?}");
    }

    #[test]
    fn liquids_give_and_take_the_difference() {
        let start = bar("beeswax 26, mango butter 22, sunflower oil 40, castor oil 12");
        let place = place(&start, "beeswax", "candelilla-wax", 26.0);
        assert_eq!(place.giving(), (52.0, true));
        assert_eq!(place.most(), 78.0);
        // 13 % less wax: 52 % of oils become 65.
        let expected =
            [("candelilla-wax", 13.0), ("mango-butter", 22.0), ("sunflower-oil", 50.0), ("castor-oil", 15.0)];
        is(&place.formula(13.0), &expected);
        // All the oils give way to as much as there is room for; none of it leaves its place to them.
        is(&place.formula(78.0), &[("candelilla-wax", 78.0), ("mango-butter", 22.0)]);
        is(&place.formula(0.0), &[("mango-butter", 22.0), ("sunflower-oil", 60.0), ("castor-oil", 18.0)]);
    }

    #[test]
    fn without_liquids_everything_else_gives() {
        let start = bar("beeswax 20, mango butter 60, cocoa butter 20");
        let place = place(&start, "beeswax", "candelilla-wax", 20.0);
        assert_eq!(place.giving(), (80.0, false));
        is(&place.formula(10.0), &[("candelilla-wax", 10.0), ("mango-butter", 67.5), ("cocoa-butter", 22.5)]);
    }

    #[test]
    fn what_is_there_already_is_added_to_and_gives_nothing() {
        let start = bar("beeswax 20, sunflower oil 30, jojoba oil 50");
        let oil = place(&start, "jojoba-oil", "sunflower-oil", 50.0);
        // The wax is all that is left to give: the other oil is what comes in.
        assert_eq!(oil.giving(), (20.0, false));
        is(&oil.formula(50.0), &[("beeswax", 20.0), ("sunflower-oil", 80.0)]);
        // The same ingredient named twice.
        let mut twice = bar("beeswax 30, sunflower oil 70");
        twice.parts.push(Part { percent: 10.0, ..twice.parts[0].clone() });
        twice.parts[0].percent = 20.0;
        is(
            &place(&twice, "beeswax", "candelilla-wax", 30.0).formula(15.0),
            &[("candelilla-wax", 15.0), ("sunflower-oil", 85.0)],
        );
    }

    /// Neither vitamin E nor scent nor clay is thinned, though the first two are liquid.
    #[test]
    fn what_is_no_base_of_a_bar_gives_nothing() {
        let start = bar("beeswax 26, sunflower oil 62, vitamin e 1, lavender oil 2, kaolin 9");
        let liquids = place(&start, "beeswax", "candelilla-wax", 26.0);
        assert_eq!(liquids.giving(), (62.0, true));
        let start = bar("beeswax 26, mango butter 62, vitamin e 1, lavender oil 2, kaolin 9");
        assert_eq!(place(&start, "beeswax", "candelilla-wax", 26.0).giving(), (62.0, false));
    }

    /// A fat or an ester that is molten at 20 °C counts as liquid, one that is not does not.
    #[test]
    fn what_is_molten_in_a_cool_room_is_a_liquid() {
        for (text, liquid) in
            [("palm olein", true), ("isopropyl myristate", true), ("squalane", true), ("coconut oil 76", false)]
        {
            let start = bar(&format!("beeswax 30%, {text} 70%"));
            assert_eq!(place(&start, "beeswax", "candelilla-wax", 30.0).giving(), (70.0, liquid), "{text}");
        }
    }

    #[test]
    fn the_lowest_point_is_found_on_the_grid_and_between() {
        let found = |of: &dyn Fn(f64) -> f64, most: f64| least(&|x| Ok(of(x)), most).unwrap();
        assert!((found(&|x| (x - 7.3).powi(2), 40.0) - 7.3).abs() <= AMOUNT_TOLERANCE);
        assert!((found(&|x| (x - 31.7).abs(), 40.0) - 31.7).abs() <= AMOUNT_TOLERANCE);
        // The deeper of two dips, at either end, and where there is no room.
        assert!((found(&|x| (x - 5.0).abs().min((x - 33.1).abs() - 0.9), 40.0) - 33.1).abs() <= AMOUNT_TOLERANCE);
        assert!(found(&|x| x, 40.0) <= AMOUNT_TOLERANCE);
        assert!(found(&|x| -x, 39.0) >= 39.0 - AMOUNT_TOLERANCE);
        assert_eq!(found(&|x| x, 0.0), 0.0);
        // Above the point of the grid that is best, too.
        assert!((found(&|x| (x - 6.7).powi(2), 40.0) - 6.7).abs() <= AMOUNT_TOLERANCE);
        // A point of the grid that nothing near it comes up to stands.
        assert_eq!(found(&|x| if x == 6.0 { 0.0 } else { 1.0 + (x - 20.0).abs() }, 40.0), 6.0);
    }

    /// Each look costs an assessment: the grid is no finer than it is said to be.
    #[test]
    fn the_grid_is_walked_in_steps_of_two_percent() {
        for (most, expected) in [(6.0, vec![0.0, 2.0, 4.0, 6.0]), (5.0, vec![0.0, 5.0 / 3.0, 10.0 / 3.0, 5.0])] {
            let looked = std::cell::RefCell::new(Vec::new());
            let of = |x: f64| {
                looked.borrow_mut().push(x);
                Ok(x)
            };
            least(&of, most).unwrap();
            let looked = looked.into_inner();
            assert!(looked[..4].iter().zip(&expected).all(|(a, b)| (a - b).abs() < 1e-9), "{looked:?}");
            assert!(looked[4] < 2.0, "the search between goes on near the best: {looked:?}");
        }
    }

    #[test]
    fn a_step_is_what_a_maker_notices() {
        let hold = |value| Reading { property: Property::Hold, value };
        assert_eq!(steps(&hold(40.0), &hold(37.0)), -1.5);
        let finest = |value| Reading { property: Property::FinestFeature, value };
        assert!((steps(&finest(10.0), &finest(10.0 * NOTICEABLE_RATIO)) - 1.0).abs() < 1e-12);
        assert!((steps(&finest(10.0), &finest(10.0 / NOTICEABLE_RATIO)) + 1.0).abs() < 1e-12);
    }

    /// What is shown of a replacement is what `assess` says of the two bars.
    #[test]
    fn properties_are_those_of_assess() {
        let start = bar("beeswax 26, mango butter 32, sunflower oil 42");
        let options = Options { draws: 0, at_c: AT_C.to_vec(), ..Options::default() };
        let found = swap(&LIBRARY, &MODEL, &Options::default(), &start, &task("beeswax", &["candelilla-wax"]));
        let found = found.unwrap().remove(0);
        let bench = Workbench::new(&LIBRARY, &MODEL, options).unwrap();
        let (before, after) = (bench.assess(&start).unwrap(), bench.assess(&found.formula).unwrap());
        let told = |of: &Assessment| {
            vec![
                ("yield_stress_kpa_at_20c", "kPa", of.firmness[0].yield_stress_kpa.value),
                ("yield_stress_kpa_at_30c", "kPa", of.firmness[1].yield_stress_kpa.value),
                ("finest_feature_mm", "mm", of.detail.finest_feature_mm.unwrap().value),
                ("hold_c", "°C", of.warmth.hold_c.unwrap().value),
                ("skin_melted_percent", "%", of.skin.melted_percent.value),
                ("grain_risk", "", of.grain.risk.value),
            ]
        };
        assert_eq!(found.properties.len(), 6);
        let mut squared = ((found.to_percent - found.from_percent) / OTHERS_STEP_PERCENT).powi(2);
        for ((kept, (key, unit, was)), (_, _, is)) in found.properties.iter().zip(told(&before)).zip(told(&after)) {
            assert_eq!((kept.property.to_string().as_str(), kept.unit), (key, unit));
            assert!((kept.before - was).abs() < 1e-9 && (kept.after - is).abs() < 1e-9, "{kept:?}");
            let worse = key == "grain_risk" && is > 0.15 && was < 0.15;
            assert_eq!(kept.matched, kept.steps.abs() <= 1.0 && !worse, "{kept:?}");
            squared += if worse { WORSE_GRAIN_STEPS.powi(2) } else { 0.0 };
            let expected = match key {
                "hold_c" => (is - was) / NOTICEABLE_K,
                "skin_melted_percent" => (is - was) / NOTICEABLE_POINTS,
                "grain_risk" => (is - was) / 0.15,
                _ => (is / was).ln() / NOTICEABLE_RATIO.ln(),
            };
            assert!((kept.steps - expected).abs() < 1e-9, "{kept:?} is not {expected} steps");
            // What a maker gains counts half.
            let gained = key == "hold_c" && is > was || key == "finest_feature_mm" && is < was;
            squared += (if gained { 0.5 } else { 1.0 } * kept.steps).powi(2);
        }
        assert!((found.distance - squared.sqrt()).abs() < 1e-9);
        assert_eq!(found.from_percent, 26.0);
        assert!(found.properties.iter().any(|one| !one.matched) && found.properties.iter().any(|one| one.matched));
    }

    /// A bar that does not set is matched as such: no logarithm of nothing.
    #[test]
    fn a_liquid_has_properties_too() {
        let start = bar("sunflower oil 100");
        let options = Options { draws: 0, at_c: AT_C.to_vec(), ..Options::default() };
        let bench = Workbench::new(&LIBRARY, &MODEL, options).unwrap();
        let values: Vec<f64> = Seen::new(&bench.assess(&start).unwrap()).readings.iter().map(|one| one.value).collect();
        assert_eq!(values[..3], [SMALLEST_KPA, SMALLEST_KPA, COARSEST_MM]);
        assert!(values[3] < 0.0 && values[4] > 99.0, "{values:?}");
    }

    #[test]
    fn amounts_in_steps_are_the_nearer_of_two() {
        let start = bar("beeswax 26, mango butter 32, sunflower oil 42");
        let free = swap(&LIBRARY, &MODEL, &Options::default(), &start, &task("beeswax", &["candelilla-wax"]));
        let exact = free.unwrap().remove(0).to_percent;
        for step in [0.5, 5.0, 7.0] {
            let task = SwapTask { step_percent: Some(step), ..task("beeswax", &["candelilla-wax"]) };
            let found = swap(&LIBRARY, &MODEL, &Options::default(), &start, &task).unwrap().remove(0);
            let steps = found.to_percent / step;
            assert!((steps - steps.round()).abs() < 1e-9, "{step}: {}", found.to_percent);
            assert!((found.to_percent - exact).abs() <= step, "{step}: {} for {exact}", found.to_percent);
            // No worse than the other of the two.
            let bench =
                Workbench::new(&LIBRARY, &MODEL, Options { draws: 0, at_c: AT_C.to_vec(), ..Options::default() });
            let bench = bench.unwrap();
            let before = Seen::new(&bench.assess(&start).unwrap());
            let other = if found.to_percent < exact { found.to_percent + step } else { found.to_percent - step };
            let changed = place(&start, "beeswax", "candelilla-wax", 26.0).formula(other);
            let after = Seen::new(&bench.assess(&changed).unwrap());
            let distance = before.distance(&after).hypot((other - 26.0) / OTHERS_STEP_PERCENT);
            assert!(found.distance <= distance, "{step}: {} and {distance}", found.distance);
        }
        // More than there is room for is cut to the room.
        let whole = SwapTask { step_percent: Some(90.0), ..task("beeswax", &["soy-wax-soft"]) };
        let found = swap(&LIBRARY, &MODEL, &Options::default(), &start, &whole).unwrap().remove(0);
        assert!(found.to_percent == 0.0 || (found.to_percent - 68.0).abs() < 1e-9, "{}", found.to_percent);
    }

    /// Liquids that give way or take over are multiples of the step, too; the largest makes up what is left, and what stays is not touched.
    #[test]
    fn what_gives_is_in_steps_as_well() {
        let start = bar("beeswax 26, mango butter 22.3, sunflower oil 29.7, jojoba oil 12, castor oil 10");
        let place = place(&start, "beeswax", "candelilla-wax", 26.0);
        let expected = |candelilla, sunflower, jojoba, castor| {
            [
                ("candelilla-wax", candelilla),
                ("mango-butter", 22.3),
                ("sunflower-oil", sunflower),
                ("jojoba-oil", jojoba),
                ("castor-oil", castor),
            ]
        };
        // In proportion: 37.46, 15.13 and 12.61 %.
        is(&place.in_steps(12.5, 0.5), &expected(12.5, 37.7, 15.0, 12.5));
        // One for one leaves everything as it was, and so does a step that leaves no room.
        is(&place.in_steps(26.0, 5.0), &expected(26.0, 29.7, 12.0, 10.0));
        assert_eq!(place.in_steps(57.7, 15.0), place.formula(57.7));
    }

    #[test]
    fn what_a_maker_loses_counts_more_than_what_is_gained() {
        let seen = |relief_mm, hold_c, grain, feel| {
            let readings =
                [(Property::FinestFeature, relief_mm), (Property::Hold, hold_c), (Property::GrainRisk, grain)];
            Seen {
                readings: readings.map(|(property, value)| Reading { property, value }).into(),
                feel,
                grain: GrainRisk::from_index(grain),
            }
        };
        let bar = seen(1.0, 40.0, 0.1, SkinFeel::Glides);
        let off = |other: Seen| bar.distance(&other);
        for (other, expected) in [
            (seen(1.3, 40.0, 0.1, SkinFeel::Glides), 1.0),
            (seen(1.0 / 1.3, 40.0, 0.1, SkinFeel::Glides), 0.5),
            (seen(1.0, 38.0, 0.1, SkinFeel::Glides), 1.0),
            (seen(1.0, 42.0, 0.1, SkinFeel::Glides), 0.5),
            (seen(1.0, 40.0, 0.14, SkinFeel::Glides), 0.04 / 0.15),
            // Two steps of the index, and one word.
            (seen(1.0, 40.0, 0.4, SkinFeel::Glides), 5.0_f64.sqrt()),
            (seen(1.0, 40.0, 0.0, SkinFeel::Glides), 0.0),
            (seen(1.0, 40.0, 0.1, SkinFeel::Drags), 2.0),
            (seen(1.0, 38.0, 0.1, SkinFeel::Smears), 5.0_f64.sqrt()),
        ] {
            let found = off(other);
            assert!((found - expected).abs() < 1e-9, "{found} is not {expected}");
        }
        assert_eq!(seen(1.0, 40.0, 0.1, SkinFeel::Drags).distance(&bar), 0.0, "a glide that is gained costs nothing");
        // A tenth of a step that makes the word worse is no match.
        let grain = |after: f64| bar.kept(&seen(1.0, 40.0, after, SkinFeel::Glides))[2].matched;
        assert_eq!([0.0, 0.14, 0.16].map(grain), [true, true, false]);
    }

    #[test]
    fn all_of_its_kind_are_tried_once_and_itself_is_not() {
        let kind = |id: IngredientId| LIBRARY.get(id).unwrap().kind;
        let found = candidates(&LIBRARY, &task("beeswax", &[])).unwrap();
        let waxes = LIBRARY.by_id().filter(|(_, one)| one.kind == IngredientKind::Wax).count();
        assert_eq!(found.len(), waxes - 1);
        assert!(found.iter().all(|&one| kind(one) == IngredientKind::Wax && one != index("beeswax")));
        let named = task("beeswax", &["cocoa-butter", "carnauba-wax", "cocoa-butter"]);
        assert_eq!(candidates(&LIBRARY, &named).unwrap(), [index("cocoa-butter"), index("carnauba-wax")]);
        // Counted by the first reason: an animal's is not counted as a nut's, too.
        let filtered = SwapTask {
            vegan: true,
            nut_free: true,
            ..task("cocoa-butter", &["beeswax", "almond-butter", "shea-butter"])
        };
        assert_eq!(candidates(&LIBRARY, &filtered), Err(SwapError::NoCandidates { tried: 3, animal: 1, nut: 2 }));
    }
}
