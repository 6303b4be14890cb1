//! From the poured melt to a bar that can leave the mould.
//!
//! The melt fills the mould at the temperature of the pour; conduction takes its heat into the mould's wall, the air and the board it stands on
//! ([`barwright_heat`]). It follows the curve of the setting melt.
//!
//! | moment | when |
//! |---|---|
//! | skin | the open face is, on average, as cold as the temperature at which crystals just hold the oil |
//! | set through | the warmest spot is as cold as that |
//! | can leave the mould | the warmest spot is firm enough, fresh, for the relief asked for ([`barwright_blend::suitability`]) |
//!
//! # Validity
//! Still air, a mould of silicone on a board; moulds apart by a hand's breadth. Currents in the melt are left out, so the first minutes are slower than in
//! reality. The melt sets where its crystals are at equilibrium: waits for the first crystal to form (minutes in wax, up to an hour in pure soft
//! butters) are left out.

use barwright_blend::assess::Workbench;
use barwright_blend::heat_curve::HeatCurves;
use barwright_blend::suitability::GrainRisk;
use barwright_blend::{Assessment, Estimate, Spread};
use barwright_heat::body::MIN_CELLS_TO_MIDDLE;
use barwright_heat::humidity::dew_point_c;
use barwright_heat::{
    Accuracy, Ambient, Body, Branch, Crossing, Exposure, Faces, Probe, Resolution, Sample, Start, Task, Watch, solve,
};
use barwright_reference::Formula;
use barwright_reference::mould::Mould;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::MakingError;
use crate::bar;
use crate::grids::{Grid, Kind, MINUTE_S, Sweep, every_draw};
use crate::spread::{Control, Film};

/// How long a bar is watched, s: a day.
pub const WATCHED_S: f64 = 24.0 * 3600.0;

/// Emissivity of wax, silicone and paper (recalled).
pub const EMISSIVITY: f64 = 0.95;

/// Resistance of the board under the mould, m²K/W: 15 mm of wood at 0.15 W/mK (recalled).
const BOARD_M2K_PER_W: f64 = 0.1;

/// Coefficient of fan air, W/m²K (recalled: 15 to 30).
const FAN_W_PER_M2K: f64 = 20.0;

/// Records of the history: dense at first, when everything moves.
const RECORDS: usize = 240;

/// Cells of a bar: times are within 1 % of those with cells of 1 mm, far less than the uncertainty of the film.
pub const CELLS: Resolution =
    Resolution { cell_m: 3e-3, most_cells: 3000, whole: false, min_to_middle: [MIN_CELLS_TO_MIDDLE; 3] };

/// Local error of a step: times are within 2 % of those with the usual one.
pub(crate) const ACCURACY: Accuracy = Accuracy { temperature_k: 0.2, melted_share: 0.02 };

/// Cells of a rough grid from the middle of the bar to a face, along its shortest side and along the others.
const ROUGH_CELLS: (usize, usize) = (3, 2);

/// The same of a middling grid.
pub(crate) const MIDDLING_CELLS: (usize, usize) = (5, 5);

/// The same on a rough grid.
pub(crate) const ROUGH_ACCURACY: Accuracy = Accuracy { temperature_k: 0.5, melted_share: 0.05 };

/// Between these temperatures the slow growth of coarse crystals is decided, °C (common practice, no source).
const GRAIN_C: (f64, f64) = (40.0, 20.0);

/// A bar never quite reaches the temperature of its air: it counts as cooled when this near to it, K. Where that is no colder than the upper of [`GRAIN_C`], it is never cooled through.
const NEAR_K: f64 = 3.0;

/// Time between [`GRAIN_C`] that halves the risk of grain of very slow cooling, s (common practice, no source: a fridge takes less, a warm kitchen
/// more).
const QUICK_S: f64 = 3600.0;

/// Where a bar can cool.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Place {
    /// Its name.
    pub name: String,
    /// Its air, °C.
    pub air_c: f64,
    /// Whether a fan moves it.
    #[serde(default)]
    pub fan: bool,
}

