//! From the shelf to the mould: what to melt first, how hot, when to pour, and how long that lasts.
//!
//! | figure | how |
//! |---|---|
//! | order of melting | highest melting range first, so that the hardest dissolves while little else is there to be overheated |
//! | all dissolved | clear point of the blend in use ([`HeatCurves::clear_c`]) |
//! | held at | above that by a margin; hotter for a blend that may go grainy, so that no old crystal is left to seed it |
//! | first haze | clear point of the setting melt ([`HeatCurves::haze_c`]) |
//! | ceiling | the lowest of: water bath, flash point of a lot less a margin, what the mould takes |
//! | scent | goes in below its flash point less a margin, so the pour is no hotter |
//! | workable | a jug, stirred, open at the top, cools from the pour to the first haze ([`barwright_heat`]) |
//! | heat to melt | enthalpy from the room to the pour, along the curve in use |
//!
//! # Validity
//! A jug as high as it is wide, with a thin wall; waits for crystals and shear are left out.

use barwright_blend::assess::Workbench;
use barwright_blend::heat_curve::HeatCurves;
use barwright_blend::suitability::GrainRisk;
use barwright_blend::viscosity::{MeltViscosity, equal_viscosity};
use barwright_blend::{Assessment, Estimate};
use barwright_heat::{Ambient, Body, Branch, Crossing, Exposure, Faces, Probe, Shape, Task, Watch, solve};
use barwright_reference::{Formula, Ingredient, IngredientId, IngredientKind};
use schemars::JsonSchema;
use serde::{Serialize, Serializer};

use crate::MakingError;
use crate::bar;
use crate::cool::EMISSIVITY;
use crate::sinking::{Sinking, sinking};
use crate::spread::{Control, compute};

/// Highest temperature at which a water bath should hold a melt, °C (common practice, no source: 85 to 90).
pub const BATH_C: f64 = 90.0;

/// A melt stays this much below the flash point of anything in it, K (common practice, no source).
pub const FLASH_MARGIN_K: f64 = 10.0;

/// A melt is held this much above where the last crystal dissolves, K (common practice, no source).
const HELD_ABOVE_K: f64 = 10.0;

/// A blend that may go grainy is held at least this hot, so that no seed of the old crystals is left, °C (common practice, no source: shea 70 to 80).
pub const SEEDLESS_C: f64 = 70.0;

/// A melt is poured this much above the first haze, K (common practice, no source: 3 to 8).
const POURED_ABOVE_K: f64 = 5.0;

/// Below this melting point an ingredient is liquid at the bench, °C.
const LIQUID_BELOW_C: f64 = 20.0;

/// How long a jug is watched, s.
pub const JUG_WATCHED_S: f64 = 6.0 * 3600.0;

/// Conductivity that stands for stirring, W/mK: the jug has one temperature throughout.
const STIRRED_W_PER_MK: f64 = 100.0;

/// Share of a microwave's stated power that ends up in wax and oil, and its uncertainty as a factor either way (judgement: they take up little; the vessel
/// takes some).
const MICROWAVE_SHARE: f64 = 0.4;

/// One burst, s.
pub const BURST_S: f64 = 30.0;

/// Cells of a jug from its middle to a face: it has one temperature.
const CELLS: (usize, usize) = (1, 1);

/// A pour to plan.
#[derive(Debug, Clone, Copy)]
pub struct PourTask<'a> {
    /// The formula.
    pub formula: &'a Formula,
    /// A second melt poured into the same stream.
    pub second: Option<&'a Formula>,
    /// Mass in the jug, kg.
    pub mass_kg: f64,
    /// Air of the room, °C.
    pub room_c: f64,
    /// Highest temperature the mould withstands, °C.
    pub mould_most_c: Option<f64>,
    /// Flash point of a scent that is not in the formula, °C.
    pub flash_c: Option<f64>,
    /// Temperature of the pour, °C; without it, a little above the first haze.
    pub pour_c: Option<f64>,
}

