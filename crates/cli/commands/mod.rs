//! The subcommands: load, compute, show.

pub mod adjust;
pub mod assess;
pub mod batch;
mod batch_record;
pub mod compare;
pub mod completions;
pub mod cool;
pub mod curves;
pub mod explore;
pub mod ingredients;
pub mod manual;
pub mod page;
pub mod parcel;
pub mod plans;
pub mod pour;
pub mod records;
pub mod report;
pub mod swap;
pub mod trial;
pub mod validate;

use barwright_blend::Parameters;

use crate::error::CliError;

/// Returns the built-in model parameters.
pub fn builtin_parameters() -> Result<Parameters, CliError> {
    Parameters::builtin().map_err(|error| CliError::internal(format!("the model parameters are faulty: {error}")))
}
