//! The whole answer for one formula.

use crate::error::BlendError;
use crate::outcome::{Ensemble, Outcome};
use crate::units::ROOM_C;
use barwright_reference::{CrystalState, Formula, Library};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::beeswax::BeeswaxEquivalent;
use crate::beeswax_scale::BeeswaxScale;
use crate::cautions::{self, Caution};
use crate::crystals::Point;
use crate::equilibrium::EquilibriumError;
use crate::heat_curve::HeatCurves;
use crate::interval::{Estimate, Spread};
use crate::kept::Kept;
use crate::known_off;
use crate::landmarks::{Evaluator, LOWEST_LANDMARK_C};
use crate::mixture::Mixture;
use crate::model::Model;
use crate::model_draw::{Draw, ModelDraws};
use crate::parameters::Parameters;
use crate::penetration;
use crate::sampler::Sampler;
use crate::sampling::Draws;
use crate::suitability::{
    self, DetailOutlook, GrainOutlook, GrainRisk, MIN_ODDS_OF_A_FEEL, SkinFeel, SkinOutlook, Verdict, WarmthOutlook,
};

/// Draws behind an interval unless asked otherwise.
pub const DEFAULT_DRAWS: usize = 256;

/// Seed unless asked otherwise.
pub const DEFAULT_SEED: u64 = 20;

/// Families of symmetric stearic triglycerides, which grow the coarse crystals felt as grain.
const SYMMETRIC_FAMILIES: [&str; 3] = ["sos", "pos", "aoa"];

/// Classes that crystallise and are not waxes.
const FAT_CLASSES: [&str; 2] = ["triglyceride", "diglyceride"];

/// What to compute.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Options {
    /// Temperatures of the solids and firmness tables, °C.
    pub at_c: Vec<f64>,
    /// Crystal state in use and in the post.
    pub state: CrystalState,
    /// Temperature of the bar when it leaves the mould, °C (judged fresh, unless it was tempered).
    pub release_c: f64,
    /// Finest relief of the mould, mm.
    pub relief_mm: f64,
    /// Temperature the bar should keep its shape at, °C.
    pub hold_c: f64,
    /// Draws behind the intervals; 0 gives values without spread.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            at_c: vec![20.0, 25.0, 30.0, 35.0],
            state: CrystalState::Rested,
            release_c: 20.0,
            relief_mm: 0.8,
            hold_c: 40.0,
            draws: DEFAULT_DRAWS,
            seed: DEFAULT_SEED,
        }
    }
}

impl Options {
    /// Crystal state in which the bar leaves the mould: a tempered bar sets in its stable form at once, any other in the less stable one.
    pub fn release_state(&self) -> CrystalState {
        match self.state {
            CrystalState::Tempered => CrystalState::Tempered,
            CrystalState::Fresh | CrystalState::Rested => CrystalState::Fresh,
        }
    }
}

/// A part as shown.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PartShown {
    /// Key of the ingredient.
    pub ingredient: String,
    /// Mass %.
    pub percent: f64,
}

/// The formula as shown.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FormulaShown {
    /// Its name.
    pub name: String,
    /// Its parts, in the order written.
    pub parts: Vec<PartShown>,
}

/// Solids at one temperature.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SolidsAt {
    /// °C.
    pub temperature_c: f64,
    /// Solid fat content, mass %.
    pub percent: Estimate,
}

/// Melt landmarks; `None` below −20 °C.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Melt {
    /// Half of the yield stress of 20 °C is gone, or the bar slips, whichever comes first; `None` for what slips below 20 °C.
    pub softening_c: Option<Estimate>,
    /// Slip point.
    pub slip_point_c: Option<Estimate>,
    /// Drop point.
    pub drop_point_c: Option<Estimate>,
    /// End of melting as a calorimeter sees it.
    pub melt_end_c: Option<Estimate>,
    /// Clear point.
    pub clear_point_c: Option<Estimate>,
}

/// Firmness at one temperature.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FirmnessAt {
    /// °C.
    pub temperature_c: f64,
    /// Yield stress, kPa.
    pub yield_stress_kpa: Estimate,
    /// Beeswax in liquid oil that would be as firm.
    #[serde(flatten)]
    pub beeswax_equivalent: BeeswaxEquivalent,
    /// Needle penetration, 0.1 mm; `None` when softer than the test allows.
    pub needle_dmm: Option<Estimate>,
}

