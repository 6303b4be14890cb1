//! The subcommands: load, compute, show.

pub mod adjust;
pub mod assess;
pub mod batch;
mod batch_record;
pub mod compare;
pub mod completions;
pub mod cool;
pub mod explore;
pub mod ingredients;
pub mod manual;
pub mod page;
pub mod parcel;
pub mod pour;
pub mod records;
pub mod report;
pub mod schema;
pub mod swap;
pub mod trial;
pub mod validate;
