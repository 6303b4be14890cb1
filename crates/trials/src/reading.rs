//! What the model predicts for each trial at one set of parameters, on the scale of its likelihood.
//!
//! | test | `η` |
//! |---|---|
//! | open tube | slip point, °C |
//! | needle, rod | logarithm of the yield stress, kPa |
//! | warm shelf | highest temperature the bar holds for a day, °C |
//! | relief | logarithm of the finest feature, mm |
//!
//! A landmark is a temperature `T` at which a gap `F(z, T)` is 0. For its derivative it is followed from `T` by a few secant steps: the slope over
//! a step in `z`, not that at a point, which says little where a crystal family appears.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::sync::atomic::{AtomicUsize, Ordering};

use barwright_blend::coordinate::{self, Coordinate};
use barwright_blend::equilibrium::EquilibriumError;
use barwright_blend::landmarks::{Evaluator, LOWEST_LANDMARK_C};
use barwright_blend::maker;
use barwright_blend::sampling::Draws;
use barwright_blend::suitability::finest_feature_mm;
use barwright_blend::{
    BlendError, DiscrepancyDraws, Draw, Mixture, Model, ModelDraw, ModelScores, Parameters, Sampler,
};
use barwright_reference::{CrystalState, Formula, IngredientId, Library};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use crate::trial::{Test, Trial};

/// Yield stress below which a bar counts as liquid, kPa.
const SMALLEST_KPA: f64 = 1e-6;

/// A bar that is all liquid gets softer still by this much a kelvin above its clear point, logarithm: keeps the slope towards bars that are not
/// (judgement; no measurement lies there).
const MOLTEN_LN_PER_K: f64 = 1.0;

/// Where a bar would slump and weep at nearly one temperature, the lower of the two is rounded off over this range, K: it keeps the slope continuous, and
/// lies well inside the scatter of the test (judgement).
const CORNER_K: f64 = 0.5;

/// Step of derivatives with a score: wide enough to average over the corners where a crystal family appears, well inside what ten trials leave
/// open.
const SCORE_STEP: f64 = 0.3;

/// Derivatives are taken over a step to either side.
const SIGNS: [f64; 2] = [1.0, -1.0];

/// Fewest scores whose derivatives are worth a thread of their own.
const MIN_SCORES_A_THREAD: usize = 8;

/// Step of derivatives with temperature, K.
const TEMPERATURE_STEP_K: f64 = 0.05;

/// How closely a landmark is followed, K: a hundredth of what its test tells.
const FOLLOW_K: f64 = 0.01;

/// Secant steps of following.
const FOLLOW_STEPS: usize = 8;

/// Longest of them, K.
const FARTHEST_K: f64 = 3.0;

/// Least slope of a gap that is followed, 1/K; a landmark that flat is as good as anywhere.
const MIN_SLOPE_PER_K: f64 = 1e-3;

/// A quantity read off the model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Read {
    Slip,
    LnYield { at_c: f64 },
    Hold,
    LnFinest { release_c: f64 },
}

impl Read {
    /// The quantity a test reads; `None` for one that teaches nothing.
    pub fn of(test: &Test) -> Option<Self> {
        match *test {
            Test::Tube { .. } => Some(Read::Slip),
            Test::Needle { at_c, .. } | Test::Rod { at_c, .. } => Some(Read::LnYield { at_c }),
            Test::Shelf { .. } => Some(Read::Hold),
            Test::Relief { release_c, .. } => Some(Read::LnFinest { release_c }),
            Test::Grain { .. } => None,
        }
    }

    /// Reads the quantity off a bar.
    ///
    /// # Arguments
    /// * `evaluator`: of the mixture in the state of the test.
    /// * `parameters`: those of the model.
    ///
    /// # Errors
    /// As [`barwright_blend::equilibrium::Solver::solve`].
    pub fn value(self, evaluator: &mut Evaluator<'_>, parameters: &Parameters) -> Result<Value, EquilibriumError> {
        match self {
            Read::Slip | Read::Hold => {
                evaluator.start_curve(evaluator.clear_point_c());
                if self == Read::Slip {
                    let slip_c = evaluator.highest_c_with(1.0, |point| point.holding)?;
                    return Ok(slip_c.map_or(Value::NONE, |at_c| Value::of(at_c, Gap::Slips { at_c })));
                }
                let (Some(carries_c), Some(weeps_c)) = (evaluator.carries_c()?, evaluator.weeps_c()?) else {
                    return Ok(Value::NONE);
                };
                Ok(Value::lower(carries_c, weeps_c))
            }
            Read::LnYield { at_c } => {
                let gap = Gap::LnYield { at_c };
                Ok(Value::of(gap.value(evaluator, parameters, 0.0)?, gap))
            }
            Read::LnFinest { release_c } => {
                let gap = Gap::LnFinest { release_c };
                Ok(Value::of(gap.value(evaluator, parameters, 0.0)?, gap))
            }
        }
    }
}

