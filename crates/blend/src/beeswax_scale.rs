//! The scale of the beeswax equivalent: structure of beeswax in liquid oil, laid draw by draw and level by level where it is read.

use std::sync::{Mutex, OnceLock, PoisonError};

use barwright_reference::{CrystalState, Formula, Library, Part};

use crate::beeswax::{self, NEAT_LEVEL, NEAT_PERCENT, SCALE_PERCENT};
use crate::discrepancy::DiscrepancyDraws;
use crate::equilibrium::EquilibriumError;
use crate::error::BlendError;
use crate::interval::Spread;
use crate::mixture::Mixture;
use crate::model::Model;
use crate::model_draw::Draw;
use crate::sampler::Sampler;
use crate::sampling::Draws;

/// The liquid oil of the scale.
const SCALE_OIL: &str = "sunflower-oil";

/// The wax of the scale.
const SCALE_WAX: &str = "beeswax";

/// One level of the scale.
#[derive(Debug)]
struct Level {
    sampler: Sampler,
    /// Buffers that nobody uses now.
    idle: Mutex<Vec<Sampler>>,
    /// Structure at each of the temperatures, where it was read.
    known: Spread<OnceLock<Vec<f64>>>,
}

/// Beeswax in liquid oil at some temperatures, in any draw. No figure depends on which others were read before it.
#[derive(Debug)]
pub(crate) struct BeeswaxScale {
    at_c: Vec<f64>,
    /// One for each of [`SCALE_PERCENT`] but the first, at which there is no beeswax.
    levels: Vec<Level>,
}

impl BeeswaxScale {
    /// Prepares the scale; nothing is solved yet.
    ///
    /// # Arguments
    /// * `library`, `model`, `state`: as for [`Mixture::new`].
    /// * `at_c`: temperatures, °C.
    /// * `draws`: number of draws.
    ///
    /// # Errors
    /// [`BlendError::MissingReference`], or as [`Mixture::new`].
    pub fn new(
        library: &Library,
        model: &Model,
        state: CrystalState,
        at_c: &[f64],
        draws: usize,
    ) -> Result<Self, BlendError> {
        let find = |key: &'static str| library.id_of(key).ok_or(BlendError::MissingReference { key });
        let (wax, oil) = (find(SCALE_WAX)?, find(SCALE_OIL)?);
        let level = |&wax_percent: &f64| -> Result<Level, BlendError> {
            let parts = vec![
                Part { ingredient: wax, percent: wax_percent },
                Part { ingredient: oil, percent: NEAT_PERCENT - wax_percent },
            ];
            let formula = Formula { name: String::new(), parts };
            // Only the model's own spread counts, so the two ingredients have their central composition.
            let mut mixture = Mixture::new(library, model, &formula, state, &Draws::none())?;
            let plain = vec![0.0; mixture.score_names().count()];
            mixture.set_scores(plain.into_iter(), DiscrepancyDraws::default());
            let known = Spread { central: OnceLock::new(), drawn: vec![OnceLock::new(); draws] };
            Ok(Level { sampler: Sampler::new(mixture), idle: Mutex::default(), known })
        };
        let levels = SCALE_PERCENT[1..].iter().map(level).collect::<Result<_, _>>()?;
        Ok(BeeswaxScale { at_c: at_c.to_vec(), levels })
    }

    /// The percentage of beeswax in oil that has a given structure: [`beeswax::percent_of`].
    ///
    /// # Arguments
    /// * `at`: position of the temperature.
    /// * `draw`: the draw.
    /// * `structure`: `φ_eff`, dimensionless.
    ///
    /// # Errors
    /// As [`crate::equilibrium::Solver::solve`].
    pub fn percent(&self, at: usize, draw: Draw<'_>, structure: f64) -> Result<Option<f64>, EquilibriumError> {
        beeswax::percent_of(structure, |level| self.structure(level, at, draw))
    }

