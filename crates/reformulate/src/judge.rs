//! Whether a formula meets its demands, how surely, by how much, and which change would help.
//!
//! ```text
//! a demand is met with confidence c when at least c of all draws meet it:  m_(k) ≥ 0,  m_(1) ≤ m_(2) ≤ … margins of the draws,
//!                                                                          k = N − ⌈c N⌉ + 1
//! which way is better: the exact derivatives of the draws with ranks k, k + 1, … k + r
//! ```
//! The draws are those of [`barwright_blend::assess()`], and so are the probabilities. A result does not depend on the number of
//! threads: each draw is computed on its own, and sums run in the order of draws.
//!
//! A search asks for one formula near another. Which draws decide is then nearly known: from a formula judged in full the margins of all draws shift by much
//! the same. So a demand is judged in a window of draws around the one that decided there, and the window widens until no draw outside it could come between,
//! if it shifts as those inside do, give or take half of what they differ by.
//!
//! # Source
//! Order statistics of the draws (textbook; recalled).

use std::borrow::Cow;
use std::cmp::Ordering;
use std::collections::HashMap;
use std::ops::Range;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use barwright_blend::assess::Workbench;
use barwright_blend::equilibrium::EquilibriumError;
use barwright_blend::landmarks::{Direction, Evaluator};
use barwright_blend::{
    BlendError, DiscrepancyDraws, Draw, DrawnMixture, Model, Options, Point, Sampler, Spread, ZERO_CELSIUS_K,
};
use barwright_reference::{Formula, IngredientId, Library, Part};
use rayon::prelude::*;

use crate::demand::{Demand, DemandError, Measure, Spot};
use crate::limits::mass_moved;

/// An ingredient below this counts as absent, mass %.
pub const TRACE_PERCENT: f64 = 1e-6;

/// Margin of a bar whose strength is just 0; one without crystals is below it by the logarithm of its saturation.
const NO_CRYSTALS: f64 = -10.0;

/// A margin above minus this is met: rounding of the equilibria of the draws.
pub const MARGIN_TOLERANCE: f64 = 1e-6;

/// Draws whose tangents are given, beyond the one that decides, as a share of all: those that may decide after a step.
const NEIGHBOURS: f64 = 1.0 / 32.0;

/// And at least this many.
const MIN_NEIGHBOURS: usize = 3;

/// Draws that a thread takes at once, so that setting the amounts pays.
const MIN_AT_ONCE: usize = 16;

/// A formula further from every one judged in full is judged in full, too, mass % moved.
const MAX_APART: f64 = 3.0;

/// Draws of a first window on either side of the one that decides, as a share of all.
const WINDOW: f64 = 1.0 / 16.0;

/// And at least this many.
const MIN_WINDOW: usize = 4;

/// How far the shift of a draw outside a window may lie beyond those inside, as a share of their range.
const BEYOND: f64 = 0.5;

/// Step of the difference that stands in for a derivative where nothing has crystallised, mass %.
const DIFFERENCE_PERCENT: f64 = 0.05;

/// How far a formula meets one demand.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// Share of draws that meet it.
    pub probability: f64,
    /// Margin at the confidence required: at least 0 when met.
    pub margin: f64,
    /// Draws that decide the margin here, or may after a step; empty when not asked for.
    pub tangents: Vec<Tangent>,
}

/// The margin of one draw, and which way it grows.
#[derive(Debug, Clone, PartialEq)]
pub struct Tangent {
    /// Margin of the draw.
    pub margin: f64,
    /// Its derivative with the mass % of each ingredient.
    pub gradient: Vec<f64>,
}

impl Tangent {
    /// The margin at another formula, as if it were linear.
    ///
    /// # Arguments
    /// * `here`: the formula it is the tangent at, mass %.
    /// * `there`: the other.
    pub(crate) fn margin_at(&self, here: &[f64], there: &[f64]) -> f64 {
        let along = self.gradient.iter().zip(there.iter().zip(here)).map(|(slope, (to, from))| slope * (to - from));
        self.margin + along.sum::<f64>()
    }
}

