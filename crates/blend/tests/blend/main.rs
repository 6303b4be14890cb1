//! Tests of the crate from outside; one program, so that it is built and linked once.

mod assess;
mod cautions;
mod penetration;
mod scent_and_powder;
