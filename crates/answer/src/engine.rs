//! What every answer is worked out from: the tables with the maker's lots, and the model with what their bench tests taught.

use barwright_blend::assess::Workbench;
use barwright_blend::{Model, Options};
use barwright_reference::{Formula, IngredientId, Library, Lookup, Part};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::refusal::{Fault, Refusal};
use crate::words::names::{list, name};

/// Shares that add up to 100 % this closely are taken as they are.
const WHOLE_PERCENT: f64 = 1e-6;

/// Tables and model.
#[derive(Debug, Clone)]
pub struct Engine {
    /// Reference tables and lots.
    pub library: Library,
    /// The model, with what bench tests taught.
    pub model: Model,
}

/// A formula in a question.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Recipe {
    /// Its name.
    pub name: String,
    /// Its parts.
    pub parts: Vec<Amount>,
    /// What its file remarks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<String>,
}

/// A part of a formula in a question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Amount {
    /// Any name of the ingredient.
    pub ingredient: String,
    /// Parts by mass, of any total.
    pub amount: f64,
}

impl Recipe {
    /// Asks about a formula that was read.
    pub fn of(formula: &Formula, library: &Library) -> Self {
        let parts = formula.parts.iter().filter_map(|part| {
            let ingredient = library.get(part.ingredient)?.key.clone();
            Some(Amount { ingredient, amount: part.percent })
        });
        Recipe { name: formula.name.clone(), parts: parts.collect(), remark: None }
    }
}

impl Engine {
    /// The built-in tables and model.
    ///
    /// # Errors
    /// The tables or the parameters are faulty, which is a fault of this program.
    pub fn builtin() -> Result<Self, Refusal> {
        Ok(Engine { library: builtin_library()?, model: builtin_model()? })
    }

    /// Returns a bench to assess several formulas on under the same options.
    ///
    /// # Errors
    /// The options are outside the model.
    pub fn bench(&self, options: &Options) -> Result<Workbench<'_>, Refusal> {
        Ok(Workbench::new(&self.library, &self.model, options.clone())?)
    }

    /// Returns a formula as the model takes it: parts in mass %.
    ///
    /// # Errors
    /// Every name that is unknown or means several ingredients, every invalid amount.
    pub fn formula(&self, recipe: &Recipe) -> Result<Formula, Refusal> {
        let mut faults = Vec::new();
        let mut parts = Vec::new();
        for part in &recipe.parts {
            if !(part.amount.is_finite() && part.amount >= 0.0) {
                let message = format!("{} of `{}` is not an amount", part.amount, name(&part.ingredient));
                faults.push(Fault::new("amount", message));
            } else if part.amount > 0.0 {
                match find(&self.library, &part.ingredient, &recipe.name) {
                    Ok(ingredient) => parts.push(Part { ingredient, percent: part.amount }),
                    Err(fault) => faults.push(*fault),
                }
            }
        }
        let total: f64 = parts.iter().map(|part| part.percent).sum();
        if faults.is_empty() && parts.is_empty() {
            faults.push(Fault::new("parts", format!("`{}` has no part above 0", name(&recipe.name))));
        }
        if !faults.is_empty() {
            return Err(Refusal::input(faults));
        }
        if (total - 100.0).abs() > WHOLE_PERCENT {
            parts.iter_mut().for_each(|part| part.percent *= 100.0 / total);
        }
        Ok(Formula { name: recipe.name.clone(), parts })
    }

    /// Returns formulas as the model takes them.
    ///
    /// # Errors
    /// Those of [`Engine::formula`].
    pub fn formulas(&self, recipes: &[Recipe]) -> Result<Vec<Formula>, Refusal> {
        recipes.iter().map(|recipe| self.formula(recipe)).collect()
    }
}

/// Returns the built-in tables.
///
/// # Errors
/// They are faulty, which is a fault of this program.
pub fn builtin_library() -> Result<Library, Refusal> {
    Library::builtin().map_err(|faults| {
        let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
        Refusal::internal(format!("the reference tables are faulty: {}", faults.join("; ")))
    })
}

/// Returns the built-in model, with nothing learned.
///
/// # Errors
/// They are faulty, which is a fault of this program.
pub fn builtin_model() -> Result<Model, Refusal> {
    Model::builtin().map_err(|error| Refusal::internal(format!("the model parameters are faulty: {error}")))
}

/// Finds an ingredient by any of its names.
///
/// # Arguments
/// * `place`: where the name was written, for the message.
///
/// # Errors
/// No ingredient has the name, or several have.
pub fn find(library: &Library, written: &str, place: &str) -> Result<IngredientId, Box<Fault>> {
    let keys = |found: &[IngredientId]| -> String {
        let keys = found.iter().filter_map(|&id| library.get(id)).map(|one| format!("`{}`", one.key));
        list(&keys.collect::<Vec<_>>(), "and")
    };
    let shown = name(written);
    match library.find(written) {
        Lookup::Found(index) => Ok(index),
        Lookup::Ambiguous(several) => Err(Box::new(
            Fault::new("ambiguous-ingredient", format!("{place}: several ingredients are called `{shown}`"))
                .hint(format!("Say which: {}.", keys(&several))),
        )),
        Lookup::Unknown { nearest } => Err(Box::new(
            Fault::new("unknown-ingredient", format!("{place}: no ingredient is called `{shown}`"))
                .hint(format!("The nearest names are {}.", keys(&nearest))),
        )),
    }
}