/// One step of melting.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct MeltStep {
    /// The ingredient.
    #[serde(skip)]
    pub ingredient: IngredientId,
    /// Mass %.
    pub percent: f64,
    /// Upper end of its melting range, °C; `None` for what is liquid at the bench and for what does not melt.
    pub melts_c: Option<f64>,
    /// When it goes in.
    pub stage: Stage,
}

/// When an ingredient goes into the jug, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// It is melted.
    Melt,
    /// It is liquid, and goes into the melt.
    Liquid,
    /// A powder: wetted with a little of the melt, then stirred in.
    Powder,
    /// A scent: last, just before the pour.
    Scent,
}

/// What limits the temperature of a melt.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "because", content = "of")]
pub enum Limit {
    /// The water bath.
    Bath,
    /// The flash point of an ingredient's lot; its position in the library.
    Flash(
        #[serde(serialize_with = "position")]
        #[schemars(with = "usize")]
        IngredientId,
    ),
    /// The mould.
    Mould,
}

fn position<S: Serializer>(id: &IngredientId, serializer: S) -> Result<S::Ok, S::Error> {
    id.index().serialize(serializer)
}

/// Plan of a pour.
#[derive(Debug, Clone, PartialEq)]
pub struct Pouring {
    /// The formula as a bar, with its cautions.
    pub assessment: Assessment,
    /// What to melt, in order.
    pub order: Vec<MeltStep>,
    /// Temperature at which the last crystal dissolves, °C; `None` for what is liquid anyway.
    pub clear_c: Option<Estimate>,
    /// Temperature of the first haze as it cools, °C.
    pub haze_c: Option<Estimate>,
    /// Highest temperature it may reach, °C.
    pub ceiling_c: f64,
    /// What sets that limit.
    pub limit: Limit,
    /// Temperature to hold it at until all is dissolved, °C.
    pub hold_c: f64,
    /// Whether it is held hotter to dissolve old crystals: see [`SEEDLESS_C`].
    pub seeds: bool,
    /// Temperature of the pour, °C.
    pub pour_c: f64,
    /// Hottest the melt may be when the scent goes in, °C.
    pub scent_below_c: Option<f64>,
    /// Whether it can be melted below the ceiling and poured above the first haze.
    pub window: bool,
    /// Viscosity against temperature from the haze up.
    pub viscosity: MeltViscosity,
    /// Until the first haze in the jug, from the temperature it is held at, s.
    pub workable_s: Option<Estimate>,
    /// Until it has cooled from there to the pour, s.
    pub down_s: Option<Estimate>,
    /// Heat from the room to where it is held, J.
    pub heat_j: Estimate,
    /// Temperature at which the second melt is as thick as the first at the pour, °C.
    pub second_c: Option<Estimate>,
    /// First haze of the second melt, °C.
    pub second_haze_c: Option<Estimate>,
    /// How its powders sink.
    pub sinking: Vec<Sinking>,
}

impl Pouring {
    /// Number of bursts of a microwave, a first guess.
    ///
    /// # Arguments
    /// * `watt`: stated power, W.
    ///
    /// # Validity
    /// Within a factor of two either way: the share of the power that wax and oil take up is not known.
    pub fn bursts(&self, watt: f64) -> u32 {
        (self.heat_j.value / (MICROWAVE_SHARE * watt * BURST_S)).ceil().clamp(1.0, 1e6) as u32
    }
}

/// Times in a jug in one draw.
struct Jug {
    down_s: Option<f64>,
    haze_s: Option<f64>,
}