    /// Whether neat beeswax is liquid.
    ///
    /// # Arguments
    /// * `at`, `draw`: as for [`BeeswaxScale::percent`].
    ///
    /// # Errors
    /// As [`crate::equilibrium::Solver::solve`].
    pub fn is_liquid(&self, at: usize, draw: Draw<'_>) -> Result<bool, EquilibriumError> {
        Ok(self.structure(NEAT_LEVEL, at, draw)? <= 0.0)
    }

    /// The structure of a percentage of beeswax in oil at any temperature, dimensionless: [`beeswax::structure_of`].
    ///
    /// # Arguments
    /// * `percent`: mass %.
    /// * `temperature_c`: °C.
    /// * `draw`: the draw.
    ///
    /// # Errors
    /// As [`crate::equilibrium::Solver::solve`].
    pub fn structure_of(&self, percent: f64, temperature_c: f64, draw: Draw<'_>) -> Result<f64, EquilibriumError> {
        beeswax::structure_of(percent, |level| match self.level(level) {
            Some(level) => Ok(level.structures(&[temperature_c], draw)?[0]),
            None => Ok(0.0),
        })
    }

    /// The level of a number; `None` for the first, at which there is no beeswax.
    fn level(&self, number: usize) -> Option<&Level> {
        self.levels.get(number.checked_sub(1)?)
    }

    /// Structure at a level and one of the temperatures.
    fn structure(&self, level: usize, at: usize, draw: Draw<'_>) -> Result<f64, EquilibriumError> {
        let Some(level) = self.level(level) else { return Ok(0.0) };
        let known = draw.number.and_then(|index| level.known.drawn.get(index)).unwrap_or(&level.known.central);
        let structures = match known.get() {
            Some(structures) => structures,
            None => {
                let found = level.structures(&self.at_c, draw)?;
                known.get_or_init(|| found)
            }
        };
        Ok(structures.get(at).copied().unwrap_or(0.0))
    }
}

impl Level {
    /// Solves the structure at each of some temperatures.
    fn structures(&self, at_c: &[f64], draw: Draw<'_>) -> Result<Vec<f64>, EquilibriumError> {
        let idle = || self.idle.lock().unwrap_or_else(PoisonError::into_inner);
        let free = idle().pop();
        let mut sampler = free.unwrap_or_else(|| self.sampler.clone());
        let mut evaluator = sampler.at(draw)?;
        let found = at_c.iter().map(|&celsius| Ok(evaluator.point(celsius)?.structure)).collect();
        idle().push(sampler);
        found
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
    #![allow(clippy::float_cmp, reason = "the same to the last bit")]

    use super::*;
    use crate::model_draw::ModelDraws;

    const AT_C: [f64; 3] = [20.0, 30.0, 80.0];

    #[test]
    fn no_figure_depends_on_what_was_read_before_it() {
        let (library, model) = (Library::builtin().unwrap(), Model::builtin().unwrap());
        let models = ModelDraws::new(&model, &Draws::new(20, 3));
        let scale = || BeeswaxScale::new(&library, &model, CrystalState::Rested, &AT_C, 3).unwrap();
        let all = scale();
        for number in [None, Some(0), Some(2)] {
            let draw = models.draw(number);
            for level in (0..SCALE_PERCENT.len()).rev() {
                for at in [1, 0] {
                    let structure = all.structure(level, at, draw).unwrap();
                    assert_eq!(scale().structure(level, at, draw).unwrap(), structure);
                    let celsius = AT_C[at];
                    let alone = scale().structure_of(SCALE_PERCENT[level], celsius, draw).unwrap();
                    assert!((alone - structure).abs() <= 1e-9 * structure, "{alone} {structure}");
                    if level > 0 {
                        assert!(structure > 0.0);
                        let percent = scale().percent(at, draw, structure).unwrap().unwrap();
                        assert!((percent / SCALE_PERCENT[level] - 1.0).abs() < 1e-9, "{percent}");
                    }
                }
            }
            assert!(!all.is_liquid(0, draw).unwrap() && all.is_liquid(2, draw).unwrap());
        }
    }
}
