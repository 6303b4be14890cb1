//! A bar in the post: how warm its core gets along a route, how much of it melts, whether it keeps its shape, and what helps.
//!
//! Air gives its heat to the packing and the packing to the bar ([`crate::packing`], [`crate::ice_pack`], [`barwright_heat`]); the bar follows the curve of
//! the crystals it has, up and down. It fails when its mean temperature reaches that to which it keeps its shape
//! ([`HeatCurves::holds_c`]), in the same draw. Of several bars in a box the warmest is judged, one at a corner.
//!
//! # Validity
//! That temperature is meant for a day: a peak of an hour is judged strictly. What melts and sets again goes back along the same curve; in
//! reality it sets into other crystals, and may go grainy. Still air; no sun on the parcel itself beyond what the route's air says. Shocks and
//! weight on the box are left out.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicU64, Ordering};

use barwright_blend::assess::Workbench;
use barwright_blend::heat_curve::{HeatCurves, HeatPoint, at};
use barwright_blend::{Estimate, Spread};
pub use barwright_heat::Sample as Record;
use barwright_heat::ambient::Side;
use barwright_heat::{Ambient, Crossing, HeatError, Probe, Resolution, Run, Sample, Task, Watch, solve};
use barwright_reference::Formula;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use crate::MakingError;
use crate::bar;
use crate::cool::{ACCURACY, CELLS, MIDDLING_CELLS, ROUGH_ACCURACY};
use crate::grids::{Grid, Kind, MINUTE_S, Sweep, every_draw};
use crate::ice_pack::inside;
use crate::packing::Packing;
use crate::spread::{Control, Film};
use crate::times;

/// Thickness of the foam tried where it may help, m.
const TRIED_FOAM_M: f64 = 0.02;

/// An ice pack tried where it may help weighs as much as the bars, in whole steps of this, and two at the least, kg.
const ICE_STEP_KG: f64 = 0.1;

/// How long a route of one row is held, s: a day.
const HELD_S: f64 = 24.0 * HOUR_S;

/// Kinks of a route computed as they are; one of more is averaged over windows, since each kink ends a step of each run.
const MAX_KINKS: usize = 150;

/// Shortest window, s.
const MIN_WINDOW_S: f64 = 60.0;

/// Records of the central run, besides those at the kinks of the route.
const RECORDS: usize = 240;

/// Every how many records one is evaluated in a draw: enough to find the highest values.
const LOOKED_AT: usize = 4;

/// A route at least this long has a night, s.
const NIGHT_S: f64 = 23.0 * HOUR_S;

/// Hours at which a later dispatch is tried.
const STARTS: usize = 24;

/// A later dispatch that gains less than this is not offered, K.
const SPARES_K: f64 = 0.2;

/// Shortest side of a palm-sized bar, for which [`CELLS`] are meant, m.
const PALM_M: f64 = 0.02;

/// Cells of a large block are at most this much wider: what reaches into it in some hours is a matter of centimetres.
const MAX_WIDENED: f64 = 5.0;

/// Cells of a rough grid from the middle of the bars to a face, along their shortest side and along the others: a parcel is warmed from all sides alike.
const ROUGH_CELLS: (usize, usize) = (2, 1);

/// The same of a stack, of which one bar at a corner is looked at: fewer cells want more draws on the middling grid, and take longer in all.
const ROUGH_STACK_CELLS: (usize, usize) = (3, 2);

/// Largest number of cells, however fine.
const MAX_CELLS: usize = 200_000;

/// One hour, s.
const HOUR_S: f64 = 3600.0;

