//! A run: the enthalpies of all cells against time.
//!
//! ```text
//! M dh/dt = flow(T(h), t)
//! TR-BDF2:         h₂ = h₀ + γ/2 Δt (f₀ + f₂)               at t + γ Δt,  γ = 2 − √2
//!                  h₃ = h₀ + √2/4 Δt (f₀ + f₂) + γ/2 Δt f₃   at t + Δt
//!                  error = Δt Σ (b − b̂) f,   b̂ = ((1 − √2/4)/3, (3√2/4 + 1)/3, γ/6)
//! backward Euler:  h₁ = h₀ + Δt f₁,   error = Δt (f₁ − f₀)/2
//! ```
//! Each implicit equation `h − θ f(h)/M = r` is solved by Newton's method in the enthalpy, with the linear equations in temperature: with `c = dh/dT`,
//! `(M c + θ L) w = residual`, `h += c w`. The matrix is symmetric and positive, and in a jump, where c is without bound, the temperature stays
//! and the enthalpy moves. Conductances and films are brought into line at each reading, so the equations solved are the full ones.
//!
//! **Energy.** The end of each stage is set to `r + θ f` of the last reading, and the heat through the faces is summed from the same flows: what
//! leaves one cell enters the next to the last bit, and the balance closes to rounding however loosely Newton's iteration was ended.
//!
//! **Steps.** The local error is turned into a temperature by the matrix of the step, which also takes the sting out of stiff parts, and its root mean square
//! is held to [`Accuracy`], bar and mould counting alike whatever their masses. Heat flows from warm to cold: a step that leaves some cell colder or warmer than anything met so far,
//! by more than the temperature of [`Accuracy`], is cut. Steps end at each kink of the air temperature; at a step of it the run starts anew.
//!
//! # Source
//! Hosea and Shampine 1996, Appl. Numer. Math. 20, 21 (TR-BDF2 and its error); Swaminathan and Voller 1992, Metall. Trans. B 23, 651 (Newton in
//! enthalpy form); both recalled.

use std::ops::ControlFlow;

use crate::ambient::{Ambient, Side, TIME_RANGE_S};
use crate::body::Body;
use crate::error::{HeatError, temperature, within};
use crate::field::Field;
use crate::material::Branch;
use crate::record::{Crossing, EnergyBalance, Progress, Sample, Watch, Work};
use crate::stencil::Stencil;

/// What Newton's iteration may leave, over the local error allowed.
pub const NEWTON_SHARE: f64 = 0.05;
/// The same in any one cell, over the local error allowed: what is left is taken over into its enthalpy, and a rim counts little in a mean.
const NEWTON_CELL_SHARE: f64 = 0.25;
/// What the linear solver may leave, over the residual it starts from.
const LINEAR_SHARE: f64 = 0.01;
/// The same once the mean is small enough and one cell is not.
const LINEAR_SHARE_OF_CELLS: f64 = 0.1;
/// What the linear solver may leave when it turns an error into a temperature.
const FILTER_SHARE: f64 = 0.1;
/// Readings of Newton's iteration before the step is cut.
const MAX_READINGS: usize = 20;
/// Steps of one run.
pub const MAX_STEPS: usize = 200_000;
/// Shortest step, s. It is taken whatever its error, since nothing that can be asked happens in it; it is given up only when its equations
/// cannot be solved.
const SHORTEST_STEP_S: f64 = 1e-6;
/// A step that Newton's iteration does not end is shortened to this share.
const CUT: f64 = 0.25;
/// A step that leaves the range of temperatures met is shortened to this share.
const OVERSHOOT_CUT: f64 = 0.5;
/// Least and greatest factor from one step to the next.
const GROWTH: (f64, f64) = (0.2, 4.0);
/// The next step is aimed at this share of what the error would allow.
const AIM: f64 = 0.85;
/// The first step changes temperatures by about this many times the local error allowed.
const FIRST_CHANGE: f64 = 2.0;
/// Longest step over the length of the run.
const LONGEST_SHARE: f64 = 0.05;
/// Events are placed to this time, s, or better.
const EVENT_S: f64 = 0.01;