/// One reading, and the functions its derivative comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Value {
    /// The reading.
    pub eta: f64,
    /// The same without the corner of the hold rounded off: what is shown.
    pub sharp: f64,
    /// Functions, each with its share in the derivative.
    parts: [(Gap, f64); 2],
}

impl Value {
    /// No such landmark: it counts as the lowest one looked for.
    const NONE: Value = Value::of(LOWEST_LANDMARK_C, Gap::Nowhere);

    const fn of(eta: f64, gap: Gap) -> Self {
        Value { eta, sharp: eta, parts: [(gap, 1.0), (Gap::Nowhere, 0.0)] }
    }

    /// The lower of two temperatures, its corner rounded: `−s ln(e^(−a/s) + e^(−b/s))`.
    fn lower(carries_c: f64, weeps_c: f64) -> Self {
        let sharp = carries_c.min(weeps_c);
        let terms = [carries_c, weeps_c].map(|celsius| (-(celsius - sharp) / CORNER_K).exp());
        let sum = terms[0] + terms[1];
        let parts =
            [(Gap::Carries { at_c: carries_c }, terms[0] / sum), (Gap::Weeps { at_c: weeps_c }, terms[1] / sum)];
        Value { eta: sharp - CORNER_K * sum.ln(), sharp, parts }
    }
}

/// `F`: for a landmark 0 at the temperature found, else the reading itself.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Gap {
    Slips { at_c: f64 },
    Carries { at_c: f64 },
    Weeps { at_c: f64 },
    LnYield { at_c: f64 },
    LnFinest { release_c: f64 },
    Nowhere,
}

impl Gap {
    fn landmark(self) -> bool {
        matches!(self, Gap::Slips { .. } | Gap::Carries { .. } | Gap::Weeps { .. })
    }

    /// `F`, at a temperature `warmer_k` above its own.
    fn value(
        self,
        evaluator: &mut Evaluator<'_>,
        parameters: &Parameters,
        warmer_k: f64,
    ) -> Result<f64, EquilibriumError> {
        let model = evaluator.model();
        let mut point = |celsius: f64| evaluator.point(celsius + warmer_k);
        Ok(match self {
            Gap::Slips { at_c } => point(at_c)?.holding.ln(),
            Gap::Carries { at_c } => (point(at_c)?.yield_kpa / model.load_kpa).ln(),
            Gap::Weeps { at_c } => (point(at_c)?.holding / model.weep_below).ln(),
            Gap::LnYield { at_c } => {
                let kpa = point(at_c)?.yield_kpa;
                if kpa > SMALLEST_KPA {
                    kpa.ln()
                } else {
                    let above_k = at_c + warmer_k - evaluator.clear_point_c().unwrap_or(LOWEST_LANDMARK_C);
                    SMALLEST_KPA.ln() - MOLTEN_LN_PER_K * above_k.max(0.0)
                }
            }
            Gap::LnFinest { release_c } => {
                let kpa = point(release_c)?.yield_kpa;
                let coarsest = barwright_blend::suitability::COARSEST_FEATURE_MM;
                finest_feature_mm(&parameters.detail, model, kpa).min(coarsest).ln()
            }
            Gap::Nowhere => 0.0,
        })
    }
}

/// What is tested of one formula in one crystal state.
#[derive(Debug)]
struct Group {
    formula: Formula,
    state: CrystalState,
    /// What is read, each once, with the positions of the trials that read it.
    reads: Vec<(Read, Vec<usize>)>,
    /// Names of the scores it depends on.
    names: BTreeSet<String>,
    /// Those of its species and lots, in the order of the mixture, with their places among the scores learned; none where it is none of them.
    of_matter: Vec<(String, Option<usize>)>,
    /// The same of what the model leaves out of its set, in the order of [`maker::OF_SET`].
    of_set: [(String, Option<usize>); 3],
    /// Where the scores it depends on stand among those learned.
    dimensions: Vec<usize>,
}

/// All trials of a maker, ready to be read at any scores.
#[derive(Debug)]
pub(crate) struct Readings<'a> {
    parameters: &'a Parameters,
    model_scores: ModelScores<'a>,
    groups: Vec<Group>,
    samplers: Samplers,
    count: usize,
    /// Names of the scores that any reading depends on, in alphabetical order.
    names: Vec<String>,
    places: HashMap<String, usize>,
    /// Which of them move the model itself, not only a species, a lot, or a set of ingredients.
    of_model: Vec<bool>,
    taken: AtomicUsize,
}

