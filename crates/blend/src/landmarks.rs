//! Melt landmarks of one draw, each tied to the test that measures it.
//!
//! | landmark | where on the curve | test |
//! |---|---|---|
//! | softening onset | yield stress at half of its value at 20 °C | needle penetration at several temperatures |
//! | slip point | crystals just hold the oil: `Σ 100 φ_k / c_k = 1` (4 % solids in a fat, its gelling level in a wax) | open tube, ISO 6321 / AOCS Cc 3-25; USP class II |
//! | drop point | half of that | AOCS Cc 18-80, ASTM D127, Ph. Eur. 2.2.17 |
//! | end of melting | 1 % of crystals are left, and a calorimeter no longer sees them | AOCS Cj 1-94 (completion); X-rays |
//! | clear point | the last crystal dissolves: largest `Σ x_i γ_i K_i` of any family in the melt = 1 | AOCS Cc 1-25 |

use crate::equilibrium::{EquilibriumError, Problem, Solver};
use crate::firmness;
use crate::mixture::ZERO_CELSIUS_K;
use crate::model_draw::ModelDraw;

/// Landmarks below this temperature are not looked for, °C.
pub const LOWEST_LANDMARK_C: f64 = -20.0;

/// Spacing of the curve on which landmarks are bracketed, K.
const CURVE_STEP_K: f64 = 4.0;

/// First step of that curve below the clear point, K; steps double until they reach [`CURVE_STEP_K`].
const FIRST_STEP_K: f64 = 0.25;

/// Landmarks are found to this, K, or to [`LANDMARK_TOLERANCE_LN`], whichever is met first.
const LANDMARK_TOLERANCE_K: f64 = 0.02;

/// Relative error of the property at a landmark.
const LANDMARK_TOLERANCE_LN: f64 = 1e-3;

/// Refinements of one landmark; a handful is usual.
const MAX_REFINEMENTS: usize = 40;

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

/// Computes points of one draw.
#[derive(Debug)]
pub struct Evaluator<'a> {
    problem: &'a Problem,
    solver: &'a mut Solver,
    model: &'a ModelDraw,
    /// Factor on the yield stress.
    interplay: f64,
    fractions: Vec<f64>,
    curve: Vec<Point>,
    next_below_k: f64,
}

impl<'a> Evaluator<'a> {
    /// Prepares to evaluate `problem` under `model`.
    pub fn new(problem: &'a Problem, solver: &'a mut Solver, model: &'a ModelDraw, interplay: f64) -> Self {
        Evaluator {
            problem,
            solver,
            model,
            interplay,
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
        phases.family_mass_fractions(&mut self.fractions);
        let structure = firmness::structure(self.model, &self.fractions);
        Ok(Point {
            temperature_c,
            solids: self.fractions.iter().sum::<f64>().clamp(0.0, 1.0),
            structure,
            holding: firmness::holding(self.model, &self.fractions),
            yield_kpa: self.interplay * firmness::yield_kpa(self.model, structure, temperature_c),
        })
    }

    /// Returns the temperature at which the last crystal dissolves, °C, or `None` below [`LOWEST_LANDMARK_C`].
    pub fn clear_point_c(&self) -> Option<f64> {
        let excess = |c: f64| self.problem.largest_saturation(c + ZERO_CELSIUS_K).ln();
        let (mut low, mut high) = (LOWEST_LANDMARK_C, crate::equilibrium::HIGHEST_TEMPERATURE_K - ZERO_CELSIUS_K);
        let (mut at_low, mut at_high) = (excess(low), excess(high));
        if at_low.is_nan() || at_low < 0.0 {
            return None;
        }
        if at_high >= 0.0 {
            return Some(high);
        }
        // Illinois: a secant that halves the stale end, so that both ends close in.
        for _ in 0..MAX_REFINEMENTS {
            let next = (low * at_high - high * at_low) / (at_high - at_low);
            let value = excess(next);
            if value >= 0.0 {
                (low, at_low) = (next, value);
                at_high *= 0.5;
            } else {
                (high, at_high) = (next, value);
                at_low *= 0.5;
            }
            if value.abs() < 1e-10 || high - low < 1e-6 {
                return Some(next);
            }
        }
        Some(0.5 * (low + high))
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
        let (mut low, mut at_low) = (colder.temperature_c, excess(&colder));
        let (mut high, mut at_high) = (hotter.temperature_c, excess(&hotter));
        for _ in 0..MAX_REFINEMENTS {
            if high - low < LANDMARK_TOLERANCE_K || at_low == 0.0 {
                break;
            }
            let next = (low * at_high - high * at_low) / (at_high - at_low);
            let value = excess(&self.point(next)?);
            if value.abs() < LANDMARK_TOLERANCE_LN {
                return Ok(Some(next));
            }
            // Illinois: the end that stays is halved, so that both ends close in.
            if value > 0.0 {
                (low, at_low) = (next, value);
                at_high *= 0.5;
            } else {
                (high, at_high) = (next, value);
                at_low *= 0.5;
            }
        }
        Ok(Some(0.5 * (low + high)))
    }
}