/// γ of TR-BDF2.
const GAMMA: f64 = 2.0 - std::f64::consts::SQRT_2;
/// Share of the implicit flow in each stage.
const IMPLICIT: f64 = 0.5 * GAMMA;
/// √2/4.
const OUTER: f64 = 0.25 * std::f64::consts::SQRT_2;

/// Local error allowed in one step, root mean square over bar and mould, each counting half.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accuracy {
    /// K.
    pub temperature_k: f64,
    /// Melted share.
    pub melted_share: f64,
}

impl Default for Accuracy {
    /// 0.05 K and 0.5 % melted, a step: temperatures to about 0.1 K and times of events to about half a percent, as runs at a tenth of it show.
    fn default() -> Self {
        Accuracy { temperature_k: 0.05, melted_share: 0.005 }
    }
}

/// Time integration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Scheme {
    /// Second order, L-stable. May overshoot by the error allowed, no more.
    #[default]
    TrBdf2,
    /// First order, L-stable, never overshoots; needs many more steps.
    BackwardEuler,
}

/// Where a run starts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Start<'a> {
    /// Bar and mould each at one temperature, °C. At a jump the branch decides between solid and liquid.
    Even {
        /// °C.
        bar_c: f64,
        /// °C.
        mould_c: f64,
    },
    /// Where another run of the same body ended. The enthalpies are carried, the branch may change.
    From(&'a State),
}

/// Enthalpies of all cells.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    enthalpy_j_per_kg: Vec<f64>,
}

impl State {
    /// J/kg, cells numbered as in [`Body`].
    pub fn enthalpy_j_per_kg(&self) -> &[f64] {
        &self.enthalpy_j_per_kg
    }
}

/// A run to compute.
#[derive(Debug, Clone, Copy)]
pub struct Task<'a> {
    /// The body.
    pub body: &'a Body,
    /// The air around it.
    pub ambient: &'a Ambient,
    /// The curve it follows.
    pub branch: Branch,
    /// State at the start.
    pub start: Start<'a>,
    /// Time at the end, s.
    pub end_s: f64,
    /// Accuracy of a step.
    pub accuracy: Accuracy,
    /// Time integration.
    pub scheme: Scheme,
    /// Times at which it is recorded, s, in order.
    pub samples_s: &'a [f64],
    /// Events looked for.
    pub watches: &'a [Watch],
    /// Whether it ends with the step in which the last of them happens, if that is sooner.
    pub until_seen: bool,
}

impl<'a> Task<'a> {
    /// A run from one temperature of bar and mould, on the heating curve, with nothing recorded.
    ///
    /// # Arguments
    /// * `start_c`: °C.
    /// * `end_s`: s.
    pub fn new(body: &'a Body, ambient: &'a Ambient, start_c: f64, end_s: f64) -> Self {
        Task {
            body,
            ambient,
            branch: Branch::Heating,
            start: Start::Even { bar_c: start_c, mould_c: start_c },
            end_s,
            accuracy: Accuracy::default(),
            scheme: Scheme::default(),
            samples_s: &[],
            watches: &[],
            until_seen: false,
        }
    }
}

/// Outcome of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// The bar at each time asked for.
    pub samples: Vec<Sample>,
    /// The bar at the end.
    pub last: Sample,
    /// First time of each event, s; `None` when it did not happen.
    pub events_s: Vec<Option<f64>>,
    /// Heat of the whole body.
    pub energy: EnergyBalance,
    /// Computational work.
    pub work: Work,
    /// State at the end.
    pub state: State,
    /// Temperature of each cell at the end, °C.
    pub temperatures_c: Vec<f64>,
    /// Melted share of each cell at the end.
    pub melted_shares: Vec<f64>,
}