/// The whole answer for one formula.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Assessment {
    /// The formula.
    pub formula: FormulaShown,
    /// Crystal state in use.
    pub state: CrystalState,
    /// Solids table.
    pub solids: Vec<SolidsAt>,
    /// Landmarks.
    pub melt: Melt,
    /// Firmness table.
    pub firmness: Vec<FirmnessAt>,
    /// Fine detail (heuristic).
    pub detail: DetailOutlook,
    /// Warmth (heuristic).
    pub warmth: WarmthOutlook,
    /// Skin feel (heuristic).
    pub skin: SkinOutlook,
    /// Graininess (heuristic).
    pub grain: GrainOutlook,
    /// Cautions.
    pub cautions: Vec<Caution>,
    /// Draws behind the intervals.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// Number of the maker's own trials behind it.
    #[serde(skip_serializing_if = "is_zero")]
    pub trials: usize,
    /// Values of every draw, for paired comparison.
    #[serde(skip)]
    pub(crate) ensemble: Ensemble,
}

impl Assessment {
    /// Whether the blend is a solid bar at room temperature: it slips above 20 °C.
    pub fn sets_at_room(&self) -> bool {
        self.melt.slip_point_c.is_some_and(|slip| slip.value > ROOM_C)
    }

    /// Outcome of each draw, in order. A draw of one number has the same lots and the same model in every bar.
    pub fn outcomes(&self) -> &[Outcome] {
        &self.ensemble.drawn
    }

    /// Probability of an event: the share of draws in which it happens, 0 to 1.
    ///
    /// # Arguments
    /// * `event`: whether it happens in one draw. A landmark that was not found is `None`, and less than any other.
    ///
    /// # Returns
    /// 0 or 1 by the central estimate where there are no draws. The share of n draws is itself within 1 / √n of the probability (95 %), and two times in
    /// three within half of that.
    ///
    /// ```
    /// use barwright_blend::{Model, Options, assess};
    /// use barwright_reference::{Formula, Library};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let library = Library::builtin()?;
    /// let bar = Formula::from_parts(&library, [("beeswax", 26.0), ("shea butter", 32.0), ("sunflower oil", 42.0)])?;
    /// let assessment = assess(&library, &Model::builtin()?, &bar, &Options { draws: 64, ..Options::default() })?;
    /// let holds = assessment.probability(|outcome| outcome.hold_c >= Some(43.0));
    /// let holds_and_glides = assessment.probability(|outcome| outcome.hold_c >= Some(43.0) && outcome.melted_percent > 60.0);
    /// assert!(holds_and_glides <= holds && holds <= 1.0);
    /// # Ok(())
    /// # }
    /// ```
    pub fn probability(&self, event: impl Fn(&Outcome) -> bool) -> f64 {
        let drawn = &self.ensemble.drawn;
        if drawn.is_empty() {
            return f64::from(u8::from(event(&self.ensemble.central)));
        }
        drawn.iter().filter(|outcome| event(outcome)).count() as f64 / drawn.len() as f64
    }
}

/// Whether a count is 0, and so left out of the JSON.
#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
fn is_zero(count: &usize) -> bool {
    *count == 0
}

/// What the formulas of one run share: the draws of the model and what was read of the beeswax scale.
#[derive(Debug)]
pub struct Workbench<'a> {
    library: &'a Library,
    model: &'a Model,
    options: Options,
    draws: Draws,
    models: ModelDraws,
    /// At the temperatures of the options.
    scale: BeeswaxScale,
    /// Heat curves of the last formula.
    pub(crate) kept_curves: Kept<Spread<HeatCurves>>,
    /// Its assessment.
    kept_assessment: Kept<Assessment>,
}