/// A parcel to send.
#[derive(Debug, Clone, Copy)]
pub struct ParcelTask<'a> {
    /// The formula.
    pub formula: &'a Formula,
    /// How it is packed.
    pub packing: Packing,
    /// Volume of one bar, ml: relief makes it less than its shape's. For masses only.
    pub bar_ml: f64,
    /// Temperature of the bars at the start, °C.
    pub start_c: f64,
    /// Time in s and temperature in °C, in order; two at one time are a step.
    pub route: &'a [(f64, f64)],
    /// Width of a cell of a palm-sized bar, m; as a rule that of [`CELLS`]. Larger blocks have wider ones.
    pub cell_m: f64,
    /// Whether every draw is run on a fine grid, which takes some twenty times as long: to check the others by.
    pub fine: bool,
}

/// One way to send it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "way", rename_all = "kebab-case")]
pub enum Way {
    /// As asked.
    AsAsked,
    /// Without the foam and the ice asked for.
    Bare,
    /// In other foam, with other ice.
    Packed {
        /// Foam, mm.
        foam_mm: f64,
        /// Ice, g.
        ice_g: f64,
    },
    /// As asked, sent later along the same route.
    Later {
        /// How much later, h.
        hours: f64,
    },
}

/// Outcome of one way to send it.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// The way.
    pub way: Way,
    /// Highest temperature in the middle, °C.
    pub core_c: Estimate,
    /// Highest mean temperature of the warmest bar, °C: it decides.
    pub warmest_bar_c: Estimate,
    /// Highest mean temperature of all bars, °C.
    pub mean_c: Estimate,
    /// Highest temperature anywhere in a bar, °C: its edges, or those of the bars at the outside of the box.
    pub edge_c: Estimate,
    /// Highest share melted.
    pub melted_share: Estimate,
    /// Share melted before it was sent.
    pub melted_before: Estimate,
    /// Probability that it keeps its shape, of several the warmest.
    pub keeps: f64,
    /// Until it fails, s; draws in which it does not count as the length of the route; `None` when it does not by the central model.
    pub fails_s: Option<Estimate>,
    /// Time at which the ice has melted, s.
    pub ice_gone_s: Option<f64>,
    /// The bar by the central model.
    pub history: Vec<Sample>,
    /// Mean temperature of the warmest bar against time: s and °C.
    pub course_c: Vec<(f64, Estimate)>,
    /// Largest gap of the heat balance in any draw, relative.
    pub energy_gap: f64,
}

/// Outcome of a parcel.
#[derive(Debug, Clone, PartialEq)]
pub struct Parcel {
    /// As asked.
    pub asked: Outcome,
    /// Every way tried, including the one asked for: the surest first.
    pub ways: Vec<Outcome>,
    /// Highest temperature at which it keeps its shape for a day, °C.
    pub holds_c: Option<Estimate>,
    /// Temperature up to which a formula would have to keep its shape to be safe as asked: the upper end of the highest mean temperature of the warmest bar, °C.
    pub needed_c: f64,
    /// Length of the route, s.
    pub length_s: f64,
    /// Air outside against time: s and °C, at the times of [`Outcome::history`].
    pub outside: Vec<(f64, f64)>,
    /// Lowest and highest air of the route, °C.
    pub extremes_c: (f64, f64),
    /// Windows the route was averaged over, s.
    pub window_s: Option<f64>,
    /// Mass of all bars, kg.
    pub bars_kg: f64,
    /// Whether all ways were tried.
    pub finished: bool,
}

/// Course of one draw.
struct Course {
    core_c: f64,
    warmest_bar_c: f64,
    mean_c: f64,
    edge_c: f64,
    melted_share: f64,
    melted_before: f64,
    fails_s: Option<f64>,
    /// Mean temperatures at the times of [`Around::looks_s`], °C.
    course_c: Vec<f64>,
}

/// Figures of a run besides the mean temperatures of its course.
const HIGHEST: [(Probe, Kind); 3] =
    [(Probe::Centre, Kind::Temperature), (Probe::Warmest, Kind::Temperature), (Probe::Melted, Kind::Share)];