/// Buffers to read in, one for each group. Every reading begins cold, whatever was read in them before.
pub(crate) type Samplers = Vec<Sampler>;

impl<'a> Readings<'a> {
    /// Prepares the trials that teach.
    ///
    /// # Errors
    /// As [`barwright_blend::Mixture::new`].
    pub fn new<'t>(
        library: &Library,
        parameters: &'a Parameters,
        trials: impl Iterator<Item = &'t Trial>,
    ) -> Result<Self, BlendError> {
        let (mut groups, mut samplers): (Vec<Group>, Samplers) = Default::default();
        let mut count = 0;
        let untaught = Model::from(parameters.clone());
        for trial in trials {
            let index = count;
            count += 1;
            let Some(read) = Read::of(&trial.test) else { continue };
            let state = trial.state();
            let same = |group: &&mut Group| group.state == state && group.formula.parts == trial.formula.parts;
            if let Some(group) = groups.iter_mut().find(same) {
                match group.reads.iter_mut().find(|(known, _)| *known == read) {
                    Some((_, indices)) => indices.push(index),
                    None => group.reads.push((read, vec![index])),
                }
                continue;
            }
            let mixture = Mixture::new(library, &untaught, &trial.formula, state, &Draws::none())?;
            let key = |(ingredient, _): (IngredientId, f64)| library.get(ingredient).map(|one| one.key.clone());
            let keys: Vec<String> = mixture.parts().filter_map(key).collect();
            let keys: Vec<&str> = keys.iter().map(String::as_str).collect();
            groups.push(Group {
                formula: trial.formula.clone(),
                state,
                reads: vec![(read, vec![index])],
                names: BTreeSet::new(),
                of_matter: mixture.score_names().map(|name| (name.to_owned(), None)).collect(),
                of_set: maker::OF_SET.map(|kind| (maker::of_set(kind, &keys), None)),
                dimensions: Vec::new(),
            });
            samplers.push(Sampler::new(mixture));
        }
        for (group, sampler) in groups.iter_mut().zip(&samplers) {
            group.names = group.all_names(sampler.mixture(), parameters);
        }
        let names: BTreeSet<String> = groups.iter().flat_map(|group| group.names.iter().cloned()).collect();
        let mut readings = Readings {
            parameters,
            model_scores: ModelScores::new(parameters),
            groups,
            samplers,
            count,
            names: vec![],
            places: HashMap::new(),
            of_model: vec![],
            taken: AtomicUsize::new(0),
        };
        readings.restrict(names);
        Ok(readings)
    }

    /// Names of the scores that any reading depends on, in alphabetical order.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Leaves all other scores at 0.
    pub fn restrict(&mut self, names: BTreeSet<String>) {
        let of_bars = self.groups.iter().flat_map(|group| group.of_matter.iter().chain(&group.of_set));
        let of_bars: HashSet<&String> = of_bars.map(|(name, _)| name).collect();
        self.of_model = names.iter().map(|name| !of_bars.contains(name)).collect();
        self.places = names.iter().cloned().enumerate().map(|(place, name)| (name, place)).collect();
        self.names = names.into_iter().collect();
        let place_of = |name: &String| self.places.get(name).copied();
        for group in &mut self.groups {
            group.dimensions = group.names.iter().filter_map(place_of).collect();
            let of_bar = group.of_matter.iter_mut().chain(&mut group.of_set);
            of_bar.for_each(|(name, place)| *place = place_of(name));
        }
    }

    /// Number of trials, those that teach nothing included.
    pub fn count(&self) -> usize {
        self.count
    }

    /// Number of readings that are not the same as another.
    pub fn unlike(&self) -> usize {
        self.groups.iter().map(|group| group.reads.len()).sum()
    }

    /// Readings taken so far, those behind derivatives included.
    pub fn taken(&self) -> usize {
        self.taken.load(Ordering::Relaxed)
    }

    /// Buffers to read in.
    pub fn samplers(&self) -> Samplers {
        self.samplers.clone()
    }

    fn model(&self, scores: &DVector<f64>) -> ModelDraw {
        self.model_scores.draw(|name| self.places.get(name).map_or(0.0, |&place| scores[place]))
    }

    /// Reads every trial, as long as the readings, each with its number, are worth going on; `None` once they are not.
    ///
    /// # Arguments
    /// * `samplers`: from [`Readings::samplers`].
    /// * `scores`: one for each of [`Readings::names`].
    /// * `goes_on`: whether to go on after the reading of a trial, by its position.
    ///
    /// # Returns
    /// One reading for each trial; that of one that teaches nothing is 0.
    ///
    /// # Errors
    /// [`BlendError::Equilibrium`].
    pub fn values_while(
        &self,
        samplers: &mut Samplers,
        scores: &DVector<f64>,
        mut goes_on: impl FnMut(usize, Value) -> bool,
    ) -> Result<Option<Vec<Value>>, BlendError> {
        let model = self.model(scores);
        let mut values = vec![Value::of(0.0, Gap::Nowhere); self.count];
        for (group, sampler) in self.groups.iter().zip(samplers) {
            group.set_scores(sampler, self.parameters, scores);
            let mut evaluator = sampler.at(Draw::central(&model))?;
            for (read, indices) in &group.reads {
                let value = read.value(&mut evaluator, self.parameters)?;
                self.taken.fetch_add(1, Ordering::Relaxed);
                indices.iter().for_each(|&index| values[index] = value);
                if !indices.iter().all(|&index| goes_on(index, value)) {
                    return Ok(None);
                }
            }
        }
        Ok(Some(values))
    }

    /// Derivatives of every reading with every score.
    ///
    /// # Arguments
    /// * `scores`: as for [`Readings::values_while`].
    /// * `values`: what that returned for them.
    ///
    /// # Errors
    /// As [`Readings::values_while`].
    pub fn derivatives(&self, scores: &DVector<f64>, values: &[Value]) -> Result<DMatrix<f64>, BlendError> {
        let mut derivatives = DMatrix::<f64>::zeros(self.count, self.names.len());
        let here = Here { parameters: self.parameters, scores, model: self.model(scores) };
        let moved = |dimension: usize| {
            let model = |sign| self.model(&here.moved(dimension, sign));
            self.of_model[dimension].then(|| SIGNS.map(model))
        };
        let moved: Vec<_> = (0..self.names.len()).into_par_iter().map(moved).collect();
        let groups = self.groups.par_iter().zip(&self.samplers);
        let slopes = groups.map(|(group, sampler)| group.slopes(sampler.clone(), &here, &moved, values));
        let slopes: Vec<_> = slopes.collect::<Result<_, _>>()?;
        for (group, slopes) in self.groups.iter().zip(slopes) {
            let parts = group.reads.iter().flat_map(|(_, indices)| values[indices[0]].parts);
            let parts = parts.filter(|(_, share)| *share > 0.0).count();
            self.taken.fetch_add(parts * SIGNS.len() * slopes.len(), Ordering::Relaxed);
            for (&dimension, slopes) in group.dimensions.iter().zip(slopes) {
                for ((_, indices), slope) in group.reads.iter().zip(slopes) {
                    indices.iter().for_each(|&index| derivatives[(index, dimension)] = slope);
                }
            }
        }
        for slope in derivatives.iter_mut().filter(|slope| !slope.is_finite()) {
            // No crystals left a step further: a reading at the very end of melting has no usable slope.
            *slope = 0.0;
        }
        Ok(derivatives)
    }
}

