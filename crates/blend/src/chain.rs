//! Buffers that follow one mixture through its draws: amounts, problem and solver, allocated once.

use crate::equilibrium::{Change, EquilibriumError, Problem, Solver, SpeciesAmount};
use crate::landmarks::{Beyond, Evaluator};
use crate::mixture::Mixture;
use crate::model_draw::ModelDraw;

/// One mixture, ready to be solved draw by draw.
#[derive(Debug)]
pub struct Chain {
    amounts: Vec<SpeciesAmount>,
    problem: Problem,
    solver: Solver,
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
        Ok(Chain { amounts, problem, solver })
    }

    /// Fills the buffers with another draw, or other amounts, of the same mixture; the next solution starts cold.
    ///
    /// # Errors
    /// As [`Problem::new`].
    pub fn fill(&mut self, mixture: &Mixture, draw: Option<usize>, model: &ModelDraw) -> Result<(), EquilibriumError> {
        mixture.amounts(draw, model, &mut self.amounts);
        self.problem.fill(&self.amounts)?;
        self.solver.reset();
        Ok(())
    }

    /// The change along one more percent of each part of the mixture it was filled from, in the order of [`Mixture::parts`].
    ///
    /// # Arguments
    /// * `mixture`, `draw`, `model`: those it was filled from.
    pub fn changes(&self, mixture: &Mixture, draw: Option<usize>, model: &ModelDraw) -> Vec<Change> {
        let mut rates = vec![0.0; mixture.parts().count()];
        (0..rates.len())
            .map(|part| {
                rates.fill(0.0);
                rates[part] = 1.0;
                let mut change = Change::default();
                mixture.change(draw, model, &self.amounts, &rates, &mut change);
                change
            })
            .collect()
    }

    /// The mixture as the solver sees it.
    pub fn problem(&self) -> &Problem {
        &self.problem
    }

    /// Prepares to compute points.
    pub fn evaluator<'b>(&'b mut self, model: &'b ModelDraw, beyond: Beyond) -> Evaluator<'b> {
        Evaluator::new(&self.problem, &mut self.solver, model, beyond)
    }
}