/// Sends a bar along a route.
///
/// # Arguments
/// * `bench`: draws and options.
/// * `task`: the parcel and its route.
/// * `control`: progress; may stop it. When it does after the first answer, what was found so far is returned.
///
/// # Errors
/// [`MakingError`].
///
/// # Example
/// ```
/// use std::ops::ControlFlow;
/// use barwright_blend::assess::Workbench;
/// use barwright_blend::{Model, Options};
/// use barwright_making::{Packing, ParcelTask, parcel};
/// use barwright_reference::{Library, formula, mould::BarShape};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let bar = formula::read_inline("beeswax 26, mango butter 32, sunflower oil 42", "bar", &library)?;
/// let model = Model::builtin()?;
/// let bench = Workbench::new(&library, &model, Options { draws: 0, ..Options::default() })?;
/// let shape = BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 };
/// let task = ParcelTask {
///     formula: &bar.formulas[0],
///     packing: Packing { shape, bars: 1, foam_m: 0.0, ice_kg: 0.0 },
///     bar_ml: shape.volume_ml(),
///     start_c: 22.0,
///     route: &[(0.0, 25.0), (7200.0, 60.0), (86400.0, 60.0)],
///     cell_m: 3e-3,
///     fine: false,
/// };
/// let found = parcel(&bench, &task, &|_, _| ControlFlow::Continue(()))?;
/// assert_eq!(found.asked.keeps, 0.0);
/// assert!(found.ways[0].mean_c.value < found.asked.mean_c.value);
/// # Ok(())
/// # }
/// ```
pub fn parcel(bench: &Workbench<'_>, task: &ParcelTask<'_>, control: Control<'_>) -> Result<Parcel, MakingError> {
    let (air, window_s) = air(task.route)?;
    let length_s = task.route.last().map(|row| row.0).filter(|length| *length > 0.0).unwrap_or(HELD_S);
    let curves = bench.heat_curves(task.formula, bench.options().draws)?;
    let density = bar::density_kg_per_m3(bench.library(), task.formula);
    let packing = task.packing;
    let bars_kg = 1e-6 * density * task.bar_ml * f64::from(packing.bars);
    let wanted = others(&packing, bars_kg);
    let night = length_s >= NIGHT_S && window_s.is_none_or(|window| window < HOUR_S);
    let runs = 1 + wanted.len() + usize::from(night);
    let film = Film::new(bench.options().seed, curves.drawn.len());
    let runner = Runner { task, curves: &curves, film, density, length_s, runs, control };

    let asked = runner.outcome(0, Way::AsAsked, &packing, &air)?;
    let needed_c = asked.warmest_bar_c.high;
    let mut ways = vec![asked.clone()];
    let mut finished = true;
    let mut tried = |found: Result<Option<Outcome>, MakingError>| match found {
        Ok(found) => {
            ways.extend(found);
            Ok(true)
        }
        Err(MakingError::Stopped) => {
            finished = false;
            Ok(false)
        }
        Err(error) => Err(error),
    };
    let mut go_on = true;
    for (number, (way, other)) in wanted.iter().enumerate() {
        go_on = go_on && tried(runner.outcome(1 + number, *way, other, &air).map(Some))?;
    }
    if night && go_on {
        tried(runner.later(runs - 1, &air, &asked))?;
    }
    ways.sort_by(|a, b| b.keeps.total_cmp(&a.keeps).then(a.warmest_bar_c.value.total_cmp(&b.warmest_bar_c.value)));
    let outside = asked.history.iter().map(|one| (one.time_s, air.temperature_c(one.time_s, Side::After)));
    Ok(Parcel {
        outside: outside.collect(),
        extremes_c: air.extremes_c(),
        asked,
        ways,
        holds_c: curves.estimate_or(f64::NAN, HeatCurves::holds_c),
        needed_c,
        length_s,
        window_s,
        bars_kg,
        finished,
    })
}

