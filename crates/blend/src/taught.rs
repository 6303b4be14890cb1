//! Parameters with what a maker's own trials taught.

use crate::coordinate;
use crate::maker::{BEYOND_MELT, CAST, COMPLIANCE, HEAT, HOLDING, INTERPLAY, LOAD, LOT, MELT, Maker, MakerError, WEEP};
use crate::parameters::Parameters;

impl Parameters {
    /// Returns the same parameters with what a maker's trials say beside them; whatever was there before is replaced.
    ///
    /// # Arguments
    /// * `maker`: what was learned with these parameters.
    ///
    /// # Errors
    /// [`MakerError::UnknownName`] when the model has no such score: what was learned belongs to another version of it.
    ///
    /// # Example
    /// ```
    /// use barwright_blend::{Maker, Options, Parameters, assess};
    /// use barwright_reference::{Library, formula};
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let library = Library::builtin().map_err(|faults| faults[0].to_string())?;
    /// let reading = formula::read_inline("beeswax 30, cocoa butter 30, sunflower oil 40", "bar", &library)
    ///     .map_err(|errors| errors[0].message.clone())?;
    /// let (bar, options) = (&reading.formulas[0], Options::default());
    /// let before = assess(&library, &Parameters::builtin()?, bar, &options)?;
    /// let firmer = Maker::new(vec!["cast".into()], vec![1.0], &[vec![0.1]], 4)?;
    /// let after = assess(&library, &Parameters::builtin()?.taught(firmer)?, bar, &options)?;
    /// assert!(after.firmness[0].yield_stress_kpa.value > before.firmness[0].yield_stress_kpa.value);
    /// assert_eq!((before.trials, after.trials), (0, 4));
    /// # Ok(())
    /// # }
    /// ```
    pub fn taught(mut self, maker: Maker) -> Result<Self, MakerError> {
        let known: Vec<String> = coordinate::all(&self).iter().map(|one| one.name(&self)).collect();
        for name in &maker.names {
            let kinds = [BEYOND_MELT, HOLDING, INTERPLAY, MELT, HEAT, LOT];
            let of_matter = name.split_once(':').is_some_and(|(kind, _)| kinds.contains(&kind));
            if !(of_matter || [CAST, COMPLIANCE, LOAD, WEEP].contains(&name.as_str()) || known.contains(name)) {
                return Err(MakerError::UnknownName { name: name.clone() });
            }
        }
        self.maker = maker;
        Ok(self)
    }
}