/// A bar to cool.
#[derive(Debug, Clone, Copy)]
pub struct CoolTask<'a> {
    /// The formula.
    pub formula: &'a Formula,
    /// The mould.
    pub mould: &'a Mould,
    /// Temperature of the melt in the mould, °C.
    pub pour_c: f64,
    /// Temperature of the mould before the pour, °C.
    pub mould_c: f64,
    /// Places to try.
    pub places: &'a [Place],
    /// Air the bar is taken into out of the mould: °C and relative humidity, %.
    pub room: (f64, f64),
    /// Whether every draw is run on a fine grid, which takes some twenty times as long: to check the others by.
    pub fine: bool,
}

/// Moments of one draw, s.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Moments {
    skin_s: Option<f64>,
    set_s: Option<f64>,
    release_s: Option<f64>,
}

impl Moments {
    /// Figures for [`every_draw`].
    fn figures(&self) -> [Option<f64>; 3] {
        [self.skin_s, self.set_s, self.release_s]
    }

    /// In the order of the figures of [`every_draw`].
    fn of(figures: &[Option<f64>]) -> Self {
        let figure = |at: usize| figures.get(at).copied().flatten();
        Moments { skin_s: figure(0), set_s: figure(1), release_s: figure(2) }
    }
}

/// Added to the time of the skin before its logarithm is taken, s: the first minutes are known no better, since the currents in the melt are left out.
const FIRST_MINUTES_S: f64 = 300.0;

/// Position of the moment it can leave the mould among the figures.
const RELEASE: usize = 2;

/// Course by the central model.
#[derive(Debug, Clone, PartialEq)]
struct Course {
    moments: Moments,
    /// Middle of the bar between [`GRAIN_C`].
    slow_s: Option<f64>,
    /// Surface when it can leave the mould, or at the end, °C.
    surface_c: f64,
    history: Vec<Sample>,
}

/// Outcome of one place.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceOutcome {
    /// The place.
    pub place: Place,
    /// Until a skin forms, s; `None` when it does not within a day.
    pub skin_s: Option<Estimate>,
    /// Until it has set through, s.
    pub set_s: Option<Estimate>,
    /// Until it can leave the mould with its relief, s.
    pub release_s: Option<Estimate>,
    /// Probability that it can within a day.
    pub releases: f64,
    /// Risk of grain, 0 to 1, at this rate of cooling.
    pub grain: f64,
    /// Time the middle takes between 40 °C and 20 °C, or to near its air, s; `None` when it is not through within a day, or its air is too warm for it.
    pub slow_s: Option<f64>,
    /// Surface of the bar as it leaves the mould, °C.
    pub surface_c: f64,
    /// Whether dew settles on it in the air it is taken into.
    pub dew: bool,
    /// The bar by the central model.
    pub history: Vec<Sample>,
}

/// Outcome of cooling.
#[derive(Debug, Clone, PartialEq)]
pub struct Cooling {
    /// The formula as a bar, with its cautions.
    pub assessment: Assessment,
    /// Each place, in the order given.
    pub places: Vec<PlaceOutcome>,
    /// Position of the place to choose.
    pub best: Option<usize>,
    /// Dew point of the air it is taken into, °C.
    pub dew_point_c: f64,
    /// Temperature below which it can leave the mould, °C, by the central model.
    pub releases_c: Option<f64>,
    /// Temperature at which it sets, °C.
    pub sets_c: Option<f64>,
    /// Mass of one bar, kg.
    pub bar_kg: f64,
    /// Share of its volume that it gives up from the pour to the room.
    pub shrinkage: Estimate,
}