/// The air along a route, and the windows it was averaged over.
fn air(route: &[(f64, f64)]) -> Result<(Ambient, Option<f64>), HeatError> {
    match Ambient::route(route) {
        Ok(air) if air.kinks_s().len() <= MAX_KINKS => Ok((air, None)),
        Ok(_) | Err(HeatError::TooManyRows { .. }) => {
            let length_s = route.last().map_or(0.0, |row| row.0);
            let window_s = (length_s / (MAX_KINKS - 2) as f64).max(MIN_WINDOW_S);
            Ok((Ambient::averaged(route, window_s)?, Some(window_s)))
        }
        Err(error) => Err(error),
    }
}

/// Cells for a block: as fine over its shortest side as those of `cell_m` are over that of a palm-sized bar. More may be had where finer ones are asked for.
fn cells(cell_m: f64, packing: &Packing) -> Resolution {
    let finer = (CELLS.cell_m / cell_m).max(1.0);
    let most_cells = ((CELLS.most_cells as f64 * finer.powi(3)) as usize).min(MAX_CELLS);
    Resolution { cell_m: cell_m * (packing.shortest_m() / PALM_M).clamp(1.0, MAX_WIDENED), most_cells, ..CELLS }
}

/// Other ways to pack it.
fn others(asked: &Packing, bars_kg: f64) -> Vec<(Way, Packing)> {
    let mut ways = Vec::new();
    if asked.lined() {
        ways.push((Way::Bare, Packing { foam_m: 0.0, ice_kg: 0.0, ..*asked }));
    }
    let more_kg = ICE_STEP_KG * (bars_kg / ICE_STEP_KG).ceil().max(2.0);
    let (foam_m, ice_kg) = (asked.foam_m + TRIED_FOAM_M, asked.ice_kg + more_kg);
    for (foam_m, ice_kg) in [(foam_m, asked.ice_kg), (asked.foam_m, ice_kg), (foam_m, ice_kg)] {
        ways.push((Way::Packed { foam_mm: 1e3 * foam_m, ice_g: 1e3 * ice_kg }, Packing { foam_m, ice_kg, ..*asked }));
    }
    ways
}

/// The same air from a later time on, its start appended to its end, as if every day were the same.
fn begun_later(air: &Ambient, length_s: f64, shift_s: f64) -> Result<Ambient, HeatError> {
    let mut times_s: Vec<f64> = air.kinks_s().to_vec();
    times_s.dedup();
    let later = times_s.iter().filter(|time| **time > shift_s).map(|&time_s| (time_s, time_s - shift_s));
    let sooner = times_s.iter().filter(|time| **time < shift_s).map(|&time_s| (time_s, time_s + length_s - shift_s));
    let mut rows = vec![(0.0, air.temperature_c(shift_s, Side::After))];
    let mut add = |at_s: f64, before_c: f64, after_c: f64| {
        rows.push((at_s, before_c));
        if after_c != before_c {
            rows.push((at_s, after_c));
        }
    };
    for (time_s, at_s) in later.filter(|(time_s, _)| *time_s < length_s) {
        add(at_s, air.temperature_c(time_s, Side::Before), air.temperature_c(time_s, Side::After));
    }
    // From the end of the route to its start.
    add(length_s - shift_s, air.temperature_c(length_s, Side::Before), air.temperature_c(0.0, Side::After));
    for (time_s, at_s) in sooner.filter(|(time_s, _)| *time_s > 0.0) {
        add(at_s, air.temperature_c(time_s, Side::Before), air.temperature_c(time_s, Side::After));
    }
    rows.push((length_s, air.temperature_c(shift_s, Side::Before)));
    for row in &mut rows {
        row.0 = row.0.min(length_s);
    }
    // Moments that rounding brings to one time are one step.
    let steps = rows.chunk_by(|one, next| one.0 == next.0);
    let ends = steps.flat_map(|step| step.first().into_iter().chain(step.last().filter(|_| step.len() > 1)));
    Ambient::route(&ends.copied().collect::<Vec<_>>())
}