/// Where derivatives are taken.
struct Here<'a> {
    parameters: &'a Parameters,
    scores: &'a DVector<f64>,
    model: ModelDraw,
}

impl Here<'_> {
    /// The scores, one of them a step further.
    fn moved(&self, dimension: usize, sign: f64) -> DVector<f64> {
        let mut moved = self.scores.clone();
        moved[dimension] += sign * SCORE_STEP;
        moved
    }
}

/// Follows a root of a falling function from 0.
///
/// # Arguments
/// * `gap`: the function, of a distance in K.
/// * `slope`: its slope near 0, 1/K.
///
/// # Returns
/// Where it is 0, K, within about [`FOLLOW_K`].
fn follow(gap: &mut impl FnMut(f64) -> Result<f64, EquilibriumError>, slope: f64) -> Result<f64, EquilibriumError> {
    let (mut at, mut slope) = (0.0, slope.min(-MIN_SLOPE_PER_K));
    let mut value = gap(at)?;
    for _ in 0..FOLLOW_STEPS {
        let next = (at - value / slope).clamp(at - FARTHEST_K, at + FARTHEST_K);
        let step = next - at;
        if !step.is_finite() || step.abs() < FOLLOW_K {
            break;
        }
        let there = gap(next)?;
        slope = ((there - value) / step).min(-MIN_SLOPE_PER_K);
        (at, value) = (next, there);
    }
    Ok(at - (value / slope).clamp(-FARTHEST_K, FARTHEST_K))
}

