//! What the model expects of a trial, before or after learning.

use barwright_blend::assess::Workbench;
use barwright_blend::sampling::Draws;
use barwright_blend::{BlendError, Estimate, Mixture, Model, ModelDraws, Options, Sampler, Spread};
use barwright_reference::Library;
use schemars::JsonSchema;
use serde::Serialize;

use crate::error::LearnError;
use crate::likelihood::Site;
use crate::reading::Read;
use crate::trial::{Test, Trial, shown};

/// Expected result of one trial.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Expected {
    /// In the unit of the test: slip point °C; depth 0.1 mm; grams; highest temperature held for a day °C; finest feature mm; index of graininess.
    /// Of the bar itself: a single test scatters about it.
    pub value: Estimate,
    /// Probability of the result, including the scatter of the test; `None` for a figure.
    pub probability: Option<f64>,
    /// Number of the maker's trials it rests on.
    pub trials: usize,
}

/// Returns what the model expects of a trial.
///
/// # Arguments
/// * `library`: reference tables, with the maker's lots.
/// * `model`: with what was learned or without ([`crate::Learned::applied`]).
/// * `trial`: the trial; only the probability depends on its result.
/// * `draws`, `seed`: of the interval; as [`Options::draws`] and [`Options::seed`].
///
/// # Returns
/// The central value with its 90 % interval over all that is uncertain: the maker, the model and the lots.
///
/// # Errors
/// [`LearnError::Trial`] for an invalid trial, [`LearnError::Blend`].
///
/// # Validity
/// As [`barwright_blend::assess()`]; a bar without the landmark counts as −20 °C.
///
/// # Example
/// ```
/// use barwright_blend::Model;
/// use barwright_reference::{Library, formula};
/// use barwright_trials::{Test, Trial, predict};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let library = Library::builtin()?;
/// let reading = formula::read_inline("beeswax 30, cocoa butter 30, sunflower oil 40", "bar", &library)?;
/// let test = Test::Shelf { at_c: 40.0, hours: 24.0, kept: true };
/// let trial = Trial { label: "shelf".into(), formula: reading.formulas[0].clone(), days: 7.0, tempered: false, test };
/// let expected = predict(&library, &Model::builtin()?, &trial, 64, 20)?;
/// assert!(expected.value.low < expected.value.value && expected.probability.unwrap() > 0.5);
/// # Ok(())
/// # }
/// ```
///
/// # Source
/// As [`crate::trial`] for the tests, [`barwright_blend::theory`] for the model.
pub fn predict(
    library: &Library,
    model: &Model,
    trial: &Trial,
    draws: usize,
    seed: u64,
) -> Result<Expected, LearnError> {
    let fault = |error| LearnError::Trial { number: 1, label: trial.label.clone(), error };
    trial.check().map_err(fault)?;
    let trials = model.maker.trials();
    let (Some(read), Some(site)) = (Read::of(&trial.test), Site::of(&trial.test)) else {
        let options = Options { at_c: Vec::new(), state: trial.state(), draws, seed, ..Options::default() };
        let value = Workbench::new(library, model, options)?.assess(&trial.formula)?.grain.risk;
        let seen = trial.test == Test::Grain { seen: true };
        return Ok(Expected { value, probability: Some(if seen { value.value } else { 1.0 - value.value }), trials });
    };
    let etas = readings(library, model, trial, read, &Draws::new(seed, draws))?;
    let unit = |eta: f64| match read {
        Read::Slip | Read::Hold => eta,
        Read::LnYield { .. } => shown(&trial.test, eta.exp()),
        Read::LnFinest { .. } => eta.exp(),
    };
    let probability = site.probability(etas.central, 0.0).map(|central| {
        let count = etas.drawn.len();
        let drawn = etas.drawn.iter().filter_map(|&eta| site.probability(eta, 0.0));
        if count == 0 { central } else { drawn.sum::<f64>() / count as f64 }
    });
    Ok(Expected { value: etas.estimate(|&eta| unit(eta)), probability, trials })
}

/// The reading of a trial by the central model and in every draw.
pub(crate) fn readings(
    library: &Library,
    model: &Model,
    trial: &Trial,
    read: Read,
    draws: &Draws,
) -> Result<Spread<f64>, BlendError> {
    let models = ModelDraws::new(model, draws);
    let mixture = Mixture::new(library, model, &trial.formula, trial.state(), draws)?;
    let spread = models.spread(draws.count(), Sampler::new(mixture), |sampler, draw| {
        Ok(read.value(&mut sampler.at(draw)?, &model.parameters)?.sharp)
    })?;
    Ok(spread)
}