/// Judges formulas made of one list of ingredients.
pub struct Judge<'a> {
    bench: Workbench<'a>,
    confidence: f64,
    demands: Vec<Demand>,
    /// [`Demand::references`].
    references: Vec<Option<Spread<f64>>>,
    /// Position in `spots` of each demand.
    spot_of: Vec<usize>,
    spots: Vec<Spot>,
    /// One for each crystal state of the spots, with every ingredient in it.
    samplers: Vec<Sampler>,
    /// Position in their mixtures of each ingredient.
    places: Vec<usize>,
    ingredients: Vec<IngredientId>,
    discrepancy: Mutex<HashMap<Vec<IngredientId>, Arc<DiscrepancyDraws>>>,
    /// Samplers that were used before and are free, with their buffers.
    idle: Mutex<Vec<Vec<Sampler>>>,
    /// What each draw says of the mixture of each sampler.
    drawn: Vec<Vec<OnceLock<DrawnMixture>>>,
    /// Formulas judged in full.
    known: Mutex<Vec<Arc<Full>>>,
    /// What is poured already, where formulas are a pot and what is added to it.
    pot: Option<Pot>,
}

/// A pot whose contents stay in their shares, and what may be added to it.
#[derive(Debug, Clone)]
pub(crate) struct Pot {
    /// What is in it, mass % of each ingredient.
    pub percent: Vec<f64>,
    /// Positions among the ingredients of what may be added.
    pub addable: Vec<usize>,
}

impl Pot {
    /// Mass % of each ingredient, of a mixture given as mass % of the pot and of each addition.
    pub fn mixed(&self, share: &[f64]) -> Vec<f64> {
        let mut mixed: Vec<f64> = self.percent.iter().map(|percent| percent * share[0] / 100.0).collect();
        self.addable.iter().zip(&share[1..]).for_each(|(&at, added)| mixed[at] += added);
        mixed
    }

    /// What a price or a slope of each ingredient is of the pot and of each addition.
    ///
    /// # Arguments
    /// * `of_each`: of each ingredient, in any unit.
    ///
    /// # Returns
    /// In the same unit.
    pub fn along(&self, of_each: &[f64]) -> Vec<f64> {
        let pot = of_each.iter().zip(&self.percent).map(|(one, percent)| one * percent / 100.0).sum();
        std::iter::once(pot).chain(self.addable.iter().map(|&at| of_each[at])).collect()
    }
}

/// A formula judged in all draws.
struct Full {
    percent: Vec<f64>,
    /// Of each demand: its margin in each draw, and the draws in their order.
    demands: Vec<Ranked>,
}

/// The margins of one demand, and the draws from the smallest margin up.
struct Ranked {
    margins: Vec<f64>,
    order: Vec<usize>,
}

impl Ranked {
    fn new(margins: Vec<f64>) -> Self {
        let mut order: Vec<usize> = (0..margins.len()).collect();
        order.sort_by(|&a, &b| margins[a].partial_cmp(&margins[b]).unwrap_or(Ordering::Equal).then(a.cmp(&b)));
        Ranked { margins, order }
    }
}

/// The draws in which one demand is judged: neighbours in the order of a formula judged in full.
struct Window<'f> {
    full: &'f Ranked,
    /// Place of the draw that decides.
    rank: usize,
    places: Range<usize>,
    /// Margins of all draws: computed of those in the window, of the others as they would be if they shifted like those.
    margins: Vec<f64>,
    computed: Vec<bool>,
}

impl<'f> Window<'f> {
    /// Around the place that decides.
    fn new(full: &'f Ranked, rank: usize, reach: usize) -> Self {
        let count = full.order.len();
        let beside = ((WINDOW * count as f64) as usize).max(MIN_WINDOW);
        let places = rank.saturating_sub(beside)..(rank + beside.max(reach) + 1).min(count);
        Window { full, rank, places, margins: full.margins.clone(), computed: vec![false; count] }
    }

    /// Draws in it that are not computed yet.
    fn waiting(&self) -> impl Iterator<Item = usize> + '_ {
        self.full.order[self.places.clone()].iter().copied().filter(|&draw| !self.computed[draw])
    }

    /// Widens it as far as draws outside could come between, and returns the margin that decides.
    fn widen(&mut self) -> f64 {
        let Ranked { margins: before, order } = self.full;
        let inside = &order[self.places.clone()];
        let shifts = inside.iter().map(|&draw| self.margins[draw] - before[draw]);
        let (least, most) = shifts.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), one| (a.min(one), b.max(one)));
        let beyond = BEYOND * (most - least);
        let mut sorted: Vec<f64> = inside.iter().map(|&draw| self.margins[draw]).collect();
        let (_, &mut decides, _) = sorted.select_nth_unstable_by(self.rank - self.places.start, f64::total_cmp);
        let Range { start, end } = &mut self.places;
        while *start > 0 && before[order[*start - 1]] + most + beyond >= decides {
            *start -= 1;
        }
        while *end < order.len() && before[order[*end]] + least - beyond <= decides {
            *end += 1;
        }
        for &draw in order[..*start].iter().chain(&order[*end..]) {
            self.margins[draw] = before[draw] + 0.5 * (least + most);
        }
        decides
    }
}

