//! From the shelf to the mould: what to melt first, how hot, when to pour, and how long that lasts.
//!
//! | figure | how |
//! |---|---|
//! | order of melting | highest melting range first, so that the hardest dissolves while little else is there to be overheated |
//! | all dissolved | clear point of the blend in use ([`HeatCurves::clear_c`]) |
//! | held at | above that by a margin; hotter for a blend that may go grainy, so that no old crystal is left to seed it |
//! | first haze | clear point of the setting melt ([`HeatCurves::haze_c`]) |
//! | ceiling | the lowest of: water bath, flash point of a lot less a margin, what the mould takes |
//! | scent | goes in below its flash point less a margin, so the pour is no hotter; until the first haze, in the jug, in the jug with a lid, in half of it |
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

/// Resistance of a lid with the air below it, m²K/W (own figure: still air of 10 mm, less half for convection and radiation).
const LID_M2K_PER_W: f64 = 0.2;

/// A melt is held this much above where the last crystal dissolves, K (common practice, no source).
const HELD_ABOVE_K: f64 = 10.0;

/// A blend that may go grainy is held at least this hot, so that no seed of the old crystals is left, °C (common practice, no source: shea 70 to 80).
pub const SEEDLESS_C: f64 = 70.0;

/// A melt is poured this much above the first haze, K (common practice, no source: 3 to 8).
pub const POURED_ABOVE_K: f64 = 5.0;

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

/// How long a scent may be stirred in and poured, s; `None` for longer than a jug is watched.
#[derive(Debug, Clone, PartialEq)]
pub struct ScentTime {
    /// In the jug.
    pub jug_s: Option<Estimate>,
    /// With a lid on it.
    pub lid_s: Option<Estimate>,
    /// In one of half the mass.
    pub half_s: Option<Estimate>,
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
    /// Flash point from which a scent lets it be poured as it is without one, °C.
    pub flash_needed_c: Option<f64>,
    /// How long a scent may be stirred in and poured: until the first haze, from where it may go in; `None` without a scent or a window for it.
    pub scent_time: Option<ScentTime>,
    /// Whether it can be melted below the ceiling and poured above the first haze, with the scent in it.
    pub window: bool,
    /// Whether it can be without the scent.
    pub melts: bool,
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

/// A stirred jug, as high as wide, that cools in the room.
#[derive(Clone, Copy)]
struct Cooling {
    mass_kg: f64,
    density: f64,
    lid: bool,
    room_c: f64,
    start_c: f64,
    pour_c: f64,
}

/// Plans melting and pouring.
///
/// # Arguments
/// * `bench`: draws and options.
/// * `task`: the melt and the jug.
/// * `control`: progress; may stop it.
///
/// # Errors
/// [`MakingError`]; [`MakingError::NotMelted`] for a pour below the clear point, [`MakingError::TooHotForScent`] for one above what the scent takes.
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
    // A scent that can go in nowhere is left out, and limits nothing.
    let scent_c = scent_below_c.filter(|scent_c| haze < scent_c.min(hold_c));
    let pour_c = match (task.pour_c, scent_c) {
        (Some(pour_c), Some(most_c)) if pour_c > most_c => {
            return Err(MakingError::TooHotForScent { pour_c, most_c });
        }
        (Some(pour_c), _) => pour_c,
        (None, _) => {
            (haze + POURED_ABOVE_K).ceil().min(scent_c.map_or(hold_c, |scent_c| scent_c.min(hold_c)).max(haze))
        }
    };
    let cooling = Cooling {
        mass_kg: task.mass_kg,
        density: bar::density_kg_per_m3(library, task.formula),
        lid: false,
        room_c: task.room_c,
        start_c: hold_c.max(pour_c),
        pour_c,
    };
    let start_c = cooling.start_c;
    let runs = if scent_c.is_some() { 4 } else { 1 };
    let cooled = |run: usize, cooling: Cooling| {
        let part = |done: usize, total: usize| control(run * total + done, runs * total);
        compute(&curves, bench.options().seed, &part, |_, one, factor| jug(&cooling, one, factor))
    };
    let jug = cooled(0, cooling)?;
    let until_haze = |run: usize, cooling: Cooling| {
        Ok::<_, MakingError>(cooled(run, cooling)?.estimate_or(JUG_WATCHED_S, |one| one.haze_s))
    };
    let scented = |scent_c: f64| {
        let jug = Cooling { start_c: scent_c.min(start_c), ..cooling };
        Ok::<_, MakingError>(ScentTime {
            jug_s: until_haze(1, jug)?,
            lid_s: until_haze(2, Cooling { lid: true, ..jug })?,
            half_s: until_haze(3, Cooling { mass_kg: 0.5 * jug.mass_kg, ..jug })?,
        })
    };
    let scent_time = scent_c.map(scented).transpose()?;
    let melts = clear < ceiling_c;
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
        flash_needed_c: task.flash_c.map(|_| (haze + POURED_ABOVE_K + FLASH_MARGIN_K).ceil()),
        window: melts && scent_below_c.is_none_or(|_| scent_time.is_some()),
        scent_time,
        melts,
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

/// Follows a stirred jug down to the first haze.
fn jug(task: &Cooling, curves: &HeatCurves, factor: f64) -> Result<Jug, MakingError> {
    let Cooling { density, start_c, pour_c, .. } = *task;
    if start_c <= task.room_c {
        return Ok(Jug { down_s: None, haze_s: None });
    }
    let stirred = bar::material_conducting(curves, density, STIRRED_W_PER_MK, STIRRED_W_PER_MK)?;
    // As high as wide.
    let side_m = (4.0 * task.mass_kg / density / std::f64::consts::PI).cbrt();
    let open = Exposure::natural(EMISSIVITY)?.scaled(factor)?;
    let shape = Shape::Puck { diameter_m: side_m, height_m: side_m };
    let top = if task.lid { open.wrapped(LID_M2K_PER_W)? } else { open };
    let faces = Faces { top, ..Faces::all(open) };
    let body = Body::new(shape, stirred, None, faces, bar::few_cells(shape, CELLS))?;
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