/// Solves a task.
///
/// # Arguments
/// * `task`: body, air, start, duration and accuracy.
/// * `progress`: called after each step; [`ControlFlow::Break`] ends the run with [`HeatError::Stopped`].
///
/// # Errors
/// [`HeatError::OutOfRange`] and [`HeatError::Unsorted`] for the task; [`HeatError::NoCoolingCurve`]; [`HeatError::OtherBody`];
/// [`HeatError::NotConverged`], [`HeatError::TooManySteps`], [`HeatError::Stopped`] for the run itself.
///
/// # Validity
/// Conduction only, fixed volume, one curve throughout, surroundings at the temperature of the air. An event that comes and goes within
/// one step is missed.
///
/// # Example
/// ```
/// use std::ops::ControlFlow;
/// use barwright_heat::record::{Crossing, Probe, Watch};
/// use barwright_heat::solve::{Task, solve};
/// use barwright_heat::{Ambient, Body, Curve, Exposure, Faces, Material, Resolution, Shape};
///
/// let wax = Material::new(950.0, Curve::melting(&[(30.0, 0.0), (50.0, 1.0)], 150e3, 2000.0, 2200.0)?, 0.25, 0.17)?;
/// let shape = Shape::Puck { diameter_m: 0.060, height_m: 0.025 };
/// let body = Body::new(shape, wax, None, Faces::all(Exposure::natural(0.95)?), Resolution::default())?;
/// let van = Ambient::constant(45.0)?;
/// let half_melted = Watch { probe: Probe::Melted, crossing: Crossing::Rises, level: 0.5 };
/// let run = solve(&Task { watches: &[half_melted], ..Task::new(&body, &van, 22.0, 24.0 * 3600.0) }, &|_| ControlFlow::Continue(()))?;
/// assert!(run.events_s[0].is_some_and(|time_s| time_s > 3600.0));
/// assert!((run.last.melted_share - 0.75).abs() < 0.01);
/// assert!(run.energy.relative_gap < 1e-6);
/// # Ok::<(), barwright_heat::HeatError>(())
/// ```
pub fn solve(task: &Task, progress: &dyn Fn(Progress) -> ControlFlow<()>) -> Result<Run, HeatError> {
    check(task)?;
    let mut stepper = Stepper::new(task)?;
    stepper.run(task, progress)
}

/// Refuses tasks that cannot be solved.
fn check(task: &Task) -> Result<(), HeatError> {
    within("the length of the run", task.end_s, "s", (1e-3, TIME_RANGE_S.1))?;
    within("the local error of the temperature", task.accuracy.temperature_k, "K", (1e-7, 10.0))?;
    within("the local error of the melted share", task.accuracy.melted_share, "", (1e-7, 1.0))?;
    if let Start::Even { bar_c, mould_c } = task.start {
        temperature("the temperature of the bar", bar_c)?;
        temperature("the temperature of the mould", mould_c)?;
    }
    let mut before = 0.0;
    for (k, &time_s) in task.samples_s.iter().enumerate() {
        within("a time to record", time_s, "s", (0.0, task.end_s))?;
        if time_s < before {
            return Err(HeatError::Unsorted { what: "the times to record", row: k + 1, value: time_s, before });
        }
        before = time_s;
    }
    for watch in task.watches {
        within("the level of an event", watch.level, "", (-1e4, 1e4))?;
    }
    Ok(())
}

/// All vectors of a run: nothing is allocated once it goes.
struct Stepper<'a> {
    field: Field<'a>,
    stencil: Stencil,
    scheme: Scheme,
    accuracy: Accuracy,
    /// What Newton's iteration may leave, J/kg.
    enough_j_per_kg: f64,
    /// Enthalpies at the start, the middle and the end of a step, J/kg.
    old: Vec<f64>,
    middle: Vec<f64>,
    new: Vec<f64>,
    /// Rates there, W/kg.
    old_rate: Vec<f64>,
    middle_rate: Vec<f64>,
    new_rate: Vec<f64>,
    /// Rate over the last step, for the first guess of the next.
    trend: Vec<f64>,
    known: Vec<f64>,
    scratch: Vec<f64>,
    /// Coldest and warmest cell in the last readings of the step's stages, °C.
    reached_c: (f64, f64),
    work: Work,
}