/// Samplers with the amounts of a candidate; given back when done with.
struct Lent<'j> {
    samplers: Vec<Sampler>,
    idle: &'j Mutex<Vec<Vec<Sampler>>>,
}

impl Drop for Lent<'_> {
    fn drop(&mut self) {
        locked(self.idle).push(std::mem::take(&mut self.samplers));
    }
}

/// What a lock guards; what another thread left half done there is only buffers.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A candidate, ready to be judged.
struct Mix {
    /// Mass % of each part of the mixtures.
    placed: Vec<f64>,
    discrepancy: Arc<DiscrepancyDraws>,
}

impl<'a> Judge<'a> {
    /// Prepares to judge.
    ///
    /// # Arguments
    /// * `library`, `model`: as for [`barwright_blend::assess()`].
    /// * `options`: crystal state, temperature at release, draws, seed; its table of temperatures is not used.
    /// * `ingredients`: of the library, each once.
    /// * `demands`: the demands.
    /// * `confidence`: share of draws that must meet each demand, 0 to 1; see [`Demand::confidence`].
    ///
    /// # Errors
    /// [`BlendError`].
    pub fn new(
        library: &'a Library,
        model: &'a Model,
        options: &Options,
        ingredients: &[IngredientId],
        demands: &[Demand],
        confidence: f64,
    ) -> Result<Self, BlendError> {
        let bench = Workbench::new(library, model, options.clone())?;
        let references = Demand::references(demands, &bench)?;
        let mut spots: Vec<Spot> = Vec::new();
        let mut spot_of = Vec::new();
        for demand in demands {
            let spot = demand.spot(options, model.parameters.skin.temperature_c);
            spot_of.push(spots.iter().position(|known| *known == spot).unwrap_or_else(|| {
                spots.push(spot);
                spots.len() - 1
            }));
        }
        let percent = 100.0 / ingredients.len().max(1) as f64;
        let parts = ingredients.iter().map(|&ingredient| Part { ingredient, percent }).collect();
        let whole = Formula { name: String::new(), parts };
        let mut samplers: Vec<Sampler> = Vec::new();
        for spot in &spots {
            if samplers.iter().all(|sampler| sampler.mixture().state() != spot.state) {
                samplers.push(bench.sampler(&whole, spot.state)?);
            }
        }
        let place = |ingredient: IngredientId| {
            samplers.first().and_then(|one| one.mixture().parts().position(|(known, _)| known == ingredient))
        };
        let places = ingredients.iter().map(|&ingredient| place(ingredient).unwrap_or(0)).collect();
        let drawn = samplers.iter().map(|_| (0..options.draws.max(1)).map(|_| OnceLock::new()).collect()).collect();
        Ok(Judge {
            bench,
            confidence,
            demands: demands.to_vec(),
            references,
            spot_of,
            spots,
            samplers,
            places,
            ingredients: ingredients.to_vec(),
            discrepancy: Mutex::default(),
            idle: Mutex::default(),
            drawn,
            known: Mutex::default(),
            pot: None,
        })
    }

    /// Judges mixtures of a pot and additions from here on: every formula is the mass % of the pot, then of each addition.
    pub(crate) fn of_pot(self, pot: Pot) -> Self {
        Judge { pot: Some(pot), ..self }
    }

