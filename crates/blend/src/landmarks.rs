//! Melt landmarks of one draw, each tied to the test that measures it.
//!
//! | landmark | where on the curve | test |
//! |---|---|---|
//! | softening onset | yield stress at half of its value at 20 °C | needle penetration at several temperatures |
//! | slip point | crystals just hold the oil: `Σ 100 φ_k / c_k = 1` (4 % solids in a fat, its gelling level in a wax) | open tube, ISO 6321 / AOCS Cc 3-25; USP class II |
//! | drop point | half of that | AOCS Cc 18-80, ASTM D127, Ph. Eur. 2.2.17 |
//! | end of melting | 1 % of crystals are left, and a calorimeter no longer sees them | AOCS Cj 1-94 (completion); X-rays |
//! | clear point | the last crystal dissolves: largest `Σ x_i γ_i K_i` of any family in the melt = 1 | AOCS Cc 1-25 |

use crate::equilibrium::{Change, EquilibriumError, Problem, Solver};
use crate::firmness;
use crate::mixture::ZERO_CELSIUS_K;
use crate::model_draw::ModelDraw;
use crate::root::{End, Tolerance, find_root, try_find_root};

/// Landmarks below this temperature are not looked for, °C.
pub const LOWEST_LANDMARK_C: f64 = -20.0;

/// Spacing of the curve on which landmarks are bracketed, K.
const CURVE_STEP_K: f64 = 4.0;

/// First step of that curve below the clear point, K; steps double until they reach [`CURVE_STEP_K`].
const FIRST_STEP_K: f64 = 0.25;

/// How closely landmarks are found: K, and relative error of the property there.
const LANDMARK_TOLERANCE: Tolerance = Tolerance { argument: 1e-4, value: 1e-5 };

/// How closely the clear point is found: K, and logarithm of the saturation.
const CLEAR_TOLERANCE: Tolerance = Tolerance { argument: 1e-6, value: 1e-10 };

/// What the bar is at one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Temperature, °C.
    pub temperature_c: f64,
    /// Solids, mass fraction.
    pub solids: f64,
    /// Structure φ_eff.
    pub structure: f64,
    /// Crystals over their critical gelling level.
    pub holding: f64,
    /// Yield stress, kPa.
    pub yield_kpa: f64,
}

/// What the model leaves out of one set of ingredients, in one draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beyond {
    /// Factor on the yield stress.
    pub interplay: f64,
    /// Factor on how well the crystals hold oil.
    pub holding: f64,
}

impl Beyond {
    /// Nothing left out: the central draw.
    pub const NOTHING: Beyond = Beyond { interplay: 1.0, holding: 1.0 };
}

/// How the bar at one temperature answers to a change of the mixture or of the temperature, per unit of the change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointRates {
    /// Rate of the solids.
    pub solids: f64,
    /// Rate of the structure.
    pub structure: f64,
    /// Rate of the holding.
    pub holding: f64,
    /// Rate of the yield stress, kPa.
    pub yield_kpa: f64,
}

/// Computes points of one draw.
#[derive(Debug)]
pub struct Evaluator<'a> {
    problem: &'a Problem,
    solver: &'a mut Solver,
    model: &'a ModelDraw,
    beyond: Beyond,
    melt_k: Vec<f64>,
    fractions: Vec<f64>,
    curve: Vec<Point>,
    next_below_k: f64,
}

impl<'a> Evaluator<'a> {
    /// Prepares to evaluate `problem` under `model`.
    pub fn new(problem: &'a Problem, solver: &'a mut Solver, model: &'a ModelDraw, beyond: Beyond) -> Self {
        Evaluator {
            problem,
            solver,
            model,
            beyond,
            melt_k: Vec::new(),
            fractions: Vec::new(),
            curve: Vec::new(),
            next_below_k: FIRST_STEP_K,
        }
    }

