//! The model: its parameters, and what a maker's own trials say.

use crate::coordinate;
use crate::maker::{
    CAST, COMPLIANCE, DISCREPANCY_MELT, HEAT, HOLDING, INTERPLAY, LOAD, LOT, MELT, Maker, MakerError, WEEP,
};
use crate::model_file::ParameterError;
use crate::parameters::Parameters;

/// Parameters and what was learned: the source of every draw.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// Centres and spreads, the same for every maker; learning never changes them.
    pub parameters: Parameters,
    /// What one maker's trials say of the scores behind the draws.
    pub maker: Maker,
}

impl From<Parameters> for Model {
    /// The model of a maker without trials.
    fn from(parameters: Parameters) -> Self {
        Model { parameters, maker: Maker::default() }
    }
}

impl Model {
    /// Returns the model that ships with barwright, of a maker without trials.
    ///
    /// # Errors
    /// As [`Parameters::builtin`].
    pub fn builtin() -> Result<Self, ParameterError> {
        Parameters::builtin().map(Model::from)
    }

    /// Returns the same model with what a maker's trials say, in place of whatever was learned before.
    ///
    /// # Arguments
    /// * `maker`: what was learned with its parameters.
    ///
    /// # Errors
    /// [`MakerError::UnknownName`] when the model has no such score: what was learned belongs to another version of it.
    ///
    /// # Example
    /// ```
    /// use barwright_blend::{Maker, Model, Options, assess};
    /// use barwright_reference::{Library, formula};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let library = Library::builtin()?;
    /// let reading = formula::read_inline("beeswax 30, cocoa butter 30, sunflower oil 40", "bar", &library)?;
    /// let (bar, options) = (&reading.formulas[0], Options::default());
    /// let before = assess(&library, &Model::builtin()?, bar, &options)?;
    /// let firmer = Maker::new(vec!["cast".into()], vec![1.0], &[vec![0.1]], 4)?;
    /// let after = assess(&library, &Model::builtin()?.taught(firmer)?, bar, &options)?;
    /// assert!(after.firmness[0].yield_stress_kpa.value > before.firmness[0].yield_stress_kpa.value);
    /// assert_eq!((before.trials, after.trials), (0, 4));
    /// # Ok(())
    /// # }
    /// ```
    pub fn taught(mut self, maker: Maker) -> Result<Self, MakerError> {
        let known: Vec<String> =
            coordinate::all(&self.parameters).iter().map(|one| one.name(&self.parameters)).collect();
        for name in &maker.names {
            let kinds = [DISCREPANCY_MELT, HOLDING, INTERPLAY, MELT, HEAT, LOT];
            let of_matter = name.split_once(':').is_some_and(|(kind, _)| kinds.contains(&kind));
            if !(of_matter || [CAST, COMPLIANCE, LOAD, WEEP].contains(&name.as_str()) || known.contains(name)) {
                return Err(MakerError::UnknownName { name: name.clone() });
            }
        }
        self.maker = maker;
        Ok(self)
    }
}