/// Cools a bar in each place.
///
/// # Arguments
/// * `bench`: draws and options; the relief asked for is in them.
/// * `task`: the bar and the places.
/// * `control`: progress; may stop it.
///
/// # Returns
/// Times with their intervals. The best place is the one where it can leave the mould soonest without a high risk of grain, in which no dew settles if
/// there is one.
///
/// # Errors
/// [`MakingError`].
///
/// # Example
/// ```
/// use std::ops::ControlFlow;
/// use barwright_blend::assess::Workbench;
/// use barwright_blend::{Model, Options};
/// use barwright_making::{CoolTask, Place, cool};
/// use barwright_reference::{Library, formula, mould::Mould};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let bar = formula::read_inline("beeswax 26, mango butter 32, sunflower oil 42", "bar", &library)?;
/// let mould = Mould::read("shape = 'box'\nlength = 60\nwidth = 40\nheight = 20")?;
/// let model = Model::builtin()?;
/// let bench = Workbench::new(&library, &model, Options { draws: 0, ..Options::default() })?;
/// let room = Place { name: "room".into(), air_c: 20.0, fan: false };
/// let task = CoolTask {
///     formula: &bar.formulas[0], mould: &mould, pour_c: 75.0, mould_c: 20.0, places: &[room], room: (20.0, 50.0), fine: false,
/// };
/// let cooling = cool(&bench, &task, &|_, _| ControlFlow::Continue(()))?;
/// let hours = cooling.places[0].release_s.map(|time| time.value / 3600.0);
/// assert!(hours.is_some_and(|hours| (0.5..6.0).contains(&hours)), "{hours:?}");
/// # Ok(())
/// # }
/// ```
pub fn cool(bench: &Workbench<'_>, task: &CoolTask<'_>, control: Control<'_>) -> Result<Cooling, MakingError> {
    let curves = bench.heat_curves(task.formula, bench.options().draws)?;
    if let Some(clear_c) = curves.central.clear_c.filter(|clear_c| task.pour_c < *clear_c) {
        return Err(MakingError::NotMelted { pour_c: task.pour_c, clear_c });
    }
    for place in task.places {
        if place.air_c >= task.pour_c {
            let (place, air_c) = (place.name.clone(), place.air_c);
            return Err(MakingError::NotCooled { place, air_c, pour_c: task.pour_c });
        }
    }
    let (room_c, humidity_percent) = task.room;
    let dew_point_c = dew_point_c(room_c, humidity_percent)?;
    let density = bar::density_kg_per_m3(bench.library(), task.formula);
    let assessment = bench.assess(task.formula)?;
    let grain = assessment.grain.risk.value;
    let film = Film::new(bench.options().seed, curves.drawn.len());
    let sweep = Sweep { curves: &curves, film: &film, fine: task.fine };
    let runs = task.places.len();
    let mut places = Vec::with_capacity(runs);
    for (number, place) in task.places.iter().enumerate() {
        let control = |done: usize, total: usize| control(number * total + done, runs * total);
        let central = course(task, place, &curves.central, density)?;
        let kinds = [FIRST_MINUTES_S, MINUTE_S, MINUTE_S].map(|added_s| Kind::Time { watched_s: WATCHED_S, added_s });
        let drawn = every_draw(sweep, &central.moments.figures(), &control, &kinds, RELEASE, |one, factor, grid| {
            moments(task, place, one, density, factor, grid)
        })?;
        let drawn = drawn.iter().map(|figures| Moments::of(figures)).collect();
        places.push(outcome(place, central, drawn, grain, dew_point_c));
    }
    let shrinkage = curves.estimate(|one| one.shrinkage(task.pour_c, room_c));
    Ok(Cooling {
        assessment,
        best: best(&places),
        places,
        dew_point_c,
        releases_c: curves.central.releases_c(),
        sets_c: curves.central.sets_c(),
        bar_kg: density * 1e-6 * task.mould.volume_ml,
        shrinkage,
    })
}

