//! Tests of the crate from outside; one program, so that it is built and linked once.

mod batches;
mod cool;
mod labels;
mod parcel;
mod pour;
mod worked_batch;