/// One step as tried.
struct Tried {
    /// Heat through the faces, J.
    heat_j: f64,
    /// Heat through the faces at the end, W.
    end_w: f64,
    /// Local error over that allowed.
    error: f64,
}

impl<'a> Stepper<'a> {
    fn new(task: &Task<'a>) -> Result<Self, HeatError> {
        let stencil = Stencil::new(task.body.counts);
        let field = Field::new(task.body, task.branch, &stencil)?;
        let n = task.body.cells();
        let old = match task.start {
            Start::Even { bar_c, mould_c } => (0..n)
                .map(|cell| {
                    let from_c = if task.body.is_bar(cell) { bar_c } else { mould_c };
                    field.curve(cell).enthalpy_j_per_kg(from_c, task.branch)
                })
                .collect(),
            Start::From(state) if state.enthalpy_j_per_kg.len() == n => state.enthalpy_j_per_kg.clone(),
            Start::From(state) => {
                return Err(HeatError::OtherBody { state: state.enthalpy_j_per_kg.len(), body: n });
            }
        };
        let capacity = field.bar_curve().least_heat_capacity();
        let zeros = || vec![0.0; n];
        Ok(Stepper {
            field,
            stencil,
            scheme: task.scheme,
            accuracy: task.accuracy,
            enough_j_per_kg: NEWTON_SHARE * task.accuracy.temperature_k * capacity,
            old,
            middle: zeros(),
            new: zeros(),
            old_rate: zeros(),
            middle_rate: zeros(),
            new_rate: zeros(),
            trend: zeros(),
            known: zeros(),
            scratch: zeros(),
            reached_c: NOWHERE_C,
            work: Work::default(),
        })
    }

