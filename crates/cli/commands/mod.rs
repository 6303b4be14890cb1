//! The subcommands: load, compute, show.

pub mod adjust;
pub mod assess;
pub mod batch;
pub mod compare;
pub mod cool;
pub mod explore;
pub mod ingredients;
pub mod parcel;
pub mod pour;
pub mod swap;
pub mod validate;

use barwright_blend::Parameters;

use crate::error::CliError;

/// Returns the built-in model parameters.
pub fn builtin_parameters() -> Result<Parameters, CliError> {
    Parameters::builtin().map_err(|error| CliError::internal(format!("the model parameters are faulty: {error}")))
}
