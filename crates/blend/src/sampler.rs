//! The state of a bar from a mixture, a draw and a temperature.

use std::sync::Arc;

use crate::crystals::Crystals;
use crate::equilibrium::EquilibriumError;
use crate::landmarks::Evaluator;
use crate::mixture::{DrawnSpecies, Mixture};
use crate::model_draw::Draw;

/// What one draw says of a mixture, whatever its amounts.
#[derive(Debug, Clone, Default)]
pub struct DrawnMixture {
    as_set: DrawnSpecies,
    /// The same for [`Mixture::recrystallised`].
    recrystallised: DrawnSpecies,
}

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
    /// Of the draw last asked for by itself.
    drawn: DrawnMixture,
}

impl Sampler {
    /// Makes a sampler. Nothing is computed before the first draw.
    pub fn new(mixture: Mixture) -> Self {
        Sampler { mixture: Arc::new(mixture), as_set: None, recrystallised: None, drawn: DrawnMixture::default() }
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
        let mut drawn = std::mem::take(&mut self.drawn);
        self.draw(draw, &mut drawn);
        self.drawn = drawn;
        evaluator(&self.mixture, [&mut self.as_set, &mut self.recrystallised], draw, &self.drawn)
    }

    /// What a draw says of the mixture, to evaluate it at one set of amounts after the other.
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
    /// let bench = Workbench::new(&library, &model, Options { draws: 0, ..Options::default() })?;
    /// let mut sampler = bench.sampler(&reading.formulas[0], CrystalState::Rested)?;
    /// let central = bench.draw(None);
    /// let drawn = sampler.drawn(central);
    /// sampler.mixture_mut().set_percents(&[20.0, 80.0]);
    /// let softer = sampler.at_drawn(central, &drawn)?.point(25.0)?;
    /// assert_eq!(softer, sampler.at(central)?.point(25.0)?);
    /// # Ok(())
    /// # }
    /// ```
    pub fn drawn(&self, draw: Draw<'_>) -> DrawnMixture {
        let mut drawn = DrawnMixture::default();
        self.draw(draw, &mut drawn);
        drawn
    }

    /// The same as [`Sampler::at`] where it is known what the draw says, which holds at any amounts and whatever the model leaves out.
    ///
    /// # Errors
    /// As [`crate::equilibrium::Problem::new`].
    pub fn at_drawn<'s>(&'s mut self, draw: Draw<'s>, drawn: &DrawnMixture) -> Result<Evaluator<'s>, EquilibriumError> {
        evaluator(&self.mixture, [&mut self.as_set, &mut self.recrystallised], draw, drawn)
    }

    fn draw(&self, draw: Draw<'_>, drawn: &mut DrawnMixture) {
        self.mixture.draw(draw, &mut drawn.as_set);
        if let Some(other) = self.mixture.recrystallised() {
            other.draw(draw, &mut drawn.recrystallised);
        }
    }
}

fn evaluator<'s>(
    mixture: &'s Mixture,
    [as_set, anew]: [&'s mut Option<Crystals>; 2],
    draw: Draw<'s>,
    drawn: &DrawnMixture,
) -> Result<Evaluator<'s>, EquilibriumError> {
    let as_set = filled(as_set, mixture, draw, &drawn.as_set)?;
    let other = mixture.recrystallised();
    let recrystallised = other.map(|other| filled(anew, other, draw, &drawn.recrystallised)).transpose()?;
    Ok(Evaluator::new(mixture, draw, as_set, recrystallised))
}

fn filled<'c>(
    crystals: &'c mut Option<Crystals>,
    mixture: &Mixture,
    draw: Draw<'_>,
    drawn: &DrawnSpecies,
) -> Result<&'c mut Crystals, EquilibriumError> {
    match crystals {
        Some(crystals) => {
            crystals.fill(mixture, draw, drawn)?;
            Ok(crystals)
        }
        None => Ok(crystals.insert(Crystals::new(mixture, draw, drawn)?)),
    }
}