/// Assesses one formula.
///
/// # Arguments
/// * `library`: reference tables, with the maker's lots if any.
/// * `model`: the model, with what the maker's trials say if any.
/// * `formula`: parts in mass %.
/// * `options`: temperatures, crystal state, demands, draws.
///
/// # Returns
/// Every estimate with its 90 % interval.
///
/// # Errors
/// [`BlendError`].
///
/// # Validity
/// Water-free blends of waxes, fats and oils, −20 to 120 °C.
///
/// # Example
/// ```
/// use barwright_blend::{Model, Options, assess};
/// use barwright_reference::{Library, formula};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let reading = formula::read_inline("beeswax 30, cocoa butter 30, sunflower oil 40", "bar", &library)?;
/// let answer = assess(&library, &Model::builtin()?, &reading.formulas[0], &Options::default())?;
/// assert!(answer.melt.clear_point_c.unwrap().value > 50.0);
/// # Ok(())
/// # }
/// ```
pub fn assess(
    library: &Library,
    model: &Model,
    formula: &Formula,
    options: &Options,
) -> Result<Assessment, BlendError> {
    Workbench::new(library, model, options.clone())?.assess(formula)
}

impl<'a> Workbench<'a> {
    /// Draws the model parameters; nothing is solved yet.
    ///
    /// # Errors
    /// [`BlendError::MissingReference`], or as [`assess`].
    pub fn new(library: &'a Library, model: &'a Model, options: Options) -> Result<Self, BlendError> {
        let draws = Draws::new(options.seed, options.draws);
        let models = ModelDraws::new(model, &draws);
        let scale = BeeswaxScale::new(library, model, options.state, &options.at_c, options.draws)?;
        let (kept_curves, kept_assessment) = (Kept::default(), Kept::default());
        Ok(Workbench { library, model, options, draws, models, scale, kept_curves, kept_assessment })
    }

    /// The options in force.
    pub fn options(&self) -> &Options {
        &self.options
    }

    /// The model in force.
    pub fn model(&self) -> &Model {
        self.model
    }

    /// The parameters in force.
    pub fn parameters(&self) -> &Parameters {
        &self.model.parameters
    }

