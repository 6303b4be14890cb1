//! Random blends.

use barwright_blend::equilibrium::{EquilibriumError, Problem, SpeciesAmount};
use barwright_blend::sampling::Draws;
use barwright_blend::{BlendError, Mixture, Model, ModelDraws};
use barwright_reference::{CrystalState, Formula, IngredientId, Library, Part};
use rand::seq::SliceRandom;
use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// A generator with a fixed seed.
pub fn generator(seed: u64) -> Pcg64 {
    Pcg64::seed_from_u64(seed)
}

/// A formula of 1 to `most` different ingredients, one of them no powder; shares span three decades.
pub fn formula(generator: &mut impl Rng, library: &Library, most: usize) -> Formula {
    let count = generator.random_range(1..=most.min(library.ingredients.len()));
    let mut chosen: Vec<IngredientId> = library.by_id().map(|(id, _)| id).collect();
    chosen.shuffle(generator);
    // Powder alone is no bar.
    let is_powder = |id: &IngredientId| library.get(*id).is_some_and(|one| one.powder.is_some());
    let holds = chosen.iter().position(|id| !is_powder(id)).unwrap_or(0);
    chosen.swap(0, holds);
    let masses: Vec<f64> = (0..count).map(|_| 10_f64.powf(generator.random_range(-3.0..0.0))).collect();
    let total: f64 = masses.iter().sum();
    let parts =
        chosen.into_iter().zip(masses).map(|(ingredient, mass)| Part { ingredient, percent: 100.0 * mass / total });
    Formula { name: "random blend".to_owned(), parts: parts.collect() }
}

/// One of the three crystal states.
pub fn state(generator: &mut impl Rng) -> CrystalState {
    CrystalState::ALL[generator.random_range(0..CrystalState::ALL.len())]
}

/// The species of a formula with central parameters.
///
/// # Errors
/// As [`Mixture::new`].
pub fn species(
    library: &Library,
    model: &Model,
    formula: &Formula,
    state: CrystalState,
) -> Result<Vec<SpeciesAmount>, BlendError> {
    let draws = Draws::none();
    let mixture = Mixture::new(library, model, formula, state, &draws)?;
    Ok(mixture.species(ModelDraws::new(model, &draws).draw(None)))
}

/// The problems of a formula with central parameters: with its crystals as they set and, where some can form anew, with those.
///
/// # Errors
/// As [`Mixture::new`] and [`Problem::new`].
pub fn problems(
    library: &Library,
    model: &Model,
    formula: &Formula,
    state: CrystalState,
) -> Result<Vec<Problem>, BlendError> {
    let draws = Draws::none();
    let mixture = Mixture::new(library, model, formula, state, &draws)?;
    let models = ModelDraws::new(model, &draws);
    let problem = |mixture: &Mixture| {
        Problem::new(&mixture.species(models.draw(None)), mixture.family_count()).map_err(BlendError::from)
    };
    std::iter::once(&mixture).chain(mixture.recrystallised()).map(problem).collect()
}

/// The problem of a formula with central parameters.
///
/// # Errors
/// As [`Mixture::new`] and [`Problem::new`].
pub fn problem(
    library: &Library,
    model: &Model,
    formula: &Formula,
    state: CrystalState,
) -> Result<Problem, BlendError> {
    let species = species(library, model, formula, state)?;
    Problem::new(&species, model.parameters.families.len()).map_err(|error: EquilibriumError| error.into())
}