/// Plans melting and pouring.
///
/// # Arguments
/// * `bench`: draws and options.
/// * `task`: the melt and the jug.
/// * `control`: progress; may stop it.
///
/// # Errors
/// [`MakingError`]; [`MakingError::NotMelted`] for a pour below the clear point.
///
/// # Example
/// ```
/// use std::ops::ControlFlow;
/// use barwright_blend::assess::Workbench;
/// use barwright_blend::{Model, Options};
/// use barwright_making::pour::{PourTask, pour};
/// use barwright_reference::{Library, formula};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let bar = formula::read_inline("sunflower oil 44, beeswax 30, cocoa butter 26", "bar", &library)?;
/// let model = Model::builtin()?;
/// let bench = Workbench::new(&library, &model, Options { draws: 0, ..Options::default() })?;
/// let task = PourTask {
///     formula: &bar.formulas[0], second: None, mass_kg: 0.5, room_c: 20.0, mould_most_c: None, flash_c: None, pour_c: None,
/// };
/// let plan = pour(&bench, &task, &|_, _| ControlFlow::Continue(()))?;
/// assert_eq!(library.get(plan.order[0].ingredient).unwrap().key, "beeswax");
/// assert!(plan.window && plan.pour_c > plan.haze_c.unwrap().value && plan.hold_c < plan.ceiling_c + 0.01);
/// # Ok(())
/// # }
/// ```
pub fn pour(bench: &Workbench<'_>, task: &PourTask<'_>, control: Control<'_>) -> Result<Pouring, MakingError> {
    let draws = bench.options().draws;
    let library = bench.library();
    let known = |id: IngredientId| library.get(id);
    let curves = bench.heat_curves(task.formula, draws)?;
    // What dissolves below the room's temperature is liquid anyway.
    let warm = |one: &Estimate| one.value > task.room_c;
    let clear_c = curves.estimate_or(task.room_c, |one| one.clear_c).filter(warm);
    let haze_c = curves.estimate_or(task.room_c, |one| one.haze_c).filter(warm);
    let (ceiling_c, limit) = ceiling(task, known);
    let clear = clear_c.map_or(task.room_c, |clear| clear.value);
    let haze = haze_c.map_or(task.room_c, |haze| haze.value);
    if let Some(pour_c) = task.pour_c.filter(|pour_c| *pour_c < haze) {
        return Err(MakingError::NotMelted { pour_c, clear_c: haze });
    }
    let assessment = bench.assess(task.formula)?;
    let seeds = assessment.grain.verdict != GrainRisk::Low;
    let least_c = if seeds { SEEDLESS_C } else { f64::NEG_INFINITY };
    let hold_c = (clear + HELD_ABOVE_K).ceil().max(least_c).min(ceiling_c);
    let scent_below_c = task.flash_c.map(|flash_c| flash_c - FLASH_MARGIN_K);
    let hottest_c = scent_below_c.map_or(hold_c, |scent_c| scent_c.min(hold_c));
    let pour_c = task.pour_c.unwrap_or_else(|| (haze + POURED_ABOVE_K).ceil().min(hottest_c.max(haze)));
    let density = bar::density_kg_per_m3(library, task.formula);
    let start_c = hold_c.max(pour_c);
    let jug = compute(&curves, bench.options().seed, control, |_, one, factor| {
        jug(task, one, density, factor, start_c, pour_c)
    })?;
    let viscosity = bench.melt_viscosity(task.formula, draws)?;
    let (mut second_c, mut second_haze_c) = (None, None);
    if let Some(second) = task.second {
        second_c = equal_viscosity(&viscosity, pour_c, &bench.melt_viscosity(second, draws)?);
        second_haze_c = bench.heat_curves(second, draws)?.estimate_or(task.room_c, |one| one.haze_c);
    }
    let sinking = sinking(bench, task.formula, &viscosity, pour_c, haze);
    Ok(Pouring {
        sinking,
        assessment,
        order: melting_order(task.formula, known),
        clear_c,
        haze_c,
        ceiling_c,
        limit,
        hold_c,
        seeds,
        pour_c,
        scent_below_c,
        window: haze < hottest_c && clear < ceiling_c,
        viscosity,
        workable_s: jug.estimate_or(JUG_WATCHED_S, |one| one.haze_s),
        down_s: jug.estimate_or(JUG_WATCHED_S, |one| one.down_s),
        heat_j: curves.estimate(|one| task.mass_kg * one.heat_j_per_kg(&one.in_use, task.room_c, start_c)),
        second_c,
        second_haze_c,
    })
}