    /// Returns the state of the bar at `temperature_c`.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub fn point(&mut self, temperature_c: f64) -> Result<Point, EquilibriumError> {
        let phases = self.solver.solve(self.problem, temperature_c + ZERO_CELSIUS_K)?;
        phases.family_solids(&mut self.fractions, &mut self.melt_k);
        Ok(self.read(temperature_c))
    }

    /// Returns the state of the bar at `temperature_c`, and the heat that melting its crystals takes, J/kg.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub fn point_with_latent(&mut self, temperature_c: f64) -> Result<(Point, f64), EquilibriumError> {
        let phases = self.solver.solve(self.problem, temperature_c + ZERO_CELSIUS_K)?;
        phases.family_solids(&mut self.fractions, &mut self.melt_k);
        let latent_j_per_kg = phases.latent_j_per_kg();
        Ok((self.read(temperature_c), latent_j_per_kg))
    }

    /// The state of the bar, from what has crystallised of each family.
    fn read(&self, temperature_c: f64) -> Point {
        let structure = firmness::structure(self.model, &self.fractions, &self.melt_k, temperature_c);
        Point {
            temperature_c,
            solids: self.fractions.iter().sum::<f64>().clamp(0.0, 1.0),
            structure,
            holding: self.beyond.holding * firmness::holding(self.model, &self.fractions),
            yield_kpa: self.beyond.interplay * firmness::yield_kpa(self.model, structure),
        }
    }

    /// Returns the state of the bar at `temperature_c`, and its rates along each of `changes`.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub fn rates(
        &mut self,
        temperature_c: f64,
        changes: &[Change],
    ) -> Result<(Point, Vec<PointRates>), EquilibriumError> {
        let phases = self.solver.solve(self.problem, temperature_c + ZERO_CELSIUS_K)?;
        phases.family_solids(&mut self.fractions, &mut self.melt_k);
        let linearised = phases.linearise();
        let along: Vec<_> = changes.iter().map(|change| linearised.along(change)).collect();
        let point = self.read(temperature_c);
        let model = self.model;
        let rates = changes.iter().zip(&along).map(|(change, crystals)| {
            let (mut structure, mut holding) = (0.0, 0.0);
            for (k, (&fraction, &melt_k)) in self.fractions.iter().zip(&self.melt_k).enumerate() {
                if fraction <= 0.0 {
                    continue;
                }
                let q = model.softening_exponent;
                let stiffness = firmness::stiffness(melt_k, temperature_c, q);
                let softer =
                    firmness::stiffness_rate(melt_k, temperature_c, q, crystals.melt_k[k], change.temperature_k);
                structure += model.structuring[k] * (stiffness * crystals.fractions[k] + fraction * softer);
                holding += 100.0 * crystals.fractions[k] / model.critical_percent[k];
            }
            let yield_kpa = if point.structure > 0.0 {
                point.yield_kpa * model.exponent * structure / point.structure
            } else {
                0.0
            };
            PointRates {
                solids: crystals.fractions.iter().sum(),
                structure,
                holding: self.beyond.holding * holding,
                yield_kpa,
            }
        });
        Ok((point, rates.collect()))
    }

    /// Returns the temperature at which the last crystal dissolves, °C, or `None` below [`LOWEST_LANDMARK_C`].
    pub fn clear_point_c(&self) -> Option<f64> {
        let excess = |c: f64| self.problem.largest_saturation(c + ZERO_CELSIUS_K).ln();
        let (low, high) = (LOWEST_LANDMARK_C, crate::equilibrium::HIGHEST_TEMPERATURE_K - ZERO_CELSIUS_K);
        let (at_low, at_high) = (excess(low), excess(high));
        if at_low.is_nan() || at_low < 0.0 {
            return None;
        }
        if at_high >= 0.0 {
            return Some(high);
        }
        let (low, high) = (End { at: low, value: at_low }, End { at: high, value: at_high });
        Some(find_root(low, high, CLEAR_TOLERANCE, excess))
    }

    /// Starts the melting curve at the clear point; without one there is no curve, and no landmark either.
    pub fn start_curve(&mut self, clear_c: Option<f64>) {
        self.curve.clear();
        self.next_below_k = FIRST_STEP_K;
        let nothing =
            |temperature_c| Point { temperature_c, solids: 0.0, structure: 0.0, holding: 0.0, yield_kpa: 0.0 };
        self.curve.extend(clear_c.map(nothing));
    }

    /// Adds the next colder point to the curve; false at [`LOWEST_LANDMARK_C`].
    fn extend_curve(&mut self) -> Result<bool, EquilibriumError> {
        let (Some(hottest), Some(coldest)) = (self.curve.first(), self.curve.last()) else {
            return Ok(false);
        };
        if coldest.temperature_c <= LOWEST_LANDMARK_C {
            return Ok(false);
        }
        let next_c = (hottest.temperature_c - self.next_below_k).max(LOWEST_LANDMARK_C);
        self.next_below_k += self.next_below_k.min(CURVE_STEP_K);
        let point = self.point(next_c)?;
        self.curve.push(point);
        Ok(true)
    }

    /// Returns the highest temperature at which the bar carries its load, °C.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub fn carries_c(&mut self) -> Result<Option<f64>, EquilibriumError> {
        self.highest_c_with(self.model.load_kpa, |point| point.yield_kpa)
    }

    /// Returns the highest temperature at which the crystals hold the oil for a day, °C.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub fn weeps_c(&mut self) -> Result<Option<f64>, EquilibriumError> {
        self.highest_c_with(self.model.weep_below, |point| point.holding)
    }

    /// Returns the highest temperature at which `of` is at least `target` (positive), or `None` when it never is.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub fn highest_c_with(&mut self, target: f64, of: fn(&Point) -> f64) -> Result<Option<f64>, EquilibriumError> {
        let index = loop {
            if let Some(index) = self.curve.iter().position(|point| of(point) >= target) {
                break index;
            }
            if !self.extend_curve()? {
                return Ok(None);
            }
        };
        let colder = self.curve[index];
        let Some(hotter) = index.checked_sub(1).map(|previous| self.curve[previous]) else {
            return Ok(Some(colder.temperature_c));
        };
        // The properties fall roughly as exponentials, but reach zero at the clear point: 1 + x keeps the logarithm finite.
        let excess = |point: &Point| (0.5 + 0.5 * of(point) / target).ln();
        let low = End { at: colder.temperature_c, value: excess(&colder) };
        let high = End { at: hotter.temperature_c, value: excess(&hotter) };
        try_find_root(low, high, LANDMARK_TOLERANCE, |celsius| Ok(excess(&self.point(celsius)?))).map(Some)
    }
}
