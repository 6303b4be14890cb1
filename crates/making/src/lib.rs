//! At the bench and in the van: how one formula behaves in a jug, in a mould, in a parcel.
//!
//! Joins the blend model ([`barwright_blend`]) with conduction ([`barwright_heat`]). No I/O, no printing, no panics.
//!
//! # Contents
//! - [`bar`]: a bar of a blend as the heat model sees it.
//! - [`batch`](mod@batch): weigh sheet and cost; [`stock`]: how far what is there goes; [`declaration`]: what the label says of the formula.
//! - [`cool`](mod@cool): from the poured melt to a bar that can leave the mould, in each place the maker has.
//! - [`pour`](mod@pour): what to melt first, how hot, when to pour, how long that lasts.
//! - [`parcel`](mod@parcel): a bar in the post, along a route; [`packing`]: what it is in; [`ice_pack`]: the air in a box with ice.
//! - [`spread`]: the same over all draws, with progress; `grids`: most of them on few cells; [`times`]: the times at which a route is recorded.

pub mod bar;
pub mod batch;
pub mod cool;
pub mod declaration;
mod error;
mod grids;
pub mod ice_pack;
pub mod keeping;
pub mod packing;
pub mod parcel;
pub mod pour;
pub mod sinking;
pub mod spread;
pub mod stock;
pub mod times;

pub use cool::{CoolTask, Cooling, Place, cool};
pub use error::MakingError;
pub use packing::Packing;
pub use parcel::{Parcel, ParcelTask, Way, parcel};
pub use pour::{PourTask, Pouring, pour};