    fn run(&mut self, task: &Task<'a>, progress: &dyn Fn(Progress) -> ControlFlow<()>) -> Result<Run, HeatError> {
        let ambient = task.ambient;
        let before = self.old.clone();
        let mut samples = Vec::with_capacity(task.samples_s.len());
        let mut events_s = vec![None; task.watches.len()];
        let mut pending = task.samples_s.iter().copied().peekable();
        let mut kinks = ambient.kinks_s().iter().copied().filter(|&t| t > 0.0 && t < task.end_s).peekable();

        let mut time_s = 0.0;
        let air_c = ambient.temperature_c(0.0, Side::After);
        self.field.begin(&self.old, air_c);
        let mut end_w = self.start_rate(air_c);
        let mut last = self.field.sample(0.0, air_c);
        // Coldest and warmest met so far, in the body and around it.
        let mut met_c = self.field.temperatures_c().iter().fold((air_c, air_c), |range_c, &t| widened(range_c, t));
        while pending.next_if(|&t| t <= 0.0).is_some() {
            samples.push(last);
        }
        for (event, watch) in events_s.iter_mut().zip(task.watches) {
            if watch.reached(last.value(watch.probe)) {
                *event = Some(0.0);
            }
        }
        let mut wish_s = self.first_step(task.end_s);
        let (mut through_j, mut passed_j) = (0.0, 0.0);
        while time_s < task.end_s {
            while kinks.next_if(|&t| t <= time_s).is_some() {}
            let stop_s = kinks.peek().copied().unwrap_or(task.end_s);
            wish_s = wish_s.min(LONGEST_SHARE * task.end_s);
            let left_s = stop_s - time_s;
            // To the stop, or so that what remains is no sliver.
            let step_s = if wish_s >= 0.999 * left_s {
                left_s
            } else if wish_s > 0.5 * left_s {
                0.5 * left_s
            } else {
                wish_s
            };
            let tried = self.step(time_s, step_s, ambient, end_w);
            let order = match self.scheme {
                Scheme::TrBdf2 => 3.0,
                Scheme::BackwardEuler => 2.0,
            };
            let tried = tried.and_then(|tried| if tried.error.is_finite() { Ok(tried) } else { Err(f64::NAN) });
            let tried = match tried {
                Ok(tried) if tried.error <= 1.0 || step_s <= SHORTEST_STEP_S => tried,
                Ok(tried) => {
                    self.work.rejected += 1;
                    wish_s =
                        (step_s * (AIM * tried.error.powf(-1.0 / order)).clamp(GROWTH.0, 0.9)).max(SHORTEST_STEP_S);
                    continue;
                }
                Err(residual_j_per_kg) => {
                    self.work.failed += 1;
                    wish_s = CUT * step_s;
                    // Written so that a step that is no number ends the run as well.
                    if wish_s.is_nan() || wish_s < CUT * SHORTEST_STEP_S {
                        return Err(HeatError::NotConverged { time_s, step_s, residual_j_per_kg });
                    }
                    continue;
                }
            };
            let next_s = if step_s == left_s { stop_s } else { time_s + step_s };
            let meets_c = widened(met_c, ambient.temperature_c(next_s, Side::Before));
            // How far it leaves that range at its end or on the way.
            let outside_k = (meets_c.0 - self.reached_c.0).max(self.reached_c.1 - meets_c.1);
            if outside_k > self.accuracy.temperature_k && step_s > SHORTEST_STEP_S {
                self.work.rejected += 1;
                wish_s = (OVERSHOOT_CUT * step_s).max(SHORTEST_STEP_S);
                continue;
            }
            met_c = meets_c;
            self.work.steps += 1;
            if self.work.steps >= MAX_STEPS {
                return Err(HeatError::TooManySteps { steps: self.work.steps, time_s });
            }
            through_j += tried.heat_j;
            passed_j += tried.heat_j.abs();
            end_w = tried.end_w;

            while let Some(at_s) = pending.next_if(|&t| t <= next_s) {
                samples.push(self.within_step(time_s, next_s, at_s, ambient));
            }
            let looking = events_s.iter().any(Option::is_none);
            if looking || next_s >= task.end_s {
                last = self.within_step(time_s, next_s, next_s, ambient);
            }
            for (event, watch) in events_s.iter_mut().zip(task.watches) {
                if event.is_none() && watch.reached(last.value(watch.probe)) {
                    *event = Some(self.place(watch, time_s, next_s, ambient));
                }
            }

            for ((trend, new), old) in self.trend.iter_mut().zip(&self.new).zip(&self.old) {
                *trend = (new - old) / step_s;
            }
            std::mem::swap(&mut self.old, &mut self.new);
            std::mem::swap(&mut self.old_rate, &mut self.new_rate);
            time_s = next_s;
            let allowed_s = step_s * AIM * tried.error.max(1e-10).powf(-1.0 / order);
            let grown_s = allowed_s.clamp(GROWTH.0 * step_s, GROWTH.1 * step_s);
            // A step cut short by a kink does not shorten the next one unless its error says so.
            wish_s = if step_s < wish_s { grown_s.max(wish_s.min(allowed_s)) } else { grown_s };
            if time_s < task.end_s && ambient.steps_at(time_s) {
                let air_c = ambient.temperature_c(time_s, Side::After);
                met_c = widened(met_c, air_c);
                self.field.begin(&self.old, air_c);
                end_w = self.start_rate(air_c);
                wish_s = wish_s.min(self.first_step(task.end_s));
            }
            let now = Progress { time_s, end_s: task.end_s, steps: self.work.steps };
            if progress(now).is_break() {
                return Err(HeatError::Stopped { time_s });
            }
            if task.until_seen && looking && events_s.iter().all(Option::is_some) {
                break;
            }
        }
        self.field.read(&self.old);
        let copies = task.body.copies;
        let stored_j = copies * self.stored_since_j(&before);
        let (through_faces_j, passed_j) = (copies * through_j, copies * passed_j);
        let gap_j = (stored_j - through_faces_j).abs() - copies * self.rounding_j();
        let relative_gap = if passed_j > 0.0 { gap_j.max(0.0) / passed_j } else { 0.0 };
        Ok(Run {
            samples,
            last,
            events_s,
            energy: EnergyBalance { stored_j, through_faces_j, passed_j, relative_gap },
            work: self.work,
            state: State { enthalpy_j_per_kg: self.old.clone() },
            temperatures_c: self.field.temperatures_c().to_vec(),
            melted_shares: self.field.shares().to_vec(),
        })
    }

