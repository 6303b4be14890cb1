//! The state of a bar from a mixture, a draw and a temperature.

use std::sync::Arc;

use crate::crystals::Crystals;
use crate::equilibrium::EquilibriumError;
use crate::landmarks::Evaluator;
use crate::mixture::Mixture;
use crate::model_draw::Draw;

/// Evaluates a mixture in one draw after the other, in buffers that are kept.
///
/// # Example
/// ```
/// use barwright_blend::assess::Workbench;
/// use barwright_blend::{Model, Options};
/// use barwright_reference::{CrystalState, Library, formula};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let reading = formula::read_inline("beeswax 30, sunflower oil 70", "bar", &library)?;
/// let model = Model::builtin()?;
/// let bench = Workbench::new(&library, &model, Options { draws: 2, ..Options::default() })?;
/// let mut sampler = bench.sampler(&reading.formulas[0], CrystalState::Rested)?;
/// let central = sampler.at(bench.draw(None))?.point(25.0)?;
/// let first = sampler.at(bench.draw(Some(0)))?.point(25.0)?;
/// assert!(central.yield_kpa > 0.0 && central != first);
/// # Ok(())
/// # }
/// ```
#[derive(Debug, Clone)]
pub struct Sampler {
    /// Shared by all copies until one of them is given other amounts.
    mixture: Arc<Mixture>,
    /// Made by the first draw asked for, then filled again.
    as_set: Option<Crystals>,
    /// The same for [`Mixture::recrystallised`].
    recrystallised: Option<Crystals>,
}

impl Sampler {
    /// Makes a sampler. Nothing is computed before the first draw.
    pub fn new(mixture: Mixture) -> Self {
        Sampler { mixture: Arc::new(mixture), as_set: None, recrystallised: None }
    }

    /// The mixture.
    pub fn mixture(&self) -> &Mixture {
        &self.mixture
    }

    /// The mixture, to set other amounts or scores.
    pub fn mixture_mut(&mut self) -> &mut Mixture {
        Arc::make_mut(&mut self.mixture)
    }

    /// Fills the buffers with one draw; the first equilibrium asked for starts cold, whatever came before.
    ///
    /// # Errors
    /// As [`crate::equilibrium::Problem::new`].
    pub fn at<'s>(&'s mut self, draw: Draw<'s>) -> Result<Evaluator<'s>, EquilibriumError> {
        let as_set = filled(&mut self.as_set, &self.mixture, draw)?;
        let other = self.mixture.recrystallised();
        let recrystallised = other.map(|other| filled(&mut self.recrystallised, other, draw)).transpose()?;
        Ok(Evaluator::new(&self.mixture, draw, as_set, recrystallised))
    }
}

fn filled<'c>(
    crystals: &'c mut Option<Crystals>,
    mixture: &Mixture,
    draw: Draw<'_>,
) -> Result<&'c mut Crystals, EquilibriumError> {
    match crystals {
        Some(crystals) => {
            crystals.fill(mixture, draw)?;
            Ok(crystals)
        }
        None => Ok(crystals.insert(Crystals::new(mixture, draw)?)),
    }
}
