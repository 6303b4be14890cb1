//! The best trade-offs of a space of formulas.
//!
//! Points fill the space ([`crate::space`]); each is judged by the central model against the demands; of those that meet them all, the
//! ones that no other beats are kept ([`crate::front`]). Then rounds of refinement: from members spread over the front, mass moves between two
//! ingredients, less in each round.
//!
//! | coordinate | better |
//! |---|---|
//! | yield stress at a temperature, in use | higher, or lower when asked |
//! | temperature it keeps its shape at for a day: yield stress ≥ load and holding ≥ weeping limit | higher |
//! | finest relief that leaves the mould, fresh at release | lower |
//! | skin feel `|ln τ − ½ (ln τ_smears + ln τ_drags)|` at skin temperature, in use | lower |
//! | price, when prices are given | lower |
//!
//! Candidates are numbered; each depends on its number alone (in refinement also on the front before the round), and the front takes them in the order
//! of numbers. So the answer depends neither on the number of threads nor on where an exploration was stopped and resumed. Memory holds the
//! front and one chunk of candidates.

use std::borrow::Borrow;
use std::ops::ControlFlow;
use std::sync::Arc;

use barwright_blend::assess::Workbench;
use barwright_blend::equilibrium::EquilibriumError;
use barwright_blend::landmarks::{Evaluator, LOWEST_LANDMARK_C};
use barwright_blend::sampling::fnv1a;
use barwright_blend::suitability::{COARSEST_FEATURE_MM, finest_feature_mm, skin_ln_off};
use barwright_blend::{BlendError, DrawnMixture, Model, Options, Point, Sampler, Spread};
use barwright_reference::{CrystalState, Formula, IngredientId, Library, Part};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::demand::{Demand, DemandError, Measure, Spot};
use crate::front::{Front, Scores, spread};
use crate::limits::price_per_kg;
use crate::quasi_random::Mixer;
use crate::space::{FillBuffers, Filler, Group, Space, SpaceError};

/// Candidates judged between two looks at the control: a fraction of a second, enough to keep all cores busy.
const CHUNK: u64 = 4096;

/// Fewest candidates a thread takes at once, so that its buffers pay.
const MIN_AT_ONCE: usize = 64;

/// Members of the front that a round of refinement starts from.
const PARENTS: usize = 256;

/// Candidates from each of them.
const CHILDREN: u64 = 16;

/// Largest transfer of the first round, mass %.
const FIRST_TRANSFER: f64 = 8.0;

/// Largest transfer of a round over that of the round before.
const SHRINK: f64 = 0.6;

/// Smallest transfer of a round over its largest.
const SMALLEST_TRANSFER: f64 = 0.1;

/// A transfer of less is none, mass %.
const NO_TRANSFER: f64 = 1e-6;

/// Yield stress below which melts on skin count as equal, kPa: a millionth of what smears.
const MIN_SKIN_KPA: f64 = 1e-6;

/// Coordinate of the hold temperature in the scores.
const HOLD: usize = 1;

/// A bar that fails this much below a temperature surely does not hold there: far above the error of the search, K.
const SURELY_LOWER_K: f64 = 0.01;

/// Which way firmness is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FirmnessAim {
    /// As firm as can be.
    #[default]
    Firmer,
    /// As soft as can be.
    Softer,
}

/// How to explore.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Points that fill the space.
    pub candidates: usize,
    /// Seed of the points.
    pub seed: u64,
    /// Crystal state and temperature at release; the rest is not used.
    pub options: Options,
    /// Temperature of the firmness, °C.
    pub firmness_at_c: f64,
    /// Which way it is better.
    pub firmness: FirmnessAim,
    /// Highest price per kilogram; ignored without prices.
    pub max_price: Option<f64>,
    /// Rounds of refinement.
    pub refine_rounds: usize,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            candidates: 20_000,
            seed: 20,
            options: Options::default(),
            firmness_at_c: 25.0,
            firmness: FirmnessAim::Firmer,
            max_price: None,
            refine_rounds: 8,
        }
    }
}

