//! The crystals of a mixture in one draw: the state of the bar at a temperature, and its response to a change.

use crate::discrepancy::DrawnDiscrepancy;
use crate::equilibrium::{Change, EquilibriumError, Phases, Problem, Saturation, Solver, SpeciesAmount};
use crate::firmness;
use crate::mixture::{DrawnSpecies, Mixture};
use crate::model_draw::{Draw, ModelDraw};
use crate::units::ZERO_CELSIUS_K;

/// State of the bar at one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Temperature, °C.
    pub temperature_c: f64,
    /// Solids, mass fraction.
    pub solids: f64,
    /// Structure φ_eff; with powder in the bar, that of crystals alone that would be as stiff.
    pub structure: f64,
    /// Crystals over their critical gelling level.
    pub holding: f64,
    /// Yield stress, kPa.
    pub yield_kpa: f64,
}

/// Response of the bar at one temperature to a change of the mixture or of the temperature, per unit of the change.
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

/// One set of crystals a mixture can have: its species in one draw, and buffers that are allocated once.
#[derive(Debug, Clone)]
pub(crate) struct Crystals {
    amounts: Vec<SpeciesAmount>,
    problem: Problem,
    solver: Solver,
    /// Mean melting point of what has crystallised of each family, K.
    melt_k: Vec<f64>,
    /// What has crystallised of each family, mass fraction.
    fractions: Vec<f64>,
    /// What the powder of the bar multiplies the yield stress by.
    stiffening: f64,
}

impl Crystals {
    /// Makes the buffers, filled with one draw.
    ///
    /// # Errors
    /// As [`Problem::new`].
    pub fn new(mixture: &Mixture, draw: Draw<'_>, drawn: &DrawnSpecies) -> Result<Self, EquilibriumError> {
        let mut amounts = Vec::new();
        mixture.amounts(draw, drawn, &mut amounts);
        let problem = Problem::new(&amounts, mixture.family_count())?;
        let solver = Solver::new(&problem);
        let stiffening = mixture.filler(draw.number).stiffening();
        Ok(Crystals { amounts, problem, solver, melt_k: Vec::new(), fractions: Vec::new(), stiffening })
    }

    /// Fills the buffers with another draw, or other amounts, of the same mixture; the next solution starts cold.
    ///
    /// # Errors
    /// As [`Problem::new`].
    pub fn fill(&mut self, mixture: &Mixture, draw: Draw<'_>, drawn: &DrawnSpecies) -> Result<(), EquilibriumError> {
        mixture.amounts(draw, drawn, &mut self.amounts);
        self.problem.fill(&self.amounts)?;
        self.stiffening = mixture.filler(draw.number).stiffening();
        self.forget();
        Ok(())
    }

    /// Forgets every solution; the next one starts cold.
    pub fn forget(&mut self) {
        self.solver.reset();
    }

    /// The change of its species when the amounts of the mixture it was filled from change.
    ///
    /// # Arguments
    /// * `mixture`, `draw`: those it was filled from.
    /// * `rates`: change of each of [`Mixture::parts`], mass %.
    pub fn change(&self, mixture: &Mixture, draw: Draw<'_>, rates: &[f64]) -> Change {
        mixture.change(draw, &self.amounts, rates)
    }

    /// Saturation of the melt with the family that is nearest to crystallising.
    pub fn saturation(&self, temperature_k: f64) -> Saturation {
        self.problem.saturation(temperature_k)
    }

    /// The state of a bar of these crystals, from what has crystallised of each family.
    pub fn read(&self, model: &ModelDraw, discrepancy: DrawnDiscrepancy, temperature_c: f64) -> Point {
        let structure =
            self.more_structure(model) * firmness::structure(model, &self.fractions, &self.melt_k, temperature_c);
        Point {
            temperature_c,
            solids: self.fractions.iter().sum::<f64>().clamp(0.0, 1.0),
            structure,
            holding: discrepancy.holding * firmness::holding(model, &self.fractions),
            yield_kpa: discrepancy.interplay * firmness::yield_kpa(model, structure),
        }
    }

    /// What the powder multiplies the structure by, so that the yield stress, its power, comes out stiffened.
    fn more_structure(&self, model: &ModelDraw) -> f64 {
        if self.stiffening == 1.0 { 1.0 } else { self.stiffening.powf(1.0 / model.exponent) }
    }

    /// Solves the equilibrium, keeps what has crystallised of each family, and looks at the phases.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub fn solve<T>(&mut self, temperature_c: f64, look: impl FnOnce(Phases<'_>) -> T) -> Result<T, EquilibriumError> {
        let phases = self.solver.solve(&self.problem, temperature_c + ZERO_CELSIUS_K)?;
        phases.family_solids(&mut self.fractions, &mut self.melt_k);
        Ok(look(phases))
    }

    /// The state of a bar of these crystals, and its rates along each of `changes`.
    ///
    /// # Errors
    /// As [`Solver::solve`].
    pub fn rates<'c>(
        &mut self,
        model: &ModelDraw,
        discrepancy: DrawnDiscrepancy,
        temperature_c: f64,
        changes: impl Iterator<Item = &'c Change> + Clone,
    ) -> Result<(Point, Vec<PointRates>), EquilibriumError> {
        let along: Vec<_> = self.solve(temperature_c, |phases| {
            let linearised = phases.linearise();
            changes.clone().map(|change| linearised.along(change)).collect()
        })?;
        let point = self.read(model, discrepancy, temperature_c);
        let rates = changes.zip(&along).map(|(change, crystals)| {
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
            structure *= self.more_structure(model);
            structure += point.structure * change.ln_stiffening / model.exponent;
            let yield_kpa = if point.structure > 0.0 {
                point.yield_kpa * model.exponent * structure / point.structure
            } else {
                0.0
            };
            PointRates {
                solids: crystals.fractions.iter().sum(),
                structure,
                holding: discrepancy.holding * holding,
                yield_kpa,
            }
        });
        Ok((point, rates.collect()))
    }
}