    /// Heat gained by all cells since they had the enthalpies given, J.
    fn stored_since_j(&self, before: &[f64]) -> f64 {
        self.field.mass_kg.iter().zip(&self.old).zip(before).map(|((mass, h), before)| mass * (h - before)).sum()
    }

    /// What the rounding of the cells' enthalpies, once a step, can make of their heat, J.
    fn rounding_j(&self) -> f64 {
        let held_j: f64 = self.field.mass_kg.iter().zip(&self.old).map(|(mass, h)| mass * h.abs()).sum();
        self.work.steps as f64 * f64::EPSILON * held_j
    }

    /// Rates of the old enthalpies as read last; returns the heat through the faces, W.
    fn start_rate(&mut self, air_c: f64) -> f64 {
        let heat_w = self.field.flow(air_c);
        for ((rate, flow), per_kg) in self.old_rate.iter_mut().zip(&self.field.flow_w).zip(&self.field.per_kg) {
            *rate = flow * per_kg;
        }
        self.trend.fill(0.0);
        heat_w
    }

    /// A step short enough to start with.
    fn first_step(&self, end_s: f64) -> f64 {
        let mut sum = 0.0;
        for (((rate, capacity), slope), count) in
            self.old_rate.iter().zip(&self.field.heat_capacity).zip(&self.field.share_slope).zip(&self.field.counts)
        {
            let (warming, melting) =
                (rate / capacity / self.accuracy.temperature_k, rate * slope / self.accuracy.melted_share);
            sum += count * (warming * warming + melting * melting);
        }
        let speed = sum.sqrt();
        (FIRST_CHANGE / speed).clamp(10.0 * SHORTEST_STEP_S, 0.01 * end_s.max(0.1))
    }

    /// Tries a step; the error is what Newton's iteration left, J/kg.
    fn step(&mut self, time_s: f64, step_s: f64, ambient: &Ambient, start_w: f64) -> Result<Tried, f64> {
        let n = self.old.len();
        let end_c = ambient.temperature_c(time_s + step_s, Side::Before);
        self.reached_c = NOWHERE_C;
        let (heat_j, end_w) = match self.scheme {
            Scheme::TrBdf2 => {
                let middle_c = ambient.temperature_c(time_s + GAMMA * step_s, Side::Before);
                let theta = IMPLICIT * step_s;
                for i in 0..n {
                    self.known[i] = self.old[i] + theta * self.old_rate[i];
                    self.middle[i] = self.old[i] + GAMMA * step_s * self.trend[i];
                }
                let middle_w = self.stage(Stage::Middle, theta, middle_c)?;
                for i in 0..n {
                    self.known[i] = self.old[i] + OUTER * step_s * (self.old_rate[i] + self.middle_rate[i]);
                    self.new[i] = self.old[i] + (self.middle[i] - self.old[i]) / GAMMA;
                }
                let end_w = self.stage(Stage::End, theta, end_c)?;
                let from = (1.0 - OUTER) / 3.0 - OUTER;
                let middle = (3.0 * OUTER + 1.0) / 3.0 - OUTER;
                let end = IMPLICIT / 3.0 - IMPLICIT;
                for i in 0..n {
                    self.scratch[i] =
                        step_s * (from * self.old_rate[i] + middle * self.middle_rate[i] + end * self.new_rate[i]);
                }
                (step_s * (OUTER * (start_w + middle_w) + IMPLICIT * end_w), end_w)
            }
            Scheme::BackwardEuler => {
                for i in 0..n {
                    self.known[i] = self.old[i];
                    self.new[i] = self.old[i] + step_s * self.trend[i];
                }
                let end_w = self.stage(Stage::End, step_s, end_c)?;
                for i in 0..n {
                    self.scratch[i] = 0.5 * step_s * (self.new_rate[i] - self.old_rate[i]);
                }
                (step_s * end_w, end_w)
            }
        };
        Ok(Tried { heat_j, end_w, error: self.error() })
    }

