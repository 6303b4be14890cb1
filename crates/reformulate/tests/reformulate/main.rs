//! Tests of the crate from outside; one program, so that it is built and linked once.

mod adjust;
mod brute_force;
mod explore;
mod judge;
mod swap;