    /// The reference tables in force.
    pub fn library(&self) -> &'a Library {
        self.library
    }

    /// The draws of this workbench.
    pub fn draws(&self) -> &Draws {
        &self.draws
    }

    /// A draw by its number; the central one for `None`.
    pub fn draw(&self, number: Option<usize>) -> Draw<'_> {
        self.models.draw(number)
    }

    /// The model, draw by draw.
    pub(crate) fn models(&self) -> &ModelDraws {
        &self.models
    }

    /// Structure of beeswax in oil, draw by draw, dimensionless.
    ///
    /// # Arguments
    /// * `percent`: beeswax, mass %; above 100 it is that of neat beeswax.
    /// * `temperature_c`: °C.
    ///
    /// # Errors
    /// As [`crate::equilibrium::Solver::solve`].
    pub fn beeswax_structure(&self, percent: f64, temperature_c: f64) -> Result<Spread<f64>, EquilibriumError> {
        let of = |_: &mut (), draw: Draw<'_>| self.scale.structure_of(percent, temperature_c, draw);
        self.models.spread(self.options.draws, (), of)
    }

    /// Prepares a formula in a crystal state, to be evaluated in any draw of this workbench.
    ///
    /// # Errors
    /// As [`Mixture::new`].
    pub fn sampler(&self, formula: &Formula, state: CrystalState) -> Result<Sampler, BlendError> {
        Ok(Sampler::new(self.mixture(formula, state)?))
    }

    /// The mixture of a formula in a crystal state, with the draws of this workbench.
    pub(crate) fn mixture(&self, formula: &Formula, state: CrystalState) -> Result<Mixture, BlendError> {
        Mixture::new(self.library, self.model, formula, state, &self.draws)
    }

    /// Assesses one formula.
    ///
    /// # Errors
    /// As [`assess`].
    pub fn assess(&self, formula: &Formula) -> Result<Assessment, BlendError> {
        let draws = self.options.draws;
        let kept = self.kept_assessment.or_make(&formula.parts, draws, || self.computed_assessment(formula))?;
        let mut assessment = Assessment::clone(&kept);
        // The parts are the same, the name may differ.
        assessment.formula.name.clone_from(&formula.name);
        Ok(assessment)
    }

    fn computed_assessment(&self, formula: &Formula) -> Result<Assessment, BlendError> {
        let options = &self.options;
        let in_use = self.mixture(formula, options.state)?;
        let fresh = self.sampler(formula, options.release_state())?;
        let content = Content::of(self.library, &in_use);
        let samplers = [Sampler::new(in_use), fresh];
        let ensemble = self.models.spread(options.draws, samplers, |[in_use, fresh], draw| {
            let release = fresh.at(draw)?.point(options.release_c)?;
            self.outcome(&mut in_use.at(draw)?, release, draw, &content)
        })?;
        let is_liquid = |at| self.scale.is_liquid(at, self.draw(None));
        let beeswax_is_liquid = (0..options.at_c.len()).map(is_liquid).collect::<Result<Vec<_>, _>>()?;
        Ok(self.summarise(formula, ensemble, &content, &beeswax_is_liquid))
    }

    /// The slip point of a formula alone, as [`Workbench::assess`] has it, at a part of the work; `None` below [`LOWEST_LANDMARK_C`].
    ///
    /// # Errors
    /// As [`assess`].
    pub fn slip_point_c(&self, formula: &Formula) -> Result<Option<Estimate>, BlendError> {
        let sampler = self.sampler(formula, self.options.state)?;
        let slips: Spread<Option<f64>> = self.models.spread(self.options.draws, sampler, |sampler, draw| {
            let mut evaluator = sampler.at(draw)?;
            let clear_c = evaluator.clear_point_c();
            evaluator.start_curve(clear_c);
            evaluator.slip_c()
        })?;
        Ok(slips.estimate_or(LOWEST_LANDMARK_C, |slip_c| *slip_c))
    }

    fn outcome(
        &self,
        evaluator: &mut Evaluator<'_>,
        release: Point,
        draw: Draw<'_>,
        content: &Content,
    ) -> Result<Outcome, EquilibriumError> {
        let (options, parameters, model) = (&self.options, self.parameters(), evaluator.model());
        let clear_c = evaluator.clear_point_c();
        evaluator.start_curve(clear_c);
        let slip_c = evaluator.slip_c()?;
        let drop_c = evaluator.highest_c_with(model.drop_over_slip, |point| point.holding)?;
        let end_c = evaluator.highest_c_with(model.end_percent / 100.0, |point| point.solids)?;
        let carries_c = evaluator.carries_c()?;
        let weeps_c = evaluator.weeps_c()?;
        let hold_c = carries_c.zip(weeps_c).map(|(carries, weeps)| carries.min(weeps));
        let skin = evaluator.point(parameters.skin.temperature_c)?;
        let room = evaluator.point(parameters.landmarks.softening_from_c)?;
        let softening_c = match slip_c.filter(|&slip_c| slip_c > parameters.landmarks.softening_from_c) {
            Some(slip_c) => {
                let target = room.yield_kpa * parameters.landmarks.softening_share;
                evaluator.highest_c_with(target, |point| point.yield_kpa)?.map(|half_c| half_c.min(slip_c))
            }
            None => None,
        };
        let body = evaluator.point(parameters.skin.body_c)?;
        let growing = evaluator.point(parameters.grain.growth_c)?;
        let mut outcome = Outcome {
            solids_percent: Vec::with_capacity(options.at_c.len()),
            yield_kpa: Vec::with_capacity(options.at_c.len()),
            beeswax_percent: Vec::with_capacity(options.at_c.len()),
            softening_c,
            slip_c,
            drop_c,
            end_c,
            clear_c,
            hold_c,
            finest_mm: suitability::finest_feature_mm(&parameters.detail, model, release.yield_kpa),
            melted_percent: 100.0 * (1.0 - skin.solids),
            skin_kpa: skin.yield_kpa,
            feel: SkinFeel::from_yield(&parameters.skin, body.yield_kpa, skin.yield_kpa),
            grain: suitability::grain_index(
                &parameters.grain,
                content.symmetric_percent,
                100.0 * (1.0 - growing.solids),
                content.wax_percent,
            ),
        };
        for (at, &celsius) in options.at_c.iter().enumerate() {
            let point = evaluator.point(celsius)?;
            outcome.solids_percent.push(100.0 * point.solids);
            outcome.yield_kpa.push(point.yield_kpa);
            outcome.beeswax_percent.push(self.scale.percent(at, draw, point.structure)?);
        }
        Ok(outcome)
    }

    fn summarise(
        &self,
        formula: &Formula,
        ensemble: Ensemble,
        content: &Content,
        beeswax_is_liquid: &[bool],
    ) -> Assessment {
        let (options, parameters) = (&self.options, self.parameters());
        let solids = options.at_c.iter().enumerate().map(|(index, &temperature_c)| SolidsAt {
            temperature_c,
            percent: ensemble.estimate(|outcome| outcome.solids_percent[index]),
        });
        let firmness = options.at_c.iter().enumerate().map(|(index, &temperature_c)| FirmnessAt {
            temperature_c,
            yield_stress_kpa: ensemble.estimate(|outcome| outcome.yield_kpa[index]),
            beeswax_equivalent: BeeswaxEquivalent::from_draws(
                beeswax_is_liquid[index],
                ensemble.central.beeswax_percent[index],
                ensemble.drawn.iter().map(|outcome| outcome.beeswax_percent[index]),
            ),
            needle_dmm: needle(&ensemble, index),
        });
        let detail_probability = ensemble.probability(|outcome| outcome.finest_mm <= options.relief_mm);
        let hold_probability = ensemble.probability(|outcome| outcome.hold_c.is_some_and(|c| c >= options.hold_c));
        let (likeliest, feel_probability) = likeliest_feel(&ensemble, |outcome| outcome.feel);
        let grain = ensemble.estimate(|outcome| outcome.grain);
        let finite = ensemble.central.finest_mm.is_finite();
        Assessment {
            formula: FormulaShown {
                name: formula.name.clone(),
                parts: formula
                    .parts
                    .iter()
                    .filter_map(|part| {
                        let ingredient = self.library.get(part.ingredient)?;
                        Some(PartShown { ingredient: ingredient.key.clone(), percent: part.percent })
                    })
                    .collect(),
            },
            state: options.state,
            solids: solids.collect(),
            melt: Melt {
                softening_c: ensemble.landmark(|outcome| outcome.softening_c),
                slip_point_c: ensemble.landmark(|outcome| outcome.slip_c),
                drop_point_c: ensemble.landmark(|outcome| outcome.drop_c),
                melt_end_c: ensemble.landmark(|outcome| outcome.end_c),
                clear_point_c: ensemble.landmark(|outcome| outcome.clear_c),
            },
            firmness: firmness.collect(),
            detail: DetailOutlook {
                finest_feature_mm: finite
                    .then(|| ensemble.estimate(|outcome| outcome.finest_mm.min(suitability::COARSEST_FEATURE_MM))),
                relief_mm: options.relief_mm,
                release_c: options.release_c,
                verdict: Verdict::from_probability(detail_probability),
                probability: detail_probability,
            },
            warmth: WarmthOutlook {
                hold_c: ensemble.landmark(|outcome| outcome.hold_c),
                wanted_c: options.hold_c,
                verdict: Verdict::from_probability(hold_probability),
                probability: hold_probability,
            },
            skin: SkinOutlook {
                temperature_c: parameters.skin.temperature_c,
                melted_percent: ensemble.estimate(|outcome| outcome.melted_percent),
                yield_stress_kpa: ensemble.estimate(|outcome| outcome.skin_kpa),
                verdict: named_feel(likeliest, feel_probability),
                likeliest,
                probability: feel_probability,
            },
            grain: GrainOutlook {
                verdict: GrainRisk::from_index(grain.value),
                risk: grain,
                symmetric_percent: content.symmetric_percent,
                wax_percent: content.wax_percent,
            },
            cautions: {
                let states = [options.state, options.release_state()];
                let known = known_off::sentences(self.library, formula, &parameters.known_off, &states);
                cautions::of(self.library, formula, &ensemble.central, known)
            },
            draws: options.draws,
            seed: options.seed,
            trials: self.model.maker.trials(),
            ensemble,
        }
    }
}

