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
//! # Source
//! Order statistics of the draws (textbook; recalled).

use std::cmp::Ordering;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use barwright_blend::assess::Workbench;
use barwright_blend::equilibrium::EquilibriumError;
use barwright_blend::landmarks::{Direction, Evaluator};
use barwright_blend::{BlendError, DiscrepancyDraws, Draw, Model, Options, Point, Sampler, Spread, ZERO_CELSIUS_K};
use barwright_reference::{Formula, IngredientId, Library, Part};
use rayon::prelude::*;

use crate::demand::{Demand, DemandError, Measure, Spot};

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

/// Judges formulas made of one list of ingredients.
pub struct Judge<'a> {
    bench: Workbench<'a>,
    confidence: f64,
    demands: Vec<Demand>,
    /// [`Demand::beeswax_structures`].
    beeswax: Vec<Option<Spread<f64>>>,
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
    /// The draws, the hardest of the formula last judged in full first. It decides only how soon a formula is found wanting.
    hardest: Mutex<Vec<usize>>,
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
    /// * `confidence`: share of draws that must meet each demand, 0 to 1.
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
        let beeswax = Demand::beeswax_structures(demands, &bench)?;
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
        Ok(Judge {
            bench,
            confidence,
            demands: demands.to_vec(),
            beeswax,
            spot_of,
            spots,
            samplers,
            places,
            ingredients: ingredients.to_vec(),
            discrepancy: Mutex::default(),
            idle: Mutex::default(),
            hardest: Mutex::new((0..options.draws).collect()),
        })
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
        Measure { bench: &self.bench, demands: &self.demands, beeswax: &self.beeswax }
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
        Ok(self.judge_within(percent, f64::INFINITY, with_gradients)?.unwrap_or_default())
    }

    /// The same; `None` as soon as some margin is sure to be below minus `most_missing`.
    ///
    /// # Arguments
    /// * `percent`, `with_gradients`: as for [`Judge::judge`].
    /// * `most_missing`: how far a margin may be below 0 (dimensionless).
    ///
    /// # Errors
    /// As [`Judge::judge`].
    pub fn judge_within(
        &self,
        percent: &[f64],
        most_missing: f64,
        with_gradients: bool,
    ) -> Result<Option<Vec<Standing>>, BlendError> {
        let mix = self.mix(percent);
        let draws: Vec<Draw<'_>> = if self.draws() == 0 {
            vec![self.bench.draw(None)]
        } else {
            (0..self.draws()).map(|number| self.bench.draw(Some(number))).collect()
        };
        let count = draws.len();
        let needed = (self.confidence * count as f64).ceil().clamp(1.0, count as f64) as usize;
        let rank = count - needed;
        let order: Vec<usize> = if self.draws() == 0 { vec![0] } else { locked(&self.hardest).clone() };
        let mut margins: Vec<Vec<f64>> = vec![Vec::new(); count];
        let mut short = vec![0; self.demands.len()];
        let mut waiting = order.as_slice();
        while !waiting.is_empty() {
            // Enough to find it wanting.
            let at_once = if most_missing.is_finite() { (rank + MIN_AT_ONCE).min(waiting.len()) } else { count };
            let (now, later) = waiting.split_at(at_once);
            let found: Result<Vec<Vec<f64>>, EquilibriumError> = now
                .par_iter()
                .with_min_len(MIN_AT_ONCE)
                .map_init(|| self.lend(&mix), |lent, &draw| self.margins(&mut lent.samplers, draws[draw]))
                .collect();
            for (&draw, found) in now.iter().zip(found?) {
                for (short, margin) in short.iter_mut().zip(&found) {
                    *short += usize::from(*margin < -most_missing);
                }
                margins[draw] = found;
            }
            if short.iter().any(|short| *short > rank) {
                return Ok(None);
            }
            waiting = later;
        }
        if self.draws() > 0 {
            let worst = |draw: usize| margins[draw].iter().copied().fold(f64::INFINITY, f64::min);
            let mut order = order;
            order.sort_by(|&a, &b| worst(a).total_cmp(&worst(b)).then(a.cmp(&b)));
            *locked(&self.hardest) = order;
        }
        let reach = ((NEIGHBOURS * count as f64) as usize).max(MIN_NEIGHBOURS);
        let standing = |demand: usize| -> Result<Standing, BlendError> {
            let mut order: Vec<usize> = (0..count).collect();
            let margin = |draw: usize| margins[draw][demand];
            order.sort_by(|&a, &b| margin(a).partial_cmp(&margin(b)).unwrap_or(Ordering::Equal).then(a.cmp(&b)));
            let met = (0..count).filter(|&draw| margin(draw) >= -MARGIN_TOLERANCE).count();
            let tangents: Result<Vec<Tangent>, EquilibriumError> = if with_gradients {
                let deciding = order[rank..(rank + reach + 1).min(count)].par_iter();
                let tangent = |lent: &mut Lent<'_>, &draw: &usize| {
                    let gradient = self.gradient(&mut lent.samplers, draws[draw], demand)?;
                    Ok(Tangent { margin: margin(draw), gradient })
                };
                deciding.map_init(|| self.lend(&mix), tangent).collect()
            } else {
                Ok(Vec::new())
            };
            Ok(Standing { probability: met as f64 / count as f64, margin: margin(order[rank]), tangents: tangents? })
        };
        (0..self.demands.len()).map(standing).collect::<Result<_, _>>().map(Some)
    }

    fn margins(&self, samplers: &mut [Sampler], draw: Draw<'_>) -> Result<Vec<f64>, EquilibriumError> {
        let mut found = vec![0.0; self.demands.len()];
        for sampler in samplers {
            let state = sampler.mixture().state();
            let mut evaluator = sampler.at(draw)?;
            for (number, spot) in self.spots.iter().enumerate().filter(|(_, spot)| spot.state == state) {
                let point = evaluator.point(spot.temperature_c)?;
                for (demand, margin) in found.iter_mut().enumerate().filter(|(i, _)| self.spot_of[*i] == number) {
                    *margin = self.margin(demand, draw, &point, &evaluator);
                }
            }
        }
        Ok(found)
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
    fn gradient(&self, samplers: &mut [Sampler], draw: Draw<'_>, demand: usize) -> Result<Vec<f64>, EquilibriumError> {
        let spot = self.spots[self.spot_of[demand]];
        let measure = self.measure();
        let mut gradient = vec![0.0; self.places.len()];
        let its_own = |one: &&mut Sampler| one.mixture().state() == spot.state;
        let Some(sampler) = samplers.iter_mut().find(its_own) else { return Ok(gradient) };
        let mut evaluator = sampler.at(draw)?;
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