/// Everything that all ways have in common.
struct Runner<'a> {
    task: &'a ParcelTask<'a>,
    curves: &'a Spread<HeatCurves>,
    film: Film,
    density: f64,
    length_s: f64,
    /// Ways in all, for the progress.
    runs: usize,
    control: Control<'a>,
}

impl Runner<'_> {
    /// One way in all draws; `number` of them are done.
    fn outcome(&self, number: usize, way: Way, packing: &Packing, air: &Ambient) -> Result<Outcome, MakingError> {
        let around = Around::new(packing, air, self.length_s)?;
        let control = |done: usize, total: usize| (self.control)(number * total + done, self.runs * total);
        let central = self.run(packing, &around, &self.curves.central, 1.0, Grid::Fine, &around.records_s)?;
        // All gaps are positive, and so in the order of their bits.
        let gap = AtomicU64::new(central.energy.relative_gap.to_bits());
        let temperatures = around.looks_s.iter().map(|_| Kind::Temperature);
        let fails = Kind::Time { watched_s: self.length_s, added_s: MINUTE_S };
        // Of several bars the mean of all comes last.
        let of_all = (packing.bars > 1).then_some(Probe::Mean);
        let kinds = HIGHEST.iter().map(|one| one.1).chain([fails]).chain(temperatures);
        let kinds: Vec<Kind> = kinds.chain(of_all.map(|_| Kind::Temperature)).collect();
        let figures = |run: &Run, course_c: &[f64]| -> Vec<Option<f64>> {
            let fails_s = run.events_s.first().copied().flatten();
            let known = HIGHEST.iter().map(|one| Some(highest(run, one.0)));
            let of_all = of_all.map(|probe| Some(highest(run, probe)));
            known.chain([fails_s]).chain(course_c.iter().copied().map(Some)).chain(of_all).collect()
        };
        // The central run is looked at more often, those times among them to the last bit.
        let looks = central.samples.iter().filter(|one| around.looks_s.contains(&one.time_s));
        let course_c: Vec<f64> = looks.map(|one| one.corner_bar_c).collect();
        let fine = figures(&central, &course_c);
        let sweep = Sweep { curves: self.curves, film: &self.film, fine: self.task.fine };
        let drawn = every_draw(sweep, &fine, &control, &kinds, 0, |curves, factor, grid| {
            let run = self.run(packing, &around, curves, factor, grid, &around.looks_s)?;
            gap.fetch_max(run.energy.relative_gap.to_bits(), Ordering::Relaxed);
            let course_c: Vec<f64> = run.samples.iter().map(|one| one.corner_bar_c).collect();
            Ok(figures(&run, &course_c))
        })?;
        let drawn = drawn.iter().zip(&self.curves.drawn).map(|(figures, curves)| self.course(figures, curves, &around));
        let middle = Course {
            warmest_bar_c: highest(&central, Probe::CornerBar),
            mean_c: highest(&central, Probe::Mean),
            fails_s: central.events_s.first().copied().flatten(),
            ..self.course(&fine, &self.curves.central, &around)
        };
        let found = Spread { central: middle, drawn: drawn.collect() };
        let mean_c = |look: usize| found.estimate(|one| one.course_c.get(look).copied().unwrap_or(f64::NAN));
        Ok(Outcome {
            way,
            core_c: found.estimate(|one| one.core_c),
            warmest_bar_c: found.estimate(|one| one.warmest_bar_c),
            mean_c: found.estimate(|one| one.mean_c),
            edge_c: found.estimate(|one| one.edge_c),
            melted_share: found.estimate(|one| one.melted_share),
            melted_before: found.estimate(|one| one.melted_before),
            keeps: found.probability(|one| one.fails_s.is_none()),
            fails_s: found.estimate_or(self.length_s, |one| one.fails_s),
            ice_gone_s: around.ice_gone_s,
            course_c: around.looks_s.iter().enumerate().map(|(look, &time_s)| (time_s, mean_c(look))).collect(),
            energy_gap: f64::from_bits(gap.into_inner()),
            history: central.samples,
        })
    }

    /// The best hour to send it, if a later one gains anything.
    fn later(&self, number: usize, air: &Ambient, asked: &Outcome) -> Result<Option<Outcome>, MakingError> {
        let packing = &self.task.packing;
        let (low_c, high_c) = air.extremes_c();
        if high_c - low_c < SPARES_K {
            return Ok(None);
        }
        let starts: Vec<f64> =
            (1..STARTS).map(|hour| hour as f64 * HOUR_S).filter(|shift| *shift < self.length_s).collect();
        // A rough grid tells which hour is best.
        let tried: Vec<Result<(f64, Ambient, f64), MakingError>> = starts
            .into_par_iter()
            .map(|shift_s| {
                let air = begun_later(air, self.length_s, shift_s)?;
                let around = Around::new(packing, &air, self.length_s)?;
                let run = self.run(packing, &around, &self.curves.central, 1.0, Grid::Rough, &around.looks_s)?;
                Ok((highest(&run, Probe::CornerBar), air, shift_s))
            })
            .collect();
        let tried = tried.into_iter().collect::<Result<Vec<_>, _>>()?;
        let Some((_, air, shift_s)) = tried.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)) else { return Ok(None) };
        let around = Around::new(packing, &air, self.length_s)?;
        let run = self.run(packing, &around, &self.curves.central, 1.0, Grid::Fine, &around.looks_s)?;
        if highest(&run, Probe::CornerBar) >= asked.warmest_bar_c.value - SPARES_K {
            return Ok(None);
        }
        self.outcome(number, Way::Later { hours: shift_s / HOUR_S }, packing, &air).map(Some)
    }

    /// Follows the bars of one draw.
    fn run(
        &self,
        packing: &Packing,
        around: &Around,
        curves: &HeatCurves,
        factor: f64,
        grid: Grid,
        samples_s: &[f64],
    ) -> Result<Run, MakingError> {
        let (cells, accuracy) = match grid {
            Grid::Rough if packing.bars > 1 => (packing.few_cells(ROUGH_STACK_CELLS), ROUGH_ACCURACY),
            Grid::Rough => (packing.few_cells(ROUGH_CELLS), ROUGH_ACCURACY),
            Grid::Middling => (packing.few_cells(MIDDLING_CELLS), ACCURACY),
            Grid::Fine => (cells(self.task.cell_m, packing), ACCURACY),
        };
        let body = packing.body(bar::material(curves, self.density)?, factor, cells)?;
        let holds = curves.holds_c().map(|level| Watch { probe: Probe::CornerBar, crossing: Crossing::Rises, level });
        let watches: Vec<Watch> = holds.into_iter().collect();
        let task = Task::new(&body, &around.air, self.task.start_c, self.length_s);
        Ok(solve(&Task { samples_s, watches: &watches, accuracy, ..task }, &|_| ControlFlow::Continue(()))?)
    }

    /// What becomes of the bars of one draw by its figures: whether they fail is told by their mean temperature, when, by the run as far as it knows.
    fn course(&self, figures: &[Option<f64>], curves: &HeatCurves, around: &Around) -> Course {
        let figure = |at: usize| figures.get(at).copied().flatten();
        let mut rest = figures.iter().skip(HIGHEST.len() + 1).map(|mean_c| mean_c.unwrap_or(f64::NAN));
        let course_c: Vec<f64> = rest.by_ref().take(around.looks_s.len()).collect();
        let warmest_bar_c = course_c.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let reached_s = curves.holds_c().and_then(|holds_c| rises_s(&around.looks_s, &course_c, holds_c));
        Course {
            core_c: figure(0).unwrap_or(f64::NAN),
            warmest_bar_c,
            mean_c: rest.next().unwrap_or(warmest_bar_c),
            edge_c: figure(1).unwrap_or(f64::NAN),
            melted_share: figure(2).unwrap_or(f64::NAN),
            melted_before: at(&curves.in_use, self.task.start_c, HeatPoint::melted_share),
            fails_s: reached_s.map(|reached_s| figure(HIGHEST.len()).unwrap_or(reached_s)),
            course_c,
        }
    }
}