/// The feel that most draws agree on, that of the central draw first, and their share.
fn likeliest_feel<T>(spread: &Spread<T>, feel_of: impl Fn(&T) -> SkinFeel) -> (SkinFeel, f64) {
    let odds = |feel| (feel, spread.probability(|one| feel_of(one) == feel));
    let feels = [SkinFeel::Smears, SkinFeel::Glides, SkinFeel::Drags].map(odds);
    feels.into_iter().fold(odds(feel_of(&spread.central)), |most, one| if one.1 > most.1 { one } else { most })
}

/// The verdict of a likeliest feel with these odds.
fn named_feel(likeliest: SkinFeel, odds: f64) -> SkinFeel {
    if suitability::whole_percent(odds) < 100.0 * MIN_ODDS_OF_A_FEEL { SkinFeel::Open } else { likeliest }
}

/// Needle penetration; draws softer than the test allows count as its limit.
fn needle(ensemble: &Ensemble, index: usize) -> Option<Estimate> {
    ensemble.estimate_or(penetration::NEEDLE_LIMIT_DMM, |outcome| {
        penetration::needle_dmm_from_yield(outcome.yield_kpa[index])
    })
}

/// Shares of the bar that the grain rule needs.
struct Content {
    symmetric_percent: f64,
    wax_percent: f64,
}

