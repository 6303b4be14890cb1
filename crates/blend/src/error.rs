//! Why a blend could not be assessed.

use thiserror::Error;

use crate::equilibrium::EquilibriumError;
use crate::viscosity::line::LineError;

/// Why a blend could not be assessed.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum BlendError {
    /// Nothing but powder.
    #[error("powder alone is no bar: it needs wax, butter or oil to hold it")]
    OnlyPowder,
    /// A part of a formula made with another library.
    #[error("the formula is of another library: its ingredient number {index} is not in this one")]
    UnknownIngredient {
        /// Position of the ingredient in the library it belongs to.
        index: usize,
    },
    /// A composition points outside the reference table.
    #[error("no ingredient or species number {index} in the reference table")]
    UnknownSpecies {
        /// Number of the species.
        index: usize,
    },
    /// A species names a family without parameters.
    #[error("species {species}: crystal family `{family}` has no parameters")]
    UnknownFamily {
        /// Key of the species.
        species: String,
        /// The family.
        family: String,
    },
    /// A species names a liquid class without parameters.
    #[error("species {species}: liquid class `{liquid_class}` has no parameters")]
    UnknownLiquidClass {
        /// Key of the species.
        species: String,
        /// The class.
        liquid_class: String,
    },
    /// The reference table lacks an ingredient that the beeswax scale needs.
    #[error("the reference table has no `{key}`, which the firmness scale needs")]
    MissingReference {
        /// Key of the ingredient.
        key: &'static str,
    },
    /// No part has a share.
    #[error("no part of the formula has a share above 0 %")]
    NoParts,
    /// No line fits the viscosities of an ingredient.
    #[error("viscosity of {ingredient}: {error}")]
    Viscosity {
        /// Key of the ingredient.
        ingredient: String,
        /// Why not.
        error: LineError,
    },
    /// No equilibrium.
    #[error(transparent)]
    Equilibrium(#[from] EquilibriumError),
}
