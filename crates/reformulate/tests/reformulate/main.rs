//! Tests of the crate from outside; one program, so that it is built and linked once.

mod adjust;
mod aim;
mod brute_force;
mod explore;
#[path = "../../../../tests/kit/full.rs"]
mod full;
mod judge;
mod rescue;
mod swap;
mod witness;