    /// Solves one implicit equation; returns the heat through the faces, W.
    fn stage(&mut self, which: Stage, theta: f64, air_c: f64) -> Result<f64, f64> {
        let Stepper { field, stencil, scheme, known, reached_c, work, .. } = self;
        let (enthalpy, rate) = match which {
            Stage::Middle => (&mut self.middle, &mut self.middle_rate),
            Stage::End => (&mut self.new, &mut self.new_rate),
        };
        let n = enthalpy.len();
        let mut left = f64::INFINITY;
        for reading in 0..MAX_READINGS {
            field.read(enthalpy);
            field.settle(air_c, reading == 0);
            let heat_w = field.flow(air_c);
            work.newton += 1;
            let (mut sum, mut worst) = (0.0, 0.0_f64);
            {
                let residual = &mut stencil.residual[..n];
                let (mass, flow) = (&field.mass_kg[..n], &field.flow_w[..n]);
                let (h, r, counts) = (&enthalpy[..n], &known[..n], &field.residual_counts[..n]);
                let per_kg = &field.per_kg[..n];
                for i in 0..n {
                    let value = mass[i] * (r[i] - h[i]) + theta * flow[i];
                    residual[i] = value;
                    sum += value * value * counts[i];
                    worst = worst.max((value * per_kg[i]).abs());
                }
            }
            left = sum.sqrt();
            // The matrix of the step also weighs its error: have one, even if the guess was right at once.
            let done = left <= self.enough_j_per_kg && worst <= NEWTON_CELL_SHARE / NEWTON_SHARE * self.enough_j_per_kg;
            if done && (reading > 0 || matches!(which, Stage::Middle)) {
                for i in 0..n {
                    let value = field.flow_w[i] * field.per_kg[i];
                    rate[i] = value;
                    enthalpy[i] = known[i] + theta * value;
                }
                *reached_c = field.temperatures_c().iter().fold(*reached_c, |range_c, &t| widened(range_c, t));
                return Ok(heat_w);
            }
            if !left.is_finite() {
                return Err(left);
            }
            field.assemble(theta, stencil);
            // Both stages have one θ, and capacities change little within a step: one factor serves them.
            if reading == 0 && (matches!(which, Stage::Middle) || *scheme == Scheme::BackwardEuler) {
                stencil.factor();
            }
            let enough = if left <= self.enough_j_per_kg {
                // One cell is still off: the solver must see it, too.
                LINEAR_SHARE_OF_CELLS * left
            } else {
                (0.3 * self.enough_j_per_kg).max(LINEAR_SHARE * left)
            };
            work.linear += stencil.solve(&field.residual_counts, enough);
            field.advance(&stencil.solution, enthalpy);
        }
        Err(left)
    }