impl Group {
    /// Every score that a reading may depend on.
    fn all_names(&self, mixture: &Mixture, parameters: &Parameters) -> BTreeSet<String> {
        let (mut families, mut classes) = (BTreeSet::new(), BTreeSet::new());
        for (family, class) in mixture.kinds() {
            families.extend(family);
            classes.insert(class);
        }
        let there = |one: &Coordinate, name: &String| match *one {
            Coordinate::Delta(class) => classes.contains(&class),
            Coordinate::Packing(_) => true,
            // A fitted figure of an absent family says something of those it was fitted with.
            one => {
                one.family().is_none_or(|family| families.contains(&family))
                    || parameters.correlation.names.contains(name)
            }
        };
        let coordinates = coordinate::all(parameters).into_iter().map(|one| (one, one.name(parameters)));
        let mut names: BTreeSet<String> = coordinates.filter(|(one, name)| there(one, name)).map(|one| one.1).collect();
        names.extend([maker::CAST, maker::COMPLIANCE, maker::LOAD, maker::WEEP].map(str::to_owned));
        names.extend(self.of_matter.iter().chain(&self.of_set).map(|(name, _)| name.clone()));
        names
    }

    /// Gives one of its samplers other scores.
    fn set_scores(&self, sampler: &mut Sampler, parameters: &Parameters, scores: &DVector<f64>) {
        let score = |(_, place): &(String, Option<usize>)| place.map_or(0.0, |place| scores[place]);
        let discrepancy = DiscrepancyDraws::at(parameters, self.of_set.each_ref().map(score));
        sampler.mixture_mut().set_scores(self.of_matter.iter().map(score), discrepancy);
    }

    /// Derivatives of every read with each of its scores.
    ///
    /// # Arguments
    /// * `sampler`: of its mixture.
    /// * `here`: where.
    /// * `moved`: the model a step to either side of each score that moves it.
    /// * `values`: one for each trial.
    fn slopes(
        &self,
        mut sampler: Sampler,
        here: &Here<'_>,
        moved: &[Option<[ModelDraw; 2]>],
        values: &[Value],
    ) -> Result<Vec<Vec<f64>>, EquilibriumError> {
        self.set_scores(&mut sampler, here.parameters, here.scores);
        let parts = || self.reads.iter().map(|(_, indices)| values[indices[0]].parts);
        let mut evaluator = sampler.at(Draw::central(&here.model))?;
        // dF/dT of the landmarks.
        let mut per_kelvin = vec![[1.0; 2]; self.reads.len()];
        for (parts, slopes) in parts().zip(&mut per_kelvin) {
            for ((gap, _), slope) in parts.into_iter().zip(slopes).filter(|((gap, _), _)| gap.landmark()) {
                let mut at = |warmer_k| gap.value(&mut evaluator, here.parameters, warmer_k);
                *slope = (at(TEMPERATURE_STEP_K)? - at(-TEMPERATURE_STEP_K)?) / (2.0 * TEMPERATURE_STEP_K);
            }
        }
        let slopes = |sampler: &mut Sampler, &dimension: &usize| -> Result<Vec<f64>, EquilibriumError> {
            let mut rates = vec![0.0; self.reads.len()];
            for (side, sign) in SIGNS.into_iter().enumerate() {
                let model = moved[dimension].as_ref().map_or(&here.model, |moved| &moved[side]);
                if moved[dimension].is_none() {
                    self.set_scores(sampler, here.parameters, &here.moved(dimension, sign));
                }
                let mut evaluator = sampler.at(Draw::central(model))?;
                for ((parts, slopes), rate) in parts().zip(&per_kelvin).zip(&mut rates) {
                    let parts = parts.into_iter().zip(slopes).filter(|((_, share), _)| *share > 0.0);
                    let mut moved = 0.0;
                    for ((gap, share), slope) in parts {
                        let mut at = |warmer_k| gap.value(&mut evaluator, here.parameters, warmer_k);
                        moved += share * if gap.landmark() { follow(&mut at, *slope)? } else { at(0.0)? };
                    }
                    *rate += sign * moved / (2.0 * SCORE_STEP);
                }
            }
            if moved[dimension].is_none() {
                self.set_scores(sampler, here.parameters, here.scores);
            }
            Ok(rates)
        };
        let dimensions = self.dimensions.par_iter().with_min_len(MIN_SCORES_A_THREAD);
        dimensions.map_init(|| sampler.clone(), slopes).collect()
    }
}