/// What to melt, the highest melting first, then the liquids, the powders and the scents, the largest share first.
///
/// # Arguments
/// * `formula`: parts in mass %.
/// * `known`: the ingredient of an id.
pub fn melting_order<'l>(formula: &Formula, known: impl Fn(IngredientId) -> Option<&'l Ingredient>) -> Vec<MeltStep> {
    let mut steps: Vec<MeltStep> = Vec::new();
    for part in &formula.parts {
        if let Some(step) = steps.iter_mut().find(|step| step.ingredient == part.ingredient) {
            step.percent += part.percent;
            continue;
        }
        let one = known(part.ingredient);
        let melts_c = one.map(|one| one.melt_high_c).filter(|melts_c| *melts_c > LIQUID_BELOW_C);
        let (stage, melts_c) = match one.map(|one| one.kind) {
            Some(IngredientKind::Scent) => (Stage::Scent, None),
            Some(IngredientKind::Powder) => (Stage::Powder, None),
            _ if melts_c.is_some() => (Stage::Melt, melts_c),
            _ => (Stage::Liquid, None),
        };
        steps.push(MeltStep { ingredient: part.ingredient, percent: part.percent, melts_c, stage });
    }
    steps.sort_by(|a, b| {
        let hot = |step: &MeltStep| step.melts_c.unwrap_or(f64::NEG_INFINITY);
        a.stage.cmp(&b.stage).then(hot(b).total_cmp(&hot(a))).then(b.percent.total_cmp(&a.percent))
    });
    steps
}

/// Highest temperature the melt may reach, °C, and what limits it.
fn ceiling<'l>(task: &PourTask<'_>, known: impl Fn(IngredientId) -> Option<&'l Ingredient>) -> (f64, Limit) {
    let flashes = task.formula.parts.iter().filter_map(|part| {
        let flash_c = known(part.ingredient)?.lot_flash_c?;
        Some((flash_c - FLASH_MARGIN_K, Limit::Flash(part.ingredient)))
    });
    let mould = task.mould_most_c.map(|most_c| (most_c, Limit::Mould));
    let bath = (BATH_C, Limit::Bath);
    flashes.chain(mould).fold(bath, |lowest, one| if one.0 < lowest.0 { one } else { lowest })
}

/// Follows a stirred jug from where it is held down to the first haze.
fn jug(
    task: &PourTask<'_>,
    curves: &HeatCurves,
    density: f64,
    factor: f64,
    start_c: f64,
    pour_c: f64,
) -> Result<Jug, MakingError> {
    if start_c <= task.room_c {
        return Ok(Jug { down_s: None, haze_s: None });
    }
    let stirred = bar::material_conducting(curves, density, STIRRED_W_PER_MK, STIRRED_W_PER_MK)?;
    // As high as wide.
    let side_m = (4.0 * task.mass_kg / density / std::f64::consts::PI).cbrt();
    let open = Exposure::natural(EMISSIVITY)?.scaled(factor)?;
    let shape = Shape::Puck { diameter_m: side_m, height_m: side_m };
    let body = Body::new(shape, stirred, None, Faces::all(open), bar::few_cells(shape, CELLS))?;
    let air = Ambient::constant(task.room_c)?;
    let falls = |level: f64| Watch { probe: Probe::Mean, crossing: Crossing::Falls, level };
    let watches: Vec<Watch> = std::iter::once(falls(pour_c)).chain(curves.haze_c.map(falls)).collect();
    let run = solve(
        &Task {
            branch: Branch::Cooling,
            watches: &watches,
            until_seen: true,
            ..Task::new(&body, &air, start_c, JUG_WATCHED_S)
        },
        &|_| std::ops::ControlFlow::Continue(()),
    )?;
    let event = |at: usize| run.events_s.get(at).copied().flatten();
    Ok(Jug { down_s: event(0), haze_s: event(1) })
}
