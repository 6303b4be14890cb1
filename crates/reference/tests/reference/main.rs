//! Tests of the crate from outside; one program, so that it is built and linked once.

mod data;
mod properties;
mod rewrite;
