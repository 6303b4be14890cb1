//! Melt landmarks of one draw, each tied to the test that measures it.
//!
//! | landmark | where on the curve | test |
//! |---|---|---|
//! | softening onset | yield stress at half of its value at 20 °C, or the slip point where that comes first | needle penetration at several temperatures |
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use barwright_reference::{CrystalState, Library, formula};

    use super::*;
    use crate::Parameters;
    use crate::assess::{Options, Workbench};
    use crate::chain::Chain;
    use crate::equilibrium::SpeciesAmount;

    const BAR: &str = "beeswax 26, mango butter 22, sunflower oil 52";

    /// Looks at the central draw of a rested formula: its evaluator, and the changes along one more percent of each part.
    fn with_central<T>(text: &str, lots: &str, look: impl FnOnce(&mut Evaluator<'_>, &ModelDraw, &[Change]) -> T) -> T {
        let builtin = Library::builtin().unwrap();
        let library = if lots.is_empty() { builtin } else { builtin.with_lots(lots).unwrap().0 };
        let parameters = Parameters::builtin().unwrap();
        let bench = Workbench::new(&library, &parameters, Options { draws: 0, ..Options::default() }).unwrap();
        let bar = formula::read_inline(text, "bar", &library).unwrap();
        let mixture = bench.mixture(&bar.formulas[0], CrystalState::Rested).unwrap();
        let model = bench.model_of(None);
        let mut chain = Chain::new(&mixture, None, model).unwrap();
        let changes = chain.changes(&mixture, None, model);
        let mut evaluator = chain.evaluator(model, mixture.beyond(None));
        look(&mut evaluator, model, &changes)
    }

    #[test]
    fn one_species_melts_at_its_melting_point_and_takes_its_heat() {
        let lots = "[lot.pure]\nlike = 'soy-wax-fully-hydrogenated'\nspecies = { SSS = 100 }\n";
        let parameters = Parameters::builtin().unwrap();
        let family = parameters.families.iter().position(|family| family.name == "sat").unwrap();
        with_central("pure 100", lots, |evaluator, model, _| {
            // Tristearin, beta: 73.0 °C, 194.2 kJ/mol, 891.5 g/mol (Wesdorp 1990, recalled), and the family's fitted shift.
            let melt_c = 73.0 + model.melt_shift_k[family];
            let clear_c = evaluator.clear_point_c().unwrap();
            assert!((clear_c - melt_c).abs() < 1e-4, "{clear_c} against {melt_c}");
            let (cold, latent_j_per_kg) = evaluator.point_with_latent(melt_c - 1.0).unwrap();
            assert!((cold.solids - 1.0).abs() < 1e-6, "{cold:?}");
            assert!((latent_j_per_kg - 194.2e3 / 0.8915).abs() < 1.0, "{latent_j_per_kg}");
            let melted = evaluator.point(melt_c + 1.0).unwrap();
            assert_eq!((melted.solids, melted.structure, melted.holding, melted.yield_kpa), (0.0, 0.0, 0.0, 0.0));
            // Its crystals just hold the oil up to where the last of them melts.
            evaluator.start_curve(Some(clear_c));
            let slip_c = evaluator.highest_c_with(1.0, |point| point.holding).unwrap().unwrap();
            assert!((slip_c - clear_c).abs() < 0.01, "{slip_c}");
        });
    }

    #[test]
    fn a_landmark_is_where_its_property_crosses_its_limit() {
        with_central(BAR, "", |evaluator, model, _| {
            let clear_c = evaluator.clear_point_c();
            assert!(evaluator.point(clear_c.unwrap() - 0.1).unwrap().solids > 0.0);
            assert!(evaluator.point(clear_c.unwrap() + 0.1).unwrap().solids <= 0.0);
            evaluator.start_curve(clear_c);
            let carries_c = evaluator.carries_c().unwrap().unwrap();
            let weeps_c = evaluator.weeps_c().unwrap().unwrap();
            let at = |evaluator: &mut Evaluator<'_>, celsius| evaluator.point(celsius).unwrap();
            assert!((at(evaluator, carries_c).yield_kpa / model.load_kpa - 1.0).abs() < 1e-3, "{carries_c}");
            assert!((at(evaluator, weeps_c).holding / model.weep_below - 1.0).abs() < 1e-3, "{weeps_c}");
            for percent in [1.0, 5.0, 20.0] {
                let target = 0.01 * percent;
                let found_c = match percent as u32 {
                    1 => evaluator.highest_c_with(0.01, |point| point.solids),
                    5 => evaluator.highest_c_with(0.05, |point| point.solids),
                    _ => evaluator.highest_c_with(0.20, |point| point.solids),
                };
                let found_c = found_c.unwrap().unwrap();
                assert!((at(evaluator, found_c).solids / target - 1.0).abs() < 1e-3, "{percent} % at {found_c}");
                assert!(at(evaluator, found_c + 0.05).solids < target && at(evaluator, found_c - 0.05).solids > target);
            }
            // Nothing is that firm, and where there is no clear point there is no curve.
            assert_eq!(evaluator.highest_c_with(1e12, |point| point.yield_kpa).unwrap(), None);
            evaluator.start_curve(None);
            assert_eq!(evaluator.carries_c().unwrap(), None);
        });
    }

    #[test]
    fn a_liquid_oil_has_no_landmark() {
        with_central("squalane 100", "", |evaluator, _, _| assert_eq!(evaluator.clear_point_c(), None));
    }

    #[test]
    fn what_melts_hotter_than_anything_is_computed_is_clear_at_the_end_of_that() {
        let parameters = Parameters::builtin().unwrap();
        let model = ModelDraw::at(&parameters, |_| 0.0);
        // The melt is computed up to 473.15 K. Alone, a species is clear where it melts.
        for (melt_k, clear_c) in [(373.15, 100.0), (463.15, 190.0), (500.0, 200.0), (700.0, 200.0)] {
            let alone = SpeciesAmount::crystal(1.0, 0.3, 0, melt_k, 5e4);
            let problem = Problem::new(&[alone], 1).unwrap();
            let mut solver = Solver::new(&problem);
            let found_c = Evaluator::new(&problem, &mut solver, &model, Beyond::NOTHING).clear_point_c().unwrap();
            assert!((found_c - clear_c).abs() < 1e-5, "{melt_k} K: {found_c} °C");
        }
    }

    #[test]
    fn what_the_model_leaves_out_scales_yield_stress_and_holding() {
        with_central(BAR, "", |evaluator, model, _| {
            let plain = evaluator.point(25.0).unwrap();
            assert_eq!(evaluator.beyond, Beyond::NOTHING);
            evaluator.beyond = Beyond { interplay: 3.0, holding: 0.5 };
            let scaled = evaluator.point(25.0).unwrap();
            assert!((scaled.yield_kpa / plain.yield_kpa - 3.0).abs() < 1e-9);
            assert!((scaled.holding / plain.holding - 0.5).abs() < 1e-9);
            assert!((scaled.structure - plain.structure).abs() < 1e-12);
            let (point, rates) = evaluator.rates(25.0, &[Change { temperature_k: 1.0, ..Change::default() }]).unwrap();
            assert!((point.yield_kpa / scaled.yield_kpa - 1.0).abs() < 1e-9);
            evaluator.beyond = Beyond::NOTHING;
            let (_, plain_rates) =
                evaluator.rates(25.0, &[Change { temperature_k: 1.0, ..Change::default() }]).unwrap();
            assert!((rates[0].yield_kpa / plain_rates[0].yield_kpa - 3.0).abs() < 1e-9);
            assert!((rates[0].holding / plain_rates[0].holding - 0.5).abs() < 1e-9);
            assert!(model.exponent > 1.0);
        });
    }

    #[test]
    fn rates_are_the_slopes_of_the_points() {
        let step_k = 1e-3;
        for (text, celsius) in [(BAR, 25.0), (BAR, 45.0), ("candelilla wax 12, coconut oil 50, olive oil 38", 22.0)] {
            with_central(text, "", |evaluator, _, changes| {
                let along_temperature = Change { temperature_k: 1.0, ..changes[0].clone() };
                let still = Change {
                    mass: vec![0.0; changes[0].mass.len()],
                    misfit: vec![0.0; changes[0].misfit.len()],
                    ..along_temperature
                };
                let (_, rates) = evaluator.rates(celsius, &[still]).unwrap();
                let colder = evaluator.point(celsius - step_k).unwrap();
                let hotter = evaluator.point(celsius + step_k).unwrap();
                for (what, of, rate) in [
                    ("solids", (|point| point.solids) as fn(&Point) -> f64, rates[0].solids),
                    ("structure", |point| point.structure, rates[0].structure),
                    ("holding", |point| point.holding, rates[0].holding),
                    ("yield stress", |point| point.yield_kpa, rates[0].yield_kpa),
                ] {
                    let slope = (of(&hotter) - of(&colder)) / (2.0 * step_k);
                    assert!(
                        (rate - slope).abs() <= 1e-3 * slope.abs(),
                        "{what} of {text} at {celsius}: {rate} against {slope}"
                    );
                    assert!(slope < 0.0, "{what}");
                }
            });
        }
    }
}