    /// Local error over that allowed, from what is in `scratch`, J/kg.
    fn error(&mut self) -> f64 {
        let Stepper { field, stencil, scratch, work, .. } = self;
        let mut sum = 0.0;
        for (((residual, &error), mass), count) in
            stencil.residual.iter_mut().zip(scratch.iter()).zip(&field.mass_kg).zip(&field.counts)
        {
            *residual = mass * error;
            sum += count * error * error;
        }
        let enough = FILTER_SHARE * sum.sqrt();
        if enough == 0.0 {
            return 0.0;
        }
        work.linear += stencil.solve(&field.residual_counts, enough);
        let (per_k, per_share) = (1.0 / self.accuracy.temperature_k, 1.0 / self.accuracy.melted_share);
        let mut sum = 0.0;
        for (i, &w) in stencil.solution.iter().enumerate() {
            let heat = field.assembled[i] * w;
            let (warming, melting) = (w * per_k, heat * field.share_slope[i] * per_share);
            sum += field.counts[i] * (warming * warming + melting * melting);
        }
        sum.sqrt()
    }

    /// The bar at a time within the step just made: by the parabola through its start, its middle stage and its end, as far as it stays between
    /// them, or by a line where the rule is of first order. Rates are not used: they jump where a cell begins or ends to melt.
    fn within_step(&mut self, from_s: f64, to_s: f64, at_s: f64, ambient: &Ambient) -> Sample {
        let step_s = to_s - from_s;
        let x = ((at_s - from_s) / step_s).clamp(0.0, 1.0);
        // Weights of start, middle and end.
        let (start, middle, end) = match self.scheme {
            Scheme::TrBdf2 => (
                (x - GAMMA) * (x - 1.0) / GAMMA,
                x * (1.0 - x) / (GAMMA * (1.0 - GAMMA)),
                x * (x - GAMMA) / (1.0 - GAMMA),
            ),
            Scheme::BackwardEuler => (1.0 - x, 0.0, x),
        };
        for i in 0..self.old.len() {
            let value = start * self.old[i] + middle * self.middle[i] + end * self.new[i];
            let (least, most) = (self.old[i].min(self.new[i]), self.old[i].max(self.new[i]));
            self.scratch[i] = match self.scheme {
                Scheme::TrBdf2 => value.max(least.min(self.middle[i])).min(most.max(self.middle[i])),
                Scheme::BackwardEuler => value.max(least).min(most),
            };
        }
        self.field.read(&self.scratch);
        self.field.sample(at_s, ambient.temperature_c(at_s, Side::Before))
    }

    /// The time at which an event happens within the step just made: by the secant through the ends of the bracket, aimed to either side of the event in turn, and
    /// by halving where that does not narrow it.
    fn place(&mut self, watch: &Watch, from_s: f64, to_s: f64, ambient: &Ambient) -> f64 {
        let mut past = |at_s: f64| {
            let past = self.within_step(from_s, to_s, at_s, ambient).value(watch.probe) - watch.level;
            if watch.crossing == Crossing::Falls { -past } else { past }
        };
        let (mut before, mut after) = (from_s, to_s);
        let (mut short, mut over) = (past(from_s), past(to_s));
        let mut halve = false;
        while after - before > EVENT_S {
            let width = after - before;
            let secant = before + width * (-short / (over - short));
            let aimed = if over < -short { secant - 0.4 * EVENT_S } else { secant + 0.4 * EVENT_S };
            let at_s = if halve || !(aimed > before && aimed < after) { 0.5 * (before + after) } else { aimed };
            if at_s <= before || at_s >= after {
                break;
            }
            let value = past(at_s);
            if value >= 0.0 {
                (after, over) = (at_s, value);
            } else {
                (before, short) = (at_s, value);
            }
            halve = after - before > 0.5 * width;
        }
        after
    }
}

/// The range of no temperature.
const NOWHERE_C: (f64, f64) = (f64::INFINITY, f64::NEG_INFINITY);

/// A range of temperatures and one more, °C.
fn widened((cold_c, warm_c): (f64, f64), met_c: f64) -> (f64, f64) {
    (cold_c.min(met_c), warm_c.max(met_c))
}

/// Which of the equations of a step.
#[derive(Debug, Clone, Copy)]
enum Stage {
    Middle,
    End,
}
