//! What a solid bar of wax, butter and oil will be, before any wax is melted: how firm, when it softens and melts, what relief it takes, how warm a
//! parcel it survives. By solid-liquid equilibrium over the species its ingredients are made of, every figure with its 90 % interval.
//!
//! ```
//! use barwright::prelude::*;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let engine = Engine::builtin()?;
//! let bar = Formula::from_parts(&engine.library, [("beeswax", 26.0), ("mango butter", 22.0), ("sunflower oil", 52.0)])?;
//! let assessment = assess(&engine.library, &engine.model, &bar, &Options { draws: 64, ..Options::default() })?;
//! let slip = assessment.melt.slip_point_c.ok_or("it does not set")?;
//! assert!(slip.low < slip.value && slip.value < slip.high);
//! println!("slips at {:.0} °C; holds 43 °C for a day with a chance of {:.0} %", slip.value,
//!     100.0 * assessment.probability(|outcome| outcome.hold_c >= Some(43.0)));
//! # Ok(())
//! # }
//! ```
//!
//! [`prelude`] has what most programs need; the modules have the rest. [`answer`] has the whole job as questions and answers, with words, tables,
//! pictures and JSON: what the command `barwright` is made of. `examples/` has programs to begin from.

pub use barwright_answer as answer;
pub use barwright_blend as blend;
pub use barwright_heat as heat;
pub use barwright_making as making;
pub use barwright_reference as reference;
pub use barwright_reformulate as reformulate;
pub use barwright_trials as trials;

/// What most programs need.
pub mod prelude {
    pub use barwright_answer::{Engine, Refusal};
    pub use barwright_blend::{
        Assessment, BlendError, Comparison, Estimate, Model, Options, Outcome, Property, assess, assess::Workbench,
        compare,
    };
    pub use barwright_reference::{CrystalState, Diagnostics, Formula, Ingredient, Library, Part};
    pub use barwright_reformulate::{Demand, Firmness, adjust};
}