/// The bar in its mould in one place.
fn body(
    task: &CoolTask<'_>,
    place: &Place,
    curves: &HeatCurves,
    density: f64,
    factor: f64,
    grid: Grid,
) -> Result<Body, MakingError> {
    let open = if place.fan { Exposure::given(FAN_W_PER_M2K, EMISSIVITY)? } else { Exposure::natural(EMISSIVITY)? };
    let open = open.scaled(factor)?;
    let faces = Faces { top: open, side: open, bottom: open.wrapped(BOARD_M2K_PER_W)? };
    let (shape, wall) = (bar::shape(task.mould.shape), bar::wall(task.mould)?);
    let cells = match grid {
        Grid::Rough => bar::few_cells(shape, ROUGH_CELLS),
        Grid::Middling => bar::few_cells(shape, MIDDLING_CELLS),
        Grid::Fine => CELLS,
    };
    Ok(Body::new(shape, bar::material(curves, density)?, Some(wall), faces, cells)?)
}

/// A probe that falls to a level, if there is one.
fn falls(probe: Probe, level: Option<f64>) -> Option<Watch> {
    level.map(|level| Watch { probe, crossing: Crossing::Falls, level })
}

/// What is watched in every draw, in the order of [`Moments`].
fn watched(curves: &HeatCurves) -> [Option<Watch>; 3] {
    let (sets_c, releases_c) = (curves.sets_c(), curves.releases_c());
    [falls(Probe::Surface, sets_c), falls(Probe::Warmest, sets_c), falls(Probe::Warmest, releases_c)]
}

/// The bar as it is poured.
fn poured<'a>(task: &CoolTask<'_>, body: &'a Body, air: &'a Ambient) -> Task<'a> {
    Task {
        branch: Branch::Cooling,
        start: Start::Even { bar_c: task.pour_c, mould_c: task.mould_c },
        accuracy: ACCURACY,
        ..Task::new(body, air, task.pour_c, WATCHED_S)
    }
}

/// Moments of one draw, in the order of [`Moments`].
fn moments(
    task: &CoolTask<'_>,
    place: &Place,
    curves: &HeatCurves,
    density: f64,
    factor: f64,
    grid: Grid,
) -> Result<Vec<Option<f64>>, MakingError> {
    // Nothing gets colder than all that is around it.
    let coldest_c = place.air_c.min(task.mould_c);
    let wanted = watched(curves).map(|watch| watch.filter(|watch| watch.level > coldest_c));
    let watches: Vec<Watch> = wanted.iter().flatten().copied().collect();
    if watches.is_empty() {
        return Ok(vec![None; wanted.len()]);
    }
    let body = body(task, place, curves, density, factor, grid)?;
    let air = Ambient::constant(place.air_c)?;
    let accuracy = match grid {
        Grid::Rough => ROUGH_ACCURACY,
        Grid::Middling | Grid::Fine => ACCURACY,
    };
    let run = solve(&Task { watches: &watches, until_seen: true, accuracy, ..poured(task, &body, &air) }, &|_| {
        std::ops::ControlFlow::Continue(())
    })?;
    Ok(in_order(&wanted, &run.events_s).to_vec())
}

/// The events of those watches that there are, each in its place.
fn in_order<const N: usize>(wanted: &[Option<Watch>; N], events_s: &[Option<f64>]) -> [Option<f64>; N] {
    let mut happened = events_s.iter().copied();
    wanted.map(|watch| watch.and_then(|_| happened.next()).flatten())
}