/// Properties of a candidate, by the central model.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema, Deserialize)]
pub struct Properties {
    /// Yield stress in use, kPa.
    pub firmness_kpa: f64,
    /// Temperature it keeps its shape at for a day, °C; `None` below −20 °C.
    pub hold_c: Option<f64>,
    /// Finest relief that leaves the mould whole, mm; at most [`COARSEST_FEATURE_MM`], which also stands for a bar that does not set.
    pub finest_mm: f64,
    /// How near the bar is to smearing or dragging, see [`skin_ln_off`]: below 0 it glides.
    pub skin_ln_off: f64,
    /// Price per kilogram.
    pub price: Option<f64>,
}

impl Properties {
    /// What the front compares: lower is better.
    pub fn scores(&self, firmness: FirmnessAim) -> Scores {
        let sign = match firmness {
            FirmnessAim::Firmer => -1.0,
            FirmnessAim::Softer => 1.0,
        };
        let hold = self.hold_c.unwrap_or(f64::NEG_INFINITY);
        [sign * self.firmness_kpa, -hold, self.finest_mm, self.skin_ln_off, self.price.unwrap_or(0.0)]
    }

    /// The same on scales on which equal distances mean about equally much: logarithms of firmness and relief.
    fn scaled(&self, firmness: FirmnessAim) -> Scores {
        let [_, _, finest, skin, price] = self.scores(firmness);
        let firm = self.firmness_kpa.max(MIN_SKIN_KPA).ln();
        let firm = if firmness == FirmnessAim::Firmer { -firm } else { firm };
        [firm, -self.hold_c.unwrap_or(LOWEST_LANDMARK_C), finest.ln(), skin, price]
    }
}

/// A formula and its properties.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema, Deserialize)]
pub struct Candidate {
    /// Mass % of each ingredient of the space.
    pub percent: Vec<f64>,
    /// Its properties.
    pub properties: Properties,
}

/// Progress of an exploration.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Candidates dealt with.
    pub done: u64,
    /// Candidates in all, at most.
    pub total: u64,
    /// Members of the front.
    pub front: usize,
}

/// What was found, and where to resume.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema, Deserialize)]
pub struct Exploration {
    /// The trade-offs: best firmness first, then best in the order of the coordinates.
    pub front: Vec<Candidate>,
    /// Candidates whose equilibria were computed.
    pub judged: usize,
    /// Candidates outside the space, because of crossing groups.
    pub rejected: usize,
    /// Whether it ran to the end.
    pub finished: bool,
    /// Space, demands and settings it belongs to.
    fingerprint: u64,
    /// Next point of the space.
    next: u64,
    /// Front and number judged when the space had been filled.
    filled: Option<(Vec<Candidate>, usize)>,
    /// Round of refinement.
    round: usize,
    /// Where that round starts from; empty before it.
    parents: Vec<Vec<f64>>,
    /// Next candidate of that round.
    next_in_round: u64,
}

impl Exploration {
    /// How many of those judged lie all over the space; the others come from refinement.
    pub fn judged_across(&self) -> usize {
        self.filled.as_ref().map_or(self.judged, |(_, judged)| *judged)
    }

    /// A representative selection of the front, in its order.
    ///
    /// The best in each coordinate, then the ones farthest from all others ([`spread`]), firmness and relief by their logarithms.
    ///
    /// # Arguments
    /// * `most`: largest number of members.
    /// * `firmness`: which way firmness is better.
    pub fn thinned(&self, most: usize, firmness: FirmnessAim) -> Vec<Candidate> {
        thinned(&self.front, most, firmness).cloned().collect()
    }
}