    /// Mass % of each ingredient.
    fn mixed<'p>(&self, percent: &'p [f64]) -> Cow<'p, [f64]> {
        self.pot.as_ref().map_or(Cow::Borrowed(percent), |pot| Cow::Owned(pot.mixed(percent)))
    }

    /// Number of draws.
    pub fn draws(&self) -> usize {
        self.bench.draws().count()
    }

    /// Refuses demands that no bar can be measured against.
    ///
    /// # Errors
    /// [`DemandError`].
    pub fn check(&self) -> Result<(), DemandError> {
        self.measure().check()
    }

    /// What the demands are measured with.
    fn measure(&self) -> Measure<'_> {
        Measure { bench: &self.bench, demands: &self.demands, references: &self.references }
    }

    /// What the model leaves out of the ingredients that are there.
    fn discrepancy(&self, percent: &[f64]) -> Arc<DiscrepancyDraws> {
        let mut there: Vec<IngredientId> =
            self.ingredients.iter().zip(percent).filter(|(_, p)| **p > TRACE_PERCENT).map(|(i, _)| *i).collect();
        there.sort_unstable();
        let mut known = locked(&self.discrepancy);
        let found = known.entry(there).or_insert_with_key(|there| {
            let mut keys: Vec<&str> =
                there.iter().filter_map(|&i| self.bench.library().get(i)).map(|one| one.key.as_str()).collect();
            keys.sort_unstable();
            Arc::new(DiscrepancyDraws::new(&keys, self.bench.model(), self.bench.draws()))
        });
        Arc::clone(found)
    }

    fn mix(&self, percent: &[f64]) -> Mix {
        let mut placed = vec![0.0; percent.len()];
        for (&place, &percent) in self.places.iter().zip(percent) {
            placed[place] = percent.max(TRACE_PERCENT);
        }
        Mix { placed, discrepancy: self.discrepancy(percent) }
    }

    /// Samplers with the amounts of a candidate.
    fn lend(&self, mix: &Mix) -> Lent<'_> {
        let free = locked(&self.idle).pop();
        let mut samplers = free.unwrap_or_else(|| self.samplers.clone());
        for sampler in &mut samplers {
            let mixture = sampler.mixture_mut();
            mixture.set_percents(&mix.placed);
            mixture.set_discrepancy(&mix.discrepancy);
        }
        Lent { samplers, idle: &self.idle }
    }

    /// Returns how far a candidate meets every demand.
    ///
    /// # Arguments
    /// * `percent`: mass % of each ingredient, in the order given; they add up to 100.
    /// * `with_gradients`: whether to compute the gradients of the margins.
    ///
    /// # Errors
    /// [`BlendError::Equilibrium`]; never seen on valid input.
    pub fn judge(&self, percent: &[f64], with_gradients: bool) -> Result<Vec<Standing>, BlendError> {
        let percent = self.mixed(percent);
        let mix = self.mix(&percent);
        let full = self.full(&percent, &mix)?;
        let all = vec![true; self.draws().max(1)];
        let standing = |(demand, one): (usize, &Ranked)| self.standing(&mix, demand, one, &all, with_gradients);
        full.demands.iter().enumerate().map(standing).collect()
    }

    /// A formula judged in all draws, or what is known of it.
    fn full(&self, percent: &[f64], mix: &Mix) -> Result<Arc<Full>, EquilibriumError> {
        if let Some(full) = locked(&self.known).iter().find(|full| full.percent == percent) {
            return Ok(Arc::clone(full));
        }
        let all = vec![true; self.demands.len()];
        let items: Vec<(usize, Vec<bool>)> = (0..self.draws().max(1)).map(|draw| (draw, all.clone())).collect();
        let found = self.margins(mix, &items)?;
        let of = |demand: usize| Ranked::new(found.iter().map(|margins| margins[demand]).collect());
        let demands = (0..self.demands.len()).map(of).collect();
        let full = Arc::new(Full { percent: percent.to_vec(), demands });
        locked(&self.known).push(Arc::clone(&full));
        Ok(full)
    }

    /// The same near a formula that was judged in full, in the draws that decide; `None` as soon as some margin is below minus `most_missing`.
    ///
    /// # Arguments
    /// * `percent`, `with_gradients`: as for [`Judge::judge`].
    /// * `most_missing`: how far a margin may be below 0 (dimensionless).
    ///
    /// # Returns
    /// Probabilities are about right, and so are margins if a draw shifts so far beyond all others that it comes between.
    ///
    /// # Errors
    /// As [`Judge::judge`].
    pub fn judge_within(
        &self,
        percent: &[f64],
        most_missing: f64,
        with_gradients: bool,
    ) -> Result<Option<Vec<Standing>>, BlendError> {
        let mixed = self.mixed(percent);
        let Some(near) = self.nearest(&mixed) else {
            let standings = self.judge(percent, with_gradients)?;
            return Ok(standings.iter().all(|one| one.margin >= -most_missing).then_some(standings));
        };
        let mix = self.mix(&mixed);
        let window = |(demand, full)| {
            let (rank, reach) = self.deciding(demand);
            Window::new(full, rank, reach)
        };
        let mut windows: Vec<Window<'_>> = near.demands.iter().enumerate().map(window).collect();
        loop {
            let mut wanted = vec![Vec::new(); self.draws().max(1)];
            for (demand, window) in windows.iter().enumerate() {
                for draw in window.waiting() {
                    wanted[draw].resize(self.demands.len(), false);
                    wanted[draw][demand] = true;
                }
            }
            let items: Vec<(usize, Vec<bool>)> =
                wanted.into_iter().enumerate().filter(|(_, demands)| !demands.is_empty()).collect();
            if items.is_empty() {
                break;
            }
            for ((draw, demands), margins) in items.iter().zip(self.margins(&mix, &items)?) {
                for (demand, window) in windows.iter_mut().enumerate().filter(|(demand, _)| demands[*demand]) {
                    window.margins[*draw] = margins[demand];
                    window.computed[*draw] = true;
                }
            }
            // In a window that is too narrow more draws may lie below, never fewer.
            if windows.iter_mut().any(|window| window.widen() < -most_missing) {
                return Ok(None);
            }
        }
        let standing = |(demand, window): (usize, Window<'_>)| {
            self.standing(&mix, demand, &Ranked::new(window.margins), &window.computed, with_gradients)
        };
        windows.into_iter().enumerate().map(standing).collect::<Result<_, _>>().map(Some)
    }

    /// Place of the draw that decides a demand, from the smallest margin up, and how many beyond it are its neighbours.
    fn deciding(&self, demand: usize) -> (usize, usize) {
        let count = self.draws().max(1);
        let needed =
            (self.demands[demand].confidence(self.confidence) * count as f64).ceil().clamp(1.0, count as f64) as usize;
        (count - needed, ((NEIGHBOURS * count as f64) as usize).max(MIN_NEIGHBOURS))
    }

    /// The nearest formula of the same ingredients that was judged in full.
    fn nearest(&self, percent: &[f64]) -> Option<Arc<Full>> {
        let same_set = |full: &&Arc<Full>| {
            full.percent.iter().zip(percent).all(|(a, b)| (*a > TRACE_PERCENT) == (*b > TRACE_PERCENT))
        };
        let apart = |full: &Full| mass_moved(&full.percent, percent);
        let known = locked(&self.known);
        let nearest = known.iter().filter(same_set).min_by(|a, b| apart(a).total_cmp(&apart(b)));
        nearest.filter(|full| apart(full) <= MAX_APART).cloned()
    }

    /// The standing of one demand.
    ///
    /// # Arguments
    /// * `computed`: the draws whose margins are not guessed.
    fn standing(
        &self,
        mix: &Mix,
        demand: usize,
        Ranked { margins, order }: &Ranked,
        computed: &[bool],
        with_gradients: bool,
    ) -> Result<Standing, BlendError> {
        let (rank, reach) = self.deciding(demand);
        let tangents = if with_gradients {
            let neighbours = order[rank..].iter().copied().filter(|&draw| computed[draw]).take(reach + 1);
            let deciding: Vec<usize> = neighbours.collect();
            let tangent = |lent: &mut Lent<'_>, draw: usize| {
                let gradient = self.gradient(&mut lent.samplers, draw, demand)?;
                let gradient = match &self.pot {
                    Some(pot) => pot.along(&gradient),
                    None => gradient,
                };
                Ok(Tangent { margin: margins[draw], gradient })
            };
            let tangents: Result<_, EquilibriumError> =
                deciding.into_par_iter().map_init(|| self.lend(mix), tangent).collect();
            tangents?
        } else {
            Vec::new()
        };
        let met = margins.iter().filter(|margin| **margin >= -MARGIN_TOLERANCE).count();
        Ok(Standing { probability: met as f64 / margins.len() as f64, margin: margins[order[rank]], tangents })
    }

    /// A draw by its place; the central one where there are none.
    fn draw(&self, place: usize) -> Draw<'_> {
        self.bench.draw((self.draws() > 0).then_some(place))
    }

    /// A sampler in a draw.
    fn at<'s>(
        &'s self,
        (number, sampler): (usize, &'s mut Sampler),
        draw: usize,
    ) -> Result<Evaluator<'s>, EquilibriumError> {
        let drawn = self.drawn[number][draw].get_or_init(|| sampler.drawn(self.draw(draw)));
        sampler.at_drawn(self.draw(draw), drawn)
    }

    /// Margins of some demands in some draws; 0 for demands that are not wanted.
    fn margins(&self, mix: &Mix, items: &[(usize, Vec<bool>)]) -> Result<Vec<Vec<f64>>, EquilibriumError> {
        let one = |lent: &mut Lent<'_>, (draw, wanted): &(usize, Vec<bool>)| {
            let mut found = vec![0.0; self.demands.len()];
            for (number, sampler) in lent.samplers.iter_mut().enumerate() {
                let state = sampler.mixture().state();
                let here = |demand: &usize| wanted[*demand] && self.spots[self.spot_of[*demand]].state == state;
                if !(0..wanted.len()).any(|demand| here(&demand)) {
                    continue;
                }
                let mut evaluator = self.at((number, sampler), *draw)?;
                for (number, spot) in self.spots.iter().enumerate() {
                    let of_spot = |demand: &usize| here(demand) && self.spot_of[*demand] == number;
                    let Some(first) = (0..wanted.len()).find(of_spot) else { continue };
                    // Which others are wanted changes nothing, not even the last bit.
                    evaluator.forget();
                    let point = evaluator.point(spot.temperature_c)?;
                    for demand in (first..wanted.len()).filter(of_spot) {
                        found[demand] = self.margin(demand, self.draw(*draw), &point, &evaluator);
                    }
                }
            }
            Ok(found)
        };
        items.par_iter().with_min_len(MIN_AT_ONCE).map_init(|| self.lend(mix), one).collect()
    }

    /// Margin of one demand at its temperature.
    fn margin(&self, demand: usize, draw: Draw<'_>, point: &Point, evaluator: &Evaluator<'_>) -> f64 {
        let measure = self.measure();
        let Some(ratio) = measure.strength(demand, draw, point) else {
            return measure.melted_margin(demand, point).unwrap_or(0.0);
        };
        let strength = if point.structure > 0.0 {
            ratio.ln().max(NO_CRYSTALS)
        } else {
            no_crystals(evaluator, point.temperature_c)
        };
        if self.demands[demand].wants_less() { -strength } else { strength }
    }

    /// Derivative of the margin of one demand in one draw with the mass % of each ingredient.
    fn gradient(&self, samplers: &mut [Sampler], place: usize, demand: usize) -> Result<Vec<f64>, EquilibriumError> {
        let draw = self.draw(place);
        let spot = self.spots[self.spot_of[demand]];
        let measure = self.measure();
        let mut gradient = vec![0.0; self.places.len()];
        let its_own = |one: &Sampler| one.mixture().state() == spot.state;
        let Some(number) = samplers.iter().position(its_own) else { return Ok(gradient) };
        let sampler = &mut samplers[number];
        let mut evaluator = self.at((number, sampler), place)?;
        // In the order of the ingredients, not of the mixture.
        let along = evaluator.changes();
        let changes: Vec<Direction> = self.places.iter().map(|&place| along[place].clone()).collect();
        let (point, rates) = evaluator.rates(spot.temperature_c, &changes)?;
        if point.structure <= 0.0 && measure.melted_margin(demand, &point).is_none() {
            let before = self.margin(demand, draw, &point, &evaluator);
            let plain = sampler.clone();
            for (&place, slope) in self.places.iter().zip(&mut gradient) {
                let mut moved = plain.clone();
                let mut placed: Vec<f64> = moved.mixture().parts().map(|(_, percent)| percent).collect();
                placed[place] += DIFFERENCE_PERCENT;
                moved.mixture_mut().set_percents(&placed);
                let after = self.margin(demand, draw, &point, &moved.at(draw)?);
                *slope = (after - before) / DIFFERENCE_PERCENT;
            }
            return Ok(gradient);
        }
        for (slope, rate) in gradient.iter_mut().zip(&rates) {
            *slope = measure.margin_rate(demand, draw, &point, rate);
        }
        Ok(gradient)
    }
}

/// Margin of a melt: how far it is from its first crystal.
fn no_crystals(evaluator: &Evaluator<'_>, temperature_c: f64) -> f64 {
    let saturation = evaluator.largest_saturation(temperature_c + ZERO_CELSIUS_K);
    NO_CRYSTALS + saturation.max(f64::MIN_POSITIVE).ln().min(0.0)
}