/// Follows the bar by the central model for a day.
fn course(task: &CoolTask<'_>, place: &Place, curves: &HeatCurves, density: f64) -> Result<Course, MakingError> {
    let body = body(task, place, curves, density, 1.0, Grid::Fine)?;
    let air = Ambient::constant(place.air_c)?;
    let cooled_c = Some(GRAIN_C.1.max(place.air_c + NEAR_K)).filter(|cooled_c| *cooled_c < GRAIN_C.0);
    let [skin, set, release] = watched(curves);
    let wanted = [skin, set, release, falls(Probe::Centre, Some(GRAIN_C.0)), falls(Probe::Centre, cooled_c)];
    let watches: Vec<Watch> = wanted.iter().flatten().copied().collect();
    let samples: Vec<f64> = (0..=RECORDS).map(|record| WATCHED_S * (record as f64 / RECORDS as f64).powi(2)).collect();
    let run = solve(&Task { samples_s: &samples, watches: &watches, ..poured(task, &body, &air) }, &|_| {
        std::ops::ControlFlow::Continue(())
    })?;
    let [skin_s, set_s, release_s, from_s, to_s] = in_order(&wanted, &run.events_s);
    let end_s = release_s.unwrap_or(WATCHED_S);
    let surface_c = run.samples.iter().find(|one| one.time_s >= end_s).unwrap_or(&run.last).surface_c;
    // Where the two levels are close together, both moments are found only to the same hundredth of a second.
    let slow_s = from_s.zip(to_s).map(|(from, to)| to.max(from) - from);
    Ok(Course { moments: Moments { skin_s, set_s, release_s }, slow_s, surface_c, history: run.samples })
}

fn outcome(place: &Place, central: Course, drawn: Vec<Moments>, grain: f64, dew_point_c: f64) -> PlaceOutcome {
    let slow = central.slow_s.map_or(1.0, |time| time / (time + QUICK_S));
    let found = Spread { central: central.moments, drawn };
    PlaceOutcome {
        place: place.clone(),
        skin_s: found.estimate_or(WATCHED_S, |one| one.skin_s),
        set_s: found.estimate_or(WATCHED_S, |one| one.set_s),
        release_s: found.estimate_or(WATCHED_S, |one| one.release_s),
        releases: found.probability(|one| one.release_s.is_some()),
        grain: grain * slow,
        slow_s: central.slow_s,
        surface_c: central.surface_c,
        dew: central.surface_c < dew_point_c,
        history: central.history,
    }
}

/// The place to choose: no high risk of grain first, then no dew, then the soonest.
fn best(places: &[PlaceOutcome]) -> Option<usize> {
    let rank = |one: &PlaceOutcome| {
        let soon = one.release_s.map_or(f64::INFINITY, |time| time.value);
        (one.release_s.is_none(), GrainRisk::from_index(one.grain) == GrainRisk::High, one.dew, soon)
    };
    let order = |a: &PlaceOutcome, b: &PlaceOutcome| {
        let (a, b) = (rank(a), rank(b));
        (a.0, a.1, a.2).cmp(&(b.0, b.1, b.2)).then(a.3.total_cmp(&b.3))
    };
    let first = places.iter().enumerate().min_by(|(_, a), (_, b)| order(a, b))?;
    first.1.release_s.map(|_| first.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_best_place_has_no_high_risk_then_no_dew_then_is_the_soonest() {
        let place = |grain: f64, dew: bool, release_s: Option<f64>| PlaceOutcome {
            place: Place { name: String::new(), air_c: 20.0, fan: false },
            skin_s: None,
            set_s: None,
            release_s: release_s.map(|time| Estimate { value: time, low: time, high: time }),
            releases: 1.0,
            grain,
            slow_s: None,
            surface_c: 20.0,
            dew,
            history: Vec::new(),
        };
        let (gritty, moderate) = (place(0.5, false, Some(600.0)), place(0.3, false, Some(9000.0)));
        let wet = |time: f64| place(0.1, true, Some(time));
        let never = place(0.0, false, None);
        for (places, wanted) in [
            (vec![gritty.clone(), moderate.clone()], Some(1)),
            (vec![gritty.clone(), wet(900.0)], Some(1)),
            (vec![wet(900.0), moderate.clone()], Some(1)),
            (vec![wet(900.0), wet(800.0), wet(1000.0)], Some(1)),
            (vec![never.clone(), gritty], Some(1)),
            (vec![never], None),
            (vec![], None),
        ] {
            assert_eq!(best(&places), wanted, "{places:?}");
        }
    }
}