impl Content {
    fn of(library: &Library, mixture: &Mixture) -> Self {
        let mut content = Content { symmetric_percent: 0.0, wax_percent: 0.0 };
        for (species, percent) in mixture.species_percent() {
            let Some(species) = library.species.get(species) else {
                continue;
            };
            let Some((_, family)) = species.crystal(CrystalState::Rested) else {
                continue;
            };
            if SYMMETRIC_FAMILIES.contains(&family) {
                content.symmetric_percent += percent;
            } else if !FAT_CLASSES.contains(&species.class.as_str()) {
                content.wax_percent += percent;
            }
        }
        content
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
    #![allow(clippy::float_cmp, reason = "shares of five draws")]
    use super::SkinFeel::{Drags, Glides, Open, Smears};
    use super::*;

    fn likeliest(central: SkinFeel, drawn: &[SkinFeel]) -> (SkinFeel, f64) {
        likeliest_feel(&Spread { central, drawn: drawn.to_vec() }, |feel| *feel)
    }

    #[test]
    fn the_likeliest_feel_is_that_of_most_draws_whatever_the_central_one_is() {
        let draws = [Glides, Drags, Glides, Smears, Glides];
        for central in [Smears, Glides, Drags] {
            assert_eq!(likeliest(central, &draws), (Glides, 0.6));
        }
        assert_eq!(likeliest(Glides, &[Smears, Smears, Glides, Smears, Smears]), (Smears, 0.8));
        assert_eq!(likeliest(Smears, &[Drags, Drags]), (Drags, 1.0));
        assert_eq!(likeliest(Drags, &[]), (Drags, 1.0));
    }

    #[test]
    fn of_two_feels_as_likely_the_central_one_is_named_and_else_the_softer() {
        let draws = [Smears, Drags, Glides, Drags, Smears];
        assert_eq!(likeliest(Smears, &draws), (Smears, 0.4));
        assert_eq!(likeliest(Drags, &draws), (Drags, 0.4));
        assert_eq!(likeliest(Glides, &draws), (Smears, 0.4));
    }

    #[test]
    fn a_feel_is_named_from_six_odds_in_ten() {
        for feel in [Smears, Glides, Drags] {
            assert_eq!([0.4, 0.594, 0.596, 1.0].map(|odds| named_feel(feel, odds)), [Open, Open, feel, feel]);
        }
    }

    #[test]
    fn every_number_of_threads_gives_the_same_answer() {
        let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
        let bar =
            barwright_reference::formula::read_inline("beeswax 26, palm stearin 30, olive oil 44", "bar", &library);
        let bar = &bar.unwrap().formulas[0];
        let options = Options { draws: 32, state: CrystalState::Fresh, ..Options::default() };
        let answers = [1, 3].map(|threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| {
                let bench = Workbench::new(&library, &model, options.clone()).unwrap();
                format!("{:?} {:?}", bench.assess(bar).unwrap(), bench.heat_curves(bar, 16).unwrap())
            })
        });
        assert!(answers[0] == answers[1]);
    }
}