/// Highest value of a probe along a run.
fn highest(run: &Run, of: Probe) -> f64 {
    run.samples.iter().chain([&run.last]).map(|one| one.value(of)).fold(f64::NEG_INFINITY, f64::max)
}

/// When a course first reaches a level, s, by a straight line between the times it is known at.
fn rises_s(times_s: &[f64], course_c: &[f64], level_c: f64) -> Option<f64> {
    let after = course_c.iter().position(|&mean_c| mean_c >= level_c)?;
    let reached = times_s.get(after).copied().zip(course_c.get(after).copied());
    let before =
        after.checked_sub(1).and_then(|before| times_s.get(before).copied().zip(course_c.get(before).copied()));
    match (before, reached) {
        (Some((from_s, from_c)), Some((to_s, to_c))) => {
            Some(from_s + (to_s - from_s) * (level_c - from_c) / (to_c - from_c))
        }
        (None, reached) => reached.map(|(at_s, _)| at_s),
        (Some(_), None) => None,
    }
}

/// The air the bars are in, and when it is looked at.
struct Around {
    air: Ambient,
    ice_gone_s: Option<f64>,
    /// In the central run.
    records_s: Vec<f64>,
    /// In a draw.
    looks_s: Vec<f64>,
}

impl Around {
    fn new(packing: &Packing, outside: &Ambient, length_s: f64) -> Result<Self, HeatError> {
        let (air, ice_gone_s) = match packing.paths() {
            Some(paths) if packing.ice_kg > 0.0 => {
                let inside = inside(outside, length_s, packing.ice_kg, paths)?;
                (inside.air, inside.melted_s)
            }
            _ => (outside.clone(), None),
        };
        let [records_s, looks_s] = [RECORDS, RECORDS / LOOKED_AT].map(|count| times::along(outside, length_s, count));
        Ok(Around { air, ice_gone_s, records_s, looks_s })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 3000, failure_persistence: None, ..ProptestConfig::default() })]

        /// Whatever its length and its kinks, also those at rounding's distance from each other, from its ends and from the new start.
        #[test]
        fn any_route_can_be_begun_later(
            shares in prop::collection::vec(prop_oneof![0.0..1.0_f64, 0.0..1e-15_f64, Just(0.5)], 1..12),
            length_s in 1.0..1e6_f64,
            part in prop_oneof![0.001..0.999_f64, Just(0.5)],
        ) {
            let mut times_s: Vec<f64> = shares.iter().map(|share| share * length_s).collect();
            times_s.extend([0.0, length_s, (part * length_s).next_down(), (part * length_s).next_up()]);
            times_s.sort_by(f64::total_cmp);
            times_s.dedup();
            let rows: Vec<(f64, f64)> = times_s.iter().zip(0..).map(|(&time_s, row)| (time_s, f64::from(row % 2))).collect();
            let later = begun_later(&Ambient::route(&rows).unwrap(), length_s, part * length_s);
            prop_assert!(later.is_ok(), "{later:?}");
            let (low_c, high_c) = later.unwrap().extremes_c();
            prop_assert!(low_c >= 0.0 && high_c <= 1.0);
        }
    }

    #[test]
    fn a_route_of_many_rows_is_averaged_and_one_of_few_is_not() {
        let route = |rows: usize, apart_s: f64| -> Vec<(f64, f64)> {
            (0..rows).map(|row| (apart_s * row as f64, 20.0 + (row % 2) as f64)).collect()
        };
        let few = air(&route(MAX_KINKS, 3600.0)).unwrap();
        assert_eq!((few.1, few.0.kinks_s().len() <= MAX_KINKS), (None, true));
        // 1479 hours in 148 windows.
        let (averaged, window_s) = air(&route(1480, 3600.0)).unwrap();
        assert_eq!(window_s, Some(1479.0 * 3600.0 / 148.0));
        assert!(averaged.kinks_s().len() <= MAX_KINKS, "{}", averaged.kinks_s().len());
        // Never shorter than a minute.
        assert_eq!(air(&route(1480, 1.0)).unwrap().1, Some(MIN_WINDOW_S));
    }

    /// More foam, more ice, both; what is lined is also tried bare. Each way is packed as its words say.
    #[test]
    fn every_way_is_packed_as_it_says() {
        let shape = barwright_reference::mould::BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 };
        let lined = Packing { shape, bars: 2, foam_m: 0.01, ice_kg: 0.25 };
        let packed = |foam_m: f64, ice_kg: f64| {
            (Way::Packed { foam_mm: 1e3 * foam_m, ice_g: 1e3 * ice_kg }, Packing { foam_m, ice_kg, ..lined })
        };
        let (foam_m, ice_kg) = (0.01 + TRIED_FOAM_M, 0.25 + 2.0 * ICE_STEP_KG);
        let both = [packed(foam_m, 0.25), packed(0.01, ice_kg), packed(foam_m, ice_kg)];
        let bare = Packing { foam_m: 0.0, ice_kg: 0.0, ..lined };
        assert_eq!(others(&lined, 0.1), [[(Way::Bare, bare)].as_slice(), &both].concat());
        assert_eq!(others(&bare, 0.1).len(), 3);
        // As much ice as there are bars, in whole packs, two at least.
        let ice = |bars_kg: f64| others(&bare, bars_kg)[1].1.ice_kg / ICE_STEP_KG;
        assert_eq!([1.0, 2.0, 2.5, 7.0].map(|packs| ice(packs * ICE_STEP_KG).round()), [2.0, 2.0, 3.0, 7.0]);
    }

    #[test]
    fn cells_go_with_the_shortest_side_of_the_block() {
        let palm = barwright_reference::mould::BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 };
        let bars = |bars: u32| Packing { shape: palm, bars, foam_m: 0.0, ice_kg: 0.0 };
        let one = cells(3e-3, &bars(1));
        assert_eq!((one.cell_m, one.most_cells), (3e-3, CELLS.most_cells));
        // Half as wide, eight times as many.
        let finer = cells(0.5 * CELLS.cell_m, &bars(1));
        assert_eq!((finer.cell_m, finer.most_cells), (0.5 * CELLS.cell_m, 8 * CELLS.most_cells));
        assert_eq!(cells(1e-5, &bars(1)).most_cells, MAX_CELLS);
        // A block three times as thick has cells three times as wide, and a large one five times.
        let stack = bars(6);
        assert!((cells(3e-3, &stack).cell_m - 3e-3 * stack.shortest_m() / PALM_M).abs() < 1e-12);
        assert!(stack.shortest_m() > 2.5 * PALM_M);
        assert_eq!(cells(3e-3, &bars(1000)).cell_m, MAX_WIDENED * 3e-3);
    }

    #[test]
    fn a_route_begun_later_is_the_same_air_at_another_time() {
        let rows = [(0.0, 20.0), (10.0, 30.0), (10.0, 25.0), (30.0, 40.0), (50.0, 22.0)];
        let air = Ambient::route(&rows).unwrap();
        for shift_s in [5.0, 10.0, 30.0, 47.0] {
            let later = begun_later(&air, 50.0, shift_s).unwrap();
            for step in 0..100 {
                let time_s = 0.5 * f64::from(step) + 0.1;
                let was_s = (time_s + shift_s) % 50.0;
                let (was_c, is_c) = (air.temperature_c(was_s, Side::After), later.temperature_c(time_s, Side::After));
                assert!((was_c - is_c).abs() < 1e-9, "{shift_s} {time_s}: {was_c} {is_c}");
            }
        }
    }
}
