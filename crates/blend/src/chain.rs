//! Buffers that follow one mixture through its draws: amounts, problem and solver, allocated once.

use crate::beyond::Beyond;
use crate::equilibrium::{EquilibriumError, Problem, Solver, SpeciesAmount};
use crate::landmarks::{Direction, Evaluator};
use crate::mixture::Mixture;
use crate::model_draw::ModelDraw;

/// One mixture, ready to be solved draw by draw.
#[derive(Debug, Clone)]
pub struct Chain {
    amounts: Vec<SpeciesAmount>,
    problem: Problem,
    solver: Solver,
    /// The same for [`Mixture::recrystallised`].
    recrystallised: Option<Box<Chain>>,
}

impl Chain {
    /// Makes the buffers, filled with one draw.
    ///
    /// # Arguments
    /// * `mixture`: the mixture.
    /// * `draw`, `model`: number of the draw and its model; `None` with the central model.
    ///
    /// # Errors
    /// As [`Problem::new`].
    pub fn new(mixture: &Mixture, draw: Option<usize>, model: &ModelDraw) -> Result<Self, EquilibriumError> {
        let mut amounts = Vec::new();
        mixture.amounts(draw, model, &mut amounts);
        let problem = Problem::new(&amounts, mixture.family_count())?;
        let solver = Solver::new(&problem);
        let other = mixture.recrystallised().map(|other| Chain::new(other, draw, model).map(Box::new));
        Ok(Chain { amounts, problem, solver, recrystallised: other.transpose()? })
    }

    /// Fills the buffers with another draw, or other amounts, of the same mixture; the next solution starts cold.
    ///
    /// # Errors
    /// As [`Problem::new`].
    pub fn fill(&mut self, mixture: &Mixture, draw: Option<usize>, model: &ModelDraw) -> Result<(), EquilibriumError> {
        mixture.amounts(draw, model, &mut self.amounts);
        self.problem.fill(&self.amounts)?;
        self.solver.reset();
        match (&mut self.recrystallised, mixture.recrystallised()) {
            (Some(chain), Some(other)) => chain.fill(other, draw, model),
            _ => Ok(()),
        }
    }

    /// The change along one more percent of each part of the mixture it was filled from, in the order of [`Mixture::parts`].
    ///
    /// # Arguments
    /// * `mixture`, `draw`, `model`: those it was filled from.
    pub fn changes(&self, mixture: &Mixture, draw: Option<usize>, model: &ModelDraw) -> Vec<Direction> {
        let mut rates = vec![0.0; mixture.parts().count()];
        (0..rates.len())
            .map(|part| {
                rates.fill(0.0);
                rates[part] = 1.0;
                self.direction(mixture, draw, model, &rates)
            })
            .collect()
    }

    fn direction(&self, mixture: &Mixture, draw: Option<usize>, model: &ModelDraw, rates: &[f64]) -> Direction {
        let mut direction = Direction::default();
        mixture.change(draw, model, &self.amounts, rates, &mut direction.as_set);
        if let (Some(chain), Some(other)) = (&self.recrystallised, mixture.recrystallised()) {
            other.change(draw, model, &chain.amounts, rates, &mut direction.recrystallised);
        }
        direction
    }

    /// Largest over the families of `Σ x_i γ_i K_i` in the melt: above 1 something crystallises.
    pub fn largest_saturation(&self, temperature_k: f64) -> f64 {
        let other = self.recrystallised.as_ref().map_or(0.0, |other| other.largest_saturation(temperature_k));
        self.problem.largest_saturation(temperature_k).max(other)
    }

    /// Prepares to compute points.
    pub fn evaluator<'b>(&'b mut self, model: &'b ModelDraw, beyond: Beyond) -> Evaluator<'b> {
        let other = self.recrystallised.as_mut().map(|other| (&other.problem, &mut other.solver));
        Evaluator::new(&self.problem, &mut self.solver, other, model, beyond)
    }
}