/// Why nothing could be explored.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ExploreError {
    /// The model failed.
    #[error(transparent)]
    Blend(#[from] BlendError),
    /// There is no formula.
    #[error(transparent)]
    Space(#[from] SpaceError),
    /// A demand that no bar can be measured against.
    #[error(transparent)]
    Demand(#[from] DemandError),
    /// The exploration to resume is a different one.
    #[error("the earlier exploration is of another space, other demands, another seed or other temperatures")]
    OtherExploration,
}

/// Finds the best trade-offs of a space of formulas.
///
/// # Arguments
/// * `library`, `model`: as for [`barwright_blend::assess()`].
/// * `space`: the formulas.
/// * `settings`: how to explore.
/// * `demands`: limits on the central values.
/// * `previous`: an exploration to resume: one that was stopped, or one to extend by more candidates or rounds. The answer is that of one unbroken
///   exploration with these settings. Points beyond fewer candidates than it has are kept.
/// * `control`: called on the calling thread after each chunk; stops the exploration with what it has.
///
/// # Returns
/// The front. A space of one formula is judged once.
///
/// # Errors
/// [`ExploreError`].
///
/// # Validity
/// Central values: those that [`barwright_blend::assess()`] shows as estimates; their uncertainty is not computed.
///
/// # Example
/// ```
/// use std::ops::ControlFlow;
/// use barwright_blend::Model;
/// use barwright_reference::Library;
/// use barwright_reformulate::explore::{Settings, explore};
/// use barwright_reformulate::{Demand, Space};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let find = |key: &str| library.id_of(key).ok_or("not there");
/// let space = Space {
///     ingredients: vec![find("beeswax")?, find("cocoa-butter")?, find("sunflower-oil")?],
///     min_percent: vec![10.0, 0.0, 20.0],
///     max_percent: vec![40.0, 60.0, 80.0],
///     groups: vec![],
///     price: Some(vec![18.0, 12.0, 4.0]),
/// };
/// let settings = Settings { candidates: 200, refine_rounds: 1, ..Settings::default() };
/// let hold = [Demand::Hold { temperature_c: 40.0 }];
/// let found = explore(&library, &Model::builtin()?, &space, &settings, &hold, None, &|_| ControlFlow::Continue(()))?;
/// assert!(found.finished && !found.front.is_empty());
/// assert!(found.front.iter().all(|one| one.properties.hold_c >= Some(40.0)));
/// # Ok(())
/// # }
/// ```
pub fn explore(
    library: &Library,
    model: &Model,
    space: &Space,
    settings: &Settings,
    demands: &[Demand],
    previous: Option<Exploration>,
    control: &(dyn Fn(Progress) -> ControlFlow<()> + Sync),
) -> Result<Exploration, ExploreError> {
    let explorer = Explorer::new(library, model, space, settings, demands)?;
    let mut state = match previous {
        Some(previous) if previous.fingerprint != explorer.fingerprint => return Err(ExploreError::OtherExploration),
        Some(previous) => previous,
        None => Exploration {
            front: Vec::new(),
            judged: 0,
            rejected: 0,
            finished: false,
            fingerprint: explorer.fingerprint,
            next: 0,
            filled: None,
            round: 0,
            parents: Vec::new(),
            next_in_round: 0,
        },
    };
    state.finished = explorer.run(&mut state, control)?;
    Ok(state)
}

/// A representative selection of a front.
fn thinned<C: Borrow<Candidate>>(front: &[C], most: usize, firmness: FirmnessAim) -> impl Iterator<Item = &Candidate> {
    let scaled: Vec<Scores> = front.iter().map(|one| one.borrow().properties.scaled(firmness)).collect();
    spread(&scaled, most).into_iter().filter_map(|index| front.get(index)).map(Borrow::borrow)
}

/// Result for one candidate.
enum Fate {
    /// Not in the space, or the same as its parent.
    None,
    /// Judged and not kept.
    Judged,
    /// May be on the front.
    Kept(Scores, Candidate),
}

/// Everything that stays the same during an exploration.
struct Explorer<'a> {
    settings: &'a Settings,
    demands: &'a [Demand],
    /// [`Demand::references`].
    references: Vec<Option<Spread<f64>>>,
    bench: Workbench<'a>,
    filler: Filler,
    /// What every thread starts with.
    line: Line,
    candidates: u64,
    rounds: usize,
    fingerprint: u64,
}

impl<'a> Explorer<'a> {
    fn new(
        library: &'a Library,
        model: &'a Model,
        space: &Space,
        settings: &'a Settings,
        demands: &'a [Demand],
    ) -> Result<Self, ExploreError> {
        let filler = Filler::new(space, settings.seed)?;
        let bench = Workbench::new(library, model, Options { draws: 0, ..settings.options.clone() })?;
        let references = Demand::references(demands, &bench).map_err(BlendError::from)?;
        Measure { bench: &bench, demands, references: &references }.check()?;
        let one_point = filler.is_one_point();
        let line = Line::new(&bench, space)?;
        Ok(Explorer {
            settings,
            demands,
            references,
            bench,
            filler,
            line,
            candidates: if one_point { settings.candidates.min(1) } else { settings.candidates } as u64,
            rounds: if one_point { 0 } else { settings.refine_rounds },
            fingerprint: fingerprint(library, model, space, settings, demands),
        })
    }

    /// Runs until all is done (true) or it is stopped (false).
    fn run(
        &self,
        state: &mut Exploration,
        control: &(dyn Fn(Progress) -> ControlFlow<()> + Sync),
    ) -> Result<bool, ExploreError> {
        if state.next < self.candidates
            && let Some((front, judged)) = state.filled.take()
        {
            // More points than before: the refinement of fewer is not that of the unbroken exploration.
            state.front = front;
            state.judged = judged;
            (state.round, state.next_in_round) = (0, 0);
            state.parents.clear();
        }
        let in_round = PARENTS as u64 * CHILDREN;
        let firmness = self.settings.firmness;
        let mut front = Front::default();
        for one in std::mem::take(&mut state.front) {
            front.insert(one.properties.scores(firmness), one);
        }
        let report = |state: &Exploration, front: &Front<Candidate>| {
            control(Progress {
                done: state.next + in_round * state.round as u64 + state.next_in_round,
                total: self.candidates.max(state.next) + in_round * self.rounds.max(state.round) as u64,
                front: front.len(),
            })
        };
        let finished = loop {
            if state.next < self.candidates {
                let end = (state.next + CHUNK).min(self.candidates);
                self.chunk(state.next..end, state, &mut front, &|worker, number| {
                    let Worker { buffers, percent, .. } = worker;
                    self.filler.point(number, buffers, percent)
                })?;
                state.next = end;
            } else if state.round < self.rounds && !front.is_empty() {
                if state.filled.is_none() {
                    state.filled = Some((sorted(front.iter().map(|(_, one)| one.clone()), firmness), state.judged));
                }
                if state.parents.is_empty() {
                    let members = sorted(front.iter().map(|(_, one)| one), firmness);
                    state.parents = thinned(&members, PARENTS, firmness).map(|one| one.percent.clone()).collect();
                }
                let parents = std::mem::take(&mut state.parents);
                let all = parents.len() as u64 * CHILDREN;
                let end = (state.next_in_round + CHUNK).min(all);
                let round = state.round;
                self.chunk(state.next_in_round..end, state, &mut front, &|worker, number| {
                    worker.percent.clone_from(&parents[(number / CHILDREN) as usize]);
                    self.step(round, number, &mut worker.percent)
                })?;
                if end < all {
                    state.next_in_round = end;
                    state.parents = parents;
                } else {
                    state.round += 1;
                    state.next_in_round = 0;
                }
            } else {
                break true;
            }
            if report(state, &front).is_break() {
                break state.next >= self.candidates && (state.round >= self.rounds || front.is_empty());
            }
        };
        state.front = sorted(front.into_items(), firmness);
        Ok(finished)
    }

    /// Moves mass between two ingredients; false when nothing moves.
    fn step(&self, round: usize, number: u64, percent: &mut [f64]) -> bool {
        let mut mixer = Mixer::new(&[self.settings.seed, round as u64, number]);
        let largest = FIRST_TRANSFER * SHRINK.powf(round as f64);
        let (from, to) = (mixer.below(percent.len()), mixer.below(percent.len()));
        let amount = largest * (SMALLEST_TRANSFER + (1.0 - SMALLEST_TRANSFER) * mixer.fraction());
        self.filler.transfer(percent, from, to, amount) > NO_TRANSFER
    }

    /// Judges some candidates, all threads together, and takes them into the front in their order.
    fn chunk(
        &self,
        numbers: std::ops::Range<u64>,
        state: &mut Exploration,
        front: &mut Front<Candidate>,
        make: &(dyn Fn(&mut Worker, u64) -> bool + Sync),
    ) -> Result<(), ExploreError> {
        let known = &*front;
        let (start, count) = (numbers.start, (numbers.end - numbers.start) as usize);
        let fates: Vec<Result<Fate, BlendError>> = (0..count)
            .into_par_iter()
            .with_min_len(MIN_AT_ONCE)
            .map_init(
                || Worker::new(&self.line),
                |worker, index| {
                    if !make(worker, start + index as u64) {
                        return Ok(Fate::None);
                    }
                    let Some(properties) = self.properties(worker, known)? else { return Ok(Fate::Judged) };
                    let scores = properties.scores(self.settings.firmness);
                    // Most candidates are beaten by what was there before; that is found out by all threads together.
                    if known.covers(&scores) {
                        return Ok(Fate::Judged);
                    }
                    Ok(Fate::Kept(scores, Candidate { percent: worker.percent.clone(), properties }))
                },
            )
            .collect();
        let filling = state.filled.is_none();
        for fate in fates {
            match fate? {
                Fate::None => state.rejected += usize::from(filling),
                Fate::Judged => state.judged += 1,
                Fate::Kept(scores, candidate) => {
                    state.judged += 1;
                    front.insert(scores, candidate);
                }
            }
        }
        Ok(())
    }

    /// Properties of a candidate; `None` when it does not meet every demand, or is certain to be covered by what is known.
    fn properties(&self, worker: &mut Worker, known: &Front<Candidate>) -> Result<Option<Properties>, BlendError> {
        let (options, settings) = (&self.settings.options, self.settings);
        let percent = &worker.percent;
        let price = self.filler.space().price.as_ref().map(|price| price_per_kg(price, percent));
        if price.zip(settings.max_price).is_some_and(|(price, most)| price > most) {
            return Ok(None);
        }
        let Line { in_use, fresh, .. } = worker.line.mixed(percent);
        let (central, parameters) = (self.bench.draw(None), self.bench.parameters());
        let (model, skin) = (central.model, &parameters.skin);
        let measure = Measure { bench: &self.bench, demands: self.demands, references: &self.references };
        let spot = |demand: &Demand| demand.spot(options, skin.temperature_c);
        let at_release = |spot: Spot| spot.state == options.release_state() && spot.temperature_c == options.release_c;
        let on_skin = |spot: Spot| !at_release(spot) && spot.temperature_c == skin.temperature_c;
        let misses = |there: &dyn Fn(Spot) -> bool, point: &Point| {
            let mut demands = self.demands.iter().enumerate();
            demands.any(|(index, demand)| there(spot(demand)) && !measure.met(index, point))
        };
        if in_use.one.mixture().is_powder_alone() {
            return Ok(None);
        }
        // Each demand as soon as it can be judged: those of the bar in use first, since crystals that form anew make a fresh one two problems.
        let mut evaluator = in_use.one.at_drawn(central, &in_use.drawn)?;
        for (index, demand) in self.demands.iter().enumerate() {
            let spot = spot(demand);
            if !at_release(spot) && !on_skin(spot) && !measure.met(index, &evaluator.point(spot.temperature_c)?) {
                return Ok(None);
            }
        }
        let face = evaluator.point(skin.temperature_c)?;
        if misses(&on_skin, &face) {
            return Ok(None);
        }
        let firm = evaluator.point(settings.firmness_at_c)?;
        let off = |body_kpa: f64| skin_ln_off(skin, body_kpa.max(MIN_SKIN_KPA), face.yield_kpa.max(MIN_SKIN_KPA));
        // A colder bar is firmer: where the firmness is far enough from smearing, so is the bar as it is picked up.
        let surely_no_smear = settings.firmness_at_c >= skin.body_c && off(firm.yield_kpa) == off(f64::INFINITY);
        let off = if surely_no_smear { off(f64::INFINITY) } else { off(evaluator.point(skin.body_c)?.yield_kpa) };
        let release = match fresh {
            Some(fresh) => fresh.one.at_drawn(central, &fresh.drawn)?.point(options.release_c)?,
            None => evaluator.point(options.release_c)?,
        };
        if misses(&at_release, &release) {
            return Ok(None);
        }
        let finest_mm = finest_feature_mm(&parameters.detail, model, release.yield_kpa).min(COARSEST_FEATURE_MM);
        let mut properties =
            Properties { firmness_kpa: firm.yield_kpa, hold_c: None, finest_mm, skin_ln_off: off, price };
        // The hold temperature is most of the work. Where all else is covered it need only be known whether it is higher.
        let rival = known.least_with_others_as_good(&properties.scores(settings.firmness), HOLD).map(|score| -score);
        if let Some(rival_c) = rival.filter(|rival_c| rival_c.is_finite()) {
            let point = evaluator.point(rival_c - SURELY_LOWER_K)?;
            if point.yield_kpa < model.load_kpa || point.holding < model.weep_below {
                return Ok(None);
            }
        }
        // Whether there was a rival depends on what else is known; the figure must not.
        evaluator.forget();
        properties.hold_c = hold_c(&mut evaluator)?;
        Ok(Some(properties))
    }
}

/// The temperature a bar keeps its shape at for a day.
///
/// The lower of two: where its yield stress is the load, and where its crystals no longer hold the oil. The second is looked for only when the oil is
/// not held at the first.
fn hold_c(evaluator: &mut Evaluator<'_>) -> Result<Option<f64>, EquilibriumError> {
    let clear_c = evaluator.clear_point_c();
    evaluator.start_curve(clear_c);
    let Some(carries_c) = evaluator.carries_c()? else { return Ok(None) };
    if evaluator.point(carries_c)?.holding >= evaluator.model().weep_below {
        return Ok(Some(carries_c));
    }
    let weeps_c = evaluator.weeps_c()?;
    Ok(weeps_c.map(|weeps_c| weeps_c.min(carries_c)))
}

/// A front in the order shown.
fn sorted<C: Borrow<Candidate>>(front: impl Iterator<Item = C>, firmness: FirmnessAim) -> Vec<C> {
    let mut members: Vec<C> = front.collect();
    members.sort_by(|a, b| {
        let (x, y) = (a.borrow().properties.scores(firmness), b.borrow().properties.scores(firmness));
        let pairs = x.iter().zip(&y);
        pairs.map(|(x, y)| x.total_cmp(y)).find(|order| order.is_ne()).unwrap_or(std::cmp::Ordering::Equal)
    });
    members
}

/// Tells apart explorations that cannot resume each other: FNV-1a of everything but the numbers of candidates and rounds.
///
/// The text that is hashed has the names that fields had when the first explorations were kept, so that those can still be resumed.
fn fingerprint(library: &Library, model: &Model, space: &Space, settings: &Settings, demands: &[Demand]) -> u64 {
    let Settings { seed, options, firmness_at_c, firmness, max_price, .. } = settings;
    let Space { ingredients, min_percent, max_percent, groups, price } = space;
    let groups = groups.iter().map(|Group { name, members, min_percent, max_percent }| {
        format!("Group {{ name: {name:?}, members: {members:?}, least: {min_percent:?}, most: {max_percent:?} }}")
    });
    let groups = groups.collect::<Vec<_>>().join(", ");
    let shelf: Vec<_> = ingredients.iter().map(|&index| library.get(index)).collect();
    let parameters = format!("{:?}", model.parameters);
    let parameters = parameters.strip_suffix(" }").unwrap_or(&parameters);
    let maker = &model.maker;
    let state = (options.state, options.release_c);
    let text = format!(
        "Space {{ ingredients: {ingredients:?}, least: {min_percent:?}, most: {max_percent:?}, groups: [{groups}], price: {price:?} }} \
         {shelf:?} {parameters}, maker: {maker:?} }} {demands:?} {seed} {state:?} {firmness_at_c} {firmness:?} {max_price:?}"
    );
    fnv1a(text.as_bytes())
}

/// Buffers of one thread.
struct Worker {
    buffers: FillBuffers,
    percent: Vec<f64>,
    line: Line,
}

impl Worker {
    fn new(line: &Line) -> Self {
        Worker { buffers: FillBuffers::default(), percent: Vec::new(), line: line.clone() }
    }
}

/// All ingredients of a space in one crystal state, and what the central draw says of them.
#[derive(Clone)]
struct InState {
    one: Sampler,
    drawn: Arc<DrawnMixture>,
}

/// All ingredients of a space, to be evaluated at any amounts.
#[derive(Clone)]
struct Line {
    in_use: InState,
    /// As it leaves the mould; `None` when that is the state in use.
    fresh: Option<InState>,
    /// Position in the space of each part of the mixtures.
    order: Vec<usize>,
    placed: Vec<f64>,
}

impl Line {
    /// Starts with equal parts.
    fn new(bench: &Workbench<'_>, space: &Space) -> Result<Self, BlendError> {
        let percent = 100.0 / space.ingredients.len().max(1) as f64;
        let parts = space.ingredients.iter().map(|&ingredient| Part { ingredient, percent }).collect();
        let formula = Formula { name: String::new(), parts };
        let (state, release_state) = (bench.options().state, bench.options().release_state());
        let in_state = |state: CrystalState| -> Result<InState, BlendError> {
            let one = bench.sampler(&formula, state)?;
            let drawn = Arc::new(one.drawn(bench.draw(None)));
            Ok(InState { one, drawn })
        };
        let in_use = in_state(state)?;
        let fresh = (release_state != state).then(|| in_state(release_state)).transpose()?;
        let position = |ingredient: IngredientId| space.ingredients.iter().position(|&one| one == ingredient);
        let order = in_use.one.mixture().parts().filter_map(|(ingredient, _)| position(ingredient)).collect();
        Ok(Line { in_use, fresh, order, placed: Vec::new() })
    }

    /// Sets the amounts; species of ingredients that are not there drop out of the equilibria.
    fn mixed(&mut self, percent: &[f64]) -> &mut Self {
        self.placed.clear();
        self.placed.extend(self.order.iter().map(|&place| percent[place]));
        for state in [&mut self.in_use].into_iter().chain(&mut self.fresh) {
            state.one.mixture_mut().set_percents(&self.placed);
        }
        self
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use barwright_blend::assess;

    use super::*;

    fn properties(firmness_kpa: f64, hold_c: Option<f64>) -> Properties {
        Properties { firmness_kpa, hold_c, finest_mm: 2.0, skin_ln_off: 0.7, price: Some(9.0) }
    }

    #[test]
    fn lower_scores_are_better() {
        let one = properties(100.0, Some(45.0));
        assert_eq!(one.scores(FirmnessAim::Firmer), [-100.0, -45.0, 2.0, 0.7, 9.0]);
        assert_eq!(one.scores(FirmnessAim::Softer), [100.0, -45.0, 2.0, 0.7, 9.0]);
        let never = Properties { price: None, ..properties(100.0, None) };
        assert_eq!(never.scores(FirmnessAim::Firmer), [-100.0, f64::INFINITY, 2.0, 0.7, 0.0]);
    }

    #[test]
    fn scaled_firmness_and_relief_are_logarithms() {
        let one = properties(100.0, Some(45.0));
        let ln = 100_f64.ln();
        assert_eq!(one.scaled(FirmnessAim::Firmer), [-ln, -45.0, 2_f64.ln(), 0.7, 9.0]);
        assert_eq!(one.scaled(FirmnessAim::Softer), [ln, -45.0, 2_f64.ln(), 0.7, 9.0]);
        // A melt has no logarithm, and what never holds counts as holding at the lowest temperature looked at.
        let never = properties(0.0, None).scaled(FirmnessAim::Firmer);
        assert_eq!(never[..2], [-MIN_SKIN_KPA.ln(), -LOWEST_LANDMARK_C]);
    }

    fn space(library: &Library, keys: &[&str]) -> Space {
        let find = |key: &&str| library.id_of(key).unwrap();
        let count = keys.len();
        let (min_percent, max_percent) = (vec![0.0; count], vec![100.0; count]);
        Space { ingredients: keys.iter().map(find).collect(), min_percent, max_percent, groups: vec![], price: None }
    }

    /// From a tenth of the largest to the largest, which is 8 % at first and six tenths of that in the next round.
    #[test]
    fn steps_are_as_large_as_their_round_allows() {
        let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
        let space = space(&library, &["beeswax", "cocoa-butter", "shea-butter", "sunflower-oil"]);
        let settings = Settings::default();
        let explorer = Explorer::new(&library, &model, &space, &settings, &[]).unwrap();
        for (round, largest) in [(0, 8.0), (1, 4.8), (2, 2.88)] {
            let mut sizes = Vec::new();
            for number in 0..400 {
                let mut percent = vec![25.0; 4];
                if explorer.step(round, number, &mut percent) {
                    assert!((percent.iter().sum::<f64>() - 100.0).abs() < 1e-9);
                    sizes.push(0.5 * percent.iter().map(|p| (p - 25.0).abs()).sum::<f64>());
                }
            }
            // One in four goes from an ingredient to itself, and is none.
            assert!((250..350).contains(&sizes.len()), "{}", sizes.len());
            sizes.sort_by(f64::total_cmp);
            let (low, high) = (sizes[0] / largest, sizes[sizes.len() - 1] / largest);
            assert!((0.1..0.12).contains(&low) && (0.98..1.0).contains(&high), "round {round}: {low} {high}");
            let mean = sizes.iter().sum::<f64>() / sizes.len() as f64 / largest;
            assert!((mean - 0.55).abs() < 0.05, "round {round}: {mean}");
        }
    }

    /// Where oil weeps out before the bar sags, that is where it no longer holds.
    #[test]
    fn weeping_limits_the_hold_temperature() {
        let library = Library::builtin().unwrap();
        let mut space = space(&library, &["beeswax", "cocoa-butter", "sunflower-oil"]);
        (space.min_percent, space.max_percent) = (vec![20.0, 30.0, 50.0], vec![20.0, 30.0, 50.0]);
        let settings = Settings { candidates: 1, refine_rounds: 0, ..Settings::default() };
        let parts = space.ingredients.iter().zip(&space.min_percent);
        let parts = parts.map(|(&ingredient, &percent)| Part { ingredient, percent }).collect();
        let bar = Formula { name: String::new(), parts };
        let mut found = Vec::new();
        for weep_below in [0.1, 8.0, 12.0] {
            let mut model = Model::builtin().unwrap();
            model.parameters.warmth.weep_below = weep_below;
            let told = assess(&library, &model, &bar, &Options { draws: 0, ..Options::default() }).unwrap();
            let one = explore(&library, &model, &space, &settings, &[], None, &|_| ControlFlow::Continue(()));
            let hold_c = one.unwrap().front[0].properties.hold_c.unwrap();
            assert!(
                (hold_c - told.warmth.hold_c.unwrap().value).abs() < 0.02,
                "{weep_below}: {hold_c} {:?}",
                told.warmth
            );
            found.push(hold_c);
        }
        assert!(found[1] < found[0] - 1.0 && found[2] < found[1] - 1.0, "{found:?}");
    }
}
